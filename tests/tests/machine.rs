//! The little machine, against examples that were worked out by hand.
//!
//! RS-274 means NISTIR 6556 (Kramer, Proctor, Messina: The NIST RS274NGC Interpreter - Version 3, August 2000).

#![expect(clippy::float_cmp, reason = "places that are exact in floats")]

use evengap_tests::dec::Dec;
use evengap_tests::machine::{Feed, Kind, Motion, Setup, State, Step, X, Y, Z, lines, run};
use evengap_tests::path::{Arc, NoArc, Path};

fn go(text: &str) -> Vec<Step<'_>> {
    run(text.as_bytes(), Setup::default())
}

fn end(text: &str) -> State {
    go(text).last().expect("a line").after.clone()
}

fn motions(text: &str) -> Vec<Motion> {
    go(text).iter().filter_map(|s| s.motion().cloned()).collect()
}

fn at(state: &State) -> [Option<String>; 3] {
    [X, Y, Z].map(|a| state.at[a].map(|d| d.to_string()))
}

fn known(x: &str, y: &str, z: &str) -> [Option<String>; 3] {
    [x, y, z].map(|t| (t != "?").then(|| t.to_owned()))
}

fn arc(motion: &Motion) -> Arc {
    match motion.path {
        Some(Path::Arc(arc)) => arc,
        _ => panic!("no arc: {motion:?}"),
    }
}

fn near(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-9, "{a} is not {b}");
}

/// RS-274, section 3.3: "G0X +0. 12 34Y 7" is the same as "g0 x+0.1234 y7" (quoted from memory).
#[test]
fn spaces_mean_nothing() {
    let a = end("G0X +0. 12 34Y 7");
    let b = end("g0 x+0.1234 y7");
    assert_eq!(a, b);
    assert_eq!(at(&a), known("0.1234", "7", "?"));
}

/// RS-274, section 3.5.3.2 (from memory): `G17 G2 X10 Y16 I3 J4 Z9`, begun at X7 Y7, has its centre at X10 Y11 and a
/// radius of 5; begun at another Z than 9 it is a helix. The sweep is by hand: clockwise from the direction (-3, -4)
/// to (0, 5) is half a turn less atan(3/4).
#[test]
fn a_helix() {
    let m = motions("G0 X7 Y7 Z5\nG17 G2 X10 Y16 I3 J4 Z9");
    let arc = arc(&m[1]);
    assert_eq!(arc.centre, [10.0, 11.0]);
    near(arc.start_radius, 5.0);
    near(arc.end_radius, 5.0);
    assert!(arc.clockwise && !arc.full);
    near(arc.sweep, std::f64::consts::PI - 0.75_f64.atan());
    // Clockwise from the lower left to the top goes round by the left.
    let [x, y] = m[1].path.expect("a path").at(0.5);
    assert!(x < 7.0 && y > 11.0, "{x} {y}");
    assert_eq!((m[1].start[Z], m[1].end[Z]), (Some(Dec::new(5, 0)), Some(Dec::new(9, 0))));
}

/// RS-274, section 3.5.3.1: positive R is an arc of up to half a turn, negative R of half a turn or more.
#[test]
fn r_arcs_by_hand() {
    // From (0, 0) to (10, 0), radius 10: a third of the way round is 60 degrees, the long way is 300.
    let third = std::f64::consts::FRAC_PI_3;
    for (line, centre_side, sweep) in [
        ("G3 X10 Y0 R10", 1.0, third),
        ("G3 X10 Y0 R-10", -1.0, 5.0 * third),
        ("G2 X10 Y0 R10", -1.0, third),
        ("G2 X10 Y0 R-10", 1.0, 5.0 * third),
    ] {
        let text = format!("G0 X0 Y0\n{line}");
        let arc = arc(&motions(&text)[1]);
        near(arc.centre[0], 5.0);
        near(arc.centre[1], centre_side * 75.0_f64.sqrt());
        near(arc.sweep, sweep);
    }
    // Half a turn.
    let half = arc(&motions("G0 X0 Y0\nG3 X10 Y0 R5")[1]);
    near(half.centre[1], 0.0);
    near(half.sweep, std::f64::consts::PI);
    // Anticlockwise from the left end of a level chord goes by below.
    assert!(Path::Arc(half).at(0.5)[1] < -4.9);
    // No end to go to: an error (the standard's words: "the end point of the arc is the same as the current point").
    assert_eq!(Arc::with_radius([0.0, 0.0], [0.0, 0.0], 5.0, true), Err(NoArc::NoChord));
    assert_eq!(Arc::with_radius([0.0, 0.0], [10.1, 0.0], 5.0, true), Err(NoArc::TooFar));
}

