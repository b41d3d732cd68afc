//! The file beside the target: locked while it is written, so that others can tell it from one that was left over, and removed when
//! the command is interrupted.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// How such a file's name begins and ends.
pub(super) const PREFIX: &str = ".evengap-";
pub(super) const SUFFIX: &str = ".part";

/// The temporary files of this process that are not in place yet. Who holds the lock may create, rename or remove them.
static LIVING: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn living() -> MutexGuard<'static, Vec<PathBuf>> {
    LIVING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A temporary file; removed when it is dropped, or when a signal ends the process.
pub(super) struct Temporary(Option<tempfile::NamedTempFile>);

impl Temporary {
    /// Creates and locks it.
    pub(super) fn create(folder: &Path) -> io::Result<Temporary> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX).suffix(SUFFIX);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut living = living();
        let temp = builder.tempfile_in(folder).map_err(plain)?;
        living.push(temp.path().to_path_buf());
        drop(living);
        // Before anything is written. Not every file system knows locks: then nobody names the file either.
        let _ = temp.as_file().lock();
        Ok(Temporary(Some(temp)))
    }

    pub(super) fn file(&self) -> io::Result<&File> {
        self.0.as_ref().map(tempfile::NamedTempFile::as_file).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    pub(super) fn file_mut(&mut self) -> io::Result<&mut File> {
        self.0.as_mut().map(tempfile::NamedTempFile::as_file_mut).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    /// Gives it its name for good.
    pub(super) fn rename(mut self, to: &Path) -> io::Result<()> {
        let mut living = living();
        let Some(mut temp) = self.0.take() else { return Ok(()) };
        let path = temp.path().to_path_buf();
        match std::fs::rename(&path, to) {
            Ok(()) => temp.disable_cleanup(true),
            Err(e) => {
                drop(temp);
                forget(&mut living, &path);
                return Err(e);
            }
        }
        forget(&mut living, &path);
        Ok(())
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        let mut living = living();
        if let Some(temp) = self.0.take() {
            let path = temp.path().to_path_buf();
            drop(temp);
            forget(&mut living, &path);
        }
    }
}

fn forget(living: &mut Vec<PathBuf>, path: &Path) {
    living.retain(|p| p != path);
}

/// The error without the temporary file's name, where its kind says enough: nobody asked for that file.
fn plain(error: io::Error) -> io::Error {
    use io::ErrorKind::{NotADirectory, NotFound, PermissionDenied, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
    match error.kind() {
        kind @ (NotADirectory | NotFound | PermissionDenied | QuotaExceeded | ReadOnlyFilesystem | StorageFull) => {
            kind.into()
        }
        _ => error,
    }
}

/// From now on an interruption (Ctrl-C, a polite kill, the terminal closed) removes the temporary files and then ends the process as the
/// signal would have; and a file that grows over the limit set for the process is an error and not its death.
#[cfg(unix)]
pub(super) fn watch_signals() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let _ = signal_hook::flag::register(SIGXFSZ, std::sync::Arc::default());
        let ignored = ignored();
        // Where the system does not tell what is ignored, a run may have been started to outlive its terminal.
        let wanted: Vec<i32> = match ignored {
            Some(mask) => [SIGINT, SIGTERM, SIGHUP].into_iter().filter(|s| mask >> (s - 1) & 1 == 0).collect(),
            None => vec![SIGINT, SIGTERM],
        };
        let Ok(mut signals) = signal_hook::iterator::Signals::new(wanted) else { return };
        let _ = std::thread::Builder::new().name("signals".to_owned()).spawn(move || {
            for signal in signals.forever() {
                // Held to the end: nothing is created or renamed any more.
                let living = living();
                for path in living.iter() {
                    let _ = std::fs::remove_file(path);
                }
                let _ = signal_hook::low_level::emulate_default_handler(signal);
            }
        });
    });
}

#[cfg(not(unix))]
pub(super) fn watch_signals() {}

/// The signals that whoever started us wants ignored, as a mask: bit n - 1 stands for signal n.
#[cfg(unix)]
fn ignored() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let mask = status.lines().find_map(|l| l.strip_prefix("SigIgn:"))?;
    u64::from_str_radix(mask.trim(), 16).ok()
}
