//! `evengap rewrite`: a sliced file in, a file that follows the bed out.

use crate::cautions;
use crate::files::{self, Input, Name, Target};
use crate::map::{Surface, read_map};
use crate::millimetres::{parse_millimetres, parse_shift, parse_tolerance};
use crate::progress::Progress;
use crate::prove::{self, Prover};
use crate::reading::Start;
use crate::report::{Failure, Refusal, Source};
use clap::{ArgGroup, ValueEnum};
use evengap::HeightMap;
use evengap::check::proof::Verdict;
use evengap::follow::{Options, Rewriter, Summary, Taper};
use std::io::{self, Read as _};
use std::path::PathBuf;

/// Rewrite a sliced file so that the nozzle keeps the same gap over the bed
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP), group = ArgGroup::new("where").required(true))]
pub(crate) struct Args {
    /// The sliced file, or - for standard input
    #[arg(value_name = "IN")]
    input: Name,
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(long, value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// Where the rewritten file goes, or - for standard output
    #[arg(short, long, value_name = "OUT", group = "where")]
    output: Option<Name>,
    /// Replace IN itself, whole or not at all
    #[arg(long, group = "where")]
    in_place: bool,
    /// The surface through the readings
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Over which heights the compensation dies out, mm: auto, none or FROM..TO
    #[arg(long, value_name = "auto|none|FROM..TO", default_value = "auto", value_parser = parse_taper)]
    taper: Taper,
    /// How far the path's height may be from its definition, mm, 0.0005 to 0.1
    #[arg(long, value_name = "MM", default_value = "0.005", value_parser = parse_tolerance)]
    tolerance: f64,
    /// Whether extrusion follows the layers' thickness while the compensation dies out
    #[arg(long, value_enum, value_name = "on|off", default_value_t = Switch::On, hide_possible_values = true)]
    flow: Switch,
    /// Refuse moves that would come to lie below this height, mm
    #[arg(long, value_name = "MM", default_value = "0", value_parser = parse_millimetres, allow_hyphen_values = true)]
    floor: f64,
    /// Carry the nozzle this much higher everywhere, mm, -2 to 2; negative is lower
    #[arg(long, value_name = "MM", default_value = "0", value_parser = parse_shift, allow_hyphen_values = true)]
    shift: f64,
    /// Let pass what is otherwise refused; may be given more than once
    #[arg(long, value_enum, value_name = "WHAT", value_delimiter = ',')]
    allow: Vec<What>,
    #[command(flatten)]
    start: Start,
    /// Walk the rewritten file against the original before it takes its place: every piece on the path, Z bounded along it
    #[arg(long)]
    prove: bool,
    /// Report as JSON on standard output (on standard error where the file itself goes to standard output)
    #[arg(long)]
    pub(crate) json: bool,
    /// Say nothing when all went well, except warnings
    #[arg(short, long, conflicts_with = "json")]
    quiet: bool,
}

const AFTER_HELP: &str =
    "The output is written beside the target, flushed to the medium and renamed when it is whole: on any error the target is as it \
     was. IN stays as it is unless --in-place is given; then it must not change while it is rewritten, or nothing is written. \
     Behind a symbolic link its end is replaced and the link stays; of a file with several names (hard links) only the one \
     named is replaced. Mode, and as far as the system allows owner, group, access list and extended attributes, are the old \
     file's. A run that is killed may leave a file .evengap-*.part beside the target: the next run there names it. Where the output is a stream, a refusal midway leaves a part that must be thrown away; the exit status is \
     1.\n\nExamples:
  evengap rewrite part.gcode --card bed.toml -o part.even.gcode
  evengap rewrite part.gcode --card bed.toml -o part.even.gcode --taper 0.6..6 --prove
  evengap rewrite - --card bed.toml -o - < part.gcode > part.even.gcode
In a slicing program's post-processing hook, with EVENGAP_CARD set to the card's path:
  evengap rewrite --in-place FILE";

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Switch {
    On,
    Off,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// Motion that is not understood: it passes as it is
    UnknownMotion,
    /// The file probes or switches on the machine's own compensation
    OwnLevelling,
    /// The file was rewritten before
    AlreadyRewritten,
    /// Heights of more than 2 mm
    LargeHeights,
}

fn parse_taper(text: &str) -> Result<Taper, String> {
    let wrong = || "give auto, none, or two heights in mm such as 0.5..6".to_owned();
    match text {
        "auto" => Ok(Taper::Auto),
        "none" => Ok(Taper::None),
        _ => {
            let (from, to) = text.split_once("..").ok_or_else(wrong)?;
            let (from, to) =
                (parse_millimetres(from).map_err(|_| wrong())?, parse_millimetres(to).map_err(|_| wrong())?);
            if from >= to {
                return Err(
                    "FROM must be below TO: the compensation is whole up to FROM and has ended at TO".to_owned()
                );
            }
            Ok(Taper::Range { from, to })
        }
    }
}

impl Args {
    fn options(&self) -> Options {
        let mut options = Options::default();
        options.taper = self.taper;
        options.tolerance = self.tolerance;
        options.flow = self.flow == Switch::On;
        options.floor = self.floor;
        options.shift = self.shift;
        options.g90_sets_e = self.start.g90_sets_e;
        options.e_start = self.start.e_mode();
        options.allow.unknown_motion = self.allow.contains(&What::UnknownMotion);
        options.allow.own_levelling = self.allow.contains(&What::OwnLevelling);
        options.allow.already_rewritten = self.allow.contains(&What::AlreadyRewritten);
        options.allow.large_heights = self.allow.contains(&What::LargeHeights);
        options
    }

