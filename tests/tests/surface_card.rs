//! What a card may say, and where its errors point.

use evengap::{Card, ErrorKind, HeightMap, SurfaceKind};

const GOOD: &str = r#"[bed]
x = [0, 235]
y = [0, 235]

[readings]
method = "drag"
sheet = 0.10
bed_celsius = 60
nozzle_celsius = 205
points = [
  [ 30,  30, 0.16],
  [117,  30, 0.08],   # a comment
  [ 30, 205, 0.12],
]

[screws]
thread = "M4"
raise = "anticlockwise"
at = { "front left" = [30, 30], "front right" = [205, 30], "back left" = [30, 205] }
"#;

const GOOD_JSON: &str = r#"
 {"screws": {"raise": "anticlockwise", "pitch": 0.70,
             "at": {"back left": [30, 205], "front left": [3e1, 30], "front right": [205, 30]}},
  "readings": {"method": "drag", "sheet": 1e-1, "bed_celsius": 60.0, "nozzle_celsius": 205,
    "points": [[30, 30, 0.160],
               [117, 30, 0.08], [30, 205, 0.12]]},
  "bed": {"y": [0, 235], "x": [-0.0, 235]}}
"#;

type Slip = (&'static str, &'static str, (u64, u64), &'static str, &'static str);

