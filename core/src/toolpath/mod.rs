//! Reading toolpaths: bytes to lines to words to moves. Knows nothing of beds.

pub mod commands;
pub mod lines;
pub mod number;
pub(crate) mod plain;
mod reader;
mod refuse;
mod text;
pub mod words;

pub(crate) use reader::code;
pub use reader::{
    AXES, Arc, Axis, EMode, MOVE_LIMIT, Move, PLACE_LIMIT, RADIUS_LIMIT, Reader, Reading, State, Step, Why,
};
pub(crate) use refuse::{long_line, long_move};
