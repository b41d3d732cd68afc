//! How the command says the cautions: as a paragraph, in lines for a terminal, at the end of a help text. The words are the engine's.

pub(crate) use evengap::cautions::{BRIEF, PRINTING, RUNNING, TURNING};

/// Columns of a line.
const WIDTH: usize = 118;

/// Without line breaks, for JSON and for what breaks lines by itself.
pub(crate) fn paragraph(cautions: &[&str]) -> String {
    format!("Caution: {}", cautions.join(" "))
}

/// In lines, without a break at the end.
pub(crate) fn lines(cautions: &[&str]) -> String {
    let mut out = String::new();
    let mut used = 0;
    for word in paragraph(cautions).split(' ') {
        let long = word.chars().count();
        if used > 0 && used + 1 + long > WIDTH {
            out.push('\n');
            used = 0;
        } else if used > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += long;
    }
    out
}

/// A help text and the cautions; clap breaks its lines.
pub(crate) fn after(help: &str) -> String {
    format!("{help}\n\n{}", paragraph(&PRINTING))
}
