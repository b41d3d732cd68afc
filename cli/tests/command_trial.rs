//! `evengap trial`, as a person meets it.
#![allow(clippy::unwrap_used, reason = "tests")]

mod common;

use common::Folder;
use evengap::{Card, HeightMap, SurfaceKind};

#[test]
fn a_test_print_is_written_and_told_of() {
    let folder = Folder::new();
    let run = folder.run(&["trial", "bed.toml", "-o", "trial.gcode", "--numbers"]);
    assert_eq!((run.status, run.out.as_str()), (0, ""), "{}", run.messages);
    for part in [
        "Wrote trial.gcode.\n  Patches     9 of 20.0 mm, one layer of 0.2 mm, following the bed\n",
        "Every patch should measure 0.2 mm",
        "evengap trial bed.toml --measured thicknesses.csv -o corrected.toml\n",
        "keep a\nhand on the power switch",
    ] {
        assert!(run.messages.contains(part), "{part:?} in {}", run.messages);
    }
    let text = folder.get("trial.gcode");
    assert!(text.contains("; patch 9: middle at X 205 Y 205\n"));
    assert!(text.contains("G28\n") && text.contains("taper=none"));
    // What was printed can be checked and rewritten no more: it follows the bed already.
    let again = folder.run(&["rewrite", "trial.gcode", "--card", "bed.toml", "-o", "twice.gcode"]);
    assert_eq!(again.status, 1);
}

