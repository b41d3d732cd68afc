//! `evengap rewrite`: sliced files in, files that follow the bed out.

mod crew;
mod many;
mod one;
mod report;

use self::one::{Job, Ready};
use crate::cautions;
use crate::files::{self, Name};
use crate::millimetres::{parse_millimetres, parse_shift, parse_tolerance};
use crate::progress::Progress;
use crate::reading::Start;
use crate::report::{Failure, To};
use crate::surface::{LARGEST, Surface, chosen_map, say_choice};
use clap::{ArgGroup, ValueEnum};
use evengap::follow::{Options, Taper};
use std::io::IsTerminal as _;
use std::num::NonZeroUsize;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

/// Rewrite sliced files so that the nozzle keeps the same gap over the bed
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP), group = ArgGroup::new("where").required(true))]
pub(crate) struct Args {
    /// The sliced file, or - for standard input; several with --out-dir or --in-place
    #[arg(value_name = "IN", required = true)]
    inputs: Vec<Name>,
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(long, value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// Where the rewritten file goes, or - for standard output
    #[arg(short, long, value_name = "OUT", group = "where")]
    output: Option<Name>,
    /// Replace IN itself, whole or not at all
    #[arg(long, group = "where")]
    in_place: bool,
    /// Put each rewritten file into this folder, under its own name; the folder is made if it is not there
    #[arg(long, value_name = "DIR", group = "where")]
    out_dir: Option<PathBuf>,
    /// At most so many threads, shared out among the files, up to four for each; as many as the machine has cores unless it is said
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,
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
    json: bool,
    /// Say nothing when all went well, except warnings, and in one line what is refused: so it is with --in-place where standard
    /// error is no terminal
    #[arg(short, long, conflicts_with = "json")]
    quiet: bool,
}

const AFTER_HELP: &str =
    "The output is written beside the target, flushed to the medium and renamed when it is whole: on any error the target is as it \
     was. IN stays as it is unless --in-place is given; then it must not change while it is rewritten, or nothing is written. \
     Behind a symbolic link its end is replaced and the link stays; of a file with several names (hard links) only the one \
     named is replaced. Mode, and as far as the system allows owner, group, access list and extended attributes, are the old \
     file's. A run that is killed may leave a file .evengap-*.part beside the target: the next run there names it. Of several files each is rewritten or refused by itself; the exit \
     status is 1 if any was refused. Where the output is a stream, a refusal midway leaves a part that must be thrown away; the exit status is \
     1.\n\nExamples:
  evengap rewrite part.gcode --card bed.toml -o part.even.gcode
  evengap rewrite part.gcode --card bed.toml -o part.even.gcode --taper 0.6..6 --prove
  evengap rewrite - --card bed.toml -o - < part.gcode > part.even.gcode
  evengap rewrite evening/*.gcode --card bed.toml --out-dir even
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
    /// A step of another program, that replaces the file it is given, writes to a log.
    pub(crate) fn tells(&self) -> To {
        if self.json {
            To::Program
        } else if self.quiet || self.in_place && !std::io::stderr().is_terminal() {
            To::Log
        } else {
            To::Person
        }
    }

    fn is_quiet(&self) -> bool {
        self.tells() == To::Log
    }

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

    /// What is to be rewritten, and to where.
    fn jobs(&self) -> Result<Vec<Job>, Failure> {
        if self.inputs.contains(&Name::Standard) && self.card == Name::Standard {
            return Err(Failure::wrong_usage("IN and CARD cannot both be standard input"));
        }
        if self.output.is_some() && self.inputs.len() > 1 {
            return Err(Failure::wrong_usage("several files cannot go to one OUT: give --out-dir DIR"));
        }
        let jobs = self.inputs.iter().map(|input| Ok(Job { input: input.clone(), output: self.output(input)? }));
        let jobs: Vec<Job> = jobs.collect::<Result<_, Failure>>()?;
        for (n, job) in jobs.iter().enumerate() {
            if let Some(other) = jobs[..n].iter().find(|other| job.output.is_same_file(&other.output)) {
                let [a, b] = [&other.input, &job.input].map(Name::shown);
                return Err(Failure::plain(format!("{a} and {b} would both go to {}", job.output.shown())));
            }
            if let Some(other) = jobs.iter().find(|other| *other != job && job.output.is_same_file(&other.input)) {
                return Err(Failure::plain(format!(
                    "the rewritten {} would take the place of {}, which is to be rewritten too",
                    job.input.shown(),
                    other.input.shown()
                )));
            }
        }
        Ok(jobs)
    }

    fn output(&self, input: &Name) -> Result<Name, Failure> {
        let given = match (&self.output, &self.out_dir, input) {
            (Some(output), ..) => Some(output.clone()),
            (None, Some(folder), Name::Path(path)) => match path.file_name() {
                Some(name) => Some(Name::Path(folder.join(name))),
                None => return Err(Failure::plain(format!("{} is not a file", path.display()))),
            },
            (None, Some(_), Name::Standard) => {
                return Err(Failure::wrong_usage("standard input has no name to go by in --out-dir: give -o OUT"));
            }
            (None, None, _) => None,
        };
        match given {
            Some(output) => {
                if output.is_same_file(input) && !is_device(&output) {
                    let message = format!(
                        "{} is IN itself: add --in-place instead to replace it, or take another name or folder",
                        output.shown()
                    );
                    return Err(Failure::plain(message));
                }
                files::keep_apart(&output, "the rewritten file", [&self.card])?;
                Ok(output)
            }
            None if *input == Name::Standard => {
                Err(Failure::wrong_usage("standard input cannot be rewritten in place: give -o OUT"))
            }
            None => {
                files::keep_apart(input, "the rewritten file", [&self.card])?;
                match input {
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
    let jobs = args.jobs()?;
    let (map, choice) = chosen_map(&args.card.text(LARGEST)?, &args.card, args.surface)?;
    say_choice(choice.filter(|_| !args.is_quiet()));
    if let Some(folder) = &args.out_dir {
        std::fs::create_dir_all(folder).map_err(|e| Failure::io("cannot make the folder", folder, e))?;
    }
    let ready = Ready::new(&map, args.options(), args.prove)?;
    let total = jobs.iter().map(|job| job.input.size()).sum::<Option<u64>>();
    let progress = Shared(Arc::new(Mutex::new(Progress::new(total, args.is_quiet()))));
    let cores = || std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let threads = args.threads.unwrap_or_else(cores);
    let [job] = &jobs[..] else { return many::run(args, &jobs, threads, &ready, &progress) };
    let done = ready.rewrite(job, threads, &progress);
    progress.finish();
    let done = done?;
    if args.json {
        let text = as_json(&report::Report::of(job, &done));
        if job.output != Name::Standard {
            return files::print(&text).map_err(|e| e.although(&job.output.shown_as_output()));
        }
        files::say(&text);
        return Ok(());
    }
    files::say(&report::told(job, &done, args.is_quiet()));
    Ok(())
}

fn as_json(value: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

/// One bar for all that is read, by whichever thread.
#[derive(Clone)]
struct Shared(Arc<Mutex<Progress>>);

impl Shared {
    fn add(&self, bytes: usize) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).add(bytes);
    }

    fn finish(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).finish();
    }
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
}
