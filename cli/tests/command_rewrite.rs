//! `evengap rewrite`: streams, files replaced whole or not at all, refusals that point.
#![allow(clippy::unwrap_used, reason = "tests")]

mod common;

use common::{CARD, Folder, PART};

const OUT: [&str; 6] = ["rewrite", "part.gcode", "--card", "bed.toml", "-o", "out.gcode"];

#[test]
fn a_file_is_rewritten_and_the_report_says_how() {
    let folder = Folder::new();
    let run = folder.run(&OUT);
    assert_eq!((run.status, run.out.as_str()), (0, ""), "{}", run.messages);
    let out = folder.get("out.gcode");
    assert_ne!(out, PART);
    // The corner at (195, 195) stands in the output with the original's digits and another Z.
    assert!(out.lines().any(|l| l.contains("X195 Y195") && l.contains('Z')), "{out}");
    for words in
        ["Rewrote part.gcode to out.gcode.", "Moves ", "Offset ", "Taper ", "Extrusion ", "Passed ", "Caution: "]
    {
        assert!(run.messages.contains(words), "{words}: {}", run.messages);
    }
    assert_eq!(folder.get("part.gcode"), PART);
    assert_eq!(folder.names(), ["bed.toml", "out.gcode", "part.gcode"]);
}

#[test]
fn standard_input_to_standard_output_gives_the_same_bytes() {
    let folder = Folder::new();
    folder.run(&OUT);
    let run = folder.run_with(&["rewrite", "-", "--card", "bed.toml", "-o", "-"], PART, &[]);
    assert_eq!(run.status, 0);
    assert_eq!(run.out, folder.get("out.gcode"));
    assert!(run.messages.contains("Rewrote standard input to standard output."));
    // The card may be the one that is piped.
    let run = folder.run_with(&["rewrite", "part.gcode", "--card", "-", "-o", "-"], CARD, &[]);
    assert_eq!(run.out, folder.get("out.gcode"));
}

#[test]
fn json_is_data_and_moves_aside_for_the_file() {
    let folder = Folder::new();
    let run = folder.run(&[&OUT[..], &["--json"]].concat());
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["moves_in"], 7);
    assert_eq!(json["output"], "out.gcode");
    assert!(json["moves_out"].as_u64().unwrap() >= 7);
    assert!(json["largest_offset"]["offset"].as_f64().unwrap() > 0.05);
    assert!(json["caution"].as_str().unwrap().contains("power"));
    let run = folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-", "--json"]);
    assert_eq!(run.out, folder.get("out.gcode"));
    let aside: serde_json::Value = serde_json::from_str(&run.messages).unwrap();
    assert_eq!(aside["moves_out"], json["moves_out"]);
}

#[test]
fn a_proof_is_given_where_it_is_asked_for() {
    let folder = Folder::new();
    let plain = folder.run(&OUT);
    assert!(!plain.messages.contains("Proven"));
    let out = folder.get("out.gcode");
    let run = folder.run(&[&OUT[..], &["--prove"]].concat());
    assert_eq!(run.status, 0, "{}", run.messages);
    assert!(run.messages.contains("Proven      path, order, feed and filament are the original's"), "{}", run.messages);
    assert_eq!(folder.get("out.gcode"), out);
    let run = folder.run(&[&OUT[..], &["--prove", "--json"]].concat());
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["proof"]["faults"].as_array().map(Vec::len), Some(0));
    assert_eq!(json["proof"]["moves_in"], json["moves_in"]);
    assert_eq!(json["proof"]["moves_out"], json["moves_out"]);
    assert!(json["proof"]["height"]["by"].as_f64().unwrap() <= 0.0055 + 1e-6);
}

#[test]
fn quiet_says_only_what_is_wrong() {
    let folder = Folder::new();
    assert_eq!(folder.run(&[&OUT[..], &["--quiet"]].concat()).messages, "");
    folder.put("part.gcode", &PART.replace("S60", "S80"));
    let run = folder.run(&[&OUT[..], &["--quiet"]].concat());
    assert_eq!(run.status, 0);
    assert!(run.messages.starts_with("Warning: ") && run.messages.contains("(line 9)"), "{}", run.messages);
    assert_eq!(run.messages.lines().count(), 1);
}

