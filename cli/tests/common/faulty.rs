//! What tests of faults share: the commands that write, a folder for them, and what stands in it afterwards.
#![allow(clippy::unwrap_used, reason = "tests")]
#![allow(dead_code, reason = "each test file uses a part of it")]

use super::common::{CARD, Folder, PART};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A command that writes files, and which.
pub(crate) struct Writer {
    pub(crate) args: &'static [&'static str],
    pub(crate) files: &'static [&'static str],
}

/// Every command that writes files, with every kind of file that it writes.
pub(crate) const WRITERS: [Writer; 11] = [
    Writer { args: &["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"], files: &["part.gcode"] },
    Writer {
        args: &["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode", "--prove"],
        files: &["out.gcode"],
    },
    Writer { args: &["map", "bed.toml", "--picture", "bed.svg"], files: &["bed.svg"] },
    Writer { args: &["map", "bed.toml", "--picture", "bed.png"], files: &["bed.png"] },
    Writer {
        args: &[
            "plan",
            "bed.toml",
            "--grid",
            "4x4",
            "--keep",
            "-o",
            "bed.toml",
            "--paper",
            "sheet.pdf",
            "--program",
            "visit.gcode",
        ],
        files: &["bed.toml", "sheet.pdf", "visit.gcode"],
    },
    Writer { args: &["plan", "bed.toml", "--paper", "sheet.png"], files: &["sheet.png"] },
    Writer {
        args: &["plan", "bed.toml", "--fill", "readings.csv", "--replace", "-o", "bed.toml", "--paper", "sheet.svg"],
        files: &["bed.toml", "sheet.svg"],
    },
    Writer {
        args: &["tram", "bed.toml", "--predict", "after.toml", "--picture", "screws.svg"],
        files: &["after.toml", "screws.svg"],
    },
    Writer { args: &["compare", "bed.toml", "later.toml", "--picture", "change.svg"], files: &["change.svg"] },
    Writer {
        args: &["trial", "bed.toml", "-o", "trial.gcode", "--picture", "patches.png"],
        files: &["trial.gcode", "patches.png"],
    },
    Writer { args: &["trial", "bed.toml", "--measured", "thick.csv", "-o", "bed.toml"], files: &["bed.toml"] },
];

/// A folder with all that the writers read.
pub(crate) fn folder() -> Folder {
    let folder = Folder::new();
    folder.put("later.toml", &CARD.replace("0.35", "0.31"));
    folder.put("readings.csv", "1,0.17\n2,0.19\n");
    folder.put("thick.csv", "1,0.18\n2,0.19\n3,0.2\n");
    folder
}

pub(crate) type State = BTreeMap<String, Vec<u8>>;

/// Every file of a folder and what it holds.
pub(crate) fn state(folder: &Path) -> State {
    let entries = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap());
    entries
        .filter(|e| e.file_type().unwrap().is_file())
        .map(|e| (e.file_name().into_string().unwrap(), std::fs::read(e.path()).unwrap()))
        .collect()
}

pub(crate) fn here(folder: &Folder) -> PathBuf {
    folder.path("")
}

/// What the writer makes where nothing goes wrong.
pub(crate) fn undisturbed(writer: &Writer) -> State {
    let folder = folder();
    let run = folder.run(writer.args);
    assert_eq!(run.status, 0, "{:?}: {}", writer.args, run.messages);
    let state = state(&here(&folder));
    assert!(writer.files.iter().all(|f| state.contains_key(*f)), "{:?}", writer.args);
    state
}

/// The files that a writer changes or makes, with their lengths: a sheet may have several pages.
pub(crate) fn written(writer: &Writer, new: &State) -> Vec<(String, usize)> {
    let old = state(&here(&folder()));
    let written: Vec<(String, usize)> =
        new.iter().filter(|(name, bytes)| old.get(*name) != Some(bytes)).map(|(n, b)| (n.clone(), b.len())).collect();
    assert!(writer.files.iter().all(|f| written.iter().any(|(name, _)| name == f)), "{:?}", writer.args);
    written
}

/// The command, started by another program where `before` is not empty.
pub(crate) fn command(before: &[&str], folder: &Path, args: &[&str]) -> Command {
    let bin = env!("CARGO_BIN_EXE_evengap");
    let mut command = match before {
        [] => Command::new(bin),
        [program, more @ ..] => {
            let mut command = Command::new(program);
            command.args(more).arg(bin);
            command
        }
    };
    command.args(args).current_dir(folder).env_remove("EVENGAP_CARD").stdin(Stdio::null());
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

pub(crate) fn messages(done: &Output) -> String {
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(!text.contains("panicked"), "{text}");
    text
}

/// Says that a part was not tested; a test that is silent about it would be taken for one that passed.
pub(crate) fn skip(what: &str, why: &str) {
    eprintln!("SKIPPED: {what}: {why}");
}

/// Whether a helper program works here.
pub(crate) fn works(program: &str, args: &[&str]) -> bool {
    let run = Command::new(program).args(args).stdout(Stdio::null()).stderr(Stdio::null()).status();
    run.is_ok_and(|status| status.success())
}

/// Whether file systems can be mounted in a name space of one's own.
pub(crate) fn can_mount() -> bool {
    works("unshare", &["-rm", "sh", "-c", "mount -t tmpfs -o size=64k tmpfs /mnt"])
}

/// Runs a script with mounts of its own, its arguments as $1 and on.
pub(crate) fn in_name_space(script: &str, args: &[&str]) -> Output {
    let output = Command::new("unshare")
        .args(["-rm", "sh", "-euc", script, "sh"])
        .args(args)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output
}

/// A long part: its rewriting takes a while.
pub(crate) fn long_part(moves: usize) -> String {
    let mut text = PART.to_owned();
    for i in 0..moves {
        text.push_str(&format!("G1 X{} Y{} E{}\n", 40 + i * 7 % 150, 50 + i * 11 % 140, 21 + i));
    }
    text
}

/// Waits until a temporary file with something in it stands in the folder; `None` if the child ended before.
pub(crate) fn wait_for_temporary(folder: &Path, child: &mut std::process::Child) -> Option<PathBuf> {
    loop {
        let found = std::fs::read_dir(folder).unwrap().flatten().find(|e| {
            e.file_name().to_string_lossy().ends_with(".part") && e.metadata().is_ok_and(|about| about.len() > 0)
        });
        if let Some(found) = found {
            return Some(found.path());
        }
        if child.try_wait().unwrap().is_some() {
            return None;
        }
        std::thread::sleep(std::time::Duration::from_micros(200));
    }
}
