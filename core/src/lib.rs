//! Height maps from hand-taken bed readings, and sliced toolpaths rewritten to follow them.
#![cfg_attr(not(test), deny(clippy::print_stdout, clippy::print_stderr))]

mod error;

pub mod card;
pub mod draw;
pub mod follow;
pub mod shape;
pub mod surface;
pub mod toolpath;

pub use card::Card;
pub use error::{Error, ErrorKind, Place};
pub use surface::{HeightMap, SurfaceKind};