#[test]
fn the_card_may_come_from_the_environment() {
    let folder = Folder::new();
    let run = folder.run_with(&["rewrite", "--in-place", "part.gcode"], "", &[("EVENGAP_CARD", "bed.toml")]);
    assert_eq!(run.status, 0, "{}", run.messages);
    assert_ne!(folder.get("part.gcode"), PART);
}

/// As a step of another program: no terminal, no options.
#[test]
fn in_place_is_quiet_and_refuses_in_one_line() {
    let folder = Folder::new();
    let card = [("EVENGAP_CARD", "bed.toml")];
    let run = folder.run_with(&["rewrite", "--in-place", "part.gcode"], "", &card);
    assert_eq!((run.status, run.out.as_str(), run.messages.as_str()), (0, "", ""));
    folder.put("part.gcode", "G28\nG38.2 Z-5\n");
    let run = folder.run_with(&["rewrite", "--in-place", "part.gcode"], "", &card);
    assert_eq!(run.status, 1);
    assert!(run.messages.starts_with("part.gcode:2:1: error: `G38.2` probes the bed"), "{}", run.messages);
    assert!(
        run.messages.contains("; take the line out of the file, or add `--allow own-levelling`"),
        "{}",
        run.messages
    );
    assert_eq!(run.messages.matches('\n').count(), 1, "{}", run.messages);
    assert_eq!(folder.get("part.gcode"), "G28\nG38.2 Z-5\n");
    // No card, or a variable that is set to nothing: one line as well.
    let run = folder.run(&["rewrite", "--in-place", "part.gcode"]);
    assert_eq!((run.status, run.messages.as_str()), (2, "error: no card: name it, or set EVENGAP_CARD to its name\n"));
    let run = folder.run_with(&["rewrite", "--in-place", "part.gcode"], "", &[("EVENGAP_CARD", "")]);
    assert!(
        run.status == 1 && run.messages.contains("EVENGAP_CARD") && run.messages.lines().count() == 1,
        "{}",
        run.messages
    );
    // What goes wrong with the card is one line too.
    folder.put("bed.toml", "[bed]\nx = [0, two]\n");
    let run = folder.run_with(&["rewrite", "--in-place", "part.gcode"], "", &card);
    assert!(run.status == 1 && run.messages.starts_with("bed.toml:2:"), "{}", run.messages);
    assert_eq!(run.messages.matches('\n').count(), 1, "{}", run.messages);
}

#[test]
fn out_is_not_in_unless_it_is_said() {
    let folder = Folder::new();
    let here = folder.path("part.gcode").display().to_string();
    for name in ["part.gcode", "./part.gcode", here.as_str()] {
        let run = folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", name]);
        assert_eq!(run.status, 1);
        assert!(run.messages.contains("is IN itself: add --in-place"), "{}", run.messages);
    }
    let run = folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "bed.toml"]);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("the rewritten file would take the place of bed.toml"), "{}", run.messages);
    assert_eq!((folder.get("part.gcode").as_str(), folder.get("bed.toml").as_str()), (PART, CARD));
}

#[test]
fn options_reach_the_engine() {
    let folder = Folder::new();
    let out = |more: &[&str]| {
        let run = folder.run(&[&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-"], more].concat());
        assert_eq!(run.status, 0, "{more:?}: {}", run.messages);
        run.out
    };
    let usual = out(&[]);
    for more in [
        &["--taper", "none"][..],
        &["--taper", "0.1..3"],
        &["--surface", "bilinear"],
        &["--shift", "0.05"],
        &["--shift", "-0.05"],
        &["--tolerance", "0.05"],
    ] {
        assert_ne!(out(more), usual, "{more:?}");
    }
    assert_ne!(out(&["--taper", "0.1..3", "--flow", "off"]), out(&["--taper", "0.1..3"]));
    let run = folder.run(&[&OUT[..], &["--taper", "0.5..0.6"]].concat());
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("fold"), "{}", run.messages);
}

#[test]
fn a_refusal_points_at_the_line_and_leaves_the_target_as_it_was() {
    let folder = Folder::new();
    folder.put("out.gcode", "what was there\n");
    folder.put("part.gcode", &PART.replace("E10.2", "Enan"));
    let run = folder.run(&OUT);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("part.gcode:10:14"), "{}", run.messages);
    assert!(run.messages.contains("10 | G1 X195 Y195 Enan"), "{}", run.messages);
    assert_eq!(folder.get("out.gcode"), "what was there\n");
    assert_eq!(folder.names(), ["bed.toml", "out.gcode", "part.gcode"]);

    let run = folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "--in-place", "--json"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    let json: serde_json::Value = serde_json::from_str(&run.messages).unwrap();
    assert_eq!(json["error"]["places"][0]["line"], 10);
    assert_eq!(folder.get("part.gcode"), PART.replace("E10.2", "Enan"));
    assert_eq!(folder.names(), ["bed.toml", "out.gcode", "part.gcode"]);
}