/// One slip in the good card: what is replaced, by what, the place that the error must point at, words of the message, and words of
/// the help (empty: any).
const SLIPS: &[Slip] = &[
    ("sheet = 0.10", "sheets = 0.10", (7, 1), "unknown key `sheets` in [readings]", "did you mean `sheet`?"),
    ("x = [0, 235]", "x = [0, 235]\nzeta = 1", (3, 1), "unknown key `zeta` in [bed]", "x, y, outline, keep_out"),
    ("[screws]", "[screw]", (16, 2), "unknown key `screw` in the card", "did you mean `screws`?"),
    ("x = [0, 235]", "x = [0, 235]\nx = [0, 235]", (3, 1), "duplicate key", ""),
    ("x = [0, 235]", "", (1, 2), "[bed] has no `x`", "x = [0, 235]"),
    ("x = [0, 235]", "x = [235, 0]", (2, 5), "`x` runs from 235 to 0", "lowest first"),
    ("x = [0, 235]", "x = [0, 0]", (2, 5), "at least 1 mm", ""),
    ("x = [0, 235]", "x = [0, 235, 1]", (2, 5), "`x` must be 2 numbers, and here 3 stand", ""),
    ("x = [0, 235]", "x = 235", (2, 5), "`x` must be 2 numbers, and this is a number", ""),
    ("x = [0, 235]", "x = [0, nan]", (2, 9), "not a finite number", ""),
    ("x = [0, 235]", "x = [0, inf]", (2, 9), "not a finite number", ""),
    ("x = [0, 235]", "x = [0, 1e999]", (2, 9), "", ""),
    ("x = [0, 235]", "x = [0, 1e9]", (2, 9), "beyond what a bed can be", ""),
    ("x = [0, 235]", "x = [0, \"235\"]", (2, 9), "a number is needed, and this is text in quotes", ""),
    ("x = [0, 235]", "x = [0, 0xff]", (2, 9), "a number that is not decimal", ""),
    ("x = [0, 235]", "x = [0, 1979-05-27]", (2, 9), "a date or time", ""),
    ("x = [0, 235]", "x = [0, 235", (3, 1), "not TOML", ""),
    (
        "x = [0, 235]",
        "outline = \"rond\"\nx = [0, 235]",
        (2, 11),
        "`outline` cannot be `rond`",
        "did you mean \"round\"?",
    ),
    ("x = [0, 235]", "keep_out = [[0, 9, 9, 5]]\nx = [0, 235]", (2, 13), "keep-out area is empty", "x0 < x1"),
    (
        "x = [0, 235]",
        "keep_out = [[25, 25, 40, 40]]\nx = [0, 235]",
        (12, 3),
        "the reading at (30, 30) lies in the keep-out area",
        "",
    ),
    (
        "x = [0, 235]",
        "outline = \"round\"\nx = [0, 235]",
        (12, 3),
        "the reading at (30, 30) is outside the bed",
        "ellipse",
    ),
    ("[ 30,  30, 0.16]", "[ -3,  30, 0.16]", (11, 3), "the reading at (-3, 30) is outside the bed", "x 0 to 235"),
    ("[ 30,  30, 0.16]", "[ 30]", (11, 3), "a reading must be 3 numbers, and here 1 stand", "[x, y, value]"),
    ("[ 30,  30, 0.16]", "[ 30,  30, true]", (11, 14), "this is true or false", ""),
    ("[ 30,  30, 0.16]", "[ 30,  30, 1600]", (11, 3), "beyond what can be read", ""),
    ("[ 30,  30, 0.16]", "[ 30,  30, 0,16]", (11, 16), "`spread` = 16 is not between", "decimals have a point"),
    ("[ 30,  30, 0.16]", "[ 30,  30, 0,1]", (11, 16), "`spread` = 1 is not between", "decimals have a point"),
    (
        "[ 30,  30, 0.16]",
        "[ 30,  30, 0, 1, 6]",
        (11, 3),
        "a reading must be 3 numbers, and here 5 stand",
        "[x, y, value]",
    ),
    ("[ 30,  30, 0.16]", "30", (11, 3), "a reading must be 3 numbers, and this is a number", ""),
    ("method = \"drag\"", "method = \"drga\"", (6, 10), "`method` cannot be `drga`", "did you mean \"drag\"?"),
    ("method = \"drag\"", "method = 1", (6, 10), "`method` must be text in quotes", ""),
    ("method = \"drag\"\n", "", (5, 2), "[readings] has no `method`", ""),
    (
        "method = \"drag\"",
        "method = \"gauge\"",
        (7, 1),
        "`sheet` belongs to the method drag, and this card's method is gauge",
        "take `sheet` out",
    ),
    ("sheet = 0.10\n", "", (5, 2), "[readings] has no `sheet`", "sheet = 0.10"),
    ("sheet = 0.10", "sheet = -0.1", (7, 9), "`sheet` = -0.1 is not between 0 and 10", ""),
    ("sheet = 0.10", "sheet = 0.1\nparked = 0.2", (8, 1), "`parked` belongs to the method gauge or patch", ""),
    ("sheet = 0.10", "sheet = 0.1\noffset = [1, 2]", (8, 1), "`offset` belongs to the method dial", ""),
    ("sheet = 0.10", "sheet = 0.1\nspread = -1", (8, 10), "`spread`", ""),
    ("sheet = 0.10", "sheet = 0.1\nright_at = [1, 300]", (8, 12), "`right_at` (1, 300) is outside the bed", ""),
    ("bed_celsius = 60", "bed_celsius = \"60\"", (8, 15), "a number is needed", ""),
    ("thread = \"M4\"", "thread = \"M9\"", (17, 10), "`M9` is not a thread that is known here", "M2.5"),
    ("thread = \"M4\"", "thread = \"M4\"\npitch = 0.7", (18, 1), "both `thread` and `pitch`", ""),
    ("thread = \"M4\"\n", "", (16, 2), "neither `thread` nor `pitch`", ""),
    ("thread = \"M4\"", "pitch = 0", (17, 9), "`pitch` = 0 is not between", ""),
    ("raise = \"anticlockwise\"", "raise = \"counterclockwise\"", (18, 9), "`raise` cannot be `counterclockwise`", ""),
    ("\"back left\" = [30, 205]", "\"back left\" = [30]", (19, 74), "a screw's place", ""),
    ("\"back left\" = [30, 205]", "\"back left\" = [30, 30]", (19, 74), "stand at one place", ""),
    (", \"front right\" = [205, 30], \"back left\" = [30, 205]", "", (19, 6), "names 1 screws", ""),
    ("[bed]", "[[bed]]", (1, 1), "[bed] must be a table, and this is a list", ""),
];

