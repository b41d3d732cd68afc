//! Runs that are killed or interrupted.

use super::*;
use rustix::process::{Pid, Signal, kill_process};
use std::hash::{BuildHasher as _, Hasher as _};
use std::os::unix::process::ExitStatusExt as _;
use std::time::{Duration, Instant};

const IN_PLACE: [&str; 5] = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];

/// Numbers from 0 to 1, other ones at each run.
struct Chance(u64);

impl Chance {
    fn new() -> Chance {
        let seed = std::collections::hash_map::RandomState::new().build_hasher().finish() | 1;
        println!("chance: {seed}");
        Chance(seed)
    }

    fn next(&mut self) -> f64 {
        // xorshift64: Marsaglia 2003.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 40) as f64 / (1_u64 << 24) as f64
    }
}

fn leftovers(folder: &Path) -> Vec<PathBuf> {
    let parts = state(folder).into_keys().filter(|name| name.starts_with(".evengap-") && name.ends_with(".part"));
    parts.map(|name| folder.join(name)).collect()
}

#[test]
fn a_kill_leaves_the_whole_old_or_the_whole_new_file() {
    let kills: usize = std::env::var("EVENGAP_KILLS").ok().map_or(40, |n| n.parse().unwrap());
    let folder = folder();
    let old = long_part(12_000);
    folder.put("part.gcode", &old);
    assert_eq!(folder.run(&IN_PLACE).status, 0);
    let new = folder.get("part.gcode");
    let mut times: Vec<Duration> = (0..5)
        .map(|_| {
            folder.put("part.gcode", &old);
            let began = Instant::now();
            assert!(command(&[], &here(&folder), &IN_PLACE).output().unwrap().status.success());
            began.elapsed()
        })
        .collect();
    times.sort();
    let usual = times[2];
    let mut chance = Chance::new();
    let (mut running, mut kept_old, mut got_new, mut left, mut named) = (0, 0, 0, 0, 0);
    for _ in 0..kills {
        folder.put("part.gcode", &old);
        let began = Instant::now();
        let mut child = command(&[], &here(&folder), &IN_PLACE).spawn().unwrap();
        let at = usual.mul_f64(1.1 * chance.next());
        std::thread::sleep(at.saturating_sub(began.elapsed()));
        child.kill().unwrap();
        let status = child.wait().unwrap();
        match status.signal() {
            Some(9) => running += 1,
            _ => assert!(status.success(), "{status:?}"),
        }
        match folder.get("part.gcode") {
            text if text == old => kept_old += 1,
            text if text == new => got_new += 1,
            _ => panic!("killed after {at:?}: neither the old nor the new file"),
        }
        assert!(status.signal() == Some(9) || folder.get("part.gcode") == new, "who says so has done it");
        // The next run names what is left, and leaves it there.
        for path in leftovers(&here(&folder)) {
            left += 1;
            if std::fs::metadata(&path).unwrap().len() > 0 {
                let run = folder.run(&[
                    "rewrite",
                    "part.gcode",
                    "--card",
                    "bed.toml",
                    "-o",
                    "other.gcode",
                    "--allow",
                    "already-rewritten",
                ]);
                let name = path.file_name().unwrap().to_string_lossy().into_owned();
                assert_eq!(run.status, 0, "{}", run.messages);
                assert!(run.messages.contains(&name) && run.messages.contains("may be deleted"), "{}", run.messages);
                assert!(path.exists());
                named += 1;
            }
            std::fs::remove_file(path).unwrap();
        }
    }
    println!(
        "kills survived: {} of {kills} tried ({running} hit a running process; old file {kept_old}, new file {got_new}; usual run {} ms); \
         {left} temporary files left, {named} named by the next run (the others were empty)",
        kept_old + got_new,
        usual.as_millis()
    );
    assert!(running * 2 > kills, "only {running} of {kills} kills came while it ran");
}

#[test]
fn a_kill_spares_cards_and_pictures_too() {
    let mut chance = Chance::new();
    let (mut tried, mut running) = (0, 0);
    for writer in &WRITERS[2..] {
        let new = undisturbed(writer);
        let folder = folder();
        let old = state(&here(&folder));
        let began = Instant::now();
        folder.run(writer.args);
        let usual = began.elapsed();
        for _ in 0..6 {
            for name in state(&here(&folder)).keys() {
                std::fs::remove_file(folder.path(name)).unwrap();
            }
            for (name, bytes) in &old {
                std::fs::write(folder.path(name), bytes).unwrap();
            }
            let mut child = command(&[], &here(&folder), writer.args).spawn().unwrap();
            std::thread::sleep(usual.mul_f64(1.1 * chance.next()));
            child.kill().unwrap();
            running += usize::from(child.wait().unwrap().signal() == Some(9));
            tried += 1;
            for (name, bytes) in state(&here(&folder)) {
                let whole = old.get(&name) == Some(&bytes) || new.get(&name) == Some(&bytes);
                assert!(whole || name.ends_with(".part"), "{:?}: {name} is neither old nor new", writer.args);
            }
        }
    }
    println!("kills survived by other files: {tried} of {tried} tried ({running} hit a running process)");
}

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
        named[0].starts_with("Note: a run that was broken off left ./.evengap-old.part (4 bytes, "),
        "{}",
        run.messages
    );
    assert!(child.wait_with_output().unwrap().status.success());
    assert_eq!(folder.get(".evengap-old.part"), "G28\n");
}