#[test]
fn a_long_line_is_shown_in_part() {
    let folder = Folder::new();
    let long = format!("G1 X195 Y195 Enan ; {}", "long ".repeat(4000));
    folder.put("part.gcode", &PART.replace("G1 X195 Y195 E10.2", &long));
    let run = folder.run(&OUT);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("part.gcode:10:14"), "{}", run.messages);
    assert!(run.messages.len() < 1500, "{}", run.messages.len());
}

#[test]
fn a_refusal_midway_through_a_stream_says_to_throw_it_away() {
    let folder = Folder::new();
    // Long enough that something is written before the last line is read.
    let mut long = PART.to_owned();
    for i in 0..40_000 {
        long.push_str(&format!("G1 X{} Y{} E{}\n", 40 + i % 150, 50 + i % 140, 21 + i));
    }
    long.push_str("G1 X100 Ynan\n");
    let run = folder.run_with(&["rewrite", "-", "--card", "bed.toml", "-o", "-"], &long, &[]);
    assert_eq!(run.status, 1);
    assert!(!run.out.is_empty());
    assert!(run.messages.contains("throw it away"), "{}", run.messages);
    assert!(run.messages.contains("standard input:40015:"), "{}", run.messages);
    assert!(run.messages.contains("G1 X100 Ynan"), "{}", run.messages);
    // A file is not touched, and there is nothing to throw away.
    let run = folder.run_with(&["rewrite", "-", "--card", "bed.toml", "-o", "out.gcode"], &long, &[]);
    assert_eq!(run.status, 1);
    assert!(!run.messages.contains("throw it away"));
    assert_eq!(folder.names(), ["bed.toml", "part.gcode"]);
}

#[test]
fn what_was_written_before_a_refusal_is_the_same_with_any_number_of_threads() {
    let folder = Folder::new();
    // Refused in the first piece that is read, in the second, and in a later one.
    for kilobytes in [50, 80, 1500] {
        let mut text = PART.to_owned();
        while text.len() < kilobytes * 1000 {
            text.push_str("G1 X100.5 Y60.25 E1.125\nG1 X100.75 Y60.25 E1.25\n");
        }
        text.push_str("G1 X100 Ynan\n");
        folder.put("part.gcode", &text);
        let run =
            |threads| folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-", "--threads", threads]);
        let one = run("1");
        assert_eq!((one.status, one.out.is_empty()), (1, kilobytes < 65));
        assert_eq!(one.messages.contains("throw it away"), kilobytes > 65, "{}", one.messages);
        for threads in ["2", "3", "2", "4", "2"] {
            let two = run(threads);
            assert!(two.out == one.out, "{} and {} bytes", one.out.len(), two.out.len());
            assert_eq!(two.messages, one.messages);
        }
    }
}

/// A tower of 600 KB: some pieces of those in which a file is read, with layers in the taper and above it.
fn tower() -> String {
    let mut text = PART.to_owned();
    for layer in 0..40 {
        text.push_str(&format!("G92 E0\nG1 Z{:.1} F9000 ; layer {layer}\n", 0.4 + 0.3 * f64::from(layer)));
        for i in 0..500 {
            let turn = f64::from(i) * 0.02;
            let [x, y] = [100.0 + 60.0 * turn.cos(), 100.0 + 60.0 * turn.sin()];
            text.push_str(&format!("G1 X{x:.3} Y{y:.3} E{:.5}\n", f64::from(i) * 0.04));
        }
    }
    text
}

