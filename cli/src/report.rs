//! What went wrong, told to a person or to a program, and the exit status that follows.

use annotate_snippets::{AnnotationKind, Level, Origin, Renderer, Snippet};
use evengap::{Error, ErrorKind, Place};
use std::io;
use std::path::Path;

/// Why the command did not do what was asked.
#[derive(Debug)]
pub(crate) enum Failure {
    /// A text, a toolpath or an option was refused.
    Refused(Box<Refusal>),
    /// A file, or the machine.
    Plain(String),
    /// Wrong usage (or help and version, which clap reports the same way).
    Usage(clap::Error),
    /// It is told already: only the exit status is left to say so.
    Told,
    /// The reader of our output went away: nothing to say, nobody to say it to.
    Closed,
}

/// What was refused, where, and what to do about it.
#[derive(Debug)]
pub(crate) struct Refusal {
    kind: Kind,
    message: String,
    help: Option<String>,
    places: Vec<Place>,
    source: Source,
    note: Option<String>,
}

impl Refusal {
    /// The engine's error; with what is known of the text that it speaks of.
    pub(crate) fn by_engine(error: &Error, source: Source) -> Refusal {
        Refusal {
            kind: Kind::Engine(error.kind()),
            message: error.message().to_owned(),
            // The engine speaks of what may be allowed; here that is an option.
            help: error.help().map(|help| help.replace("allow `", "add `--allow ")),
            places: error.places().to_vec(),
            source,
            note: None,
        }
    }

    /// The command's own, about a line of text; the column counts bytes from 1.
    pub(crate) fn of_line(message: String, name: String, place: Place, line: &str) -> Refusal {
        let source = Source { name, lines: vec![(place.line, line.as_bytes().to_vec())] };
        Refusal { kind: Kind::Command("points"), message, help: None, places: vec![place], source, note: None }
    }

    /// A rewritten file that is not what it should be.
    pub(crate) fn unproven(fault: &str) -> Refusal {
        Refusal {
            kind: Kind::Command("unproven"),
            message: format!("the rewritten file is not proven: {fault}"),
            help: Some("this is a fault of evengap, not of your file: nothing was written; keep the file and the card, and report it".into()),
            places: Vec::new(),
            source: Source::default(),
            note: None,
        }
    }

    /// Points at a place, where the engine knows none.
    pub(crate) fn at(mut self, place: Place, line: &str) -> Refusal {
        if self.places.is_empty() {
            self.places = vec![place];
            self.source.lines = vec![(place.line, line.as_bytes().to_vec())];
        }
        self
    }

    /// With one thing more to know.
    pub(crate) fn with_note(mut self, note: Option<&str>) -> Refusal {
        self.note = note.map(str::to_owned);
        self
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Failure {
        Failure::Refused(Box::new(refusal))
    }
}

/// A text that an error's places lie in.
#[derive(Debug, Default)]
pub(crate) struct Source {
    /// What messages call it.
    pub(crate) name: String,
    /// Lines that the places name, as far as they are at hand.
    pub(crate) lines: Vec<(u64, Vec<u8>)>,
}

impl Source {
    /// The lines of `text` that the error speaks of.
    pub(crate) fn of_text(name: String, text: &str, error: &Error) -> Source {
        let line = |place: &Place| {
            let index = usize::try_from(place.line).ok()?.checked_sub(1)?;
            Some((place.line, text.lines().nth(index)?.as_bytes().to_vec()))
        };
        let lines = error.places().iter().filter_map(line).collect();
        Source { name, lines }
    }
}

impl Failure {
    /// Options that do not go together.
    pub(crate) fn wrong_usage(message: impl std::fmt::Display) -> Failure {
        use clap::CommandFactory as _;
        Failure::Usage(crate::Cli::command().error(clap::error::ErrorKind::ArgumentConflict, message))
    }

    pub(crate) fn plain(message: impl Into<String>) -> Failure {
        Failure::Plain(message.into())
    }

    pub(crate) fn io(doing: &str, path: &Path, error: io::Error) -> Failure {
        let reason = match error.kind() {
            io::ErrorKind::NotFound => "no such file or folder".to_owned(),
            io::ErrorKind::PermissionDenied if error.get_ref().is_none() => "permission denied".to_owned(),
            io::ErrorKind::IsADirectory => "it is a folder".to_owned(),
            io::ErrorKind::StorageFull => "no room left on the medium".to_owned(),
            io::ErrorKind::QuotaExceeded => "more than the quota allows".to_owned(),
            io::ErrorKind::FileTooLarge => "larger than files may be here".to_owned(),
            io::ErrorKind::ReadOnlyFilesystem => "the medium is read-only".to_owned(),
            _ => error.to_string(),
        };
        Failure::Plain(format!("{doing} {}: {reason}", path.display()))
    }

