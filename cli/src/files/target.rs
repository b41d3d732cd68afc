//! Where output goes: a standard stream as it comes, or a file that appears only when it is whole.

use super::kept::Kept;
use super::seen::{Seen, State};
use super::temporary::{Temporary, watch_signals};
use super::{Name, folder_of, left_over, place_of, resolved, say};
use crate::report::Failure;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Where output goes.
pub(crate) enum Target {
    Stream(io::Stdout),
    /// A device or pipe: there is nothing to rename.
    Direct(File, PathBuf),
    /// A file beside the one that it is to replace.
    Replace(Box<Replacement>),
}

/// A file that is being written, and the one whose place it takes.
pub(crate) struct Replacement {
    temporary: Temporary,
    path: PathBuf,
    /// What the old file leaves to it.
    kept: Option<Kept>,
    /// The old file as it was read: if it is another by now, it stays.
    read: Option<Seen>,
}

impl Target {
    /// Prepares the target. Nothing that exists is touched before [`Target::commit`].
    pub(crate) fn create(name: &Name) -> Result<Target, Failure> {
        watch_signals();
        let Name::Path(path) = name else { return Ok(Target::Stream(io::stdout())) };
        if path == Path::new("/dev/stdout") {
            return Ok(Target::Stream(io::stdout()));
        }
        let fail = |e| Failure::io("cannot write", path, e);
        let about = match fs::metadata(path) {
            Ok(about) => Some(about),
            Err(e) if e.kind() == io::ErrorKind::NotFound => None,
            Err(e) => return Err(fail(e)),
        };
        if let Some(about) = &about {
            if about.is_dir() {
                return Err(fail(io::ErrorKind::IsADirectory.into()));
            }
            if is_disk(about) {
                return Err(fail(io::Error::other("it is a whole disk, and not a file on it")));
            }
            if !about.is_file() {
                return Ok(Target::Direct(File::options().write(true).open(path).map_err(fail)?, path.clone()));
            }
            if about.permissions().readonly() {
                return Err(fail(io::Error::new(io::ErrorKind::PermissionDenied, "the file is read-only")));
            }
        }
        let path = resolved(path).map_err(fail)?;
        if about.is_some() {
            may_write(&path).map_err(fail)?;
        }
        let folder = folder_of(&path);
        left_over::tell_of(folder);
        let temporary = Temporary::create(folder).map_err(fail)?;
        let kept = about.map(|about| Kept::of(&path, about));
        if let Some(kept) = &kept {
            temporary.file().and_then(|file| kept.give(file)).map_err(fail)?;
        }
        Ok(Target::Replace(Box::new(Replacement { temporary, path, kept, read: None })))
    }

    /// What is written comes from this file: if the target is that file, it must be as it was when its time comes to be replaced.
    #[must_use]
    pub(crate) fn made_from(mut self, seen: Option<&Seen>) -> Target {
        if let (Target::Replace(new), Some(seen)) = (&mut self, seen)
            && place_of(&new.path).is_ok_and(|place| place == seen.place)
        {
            new.read = Some(seen.clone());
        }
        self
    }

    /// The whole output is written: puts it in place, and comes back only when the medium has it. Returns the new file as it now is.
    pub(crate) fn commit(mut self) -> Result<Option<Seen>, Failure> {
        self.settle()?;
        self.put_in_place()
    }

    /// Brings all that was written to the medium; the target stays as it is.
    fn settle(&mut self) -> Result<(), Failure> {
        match self {
            Target::Stream(out) => out.flush().map_err(Failure::out),
            Target::Direct(file, path) => file.flush().map_err(|e| Failure::io("cannot write", path, e)),
            Target::Replace(new) => {
                let settle = || {
                    let file = new.temporary.file()?;
                    if let Some(kept) = &new.kept {
                        kept.give_mode(file)?;
                    }
                    // A memory card may be pulled the moment the prompt is back.
                    file.sync_all()
                };
                settle().map_err(|e| Failure::io("cannot write", &new.path, e))
            }
        }
    }

    fn put_in_place(self) -> Result<Option<Seen>, Failure> {
        let Target::Replace(new) = self else { return Ok(None) };
        let Replacement { temporary, path, kept, read } = *new;
        let fail = |e| Failure::io("cannot write", &path, e);
        let file = temporary.file().map_err(fail)?;
        let lost = kept.map_or(Vec::new(), |kept| kept.lost(file));
        let state = State::of(&file.metadata().map_err(fail)?);
        if let Some(read) = read {
            read.check().map_err(fail)?;
        }
        temporary.rename(&path).map_err(fail)?;
        sync_folder(folder_of(&path));
        if !lost.is_empty() {
            say(&format!("Note: {} could not keep {}.\n", path.display(), lost.join(" and ")));
        }
        Ok(place_of(&path).ok().map(|place| Seen::new(place, state)))
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
            Target::Replace(new) => {
                let put = |file: &mut File| file.write_all(bytes);
                new.temporary.file_mut().and_then(put).map_err(|e| Failure::io("cannot write", &new.path, e))
            }
        }
    }
}

/// Writes all of `bytes`; they are in place after [`Target::commit`] or [`commit`].
pub(crate) fn ready(name: &Name, bytes: &[u8]) -> Result<Target, Failure> {
    let mut target = Target::create(name)?;
    target.put(bytes)?;
    Ok(target)
}

/// Puts several files in place that belong together: none before all are on the medium.
pub(crate) fn commit(targets: impl IntoIterator<Item = Target>) -> Result<(), Failure> {
    let mut targets: Vec<Target> = targets.into_iter().collect();
    targets.iter_mut().try_for_each(Target::settle)?;
    targets.into_iter().try_for_each(|target| target.put_in_place().map(|_| ()))
}

#[cfg(unix)]
fn is_disk(about: &fs::Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt as _;
    about.file_type().is_block_device()
}

#[cfg(not(unix))]
fn is_disk(_about: &fs::Metadata) -> bool {
    false
}

/// A file that we may not write to is not replaced either, though the folder would let us.
#[cfg(unix)]
fn may_write(path: &Path) -> io::Result<()> {
    use rustix::fs::{Access, AtFlags, CWD, accessat};
    use rustix::io::Errno;
    match accessat(CWD, path, Access::WRITE_OK, AtFlags::EACCESS) {
        Err(e) if [Errno::ACCESS, Errno::PERM, Errno::ROFS, Errno::TXTBSY].contains(&e) => Err(e.into()),
        // Old systems cannot tell: then the renaming will.
        _ => Ok(()),
    }
}

#[cfg(not(unix))]
fn may_write(_path: &Path) -> io::Result<()> {
    Ok(())
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
