//! What the new file takes over from the old one.

use super::*;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, chown};

/// Writes over a file that is there already: the card.
const FILL: [&str; 7] = ["plan", "bed.toml", "--fill", "readings.csv", "--replace", "-o", "bed.toml"];
const IN_PLACE: [&str; 5] = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];

#[test]
fn mode_and_owner_stay() {
    let root = rustix::process::geteuid().is_root();
    if !root {
        skip("another's file", "that takes root");
    }
    for (args, name) in [(&IN_PLACE[..], "part.gcode"), (&FILL[..], "bed.toml")] {
        for bits in [0o600, 0o640, 0o644, 0o664, 0o755, 0o2750, 0o2640, 0o4755] {
            let folder = folder();
            let path = folder.path(name);
            if root {
                chown(&path, Some(4141), Some(4242)).unwrap();
            }
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(bits)).unwrap();
            let before = std::fs::metadata(&path).unwrap();
            let run = folder.run(args);
            assert_eq!(run.status, 0, "{}", run.messages);
            let after = std::fs::metadata(&path).unwrap();
            assert_eq!(after.mode() & 0o7777, bits, "{name} {bits:o}");
            assert_eq!((after.uid(), after.gid()), (before.uid(), before.gid()), "{name} {bits:o}");
            assert!(!run.messages.contains("could not keep"), "{}", run.messages);
        }
    }
}

#[test]
fn nobody_reads_the_temporary_file_who_could_not_read_the_old_one() {
    let folder = folder();
    folder.put("part.gcode", &long_part(40_000));
    std::fs::set_permissions(folder.path("part.gcode"), std::fs::Permissions::from_mode(0o600)).unwrap();
    let mut child = command(&[], &here(&folder), &IN_PLACE).spawn().unwrap();
    let temporary = wait_for_temporary(&here(&folder), &mut child).expect("it takes a while");
    let about = std::fs::metadata(temporary).unwrap();
    assert_eq!(about.mode() & 0o7777, 0o600);
    assert!(child.wait_with_output().unwrap().status.success());
}

/// An access list that lets one more user read: POSIX.1e draft 17, as Linux stores it.
fn access_list() -> Vec<u8> {
    let mut bytes = 2_u32.to_le_bytes().to_vec();
    for (tag, rights, who) in [(1, 6, u32::MAX), (2, 4, 4343), (4, 4, u32::MAX), (16, 4, u32::MAX), (32, 0, u32::MAX)] {
        bytes.extend(u16::to_le_bytes(tag));
        bytes.extend(u16::to_le_bytes(rights));
        bytes.extend(u32::to_le_bytes(who));
    }
    bytes
}

#[test]
fn access_lists_and_attributes_stay() {
    let attributes = [("user.note", b"from the workshop".to_vec()), ("system.posix_acl_access", access_list())];
    for (name, value) in attributes {
        for (args, file) in [(&IN_PLACE[..], "part.gcode"), (&FILL[..], "bed.toml")] {
            let folder = folder();
            if let Err(e) = xattr::set(folder.path(file), name, &value) {
                skip(name, &e.to_string());
                continue;
            }
            let run = folder.run(args);
            assert_eq!(run.status, 0, "{}", run.messages);
            assert_eq!(xattr::get(folder.path(file), name).unwrap(), Some(value.clone()), "{name} {file}");
            assert!(!run.messages.contains("could not keep"), "{}", run.messages);
        }
    }
}

#[test]
fn a_folder_does_not_hand_its_access_list_to_a_file_that_had_none() {
    let folder = folder();
    if let Err(e) = xattr::set(here(&folder), "system.posix_acl_default", &access_list()) {
        return skip("the folder's access list", &e.to_string());
    }
    assert_eq!(folder.run(&IN_PLACE).status, 0);
    assert_eq!(xattr::get(folder.path("part.gcode"), "system.posix_acl_access").unwrap(), None);
}