#[test]
fn any_number_of_threads_gives_the_same_bytes() {
    let folder = Folder::new();
    folder.put("part.gcode", &tower());
    let run = folder.run(&[&OUT[..], &["--threads", "1", "--prove"]].concat());
    assert_eq!(run.status, 0, "{}", run.messages);
    let one = folder.get("out.gcode");
    assert!(one != tower());
    for threads in [&["--threads", "2"][..], &["--threads", "5"], &[]] {
        let run = folder.run(&[&OUT[..], threads].concat());
        assert_eq!(run.status, 0, "{}", run.messages);
        assert!(folder.get("out.gcode") == one, "{threads:?}");
        let through = [&["rewrite", "-", "--card", "bed.toml", "-o", "-"][..], threads].concat();
        assert!(folder.run_with(&through, &tower(), &[]).out == one, "{threads:?}");
    }
}

#[test]
fn two_threads_point_at_the_line_that_is_refused() {
    let folder = Folder::new();
    let tower = tower();
    let lines: Vec<&str> = tower.lines().collect();
    for wrong in [1_000, lines.len() - 1] {
        let mut lines = lines.clone();
        lines[wrong] = "G1 X100 Ynan";
        folder.put("part.gcode", &(lines.join("\n") + "\n"));
        let run = folder.run(&[&OUT[..], &["--threads", "2"]].concat());
        assert_eq!(run.status, 1);
        assert!(run.messages.contains(&format!("part.gcode:{}:9", wrong + 1)), "{}", run.messages);
        assert!(run.messages.contains(&format!("{} | G1 X100 Ynan", wrong + 1)), "{}", run.messages);
        assert_eq!(folder.names(), ["bed.toml", "part.gcode"]);
    }
}

#[test]
fn what_was_rewritten_is_not_rewritten_again_unless_asked() {
    let folder = Folder::new();
    let in_place = ["rewrite", "part.gcode", "--card", "bed.toml", "--in-place"];
    assert_eq!(folder.run(&in_place).status, 0);
    let once = folder.get("part.gcode");
    let run = folder.run(&in_place);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("add `--allow already-rewritten`"), "{}", run.messages);
    assert_eq!(folder.get("part.gcode"), once);
    assert_eq!(folder.run(&[&in_place[..], &["--allow", "already-rewritten"]].concat()).status, 0);
    assert_ne!(folder.get("part.gcode"), once);
}

#[test]
fn a_path_below_the_floor_is_refused_with_its_remedy() {
    let folder = Folder::new();
    // The bed lies 0.3 mm low: a first layer at 0.2 mm would go to -0.1 mm.
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", "sheet = 0.50"));
    let run = folder.run(&OUT);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("floor"), "{}", run.messages);
    assert!(run.messages.contains("turn"), "{}", run.messages);
    assert!(run.messages.contains("part.gcode:"), "{}", run.messages);
    assert_eq!(folder.names(), ["bed.toml", "part.gcode"]);
    assert_eq!(folder.run(&[&OUT[..], &["--floor", "-1"]].concat()).status, 0);
}

/// The number that follows `word` in a message.
fn number(messages: &str, word: &str) -> f64 {
    let rest = messages.split_once(word).unwrap_or_else(|| panic!("{messages}")).1;
    rest.split_whitespace().next().unwrap().parse().unwrap()
}

#[test]
fn the_remedy_for_the_floor_helps() {
    let folder = Folder::new();
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", "sheet = 0.50"));
    let raise = number(&folder.run(&OUT).messages, "raise the whole bed by ");
    // The bed raised by as much, and read again: every reading is higher, as if the sheet were thinner.
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", &format!("sheet = {:.3}", 0.50 - raise)));
    assert_eq!(folder.run(&OUT).status, 0);
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", &format!("sheet = {:.3}", 0.52 - raise)));
    assert_eq!(folder.run(&OUT).status, 1, "and no less does");

    // A relative card has the same map after the bed has come up: the nozzle must come up too. With 0.19 mm at the
    // corners less than in the middle, a first layer at 0.15 mm would go to -0.04 mm there.
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", "sheet = 0.10\nright_at = [117, 117]"));
    folder.put("part.gcode", &PART.replace("Z0.2", "Z0.15"));
    for before in [0.0, -0.05] {
        let with = |shift: f64| folder.run(&[&OUT[..], &["--shift", &format!("{shift:.2}")]].concat());
        let run = with(before);
        assert_eq!(run.status, 1);
        let (raise, shift) =
            (number(&run.messages, "raise the whole bed by "), number(&run.messages, "by a shift of "));
        assert!((shift - before - raise).abs() < 0.005, "{}", run.messages);
        assert_eq!(with(shift).status, 0, "{}", run.messages);
        assert_eq!(with(shift - 0.02).status, 1, "and no less does");
    }
}

