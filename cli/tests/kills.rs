//! Kills at random moments: every file is the whole old or the whole new one. In a program of its own, and one after the other, so that
//! the moments spread over the run as they are meant to.
//!
//! `EVENGAP_KILLS=200 cargo test -p evengap-cli --test kills -- --nocapture` kills more often than usual and prints the figures.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "tests")]

mod common;
#[path = "common/faulty.rs"]
mod faulty;

use faulty::*;
use std::hash::{BuildHasher as _, Hasher as _};
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

const IN_PLACE: [&str; 5] = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];

/// One test at a time.
static ALONE: Mutex<()> = Mutex::new(());

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
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX)
    }
}

fn leftovers(folder: &Path) -> Vec<PathBuf> {
    let parts = state(folder).into_keys().filter(|name| name.starts_with(".evengap-") && name.ends_with(".part"));
    parts.map(|name| folder.join(name)).collect()
}

#[test]
fn a_kill_leaves_the_whole_old_or_the_whole_new_file() {
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
    let kills: usize = std::env::var("EVENGAP_KILLS").ok().map_or(40, |n| n.parse().unwrap());
    let folder = folder();
    let old = long_part(30_000);
    folder.put("part.gcode", &old);
    assert_eq!(folder.run(&IN_PLACE).status, 0);
    let new = folder.get("part.gcode");
    // How long a run takes; set right as the kills show it.
    let mut usual = {
        folder.put("part.gcode", &old);
        let began = Instant::now();
        assert!(command(&[], &here(&folder), &IN_PLACE).output().unwrap().status.success());
        began.elapsed()
    };
    let mut chance = Chance::new();
    let (mut running, mut kept_old, mut got_new, mut left, mut named) = (0, 0, 0, 0, 0);
    for n in 0..kills {
        folder.put("part.gcode", &old);
        let began = Instant::now();
        let mut child = command(&[], &here(&folder), &IN_PLACE).spawn().unwrap();
        // Half of them over the whole run, half about its end, where the file changes its name.
        let near_the_end = n % 2 == 1;
        let share = if near_the_end { 0.9 + 0.2 * chance.next() } else { chance.next() };
        let at = usual.mul_f64(share);
        std::thread::sleep(at.saturating_sub(began.elapsed()));
        child.kill().unwrap();
        let status = child.wait().unwrap();
        match status.signal() {
            Some(9) => running += 1,
            _ => assert!(status.success(), "{status:?}"),
        }
        if near_the_end {
            usual = usual.mul_f64(if status.signal() == Some(9) { 1.03 } else { 0.97 });
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
                let run = folder.run(&["map", "bed.toml", "--picture", "bed.svg"]);
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
        "kills survived: {} of {kills} tried ({running} hit a running process; old file {kept_old}, new file {got_new}; a run takes {} ms); \
         {left} temporary files left, {named} named by the next run (the others were empty)",
        kept_old + got_new,
        usual.as_millis()
    );
    assert!(running * 2 > kills, "only {running} of {kills} kills came while it ran");
}

#[test]
fn a_kill_spares_cards_and_pictures_too() {
    let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
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
