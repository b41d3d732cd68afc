//! Runs the built command in a folder of its own.
#![allow(clippy::unwrap_used, reason = "tests")]
#![allow(dead_code, reason = "each test file uses a part of it")]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// A bed bent upwards in the middle, with screws and a clip.
pub(crate) const CARD: &str = r#"[bed]
x = [0, 235]
y = [0, 235]
keep_out = [[0, 100, 12, 130]]

[readings]
method = "drag"
sheet = 0.10
bed_celsius = 60
nozzle_celsius = 205
points = [
  [ 30,  30, 0.16], [117,  30, 0.18], [205,  30, 0.15],
  [ 30, 117, 0.24], [117, 117, 0.35], [205, 117, 0.22],
  [ 30, 205, 0.15], [117, 205, 0.23], [205, 205, 0.12],
]

[screws]
thread = "M4"
raise = "anticlockwise"
at = { "front left" = [30, 30], "front right" = [205, 30], "back left" = [30, 205], "back right" = [205, 205] }
"#;

/// A square of one layer, 0.2 mm thick, absolute E.
pub(crate) const PART: &str = "\
M140 S60
M104 S205
G28
G90
M82
G92 E0
G1 Z0.2 F1200
G1 X40 Y40 F6000
G1 X195 Y40 E5.1 F1800
G1 X195 Y195 E10.2
G1 X40 Y195 E15.3
G1 X40 Y40 E20.4
G1 Z5 F1200
M84
";

/// A folder that is removed when the test ends.
pub(crate) struct Folder(tempfile::TempDir);

/// What a run left behind.
pub(crate) struct Run {
    pub(crate) status: i32,
    pub(crate) out: String,
    pub(crate) messages: String,
}

impl Folder {
    pub(crate) fn new() -> Folder {
        let folder = Folder(tempfile::tempdir().unwrap());
        folder.put("bed.toml", CARD);
        folder.put("part.gcode", PART);
        folder
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn put(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).unwrap();
    }

    pub(crate) fn get(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    /// Names in the folder, sorted.
    pub(crate) fn names(&self) -> Vec<String> {
        let mut names: Vec<String> =
            std::fs::read_dir(self.0.path()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    pub(crate) fn run(&self, args: &[&str]) -> Run {
        self.run_with(args, "", &[])
    }

    pub(crate) fn run_with(&self, args: &[&str], input: &str, vars: &[(&str, &str)]) -> Run {
        run_in(self.0.path(), args, input, vars)
    }
}

fn run_in(folder: &Path, args: &[&str], input: &str, vars: &[(&str, &str)]) -> Run {
    let mut child = Command::new(env!("CARGO_BIN_EXE_evengap"))
        .args(args)
        .current_dir(folder)
        .env_remove("EVENGAP_CARD")
        .env_remove("COLUMNS")
        .envs(vars.iter().copied())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let (mut pipe, input) = (child.stdin.take().unwrap(), input.to_owned());
    // From a thread of its own: the command writes while it reads, and a pipe holds little.
    let writer = std::thread::spawn(move || {
        // A command that refuses its arguments does not read: its pipe may be closed already.
        let _ = pipe.write_all(input.as_bytes());
    });
    let done = child.wait_with_output().unwrap();
    writer.join().unwrap();
    Run {
        status: done.status.code().unwrap(),
        out: String::from_utf8(done.stdout).unwrap(),
        messages: String::from_utf8(done.stderr).unwrap(),
    }
}