#[test]
fn full_circles() {
    for line in ["G2 I50", "G2 X0 Y50 I50 J0", "G2 I50 P1", "G91 G2 X0 I50"] {
        let text = format!("G1 X0 Y50\n{line}");
        let arc = arc(&motions(&text)[1]);
        assert!(arc.full, "{line}");
        assert_eq!(arc.centre, [50.0, 50.0]);
        near(arc.sweep, std::f64::consts::TAU);
        // Clockwise from the left end goes by the top.
        assert!(Path::Arc(arc).at(0.25)[1] > 99.9);
    }
    let short = arc(&motions("G1 X0 Y50\nG3 Y50.001 I50")[1]);
    assert!(!short.full && short.sweep > 6.2);
}

/// RS-274, section 3.5.18 (from memory): with the current point at X4 and no offset, G92 X7 makes it X7 and the
/// offset -3; G92 X9 after it makes the offset -5.
#[test]
fn g92_arithmetic() {
    let s = end("G0 X4\nG92 X7");
    assert_eq!(s.offset[X], Dec::new(-3, 0));
    assert_eq!((s.at[X], s.programmed(X)), (Some(Dec::new(4, 0)), Some(Dec::new(7, 0))));
    let s = end("G0 X4\nG92 X7\nG92 X9");
    assert_eq!(s.offset[X], Dec::new(-5, 0));
    let s = end("G0 X4\nG92 X7\nG1 X10");
    assert_eq!(at(&s), known("7", "?", "?"));
    // Relative moves do not see the offset.
    let s = end("G0 X4 Z1\nG92 X7 Z-5\nG91\nG1 X1 Z.2");
    assert_eq!(at(&s), known("5", "?", "1.2"));
    // An axis that was not known is declared.
    let s = end("G92 Z-5\nG1 Z0");
    assert_eq!((at(&s), s.offset[Z]), (known("?", "?", "0"), Dec::ZERO));
    assert_eq!(at(&end("G0 X4\nG92 X7\nG92.1\nG1 X10")), known("10", "?", "?"));
    let s = end("G20\nG0 X1\nG92 X2");
    assert_eq!(s.offset[X], Dec::new(-254, 1));
}

#[test]
fn homing_forgets() {
    let s = "G1 X1 Y2 Z3\nG92 X5 Y5 Z5\n";
    assert_eq!(at(&end(&format!("{s}G28"))), known("?", "?", "?"));
    assert_eq!(at(&end(&format!("{s}G28 W"))), known("?", "?", "?"));
    assert_eq!(at(&end(&format!("{s}G28 X"))), known("?", "2", "3"));
    assert_eq!(at(&end(&format!("{s}G28 X0 Y10 Z0"))), known("?", "?", "?"));
    // Its offset is gone, the others' stand.
    let s = end(&format!("{s}G28X0\nG1 X7 Y7"));
    assert_eq!(at(&s), known("7", "4", "3"));
    // A relative move from nowhere leads nowhere.
    assert_eq!(at(&end("G91\nG1 X1 Z5\nG90\nG1 X2")), known("2", "?", "?"));
}

#[test]
fn filament() {
    let e = |text: &str| end(text).filament.to_string();
    assert_eq!(e("G1 E1\nG1 X1 E3\nG92 E0\nG1 X2 E.5"), "3.5");
    assert_eq!(e("M83\nG1 E1\nG1 X1 E3\nG92 E0\nG1 X2 E.5"), "4.5");
    assert_eq!(e("G91\nG1 X1 E3\nG1 X1 E4"), "4");
    let sets = Setup { e_relative: false, g90_sets_e: true };
    let last = run(b"G91\nG1 X1 E3\nG1 X1 E4\nG90\nG1 X0 E1", sets).pop().expect("a line");
    assert_eq!(last.after.filament.to_string(), "1");
    assert_eq!(e("G20\nM83\nG1 X1 E1"), "25.4");
    // E is a word, never an exponent.
    let s = end("G1E-1.5F1200");
    assert_eq!((s.filament.to_string().as_str(), s.modes.feed), ("-1.5", Feed::Is(Dec::new(1200, 0))));
    let m = motions("G1 X1.0Y2.0E-.8\nG1 X3");
    assert_eq!((m[0].e.to_string().as_str(), m[1].e), ("-0.8", Dec::ZERO));
}

