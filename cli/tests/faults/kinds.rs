//! Targets that are no plain file: folders, links, devices, pipes; and the input under another name.

use super::*;
use std::os::unix::fs::{FileTypeExt as _, symlink};

/// Each writer with the option that names its last file set to `name`, where the kind of file allows it.
fn to(name: &str) -> [Vec<&str>; 4] {
    [
        vec!["rewrite", "part.gcode", "--card", "bed.toml", "-o", name],
        vec!["plan", "bed.toml", "--program", name],
        vec!["tram", "bed.toml", "--predict", name],
        vec!["trial", "bed.toml", "-o", name],
    ]
}

#[test]
fn a_folder_is_refused() {
    let folder = folder();
    std::fs::create_dir(folder.path("there")).unwrap();
    std::fs::create_dir(folder.path("there.svg")).unwrap();
    for args in to("there").into_iter().chain([vec!["map", "bed.toml", "--picture", "there.svg"]]) {
        let run = folder.run(&args);
        assert_eq!(run.status, 1, "{args:?}");
        assert!(run.messages.contains("it is a folder"), "{args:?}: {}", run.messages);
    }
    let run = folder.run(&["rewrite", "there", "--card", "bed.toml", "--in-place"]);
    assert!(run.status == 1 && run.messages.contains("it is a folder"), "{}", run.messages);
    // A folder that is not there, and a file in its place.
    for (name, why) in [("nowhere/out", "no such file or folder"), ("bed.toml/out", "")] {
        for args in to(name) {
            let run = folder.run(&args);
            assert_eq!(run.status, 1, "{args:?}");
            assert!(run.messages.contains("cannot write") && run.messages.contains(why), "{args:?}: {}", run.messages);
        }
    }
    assert_eq!(state(&here(&folder)), state(&here(&super::folder())));
}

#[test]
fn a_link_stays_and_its_end_is_replaced() {
    for (i, dangling) in [(0, false), (1, true), (2, false), (3, true)] {
        let folder = folder();
        std::fs::create_dir(folder.path("store")).unwrap();
        if !dangling {
            folder.put("store/end", "what was there\n");
        }
        symlink("store/end", folder.path("link")).unwrap();
        let run = folder.run(&to("link")[i]);
        assert_eq!(run.status, 0, "{}", run.messages);
        assert!(std::fs::symlink_metadata(folder.path("link")).unwrap().is_symlink());
        let straight = folder.run(&to("straight")[i]);
        assert_eq!(straight.status, 0);
        assert_eq!(folder.get("store/end"), folder.get("straight"));
        assert_eq!(std::fs::read_dir(folder.path("store")).unwrap().count(), 1);
    }
}

#[test]
fn a_loop_of_links_is_refused() {
    let folder = folder();
    symlink("b", folder.path("a")).unwrap();
    symlink("a", folder.path("b")).unwrap();
    for args in to("a").into_iter().chain([vec!["rewrite", "a", "--card", "bed.toml", "--in-place"]]) {
        let run = folder.run(&args);
        assert_eq!(run.status, 1, "{args:?}");
        assert!(run.messages.contains("symbolic links"), "{args:?}: {}", run.messages);
    }
    assert!(std::fs::symlink_metadata(folder.path("a")).unwrap().is_symlink());
    assert_eq!(state(&here(&folder)), state(&here(&super::folder())));
}

#[test]
fn a_pipe_is_written_to_and_not_replaced() {
    let folder = folder();
    if !works("mkfifo", &[folder.path("pipe").to_str().unwrap()]) {
        return skip("the pipe", "no mkfifo");
    }
    for args in to("pipe") {
        let pipe = folder.path("pipe");
        let reader = std::thread::spawn(move || std::fs::read_to_string(pipe).unwrap());
        let run = folder.run(&args);
        assert_eq!(run.status, 0, "{}", run.messages);
        let straight = args.iter().map(|a| if *a == "pipe" { "straight" } else { a }).collect::<Vec<_>>();
        assert_eq!(folder.run(&straight).status, 0);
        assert_eq!(reader.join().unwrap(), folder.get("straight"), "{args:?}");
        std::fs::remove_file(folder.path("straight")).unwrap();
    }
    assert!(std::fs::metadata(folder.path("pipe")).unwrap().file_type().is_fifo());
    // A pipe cannot be read and replaced; the command does not wait for a writer either.
    for args in [
        &["rewrite", "pipe", "--card", "bed.toml", "--in-place"][..],
        &["rewrite", "pipe", "--card", "bed.toml", "-o", "pipe"],
    ] {
        assert_eq!(folder.run(args).status, 1, "{args:?}");
    }
}

