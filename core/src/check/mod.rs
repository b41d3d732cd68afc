//! What a toolpath does over a bed: the gap along the path, before it is printed.
//!
//! This reads toolpaths with the same [reader](crate::toolpath) as the rewriter and shares nothing else with it: what
//! checks must not trust what it checks.

pub mod gaps;
pub mod judge;
mod marker;
pub mod pace;
pub mod proof;
mod sliced;
mod way;

pub use gaps::{Deviation, Followed, GapOptions, GapReport, Gaps, Keep, KeptPath, Layer, Shares, Third, Window};
pub use judge::{Finding, Judgement, Limits, judge};
pub use marker::Marker;
pub use pace::{Pace, Peak};
