//! What is too large to be meant: an error with its place, soon, and without the memory that it asks for.

use evengap::check::{GapOptions, Gaps};
use evengap::follow::rewrite;
use evengap::{Card, ErrorKind, HeightMap, SurfaceKind};
use evengap_tests::beds::{anywhere, map};
use std::time::{Duration, Instant};

fn bent() -> HeightMap {
    map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y)
}

/// Texts that are no cards, or far too much of one: refused within a second, the place told.
#[test]
fn cards_that_are_none() {
    let head = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
    let points = |n: u32, point: &str| format!("{head}points = [{}]\n", point.repeat(n as usize));
    let deep = |open: &str, close: &str| format!("a = {}1{}\n", open.repeat(100_000), close.repeat(100_000));
    let texts = [
        ("10 MB of comments", "# nothing\n".repeat(1_000_000)),
        ("10 MB of keys", (0..500_000).map(|n| format!("key_{n} = {n}\n")).collect()),
        ("100,000 points", points(100_000, "[1, 2, 0.1],")),
        ("arrays in arrays", deep("[", "]")),
        ("tables in tables", deep("{ a = ", " }")),
        ("JSON in JSON", format!("{}1{}", "{\"bed\":".repeat(100_000), "}".repeat(100_000))),
        ("JSON lists", format!("{{\"bed\":{}{}}}", "[".repeat(100_000), "]".repeat(100_000))),
        ("dotted keys", format!("{}b = 1\n", "a.".repeat(100_000))),
        ("a key twice", format!("{head}sheet = 0.2\npoints = [[1, 2, 0.1], [100, 2, 0.1], [1, 90, 0.1]]\n")),
        ("a section twice", format!("{head}[bed]\nx = [0, 1]\n")),
        ("1e308", points(3, "[1e308, 2, 0.1],")),
        ("a reading of 1e308", points(3, "[1, 2, 1e308],")),
        ("nan", points(3, "[1, 2, nan],")),
        ("inf", points(3, "[inf, 2, 0.1],")),
        ("nan as the bed", "[bed]\nx = [nan, 200]\ny = [0, 200]\n".to_owned()),
        ("10,000 digits", points(3, &format!("[1, 2, {}],", "9".repeat(10_000)))),
        ("a string of 5 MB", format!("[bed]\noutline = \"{}\"\n", "x".repeat(5_000_000))),
        ("a name of 1 MB", format!("[{}]\n", "x".repeat(1_000_000))),
        ("NUL", "\0".repeat(1000)),
    ];
    for (name, text) in texts {
        let began = Instant::now();
        let outcome = Card::parse(&text);
        let took = began.elapsed();
        let error = outcome.expect_err(name);
        assert!(matches!(error.kind(), ErrorKind::Card | ErrorKind::Limit), "{name}: {error:?}");
        assert!(error.message().len() < 500, "{name}: a message of {} bytes", error.message().len());
        assert!(took < Duration::from_secs(1), "{name}: {took:?}");
    }
}

/// As many readings as a card may hold are read in under a second, and too many for a thin plate are refused.
#[test]
fn the_largest_card_is_read() {
    let point = |n: u32| format!("[{}, {}, 0.1],\n", f64::from(n % 250) * 0.8, f64::from(n / 250));
    let points: String = (0..50_000).map(point).collect();
    let text =
        format!("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [{points}]\n");
    let began = Instant::now();
    let card = Card::parse(&text).expect("a card");
    assert!(began.elapsed() < Duration::from_secs(1), "{:?}", began.elapsed());
    let error = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect_err("too many");
    assert_eq!(error.kind(), ErrorKind::Limit);
}

/// Moves that no printer makes: refused with line and column, and soon.
#[test]
fn moves_that_no_printer_makes() {
    let bed = bent();
    for (name, line) in [
        ("a move of 10^9 mm in digits", "G1 X1000000000 E5"),
        ("a diagonal", "G1 X999999999 Y-999999999 E5"),
        ("more than any place", "G1 X99999999999 E5"),
        ("an arc of 10^9 mm, the long way round", "G3 X10 Y11 I999999999 J0 E5"),
        ("a full circle of 10^9 mm", "G2 I999999999 J0 E5"),
        ("a radius of 10^9 mm, the long way round", "G2 X20 Y20 R-999999999 E5"),
        ("inches", "G20 G1 X999999999"),
    ] {
        let file = format!("G90\nM82\nG1 X10 Y10 Z0.2 F1200\n{line}\nG1 X10 Y10\n");
        let began = Instant::now();
        let outcome = rewrite(file.as_bytes(), &bed, anywhere(|_| {}));
        let took = began.elapsed();
        assert!(took < Duration::from_secs(1), "{name}: {took:?}");
        let error = outcome.expect_err(name);
        let place = error.places().first().copied().unwrap_or_else(|| panic!("{name}: no place: {error}"));
        assert!(place.line == 4 && place.column >= 1, "{name}: {error}");
        let began = Instant::now();
        let mut gaps = Gaps::new(&bed, GapOptions::default());
        let _ = gaps.push(file.as_bytes());
        assert!(began.elapsed() < Duration::from_secs(2), "{name}: {:?}", began.elapsed());
    }
}
