//! Following the bed: moves to pieces to bytes.
//!
//! The original's path point (x, y, z) becomes (x, y, z + w(z) h(x, y) + shift):
//!
//! - h is the [height map](crate::HeightMap), w the [taper](Taper): 1 up to its start, 0 from its end, linear between.
//! - The path in XY stays; every end point is reached in the original's digits. Moves are split where the tolerance
//!   needs it, arcs into arcs.
//! - E follows the layer's thickness where the taper changes it, by the mean of 1 + h w'(z) along the move; the pieces
//!   of a move share it by their length. Rounding never piles up.
//! - What does not change stays byte for byte; [`toolpath::commands`](crate::toolpath::commands) lists what is
//!   understood, what passes and what is refused.
//!
//! [`Rewriter`] is push-style and does no I/O; [`copy`] puts it between a reader and a writer, [`rewrite`] takes a
//! whole toolpath in memory.

mod ahead;
mod bed;
mod coast;
mod compose;
mod cruise;
mod floor;
mod held;
mod ledger;
mod legs;
mod looked;
mod motion;
mod options;
mod output;
mod path;
mod pieces;
mod rewriter;
mod split;
mod stream;
mod summary;
mod survey;
mod taper;
mod text;
mod together;
mod turns;

pub use crate::toolpath::EMode;
pub use ahead::LookAhead;
pub use looked::Looked;
pub use options::{Allow, HEIGHT_LIMIT, Options};
pub use rewriter::Rewriter;
pub use stream::{StreamError, copy};
pub use summary::{NotUnderstood, Offset, Summary, Warning, WarningKind};
pub use taper::{AUTO_CHANGE, AUTO_FROM, Taper};
pub use together::{Ended, Sink, Stopped, Together};

use crate::{Error, HeightMap};

/// Rewrites a whole toolpath in memory.
///
/// # Errors
/// As [`Rewriter::new`], [`Rewriter::push`] and [`Rewriter::finish`].
pub fn rewrite(toolpath: &[u8], map: &HeightMap, options: Options) -> Result<(Vec<u8>, Summary), Error> {
    let mut rewriter = Rewriter::new(map, options)?;
    let mut out = Vec::with_capacity(toolpath.len() + toolpath.len() / 8);
    rewriter.push(toolpath, &mut out)?;
    let summary = rewriter.finish(&mut out)?;
    Ok((out, summary))
}
