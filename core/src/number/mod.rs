//! Numbers from decimal text and to it: one small, exact way for each. The standard library's are quicker, and carry 40 KB of
//! tables and code that a page would have to load.

mod big;
mod read;
mod write;

pub(crate) use read::{nearest, parse};
pub(crate) use write::{Shown, pair};

/// The number, or the end of the range that it is beyond. The standard library's `clamp` prints its numbers when it panics.
#[inline]
pub(crate) fn within(n: f64, low: f64, high: f64) -> f64 {
    if n < low {
        low
    } else if n > high {
        high
    } else {
        n
    }
}
