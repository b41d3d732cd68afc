//! Files and standard streams: whole texts in, and a target that is replaced whole or not at all.
//!
//! | module | what it is |
//! | --- | --- |
//! | `seen` | a file as it was when it was read, so that a change by somebody else is noticed |
//! | `target` | where output goes: written beside, flushed, renamed |
//! | `kept` | owner, mode and attributes that the new file takes over from the old one |
//! | `temporary` | the file beside the target: locked while it is written, removed when we are interrupted |
//! | `left_over` | such files of runs that were killed: found and named |

mod kept;
mod left_over;
mod seen;
mod target;
mod temporary;

pub(crate) use seen::{Input, Seen};
pub(crate) use target::{Target, commit, ready};

use crate::report::Failure;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// A file, or `-` for a standard stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Name {
    Standard,
    Path(PathBuf),
}

impl std::str::FromStr for Name {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Ok(Self::from(std::ffi::OsStr::new(text)))
    }
}

impl From<&std::ffi::OsStr> for Name {
    fn from(text: &std::ffi::OsStr) -> Self {
        if text == "-" { Name::Standard } else { Name::Path(text.into()) }
    }
}

impl From<std::ffi::OsString> for Name {
    fn from(text: std::ffi::OsString) -> Self {
        Self::from(text.as_os_str())
    }
}

impl Name {
    /// How messages name it when it is read.
    pub(crate) fn shown(&self) -> String {
        match self {
            Name::Standard => "standard input".to_owned(),
            Name::Path(path) => path.display().to_string(),
        }
    }

    /// How messages name it when it is written.
    pub(crate) fn shown_as_output(&self) -> String {
        match self {
            Name::Standard => "standard output".to_owned(),
            Name::Path(path) => path.display().to_string(),
        }
    }

    /// How long it is, where it is a file.
    pub(crate) fn size(&self) -> Option<u64> {
        let Name::Path(path) = self else { return None };
        fs::metadata(path).ok().filter(fs::Metadata::is_file).map(|about| about.len())
    }

    /// Opens it for reading; the length where it is a file. A file that changes before its end is read fails there: half of one and
    /// half of another is neither.
    pub(crate) fn open(&self) -> Result<(Input, Option<u64>), Failure> {
        let input = match self {
            Name::Standard => Input::standard(),
            Name::Path(path) if path.as_os_str().is_empty() => {
                return Err(Failure::plain("the name of a file is empty: is EVENGAP_CARD set to nothing?"));
            }
            Name::Path(path) => Input::open(path).map_err(|e| Failure::io("cannot read", path, e))?,
        };
        let length = input.length();
        Ok((input, length))
    }

    /// Reads the whole as text, at most `limit` bytes.
    pub(crate) fn text(&self, limit: u64) -> Result<String, Failure> {
        Ok(self.text_as_seen(limit)?.0)
    }

    /// Reads the whole as text, at most `limit` bytes, and remembers the file as it was.
    pub(crate) fn text_as_seen(&self, limit: u64) -> Result<(String, Option<Seen>), Failure> {
        let (mut input, _) = self.open()?;
        let seen = input.seen();
        let mut bytes = Vec::new();
        // Not `take`: the end of the file is to be seen, so that a change is.
        let mut piece = [0; 1 << 14];
        loop {
            let n = match input.read(&mut piece) {
                Ok(n) => n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                Err(e) => return Err(Failure::io("cannot read", Path::new(&self.shown()), e)),
            };
            if n == 0 {
                break;
            }
            bytes.extend_from_slice(&piece[..n]);
            if u64::try_from(bytes.len()).is_ok_and(|n| n > limit) {
                return Err(Failure::plain(format!("{} is larger than {limit} bytes", self.shown())));
            }
        }
        let text = String::from_utf8(bytes).map_err(|e| {
            let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|b| **b == b'\n').count();
            Failure::plain(format!("{}:{line}: the text is not UTF-8", self.shown()))
        })?;
        Ok((text, seen))
    }

    /// Whether both are one file, by whatever links and ways round it is named. Two hard links are two files: either can be
    /// replaced without the other.
    pub(crate) fn is_same_file(&self, other: &Name) -> bool {
        match (self, other) {
            (Name::Path(a), Name::Path(b)) => a == b || matches!((place_of(a), place_of(b)), (Ok(a), Ok(b)) if a == b),
            _ => false,
        }
    }
}

/// Refuses an output, such as `"the test print"`, that would take the place of a file that the command reads or writes besides: an
/// evening's readings are not to be lost by a slip in a name.
pub(crate) fn keep_apart<'a>(
    output: &Name,
    what: &str,
    others: impl IntoIterator<Item = &'a Name>,
) -> Result<(), Failure> {
    let Name::Path(path) = output else { return Ok(()) };
    // A device or a pipe is no file that could be lost.
    if fs::metadata(path).is_ok_and(|about| !about.is_file()) {
        return Ok(());
    }
    if others.into_iter().any(|other| output.is_same_file(other)) {
        return Err(Failure::plain(format!(
            "{what} would take the place of {}, which is used here as well: take another name",
            path.display()
        )));
    }
    Ok(())
}

/// Finds a line again without holding more than one piece of the text, or more than 1 MiB of the line.
pub(crate) fn line_of(mut text: impl Read, wanted: u64) -> Option<Vec<u8>> {
    const LONGEST: usize = 1 << 20;
    const PIECE: usize = 256 * 1024;
    let mut piece = vec![0; PIECE];
    let (mut line, mut found) = (1, Vec::new());
    loop {
        let n = text.read(&mut piece).ok()?;
        for byte in &piece[..n] {
            if line == wanted && found.len() < LONGEST {
                found.push(*byte);
            }
            if *byte == b'\n' {
                if line == wanted {
                    return Some(found);
                }
                line += 1;
            }
        }
        if n == 0 {
            return (line == wanted && !found.is_empty()).then_some(found);
        }
    }
}

/// The file that a chain of symbolic links ends at, whether it exists or not, by its one full name.
fn place_of(path: &Path) -> io::Result<PathBuf> {
    let end = resolved(path)?;
    match end.file_name() {
        Some(name) => Ok(fs::canonicalize(folder_of(&end))?.join(name)),
        None => fs::canonicalize(end),
    }
}

/// The file that a chain of symbolic links ends at, whether it exists or not, so that the link stays and its end is replaced.
fn resolved(path: &Path) -> io::Result<PathBuf> {
    const LONGEST_CHAIN: usize = 40;
    let mut path = path.to_path_buf();
    for _ in 0..LONGEST_CHAIN {
        match fs::read_link(&path) {
            // `join` keeps an absolute link as it is.
            Ok(next) => path = folder_of(&path).join(next),
            Err(_) => return Ok(path),
        }
    }
    Err(io::Error::other("too many symbolic links"))
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Writes text to standard output.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout();
    out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(Failure::out)
}

/// Writes text to standard error; there is nobody to tell if that fails.
pub(crate) fn say(text: &str) {
    let _ = anstream::stderr().write_all(text.as_bytes());
}
