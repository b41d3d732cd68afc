//! `evengap check`: the gap along a file, the machine's limits, the proof, and what both say.

#![allow(clippy::unwrap_used, reason = "tests")]

mod common;

use common::{CARD, Folder, PART};

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn a_file_as_it_was_sliced() {
    let run = Folder::new().run(&["check", "part.gcode", "--card", "bed.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (1, ""), "{}", run.out);
    for words in [
        "part.gcode over bed.toml (card ",
        "! ",
        "of the first layer is too near, the nozzle would scrape or plug: ",
        "if rewritten",
        "Worst gaps of the first layer, mm:",
        "Time of the moves",
        "Caution: ",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let run = Folder::new().run(&["check", "part.gcode", "--card", "bed.toml", "--json"]);
    let told = json(&run.out);
    assert_eq!((run.status, &told["passes"], &told["rewritten"]), (1, &false.into(), &serde_json::Value::Null));
    let (now, then) = (&told["first"], &told["if_rewritten"]["first"]);
    let mm = |of: &serde_json::Value, part: &str| of[part].as_f64().unwrap();
    assert!((mm(now, "all") - mm(then, "all")).abs() < 1e-6 && mm(now, "near") > 0.0, "{told}");
    assert!((mm(then, "right") - mm(then, "all")).abs() < 1e-6, "{told}");
}

#[test]
fn a_rewritten_file_and_its_proof() {
    let folder = Folder::new();
    assert_eq!(folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "even.gcode"]).status, 0);
    let run = folder.run(&["check", "even.gcode", "--card", "bed.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""), "{}", run.out);
    assert!(run.out.contains("Rewritten with this card: taper 0.5.."), "{}", run.out);
    assert!(run.out.contains("The gap of the first layer is right all over."), "{}", run.out);
    assert!(run.out.contains("without compensation"), "{}", run.out);
    let proof = ["check", "even.gcode", "--card", "bed.toml", "--original", "part.gcode"];
    let run = folder.run(&proof);
    assert_eq!((run.status, run.messages.as_str()), (0, ""), "{}", run.out);
    assert!(run.out.contains("Proven against part.gcode: "), "{}", run.out);

    // One height off by 0.02 mm.
    let even = folder.get("even.gcode");
    let (n, line) = even.lines().enumerate().find(|(_, l)| l.contains(" Z") && l.contains(" E")).unwrap();
    let z: f64 = line.split(' ').find_map(|w| w.strip_prefix('Z')).unwrap().parse().unwrap();
    let old = line.split(' ').find(|w| w.starts_with('Z')).unwrap();
    folder.put("even.gcode", &even.replacen(line, &line.replace(old, &format!("Z{:.3}", z + 0.02)), 1));
    let run = folder.run(&proof);
    assert_eq!(run.status, 1, "{}", run.out);
    assert!(run.out.contains("! Not proven against part.gcode:"), "{}", run.out);
    assert!(run.out.contains(&format!("rewritten line {}", n + 1)), "{}", run.out);
    let told = json(&folder.run(&[&proof[..], &["--json"]].concat()).out);
    assert_eq!((&told["proven"], &told["passes"]), (&false.into(), &false.into()));
    assert!(!told["proof"]["faults"].as_array().unwrap().is_empty());
}

/// With the original beside it, a file that was not rewritten is looked at as it is.
#[test]
fn a_file_that_bears_no_marker() {
    let folder = Folder::new();
    let alone = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--json"]);
    let beside = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--original", "part.gcode", "--json"]);
    let [alone, beside] = [&alone, &beside].map(|run| json(&run.out));
    assert_eq!(alone["first"], beside["first"]);
    assert_eq!((&beside["original"]["first"], &beside["proven"]), (&alone["first"], &false.into()));
    let text = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--original", "part.gcode"]).out;
    assert!(
        text.contains("no marker of a rewriting: is it the right one?") && !text.contains("if rewritten"),
        "{text}"
    );

    // A rewritten one that lost its comments: its layers cannot be told, and it must not pass for right.
    folder.put("wide.gcode", &weave());
    assert_eq!(folder.run(&["rewrite", "wide.gcode", "--card", "bed.toml", "-o", "even.gcode"]).status, 0);
    let even = folder.get("even.gcode");
    let right = folder.run(&["check", "even.gcode", "--card", "bed.toml"]);
    assert!(right.status == 0 && right.out.contains("right all over"), "{}", right.out);
    let bare: String = even.lines().filter(|l| !l.starts_with(';')).map(|l| format!("{l}\n")).collect();
    folder.put("even.gcode", &bare);
    let run = folder.run(&["check", "even.gcode", "--card", "bed.toml"]);
    assert_eq!(run.status, 1, "{}", run.out);
    assert!(run.out.contains("! Z changes all the while"), "{}", run.out);
    for words in ["right all over", "good enough", "above it"] {
        assert!(!run.out.contains(words), "{words}: {}", run.out);
    }
}

/// A first layer of lines all over the bed, and one above it.
fn weave() -> String {
    let mut file = String::from("G28\nM82\nG92 E0\nF3000\n");
    let mut e = 0.0;
    for z in ["0.2", "0.4"] {
        file += &format!("G1 Z{z}\n");
        for n in 0..40 {
            let y = 20 + 5 * n;
            let (from, to) = if n % 2 == 0 { (20, 215) } else { (215, 20) };
            e += 6.5;
            file += &format!("G0 X{from} Y{y}\nG1 X{to} E{e:.3}\n");
        }
    }
    file
}

#[test]
fn a_nozzle_in_the_bed_is_said_so() {
    let folder = Folder::new();
    folder.put("low.gcode", "G28\nG1 Z0.02 F600\nG1 X20 Y117 F3000\nG1 X215 E9\n");
    let run = folder.run(&["check", "low.gcode", "--card", "bed.toml"]);
    let first = run.out.lines().find(|l| l.starts_with('!')).unwrap();
    assert!(first.contains("below the bed's surface, and plough it: "), "{}", run.out);

    // And what to do where it cannot be rewritten.
    folder.put("bed.toml", &CARD.replace("sheet = 0.10", "sheet = 0.50"));
    let run = folder.run(&["check", "low.gcode", "--card", "bed.toml"]);
    assert!(
        run.out.contains("below the floor of 0 mm") && run.out.contains("; raise the whole bed by "),
        "{}",
        run.out
    );
    assert_eq!(run.out.matches("on line 4").count(), 1, "{}", run.out);
    assert!(!run.out.contains("on line 4) (line 4)"), "{}", run.out);
}

/// The limits of the machine are held against what the rewritten file would ask for, too.
#[test]
fn what_rewriting_would_ask_of_the_machine() {
    let folder = Folder::new();
    folder.put("bed.toml", &format!("{CARD}\n[machine]\nz_speed = 0.01\n"));
    folder.put("wide.gcode", &weave());
    let run = folder.run(&["check", "wide.gcode", "--card", "bed.toml"]);
    assert!(run.out.contains("If it were rewritten: Z would have to go"), "{}{}", run.out, run.messages);
    let told = json(&folder.run(&["check", "wide.gcode", "--card", "bed.toml", "--json"]).out);
    assert_eq!((&told["machine"]["z_speed"], &told["limits"]["window"]["near"]), (&0.01.into(), &0.7.into()));
    let findings = told["if_rewritten"]["findings"].as_array().unwrap();
    assert!(findings.iter().any(|f| f["about"] == "z-speed" && f["breaks"] == true), "{told}");
}

/// A file cannot say of itself how closely it is to be proven, nor how low it may go.
#[test]
fn a_file_does_not_choose_its_tolerance() {
    let folder = Folder::new();
    let to = |more: &[&str]| {
        folder.run(&[&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "even.gcode"], more].concat())
    };
    let proof = |more: &[&str]| {
        folder.run(&[&["check", "even.gcode", "--card", "bed.toml", "--original", "part.gcode"], more].concat())
    };
    assert_eq!(to(&["--tolerance", "0.05"]).status, 0);
    let run = proof(&[]);
    assert_eq!(run.status, 1, "{}", run.out);
    assert!(run.out.contains("rewritten to 0.05 mm, and is to be proven to 0.005 mm"), "{}", run.out);
    assert_eq!(proof(&["--tolerance", "0.05"]).status, 0);
    // A marker that says so of a file that is not so.
    assert_eq!(to(&[]).status, 0);
    let even = folder.get("even.gcode");
    for (from, said) in
        [("tolerance=0.005", "tolerance=0.1"), ("tolerance=0.005", "tolerance=5"), ("floor=0", "floor=-9")]
    {
        let loud = even.replace(from, said).replace(" Z0.3", " Z0.25");
        assert_ne!(loud, even);
        folder.put("even.gcode", &loud);
        assert_eq!(proof(&[]).status, 1, "{said}");
    }
    assert_eq!(folder.run(&["check", "even.gcode", "--card", "bed.toml", "--tolerance", "0.01"]).status, 2);
}

#[test]
fn files_through_a_pipe_are_judged_alike() {
    let folder = Folder::new();
    assert_eq!(folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "even.gcode"]).status, 0);
    for name in ["part.gcode", "even.gcode"] {
        let file = folder.run(&["check", name, "--card", "bed.toml"]);
        let pipe = folder.run_with(&["check", "-", "--card", "bed.toml"], &folder.get(name), &[]);
        assert_eq!(pipe.status, file.status);
        assert_eq!(pipe.out, file.out.replace(name, "standard input"));
    }
}