    fn output(&self) -> Result<Name, Failure> {
        if self.input == Name::Standard && self.card == Name::Standard {
            return Err(Failure::wrong_usage("IN and CARD cannot both be standard input"));
        }
        match &self.output {
            Some(output) => {
                if output.is_same_file(&self.input) && !is_device(output) {
                    let message = format!(
                        "{} is IN itself: add --in-place instead of -o to replace it, or take another name",
                        output.shown()
                    );
                    return Err(Failure::plain(message));
                }
                files::keep_apart(output, "the rewritten file", [&self.card])?;
                Ok(output.clone())
            }
            None if self.input == Name::Standard => {
                Err(Failure::wrong_usage("standard input cannot be rewritten in place: give -o OUT"))
            }
            None => {
                files::keep_apart(&self.input, "the rewritten file", [&self.card])?;
                match &self.input {
                    Name::Path(path)
                        if std::fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir()) =>
                    {
                        Err(Failure::plain(format!(
                            "{} is not a file: it cannot be replaced; give -o OUT",
                            path.display()
                        )))
                    }
                    input => Ok(input.clone()),
                }
            }
        }
    }
}

/// Whether it can be read and written at once, as a terminal can.
fn is_device(name: &Name) -> bool {
    #[cfg(unix)]
    if let Name::Path(path) = name {
        use std::os::unix::fs::FileTypeExt as _;
        return std::fs::metadata(path).is_ok_and(|about| about.file_type().is_char_device());
    }
    let _ = name;
    false
}

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    let output = args.output()?;
    let map = read_map(&args.card, args.surface)?;
    let (input, total) = args.input.open()?;
    let mut target = Target::create(&output)?.made_from(input.seen().as_ref());
    let done = stream(args, &map, (input, total), &mut target)?;
    target.commit()?;
    if args.json {
        let text = json(args, &output, &done);
        if output != Name::Standard {
            return files::print(&text).map_err(|e| e.although(&output.shown_as_output()));
        }
        files::say(&text);
        return Ok(());
    }
    files::say(&told(args, &output, &done));
    Ok(())
}

/// Bytes read at a time.
const CHUNK: usize = 256 * 1024;

