//! What a file that takes another's place takes over from it: owner, group, mode, access lists and extended attributes.

use std::fs::{File, Metadata};
use std::io;
use std::path::Path;

/// What the old file had.
pub(super) struct Kept {
    about: Metadata,
    #[cfg(unix)]
    extended: Vec<(std::ffi::OsString, Vec<u8>)>,
}

#[cfg(unix)]
impl Kept {
    /// Looks at the old file; `path` is no link.
    pub(super) fn of(path: &Path, about: Metadata) -> Kept {
        let names = xattr::list(path).map(Iterator::collect::<Vec<_>>).unwrap_or_default();
        let extended =
            names.into_iter().filter_map(|name| Some((name.clone(), xattr::get(path, &name).ok()??))).collect();
        Kept { about, extended }
    }

    /// Gives all of it to the new file, before anything is written: nobody is to read there what they could not read before. A group that
    /// cannot be kept leaves whoever has the file's new group no more rights than others had.
    pub(super) fn give(&self, new: &File) -> io::Result<()> {
        use std::os::unix::fs::{MetadataExt as _, fchown};
        let now = new.metadata()?;
        if (now.uid(), now.gid()) != (self.about.uid(), self.about.gid())
            && fchown(new, Some(self.about.uid()), Some(self.about.gid())).is_err()
        {
            let _ = fchown(new, None, Some(self.about.gid()));
        }
        self.give_mode(new)?;
        self.give_extended(new);
        Ok(())
    }

    /// Gives the mode again, at the end: writing takes some of its bits away.
    pub(super) fn give_mode(&self, new: &File) -> io::Result<()> {
        use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
        let (now, old) = (new.metadata()?, self.about.mode() & 0o7777);
        let mut mode = old;
        if now.gid() != self.about.gid() {
            mode = (old & !0o2070) | (old & 0o070 & ((old & 0o007) << 3));
        }
        if now.uid() != self.about.uid() {
            mode &= !0o4000;
        }
        if now.mode() & 0o7777 != mode {
            // A memory card's file system knows no modes.
            let _ = new.set_permissions(std::fs::Permissions::from_mode(mode));
        }
        Ok(())
    }

    fn give_extended(&self, new: &File) {
        use xattr::FileExt as _;
        let had: Vec<std::ffi::OsString> = new.list_xattr().map(Iterator::collect).unwrap_or_default();
        for (name, value) in &self.extended {
            if new.get_xattr(name).ok().flatten().as_ref() != Some(value) {
                let _ = new.set_xattr(name, value);
            }
        }
        // An access list that the folder hands down to new files, and that the old one did not have.
        for name in had.iter().filter(|n| *n == ACCESS && !self.extended.iter().any(|(m, _)| m == *n)) {
            let _ = new.remove_xattr(name);
        }
    }

    /// What the new file did not take, in words.
    pub(super) fn lost(&self, new: &File) -> Vec<&'static str> {
        use std::os::unix::fs::MetadataExt as _;
        use xattr::FileExt as _;
        let Ok(now) = new.metadata() else { return Vec::new() };
        let kept =
            |(name, value): &(std::ffi::OsString, Vec<u8>)| new.get_xattr(name).ok().flatten().as_ref() == Some(value);
        let (lists, others): (Vec<_>, Vec<_>) = self.extended.iter().partition(|(name, _)| name == ACCESS);
        // What the system itself keeps there (labels, sums) is its own affair.
        let user = |name: &std::ffi::OsStr| name.to_str().is_some_and(|n| n.starts_with("user."));
        [
            (now.uid() != self.about.uid(), "its owner"),
            (now.gid() != self.about.gid(), "its group"),
            (now.mode() & 0o7777 != self.about.mode() & 0o7777, "its permissions"),
            (!lists.into_iter().all(kept), "its access list"),
            (!others.into_iter().filter(|(name, _)| user(name)).all(kept), "its extended attributes"),
        ]
        .into_iter()
        .filter_map(|(lost, what)| lost.then_some(what))
        .collect()
    }
}

/// The attribute that holds an access list (POSIX.1e draft 17, as Linux keeps it).
#[cfg(unix)]
const ACCESS: &str = "system.posix_acl_access";

#[cfg(not(unix))]
impl Kept {
    pub(super) fn of(_path: &Path, about: Metadata) -> Kept {
        Kept { about }
    }

    pub(super) fn give(&self, new: &File) -> io::Result<()> {
        self.give_mode(new)
    }

    pub(super) fn give_mode(&self, new: &File) -> io::Result<()> {
        let _ = new.set_permissions(self.about.permissions());
        Ok(())
    }

    pub(super) fn lost(&self, _new: &File) -> Vec<&'static str> {
        Vec::new()
    }
}