#[test]
fn errors_point_at_the_slip() {
    Card::parse(GOOD).expect("the card before the slip is sound");
    for (from, to, place, message, help) in SLIPS {
        assert!(GOOD.contains(from), "{from}");
        let error = Card::parse(&GOOD.replacen(from, to, 1)).expect_err(to);
        let at = error.place().unwrap_or_else(|| panic!("{to}: no place: {error}"));
        assert_eq!((at.line, at.column), *place, "{to}: {error}");
        assert_eq!(error.kind(), ErrorKind::Card, "{to}");
        assert!(error.to_string().contains(message), "{to}: {error}");
        assert!(help.is_empty() || error.help().is_some_and(|h| h.contains(help)), "{to}: {:?}", error.help());
        assert!(!error.to_string().contains('\n'), "{to}: {error}");
    }
}

#[test]
fn methods_ask_for_their_keys() {
    let card = |method: &str| {
        let head = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\n";
        Card::parse(&format!("{head}{method}\npoints = [[30, 30, 0.1], [205, 30, 0.1], [30, 205, 0.2]]\n"))
    };
    for (method, missing) in [
        ("method = 'gauge'", "`parked`"),
        ("method = 'patch'", "`parked`"),
        ("method = 'dial'", "`offset`"),
        ("method = 'dial'\noffset = [10, 0]", "`right_at`"),
    ] {
        let error = card(method).expect_err(method);
        assert!(error.to_string().contains(missing), "{method}: {error}");
        assert_eq!(error.place().map(|p| (p.line, p.column)), Some((4, 2)));
    }
    let error = card("method = 'gauge'\nparked = 0.3").and_then(|_| {
        Card::parse(
            "[bed]\nx = [0, 9]\ny = [0, 9]\n[readings]\nmethod = 'gauge'\nparked = 0.3\npoints = [[1, 1, -0.1]]",
        )
    });
    let error = error.expect_err("a negative leaf");
    assert_eq!(error.place().map(|p| (p.line, p.column)), Some((7, 11)));
    // Signs: the module's table.
    for (method, height) in [
        ("method = 'drag'\nsheet = 0.04", 0.06),
        ("method = 'gauge'\nparked = 0.3", 0.2),
        ("method = 'patch'\nparked = 0.3", 0.2),
        ("method = 'dial'\noffset = [40, -5]\nright_at = [30, 30]", 0.1),
    ] {
        let card = card(method).expect(method);
        let spot = card.spot_heights()[0];
        assert!((spot.height - height).abs() < 1e-15, "{method}: {}", spot.height);
        assert!((card.readings.value_of(spot.height) - 0.1).abs() < 1e-15);
        let place = if method.contains("dial") { [70.0, 25.0] } else { [30.0, 30.0] };
        assert!((spot.x - place[0]).abs() + (spot.y - place[1]).abs() < 1e-12);
    }
}

#[test]
fn toml_and_json_say_the_same() {
    let (toml, json) = (Card::parse(GOOD).expect("TOML"), Card::parse(GOOD_JSON).expect("JSON"));
    assert_eq!(toml.digest(), json.digest());
    assert_eq!(toml.digest().len(), 12);
    let places = |c: &Card| c.readings.points.iter().map(|p| (p.line, p.column)).collect::<Vec<_>>();
    assert_eq!(places(&toml), [(Some(11), Some(3)), (Some(12), Some(3)), (Some(13), Some(3))]);
    assert_eq!(places(&json), [(Some(5), Some(16)), (Some(6), Some(16)), (Some(6), Some(33))]);
    let names = |c: &Card| c.screws.as_ref().expect("screws").at.iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&toml), ["front left", "front right", "back left"]);
    assert_eq!(names(&json), ["back left", "front left", "front right"]);
    // CRLF and a byte order mark change neither what it says nor the places.
    let windows = Card::parse(&format!("\u{feff}{}", GOOD.replace('\n', "\r\n"))).expect("CRLF");
    assert_eq!((windows.digest(), places(&windows)), (toml.digest(), places(&toml)));
    // Anything else that it says does.
    for (from, to) in [("0.16", "0.17"), ("60", "61"), ("anti", ""), ("M4", "M3"), ("[205, 30]", "[205, 31]")] {
        assert_ne!(Card::parse(&GOOD.replacen(from, to, 1)).expect(to).digest(), toml.digest(), "{to}");
    }
}

