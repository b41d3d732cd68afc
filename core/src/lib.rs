//! Height maps from hand-taken bed readings, and sliced toolpaths rewritten to follow them.
//!
//! A filament printer's heated plate is bent, and its firmware knows nothing of it. From a [`Card`] (a bed and readings
//! taken by hand) comes a [`HeightMap`], h(x, y) in mm; a [`follow::Rewriter`] takes the bytes of a sliced toolpath and
//! gives back bytes of one that keeps the same gap over the real bed.
//!
//! ```
//! use evengap::follow::{Options, rewrite};
//! use evengap::{Card, HeightMap, SurfaceKind};
//!
//! let card = Card::parse(r#"
//! [bed]
//! x = [0, 235]
//! y = [0, 235]
//! [readings]
//! method = "drag"            # a sheet of 0.1 mm drags under the nozzle
//! sheet = 0.10
//! points = [[30, 30, 0.16], [205, 30, 0.12], [30, 205, 0.15], [205, 205, 0.05], [117, 117, 0.27]]
//! "#)?;
//! let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
//! assert!((map.height(117.0, 117.0) - 0.17).abs() < 1e-9);
//! let [slope_x, _slope_y] = map.slope(60.0, 117.0);
//! assert!(slope_x > 0.0);
//!
//! let (bytes, summary) = rewrite(b"G1 X117 Y117 Z0.2\nG1 X60 Y117 E2.5\n", &map, Options::default())?;
//! assert!(summary.moves_out >= summary.moves_in);
//! assert!(bytes.starts_with(b"; evengap "));
//! # Ok::<(), evengap::Error>(())
//! ```
//!
//! | module | one concern |
//! | --- | --- |
//! | [`card`] | text to a checked card |
//! | [`surface`] | readings to a height map |
//! | [`shape`] | how the plate lies, in words: tilt, twist, bow, readings that stand out |
//! | [`figures`] | a map in figures, for other programs |
//! | [`known`] | how well the bed is known: a standard error for every height |
//! | [`Footprint`] | where a toolpath lays its first layer |
//! | [`toolpath`] | bytes to lines to words to moves; knows nothing of beds |
//! | [`follow`] | moves to pieces to bytes |
//! | [`check`] | what a toolpath does over the bed: the gap along its path; and the proof of a rewritten one |
//! | [`tram`] | what the levelling screws can mend, in turns, and what they cannot |
//! | [`compare`] | two maps or more: what changed |
//! | [`cautions`] | what a person at a hot printer must know |
//! | [`json`] | options and results as JSON text |
//! | [`limits`] | what is too large, all in one place |
//! | [`whereabouts`] | words for places on the bed |
//! | [`draw`] | the contour plan and the sheet to print, as SVG |
//! | [`plan`] | before the readings: points, their order, the steps of each method, a program that carries the nozzle there |
//! | [`trial`] | a test print of patches, and a card corrected by them |
//!
//! Lengths are mm, angles in text degrees, temperatures degrees Celsius. Nothing here opens files, reads clocks or the
//! environment, prints or starts threads. Results are the same bits natively and in WebAssembly. No input makes it
//! panic: what cannot be done is an [`Error`] with its kind, its place and what to do.
#![cfg_attr(not(test), deny(clippy::print_stdout, clippy::print_stderr))]
// What others build on: see core/API.md.
#![warn(missing_debug_implementations, clippy::missing_errors_doc, clippy::missing_panics_doc)]
#![warn(
    clippy::must_use_candidate,
    clippy::return_self_not_must_use,
    clippy::exhaustive_structs,
    clippy::exhaustive_enums
)]

mod error;
mod least_squares;
mod normal;
mod number;
mod order;
mod sha256;

pub mod card;
pub mod cautions;
pub mod check;
pub mod compare;
pub mod draw;
pub mod figures;
pub mod follow;
mod footprint;
pub mod json;
pub mod known;
pub mod limits;
pub mod plan;
mod program;
pub mod shape;
pub mod surface;
pub mod toolpath;
pub mod tram;
mod tree;
pub mod trial;
pub mod whereabouts;

pub use card::Card;
pub use error::{Error, ErrorKind, Place};
pub use footprint::Footprint;
pub use surface::{HeightMap, SurfaceKind};

/// The Rust of the page for authors of other programs is run with the examples.
#[cfg(doctest)]
#[doc = include_str!("../EMBEDDING.md")]
struct Embedding;
