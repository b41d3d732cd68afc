//! Cards that are too large to be meant, or none: an error, and soon.

use evengap::{Card, ErrorKind, HeightMap, SurfaceKind};
use std::time::{Duration, Instant};

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
