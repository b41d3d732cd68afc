//! The rewriter between a reader and a writer of the standard library.

use super::{Rewriter, Summary};
use crate::Error;
use std::io::{self, Read, Write};

/// What can go wrong between a reader and a writer.
#[derive(Debug)]
#[non_exhaustive]
pub enum StreamError {
    /// The toolpath was refused.
    Toolpath(Error),
    /// Reading failed.
    Read(io::Error),
    /// Writing failed.
    Write(io::Error),
}

impl core::fmt::Display for StreamError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            StreamError::Toolpath(e) => e.fmt(f),
            StreamError::Read(e) => write!(f, "reading failed: {e}"),
            StreamError::Write(e) => write!(f, "writing failed: {e}"),
        }
    }
}

impl core::error::Error for StreamError {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match self {
            StreamError::Toolpath(e) => Some(e),
            StreamError::Read(e) | StreamError::Write(e) => Some(e),
        }
    }
}

impl From<Error> for StreamError {
    fn from(e: Error) -> Self {
        StreamError::Toolpath(e)
    }
}

/// Bytes read at once.
const CHUNK: usize = 1 << 18;

/// Rewrites all that `from` gives into `to`, in constant memory. `to` is flushed at the end, not made durable.
///
/// # Errors
/// [`StreamError`]; what was written by then must be thrown away.
///
/// ```
/// use evengap::follow::{Options, Rewriter, copy};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = r#"
/// # [bed]
/// # x = [0, 200]
/// # y = [0, 200]
/// # [readings]
/// # method = "patch"
/// # parked = 0.3
/// # points = [[20, 20, 0.3], [180, 20, 0.3], [20, 180, 0.2], [180, 180, 0.2]]
/// # "#;
/// # let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
/// let rewriter = Rewriter::new(&map, Options::default())?;
/// let mut out = Vec::new();
/// let summary = copy(rewriter, &b"G1 X100 Y100 Z0.2\n"[..], &mut out)?;
/// assert_eq!(summary.lines_in, 1);
/// assert!(out.ends_with(b"G1 X100 Y100 Z0.250\n"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn copy(mut rewriter: Rewriter, mut from: impl Read, mut to: impl Write) -> Result<Summary, StreamError> {
    let mut chunk = vec![0; CHUNK];
    let mut out = Vec::with_capacity(CHUNK + CHUNK / 4);
    loop {
        let length = match from.read(&mut chunk) {
            Ok(0) => break,
            Ok(length) => length,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(StreamError::Read(e)),
        };
        rewriter.push(&chunk[..length], &mut out)?;
        to.write_all(&out).map_err(StreamError::Write)?;
        out.clear();
    }
    let summary = rewriter.finish(&mut out)?;
    to.write_all(&out).and_then(|()| to.flush()).map_err(StreamError::Write)?;
    Ok(summary)
}
