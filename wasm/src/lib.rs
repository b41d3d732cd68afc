//! The engine for JavaScript: conversions only. What is read, fitted, drawn and rewritten is `evengap`'s.
//!
//! | file | what it converts |
//! | --- | --- |
//! | `card.rs` | `Card`: the probe card |
//! | `plan.rs` | points to read |
//! | `map.rs` | `HeightMap`: heights, shape, contours, the plan |
//! | `gaps.rs` | `Gaps`: what a toolpath does over the bed |
//! | `tram.rs` | turns of the levelling screws |
//! | `rewrite.rs` | `Rewriter`: toolpaths, pushed by chunks |
//! | `convert.rs` | errors, options and results, for all of them |
//! | `../js/` | what only JavaScript can say: the class of errors, the `TransformStream`, the entries |
//!
//! A new command of the engine gets a file here beside these, and a class or a function in it.
//!
//! Plain results (`Shape`, `Summary`, ...) are the engine's own `serde` forms, the same that the command prints with
//! `--json`; their TypeScript is derived from the same structs (the engine's feature `typescript`).
//!
//! Lengths are millimetres, temperatures degrees Celsius. What fails throws an `EvengapError`; a call that no program
//! should make (a point without its y, a rewriter used after its end) throws JavaScript's own `RangeError` or
//! `TypeError`.

mod card;
mod convert;
mod gaps;
mod map;
mod plan;
mod rewrite;
mod tram;

pub use card::Card;
pub use gaps::{Gaps, GapsFound};
pub use map::HeightMap;
pub use plan::{LeftOutPoint, PlannedPoints};
pub use rewrite::{Rewriter, Rewritten, default_options, rewrite};
pub use tram::{Trammed, TurnWords};

use wasm_bindgen::prelude::*;

/// The engine's version, which the marker in a rewritten toolpath names too.
#[wasm_bindgen]
#[must_use]
pub fn version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}
