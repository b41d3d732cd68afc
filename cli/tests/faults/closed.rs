//! Standard output that is closed or full.

use super::*;

/// Every command that writes much to standard output.
const TALKERS: [&[&str]; 22] = [
    &["map", "bed.toml"],
    &["map", "bed.toml", "--json"],
    &["map", "bed.toml", "--at", "places.csv"],
    &["map", "bed.toml", "--picture", "bed.svg"],
    &["tram", "bed.toml"],
    &["tram", "bed.toml", "--json"],
    &["tram", "bed.toml", "--predict", "-"],
    &["compare", "bed.toml", "later.toml"],
    &["compare", "bed.toml", "later.toml", "--json"],
    &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-"],
    &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "/dev/stdout"],
    &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--json"],
    &["plan", "bed.toml", "--grid", "4x4", "--keep"],
    &["plan", "bed.toml", "--json"],
    &["plan", "bed.toml", "--program", "-"],
    &["trial", "bed.toml", "-o", "-"],
    &["trial", "bed.toml", "-o", "trial.gcode", "--json"],
    &["trial", "bed.toml", "--measured", "thick.csv", "-o", "-"],
    &["--help"],
    &["plan", "--help"],
    &["rewrite", "-h"],
    &["--version"],
];

fn stage() -> Folder {
    let folder = folder();
    folder.put("places.csv", &"10,10\n".repeat(5000));
    folder.put("part.gcode", &long_part(3000));
    folder
}

#[test]
fn a_reader_that_is_gone_ends_every_command_quietly() {
    for args in TALKERS {
        let folder = stage();
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let done = command(&[], &here(&folder), args).stdout(writer).output().unwrap();
        assert_eq!(done.status.code(), Some(1), "{args:?}");
        assert!(!messages(&done).contains("error"), "{args:?}: {}", messages(&done));
        assert!(state(&here(&folder)).keys().all(|name| !name.ends_with(".part")), "{args:?}");
    }
    println!("standard output closed: {} commands", TALKERS.len());
}

#[test]
fn a_full_standard_output_is_no_success() {
    if !Path::new("/dev/full").exists() {
        return skip("the full standard output", "no /dev/full");
    }
    for args in TALKERS {
        let folder = stage();
        let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
        let done = command(&[], &here(&folder), args).stdout(full).output().unwrap();
        assert_eq!(done.status.code(), Some(1), "{args:?}");
        let said = messages(&done);
        assert!(said.contains("cannot write standard output: no room left on the medium"), "{args:?}: {said}");
        // Who reads that must not think that the file was not written.
        let after = state(&here(&folder));
        for name in ["out.gcode", "trial.gcode"].into_iter().filter(|n| after.contains_key(*n)) {
            assert!(said.contains(&format!("{name} was written before that, whole")), "{args:?}: {said}");
        }
    }
    println!("standard output full: {} commands", TALKERS.len());
}

#[test]
fn messages_that_nobody_reads_do_no_harm() {
    for writer in &WRITERS {
        let folder = folder();
        let (reader, gone) = std::io::pipe().unwrap();
        drop(reader);
        let done = command(&[], &here(&folder), writer.args).stderr(gone).output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{:?}", writer.args);
        assert_eq!(state(&here(&folder)), undisturbed(writer), "{:?}", writer.args);
    }
}
