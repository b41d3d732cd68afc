//! Faults on a real file system: whatever goes wrong, every file is the whole old or the whole new one, and the exit status is true.
//!
//! `cargo test -p evengap-cli --test faults -- --nocapture` prints the figures. What the machine does not allow (mounting, another
//! user) is skipped aloud. `EVENGAP_KILLS=200` kills more often.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "tests")]

#[path = "../common/mod.rs"]
mod common;

mod changed;
mod closed;
mod denied;
mod full;
mod kept;
mod killed;
mod kinds;

use common::{CARD, Folder, PART};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A command that writes files, and which.
struct Writer {
    args: &'static [&'static str],
    files: &'static [&'static str],
}

/// Every command that writes files, with every kind of file that it writes.
const WRITERS: [Writer; 11] = [
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
fn folder() -> Folder {
    let folder = Folder::new();
    folder.put("later.toml", &CARD.replace("0.35", "0.31"));
    folder.put("readings.csv", "1,0.17\n2,0.19\n");
    folder.put("thick.csv", "1,0.18\n2,0.19\n3,0.2\n");
    folder
}

type State = BTreeMap<String, Vec<u8>>;

/// Every file of a folder and what it holds.
fn state(folder: &Path) -> State {
    let entries = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap());
    entries
        .filter(|e| e.file_type().unwrap().is_file())
        .map(|e| (e.file_name().into_string().unwrap(), std::fs::read(e.path()).unwrap()))
        .collect()
}

fn here(folder: &Folder) -> PathBuf {
    folder.path("")
}

/// What the writer makes where nothing goes wrong.
fn undisturbed(writer: &Writer) -> State {
    let folder = folder();
    let run = folder.run(writer.args);
    assert_eq!(run.status, 0, "{:?}: {}", writer.args, run.messages);
    let state = state(&here(&folder));
    assert!(writer.files.iter().all(|f| state.contains_key(*f)), "{:?}", writer.args);
    state
}

/// The command, started by another program where `before` is not empty.
fn command(before: &[&str], folder: &Path, args: &[&str]) -> Command {
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

fn messages(done: &Output) -> String {
    let text = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(!text.contains("panicked"), "{text}");
    text
}

/// Says that a part was not tested; a test that is silent about it would be taken for one that passed.
fn skip(what: &str, why: &str) {
    eprintln!("SKIPPED: {what}: {why}");
}

/// Whether a helper program works here.
fn works(program: &str, args: &[&str]) -> bool {
    let run = Command::new(program).args(args).stdout(Stdio::null()).stderr(Stdio::null()).status();
    run.is_ok_and(|status| status.success())
}

/// Whether file systems can be mounted in a name space of one's own.
fn can_mount() -> bool {
    works("unshare", &["-rm", "sh", "-c", "mount -t tmpfs -o size=64k tmpfs /mnt"])
}

/// Runs a script with mounts of its own, its arguments as $1 and on.
fn in_name_space(script: &str, args: &[&str]) -> Output {
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
fn long_part(moves: usize) -> String {
    let mut text = PART.to_owned();
    for i in 0..moves {
        text.push_str(&format!("G1 X{} Y{} E{}\n", 40 + i * 7 % 150, 50 + i * 11 % 140, 21 + i));
    }
    text
}

/// Waits until a temporary file with something in it stands in the folder; `None` if the child ended before.
fn wait_for_temporary(folder: &Path, child: &mut std::process::Child) -> Option<PathBuf> {
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
