//! The reader against RS-274/NGC: Kramer, Proctor, Messina, The NIST RS274NGC Interpreter - Version 3, NISTIR 6556,
//! August 2000. Sections and examples are cited from memory unless a test says that it was worked out by hand.

#![expect(clippy::float_cmp, reason = "places that are exact in floats")]

use std::f64::consts::{FRAC_PI_2, FRAC_PI_3, PI, TAU};

use evengap::toolpath::words::Line;
use evengap::toolpath::{Arc, Move, Reader, Reading, State, Step};
use evengap::{Error, ErrorKind};

/// Reads lines one by one and keeps the moves.
fn run(text: &str) -> Result<(State, Vec<Move>), Error> {
    let mut reader = Reader::new(Reading::default());
    let mut line = Line::default();
    let mut moves = Vec::new();
    for (n, bytes) in text.lines().enumerate() {
        line.read(bytes.as_bytes());
        if reader.read(&line, bytes.as_bytes(), n as u64 + 1)? == Step::Move {
            moves.push(*reader.last_move());
        }
    }
    Ok((*reader.state(), moves))
}

fn end(text: &str) -> State {
    run(text).unwrap_or_else(|e| panic!("{text:?}: {e}")).0
}

fn moves(text: &str) -> Vec<Move> {
    run(text).unwrap_or_else(|e| panic!("{text:?}: {e}")).1
}

/// X, Y and Z in bed coordinates.
fn at(state: &State) -> [Option<f64>; 3] {
    state.axes.map(|a| a.known.then(|| a.place()))
}

fn refused(text: &str, line: u64, column: u64) {
    let e = run(text).expect_err(text);
    let place = e.place().unwrap_or_else(|| panic!("{text:?}: {e}"));
    assert_eq!((place.line, place.column), (line, column), "{text:?}: {e}");
    assert!(matches!(e.kind(), ErrorKind::Refused | ErrorKind::Toolpath), "{text:?}: {e}");
}

fn arc(text: &str) -> Arc {
    moves(text).last().and_then(|m| m.arc).unwrap_or_else(|| panic!("{text:?}: no arc"))
}

fn near(got: f64, want: f64) {
    assert!((got - want).abs() < 1e-9, "{got} is not {want}");
}

/// Section 3.3: "G0X +0. 12 34Y 7" is the same as "g0 x+0.1234 y7" (from memory).
#[test]
fn the_spacing_example() {
    let a = end("G0X +0. 12 34Y 7");
    assert_eq!(at(&a), [Some(0.1234), Some(7.0), None]);
    assert_eq!(a, end("g0 x+0.1234 y7"));
    assert_eq!(a, end("g0x +0. 12 34y 7"));
    assert_eq!(a, end("\tG 0\tX\t+0.\t12\t34\tY\t7\t"));
}

/// Section 3.3 lets white space stand anywhere in a number. Where the standard and a machine that stops at the space
/// would differ by a unit or more, the line is refused: a departure.
#[test]
fn other_spaces_in_numbers_are_refused() {
    refused("G0 X1 0 Y7", 1, 7);
    refused("G0 X10 20", 1, 8);
    refused("G0 X- 5", 1, 7);
    refused("G0 X1.5 2", 1, 9);
    refused("G0 X1 .5", 1, 7);
}

/// Section 3.5.3.2: `G17 G2 X10 Y16 I3 J4 Z9` from (7, 7) has its centre at (10, 11) and radius 5; it is a helix if
/// the Z where it begins is not 9 (from memory). The sweep was worked out by hand: clockwise from the direction
/// (-3, -4) to (0, 5).
#[test]
fn the_helix_example() {
    let text = "G0 X7 Y7 Z5\nG17 G2 X10 Y16 I3 J4 Z9";
    let a = arc(text);
    assert_eq!(a.centre, [10.0, 11.0]);
    near(a.radii[0], 5.0);
    near(a.radii[1], 5.0);
    near(a.sweep, -(PI - 0.75_f64.atan()));
    assert!(a.by_centre);
    let m = moves(text)[1];
    assert_eq!((m.before[2].place(), m.after[2].place()), (5.0, 9.0));
    assert_eq!(at(&end(text)), [Some(10.0), Some(16.0), Some(9.0)]);
}

