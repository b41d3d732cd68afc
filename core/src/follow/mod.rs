//! Following the bed. (being written)
mod ledger;
mod options;
mod path;
mod split;
mod summary;
mod taper;
pub use options::{Allow, HEIGHT_LIMIT, Options};
pub use summary::{NotUnderstood, Offset, Summary, Warning, WarningKind};
pub use taper::{AUTO_CHANGE, AUTO_FROM, Taper};