/// The marker says which surface a file was rewritten with, and which card.
#[test]
fn the_marker_is_asked() {
    let folder = Folder::new();
    let made =
        folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "--surface", "bilinear", "-o", "even.gcode"]);
    assert_eq!(made.status, 0, "{}", made.messages);
    let proof = ["check", "even.gcode", "--card", "bed.toml", "--original", "part.gcode"];
    let run = folder.run(&proof);
    assert_eq!(run.status, 0, "{}", run.out);
    assert_eq!(folder.run(&[&proof[..], &["--surface", "thin-plate"]].concat()).status, 1);
    // The bed has come up by a tenth since.
    folder.put("new.toml", &CARD.replace("sheet = 0.10", "sheet = 0.0"));
    let run = folder.run(&["check", "even.gcode", "--card", "new.toml", "--original", "part.gcode"]);
    assert_eq!(run.status, 1);
    assert!(run.out.contains("Rewritten with another card"), "{}", run.out);
    assert!(run.out.contains("too near"), "{}", run.out);
    // A file without a marker was not rewritten.
    let run = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--original", "part.gcode"]);
    assert_eq!(run.status, 1);
    assert!(run.out.contains("the file bears no marker of a rewriting"), "{}", run.out);
}

#[test]
fn limits_of_the_window_and_of_the_machine() {
    let folder = Folder::new();
    let run = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--near", "0", "--far", "9"]);
    assert_eq!(run.status, 0, "{}", run.out);
    folder.put(
        "machine.toml",
        &format!("{CARD}[machine]\nz_speed = 0.01\nmoves_per_second = 10\nz_steps_per_mm = 400\n"),
    );
    assert_eq!(folder.run(&["rewrite", "part.gcode", "--card", "bed.toml", "-o", "even.gcode"]).status, 0);
    let run = folder.run(&["check", "even.gcode", "--card", "machine.toml"]);
    assert_eq!(run.status, 1, "{}", run.out);
    assert!(run.out.contains("and the machine's limit is 0.01 (line "), "{}", run.out);
    // What the machine can do says nothing of the bed: it is the same card.
    assert!(run.out.contains("Rewritten with this card"), "{}", run.out);
}