    /// A failure to write to standard output.
    pub(crate) fn out(error: io::Error) -> Failure {
        match error.kind() {
            io::ErrorKind::BrokenPipe => Failure::Closed,
            _ => Failure::io("cannot write", Path::new("standard output"), error),
        }
    }

    /// The failure came after a file was put in place, whole: whoever reads of it should know.
    pub(crate) fn although(self, written: &str) -> Failure {
        match self {
            Failure::Plain(message) => Failure::Plain(format!("{message}; {written} was written before that, whole")),
            other => other,
        }
    }

    pub(crate) fn card(error: &Error, name: String, text: &str) -> Failure {
        Refusal::by_engine(error, Source::of_text(name, text, error)).into()
    }
}

/// To whom a failure is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum To {
    /// To a person: with the lines that it speaks of.
    Person,
    /// To the log of another program: one line.
    Log,
    /// To a program: JSON.
    Program,
}

/// Tells the failure on standard error and returns the exit status.
pub(crate) fn tell(failure: &Failure, to: To) -> u8 {
    match failure {
        Failure::Usage(error) => {
            // Help and version that were asked for are data: clap writes them to standard output, with status 0.
            let printed = error.print().and_then(|()| io::Write::flush(&mut io::stdout()));
            return match printed {
                Err(lost) if !error.use_stderr() => tell(&Failure::out(lost), to),
                _ => u8::try_from(error.exit_code()).unwrap_or(2),
            };
        }
        Failure::Closed | Failure::Told => {}
        _ if to == To::Program => crate::files::say(&format!("{}\n", as_json(failure))),
        _ if to == To::Log => crate::files::say(&format!("{}\n", line(failure))),
        Failure::Plain(message) => crate::files::say(&format!(
            "{}\n",
            render(annotate_snippets::Group::with_title(Level::ERROR.primary_title(message)))
        )),
        Failure::Refused(refusal) => crate::files::say(&format!("{}\n", pointed(refusal))),
    }
    1
}

/// All that is to be known of a failure, on one line: where, what, what to do about it.
fn line(failure: &Failure) -> String {
    let Some(Fault { message, help, note, file, places, .. }) = fault(failure) else { return String::new() };
    let at = match (file, places.first()) {
        (Some(file), Some(place)) => format!("{file}:{}:{}: ", place.line, place.column),
        (Some(file), None) => format!("{file}: "),
        (None, _) => String::new(),
    };
    let more: String = [help, note].into_iter().flatten().map(|text| format!("; {text}")).collect();
    format!("{at}error: {message}{more}").replace(['\n', '\r'], " ")
}

fn render(group: annotate_snippets::Group<'_>) -> String {
    // Colour is taken out again by the stream where it is not a terminal.
    Renderer::styled().render(&[group])
}

/// Places shown of one error.
const MOST_EXCERPTS: usize = 6;

/// Longest excerpt of a line, in bytes: a line may hold 21 000.
const EXCERPT: usize = 200;

fn pointed(refusal: &Refusal) -> String {
    let Refusal { message, help, places, source, note, .. } = refusal;
    let mut group = annotate_snippets::Group::with_title(Level::ERROR.primary_title(message.as_str()));
    let excerpts: Vec<(Place, Option<Excerpt>)> = places
        .iter()
        .take(MOST_EXCERPTS)
        .map(|p| (*p, source.lines.iter().find(|(n, _)| *n == p.line).and_then(|(_, l)| excerpt(l, p.column))))
        .collect();
    for (place, excerpt) in &excerpts {
        let (line, column) = (to_usize(place.line), to_usize(place.column));
        let origin = Origin::path(source.name.as_str()).line(line).char_column(column);
        group = match excerpt {
            Some(excerpt) => {
                let mark = AnnotationKind::Primary.span(excerpt.mark.clone());
                let snippet = Snippet::source(excerpt.text.as_str()).line_start(line).annotation(mark);
                // The renderer counts the column in what it is given: right only where that is the line itself.
                if excerpt.mark.start + 1 == column {
                    group.element(snippet.path(source.name.as_str()))
                } else {
                    group.element(origin).element(snippet)
                }
            }
            None => group.element(origin),
        };
    }
    if places.is_empty() && !source.name.is_empty() {
        group = group.element(Origin::path(source.name.as_str()));
    }
    if let Some(help) = help {
        group = group.element(Level::HELP.message(help.as_str()));
    }
    if let Some(note) = note {
        group = group.element(Level::NOTE.message(note.as_str()));
    }
    render(group)
}

