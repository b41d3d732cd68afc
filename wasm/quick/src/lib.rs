//! What is done for every line of a toolpath. The engine's functions for it are `#[inline]`, so they are compiled here, with
//! this crate's optimisation; all the rest of the engine is built to be small.

use evengap::Error;
use evengap::check::{GapReport, Gaps};
use evengap::follow::{Rewriter, Summary};

/// [`Rewriter::push`].
///
/// # Errors
///
/// As there.
pub fn push(rewriter: &mut Rewriter, bytes: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
    rewriter.push(bytes, out)
}

/// [`Rewriter::finish`].
///
/// # Errors
///
/// As there.
pub fn finish(rewriter: Rewriter, out: &mut Vec<u8>) -> Result<Summary, Error> {
    rewriter.finish(out)
}

/// [`Gaps::push`].
///
/// # Errors
///
/// As there.
pub fn look(gaps: &mut Gaps, bytes: &[u8]) -> Result<(), Error> {
    gaps.push(bytes)
}

/// [`Gaps::finish`].
///
/// # Errors
///
/// As there.
pub fn found(gaps: Gaps) -> Result<GapReport, Error> {
    gaps.finish()
}
