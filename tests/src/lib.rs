//! What crosses crates: a slow, obvious second implementation of reading a toolpath and of judging a
//! rewritten file against its original, and a generator of toolpaths that mix all modes.
//!
//! Nothing in `machine`, `path`, `dec` and `oracle` uses the core's reader or rewriter: the two must agree, so they must not
//! share code.

pub mod beds;
pub mod dec;
pub mod families;
pub mod how_well;
pub mod machine;
pub mod made_up;
pub mod mixed;
pub mod oracle;
pub mod path;
pub mod proving;
pub mod samples;
pub mod toolpaths;
pub mod where_next;