#[test]
fn modal_lines() {
    let s = go("g1 z-3.000\n x39.5 y2\nF100\n x 145.2402 Y 7.1388\nG01 Z.6\nG0 Z+2.1\nE10.0");
    let g: Vec<_> = s.iter().map(|s| s.motion().map(|m| m.g)).collect();
    assert_eq!(g, [Some(1), Some(1), None, Some(1), Some(1), Some(0), Some(0)]);
    assert_eq!(at(&s[6].after), known("145.2402", "7.1388", "2.1"));
    assert_eq!(s[6].after.filament.to_string(), "10");
    let s = go("G1 X1\nG90 G91 G1 X1 (two G words)");
    assert_eq!(at(&s[1].after), known("2", "?", "?"));
}

#[test]
fn what_is_no_motion() {
    for line in [
        "M117 Layer 1; Z=0.18",
        "M118 X19 Y15 Z17 T0",
        "T0",
        "LIMIT_MOTION X=1 Y=2",
        "<<<<<<< HEAD",
        "G4 P1500",
        "G10",
        "G11",
        "G29",
        "G54",
        "M203 X500 Y500 Z10",
        "layer height Z0.2",
        "G1 F3139.50675.7",
        "G1",
        "%",
        "\u{0}G1 X1",
        "caf\u{e9} X1",
    ] {
        assert_eq!(go(line)[0].kind, Kind::Command, "{line}");
        assert_eq!(at(&end(&format!("G1 X1\n{line}")))[0].is_some(), line != "G29", "{line}");
    }
    for line in ["", "  ", ";", "; G1 X1", "(a (nested) X1)", "N5", "N5 ; x"] {
        assert_eq!(go(&format!("{line}\n"))[0].kind, Kind::Blank, "{line}");
    }
    for line in [
        "G10 P1 X0 Y0 Z0",
        "G53 G1 X1",
        "G161 Z F900",
        "G380 S3 Z-25 F1200",
        "G1 Z[height]",
        "G1 X1 Enan",
        "G1 X1.2.3",
        "G1 X1 X2",
        "G18 G2 X1 I1",
        "G81 Z1",
        "G5 X1 Y1",
        "X1",
        "G2 X1 Y1",
        "G2 X1 Y1 I1 R1",
        "G93 G1 X1 F2",
        "G92",
        "G0 G1 X1",
        "G2 I1 P2",
    ] {
        let step = &go(line)[0];
        assert!(matches!(step.kind, Kind::Doubt(_)), "{line}: {:?}", step.kind);
    }
    assert_eq!(at(&end("G1 X1 Y2 Z3\nM132 X Y A")), known("?", "?", "3"));
    // What is named in doubt is not known any more; the rest is.
    assert_eq!(at(&end("G1 X1 Y2 Z3\nG161 Z F900")), known("1", "2", "?"));
}

#[test]
fn numbers_and_checksums() {
    // The XOR of the bytes of "N3 G1 X10" is 82 (by a line of Python).
    let step = &go("N3 G1 X10*82 ; said (x")[0];
    assert_eq!(step.line.checksum, Some((82, 82)));
    assert_eq!(step.line.n, Some(Dec::new(3, 0)));
    assert_eq!(go("N3 G1 X11*82")[0].line.checksum, Some((82, 83)));
    assert_eq!(step.line.body, b"G1 X10 ; said (x");
    assert_eq!(step.line.comments, [b"; said (x".to_vec()]);
    assert_eq!(at(&step.after)[0].as_deref(), Some("10"));
    assert_eq!(go("M117 2*3")[0].line.checksum, None);
}

#[test]
fn line_ends() {
    let ends = |bytes: &'static [u8]| lines(bytes).iter().map(|l| (l.raw.to_vec(), l.end.to_vec())).collect::<Vec<_>>();
    let own = |raw: &str, end: &str| (raw.as_bytes().to_vec(), end.as_bytes().to_vec());
    assert_eq!(
        ends(b"\xef\xbb\xbfa\r\nb\rc\n\nd"),
        [own("a", "\r\n"), own("b", "\r"), own("c", "\n"), own("", "\n"), own("d", "")]
    );
    assert_eq!(ends(b"a\n"), [own("a", "\n")]);
    assert!(ends(b"").is_empty());
}

#[test]
fn other_axes() {
    let s = end("G20\nG1 A90 U1 X1\nG92 A0 U0\nG91 G1 A5 U1");
    let shown: Vec<String> = [3, 6].map(|a| s.at[a].expect("known").to_string()).to_vec();
    // Degrees are not inches; U is a length.
    assert_eq!(shown, ["95", "50.8"]);
}
