//! Runs that are interrupted, and what runs that were killed left.

use super::*;
use rustix::process::{Pid, Signal, kill_process};
use std::os::unix::process::ExitStatusExt as _;

const IN_PLACE: [&str; 5] = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];

/// Whether this signal was ignored when the tests were started: then the command ignores it too.
fn is_ignored(signal: Signal) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask =
        status.lines().find_map(|l| l.strip_prefix("SigIgn:")).and_then(|m| u64::from_str_radix(m.trim(), 16).ok());
    mask.is_some_and(|mask| mask >> (signal.as_raw() - 1) & 1 == 1)
}

#[test]
fn an_interruption_takes_the_temporary_file_away() {
    let mut signals = vec![Signal::INT, Signal::TERM];
    if Path::new("/proc/self/status").exists() {
        signals.push(Signal::HUP);
    }
    for signal in signals {
        if is_ignored(signal) {
            skip("an interruption", &format!("{signal:?} is ignored here"));
            continue;
        }
        let folder = folder();
        folder.put("part.gcode", &long_part(60_000));
        let before = state(&here(&folder));
        let mut child = command(&[], &here(&folder), &IN_PLACE).spawn().unwrap();
        wait_for_temporary(&here(&folder), &mut child).expect("it takes a while");
        kill_process(Pid::from_child(&child), signal).unwrap();
        let done = child.wait_with_output().unwrap();
        // As a shell expects it: 128 and the signal's number.
        assert_eq!(done.status.signal(), Some(signal.as_raw()), "{}", messages(&done));
        assert!(state(&here(&folder)) == before, "{signal:?}");
    }
}

#[test]
fn a_signal_that_is_to_be_ignored_is_ignored() {
    if !Path::new("/proc/self/status").exists() {
        return skip("ignored signals", "the system does not tell");
    }
    let folder = folder();
    folder.put("part.gcode", &long_part(20_000));
    let before = folder.get("part.gcode");
    let shell = ["sh", "-c", "trap '' INT HUP; exec \"$@\"", "sh"];
    let mut child = command(&shell, &here(&folder), &IN_PLACE).spawn().unwrap();
    wait_for_temporary(&here(&folder), &mut child).expect("it takes a while");
    for signal in [Signal::INT, Signal::HUP] {
        kill_process(Pid::from_child(&child), signal).unwrap();
    }
    assert_eq!(child.wait_with_output().unwrap().status.code(), Some(0));
    assert_ne!(folder.get("part.gcode"), before);
}

#[test]
fn what_a_running_process_holds_is_not_named() {
    let folder = folder();
    folder.put("part.gcode", &long_part(60_000));
    let mut child = command(&[], &here(&folder), &IN_PLACE).spawn().unwrap();
    wait_for_temporary(&here(&folder), &mut child).expect("it takes a while");
    folder.put(".evengap-old.part", "G28\n");
    let run = folder.run(&["map", "bed.toml", "--picture", "bed.svg"]);
    assert!(child.try_wait().unwrap().is_none(), "it was to run still");
    assert_eq!(run.status, 0);
    let named: Vec<&str> = run.messages.lines().filter(|l| l.contains(".part")).collect();
    assert_eq!(named.len(), 1, "{}", run.messages);
    assert!(
        named[0].starts_with("Note: a run that was broken off left .evengap-old.part (4 bytes, "),
        "{}",
        run.messages
    );
    assert!(child.wait_with_output().unwrap().status.success());
    assert_eq!(folder.get(".evengap-old.part"), "G28\n");
}
