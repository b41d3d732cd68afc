//! Reading toolpaths: bytes to lines to words to moves. Knows nothing of beds.

pub mod commands;
pub mod lines;
pub mod number;
mod reader;
mod refuse;
mod text;
pub mod words;

pub use reader::{AXES, Arc, Axis, EMode, Move, PLACE_LIMIT, RADIUS_LIMIT, Reader, Reading, State, Step, Why};