/// Section 3.5.3.1: `G17 G2 X10 Y15 R20 Z5` is an arc of radius 20 in XY (example from memory); positive R turns through
/// 180 degrees or less, negative R through 180 or more. Centres and sweeps were worked out by hand.
#[test]
fn arcs_by_radius() {
    let sixth = FRAC_PI_3;
    let side = 75.0_f64.sqrt();
    for (words, centre_y, sweep) in [
        ("G3 X10 Y0 R10", side, sixth),
        ("G3 X10 Y0 R-10", -side, TAU - sixth),
        ("G2 X10 Y0 R10", -side, -sixth),
        ("G2 X10 Y0 R-10", side, sixth - TAU),
        // Half a turn: both signs mean the same, and the centre is the middle.
        ("G3 X10 Y0 R5", 0.0, PI),
        ("G3 X10 Y0 R-5", 0.0, PI),
        ("G2 X10 Y0 R5", 0.0, -PI),
    ] {
        let a = arc(&format!("G0 X0 Y0 Z0\n{words}"));
        near(a.centre[0], 5.0);
        near(a.centre[1], centre_y);
        near(a.sweep, sweep);
        assert!(!a.by_centre);
    }
    let a = arc("G0 X0 Y0 Z0\nG17 G2 X10 Y15 R20 Z5");
    let [from, to] = [[0.0, 0.0], [10.0, 15.0]].map(|p: [f64; 2]| (p[0] - a.centre[0]).hypot(p[1] - a.centre[1]));
    near(from, 20.0);
    near(to, 20.0);
    assert!(a.sweep < 0.0 && a.sweep > -PI, "{}", a.sweep);
}

/// Section 3.5.3.1: it is an error if a radius arc ends where it begins, and (by hand) if it cannot reach the end.
#[test]
fn arcs_by_radius_that_cannot_be() {
    refused("G0 X0 Y0 Z0\nG2 X0 Y0 R5", 2, 10);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 R4", 2, 11);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 R0", 2, 11);
}

/// Section 3.5.3.2: it is an error if the radii at both ends differ by more than 0.0002 inch or 0.002 mm. Here the
/// limit is 0.05 mm (or a thousandth of the radius), for files of few decimals; a departure.
#[test]
fn radius_mismatch() {
    refused("G0 X0 Y0 Z0\nG2 X10 Y1 I5", 2, 1);
    refused("G0 X0 Y0 Z0\nG3 X10.1 Y0 I5 J0", 2, 1);
    let a = arc("G0 X0 Y0 Z0\nG3 X10.01 Y0 I5 J0");
    near(a.radii[0], 5.0);
    near(a.radii[1], 5.01);
    // In a circle of 200 mm radius a thousandth is 0.2 mm.
    arc("G0 X0 Y0 Z0\nG3 X400.1 Y0 I200 J0");
    refused("G0 X0 Y0 Z0\nG3 X400.3 Y0 I200 J0", 2, 1);
}

/// Section 3.5.3: words that an arc must have, and must not have.
#[test]
fn words_of_arcs() {
    refused("G0 X0 Y0 Z0\nG2 X10 Y0", 2, 1);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 I5 R5", 2, 14);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 I5 K1", 2, 14);
    refused("G0 X0 Y0 Z0\nG18 G2 X10 Z0 I5", 2, 5);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 I5 P2", 2, 14);
    refused("G0 X0 Y0 Z0\nG2 X10 Y0 Ifive", 2, 11);
}

/// A full circle (section 3.5.3.2), by hand: the end words say the start again, or no end word is there.
#[test]
fn full_circles() {
    for words in ["G2 X10 Y5 I5 J0", "G2 X10 I5", "G2 I5", "G91\nG2 X0 Y0 I5", "G2 I5 P1"] {
        let a = arc(&format!("G0 X10 Y5 Z0\n{words}"));
        near(a.sweep, -TAU);
        assert_eq!(a.centre, [15.0, 5.0], "{words}");
    }
    // 0.1 + 0.2 is not 0.3 in floats; to a person it is.
    near(arc("G0 X0.1 Y0 Z0\nG91\nG0 X0.2\nG90\nG3 X0.3 Y0 I5").sweep, TAU);
    // Without a Z word and with one: a circle, and a helix of one turn.
    near(arc("G0 X10 Y5 Z0\nG3 Z.8 I-1.033 J-.643 P1").sweep, TAU);
}