#[test]
fn what_is_too_little_to_be_written_does_not_pass_the_floor() {
    let folder = Folder::new();
    folder.put(
        "bed.toml",
        "[bed]\nx=[0,235]\ny=[0,235]\n[readings]\nmethod='drag'\nsheet=0.1\npoints=[[10,10,0.0997],[200,10,0.0997],[10,200,0.0997]]\n",
    );
    folder.put("part.gcode", &PART.replace("Z0.2", "Z0"));
    let run = folder.run(&OUT);
    assert_eq!(run.status, 0, "{}", run.messages);
    assert_eq!(folder.get("out.gcode"), folder.get("part.gcode"));
}

#[test]
fn a_level_bed_leaves_the_file_as_it_is() {
    let folder = Folder::new();
    folder.put(
        "bed.toml",
        "[bed]\nx=[0,235]\ny=[0,235]\n[readings]\nmethod='drag'\nsheet=0.1\npoints=[[10,10,0.1],[200,10,0.1],[10,200,0.1]]\n",
    );
    let run = folder.run(&OUT);
    assert_eq!(run.status, 0);
    assert_eq!(folder.get("out.gcode"), PART);
    assert!(run.messages.contains("the output is the input"), "{}", run.messages);
}

#[test]
fn a_folder_a_missing_folder_and_a_missing_file_are_refused() {
    let folder = Folder::new();
    std::fs::create_dir(folder.path("folder")).unwrap();
    for (input, output, words) in [
        ("part.gcode", "folder", "cannot write folder: it is a folder"),
        ("part.gcode", "nowhere/out.gcode", "cannot write nowhere/out.gcode: no such file or folder"),
        ("nowhere.gcode", "out.gcode", "cannot read nowhere.gcode: no such file or folder"),
        ("folder", "out.gcode", "cannot read folder: it is a folder"),
    ] {
        let run = folder.run(&["rewrite", input, "--card", "bed.toml", "-o", output]);
        assert_eq!(run.status, 1);
        assert_eq!(run.messages, format!("error: {words}\n"));
    }
    assert_eq!(folder.names(), ["bed.toml", "folder", "part.gcode"]);
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};

    fn mode(folder: &Folder, name: &str) -> u32 {
        std::fs::metadata(folder.path(name)).unwrap().mode() & 0o777
    }

    #[test]
    fn in_place_keeps_the_mode_and_replaces_the_file_as_a_whole() {
        let folder = Folder::new();
        for bits in [0o640, 0o604, 0o755] {
            folder.put("part.gcode", PART);
            std::fs::set_permissions(folder.path("part.gcode"), std::fs::Permissions::from_mode(bits)).unwrap();
            let before = std::fs::metadata(folder.path("part.gcode")).unwrap();
            let run = folder.run(&["rewrite", "--in-place", "part.gcode", "--card", "bed.toml"]);
            assert_eq!(run.status, 0, "{}", run.messages);
            let after = std::fs::metadata(folder.path("part.gcode")).unwrap();
            assert_eq!(mode(&folder, "part.gcode"), bits);
            assert_eq!((after.uid(), after.gid()), (before.uid(), before.gid()));
            assert_ne!(after.ino(), before.ino(), "a new file was renamed over the old one");
            assert_eq!(folder.names(), ["bed.toml", "part.gcode"]);
        }
    }

    #[test]
    fn a_new_file_has_the_usual_mode() {
        let folder = Folder::new();
        assert_eq!(folder.run(&OUT).status, 0);
        folder.put("plain", "");
        assert_eq!(mode(&folder, "out.gcode"), mode(&folder, "plain"));
    }

    #[test]
    fn a_symbolic_link_stays_and_its_end_is_replaced() {
        let folder = Folder::new();
        std::fs::create_dir(folder.path("store")).unwrap();
        std::fs::rename(folder.path("part.gcode"), folder.path("store/real.gcode")).unwrap();
        symlink("store/real.gcode", folder.path("link.gcode")).unwrap();
        symlink("link.gcode", folder.path("part.gcode")).unwrap();
        let run = folder.run(&["rewrite", "--in-place", "part.gcode", "--card", "bed.toml"]);
        assert_eq!(run.status, 0, "{}", run.messages);
        assert!(std::fs::symlink_metadata(folder.path("part.gcode")).unwrap().is_symlink());
        assert!(std::fs::symlink_metadata(folder.path("link.gcode")).unwrap().is_symlink());
        assert_ne!(folder.get("store/real.gcode"), PART);
        // A link that leads nowhere yet: the file appears at its end.
        symlink("store/new.gcode", folder.path("out.gcode")).unwrap();
        folder.put("fresh.gcode", PART);
        let run = folder.run(&["rewrite", "fresh.gcode", "--card", "bed.toml", "-o", "out.gcode"]);
        assert_eq!(run.status, 0, "{}", run.messages);
        assert!(std::fs::symlink_metadata(folder.path("out.gcode")).unwrap().is_symlink());
        assert_eq!(folder.get("store/new.gcode"), folder.get("store/real.gcode"));
    }

    #[test]
    fn a_read_only_target_is_refused() {
        let folder = Folder::new();
        std::fs::set_permissions(folder.path("part.gcode"), std::fs::Permissions::from_mode(0o444)).unwrap();
        let run = folder.run(&["rewrite", "--in-place", "part.gcode", "--card", "bed.toml"]);
        assert_eq!(run.status, 1);
        assert_eq!(run.messages, "error: cannot write part.gcode: the file is read-only\n");
        assert_eq!(folder.get("part.gcode"), PART);
    }

    #[test]
    fn a_device_is_written_to_and_not_replaced() {
        let run = Folder::new().run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "/dev/null"]);
        assert_eq!(run.status, 0, "{}", run.messages);
        use std::os::unix::fs::FileTypeExt as _;
        assert!(std::fs::metadata("/dev/null").unwrap().file_type().is_char_device());
    }

    #[test]
    fn a_refusal_does_not_wait_for_the_rest_of_a_pipe() {
        use std::io::Write as _;
        let folder = Folder::new();
        for threads in ["1", "2"] {
            let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_evengap"))
                .args(["rewrite", "-", "--card", "bed.toml", "-o", "out.gcode", "--threads", threads])
                .current_dir(folder.path("."))
                .stdin(std::process::Stdio::piped())
                .stderr(std::process::Stdio::piped())
                .spawn()
                .unwrap();
            let mut pipe = child.stdin.take().unwrap();
            pipe.write_all(b"G1 X100 Ynan\n").unwrap();
            // The pipe stays open: who writes has not finished.
            let status = child.wait().unwrap();
            assert_eq!(status.code(), Some(1), "{threads}");
            drop(pipe);
        }
    }

    #[test]
    fn a_reader_that_goes_away_is_no_drama() {
        use std::io::Read as _;
        let folder = Folder::new();
        let mut long = PART.to_owned();
        for i in 0..60_000 {
            long.push_str(&format!("G1 X{} Y{} E{}\n", 40 + i % 150, 50 + i % 140, 21 + i));
        }
        folder.put("part.gcode", &long);
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_evengap"))
            .args(["rewrite", "part.gcode", "--card", "bed.toml", "-o", "-"])
            .current_dir(folder.path("."))
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0; 10];
        child.stdout.take().unwrap().read_exact(&mut first).unwrap();
        let done = child.wait_with_output().unwrap();
        assert_eq!(done.status.code(), Some(1));
        assert_eq!(String::from_utf8(done.stderr).unwrap(), "");
    }
}

