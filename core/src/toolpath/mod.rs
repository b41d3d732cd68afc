//! Reading toolpaths: bytes to lines to words to moves. Knows nothing of beds.
//!
//! ```
//! use evengap::toolpath::lines::{Lines, Piece};
//! use evengap::toolpath::words::{Kind, Line};
//! use evengap::toolpath::{Reader, Reading, Step, Why};
//!
//! let mut lines = Lines::with_limit(1 << 20);
//! let mut line = Line::default();
//! let mut reader = Reader::new(Reading::default());
//! let (mut number, mut path, mut laid) = (0, 0.0, 0.0);
//! lines.push(b"G28\nG1 X10 Y10 Z0.2 F3000\nG1 X40 Y50 E1.5\nG1 A90\n", |piece| {
//!     // A line that is too long to be held comes in parts: it holds no motion, or is refused.
//!     let Piece::Line(bytes, _ending) = piece else { return Ok(()) };
//!     number += 1;
//!     line.read(bytes);
//!     if line.kind == Kind::Words && line.has(b'F') {
//!         assert_eq!(line.get(b'F').and_then(|word| word.number).map(|n| n.value), Some(3000.0));
//!         assert_eq!(line.words().len(), 5);
//!     }
//!     match reader.read(&line, bytes, number)? {
//!         Step::Lost(axes, Why::Sent) => assert_eq!(axes & 0b111, 0b111),
//!         Step::Move => {
//!             let step = reader.last_move();
//!             if step.known() && step.travels() {
//!                 let along = |axis: usize| step.after[axis].place() - step.before[axis].place();
//!                 path += along(0).hypot(along(1));
//!                 laid += step.e_delta();
//!             }
//!         }
//!         _ => {}
//!     }
//!     Ok::<(), evengap::Error>(())
//! })?;
//! assert_eq!((path, laid), (50.0, 1.5));
//! // A turned from an unknown place to 90.
//! assert!(!reader.others_before()[0].known);
//! assert_eq!(reader.state().others[0].register, 90.0);
//! # Ok::<(), evengap::Error>(())
//! ```

pub mod commands;
mod layout;
pub mod lines;
pub mod number;
pub(crate) mod plain;
mod reader;
mod refuse;
mod text;
pub(crate) mod tidy;
pub mod words;

pub(crate) use reader::code;
pub use reader::{
    AXES, Arc, Axis, EMode, MOVE_LIMIT, Move, PLACE_LIMIT, RADIUS_LIMIT, Reader, Reading, State, Step, Why,
};
pub(crate) use refuse::{long_line, long_move};