/// What was done, and the proof where it was asked for.
struct Done {
    summary: Summary,
    proof: Option<Verdict>,
}

fn stream(
    args: &Args,
    map: &HeightMap,
    (mut input, total): (Input, Option<u64>),
    target: &mut Target,
) -> Result<Done, Failure> {
    let mut tail = Tail::default();
    let mut progress = Progress::new(total, args.quiet);
    let mut rewritten = Vec::with_capacity(2 * CHUNK);
    let outcome = (|| {
        let refuse = |error: evengap::Error, tail: &Tail, written: bool| {
            let lines = error.places().iter().filter_map(|p| Some((p.line, args.line(p.line, tail)?))).collect();
            let source = Source { name: args.input.shown(), lines };
            Failure::from(Refusal::by_engine(&error, source).with_note(written.then_some(PARTLY_WRITTEN)))
        };
        let mut written = false;
        let options = args.options();
        let mut rewriter = Rewriter::new(map, options).map_err(|e| Refusal::by_engine(&e, Source::default()))?;
        let mut prover = args.prove.then(|| Prover::new(map, &options, rewriter.taper()));
        loop {
            tail.turn();
            match input.read(tail.room()) {
                Ok(0) => {
                    tail.fill(0);
                    break;
                }
                Ok(n) => {
                    tail.fill(n);
                    let from = rewritten.len();
                    rewriter.push(tail.fresh(), &mut rewritten).map_err(|e| refuse(e, &tail, written))?;
                    if let Some(prover) = prover.as_mut().filter(|_| !rewriter.is_refused()) {
                        prover.take(tail.fresh(), &rewritten[from..]).map_err(|e| refuse(e, &tail, written))?;
                    }
                    progress.add(n);
                }
                Err(e) if e.kind() == io::ErrorKind::Interrupted => tail.fill(0),
                Err(e) => return Err(Failure::io("cannot read", &PathBuf::from(args.input.shown()), e)),
            }
            if rewritten.len() >= CHUNK {
                target.put(&rewritten)?;
                written |= target.is_gone();
                rewritten.clear();
            }
        }
        let from = rewritten.len();
        let summary = rewriter.finish(&mut rewritten).map_err(|e| refuse(e, &tail, written))?;
        let proof = match prover {
            Some(mut prover) => {
                prover.take(&[], &rewritten[from..]).map_err(|e| refuse(e, &tail, written))?;
                Some(prover.finish()?)
            }
            None => None,
        };
        target.put(&rewritten)?;
        Ok(Done { summary, proof })
    })();
    progress.finish();
    outcome
}

const PARTLY_WRITTEN: &str = "part of the output was already written: throw it away";

impl Args {
    /// A line of the input, for a message: from what was read last, or from the file itself.
    fn line(&self, line: u64, tail: &Tail) -> Option<Vec<u8>> {
        tail.line(line).or_else(|| match &self.input {
            Name::Standard => None,
            Name::Path(path) => files::line_of(std::fs::File::open(path).ok()?, line),
        })
    }
}

/// The last two pieces that were read, so that a refusal can show the line it speaks of even where the input is a pipe.
#[derive(Default)]
struct Tail {
    /// The piece before, then the fresh one.
    bytes: Vec<u8>,
    fresh: usize,
    /// The line at the start of `bytes`.
    first_line: u64,
}

impl Tail {
    /// The fresh piece becomes the one before, and that one is forgotten.
    fn turn(&mut self) {
        if self.first_line == 0 {
            self.first_line = 1;
        }
        let forgotten = self.bytes[..self.fresh].iter().filter(|b| **b == b'\n').count();
        self.first_line += u64::try_from(forgotten).unwrap_or(0);
        self.bytes.drain(..self.fresh);
        self.fresh = self.bytes.len();
        self.bytes.resize(self.fresh + CHUNK, 0);
    }