/// Section 3.5.18: if X is at 4 and no offset is in force, `G92 X7` makes the offset of X -3 (here *shift*: what is added
/// to the words). A second G92 sets it anew, and the point does not move (from memory).
#[test]
fn g92_arithmetic() {
    let s = end("G0 X4 Y1 Z2\nG92 X7");
    assert_eq!((s.axes[0].register, s.axes[0].shift, s.axes[0].place()), (7.0, -3.0, 4.0));
    assert_eq!(at(&s), [Some(4.0), Some(1.0), Some(2.0)]);
    assert_eq!(at(&end("G0 X4 Y1 Z2\nG92 X7\nG0 X9")), [Some(6.0), Some(1.0), Some(2.0)]);
    let s = end("G0 X4 Y1 Z2\nG92 X7\nG92 X9");
    assert_eq!((s.axes[0].register, s.axes[0].shift), (9.0, -5.0));
    // Relative words are not shifted.
    assert_eq!(at(&end("G0 X4 Y1 Z2\nG92 X7\nG91\nG0 X1")), [Some(5.0), Some(1.0), Some(2.0)]);
    // G92.1 and G92.2 end the offsets; the point stays.
    for end_word in ["G92.1", "G92.2", "g92.10"] {
        let s = end(&format!("G0 X4 Y1 Z2\nG92 X7 Z0\n{end_word}"));
        assert_eq!((s.axes[0].register, s.axes[0].shift), (4.0, 0.0));
        assert_eq!(at(&end(&format!("G0 X4 Y1 Z2\nG92 X7\n{end_word}\nG0 X9"))), [Some(9.0), Some(1.0), Some(2.0)]);
    }
    // G92.3 brings back offsets that this file may not have set; G92 without an axis is an error (section 3.5.18).
    refused("G92.3", 1, 1);
    refused("G92", 1, 1);
    // In inches, the point is still the same.
    let s = end("G0 X25.4 Y0 Z0\nG20\nG92 X2");
    assert_eq!((s.axes[0].register, s.axes[0].place()), (50.8, 25.4));
}

/// Section 3.8 and table 8, order of execution (from memory): units and distance mode come before the motion, wherever
/// they stand on the line.
#[test]
fn modes_come_before_the_motion() {
    assert_eq!(at(&end("G0 X1 Y1 Z1\nG1 X5 G91")), [Some(6.0), Some(1.0), Some(1.0)]);
    assert_eq!(at(&end("G0 X1 Y1 Z1\nX5 G91")), [Some(6.0), Some(1.0), Some(1.0)]);
    assert_eq!(at(&end("G0 X1 Y1 Z1\nG1 X1 G20")), [Some(25.4), Some(1.0), Some(1.0)]);
    assert_eq!(at(&end("G90 G21 G0 X1 Y2 Z3 F100")), [Some(1.0), Some(2.0), Some(3.0)]);
    // Words may come in any order (section 3.3.5).
    assert_eq!(end("Y2 F100 Z3 X1 G0"), end("G0 X1 Y2 Z3"));
    // M82 and M83 are no words of RS-274; they are modes, and modes come first.
    assert_eq!(end("G1 E2\nG1 E3 M83").e.to_bits(), 5.0_f64.to_bits());
    assert!(!end("G90 M83").e_absolute);
}

/// Section 3.4 and table 4 (from memory): two G words of one group are an error.
#[test]
fn modal_groups() {
    refused("G0 X1 Y1 Z1\nG0 G1 X5", 2, 4);
    refused("G90 G91 G0 X5", 1, 5);
    refused("G20 G21", 1, 5);
    refused("G17 G18", 1, 5);
    refused("G90.1 G91.1", 1, 7);
    // Two that use the axis words (section 3.4: "it is an error to put a G-code from group 1 and a G-code from group 0 on
    // the same line if both of them use axis words").
    refused("G0 X1 Y1 Z1\nG1 X5 G92", 2, 7);
    refused("G0 X1 Y1 Z1\nG28 G1 X5", 2, 1);
    refused("G92 G28 X0", 1, 5);
    // A harmless repetition passes: a departure.
    assert!(!end("G91 G91").absolute);
}

/// Section 3.5: with no motion word, axis words belong to the motion in force; G80 ends it, and axis words are then an
/// error (section 3.5.15).
#[test]
fn motion_in_force() {
    assert_eq!(at(&end("G1 X1 Y1 Z1\nX5\nG54 Y6\nG94 Z7")), [Some(5.0), Some(6.0), Some(7.0)]);
    let a = arc("G0 X0 Y0 Z0\nG3 X10 Y0 I5\nX0 Y0 I-5");
    assert_eq!(a.centre, [5.0, 0.0]);
    refused("X5", 1, 1);
    refused("G0 X1 Y1 Z1\nG80\nX5", 3, 1);
    refused("G0 X1 Y1 Z1\nG80 X5", 2, 5);
    assert_eq!(at(&end("G0 X1 Y1 Z1\nG80\nG0 X5")), [Some(5.0), Some(1.0), Some(1.0)]);
    // A motion word alone sets the mode and moves nothing.
    assert_eq!(at(&end("G0 X1 Y1 Z1\nG1\nX5")), [Some(5.0), Some(1.0), Some(1.0)]);
}

