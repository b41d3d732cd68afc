//! What was done, told to a person or to a program.

use super::one::{Done, Job};
use crate::cautions;
use crate::files::Name;
use crate::prove;
use evengap::check::proof::Verdict;
use evengap::follow::Summary;
use evengap::known::Enough;

/// What `--json` tells of one file.
#[derive(serde::Serialize)]
pub(super) struct Report<'a> {
    input: String,
    output: String,
    #[serde(flatten)]
    summary: &'a Summary,
    /// How well the bed under the first layer is known.
    known: Option<&'a Enough>,
    #[serde(skip_serializing_if = "Option::is_none")]
    proof: Option<&'a Verdict>,
    caution: String,
}

impl<'a> Report<'a> {
    pub(super) fn of(Job { input, output }: &Job, Done { summary, enough, proof }: &'a Done) -> Report<'a> {
        Report {
            input: input.shown(),
            output: output.shown_as_output(),
            summary,
            known: enough.as_ref(),
            proof: proof.as_ref(),
            caution: cautions::paragraph(&cautions::PRINTING),
        }
    }
}

/// The report in a few plain lines.
pub(super) fn told(job: &Job, Done { summary: s, enough, proof }: &Done, quiet: bool) -> String {
    let mut lines = Vec::new();
    if !quiet {
        lines.push(format!("Rewrote {}.", job.shown()));
        if s.lines_changed == 0 && s.marker.is_none() {
            lines.push("  Nothing had to change: the output is the input.".to_owned());
        }
        lines.push(format!(
            "  Moves       {} in, {} out{}",
            s.moves_in,
            s.moves_out,
            percent(to_f64(s.moves_in), to_f64(s.moves_out))
        ));
        if let Some(o) = s.largest_offset {
            lines.push(format!(
                "  Offset      at most {:+.3} mm, at X {:.3} Y {:.3} (line {})",
                o.offset, o.x, o.y, o.line
            ));
        }
        lines.push(match s.taper {
            Some([from, to]) => format!("  Taper       whole up to Z {from:.3} mm, ended at Z {to:.3} mm"),
            None => "  Taper       none: the whole path follows the bed".to_owned(),
        });
        lines.push(format!(
            "  Extrusion   E {:.3} in, {:.3} out{}",
            s.extrusion_in,
            s.extrusion_out,
            percent(s.extrusion_in, s.extrusion_out)
        ));
        if let Some([low, high]) = s.z_range {
            lines.push(format!("  Z           {low:.3} to {high:.3} mm commanded"));
        }
        lines.extend(enough.filter(|e| e.enough).map(|e| format!("  Card        {e}")));
        lines.extend(proof.as_ref().map(prove::report));
        lines.extend(not_understood(s));
    }
    lines.extend(warnings(s, enough.as_ref()));
    if !quiet {
        lines.push(cautions::lines(&cautions::PRINTING));
    }
    if lines.is_empty() {
        return String::new();
    }
    lines.push(String::new());
    lines.join("\n")
}

/// One of several files in a line, and its warnings.
pub(super) fn told_briefly(job: &Job, Done { summary: s, enough, proof }: &Done, quiet: bool) -> String {
    let mut lines = Vec::new();
    if !quiet {
        let offset = s.largest_offset.map_or(0.0, |o| o.offset);
        let proven = if proof.is_some() { ", proven" } else { "" };
        let passed = match s.not_understood.count {
            0 => String::new(),
            1 => ", 1 line not understood".to_owned(),
            n => format!(", {n} lines not understood"),
        };
        let growth = percent(to_f64(s.moves_in), to_f64(s.moves_out));
        lines.push(format!(
            "Rewrote {}: {} moves{growth}, offset at most {offset:+.3} mm{passed}{proven}.",
            job.shown(),
            s.moves_out
        ));
    }
    lines.extend(warnings(s, enough.as_ref()).map(|w| format!("{}: {w}", job.input.shown())));
    lines.into_iter().map(|line| line + "\n").collect()
}

impl Job {
    fn shown(&self) -> String {
        let Job { input, output } = self;
        if input == output && *input != Name::Standard {
            format!("{} in place", input.shown())
        } else {
            format!("{} to {}", input.shown(), output.shown_as_output())
        }
    }
}

fn warnings(s: &Summary, enough: Option<&Enough>) -> impl Iterator<Item = String> {
    let hardly = enough.filter(|e| !e.enough).map(|e| format!("Warning: the card is {e}"));
    s.warnings.iter().map(|w| format!("Warning: {}{}", w.message, places(&w.lines, w.count))).chain(hardly)
}

fn not_understood(s: &Summary) -> Vec<String> {
    let n = &s.not_understood;
    match n.count {
        0 => return vec!["  Passed      every line was understood".to_owned()],
        1 => vec!["  Passed      1 line that was not understood, untouched:".to_owned()],
        count => vec![format!("  Passed      {count} lines that were not understood, untouched; the first:")],
    }
    .into_iter()
    .chain(n.first.iter().map(|(line, text)| format!("                line {line}: {text}")))
    .collect()
}

fn places(lines: &[u64], count: u64) -> String {
    let listed: Vec<String> = lines.iter().map(u64::to_string).collect();
    let more = count.saturating_sub(u64::try_from(lines.len()).unwrap_or(0));
    match (listed.len(), more) {
        (0, _) => String::new(),
        (1, 0) => format!(" (line {})", listed[0]),
        (_, 0) => format!(" (lines {})", listed.join(", ")),
        _ => format!(" (lines {} and {more} more)", listed.join(", ")),
    }
}

#[expect(clippy::cast_precision_loss, reason = "for a percentage with one decimal")]
fn to_f64(n: u64) -> f64 {
    n as f64
}

fn percent(from: f64, to: f64) -> String {
    if from > 0.0 { format!(" ({:+.1} %)", 100.0 * (to / from - 1.0)) } else { String::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn warnings_name_their_lines() {
        assert_eq!(places(&[3], 1), " (line 3)");
        assert_eq!(places(&[3, 4], 2), " (lines 3, 4)");
        assert_eq!(places(&[3, 4], 9), " (lines 3, 4 and 7 more)");
        assert_eq!(places(&[], 0), "");
    }
}