#[test]
fn the_picture_is_drawn_and_takes_no_place() {
    let folder = Folder::new();
    let run = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--picture", "gap.svg"]);
    assert_eq!((run.status, run.messages.as_str()), (1, "Drew gap.svg.\n"));
    assert!(folder.get("gap.svg").contains("Plan of the gap under the path"));
    folder.put("part.svg", PART);
    let run = folder.run(&["check", "part.svg", "--card", "bed.toml", "--picture", "part.svg"]);
    assert_eq!((run.status, folder.get("part.svg").as_str()), (1, PART));
    folder.put("empty.gcode", "G28\n");
    let run = folder.run(&["check", "empty.gcode", "--card", "bed.toml", "--picture", "none.svg"]);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("there is nothing to draw"), "{}", run.messages);
    assert!(!folder.path("none.svg").exists());
    assert_eq!(folder.run(&["check", "empty.gcode", "--card", "bed.toml"]).status, 0);
}

#[test]
fn what_cannot_be_read_is_pointed_at() {
    let folder = Folder::new();
    folder.put("odd.gcode", "G1 X1 Y1 Z0.2 F600\nG1 X5 E1\nG18\nG2 X3 Z4 I1\n");
    let run = folder.run(&["check", "odd.gcode", "--card", "bed.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("odd.gcode:4:1"), "{}", run.messages);
    assert!(run.messages.contains("G2 X3 Z4 I1"), "{}", run.messages);
    // The original is read too.
    folder.put("even.gcode", PART);
    let run = folder.run(&["check", "even.gcode", "--card", "bed.toml", "--original", "odd.gcode"]);
    assert!(run.messages.contains("odd.gcode:4:1"), "{}", run.messages);
    let run = folder.run(&["check", "none.gcode", "--card", "bed.toml"]);
    assert!(run.status == 1 && run.messages.contains("cannot read none.gcode: no such file"), "{}", run.messages);
}

/// Nine readings by hand will do for a layer of 0.2 mm, and not for one of 0.06: `rewrite` and `check` say so, and neither refuses.
#[test]
fn whether_the_card_is_good_enough() {
    let folder = Folder::new();
    let rewrite = ["rewrite", "part.gcode", "--card", "bed.toml", "-o", "even.gcode"];
    let enough = "good enough: the bed under the first layer is known to +-0.0";
    let run = folder.run(&rewrite);
    assert!(run.messages.contains(&format!("  Card        {enough}")), "{}", run.messages);
    let run = folder.run(&["check", "even.gcode", "--card", "bed.toml"]);
    assert!(run.out.contains(&format!("  The card is {enough}")), "{}", run.out);
    folder.put("part.gcode", &common::PART.replace("Z0.2", "Z0.06"));
    let run = folder.run(&rewrite);
    assert!(
        run.status == 0 && run.messages.contains(&format!("Warning: the card is not {enough}")),
        "{}",
        run.messages
    );
    assert!(run.messages.contains("; a reading at X "), "{}", run.messages);
    // That breaks no limit.
    assert_eq!(folder.run(&["check", "even.gcode", "--card", "bed.toml"]).status, 0);
    let run = folder.run(&["check", "part.gcode", "--card", "bed.toml", "--json"]);
    let known = &json(&run.out)["known"];
    assert_eq!((&known["enough"], &known["z"]), (&false.into(), &0.06.into()), "{}", run.out);
    let mm = |value: &serde_json::Value| value.as_f64().unwrap();
    assert!(mm(&known["next"]["after"]["within"]) < mm(&known["under"]["within"]), "{known}");
    assert!(mm(&known["under"]["within"]) > mm(&known["allowed"]) && (mm(&known["allowed"]) - 0.018).abs() < 1e-9);
    // A part that reaches beyond the readings: so much of it is told.
    folder.put("part.gcode", &common::PART.replace("X195", "X215"));
    let run = folder.run(&rewrite);
    assert!(run.messages.contains(" % of it lies outside the readings"), "{}", run.messages);
}
