//! How the command says the cautions: as a paragraph, in lines for a terminal, at the end of a help text. The words are the engine's.

use crate::wrap::wrapped;
pub(crate) use evengap::cautions::{BRIEF, PRINTING, RUNNING, TURNING, paragraph};

/// Columns of a line.
const WIDTH: usize = 118;

/// In lines, without a break at the end.
pub(crate) fn lines(cautions: &[&str]) -> String {
    wrapped(&paragraph(cautions), WIDTH, "\n")
}

/// A help text and the cautions; clap breaks its lines.
pub(crate) fn after(help: &str) -> String {
    format!("{help}\n\n{}", paragraph(&PRINTING))
}