#[test]
fn a_flat_print_can_be_rewritten_to_the_same() {
    let folder = Folder::new();
    let flat = folder.run(&["trial", "bed.toml", "-o", "flat.gcode", "--flat", "--layer-height", "0.4"]);
    assert_eq!(flat.status, 0, "{}", flat.messages);
    let run = folder.run(&["rewrite", "flat.gcode", "--card", "bed.toml", "-o", "even.gcode", "--taper", "none"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    let bed = folder.run(&["trial", "bed.toml", "-o", "bed.gcode", "--layer-height", "0.4"]);
    assert_eq!(bed.status, 0, "{}", bed.messages);
    // But for the line that says so.
    let lines = |name: &str| -> Vec<String> {
        folder.get(name).lines().filter(|l| !l.contains("patches of")).map(str::to_owned).collect()
    };
    assert_eq!(lines("even.gcode"), lines("bed.gcode"));
}

#[test]
fn a_picture_says_which_patch_lies_where() {
    let folder = Folder::new();
    let run = folder.run(&["trial", "bed.toml", "-o", "trial.gcode", "--picture", "patches.svg"]);
    assert!(run.messages.contains("  Picture     patches.svg\n"), "{}", run.messages);
    let svg = folder.get("patches.svg");
    let document = roxmltree::Document::parse(&svg).unwrap();
    let texts: Vec<&str> = document.descendants().filter_map(|n| n.text()).collect();
    assert!((1..=9).all(|n| texts.contains(&n.to_string().as_str())), "{texts:?}");
}

#[test]
fn json_has_what_a_program_needs() {
    let folder = Folder::new();
    let run = folder.run(&["trial", "bed.toml", "-o", "trial.gcode", "--json"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["patches"].as_array().unwrap().len(), 9);
    assert_eq!(json["patches"][0]["number"], 1);
    assert!(json["filament"].as_f64().unwrap() > 100.0 && json["seconds"].as_f64().unwrap() > 60.0);
    // Where the print is the data, the report goes to the messages.
    let run = folder.run(&["trial", "bed.toml", "-o", "-", "--json"]);
    assert!(run.out.starts_with("; Test print"));
    assert!(run.messages.contains("\"patches\""));
}

#[test]
fn measured_patches_correct_the_card() {
    let folder = Folder::new();
    let old = HeightMap::fit(&Card::parse(&folder.get("bed.toml")).unwrap(), SurfaceKind::ThinPlate).unwrap();
    // All patches 0.04 mm too thin: the bed stands that much higher, as with paper of 0.06 mm.
    let lines: String = (1..=9).map(|n| format!("{n},0.16\n")).collect();
    folder.put("t.csv", &format!("number,thickness\n{lines}"));
    let run = folder.run(&["trial", "bed.toml", "--measured", "t.csv", "-o", "corrected.toml"]);
    assert_eq!((run.status, run.out.as_str()), (0, ""), "{}", run.messages);
    assert!(run.messages.contains("stands +0.040 mm from it on average, +0.040 to +0.040 mm"), "{}", run.messages);
    let card = Card::parse(&folder.get("corrected.toml")).unwrap();
    let new = HeightMap::fit(&card, SurfaceKind::ThinPlate).unwrap();
    for r in old.readings() {
        // The old card had no spread; this one smooths.
        assert!((new.height(r.x, r.y) - old.height(r.x, r.y) - 0.04).abs() < 0.015);
    }
    // The command itself can go on with it.
    assert_eq!(folder.run(&["map", "corrected.toml"]).status, 0);
    let json = folder.run(&["trial", "bed.toml", "--measured", "t.csv", "-o", "c.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert!((json["error_mean_mm"].as_f64().unwrap() - 0.04).abs() < 1e-9);
    assert_eq!(json["corrected"], card.digest());
}

#[test]
fn the_same_thicknesses_do_not_correct_a_card_twice() {
    let folder = Folder::new();
    let lines: String = (1..=9).map(|n| format!("{n},0.16\n")).collect();
    folder.put("t.csv", &lines);
    let once = ["trial", "bed.toml", "--measured", "t.csv", "-o", "bed.toml"];
    assert_eq!(folder.run(&once).status, 0);
    let corrected = folder.get("bed.toml");
    let run = folder.run(&once);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("would be corrected twice"), "{}", run.messages);
    assert_eq!(folder.get("bed.toml"), corrected);
    // Others do, and the card still knows the first afterwards.
    folder.put("u.csv", &lines.replace("0.16", "0.21"));
    assert_eq!(folder.run(&["trial", "bed.toml", "--measured", "u.csv", "-o", "bed.toml"]).status, 0);
    assert_eq!(folder.run(&once).status, 1);
    assert_eq!(folder.run(&[&once[..], &["--again"]].concat()).status, 0);
    assert_eq!(folder.get("bed.toml").matches("# Corrected by 9 ").count(), 3);
}

#[test]
fn mistakes_are_shown_where_they_are() {
    let folder = Folder::new();
    for (csv, place, what) in [
        ("1,0.2\n12,0.2\n", "t.csv:2:1", "there is no patch of the number"),
        ("1,0.2\n2, thin\n", "t.csv:2:4", "\"thin\" is not a number of millimetres"),
        ("1,0.2\n2,1.9\n", "t.csv:2:3", "a patch cannot be 1.9 mm thick"),
        ("30,30,0.2\n300,30,0.2\n", "t.csv:2:8", "outside the bed"),
        ("1\n", "t.csv:1:1", "there are 1 fields"),
    ] {
        folder.put("t.csv", csv);
        let run = folder.run(&["trial", "bed.toml", "--measured", "t.csv", "-o", "corrected.toml"]);
        assert_eq!(run.status, 1, "{csv}");
        assert!(run.messages.contains(place) && run.messages.contains(what), "{csv}: {}", run.messages);
    }
    folder.put("t.csv", "");
    assert_eq!(folder.run(&["trial", "bed.toml", "--measured", "t.csv", "-o", "corrected.toml"]).status, 1);
    folder.put("near.csv", "100,100\n110,100\n");
    let run = folder.run(&["trial", "bed.toml", "-o", "trial.gcode", "--at", "near.csv"]);
    assert!(run.messages.contains("would lie on one another") && run.messages.contains("patches of 9 mm have room"));
    assert_eq!(folder.names(), ["bed.toml", "near.csv", "part.gcode", "t.csv"]);
}

#[test]
fn a_slip_in_a_name_does_not_cost_the_card() {
    let folder = Folder::new();
    let card = folder.get("bed.toml");
    let here = folder.path("bed.toml").display().to_string();
    for name in ["bed.toml", "./bed.toml", here.as_str()] {
        for command in
            [["trial", "bed.toml", "-o"], ["plan", "bed.toml", "--program"], ["tram", "bed.toml", "--predict"]]
        {
            let run = folder.run(&[&command[..], &[name]].concat());
            assert_eq!(run.status, 1, "{command:?} {name}");
            assert!(run.messages.contains("take another name"), "{}", run.messages);
            assert_eq!(folder.get("bed.toml"), card, "{command:?} {name}");
        }
    }
    folder.put("thin.csv", "1,0.2\n");
    let run = folder.run(&["trial", "bed.toml", "--measured", "thin.csv", "-o", "thin.csv"]);
    assert_eq!((run.status, folder.get("thin.csv").as_str()), (1, "1,0.2\n"), "{}", run.messages);
}

#[test]
fn temperatures_are_those_of_a_print() {
    let folder = Folder::new();
    let card = folder.get("bed.toml");
    let with = |nozzle: &str, bed: &str| {
        let text = card.lines().filter(|l| !l.contains("_celsius")).collect::<Vec<_>>().join("\n");
        folder.put("warm.toml", &text.replace("[readings]", &format!("[readings]\nnozzle_celsius = {nozzle}{bed}")));
        let run = folder.run(&["trial", "warm.toml", "-o", "warm.gcode"]);
        (run.status, run.messages)
    };
    for (nozzle, bed, says) in [
        ("40", "", "a nozzle of 40 degrees melts nothing"),
        ("600", "", "600 degrees for the nozzle is more than 500 degrees"),
        ("205", "\nbed_celsius = 600", "600 degrees for the bed is more than 200 degrees"),
    ] {
        let (status, messages) = with(nozzle, bed);
        assert!(status == 1 && messages.contains(says), "{messages}");
        assert!(!folder.names().contains(&"warm.gcode".to_owned()));
    }
    let (status, messages) = with("205", "");
    assert!(status == 0 && messages.contains("Note: no bed temperature is given"), "{messages}");
}