/// Three files of an evening, one of which is refused.
fn evening() -> Folder {
    let folder = Folder::new();
    folder.put("second.gcode", &PART.replace("X195 Y40", "X150 Y40"));
    folder.put("odd.gcode", &PART.replace("G1 X195 Y40", "G5 X195 Y40"));
    folder
}

#[test]
fn several_files_go_into_a_folder_and_one_refusal_stops_no_other() {
    let folder = evening();
    for threads in ["1", "3"] {
        let run = folder.run(&[
            "rewrite",
            "part.gcode",
            "odd.gcode",
            "second.gcode",
            "--card",
            "bed.toml",
            "--out-dir",
            "deep/even",
            "--threads",
            threads,
        ]);
        assert_eq!((run.status, run.out.as_str()), (1, ""), "{}", run.messages);
        assert!(run.messages.contains("odd.gcode:9:1"), "{}", run.messages);
        assert!(run.messages.contains("2 of 3 files were rewritten, 1 not"), "{}", run.messages);
        // In the order in which they were given.
        let place = |text: &str| run.messages.find(text).unwrap_or_else(|| panic!("{text}: {}", run.messages));
        assert!(place("Rewrote part.gcode to deep/even/part.gcode: ") < place("error"));
        assert!(place("error") < place("Rewrote second.gcode"));
        for name in ["part.gcode", "second.gcode"] {
            folder.run(&["rewrite", name, "--card", "bed.toml", "-o", "alone.gcode"]);
            assert_eq!(folder.get(&format!("deep/even/{name}")), folder.get("alone.gcode"), "{name}");
        }
        assert!(!folder.path("deep/even/odd.gcode").exists());
        std::fs::remove_dir_all(folder.path("deep")).unwrap();
    }
}