#[test]
fn devices_stay_devices() {
    let folder = folder();
    for args in to("/dev/null") {
        let run = folder.run(&args);
        assert_eq!(run.status, 0, "{args:?}: {}", run.messages);
    }
    assert!(std::fs::metadata("/dev/null").unwrap().file_type().is_char_device());
    if Path::new("/dev/full").exists() {
        for args in to("/dev/full") {
            let run = folder.run(&args);
            assert_eq!(run.status, 1, "{args:?}");
            assert!(run.messages.contains("cannot write /dev/full: no room left on the medium"), "{}", run.messages);
        }
    }
    // A disk is never meant, even by somebody who may write to it. This one belongs to no driver.
    let disk = folder.path("disk").display().to_string();
    if works("mknod", &[&disk, "b", "240", "0"]) {
        for args in to("disk") {
            let run = folder.run(&args);
            assert!(run.status == 1 && run.messages.contains("a whole disk"), "{args:?}: {}", run.messages);
        }
    } else {
        skip("the disk", "no mknod here");
    }
}

#[test]
fn what_the_shell_opened_is_appended_to_where_it_says_so() {
    let folder = folder();
    folder.put("log", "what was there\n");
    let log = std::fs::File::options().append(true).open(folder.path("log")).unwrap();
    let done = command(&[], &here(&folder), &to("/dev/stdout")[0]).stdout(log).output().unwrap();
    assert_eq!(done.status.code(), Some(0), "{}", messages(&done));
    assert!(folder.get("log").starts_with("what was there\nM140"), "{}", folder.get("log"));
}

#[test]
fn the_input_is_replaced_only_in_place() {
    let folder = folder();
    symlink("part.gcode", folder.path("link.gcode")).unwrap();
    std::fs::hard_link(folder.path("part.gcode"), folder.path("hard.gcode")).unwrap();
    std::fs::create_dir(folder.path("sub")).unwrap();
    for name in ["part.gcode", "./part.gcode", "sub/../part.gcode", "link.gcode"] {
        let run = folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", name]);
        assert!(run.status == 1 && run.messages.contains("add --in-place"), "{name}: {}", run.messages);
        assert_eq!(folder.get("part.gcode"), PART);
    }
    // A hard link is a name of its own: it gets the new file, and the input keeps what it had.
    assert_eq!(folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "hard.gcode"]).status, 0);
    assert_eq!(folder.get("part.gcode"), PART);
    assert_ne!(folder.get("hard.gcode"), PART);
    std::fs::remove_file(folder.path("hard.gcode")).unwrap();
    std::fs::hard_link(folder.path("part.gcode"), folder.path("hard.gcode")).unwrap();
    assert_eq!(folder.run(&["rewrite", "link.gcode", "--card", "bed.toml", "--in-place"]).status, 0);
    assert_ne!(folder.get("part.gcode"), PART);
    assert_eq!(folder.get("hard.gcode"), PART);
    assert!(std::fs::symlink_metadata(folder.path("link.gcode")).unwrap().is_symlink());
}

#[test]
fn no_output_takes_the_place_of_another_or_of_what_is_read() {
    let folder = folder();
    folder.put("bed.svg", CARD);
    symlink("bed.svg", folder.path("link.svg")).unwrap();
    let before = state(&here(&folder));
    for args in [
        &["map", "bed.svg", "--picture", "link.svg"][..],
        &["tram", "bed.svg", "--picture", "bed.svg"],
        &["tram", "bed.toml", "--predict", "new.svg", "--picture", "./new.svg"],
        &["compare", "bed.svg", "later.toml", "--picture", "bed.svg"],
        &["trial", "bed.toml", "-o", "new.svg", "--picture", "new.svg"],
        &["plan", "bed.toml", "--paper", "new.svg", "--program", "new.svg"],
        &["plan", "bed.svg", "--paper", "bed.svg"],
        &["rewrite", "part.gcode", "--card", "bed.svg", "-o", "link.svg"],
    ] {
        let run = folder.run(args);
        assert_eq!(run.status, 1, "{args:?}");
        assert!(run.messages.contains("take another name"), "{args:?}: {}", run.messages);
        assert_eq!(state(&here(&folder)), before, "{args:?}");
    }
}