    fn room(&mut self) -> &mut [u8] {
        &mut self.bytes[self.fresh..]
    }

    fn fill(&mut self, n: usize) {
        self.bytes.truncate(self.fresh + n);
    }

    fn fresh(&self) -> &[u8] {
        &self.bytes[self.fresh..]
    }

    fn line(&self, wanted: u64) -> Option<Vec<u8>> {
        let skip = usize::try_from(wanted.checked_sub(self.first_line)?).ok()?;
        // The first line kept may lack its beginning.
        if skip == 0 && self.first_line > 1 {
            return None;
        }
        self.bytes.split(|b| *b == b'\n').nth(skip).map(<[u8]>::to_vec)
    }
}

#[derive(serde::Serialize)]
struct Report<'a> {
    input: String,
    output: String,
    #[serde(flatten)]
    summary: &'a Summary,
    #[serde(skip_serializing_if = "Option::is_none")]
    proof: Option<&'a Verdict>,
    caution: String,
}

fn json(args: &Args, output: &Name, Done { summary, proof }: &Done) -> String {
    let report = Report {
        input: args.input.shown(),
        output: output.shown_as_output(),
        summary,
        proof: proof.as_ref(),
        caution: cautions::paragraph(&cautions::PRINTING),
    };
    let mut text = serde_json::to_string_pretty(&report).unwrap_or_default();
    text.push('\n');
    text
}

/// The report in a few plain lines.
fn told(args: &Args, output: &Name, Done { summary: s, proof }: &Done) -> String {
    let mut lines = Vec::new();
    if !args.quiet {
        lines.push(match (&args.input, output) {
            (a, b) if a == b && *a != Name::Standard => format!("Rewrote {} in place.", a.shown()),
            (a, b) => format!("Rewrote {} to {}.", a.shown(), b.shown_as_output()),
        });
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
        lines.extend(proof.as_ref().map(prove::report));
        lines.extend(not_understood(s));
    }
    for warning in &s.warnings {
        lines.push(format!("Warning: {}{}", warning.message, places(&warning.lines, warning.count)));
    }
    if !args.quiet {
        lines.push(cautions::lines(&cautions::PRINTING));
    }
    if lines.is_empty() {
        return String::new();
    }
    lines.push(String::new());
    lines.join("\n")
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
    fn tapers_are_read() {
        assert_eq!(parse_taper("auto"), Ok(Taper::Auto));
        assert_eq!(parse_taper("0.5..6"), Ok(Taper::Range { from: 0.5, to: 6.0 }));
        assert_eq!(parse_taper(".5..6."), Ok(Taper::Range { from: 0.5, to: 6.0 }));
        for wrong in ["", "1", "1..", "..2", "a..b", "1..nan", "1..inf", "1...2x"] {
            assert!(parse_taper(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn the_tail_finds_lines_of_the_last_two_pieces() {
        let mut tail = Tail::default();
        for piece in [&b"one\ntw"[..], b"o\nthree\nfo", b"ur\nfive"] {
            tail.turn();
            tail.room()[..piece.len()].copy_from_slice(piece);
            tail.fill(piece.len());
            assert_eq!(tail.fresh(), piece);
        }
        assert_eq!(tail.line(1), None);
        assert_eq!(tail.line(2), None, "its beginning is gone");
        assert_eq!(tail.line(3).as_deref(), Some(&b"three"[..]));
        assert_eq!(tail.line(4).as_deref(), Some(&b"four"[..]));
        assert_eq!(tail.line(5).as_deref(), Some(&b"five"[..]));
        assert_eq!(tail.line(6), None);
    }

    #[test]
    fn warnings_name_their_lines() {
        assert_eq!(places(&[3], 1), " (line 3)");
        assert_eq!(places(&[3, 4], 2), " (lines 3, 4)");
        assert_eq!(places(&[3, 4], 9), " (lines 3, 4 and 7 more)");
        assert_eq!(places(&[], 0), "");
    }
}
