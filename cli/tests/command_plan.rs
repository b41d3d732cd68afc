//! `evengap plan`: cards with points to read, the sheet, the visiting program, and readings that come back.

#![allow(clippy::unwrap_used, reason = "tests")]

mod common;

use common::{CARD, Folder};
use evengap::Card;
use std::io::{Read as _, Write as _};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const NEW: [&str; 9] = ["plan", "--bed-x", "0..235", "--bed-y", "0..235", "--method", "drag", "--sheet", "0.1"];

/// Four points to read, one read, with comments.
const PLANNED: &str = "\
# my printer
[bed]
x = [0, 200] # reach
y = [0, 200]
[readings]
method = 'drag'
sheet = 0.1
points = [
  [10, 10], # the near one
  [190, 10],
  [100, 100, 0.12],
  [10, 190],
]
";

fn folder() -> Folder {
    let folder = Folder::new();
    folder.put("planned.toml", PLANNED);
    folder
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn options_alone_make_a_card_that_explains_itself() {
    let run = folder().run(&[&NEW[..], &["--bed-celsius", "60", "--keep-out", "0,100,12,130"]].concat());
    assert_eq!(run.status, 0, "{}", run.messages);
    let card = Card::parse(&run.out).unwrap();
    assert_eq!((card.readings.points.len(), card.readings.unread.len()), (0, 24));
    assert_eq!(card.readings.bed_celsius, Some(60.0));
    assert!(run.out.contains("[30, 30] becomes [30, 30, 0.16]") && run.out.contains("# 1 front left"), "{}", run.out);
    assert!(run.messages.contains("24 points, 24 still to be read"), "{}", run.messages);
    assert!(run.messages.contains("Left out 1: in a keep-out area or too near it at X 10 Y 118."), "{}", run.messages);
}

#[test]
fn each_method_asks_for_what_it_needs() {
    let folder = folder();
    let bed = ["plan", "--bed-x", "-100..100", "--bed-y", "-100..100", "--method"];
    for (rest, status) in [
        (&["drag"][..], 2),
        (&["gauge"], 2),
        (&["patch"], 2),
        (&["dial", "--offset", "-35,22"], 2),
        (&["drag", "--sheet", "0.1"], 0),
        (&["gauge", "--parked", "0.4"], 0),
        (&["patch", "--parked", "0.3", "--round"], 0),
        (&["dial", "--offset", "-35,22", "--right-at", "0,0"], 0),
        // The card's own rules hold: another method's key, a place outside.
        (&["drag", "--sheet", "0.1", "--parked", "0.3"], 1),
        (&["drag", "--sheet", "0.1", "--right-at", "500,0"], 1),
    ] {
        let run = folder.run(&[&bed[..], rest].concat());
        assert_eq!(run.status, status, "{rest:?}: {}", run.messages);
        assert_eq!(run.out.is_empty(), status != 0, "{rest:?}");
    }
}

#[test]
fn an_existing_card_gets_points_and_keeps_its_comments() {
    let folder = folder();
    let text = PLANNED.split_once("points = [").unwrap().0.to_owned() + "# the end\n";
    folder.put("bare.toml", &text);
    let run = folder.run(&["plan", "bare.toml", "--grid", "4x3", "-o", "bare.toml", "--json"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    let new = folder.get("bare.toml");
    assert!(new.starts_with("# my printer\n[bed]\nx = [0, 200] # reach\n") && new.contains("# the end"), "{new}");
    let report = json(&run.out);
    let card = Card::parse(&new).unwrap();
    assert_eq!(report["points"].as_array().unwrap().len(), 12);
    assert_eq!(report["card"], card.digest());
    assert_eq!(report["points"][0]["place"], "front left");
    // Rows of 180 mm, three of them, 90 mm apart, and from the corner to the first point.
    let travel = report["travel_mm"].as_f64().unwrap();
    assert!((travel - (3.0 * 180.0 + 2.0 * 90.0 + 200.0_f64.sqrt())).abs() < 0.5, "{travel}");
}

#[test]
fn readings_are_never_lost_silently() {
    let folder = folder();
    // Nine readings at 30, 117 and 205; a 3 x 3 grid of margin 30 has its points at 30, 118 and 205: the same but for 1 mm.
    let run = folder.run(&["plan", "bed.toml", "--grid", "3x3", "--margin", "30"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    let card = Card::parse(&run.out).unwrap();
    assert_eq!((card.readings.points.len(), card.readings.unread.len()), (9, 0));
    assert!(run.out.contains("at = { \"front left\""));

    let run = folder.run(&["plan", "bed.toml", "--grid", "4x4", "-o", "bed.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(
        run.messages.contains("bed.toml:12: 9 of the card's readings") && run.messages.contains("--keep"),
        "{}",
        run.messages
    );
    assert_eq!(folder.get("bed.toml"), CARD);

    let card = Card::parse(&folder.run(&["plan", "bed.toml", "--grid", "4x4", "--keep"]).out).unwrap();
    assert_eq!((card.readings.points.len(), card.readings.unread.len()), (9, 16));
    let card = Card::parse(&folder.run(&["plan", "bed.toml", "--grid", "4x4", "--replace"]).out).unwrap();
    assert_eq!((card.readings.points.len(), card.readings.unread.len()), (0, 16));

    // Nor by writing another card over it.
    let over = [&NEW[..], &["-o", "bed.toml"]].concat();
    let run = folder.run(&over);
    assert_eq!(run.status, 1);
    assert!(run.messages.contains("bed.toml is a card with 9 readings"), "{}", run.messages);
    assert_eq!(folder.get("bed.toml"), CARD);
    assert_eq!(folder.run(&[&over[..], &["--replace"]].concat()).status, 0);
}

#[test]
fn points_to_read_next_are_told_and_put_on_the_card() {
    let folder = folder();
    folder.put("bed.toml", CARD);
    let run = folder.run(&["plan", "bed.toml", "--next", "2"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    assert!(run.out.starts_with("Where to read next, what tells most over the bed first:\n   1. X "), "{}", run.out);
    assert!(run.out.contains("% less\nKnown over the bed to +-") && run.out.contains("Add -o CARD"), "{}", run.out);
    assert_eq!(folder.get("bed.toml"), CARD);
    let run = folder.run(&["plan", "bed.toml", "--next", "2", "-o", "bed.toml"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    assert!(
        run.out.contains("They are on bed.toml now") && run.messages.contains("2 still to be read"),
        "{} {}",
        run.out,
        run.messages
    );
    let text = folder.get("bed.toml");
    let card = Card::parse(&text).unwrap();
    assert_eq!((card.readings.points.len(), card.readings.unread.len()), (9, 2));
    let added = card.readings.unread.iter().map(|u| format!("  [{}, {}],\n", u.x, u.y)).collect::<String>();
    assert_eq!(text, CARD.replace("[205, 205, 0.12],\n]", &format!("[205, 205, 0.12],\n{added}]")));
    // The same as the report says; from here on they count as read, and prompts go on from there.
    let told = json(&folder.run(&["plan", "bed.toml", "--next", "1", "--json"]).out);
    assert_eq!((told["next"]["points"].as_array().unwrap().len(), told["unread"].as_u64()), (1, Some(3)));
    let [before, after] =
        [&told["next"]["before"], &told["next"]["points"][0]["after"]].map(|f| f["within"].as_f64().unwrap());
    assert!(after < before, "{told}");
    let run = folder.run(&["plan", "bed.toml", "--next", "1"]);
    assert!(run.out.starts_with("The 2 points that are still to be read count as read.\n"), "{}", run.out);
    let run = folder.run_with(&["plan", "bed.toml", "--ask"], "0.1\n0.1\n", &[]);
    assert!(run.status == 0 && run.messages.contains("Point 10 of 11, X "), "{}", run.messages);
    assert_eq!(Card::parse(&folder.get("bed.toml")).unwrap().readings.points.len(), 11);
}

#[test]
fn what_a_file_lies_on_draws_the_points_to_it() {
    let folder = folder();
    folder.put("bed.toml", CARD);
    // A small part at the back right, and another beside it.
    let part = |x: u32| {
        format!(
            "G28\nM82\nG92 E0\nG1 Z0.2 F1200\nG1 X{x} Y150\nG1 X{} Y150 E2\nG1 Y190 E4\nG1 X{x} E6\nG1 Y150 E8\nG1 Z5\n",
            x + 30
        )
    };
    folder.put("a.gcode", &part(150));
    folder.put("b.gcode", &part(190));
    let near = |told: &serde_json::Value| {
        let at = |p: &serde_json::Value, axis: &str| p[axis].as_f64().unwrap();
        let points = told["next"]["points"].as_array().unwrap();
        points.iter().all(|p| at(p, "x") > 110.0 && at(p, "y") > 110.0)
    };
    let args = ["plan", "bed.toml", "--next", "3", "--json", "--for", "a.gcode"];
    assert!(near(&json(&folder.run(&args).out)));
    let both = [&args[..], &["--for", "b.gcode"]].concat();
    assert!(near(&json(&folder.run(&both).out)));
    let run = folder.run(&["plan", "bed.toml", "--next", "1", "--for", "a.gcode"]);
    assert!(run.out.contains("Known under the first layer of a.gcode to +-"), "{}", run.out);
    // A card without readings has no map yet.
    let new = [&NEW[..], &["--next", "4", "--for", "a.gcode", "-o", "new.toml"]].concat();
    let run = folder.run(&new);
    assert!(
        run.status == 0 && run.out.contains("The card has no map yet; with these 4 it is known"),
        "{} {}",
        run.out,
        run.messages
    );
    assert_eq!(Card::parse_without_points(&folder.get("new.toml")).unwrap().readings.unread.len(), 4);
    // Nothing is laid; a line that cannot be read is pointed at; the file is not written over; wrong usage.
    folder.put("none.gcode", "G28\n");
    let run = folder.run(&["plan", "bed.toml", "--next", "1", "--for", "none.gcode"]);
    assert!(run.status == 1 && run.messages.contains("none.gcode: no filament is laid"), "{}", run.messages);
    folder.put("bad.gcode", "G28\nG1 X1e400\n");
    let run = folder.run(&["plan", "bed.toml", "--next", "1", "--for", "bad.gcode"]);
    assert!(run.status == 1 && run.messages.contains("bad.gcode:2"), "{}", run.messages);
    let over = folder.run(&["plan", "bed.toml", "--next", "1", "--for", "a.gcode", "-o", "a.gcode"]);
    assert_eq!((over.status, folder.get("a.gcode")), (1, part(150)), "{}", over.messages);
    for wrong in [
        &["plan", "bed.toml", "--for", "a.gcode"][..],
        &["plan", "bed.toml", "--next", "0"],
        &["plan", "bed.toml", "--next", "2", "--grid", "3x3"],
        &["plan", "-", "--next", "2", "--for", "-"],
    ] {
        assert_eq!(folder.run(wrong).status, 2, "{wrong:?}");
    }
    let few = folder.run(&[&NEW[..], &["--next", "2"]].concat());
    assert!(few.status == 1 && few.messages.contains("a map needs 3"), "{}", few.messages);
}

#[test]
fn given_points_are_planned_in_a_short_order() {
    let folder = folder();
    folder.put("points.csv", "x,y\n10,10\n190,190\n20,10\n180,190\n500,0\n");
    let bare = PLANNED.split_once("points = [").unwrap().0;
    folder.put("bare.toml", bare);
    let run = folder.run(&["plan", "bare.toml", "--points", "points.csv", "--json"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    let report = json(&run.out);
    let xs: Vec<f64> = report["points"].as_array().unwrap().iter().map(|p| p["x"].as_f64().unwrap()).collect();
    assert_eq!(xs, [10.0, 20.0, 180.0, 190.0]);
    assert_eq!(report["left_out"][0]["why"], "reach");
}

#[test]
fn the_sheet_is_written_as_pdf_svg_and_png() {
    let folder = folder();
    let before = folder.names();
    for page in ["a4", "letter"] {
        let run = folder.run(&["plan", "bed.toml", "--paper", "sheet.pdf", "--page", page]);
        assert_eq!((run.status, run.out.as_str()), (0, ""), "{}", run.messages);
        let pdf = std::fs::read(folder.path("sheet.pdf")).unwrap();
        assert!(pdf.starts_with(b"%PDF-"));
        // The paper's width in points of 1/72 inch, on both pages.
        let text = String::from_utf8_lossy(&pdf).into_owned();
        let width = if page == "a4" { 210.0 } else { 215.9 } * 72.0 / 25.4;
        let boxes: Vec<f64> = text
            .match_indices("/MediaBox [0 0 ")
            .map(|(at, found)| text[at + found.len()..].split(' ').next().unwrap().parse().unwrap())
            .collect();
        assert_eq!(boxes.len(), 2);
        assert!(boxes.iter().all(|b| (b - width).abs() < 0.01), "{boxes:?}");
        folder.run(&["plan", "bed.toml", "--paper", "again.pdf", "--page", page]);
        assert_eq!(pdf, std::fs::read(folder.path("again.pdf")).unwrap());
    }
    assert_eq!(folder.run(&["plan", "bed.toml", "--paper", "sheet.svg"]).status, 0);
    for name in ["sheet.svg", "sheet-2.svg"] {
        let svg = folder.get(name);
        assert!(roxmltree::Document::parse(&svg).is_ok() && svg.contains("210mm"));
    }
    let run = folder.run(&["plan", "bed.toml", "--paper", "sheet.png"]);
    assert!(run.messages.contains("Drew sheet.png.\nDrew sheet-2.png.\n"), "{}", run.messages);
    assert!(std::fs::read(folder.path("sheet-2.png")).unwrap().starts_with(b"\x89PNG"));
    assert_eq!(folder.get("bed.toml"), CARD);
    assert_eq!(folder.names().len(), before.len() + 6);
}

#[test]
fn the_visiting_program_goes_to_the_points_still_to_be_read() {
    let folder = folder();
    let run = folder.run(&["plan", "planned.toml", "--program", "-", "--safe-height", "12", "--dwell", "30"]);
    assert_eq!(run.status, 0, "{}", run.messages);
    for words in ["; point 1: X 10 Y 10", "; point 2: X 190 Y 10", "M117 Point 4 (3 of 3): X10 Y190", "Z12", "G4 S30"] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    assert!(!run.out.contains("; point 3") && !run.out.contains("M0\n"));
    assert_eq!(folder.get("planned.toml"), PLANNED);
    let run = folder.run(&["plan", "planned.toml", "--program", "visit.gcode"]);
    assert!(run.messages.contains("Wrote visit.gcode: it visits 3 points."), "{}", run.messages);
    assert!(folder.get("visit.gcode").contains("M0\nG90\n"));
    assert!(run.messages.contains("no temperature for the"), "{}", run.messages);
    let run = folder.run(&["plan", "planned.toml", "--program", "bad.gcode", "--safe-height", "0"]);
    assert_eq!((run.status, folder.names().contains(&"bad.gcode".to_owned())), (1, false));
}

#[test]
fn readings_come_back_by_number_or_by_place() {
    let folder = folder();
    let filled = PLANNED
        .replace("[10, 10]", "[10, 10, 0.16]")
        .replace("[190, 10]", "[190, 10, 0.14]")
        .replace("[10, 190]", "[10, 190, -0.02]");
    for csv in [
        "number,value\n1,0.16\n2,0.14\n4,-0.02\n",
        "x,y,value\n190,10,0.14\n10.04,10,0.16\n10,190,-0.02\n",
        "# read on a warm day\r\n\r\n4, -0.02\r\n 2 ,0.14\r\n10,10,0.16\r\n",
    ] {
        folder.put("readings.csv", csv);
        let run = folder.run(&["plan", "planned.toml", "--fill", "readings.csv"]);
        assert_eq!((run.status, run.out.as_str()), (0, filled.as_str()), "{csv:?}: {}", run.messages);
        assert!(run.messages.contains("Filled in 3 readings.\n4 points, 0 still to be read"), "{}", run.messages);
    }
    let args = ["plan", "planned.toml", "--fill", "-", "-o", "planned.toml"];
    assert_eq!(folder.run_with(&args, "1,0.16\n2,0.14\n4,-0.02\n", &[]).status, 0);
    assert_eq!(folder.get("planned.toml"), filled);
}

#[test]
fn wrong_readings_are_pointed_at_and_nothing_is_written() {
    let folder = folder();
    for (csv, place, words) in [
        ("1,0.16\n5,0.1\n", "2:1", "there is no point 5: the card has 1 to 4"),
        ("0,0.16\n", "1:1", "there is no point 0"),
        ("1.5,0.16\n", "1:1", "\"1.5\" is not a point's number"),
        ("number,value\n1,0.16\n1,0.17\n", "3:1", "point 1 comes twice: line 2 has it already"),
        ("10,10,0.1\n2,0.2\n10,10,0.1\n", "3:1", "point 1 comes twice: line 1"),
        ("1, o.16\n", "1:4", "\"o.16\" is not a number of millimetres"),
        ("x,y,value\n50,10,0.16\n", "2:1", "the card has no point at X 50 Y 10"),
        ("10,1o,0.16\n", "1:4", "\"1o\" is not a number"),
        ("1,2000\n", "1:3", "beyond what can be read"),
        ("1\n", "1:1", "number,value or x,y,value is expected"),
        ("10,10,0.1,0.02\n", "1:11", "number,value or x,y,value is expected"),
        ("3,0.2\n", "1:3", "point 3 has a reading already, 0.12 mm: add --replace"),
    ] {
        folder.put("readings.csv", csv);
        let run = folder.run(&["plan", "planned.toml", "--fill", "readings.csv", "-o", "planned.toml"]);
        assert_eq!((run.status, run.out.as_str()), (1, ""), "{csv:?}");
        assert!(run.messages.contains(&format!("readings.csv:{place}")), "{csv:?} {place}: {}", run.messages);
        assert!(run.messages.contains(words), "{csv:?}: {}", run.messages);
        assert_eq!(folder.get("planned.toml"), PLANNED);
    }
    // The wrong file, or one that was not saved.
    for csv in ["", "number,value\n", "# nothing yet\n"] {
        folder.put("readings.csv", csv);
        let run = folder.run(&["plan", "planned.toml", "--fill", "readings.csv", "-o", "planned.toml"]);
        assert!(run.status == 1 && run.messages.contains("readings.csv holds no reading"), "{}", run.messages);
    }
    folder.put("readings.csv", "3,0.2\n");
    let run = folder.run(&["plan", "planned.toml", "--fill", "readings.csv", "--replace"]);
    assert_eq!(run.out, PLANNED.replace("0.12", "0.2"));
    folder.put("readings.csv", "1,0.16\n2,3.5\n");
    let run = folder.run(&["plan", "planned.toml", "--fill", "readings.csv"]);
    assert_eq!(run.status, 0);
    assert!(run.messages.contains("Warning: readings.csv:2:3: point 2: 3.5 mm means"), "{}", run.messages);
}

#[test]
fn readings_are_typed_at_prompts() {
    let folder = folder();
    let run = folder.run_with(&["plan", "planned.toml", "--ask"], "0.16\n0,14\n0.14\n\n", &[]);
    assert_eq!((run.status, run.out.as_str()), (0, ""), "{}", run.messages);
    let expected = PLANNED.replace("[10, 10]", "[10, 10, 0.16]").replace("[190, 10]", "[190, 10, 0.14]");
    assert_eq!(folder.get("planned.toml"), expected);
    assert!(run.messages.contains("2 readings written to planned.toml, 1 point still to be read."), "{}", run.messages);
    assert!(run.messages.contains("Point 4 of 4, X 10 Y 190 (back left): "), "{}", run.messages);

    // Into another file the card goes whole, before the first answer.
    assert_eq!(folder.run_with(&["plan", "planned.toml", "--ask", "-o", "copy.toml"], "", &[]).status, 0);
    assert_eq!(folder.get("copy.toml"), expected);
    let run = folder.run(&["plan", "bed.toml", "--ask"]);
    assert!(run.messages.contains("Every point of the card is read"), "{}", run.messages);
}

/// The process is killed at a prompt: what was typed is on the card, and the card is whole.
#[test]
fn nothing_typed_is_lost_when_the_process_is_killed() {
    let folder = folder();
    let mut child = Command::new(env!("CARGO_BIN_EXE_evengap"))
        .args(["plan", "planned.toml", "--ask"])
        .current_dir(folder.path("."))
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let mut messages = child.stderr.take().unwrap();
    let started = Instant::now();
    // Reads up to a prompt; the process's own end closes the pipe.
    let mut heard = Vec::new();
    let mut wait_for = |words: &str| {
        let mut byte = [0];
        while !String::from_utf8_lossy(&heard).contains(words) {
            assert!(started.elapsed() < Duration::from_secs(15), "no \"{words}\"");
            assert_eq!(messages.read(&mut byte).unwrap(), 1, "ended before \"{words}\"");
            heard.push(byte[0]);
        }
    };
    wait_for("Point 1 of 4");
    pipe.write_all(b"0.16\n").unwrap();
    wait_for("Point 2 of 4");
    // The second prompt stands: the first value must be safe, whatever comes.
    pipe.write_all(b"0.1").unwrap();
    child.kill().unwrap();
    assert!(!child.wait().unwrap().success());
    assert_eq!(folder.get("planned.toml"), PLANNED.replace("[10, 10]", "[10, 10, 0.16]"));
}

#[test]
fn wrong_usage_is_status_2() {
    let folder = folder();
    for args in [
        &["plan"][..],
        &["plan", "planned.toml", "--method", "drag"],
        &["plan", "planned.toml", "--grid", "5"],
        &["plan", "planned.toml", "--grid", "5x5", "--points", "p.csv"],
        &["plan", "planned.toml", "--keep", "--replace"],
        &["plan", "planned.toml", "--paper", "sheet.doc"],
        &["plan", "planned.toml", "--fill", "r.csv", "--ask"],
        &["plan", "planned.toml", "--safe-height", "10"],
        &["plan", "-", "--ask"],
        &["plan", "-", "--fill", "-"],
        &["plan", "planned.toml", "--json", "-o", "-"],
        &["plan", "planned.toml", "--json", "--program", "-"],
        &["plan", "--bed-x", "0:235", "--bed-y", "0..235", "--method", "drag", "--sheet", "0.1"],
    ] {
        let run = folder.run(args);
        assert_eq!((run.status, run.out.as_str()), (2, ""), "{args:?}: {}", run.messages);
    }
    assert_eq!(folder.get("planned.toml"), PLANNED);
}

#[test]
fn a_layout_that_cannot_be_is_refused() {
    let folder = folder();
    for args in [
        &["plan", "planned.toml", "--grid", "1x5", "--replace"][..],
        &["plan", "planned.toml", "--grid", "5x5", "--margin", "200", "--replace"],
        &["plan", "planned.toml", "--grid", "5x5", "--margin", "nan", "--replace"],
        &["plan", "nowhere.toml", "--grid", "5x5"],
    ] {
        let run = folder.run(args);
        assert_eq!((run.status, run.out.as_str()), (1, ""), "{args:?}");
        assert!(run.messages.starts_with("error: "), "{}", run.messages);
    }
    let refused = folder.run(&["plan", "planned.toml", "--grid", "1x5", "--replace", "--json"]);
    assert_eq!(json(&refused.messages)["error"]["kind"], "options");
}

#[test]
fn the_sheet_refuses_a_parked_height_that_the_program_refuses() {
    let folder = Folder::new();
    for parked in ["0", "-0.3"] {
        folder.put("gauge.toml", &CARD.replace("\"drag\"\nsheet = 0.10", &format!("\"gauge\"\nparked = {parked}")));
        for output in [["--paper", "sheet.svg"], ["--program", "visit.gcode"]] {
            let run = folder.run(&[&["plan", "gauge.toml"][..], &output].concat());
            assert_eq!(run.status, 1, "{parked} {output:?}");
            assert!(run.messages.contains("the nozzle must stay above Z = 0"), "{}", run.messages);
        }
    }
    assert_eq!(folder.names(), ["bed.toml", "gauge.toml", "part.gcode"]);
}
