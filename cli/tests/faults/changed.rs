//! Files that somebody else changes meanwhile, and two who write at once.

use super::*;
use std::io::Write as _;

const IN_PLACE: [&str; 5] = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];
const OUT: [&str; 6] = ["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode"];

type Change = fn(&Path);

/// What somebody may do to a file.
const CHANGES: [(&str, Change); 5] = [
    ("grows", |path| std::fs::File::options().append(true).open(path).unwrap().write_all(b"G1 X50\n").unwrap()),
    ("shrinks", |path| std::fs::File::options().write(true).open(path).unwrap().set_len(1000).unwrap()),
    ("is written over", |path| {
        let mut file = std::fs::File::options().write(true).open(path).unwrap();
        file.write_all(b"; other").unwrap();
    }),
    ("is replaced", |path| {
        std::fs::write(path.with_extension("new"), PART).unwrap();
        std::fs::rename(path.with_extension("new"), path).unwrap();
    }),
    ("vanishes", |path| std::fs::remove_file(path).unwrap()),
];

#[test]
fn an_input_that_changes_is_not_written_over() {
    for args in [&IN_PLACE[..], &OUT] {
        for (what, change) in CHANGES {
            let folder = folder();
            folder.put("part.gcode", &long_part(60_000));
            let undisturbed = (args == OUT && !["grows", "shrinks", "is written over"].contains(&what)).then(|| {
                assert_eq!(folder.run(args).status, 0);
                folder.get("out.gcode")
            });
            let mut child = command(&[], &here(&folder), args).spawn().unwrap();
            wait_for_temporary(&here(&folder), &mut child).expect("it takes a while");
            change(&folder.path("part.gcode"));
            let changed = state(&here(&folder));
            let done = child.wait_with_output().unwrap();
            let (said, mut after) = (messages(&done), state(&here(&folder)));
            match undisturbed {
                // The file that was opened is still whole, whatever its name leads to now.
                Some(expected) => {
                    assert_eq!(done.status.code(), Some(0), "{what}: {said}");
                    assert_eq!(after.remove("out.gcode"), Some(expected.into_bytes()));
                }
                None => {
                    assert_eq!(done.status.code(), Some(1), "{what} {args:?}: {said}");
                    // A file that shrinks may end within a number: then that is what is found first.
                    assert!(
                        said.contains("changed") || said.contains("removed") || what == "shrinks",
                        "{what}: {said}"
                    );
                    let old = |state: &State| state.get("part.gcode").cloned();
                    assert!(old(&after) == old(&changed), "{what}: it was written over");
                    assert!(!after.contains_key("out.gcode"), "{what}");
                }
            }
            assert!(after.keys().all(|name| !name.ends_with(".part")), "{what}");
        }
    }
    println!("inputs changed while they are read: {} runs, none written over", 2 * CHANGES.len());
}

#[test]
fn a_card_that_changes_between_prompts_is_not_written_over() {
    let folder = folder();
    folder.put("bed.toml", &CARD.replace("[ 30,  30, 0.16], [117,  30, 0.18]", "[ 30,  30], [117,  30]"));
    let mut child = command(&[], &here(&folder), &["plan", "bed.toml", "--ask"]).stdin(Stdio::piped()).spawn().unwrap();
    let mut typed = child.stdin.take().unwrap();
    typed.write_all(b"0.16\n").unwrap();
    while !folder.get("bed.toml").contains("0.16") {
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    let edited = folder.get("bed.toml") + "# a note from an editor\n";
    folder.put("bed.toml", &edited);
    typed.write_all(b"0.18\n").unwrap();
    drop(typed);
    let done = child.wait_with_output().unwrap();
    assert_eq!(done.status.code(), Some(1));
    assert!(messages(&done).contains("somebody changed it after it was read"), "{}", messages(&done));
    assert_eq!(folder.get("bed.toml"), edited);
}

#[test]
fn two_at_once_leave_one_whole_result() {
    const ROUNDS: usize = 12;
    let (mut both, mut refused) = (0, 0);
    for round in 0..ROUNDS {
        let in_place = round % 2 == 0;
        let folder = folder();
        let old = long_part(8000);
        folder.put("part.gcode", &old);
        // Two results that differ.
        let shifted = |args: &[&'static str], by: &'static str| [args, &["--shift", by]].concat();
        let args = if in_place { &IN_PLACE[..] } else { &OUT };
        let results: Vec<String> = ["0", "0.1"]
            .iter()
            .map(|by| folder.run(&shifted(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-"], by)).out)
            .collect();
        let children: Vec<_> =
            ["0", "0.1"].map(|by| command(&[], &here(&folder), &shifted(args, by)).spawn().unwrap()).into();
        let done: Vec<Output> = children.into_iter().map(|c| c.wait_with_output().unwrap()).collect();
        let after = folder.get(if in_place { "part.gcode" } else { "out.gcode" });
        let which = results.iter().position(|r| *r == after).expect("one whole result");
        // Who says that it is done has done it; who was beaten to it says so.
        assert_eq!(done[which].status.code(), Some(0), "{}", messages(&done[which]));
        let other = &done[1 - which];
        match other.status.code() {
            Some(0) => both += 1,
            Some(1) => {
                assert!(in_place, "{}", messages(other));
                let said = messages(other);
                assert!(said.contains("somebody changed it") || said.contains("was rewritten"), "{said}");
                refused += 1;
            }
            status => panic!("{status:?}: {}", messages(other)),
        }
        assert!(state(&here(&folder)).keys().all(|name| !name.ends_with(".part")));
        assert!(!messages(other).contains("broken off"), "a running process's file was named: {}", messages(other));
    }
    println!("two at once: {ROUNDS} rounds, {both} with both done one after the other, {refused} with one refused");
}
