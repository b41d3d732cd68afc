//! Targets and folders that may not be written to.

use super::*;
use std::os::unix::fs::{PermissionsExt as _, chown};

fn mode(path: &Path, bits: u32) {
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(bits)).unwrap();
}

/// A user without rights: root may write everywhere.
const NOBODY: u32 = 65534;

/// What starts the command as somebody without rights; `None` where that cannot be had.
fn unprivileged() -> Option<&'static [&'static str]> {
    const DROP: [&str; 4] = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"];
    if !rustix::process::geteuid().is_root() {
        return Some(&[]);
    }
    let folder = Folder::new();
    mode(&here(&folder), 0o755);
    let run = command(&DROP, &here(&folder), &["--version"]).output();
    run.is_ok_and(|done| done.status.success()).then_some(&DROP)
}

/// Gives the folder and all in it to whom the command will run as.
fn hand_over(folder: &Folder) {
    if rustix::process::geteuid().is_root() {
        for path in state(&here(folder)).keys().map(|n| folder.path(n)).chain([here(folder)]) {
            chown(path, Some(NOBODY), Some(NOBODY)).unwrap();
        }
    }
}

#[test]
fn a_folder_that_may_not_be_written_to_stays_as_it_is() {
    let Some(before) = unprivileged() else { return skip("the read-only folder", "no other user can be had") };
    for writer in &WRITERS {
        let folder = folder();
        hand_over(&folder);
        mode(&here(&folder), 0o555);
        let old = state(&here(&folder));
        let done = command(before, &here(&folder), writer.args).output().unwrap();
        assert_eq!(done.status.code(), Some(1), "{:?}", writer.args);
        assert!(messages(&done).contains("permission denied"), "{}", messages(&done));
        assert_eq!(state(&here(&folder)), old);
        mode(&here(&folder), 0o755);
        // Or the test would prove nothing.
        let done = command(before, &here(&folder), writer.args).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{:?}: {}", writer.args, messages(&done));
    }
    println!("read-only folder: {} commands", WRITERS.len());
}

#[test]
fn a_file_that_may_not_be_written_to_is_not_replaced() {
    let Some(before) = unprivileged() else { return skip("the read-only file", "no other user can be had") };
    let root = rustix::process::geteuid().is_root();
    if !root {
        skip("another's file in a folder of one's own", "that takes root to make");
    }
    for writer in &WRITERS {
        for target in writer.files {
            let folder = folder();
            if !folder.path(target).exists() {
                folder.put(target, "what was there\n");
            }
            hand_over(&folder);
            // The folder would let it be replaced; who made it so did not mean that.
            if root {
                chown(folder.path(target), Some(0), Some(0)).unwrap();
                mode(&folder.path(target), 0o644);
            } else {
                mode(&folder.path(target), 0o444);
            }
            let old = state(&here(&folder));
            let done = command(before, &here(&folder), writer.args).output().unwrap();
            assert_eq!(done.status.code(), Some(1), "{target} {:?}", writer.args);
            let said = messages(&done);
            assert!(said.contains(&format!("cannot write {target}: ")), "{target} {:?}: {said}", writer.args);
            assert_eq!(state(&here(&folder)), old, "{target} {:?}", writer.args);
        }
    }
}

#[test]
fn a_read_only_medium_stays_as_it_is() {
    if !can_mount() {
        return skip("the read-only medium", "no mounting here");
    }
    let script = "mount --bind \"$1\" \"$1\"; mount -o remount,ro,bind \"$1\"; cd \"$1\"; shift; status=0; \"$@\" >/dev/null || status=$?; echo $status";
    for writer in &WRITERS {
        let folder = folder();
        let old = state(&here(&folder));
        let path = here(&folder).display().to_string();
        let args = [&[path.as_str(), env!("CARGO_BIN_EXE_evengap")][..], writer.args].concat();
        let done = in_name_space(script, &args);
        assert_eq!(String::from_utf8_lossy(&done.stdout).trim(), "1", "{:?}", writer.args);
        assert!(messages(&done).contains("the medium is read-only"), "{:?}: {}", writer.args, messages(&done));
        assert_eq!(state(&here(&folder)), old);
    }
}

#[test]
fn a_group_that_cannot_be_kept_gives_no_rights_away() {
    if !rustix::process::geteuid().is_root() {
        return skip("the group that cannot be kept", "that takes root to make");
    }
    let Some(before) = unprivileged() else { return skip("the group that cannot be kept", "no other user can be had") };
    use std::os::unix::fs::MetadataExt as _;
    for (bits, becomes) in [(0o660, 0o600), (0o664, 0o644), (0o2675, 0o655)] {
        let folder = folder();
        hand_over(&folder);
        chown(folder.path("part.gcode"), Some(NOBODY), Some(4242)).unwrap();
        mode(&folder.path("part.gcode"), bits);
        let done = command(before, &here(&folder), WRITERS[0].args).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{}", messages(&done));
        let about = std::fs::metadata(folder.path("part.gcode")).unwrap();
        assert_eq!((about.mode() & 0o7777, about.gid()), (becomes, NOBODY), "{bits:o}");
        assert!(messages(&done).contains("could not keep its group and its permissions"), "{}", messages(&done));
    }
}
