//! Files and standard streams: whole texts in, and a target that is replaced whole or not at all.

use crate::report::Failure;
use std::fs::{self, File};
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

    /// Opens it for reading; the length where it is a file.
    pub(crate) fn open(&self) -> Result<(Box<dyn Read>, Option<u64>), Failure> {
        match self {
            Name::Standard => Ok((Box::new(io::stdin().lock()), None)),
            Name::Path(path) => {
                let fail = |e| Failure::io("cannot read", path, e);
                let file = File::open(path).map_err(fail)?;
                let about = file.metadata().map_err(fail)?;
                if about.is_dir() {
                    return Err(fail(io::Error::from(io::ErrorKind::IsADirectory)));
                }
                Ok((Box::new(file), about.is_file().then_some(about.len())))
            }
        }
    }

    /// Reads the whole as text, at most `limit` bytes.
    pub(crate) fn text(&self, limit: u64) -> Result<String, Failure> {
        let (reader, _) = self.open()?;
        let mut bytes = Vec::new();
        reader
            .take(limit + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| Failure::io("cannot read", Path::new(&self.shown()), e))?;
        if u64::try_from(bytes.len()).is_ok_and(|n| n > limit) {
            return Err(Failure::plain(format!("{} is larger than {limit} bytes", self.shown())));
        }
        String::from_utf8(bytes).map_err(|e| {
            let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|b| **b == b'\n').count();
            Failure::plain(format!("{}:{line}: the text is not UTF-8", self.shown()))
        })
    }
}

/// Refuses an output, such as `"the test print"`, that would take the place of a file that the command reads or writes besides: an
/// evening's readings are not to be lost by a slip in a name.
pub(crate) fn keep_apart<'a>(
    output: &Name,
    what: &str,
    others: impl IntoIterator<Item = &'a Name>,
) -> Result<(), Failure> {
    let same =
        |a: &Path, b: &Path| a == b || matches!((fs::canonicalize(a), fs::canonicalize(b)), (Ok(a), Ok(b)) if a == b);
    let Name::Path(path) = output else { return Ok(()) };
    // A device or a pipe is no file that could be lost.
    if fs::metadata(path).is_ok_and(|about| !about.is_file()) {
        return Ok(());
    }
    let meets = others.into_iter().any(|other| matches!(other, Name::Path(other) if same(path, other)));
    if meets {
        return Err(Failure::plain(format!(
            "{what} would take the place of {}, which is used here as well: take another name",
            path.display()
        )));
    }
    Ok(())
}

/// Where output goes: a standard stream as it comes, or a file that appears only when it is whole.
pub(crate) enum Target {
    Stream(io::Stdout),
    /// A device or pipe: there is nothing to rename.
    Direct(File, PathBuf),
    Replace(tempfile::NamedTempFile, PathBuf),
}

impl Target {
    /// Prepares the target. Nothing that exists is touched before [`Target::commit`].
    pub(crate) fn create(name: &Name) -> Result<Target, Failure> {
        let Name::Path(path) = name else { return Ok(Target::Stream(io::stdout())) };
        let fail = |e| Failure::io("cannot write", path, e);
        let path = resolved(path).map_err(fail)?;
        let about = match fs::metadata(&path) {
            Ok(about) => Some(about),
            Err(e) if e.kind() == io::ErrorKind::NotFound => None,
            Err(e) => return Err(fail(e)),
        };
        if let Some(about) = &about {
            if about.is_dir() {
                return Err(fail(io::ErrorKind::IsADirectory.into()));
            }
            if !about.is_file() {
                return Ok(Target::Direct(File::options().write(true).open(&path).map_err(fail)?, path));
            }
            if about.permissions().readonly() {
                return Err(fail(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only")));
            }
        }
        let folder = folder_of(&path);
        let mut builder = tempfile::Builder::new();
        builder.prefix(".evengap-").suffix(".part");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let temp = builder.tempfile_in(folder).map_err(fail)?;
        if let Some(about) = about {
            take_after(temp.as_file(), &about);
        }
        Ok(Target::Replace(temp, path))
    }

    /// The whole output is written: puts it in place, and comes back only when the medium has it.
    pub(crate) fn commit(self) -> Result<(), Failure> {
        match self {
            Target::Stream(mut out) => out.flush().map_err(Failure::out),
            Target::Direct(mut file, path) => file.flush().map_err(|e| Failure::io("cannot write", &path, e)),
            Target::Replace(temp, path) => {
                let fail = |e| Failure::io("cannot write", &path, e);
                // A memory card may be pulled the moment the prompt is back.
                temp.as_file().sync_all().map_err(fail)?;
                temp.persist(&path).map_err(|e| fail(e.error))?;
                sync_folder(folder_of(&path));
                Ok(())
            }
        }
    }

    /// Whether what was written is already out of our hands.
    pub(crate) fn is_gone(&self) -> bool {
        !matches!(self, Target::Replace(..))
    }

    /// Writes all of `bytes`.
    pub(crate) fn put(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        match self {
            Target::Stream(out) => out.write_all(bytes).map_err(Failure::out),
            Target::Direct(file, path) => file.write_all(bytes).map_err(|e| Failure::io("cannot write", path, e)),
            Target::Replace(temp, path) => temp.write_all(bytes).map_err(|e| Failure::io("cannot write", path, e)),
        }
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

/// Gives the new file the old one's owner and mode, as far as the file system and our rights allow: a card's file system knows neither.
#[cfg(unix)]
fn take_after(file: &File, about: &fs::Metadata) {
    use std::os::unix::fs::{MetadataExt as _, fchown};
    let _ = fchown(file, Some(about.uid()), Some(about.gid()));
    let _ = file.set_permissions(about.permissions());
}

#[cfg(not(unix))]
fn take_after(file: &File, about: &fs::Metadata) {
    let _ = file.set_permissions(about.permissions());
}

/// The new name must reach the medium too. Not every file system can; then nothing more can be done.
fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    #[cfg(not(unix))]
    let _ = folder;
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
