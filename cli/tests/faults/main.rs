//! Faults on a real file system: whatever goes wrong, every file is the whole old or the whole new one, and the exit status is true.
//!
//! `cargo test -p evengap-cli --test faults --test kills -- --nocapture` prints the figures. What the machine does not allow (mounting,
//! another user) is skipped aloud.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "tests")]

#[path = "../common/mod.rs"]
mod common;
#[path = "../common/faulty.rs"]
mod faulty;

mod changed;
mod closed;
mod denied;
mod full;
mod interrupted;
mod kept;
mod kinds;

use common::{CARD, Folder, PART};
use faulty::*;
use std::path::Path;
use std::process::{Output, Stdio};