fn to_usize(n: u64) -> usize {
    usize::try_from(n).unwrap_or(usize::MAX)
}

/// Part of a line, and the bytes of it to point at.
#[derive(Debug, PartialEq)]
struct Excerpt {
    text: String,
    mark: std::ops::Range<usize>,
}

/// The part of a line around a column (counted from 1, in bytes): the word there is pointed at.
fn excerpt(line: &[u8], column: u64) -> Option<Excerpt> {
    let line = line.strip_suffix(b"\n").unwrap_or(line);
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    let at = to_usize(column).checked_sub(1)?.min(line.len());
    let from = if line.len() <= EXCERPT { 0 } else { at.saturating_sub(EXCERPT / 3).min(line.len() - EXCERPT) };
    let to = line.len().min(from + EXCERPT);
    let word =
        line[at..to].iter().take_while(|b| !b.is_ascii_whitespace() && **b != b';' && **b != b',').count().max(1);
    let end = (at + word).min(to);
    let mut text = String::new();
    if from > 0 {
        text.push('\u{2026}');
    }
    // Lossy by parts, so that the mark stays where it belongs whatever the bytes are.
    text.push_str(&String::from_utf8_lossy(&line[from..at]));
    let start = text.len();
    text.push_str(&String::from_utf8_lossy(&line[at..end]));
    let mark = start..text.len();
    text.push_str(&String::from_utf8_lossy(&line[end..to]));
    if to < line.len() {
        text.push('\u{2026}');
    }
    Some(Excerpt { text, mark })
}

#[derive(serde::Serialize)]
struct Told<'a> {
    error: Fault<'a>,
}

#[derive(serde::Serialize)]
struct Fault<'a> {
    kind: Kind,
    message: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    help: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<&'a str>,
    places: &'a [Place],
}

#[derive(Debug, Clone, Copy, serde::Serialize)]
#[serde(untagged)]
enum Kind {
    Engine(ErrorKind),
    Command(&'static str),
}

fn as_json(failure: &Failure) -> String {
    fault(failure).map_or(String::new(), |error| serde_json::to_string(&Told { error }).unwrap_or_default())
}

/// The failure as a value, to stand among others.
pub(crate) fn value(failure: &Failure) -> serde_json::Value {
    fault(failure).and_then(|error| serde_json::to_value(error).ok()).unwrap_or_default()
}

fn fault(failure: &Failure) -> Option<Fault<'_>> {
    match failure {
        Failure::Refused(r) => Some(Fault {
            kind: r.kind,
            message: &r.message,
            help: r.help.as_deref(),
            note: r.note.as_deref(),
            file: Some(r.source.name.as_str()).filter(|n| !n.is_empty()),
            places: &r.places,
        }),
        Failure::Plain(message) => {
            Some(Fault { kind: Kind::Command("files"), message, help: None, note: None, file: None, places: &[] })
        }
        Failure::Usage(_) | Failure::Closed | Failure::Told => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_gets_one_line() {
        let place = Place { line: 2, column: 4 };
        let refusal = Refusal::of_line("no\nnumber".into(), "a.csv".into(), place, "1,x").with_note(Some("see a.log"));
        assert_eq!(line(&refusal.into()), "a.csv:2:4: error: no number; see a.log");
        assert_eq!(line(&Failure::plain("no room")), "error: no room");
    }

    #[test]
    fn a_long_line_is_cut_around_the_word() {
        let line = [b"G1 X1 ".repeat(2000), b"Enan".to_vec(), b" F1".repeat(2000)].concat();
        let cut = excerpt(&line, 12_001).unwrap();
        assert_eq!(&cut.text[cut.mark.clone()], "Enan");
        assert!(cut.text.len() <= EXCERPT + 6, "{}", cut.text.len());
        assert!(cut.text.starts_with('\u{2026}') && cut.text.ends_with('\u{2026}'));
    }

    #[test]
    fn odd_bytes_and_columns_do_no_harm() {
        let cut = excerpt(b"\xff\xfe G1 Xnan;\x00\r\n", 7).unwrap();
        assert_eq!(&cut.text[cut.mark.clone()], "Xnan");
        assert_eq!(excerpt(b"", 1).unwrap().mark, 0..0);
        assert!(excerpt(b"G1", 99).is_some());
        assert!(excerpt(b"G1", 0).is_none());
    }
}
