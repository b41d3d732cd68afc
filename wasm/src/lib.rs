//! The engine for JavaScript: conversions only. What is read, fitted, drawn and rewritten is `evengap`'s.
//!
//! | file | what it converts |
//! | --- | --- |
//! | `card.rs` | `Card`: the probe card |
//! | `map.rs` | `HeightMap`: heights, and the readings it was fitted to |
//! | `rewrite.rs` | `Rewriter`: toolpaths, pushed by chunks |
//! | `cautions.rs` | what a person at a hot printer must know |
//! | `workshop/` | the second module: shape and contours, gaps, plans, programs, tramming, test prints, comparing, pictures, proof |
//! | `convert.rs` | errors, options and results, for all of them |
//! | `../js/` | what only JavaScript can say: the class of errors, the `TransformStream`, the entries |
//!
//! The package has two modules, each this crate with one of its features: `engine` has what a page or a Worker needs to
//! rewrite toolpaths; `workshop` has the rest. Without a choice both are in one
//! library, which is what the checks look at.
//!
//! A new command of the engine gets a file in `workshop/`, and a class or a function in it.
//!
//! Plain results (`Shape`, `Summary`, ...) are the engine's own `serde` forms, the same that the command prints with
//! `--json`; their TypeScript is derived from the same structs (the engine's feature `typescript`).
//!
//! Lengths are millimetres, temperatures degrees Celsius. What fails throws an `EvengapError`; a call that no program
//! should make (a point without its y, a rewriter used after its end) throws JavaScript's own `RangeError` or
//! `TypeError`.

#[cfg(feature = "engine")]
mod card;
#[cfg(feature = "engine")]
mod cautions;
mod convert;
#[cfg(feature = "engine")]
mod map;
#[cfg(feature = "engine")]
mod rewrite;
#[cfg(feature = "workshop")]
pub mod workshop;

#[cfg(feature = "engine")]
pub use self::{
    card::Card,
    cautions::{Cautions, cautions},
    map::HeightMap,
    rewrite::{Rewriter, Rewritten, default_options, rewrite},
};

use wasm_bindgen::prelude::*;

/// Smaller than the standard library's.
#[cfg(target_family = "wasm")]
#[global_allocator]
static ALLOCATOR: talc::wasm::WasmDynamicTalc = talc::wasm::new_wasm_dynamic_allocator();

/// The engine's version, which the marker in a rewritten toolpath names too.
#[wasm_bindgen]
#[must_use]
pub fn version() -> String {
    env!("CARGO_PKG_VERSION").to_owned()
}
