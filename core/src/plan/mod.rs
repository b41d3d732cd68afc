//! Where to read, and how to get the nozzle there.

mod visit;

pub use visit::{MAX_STOPS, Stop, VisitOptions, Wait, visit};
