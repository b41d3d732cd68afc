//! A file as it was when it was opened, so that a change by somebody else is noticed and not written over.

use super::place_of;
use std::fs::{File, Metadata};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Which file it was, how long it was and when it was last written.
///
/// A writer who puts the time back, or who writes twice within one tick of the file system's clock (some milliseconds; two seconds
/// on some memory cards) and leaves the length alone, is not noticed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Seen {
    /// Its one full name.
    pub(super) place: PathBuf,
    state: State,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct State {
    length: u64,
    written: Option<SystemTime>,
    /// Device and number.
    identity: Option<[u64; 2]>,
}

impl State {
    pub(super) fn of(about: &Metadata) -> State {
        #[cfg(unix)]
        let identity = {
            use std::os::unix::fs::MetadataExt as _;
            Some([about.dev(), about.ino()])
        };
        #[cfg(not(unix))]
        let identity = None;
        State { length: about.len(), written: about.modified().ok(), identity }
    }
}

impl Seen {
    pub(super) fn new(place: PathBuf, state: State) -> Seen {
        Seen { place, state }
    }

    /// Fails unless the file is there as it was.
    pub(super) fn check(&self) -> io::Result<()> {
        match std::fs::symlink_metadata(&self.place) {
            Ok(about) if State::of(&about) == self.state => Ok(()),
            Ok(_) => Err(io::Error::other("somebody changed it after it was read; nothing was written")),
            Err(e) if e.kind() == io::ErrorKind::NotFound => {
                Err(io::Error::other("somebody removed it after it was read; nothing was written"))
            }
            Err(e) => Err(e),
        }
    }
}

/// What is read: a file that is watched, or a stream.
pub(crate) struct Input {
    from: From,
    read: u64,
}

enum From {
    Standard(io::Stdin),
    /// A device or a pipe.
    Stream(File),
    File(File, Seen),
}

impl Input {
    pub(super) fn standard() -> Input {
        Input { from: From::Standard(io::stdin()), read: 0 }
    }

    pub(super) fn open(path: &Path) -> io::Result<Input> {
        let file = File::open(path)?;
        let about = file.metadata()?;
        if about.is_dir() {
            return Err(io::ErrorKind::IsADirectory.into());
        }
        let from = if about.is_file() {
            let place = place_of(path).unwrap_or_else(|_| path.to_path_buf());
            From::File(file, Seen::new(place, State::of(&about)))
        } else {
            From::Stream(file)
        };
        Ok(Input { from, read: 0 })
    }

    /// The length in bytes, where it is a file.
    pub(super) fn length(&self) -> Option<u64> {
        match &self.from {
            From::File(_, seen) => Some(seen.state.length),
            _ => None,
        }
    }

    /// The file as it was when it was opened.
    pub(crate) fn seen(&self) -> Option<Seen> {
        match &self.from {
            From::File(_, seen) => Some(seen.clone()),
            _ => None,
        }
    }

    /// At the end of a file: is it still the one that was opened, and was all of it read?
    fn check(&self) -> io::Result<()> {
        let From::File(file, seen) = &self.from else { return Ok(()) };
        let now = State::of(&file.metadata()?);
        // Some files of the system say that they are empty and are not.
        let whole = self.read == seen.state.length || seen.state.length == 0;
        if now == seen.state && whole { Ok(()) } else { Err(io::Error::other(CHANGED)) }
    }
}

const CHANGED: &str = "it changed while it was read; wait until whatever writes it is done";

impl Read for Input {
    fn read(&mut self, piece: &mut [u8]) -> io::Result<usize> {
        let n = match &mut self.from {
            From::Standard(input) => input.read(piece)?,
            From::Stream(file) | From::File(file, _) => file.read(piece)?,
        };
        if n == 0 && !piece.is_empty() {
            self.check()?;
        }
        self.read += u64::try_from(n).unwrap_or(0);
        Ok(n)
    }
}
