//! Following the bed: moves to pieces to bytes.

mod bed;
mod compose;
mod floor;
mod ledger;
mod motion;
mod options;
mod output;
mod path;
mod pieces;
mod rewriter;
mod split;
mod summary;
mod taper;

pub use crate::toolpath::EMode;
pub use options::{Allow, HEIGHT_LIMIT, Options};
pub use rewriter::Rewriter;
pub use summary::{NotUnderstood, Offset, Summary, Warning, WarningKind};
pub use taper::{AUTO_CHANGE, AUTO_FROM, Taper};

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
