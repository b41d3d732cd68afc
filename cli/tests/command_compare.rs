//! `evengap compare`: what changed, in figures, JSON and as a picture; warnings and errors.

mod common;

use common::{CARD, Folder};

fn with_back_raised() -> Folder {
    let folder = Folder::new();
    let raised =
        CARD.replace("205, 0.15", "205, 0.27").replace("205, 0.23", "205, 0.35").replace("205, 0.12", "205, 0.24");
    folder.put("later.toml", &raised.replace("bed_celsius = 60", "bed_celsius = 20"));
    folder
}

#[test]
fn what_changed_is_said_in_figures_and_words() {
    let run = with_back_raised().run(&["compare", "bed.toml", "later.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    for words in [
        "later.toml minus bed.toml",
        "Bed 60 degrees then 20 degrees: the hotter bed against the colder",
        "Tilt: the back has risen against the opposite side",
        "+0.120!",
        "3 of 9 places changed by more than the spreads explain",
        "as if the screws had been turned",
        "Files rewritten with bed.toml: over the bed of later.toml their gap is up to 0.1",
        "too small (back",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
}

#[test]
fn a_card_against_itself_has_not_changed() {
    let run = Folder::new().run(&["compare", "bed.toml", "bed.toml"]);
    assert!(run.out.contains("No place changed by more than the readings' spreads explain."), "{}", run.out);
    assert!(run.out.contains("the bed still is where they believe it is."), "{}", run.out);
}

#[test]
fn json_has_the_difference_the_steps_and_the_drift() {
    let folder = with_back_raised();
    let run =
        folder.run(&["compare", "bed.toml", "later.toml", "bed.toml", "--json", "--rewritten-with", "later.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["level"], "absolute");
    assert!(json["range_mm"].as_f64().unwrap() < 1e-9);
    assert_eq!(json["steps"].as_array().unwrap().len(), 2);
    let points = json["drift"]["points"].as_array().unwrap();
    assert_eq!((points.len(), points[0]["change_mm"].as_array().unwrap().len()), (9, 3));
    assert!((points[8]["change_mm"][1].as_f64().unwrap() - 0.12).abs() < 1e-9);
    assert!(json["rewritten_gap_error_mm"].as_f64().unwrap() > 0.119);
    assert_eq!(json["cards"][1]["name"], "later.toml");
}

#[test]
fn what_cannot_be_set_against_each_other_is_warned_of() {
    let folder = Folder::new();
    let other = CARD.replace("sheet = 0.10", "sheet = 0.10\nright_at = [117, 117]\npredicted = true");
    folder.put("other.toml", &other);
    let run = folder.run(&["compare", "bed.toml", "other.toml"]);
    assert_eq!(run.status, 0);
    for words in ["other.toml holds predictions", "only shapes are compared", "the level cannot be told"] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
    let dial = CARD.replace("\"drag\"\nsheet = 0.10", "\"gauge\"\nparked = 0.45");
    folder.put("gauge.toml", &dial);
    assert!(folder.run(&["compare", "bed.toml", "gauge.toml"]).out.contains("read in different ways (drag, gauge)"));
}

#[test]
fn beds_that_differ_are_warned_of() {
    let folder = Folder::new();
    folder.put("wider.toml", &CARD.replace("x = [0, 235]", "x = [0, 300]"));
    assert_ne!(CARD, CARD.replace("x = [0, 235]", "x = [0, 300]"));
    let run = folder.run(&["compare", "bed.toml", "wider.toml"]);
    let words = "The cards' beds differ (X 0 to 235, Y 0 to 235; X 0 to 300, Y 0 to 235)";
    assert!(run.status == 0 && run.out.contains(words), "{}", run.out);
    assert!(!folder.run(&["compare", "bed.toml", "bed.toml"]).out.contains("beds differ"));
}

#[test]
fn the_picture_says_which_minus_which() {
    let folder = with_back_raised();
    let run = folder.run(&["compare", "bed.toml", "later.toml", "--picture", "change.svg"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Drew change.svg.\n"));
    let text = folder.get("change.svg");
    let svg = roxmltree::Document::parse(&text).unwrap();
    let texts: Vec<&str> = svg.descendants().filter_map(|n| n.text()).collect();
    assert!(texts.contains(&"later.toml minus bed.toml, mm; where the bed has risen is positive"), "{texts:?}");
    assert!(texts.contains(&"+0.12"), "{texts:?}");
}

#[test]
fn wrong_usage_and_wrong_cards() {
    let folder = Folder::new();
    assert_eq!(folder.run(&["compare", "bed.toml"]).status, 2);
    assert_eq!(folder.run(&["compare", "-", "-"]).status, 2);
    folder.put("broken.toml", &CARD.replace("sheet =", "shet ="));
    let run = folder.run(&["compare", "bed.toml", "broken.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("broken.toml:8:1"), "{}", run.messages);
    // No part of the bed in common.
    let far = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [[210, 210, 0.1], [230, 210, 0.1], [220, 230, 0.1]]\n";
    folder.put("far.toml", far);
    let run = folder.run(&["compare", "bed.toml", "far.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("no part of the bed in common"), "{}", run.messages);
}