/// Section 3.3.1: N words are 0 to 99999 and mean nothing; block delete is a `/` at the start.
#[test]
fn line_numbers_and_block_delete() {
    assert_eq!(end("N10 G0 X1 Y2 Z3\nN 20 X5\nN00030Y6"), end("G0 X1 Y2 Z3\nX5\nY6"));
    assert_eq!(end("n5"), end(""));
    // Whether a skippable block runs depends on a switch: refused if it matters.
    refused("G0 X1 Y2 Z3\n/G0 X5", 2, 1);
    refused("/G91", 1, 1);
    refused("/M83", 1, 1);
    assert_eq!(end("/M117 hello\n/G4 P1\n/"), end(""));
    refused("G0 X1 Y2 Z3\nG0 / X5", 2, 4);
}

/// Section 3.3: input is not case-sensitive, except in comments.
#[test]
fn case_means_nothing() {
    let text = "G17 G21 G90\nN1 G0 X1 Y2 Z3\nG2 X11 I5 J0 F100\nG92 X5 E2\nG91\nG1 X1 E.5\nM83\nG1 X1 E1\nG28 X";
    assert_eq!(run(&text.to_lowercase()).unwrap(), run(text).unwrap());
}

/// Section 3.3.4: comments stand in brackets; `;` to the end of a line is the trade's (common practice, no source).
#[test]
fn comments() {
    assert_eq!(end("G0 (X9) X1 (a) Y2 (b; c"), end("G0 X1 Y2"));
    assert_eq!(end("G0 X1(c)Y2 ; X9 (\nZ3"), end("G0 X1 Y2\nZ3"));
    // Nested brackets are an error in the standard and occur in files: a departure.
    assert_eq!(end("(a (b) c) G0 X1"), end("G0 X1"));
    refused("G0 X(c)1", 1, 8);
    // Whether the bracket or the `;` counts, machines differ.
    refused("G0 (a; b) X1", 1, 4);
}

/// Section 3.3.2.1: a number is an optional sign, digits, and at most one point; no exponent.
#[test]
fn numbers() {
    for spelling in ["1", "+1", "1.", "01", "1.0", "+001.000", "1.00000000000000000"] {
        assert_eq!(
            end(&format!("G{spelling} X{spelling} Y-{} Z.5", spelling.trim_start_matches('+'))),
            end("G1 X1 Y-1 Z.5")
        );
    }
    for spelling in
        ["--1", "+-1", "1.2.3", ".", "-", "1,5", "0x10", "1e1", "1E+1", "nan", "inf", "#1", "[1+1]", "=1", ""]
    {
        refused(
            &format!("G0 X{spelling} Y1"),
            1,
            if spelling.starts_with("1e") || spelling.starts_with("1E") {
                6
            } else if spelling == "0x10" {
                // X stands twice.
                6
            } else {
                4
            },
        );
    }
    // G and M numbers have codes in tenths.
    assert_eq!(end("G01.0 X1 Y1 Z1"), end("G1 X1 Y1 Z1"));
    refused("G1.1 X1", 1, 1);
    refused("G1.05 X1", 1, 1);
    refused("G-1 X1", 1, 1);
    refused("G X1", 1, 1);
}

/// Section 3.3.5: a word of one letter, G and M aside, may stand once on a line.
#[test]
fn repeated_words() {
    refused("G0 X1 X2", 1, 7);
    refused("G1 X1 E1 E2", 1, 10);
    refused("G0 X0 Y0 Z0\nG2 X10 I5 I5", 2, 11);
    // F and S do not concern the path: they pass, a departure.
    assert_eq!(end("G1 X1 F100 F200"), end("G1 X1"));
}

/// Arcs that turn through every quarter, by hand: start on the right, centre (0, 0), radius 10.
#[test]
fn sweeps() {
    let ends = [("Y10 X0", 1.0), ("X-10 Y0", 2.0), ("X0 Y-10", 3.0)];
    for (words, quarters) in ends {
        near(arc(&format!("G0 X10 Y0 Z0\nG3 {words} I-10 J0")).sweep, quarters * FRAC_PI_2);
        near(arc(&format!("G0 X10 Y0 Z0\nG2 {words} I-10 J0")).sweep, quarters * FRAC_PI_2 - TAU);
    }
    // G90.1: I and J are the centre's place, in the words' coordinates (G92 shifts them too).
    assert_eq!(arc("G0 X10 Y0 Z0\nG90.1\nG3 X0 Y10 I0 J0").centre, [0.0, 0.0]);
    assert_eq!(arc("G0 X10 Y0 Z0\nG92 X110\nG90.1\nG3 X100 Y10 I100 J0").centre, [0.0, 0.0]);
    assert_eq!(arc("G0 X10 Y0 Z0\nG92 X110\nG3 X100 Y10 I-10 J0").centre, [0.0, 0.0]);
}
