//! `evengap tram`: lines to act on, JSON, predicted cards, pictures and errors with their place.

mod common;

use common::{CARD, Folder};

/// A plane that falls to the front left; three screws.
const LOW_CORNER: &str = r#"[bed]
x = [0, 200]
y = [0, 200]
[readings]
method = "drag"
sheet = 0.1
points = [[20, 20, -0.04], [180, 20, 0.1], [180, 180, 0.24], [20, 180, 0.1]]
[screws]
thread = "M4"
raise = "anticlockwise"
at = { "front left" = [20, 20], "front right" = [180, 20], "back left" = [20, 180] }
"#;

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).expect("JSON")
}

#[test]
fn the_lines_are_what_a_person_acts_on() {
    let folder = Folder::new();
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    for line in [
        "1. front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)",
        "2. front right: leave it as it is",
        "Range of the readings  0.280 mm now",
        "0.000 mm after turning",
        "After this nothing is left but what the readings cannot tell.",
        "Raise the nozzle well above the bed before you turn a knob",
    ] {
        assert!(run.out.contains(line), "{line}: {}", run.out);
    }
}

/// The bed of the other tests is a dome that no screw mends: its middle, 0.35 - 0.10, stands 0.25 high; least squares puts the plane at
/// the mean, 0.1 mm.
#[test]
fn what_no_screw_mends_is_said_in_words() {
    let run = Folder::new().run(&["tram", "bed.toml"]);
    assert_eq!(run.status, 0);
    assert!(run.out.contains("After this the middle still stands 0.15 mm high"), "{}", run.out);
    assert!(run.out.contains("that is what `rewrite` is for"), "{}", run.out);
}

#[test]
fn json_holds_the_promised_names() {
    let folder = Folder::new();
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml", "--json", "--fit", "smallest-range"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let all = json(&run.out);
    let first = &all["screws"][0];
    assert_eq!(first["name"], "front left");
    assert_eq!(first["direction"], "anticlockwise");
    for (key, want) in [("raise_mm", 0.14), ("turns", 0.2), ("angle_degrees", 72.0)] {
        assert!((first[key].as_f64().unwrap() - want).abs() < 1e-9, "{first}");
    }
    assert_eq!(first["sixteenths"], 3);
    assert!((all["range_before_mm"].as_f64().unwrap() - 0.28).abs() < 1e-12);
    assert!(all["range_after_mm"].as_f64().unwrap() < 1e-8);
    assert_eq!(
        (&all["fit"], &all["verdict"], &all["stop"]),
        (&json("\"smallest-range\""), &json("\"turn\""), &json("false"))
    );
    assert_eq!(all["lines"][0], "front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)");
}

#[test]
fn the_predicted_card_goes_through_map_and_tram_again() {
    let folder = Folder::new();
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml", "--predict", "after.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Wrote the predicted card after.toml.\n"));
    assert!(folder.get("after.toml").contains("predicted = true"));
    let map = folder.run(&["map", "after.toml"]);
    assert!(map.out.contains("These readings are predictions: nobody took them."), "{}", map.out);
    let again = folder.run(&["tram", "after.toml"]);
    assert!(again.out.contains("Done: with this spread"), "{}", again.out);
    // On standard output the card stands alone.
    let piped = folder.run(&["tram", "low.toml", "--predict", "-"]);
    assert_eq!(piped.out, folder.get("after.toml"));
    assert!(piped.messages.contains("front left: raise 0.14 mm"));
}

#[test]
fn hold_and_stop_below_do_what_they_say() {
    let folder = Folder::new();
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml", "--hold", "front left"]);
    assert!(run.out.contains("front left: leave it as it is (held)"), "{}", run.out);
    assert!(run.out.contains("The bed ends even, 0.14 mm lower than height 0"), "{}", run.out);
    let run = folder.run(&["tram", "low.toml", "--stop-below", "0.3"]);
    assert!(run.out.contains("Done: range and moves are within the 0.3 mm that you asked for."), "{}", run.out);
    let run = folder.run(&["tram", "low.toml", "--hold", "back right", "--json"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    let error = json(&run.messages);
    assert_eq!(error["error"]["kind"], "options");
    assert!(error["error"]["help"].as_str().unwrap().contains("front left, front right, back left"), "{error}");
}

#[test]
fn travel_that_does_not_suffice_is_a_caution() {
    let folder = Folder::new();
    folder.put("low.toml", &LOW_CORNER.replace("raise =", "travel = [-0.05, 0.05]\nraise ="));
    let run = folder.run(&["tram", "low.toml"]);
    assert_eq!(run.status, 0);
    assert!(run.out.contains("Caution: do not turn yet."), "{}", run.out);
    folder.put("low.toml", &LOW_CORNER.replace("raise =", "travel = [-0.2, 0.05]\nraise ="));
    let run = folder.run(&["tram", "low.toml"]);
    assert!(run.out.contains("All screws are set 0.09 mm lower"), "{}", run.out);
    assert!(run.out.contains("\nThe bed ends even, 0.09 mm lower"), "{}", run.out);
    // A bed that ends above the nozzle's zero is the dangerous way round.
    let high = LOW_CORNER.replace("-0.04", "0.24").replace("180, 0.24]", "180, -0.04]");
    folder.put("high.toml", &high.replace("raise =", "travel = [-0.05, 0.2]\nraise ="));
    let run = folder.run(&["tram", "high.toml"]);
    assert!(run.out.contains("\nCaution: The bed ends even, 0.09 mm higher"), "{}", run.out);
}

#[test]
fn twist_is_offered_and_taken() {
    let folder = Folder::new();
    let card = CARD.replace("0.16], [117,  30, 0.18", "0.36], [117,  30, 0.18").replace("205, 0.12", "205, 0.36");
    folder.put("twisted.toml", &card);
    let run = folder.run(&["tram", "twisted.toml"]);
    assert!(run.out.contains("`--twist` takes that out too"), "{}", run.out);
    let run = folder.run(&["tram", "twisted.toml", "--twist"]);
    assert!(run.out.contains("a height for each of four screws"), "{}", run.out);
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml", "--twist"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("a twist needs four screws"), "{}", run.messages);
}

#[test]
fn a_card_without_screws_says_what_to_add_and_where() {
    let folder = Folder::new();
    folder.put("none.toml", LOW_CORNER.split_once("[screws]").unwrap().0);
    let run = folder.run(&["tram", "none.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("none.toml:7:1"), "{}", run.messages);
    assert!(run.messages.contains("[screws]\n") && run.messages.contains("at = {"), "{}", run.messages);
    let error = json(&folder.run(&["tram", "none.toml", "--json"]).messages);
    assert_eq!(error["error"]["places"][0]["line"], 7);
}

#[test]
fn the_picture_shows_screws_with_turns() {
    let folder = Folder::new();
    folder.put("low.toml", LOW_CORNER);
    let run = folder.run(&["tram", "low.toml", "--picture", "low.svg"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Drew low.svg.\n"));
    let text = folder.get("low.svg");
    let svg = roxmltree::Document::parse(&text).unwrap();
    let texts: Vec<&str> = svg.descendants().filter_map(|n| n.text()).collect();
    for words in
        ["raise 0.14 mm", "0.20 turn anticlockwise", "leave as it is", "turn this way", "What the screws have to do"]
    {
        assert!(texts.contains(&words), "{words}: {texts:?}");
    }
}