#[test]
fn a_card_goes_out_and_comes_back() {
    for text in [GOOD, GOOD_JSON, &GOOD.replace("\"front left\"", r#""a \"b\" \\ \u0007é""#)] {
        let card = Card::parse(text).expect("sound");
        assert_eq!(Card::parse(&card.to_toml()).expect("its own TOML").digest(), card.digest());
        let json = serde_json::to_string(&card).expect("JSON");
        let back = Card::parse(&json).expect("its own JSON");
        assert_eq!(back.digest(), card.digest(), "{json}");
    }
}

#[test]
fn json_errors_have_their_places() {
    for (text, place, message) in [
        ("{\n \"bed\": {\"x\": [0, 1],\n  \"z\": 1}}", (3, 3), "unknown key `z` in [bed]"),
        ("{\n \"bed\": {\"x\": [0, 1],\n  \"x\": [0, 1]}}", (3, 3), "the key `x` is given twice"),
        ("{\n \"bed\": }", (2, 9), "not JSON"),
        ("{\"bed\": {\"x\": [0, 1e999], \"y\": [0, 1]}, \"readings\": {}}", (1, 19), "not a finite number"),
        ("{\"bed\": {\"x\": [0, null], \"y\": [0, 1]}, \"readings\": {}}", (1, 19), "this is null"),
        ("{\"bed\": [[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]}", (1, 24), "nested too deep"),
        ("{} {}", (1, 4), "not JSON"),
    ] {
        let error = Card::parse(text).expect_err(text);
        let at = error.place().expect("a place");
        assert_eq!((at.line, at.column), place, "{text}: {error}");
        assert!(error.to_string().contains(message), "{text}: {error}");
    }
}

#[test]
fn csv_readings_come_in() {
    let head = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
    let csv = "\u{feff}X,Y,Z\r\n# front row\r\n30,30,0.16\r\n 117 , 30 ,.08\r\n\r\n30,205,1.2e-1\r\n";
    let card = Card::parse_with_csv(head, csv).expect("sound");
    let got: Vec<_> = card.readings.points.iter().map(|p| (p.x, p.y, p.value, p.line, p.column)).collect();
    let want = [
        (30.0, 30.0, 0.16, Some(3), Some(1)),
        (117.0, 30.0, 0.08, Some(4), Some(2)),
        (30.0, 205.0, 0.12, Some(6), Some(1)),
    ];
    assert_eq!(got, want);
    for (csv, place, message) in [
        ("x,y,value\n30,30,0.1\n30,3O,0.1", (3, 4), "`3O` is not a number"),
        ("30;30;0.1\n1,2,3", (2, 1), ""),
        ("30,30", (1, 1), "three numbers are needed here and 2 stand"),
        ("30,30,0,16", (1, 1), "three numbers are needed here and 4 stand"),
        ("30,30,nan", (1, 7), "`nan` is not a number"),
        ("30,30,0.1\n30,300,0.1", (2, 1), "outside the bed"),
        ("x,y,value\n", (4, 2), "no readings"),
    ] {
        match Card::parse_with_csv(head, csv) {
            Ok(card) => assert_eq!(card.readings.points[0].line, Some(place.0), "{csv}"),
            Err(error) => {
                assert_eq!(error.place().map(|p| (p.line, p.column)), Some(place), "{csv}: {error}");
                assert!(error.to_string().contains(message), "{csv}: {error}");
            }
        }
    }
    assert!(Card::parse_with_csv(GOOD, csv).is_err(), "points in both places");
}

/// Text that tries to exhaust stack or patience is refused. Here only that it is refused, and the stack holds.
#[test]
fn hostile_text_is_refused() {
    let n = evengap::card::MAX_CARD_BYTES - 100;
    let many = |head: &str, unit: &str, tail: &str| format!("{head}{}{tail}", unit.repeat(n / unit.len()));
    for text in [
        many("a=", "[", ""),
        many("a=", "{a=", ""),
        many("", "a.", "a=1"),
        many("[", "a.", "a]"),
        many("", "[[a]]\n", ""),
        many("", "=\n", ""),
        many("", "\u{1}", ""),
        many("", "a=1\n", ""),
        many("", "'", ""),
        many("{\"bed\":", "[", ""),
        many("{\"bed\":", "{\"a\":", ""),
        many("{", "\"a\":1,", "\"b\":1}"),
        many("{\"bed\":[", "1,", "1]}"),
        many("{", " ", ""),
        many("[bed]\nx=[0,9]\ny=[0,9]\n[readings]\nmethod='drag'\nsheet=0\npoints=[", "[1,1,1],", "]"),
        String::new(),
        "{".into(),
        "\u{feff}".into(),
    ] {
        let error = Card::parse(&text).expect_err("hostile");
        assert!(!error.to_string().is_empty() && error.to_string().len() < 1000);
    }
    let error = Card::parse(&" ".repeat(n + 101)).expect_err("too long");
    assert_eq!(error.kind(), ErrorKind::Limit);
}

/// The keys that the work before and after rewriting needs: points to read, spreads of single readings, a screw's travel, a test
/// print, a prediction.
const FULL: &str = "\
[bed]
x = [0, 235]
y = [0, 235]
[readings]
method = 'drag'
sheet = 0.1
predicted = true
points = [
  [30, 30],
  [205, 30, 0.1],
  [117, 117, 0.12, 0.005],
  [30, 205],
  [205, 205, 0.2],
]
[screws]
pitch = 0.7
raise = 'clockwise'
at = { a = [30, 30], b = [205, 30], c = [117, 205] }
travel = { b = [-1, 1.5] }
[print]
filament = 2.85
layer_height = 0.25
[machine]
z_speed = 8
z_steps_per_mm = 400
";

#[test]
fn points_to_read_and_the_rest_of_the_keys() {
    let card = Card::parse(FULL).expect("sound");
    let read: Vec<_> = card.readings.points.iter().map(|p| (p.value, p.spread, p.line)).collect();
    assert_eq!(read, [(0.1, None, Some(10)), (0.12, Some(0.005), Some(11)), (0.2, None, Some(13))]);
    let unread: Vec<_> = card.readings.unread.iter().map(|u| (u.number, u.x, u.y, u.line, u.column)).collect();
    assert_eq!(unread, [(1, 30.0, 30.0, Some(9), Some(3)), (4, 30.0, 205.0, Some(12), Some(3))]);
    let travel: Vec<_> = card.screws.as_ref().expect("screws").at.iter().map(|s| s.travel).collect();
    assert_eq!(travel, [None, Some([-1.0, 1.5]), None]);
    assert_eq!((card.print.filament(), card.print.layer_height(), card.print.line_width()), (2.85, 0.25, 0.45));
    let machine = card.machine;
    assert_eq!((machine.z_speed, machine.z_steps_per_mm, machine.moves_per_second), (Some(8.0), Some(400.0), None));
    assert!(card.readings.predicted);
    // Out and back: the same in both languages, order of points included.
    for text in [card.to_toml(), serde_json::to_string(&card).expect("JSON")] {
        let back = Card::parse(&text).expect("its own text");
        assert_eq!((back.digest(), back.machine), (card.digest(), card.machine), "{text}");
        assert_eq!(back.readings.unread.iter().map(|u| u.number).collect::<Vec<_>>(), [1, 4], "{text}");
    }
    let both = Card::parse(&FULL.replace("{ b = [-1, 1.5] }", "[-2, 3]")).expect("one travel for all");
    assert!(both.screws.expect("screws").at.iter().all(|s| s.travel == Some([-2.0, 3.0])));
    // What the machine can do says nothing of the bed.
    let other = Card::parse(&FULL.replace("z_speed = 8", "z_speed = 5")).expect("another machine");
    assert_eq!(other.digest(), card.digest());
    for (from, to, place, message) in [
        ("z_speed = 8", "z_speed = 0", (24, 11), "`z_speed` = 0 is not between"),
        ("[30, 30],\n", "[30, 236],\n", (9, 3), "the point at (30, 236) is outside the bed"),
        ("0.005", "0", (11, 20), "spread` = 0 is not between"),
        ("sheet", "spread = 0\nsheet", (12, 3), "this reading has a spread, 0.005 mm, on a card whose `spread` is 0"),
        ("predicted = true", "predicted = 1", (7, 13), "`predicted` must be true or false"),
        ("{ b =", "{ d =", (19, 12), "`travel` names a screw that `at` does not: `d`"),
        ("[-1, 1.5]", "[1, 1.5]", (19, 16), "where the screw is now, 0, is outside"),
        ("filament = 2.85", "filament = 28.5", (21, 12), "is not between"),
    ] {
        let error = Card::parse(&FULL.replacen(from, to, 1)).expect_err(to);
        assert_eq!(error.place().map(|p| (p.line, p.column)), Some(place), "{to}: {error}");
        assert!(error.to_string().contains(message), "{to}: {error}");
    }
    for (from, to) in [("2.85", "2.8"), ("0.005", "0.006"), ("1.5]", "1.6]"), ("true", "false"), ("[30, 30],\n", "")] {
        assert_ne!(Card::parse(&FULL.replacen(from, to, 1)).expect(to).digest(), card.digest(), "{to}");
    }
}

#[test]
fn a_card_without_points_is_for_planning() {
    let bare = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
    assert!(Card::parse(bare).is_err());
    let card = Card::parse_without_points(bare).expect("to be planned");
    assert!(card.readings.points.is_empty() && card.readings.unread.is_empty());
    let to_read = Card::parse(&format!("{bare}points = [[30, 30], [40, 50]]\n")).expect("to be read");
    let error = HeightMap::fit(&to_read, SurfaceKind::ThinPlate).expect_err("nothing was read");
    assert!(error.to_string().contains("none of the card's 2 points has been read yet"), "{error}");
    assert_eq!(error.place().map(|p| (p.line, p.column)), Some((7, 11)));
}

/// Readings of unequal spread: on a plane of three that pins it and a fourth, precise one, the least-squares plane lies nearer
/// the precise one. Weighted means by hand: two readings at one place, 0.10 with 0.01 and 0.13 with 0.02, make
/// (0.10 / 0.01^2 + 0.13 / 0.02^2) / (1 / 0.01^2 + 1 / 0.02^2) = 0.106.
#[test]
fn a_reading_counts_by_its_own_spread() {
    let card = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\npoints = [\n\
                [0, 0, 0.10, 0.01], [0, 0, 0.13, 0.02], [200, 0, 0.1], [0, 200, 0.1]]\n";
    let card = Card::parse(card).expect("sound");
    assert_eq!(card.readings.noise(), Some(0.02));
    let weights = card.readings.weights().expect("unequal");
    assert!(weights.iter().zip([4.0, 1.0, 1.0, 1.0]).all(|(a, b)| (a - b).abs() < 1e-12), "{weights:?}");
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a plane");
    assert!((map.height(0.0, 0.0) - 0.106).abs() < 1e-12, "{}", map.height(0.0, 0.0));
}