#[test]
fn several_files_are_told_as_json() {
    let folder = evening();
    let run = folder.run(&[
        "rewrite",
        "odd.gcode",
        "part.gcode",
        "--card",
        "bed.toml",
        "--out-dir",
        "even",
        "--json",
        "--prove",
    ]);
    assert_eq!((run.status, run.messages.as_str()), (1, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["files"][0]["input"], "odd.gcode");
    assert_eq!(json["files"][0]["error"]["kind"], "refused");
    assert_eq!(json["files"][0]["error"]["places"][0]["line"], 9);
    assert_eq!(json["files"][1]["output"], "even/part.gcode");
    assert_eq!(json["files"][1]["proof"]["faults"].as_array().map(Vec::len), Some(0));
}

#[test]
fn several_files_are_replaced_in_place() {
    let folder = evening();
    folder.run(&["rewrite", "second.gcode", "--card", "bed.toml", "-o", "want.gcode"]);
    let run = folder.run(&["rewrite", "part.gcode", "second.gcode", "--card", "bed.toml", "--in-place", "--quiet"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    assert_eq!(folder.get("second.gcode"), folder.get("want.gcode"));
    assert_ne!(folder.get("part.gcode"), PART);
}

#[test]
fn several_files_cannot_take_each_others_place() {
    let folder = evening();
    std::fs::create_dir(folder.path("a")).unwrap();
    folder.put("a/part.gcode", PART);
    let both = folder.run(&["rewrite", "part.gcode", "a/part.gcode", "--card", "bed.toml", "--out-dir", "even"]);
    assert_eq!(both.status, 1);
    assert!(
        both.messages.contains("part.gcode and a/part.gcode would both go to even/part.gcode"),
        "{}",
        both.messages
    );
    let here = folder.run(&["rewrite", "part.gcode", "second.gcode", "--card", "bed.toml", "--out-dir", "."]);
    assert_eq!(here.status, 1);
    assert!(here.messages.contains("IN itself"), "{}", here.messages);
    let over = folder.run(&["rewrite", "part.gcode", "a/part.gcode", "--card", "bed.toml", "--out-dir", "a"]);
    assert_eq!(over.status, 1);
    for wrong in [&["-o", "one.gcode"][..], &["--out-dir", "even", "-o", "x"], &["--out-dir", "even", "--threads", "0"]]
    {
        let run = folder.run(&[&["rewrite", "part.gcode", "second.gcode", "--card", "bed.toml"], wrong].concat());
        assert_eq!(run.status, 2, "{wrong:?}: {}", run.messages);
    }
    let pipe = folder.run_with(&["rewrite", "-", "--card", "bed.toml", "--out-dir", "even"], PART, &[]);
    assert_eq!(pipe.status, 2);
    assert_eq!(folder.get("a/part.gcode"), PART);
}
