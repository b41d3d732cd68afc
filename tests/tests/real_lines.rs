//! The lines that real files hold: what passes untouched, what is understood and what is refused, with its place.
//!
//! The kinds of line come from the issue's list of things seen in the wild and from common practice (no source). The
//! rule: a line that is not understood passes untouched if it cannot move an axis; if it might, it is refused with line
//! and column, and an option lets it pass.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::sync::LazyLock;

use evengap::follow::{Options, Rewriter, Summary, rewrite};
use evengap::toolpath::lines::{Lines, Piece};
use evengap::toolpath::words::{Kind, Line};
use evengap::toolpath::{Move, Reader, Reading, State, Step};
use evengap::{Card, Error, ErrorKind, HeightMap, SurfaceKind};
use proptest::prelude::*;

/// A bed that is bent by some tenths of a mm, all of it above 0.
fn bent() -> &'static HeightMap {
    static MAP: LazyLock<HeightMap> = LazyLock::new(fit);
    &MAP
}

fn fit() -> HeightMap {
    let card = Card::parse(
        "[bed]\nx = [-150, 250]\ny = [-150, 250]\n[readings]\nmethod = \"drag\"\nsheet = 0.0\npoints = [\n\
         [-100, -100, 0.30], [100, -100, 0.12], [200, -100, 0.25],\n\
         [-100, 100, 0.18], [100, 90, 0.05], [200, 100, 0.22],\n\
         [-100, 200, 0.28], [100, 200, 0.15], [200, 200, 0.33],\n]\n",
    )
    .unwrap();
    HeightMap::fit(&card, SurfaceKind::ThinPlate).unwrap()
}

fn options(unknown_motion: bool, own_levelling: bool) -> Options {
    let mut options = Options::default();
    options.allow.unknown_motion = unknown_motion;
    options.allow.own_levelling = own_levelling;
    options
}

fn follow(text: &[u8], options: Options) -> Result<(Vec<u8>, Summary), Error> {
    rewrite(text, bent(), options)
}

/// What stands before each line under test: a known place, low enough for the bed to matter, and a motion in force.
const BEFORE: &str = "G90\nM83\nG28\nG1 X50 Y50 Z0.2 F1200\nG1 X51 E0.1\n";
const LINES_BEFORE: u64 = 5;
/// What stands behind it: words whose meaning would differ had the line moved anything or set a mode.
const BEHIND: &str = "\nG1 X52 E0.1\nG1 Y52 E0.1\n";

/// Rewrites with the line in the middle.
fn around(line: &[u8], options: Options) -> Result<(Vec<u8>, Summary), Error> {
    follow(&[BEFORE.as_bytes(), line, BEHIND.as_bytes()].concat(), options)
}

/// The rewritten file without the line, cut where the line would stand.
fn without(options: Options) -> [Vec<u8>; 2] {
    let (out, _) = around(b"; mark", options).unwrap();
    let at = out.windows(7).position(|w| w == b"\n; mark").unwrap() + 1;
    [out[..at].to_vec(), out[at + 6..].to_vec()]
}

/// The line passes: its bytes are there, and the rest is what it is without the line.
fn passes(line: &[u8]) {
    let options = options(false, false);
    let (out, _) = around(line, options).unwrap_or_else(|e| panic!("{}: {e}", line.escape_ascii()));
    let [before, behind] = without(options);
    let want = [&before, line, &behind].concat();
    assert!(out == want, "{} became\n{}", line.escape_ascii(), out.escape_ascii());
}

/// The line is refused with this column (from 1).
fn refused(line: &[u8], column: u64) -> Error {
    let e = match around(line, options(false, false)) {
        Err(e) => e,
        Ok((out, _)) => panic!("{} passed:\n{}", line.escape_ascii(), String::from_utf8_lossy(&out)),
    };
    let place = e.place().unwrap_or_else(|| panic!("{}: no place: {e}", line.escape_ascii()));
    assert_eq!((place.line, place.column), (LINES_BEFORE + 1, column), "{}: {e}", line.escape_ascii());
    assert!(e.help().is_some(), "{}: {e}: what to do?", line.escape_ascii());
    e
}

/// Refused as motion that is not understood; where that is allowed, the line passes with its own bytes.
fn refused_or_allowed(line: &[u8], column: u64) {
    let e = refused(line, column);
    assert_eq!(e.kind(), ErrorKind::Refused, "{}: {e}", line.escape_ascii());
    let (out, _) = around(line, options(true, true)).unwrap_or_else(|e| panic!("{}: {e}", line.escape_ascii()));
    let held = [b"\n", line, b"\n"].concat();
    assert!(out.windows(held.len()).any(|w| w == held), "{} became\n{}", line.escape_ascii(), out.escape_ascii());
}

/// Damage: no option lets it pass.
fn damaged(line: &[u8], column: u64) {
    let e = refused(line, column);
    assert_eq!(e.kind(), ErrorKind::Toolpath, "{}: {e}", line.escape_ascii());
}

/// Reads a whole text: the moves and what is in force.
fn read(text: &[u8], reading: Reading) -> Result<(Vec<Move>, State), Error> {
    let mut lines = Lines::default();
    let mut line = Line::default();
    let mut reader = Reader::new(reading);
    let mut moves = Vec::new();
    let mut number = 0;
    let mut take = |piece: Piece<'_>| -> Result<(), Error> {
        if let Piece::Line(bytes, _) = piece {
            number += 1;
            line.read(bytes);
            if reader.read(&line, bytes, number)? == Step::Move {
                moves.push(*reader.last_move());
            }
        }
        Ok(())
    };
    lines.push(text, &mut take)?;
    lines.finish(&mut take)?;
    Ok((moves, *reader.state()))
}

/// The place after the line under test, and E.
fn after(line: &str) -> ([f64; 3], f64) {
    let (_, state) =
        read(format!("{BEFORE}{line}").as_bytes(), Reading::default()).unwrap_or_else(|e| panic!("{line:?}: {e}"));
    (state.axes.map(|a| a.place()), state.e)
}

#[test]
fn moves_in_every_spelling() {
    let start = [51.0, 50.0, 0.2];
    let e = after("").1;
    let cases: [(&str, [Option<f64>; 3], f64); 24] = [
        ("G1E-1.5F1200", [None; 3], -1.5),
        ("X1.0Y2.0", [Some(1.0), Some(2.0), None], 0.0),
        ("G1X1.0Y2.0E.5", [Some(1.0), Some(2.0), None], 0.5),
        ("G1 X 145.2402 Y 7.1388", [Some(145.2402), Some(7.1388), None], 0.0),
        ("X 145.2402 Y 7.1388", [Some(145.2402), Some(7.1388), None], 0.0),
        ("G 1 X 10", [Some(10.0), None, None], 0.0),
        ("G01 X3", [Some(3.0), None, None], 0.0),
        ("g0 x3", [Some(3.0), None, None], 0.0),
        ("G0 Z.6", [None, None, Some(0.6)], 0.0),
        ("G1 E-.8", [None; 3], -0.8),
        ("G1 Z+2.1", [None, None, Some(2.1)], 0.0),
        ("G1 Y-0.000", [None, Some(0.0), None], 0.0),
        (
            "G1 X20.12345678901234567 E0.02709123456789012",
            [Some(20.123_456_789_012_345), None, None],
            0.027_091_234_567_890_12,
        ),
        ("G1 X-12.5 Y-7", [Some(-12.5), Some(-7.0), None], 0.0),
        ("G3 Z.8 I-1.033 J-.643 P1", [None, None, Some(0.8)], 0.0),
        ("G90 G1 X7", [Some(7.0), None, None], 0.0),
        ("G1\tX7\tY8", [Some(7.0), Some(8.0), None], 0.0),
        ("  G1 X7  ", [Some(7.0), None, None], 0.0),
        ("G1 X1(c)Y2", [Some(1.0), Some(2.0), None], 0.0),
        ("(c)G1(X9)X1(c)", [Some(1.0), None, None], 0.0),
        ("G1 X1;Y2", [Some(1.0), None, None], 0.0),
        ("N10 G1 X1", [Some(1.0), None, None], 0.0),
        ("G1 X1. Y2. E1.", [Some(1.0), Some(2.0), None], 1.0),
        ("G0 F3139.50675.7 X93.034", [Some(93.034), None, None], 0.0),
    ];
    for (line, want, push) in cases {
        let (place, e_after) = after(line);
        for n in 0..3 {
            assert_eq!(place[n].to_bits() << 1, want[n].unwrap_or(start[n]).to_bits() << 1, "{line:?}");
        }
        assert!((e_after - e - push).abs() < 1e-12, "{line:?}");
    }
}

#[test]
fn modes_hops_and_positions() {
    // A hop up and down again is no change; neither are relative words with absolute E.
    let text = |hop: &str| format!("G28\nM82\nG1 X50 Y50 Z0.2\nG1 X51 E1\n{hop}G1 X52 E2\n");
    let still = read(text("").as_bytes(), Reading::default()).unwrap().1;
    let hop = read(text("G91\nG1 Z0.5\nG1 Z-0.5\nG90\n").as_bytes(), Reading::default()).unwrap().1;
    for (a, b) in still.axes.iter().zip(&hop.axes) {
        assert!(a.known && b.known && (a.place() - b.place()).abs() < 1e-12);
    }
    assert!((still.e - hop.e).abs() < 1e-12);
    let (moves, state) = read(text("G91\nG1 X1 E1.5\nG90\n").as_bytes(), Reading::default()).unwrap();
    assert!((moves[2].e_delta() - 0.5).abs() < 1e-12);
    assert!((state.e - 2.0).abs() < 1e-12 && state.e_absolute);
    // Where G90 and G91 set E too, the same words mean amounts.
    let reading = Reading { g90_sets_e: true, ..Reading::default() };
    let (moves, state) = read(text("G91\nG1 X1 E1.5\nG90\n").as_bytes(), reading).unwrap();
    assert!((moves[2].e_delta() - 1.5).abs() < 1e-12 && state.e_absolute);

    // G92 on one axis or several leaves the nozzle where it is.
    for (line, register) in
        [("G92 Z-5", [51.0, 50.0, -5.0]), ("G92 X0 Y0 Z-5 A0 B0", [0.0, 0.0, -5.0]), ("G92 U0", [51.0, 50.0, 0.2])]
    {
        let (_, s) = read(format!("{BEFORE}{line}\n").as_bytes(), Reading::default()).unwrap();
        for n in 0..3 {
            assert!((s.axes[n].place() - [51.0, 50.0, 0.2][n]).abs() < 1e-12, "{line}");
            assert!((s.axes[n].register - register[n]).abs() < 1e-12, "{line}");
        }
    }
    // 818 times G92 E0.
    let mut text = BEFORE.to_string();
    for _ in 0..818 {
        text += "G92 E0\nG1 X52 E0.5\nG1 X51 E0.5\n";
    }
    let (moves, s) = read(text.replace("M83", "M82").as_bytes(), Reading::default()).unwrap();
    assert_eq!(moves.len(), 2 + 818 * 2);
    assert!((s.e - 0.5).abs() < 1e-12);

    // Homing: the axes named are unknown, or all.
    for (line, known) in [
        ("G28", [false; 3]),
        ("G28 W", [false; 3]),
        ("G28 X", [false, true, true]),
        ("G28 X0", [false, true, true]),
        ("G28 X Y", [false, false, true]),
        ("G28 XY", [false, false, true]),
        ("G28X0Y0", [false, false, true]),
        ("g28 z", [true, true, false]),
        ("G28 ; home X", [false; 3]),
        ("G27", [false; 3]),
        ("M132 X Y Z A B", [false; 3]),
        ("M132 Z", [true, true, false]),
    ] {
        let (_, s) = read(format!("{BEFORE}{line}\n").as_bytes(), Reading::default()).unwrap();
        assert_eq!(s.axes.map(|a| a.known), known, "{line}");
    }

    // A vase: Z in every move.
    let mut text = BEFORE.to_string();
    for n in 0..100 {
        text += &format!("G1 X{} Z{:.3} E0.1\n", 50 + n % 2, 0.2 + 0.002 * f64::from(n));
    }
    let (moves, s) = read(text.as_bytes(), Reading::default()).unwrap();
    assert!(moves[3..].iter().all(|m| m.after[2].place() > m.before[2].place()));
    assert!((s.axes[2].place() - 0.398).abs() < 1e-12);

    // Inches.
    let (_, s) = read(b"G20\nG28\nG1 X1 Y2 Z.01\nG91\nG1 X-.5 E1\n", Reading::default()).unwrap();
    for (n, want) in [12.7, 50.8, 0.254].into_iter().enumerate() {
        assert!((s.axes[n].place() - want).abs() < 1e-12);
    }
    // E stays absolute until the file says otherwise, even where it never does.
    assert!(!s.e_said && s.e_absolute && (s.e - 25.4).abs() < 1e-12);
}

/// Lines that move nothing, whatever they hold.
#[test]
fn lines_that_pass() {
    let cases: &[&[u8]] = &[
        b"",
        b" \t ",
        b";",
        b"; G1 X1",
        b";G1 X1 (",
        b"(G1 X1)",
        b"(a (nested (deeply)) one)",
        b"(never closed G1 X5",
        b"; first line\\nG1 X5 Y5",
        b"(first line\\nG1 X5 Y5)",
        b"%",
        b"%%%",
        b"% part",
        b"G4 P100",
        b"G4",
        b"G4 S1 ; wait",
        b"/G4 P100",
        b"G10",
        b"G11",
        b"G10 S1",
        b"G10 P0 R140 S205",
        b"G21 metric",
        b"G90 ; X5",
        b"G90 from here",
        b"G40 G49",
        b"G53",
        b"G123",
        b"G123.4 S5 P1",
        b"M83 \\",
        b"M117 Layer 1; Z=0.18",
        b"M117 G1 X10 Y10",
        b"M118 X19 Y15 Z17 T0",
        b"M118 G1 X5",
        b"M0 Click to go to X10 G1",
        b"M23 G1_X5.GCO",
        b"M92 X80 Y80 Z400 E93",
        b"M92X80Y80",
        b"M201 X1000 Y1000 X1000",
        b"M204 S500 P1000 T2000",
        b"M205 X8 Y8",
        b"M1002 judge_flag extrude_cali_flag",
        b"M624 AQAAAAAAAAA=",
        b"M486 A\"part; G1 X5",
        b"M550 P\"G1 X5\"",
        b"M104 S[first_temperature]",
        b"M 106 S 255",
        b"M99999999999 X5",
        b"M X5",
        b"T0",
        b"T1 ; second",
        b"T0 F3000",
        b"T0 tool one",
        b"T?",
        b"S500",
        b"F1200",
        b"F3139.50675.7",
        b"G1 F3139.50675.7",
        b"G1",
        b"O100",
        b"#1=5",
        b"THING_END NAME=part.stl_id_0",
        b"THING_OUTLINE NAME=a CENTER=128.5,12 POLYGON=[[1,2],[3.5,4],[5,6]]",
        b"SET_VALUES DATA='{\"x\": 5, \"y\": [1, 2], \"s\": \"G1 X5\"}'",
        b"RUN CMD=\"G1 X5\"",
        b"TELL_DISPLAY LAYER=5 Z=0.2",
        b"{\"x\": 5}",
        b"<<<<<<< HEAD",
        b">>>>>>> 6cd55bbb5caa39553389945e60ff235c2ba1324f",
        b"=======",
        b": 56.0 </value>)",
        b"*)",
        b"of the printed part, 5 mm wide",
        b"x of the whole",
        b"a bed of 200 by 200",
        b"Zone 5",
        b"X: 5, Y: 3",
        b"G-code made by hand",
        b"generated on 2020-01-01",
        b"N of walls: 5",
        b"5 layers",
        b"\xc3\xa9t\xc3\xa9 X5",
        b"\xe9t\xe9 X5",
        b"\0",
        b"\0\0\0\0",
        b"\x0c",
        b"\x0b",
        b"\x7f",
        b"\x1a",
        b"N5",
        b"N7 M117 X5",
        b"N5 T0*63",
    ];
    for line in cases {
        passes(line);
    }
    // 21,000 characters, as a comment, a message and a command of its own.
    let long = "x".repeat(21_000);
    let points = "[1.25,2.5],".repeat(2_000);
    for line in
        [format!(";{long}"), format!("({long} G1 X5)"), format!("M117 {long}"), format!("SHOW P=[{points}[1,2]]")]
    {
        passes(line.as_bytes());
    }
}

/// What could move an axis, in a way that is not understood.
#[test]
fn lines_that_are_refused_unless_allowed() {
    let cases: &[(&[u8], u64)] = &[
        (b"G123 X5", 1),
        (b"G1234.5 Z0", 1),
        (b"G0 G123 X5", 4),
        (b"G5 X1 Y2 I3 J4 P5 Q6", 1),
        (b"G6 X5", 1),
        (b"G7", 1),
        (b"G10 L2 P1 X0 Y0", 1),
        (b"G10 X5", 1),
        (b"G10 L2 P1 R45", 1),
        (b"G11 X5", 1),
        (b"G4 X5", 1),
        (b"G16", 1),
        (b"G41", 1),
        (b"G43 H1", 1),
        (b"G51 X2", 1),
        (b"G52 X5", 1),
        (b"G53 G0 X5", 1),
        (b"G0 G53 Z5", 4),
        (b"G55", 1),
        (b"G68 R45", 1),
        (b"G73 X5 Y5 Z-1 R1 Q1", 1),
        (b"G81 X5 Y5 Z-1 R1", 1),
        (b"G92.3", 1),
        (b"G92", 1),
        (b"G93", 1),
        (b"G18 G2 X5 Z5 I1", 5),
        (b"G2 X60 Y50 I4.5 P3", 17),
        (b"G161 X Y F2000(home)", 1),
        (b"G380 S2 Z30 F300 ; down", 1),
        (b"T0 X5", 4),
        (b"G80 X5", 5),
        (b"see G1 X5", 5),
        (b"and then G28 X0", 10),
        (b":10 G1 X5", 5),
        (b":10G1X5", 4),
        (b"% G1 X5", 3),
        (b"\xc2\xb0G1 X5", 3),
        (b"- G28", 3),
        (b"G X5", 1),
        (b"z height: Z0.2", 1),
    ];
    for (line, column) in cases {
        refused_or_allowed(line, *column);
    }
    // Probing and the machine's own compensation have an option of their own.
    let own = [
        &b"G29"[..],
        b"G29 P1",
        b"G29.1",
        b"G29.2 S1",
        b"G29.9",
        b"G30",
        b"G32",
        b"G38.2 Z-5",
        b"M420 S1",
        b"G28 M420 S1",
    ];
    for line in own {
        refused(line, if line.starts_with(b"G28") { 5 } else { 1 });
        around(line, options(false, true)).unwrap();
    }
    passes(b"M420 S0");
    refused(b"READ_MESH speed=5", 1);
    around(b"READ_MESH speed=5", options(false, true)).unwrap();
    // Axis words with no motion in force.
    let e = follow(b"G28\nX5\n", options(false, false)).unwrap_err();
    assert_eq!(e.place().map(|p| (p.line, p.column)), Some((2, 1)));
}

/// What passes by permission leaves the axes it names unknown, and E where its E word says.
#[test]
fn what_is_allowed_makes_its_axes_unknown() {
    for (line, known, e) in [
        ("G123 X5", [false, true, true], 0.1),
        ("G123 Z5 E2", [true, true, false], 2.1),
        ("G5 X1 Y2 I3 J4 P5 Q6", [false, false, true], 0.1),
        ("G2 Z5 I1 P3 E1", [false; 3], 1.1),
        ("G53 G0 Z5", [true, true, false], 0.1),
        ("G55", [false; 3], 0.1),
        ("T0 X5", [false, true, true], 0.1),
        ("see G1 Y5", [true, false, true], 0.1),
        ("G92", [false; 3], 0.1),
    ] {
        let reading = Reading { unknown_motion: true, ..Reading::default() };
        let (_, s) = read(format!("{BEFORE}{line}\n").as_bytes(), reading).unwrap();
        assert_eq!(s.axes.map(|a| a.known), known, "{line}");
        assert!((s.e - e).abs() < 1e-12, "{line}: E {}", s.e);
    }
}

/// Motion that cannot be read for certain: damage, or a writer that was at fault.
#[test]
fn numbers_and_lines_that_cannot_be_trusted() {
    let cases: &[(&[u8], u64)] = &[
        (b"G1 Z[height]", 4),
        (b"G1 X5 Z{height + 2}", 7),
        (b"Z[height]", 1),
        (b"G1 X5 Enan", 7),
        (b"G1 X5 E nan", 9),
        (b"G1 Xinf", 4),
        (b"G1 X5 Y3.8e-05", 11),
        (b"G1 X5 Y3.8E-05", 11),
        (b"G1X5Y3.8e-05", 9),
        (b"g1x5y3.8e-05", 9),
        (b"G1 X5 E3.2e-05", 11),
        (b"G1 X93.0.34", 4),
        (b"G1 X20 Y1O E1", 10),
        (b"G1 X2l Y1", 6),
        (b"G1 X20 Y1S", 10),
        (b"G1 X5,Y6", 4),
        (b"G1 X--5", 4),
        (b"G1 X", 4),
        (b"G1 X Y5", 4),
        (b"G1 XY5", 4),
        (b"G1 X1000000000000", 4),
        (b"G1 X5 X6", 7),
        (b"G1 X5 E1 E2", 10),
        (b"X5 of the whole", 4),
        (b"X 20 by 20", 6),
        (b"G1 X10 Y20 some text", 12),
        (b"G1 X10 Y20 zebra", 12),
        (b"G1 F3000 fast", 10),
        (b"G28 home X", 5),
        (b"G1 X1 *", 7),
        (b"G1 X1 ~ Y2", 7),
        (b"G1 X5 \xc2\xb0", 7),
        (b"G1 X5 \xb0\xb0", 7),
        (b"G1\xc2\xa0X5", 1),
        (b"G1,X5", 1),
        (b"G1=X5", 1),
        (b"Gabc X5 G1", 9),
        (b"G1 X5\x01", 6),
        (b"G1 X5\x0cY5", 6),
        (b"G1\x0bX5", 3),
        (b"G1 X5\x7f", 6),
        (b"\0\0\0\0G1 X5", 1),
        (b"G1 \0\0\0\0\0\0\0\0\0\0X5", 4),
        (b"/G1 X5", 1),
        (b"/M82", 1),
        (b"//G1 X5", 1),
        (b"G1 X5 %", 7),
        (b"G1 X5)", 4),
        (b"G1 (a; b) X5", 4),
        (b"N5 G1 X5*1", 9),
        (b"N5 G1 X5*", 9),
        (b"N5 T0*62", 6),
        (b"G92 Znan", 5),
        (b"G1 X10 20", 8),
        (b"G91 \x01", 5),
        (b"G90 ~", 5),
    ];
    for (line, column) in cases {
        if line.starts_with(b"Gabc") {
            // Two letters at the start are text, in which motion hides.
            refused_or_allowed(b"Gabc X5 G1 Y2", 9);
            continue;
        }
        damaged(line, *column);
    }
}

/// A comment that was wrapped onto a line of its own without its `;`, in several wordings: never read as motion.
#[test]
fn wrapped_comments() {
    let wordings = [
        "of the outer wall",
        "mm and the rest",
        "speed 50 mm/s",
        "x and y are swapped",
        "x, y and z",
        "X is the width",
        "Z axis",
        "A part of it",
        "e-steps are right",
        "E3 nozzle",
        "A4 paper under it",
        "X5 wide, Y6 deep",
        "X 5 mm by Y 6 mm",
        "Z 0.2 mm layers",
        "Z0.2",
        "Y=5",
        "5 mm above Z0.2",
        "to G28 X0 Y0 first",
        "G28 is sent before",
        "G1 is used for all moves",
        "G1 X5 is the first move",
        "(see above) X5 is next",
        "layer 5 at Z 0.2 then G1 Z5",
        "g and h",
    ];
    let still = after("");
    for text in wordings {
        match around(text.as_bytes(), options(false, false)) {
            Err(e) => {
                assert_eq!(e.place().map(|p| p.line), Some(LINES_BEFORE + 1), "{text:?}");
            }
            // As it stands it is a command, and says what is so already.
            Ok(_) if text == "Z0.2" => assert_eq!(after(text), still),
            Ok(_) => passes(text.as_bytes()),
        }
    }
    for (text, column) in
        [("X5 wide, Y6 deep", 13), ("Z 0.2 mm layers", 7), ("E3 nozzle", 4), ("to G28 X0 Y0 first", 4)]
    {
        refused(text.as_bytes(), column);
    }
}

/// Endings, a BOM, NUL bytes: the same path, and the rest of the bytes untouched.
#[test]
fn endings_and_what_stands_before() {
    let body = "G28\r\nG1 X50 Y50 Z0.2\nG1 X51 E0.1\r\n;\r\nM117 Layer 1; Z=0.18\nG1 X52 E0.2\rG1 Y51 E0.3";
    let reading = Reading::default();
    let want = read(body.as_bytes(), reading).unwrap();
    assert_eq!(want.0.len(), 4);
    for ending in ["\n", "\r\n", "\r"] {
        let text = body.replace("\r\n", "\n").replace('\r', "\n").replace('\n', ending);
        assert_eq!(read(text.as_bytes(), reading).unwrap(), want);
        assert_eq!(read(format!("{text}{ending}").as_bytes(), reading).unwrap(), want);
    }
    for before in ["\u{feff}", "\u{feff}; made by hand\n", "\0\0\0\0\n", "\0\0;\0\n"] {
        let text = format!("{before}{body}");
        assert_eq!(read(text.as_bytes(), reading).unwrap(), want, "{before:?}");
        let (out, _) = follow(text.as_bytes(), options(false, false)).unwrap();
        assert!(out.starts_with(before.as_bytes()), "{before:?}");
    }
    // A file in UTF-16 is refused whether it says so or not.
    let wide: Vec<u8> = body.encode_utf16().flat_map(u16::to_le_bytes).collect();
    follow(&wide, options(false, false)).unwrap_err();
    follow(&[&b"\xff\xfe"[..], &wide].concat(), options(false, false)).unwrap_err();
}

/// A checksum as the trade writes it.
fn sealed(n: usize, words: &str) -> String {
    let text = format!("N{n} {words}");
    format!("{text}*{}\n", text.bytes().fold(0, |x, b| x ^ b))
}

/// N words and checksums, messages among them: every line of the output has the checksum that is right for it, and the
/// numbers go up one by one.
#[test]
fn numbered_lines_stay_in_order() {
    let words = [
        "G28",
        "G1 X-90 Y-90 Z0.2",
        "G1 X180 Y180 E5",
        "M117 Hello G1 X5",
        "M118 2*3",
        "T0",
        "G1 X-90 Y180 E9",
        "M104 S0",
    ];
    let text: String = words.iter().enumerate().map(|(n, w)| sealed(n + 1, w)).collect();
    let (out, summary) = follow(text.as_bytes(), options(false, false)).unwrap();
    assert!(summary.moves_out > summary.moves_in, "the test wants moves that are split");
    let out = String::from_utf8(out).unwrap();
    let mut count = 0;
    for line in out.lines().filter(|l| !l.starts_with(';')) {
        count += 1;
        let words = line.strip_prefix(&format!("N{count} ")).unwrap_or_else(|| panic!("{line}"));
        let words = &words[..words.rfind('*').unwrap()];
        assert_eq!(format!("{line}\n"), sealed(count, words));
    }
    assert!(count > words.len());
}

/// 14 KB of binary before the first line. Nearly all such blocks pass untouched; what is refused is refused with its
/// place; none is taken for a motion.
#[test]
fn binary_before_the_first_line() {
    let body = b"\nG28\nG1 X50 Y50 Z0.2\nG1 X51 E0.1\nG1 X52 E0.2\n";
    let want = read(body, Reading::default()).unwrap();
    let (rewritten, _) = follow(body, options(false, false)).unwrap();
    let marker = rewritten.windows(3).position(|w| w == b"; e").unwrap();
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut refused = 0;
    for round in 0..300 {
        let mut text: Vec<u8> = (0..14_000)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                state.to_le_bytes()[4]
            })
            .collect();
        let binary = text.len();
        text.extend_from_slice(body);
        match read(&text, Reading::default()) {
            Ok(got) => {
                assert_eq!(got, want, "round {round}");
                let (out, _) = follow(&text, options(false, false)).unwrap();
                assert!(out[..binary] == text[..binary], "round {round}");
                assert!(out[binary + marker..].starts_with(b"; evengap"), "round {round}");
            }
            Err(e) => {
                assert!(e.place().is_some());
                refused += 1;
            }
        }
    }
    assert!(refused <= 9, "{refused} of 300 refused");
}

/// A lone command that homes or sets a position stays as it is.
#[test]
fn homing_and_positions_pass() {
    for line in ["G28 W", "G28 X", "G28", "G92 E0", "G92 U0", "T1", "T0", "M82", "G91", "G90"] {
        let (out, _) = around(line.as_bytes(), options(false, false)).unwrap();
        let held = format!("\n{line}\n");
        assert!(out.windows(held.len()).any(|w| w == held.as_bytes()), "{line}");
    }
}

/// The same text in lower case means the same.
#[test]
fn lower_case_files() {
    let text =
        "G90\nM83\nG28\nG1 X50 Y50 Z0.2 F1200\nG1X51E0.1\nG3 X60 Y50 I4.5 E1\nG91\nG1 Z0.5\nG90\nG92 Z-5\nN5 G1 X5\n";
    let upper = read(text.as_bytes(), Reading::default()).unwrap();
    assert_eq!(read(text.to_lowercase().as_bytes(), Reading::default()).unwrap(), upper);
}

/// One word, spelt at random, and what it must be read as.
fn word(letters: &'static [u8]) -> impl Strategy<Value = (u8, String, f64)> {
    let spelling = (any::<bool>(), any::<bool>(), 0..3_usize, 0..3_usize, 0..4_usize, "[ \t]{0,2}", "[ \t]{0,2}");
    (prop::sample::select(letters), -999_999..999_999_i32, 0..6_usize, spelling).prop_map(
        |(letter, units, decimals, (lower, plus, zeros, more, end, gap, behind))| {
            let value = f64::from(units) / 10_f64.powi(i32::try_from(decimals).unwrap());
            let mut digits = format!("{:.decimals$}", value.abs());
            if digits.contains('.') {
                digits += &"0".repeat(more);
                if end == 0 && digits.starts_with("0.") {
                    digits.remove(0);
                }
            } else if end == 1 {
                digits.push('.');
            }
            let sign = if units < 0 {
                "-"
            } else if plus {
                "+"
            } else {
                ""
            };
            let shown = if lower { letter.to_ascii_lowercase() } else { letter } as char;
            // A digit or sign straight behind a bare point would be another number.
            let behind = if digits.ends_with('.') && behind.is_empty() { " ".to_string() } else { behind };
            (letter, format!("{shown}{gap}{sign}{}{digits}{behind}", "0".repeat(zeros)), value)
        },
    )
}

/// Lines of an alphabet that is rich in what toolpaths are made of.
fn gcodish() -> impl Strategy<Value = Vec<u8>> {
    let bits = prop_oneof![
        prop::sample::select(vec![
            "G0",
            "G1",
            "G2",
            "G3",
            "G28",
            "G90",
            "G91",
            "G92",
            "G20",
            "G21",
            "M82",
            "M83",
            "M117",
            "T0",
            "X",
            "Y",
            "Z",
            "E",
            "I",
            "J",
            "R",
            "F",
            "N",
            "X10",
            "Y-5.5",
            "Z.2",
            "E1e3",
            "I5",
            "J0",
            "R-7",
            ";",
            "(",
            ")",
            "*",
            "/",
            "%",
            " ",
            "\t",
            "\n",
            "\r\n",
            "\r",
            "\0",
            "nan",
            "[a]",
            "\"",
            "#1",
            "=",
            ".",
            "-",
            "+",
            "999999999",
            "1000000000000000000000",
            "0.0000000000000000000001",
            "\u{feff}",
            "\u{a0}",
            "G1 X1 Y1\n",
            "G2 X3 Y3 I1 J1\n",
        ])
        .prop_map(|s| s.as_bytes().to_vec()),
        "[0-9]{1,4}".prop_map(String::into_bytes),
        prop::collection::vec(any::<u8>(), 1..3),
    ];
    prop::collection::vec(bits, 0..60).prop_map(|v| v.concat())
}

fn settings() -> impl Strategy<Value = Reading> {
    (any::<bool>(), any::<bool>(), any::<bool>()).prop_map(|(g90_sets_e, unknown_motion, own_levelling)| Reading {
        g90_sets_e,
        unknown_motion,
        own_levelling,
        ..Reading::default()
    })
}

/// Reads every line, going on after errors, and checks that every value is finite.
fn survives(text: &[u8], settings: Reading) -> Vec<String> {
    let mut reader = Reader::new(settings);
    let mut line = Line::default();
    let mut told = Vec::new();
    for (n, bytes) in text.split(|b| *b == b'\n').enumerate() {
        line.read(bytes);
        for w in line.words() {
            assert!(w.start < w.from && w.from <= w.to && w.to <= bytes.len());
            assert!(w.number.is_none_or(|n| n.value.is_finite()));
        }
        let step = reader.read(&line, bytes, n as u64 + 1);
        if let Err(e) = &step {
            let place = e.place().expect("a place");
            assert!(place.line == n as u64 + 1 && place.column >= 1 && place.column <= bytes.len() as u64 + 1);
        }
        let s = reader.state();
        assert!(
            s.axes.iter().chain(&s.others).all(|a| a.register.is_finite() && a.shift.is_finite()) && s.e.is_finite()
        );
        if step == Ok(Step::Move) {
            let m = reader.last_move();
            assert!(m.e_delta().is_finite());
            if let Some(a) = m.arc {
                assert!(a.centre.iter().chain(&a.radii).chain([&a.start, &a.sweep]).all(|v| v.is_finite()), "{a:?}");
                assert!(a.sweep.abs() <= std::f64::consts::TAU + 1e-12 && a.sweep != 0.0, "{a:?}");
            }
        }
        told.push(format!("{step:?} {s:?}"));
    }
    told
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Words spelt at random are read back with the same letters and values.
    #[test]
    fn words_read_back(words in prop::collection::vec(word(b"XYZABCUVWIJKRFSPDHLQ"), 1..12), n in 0..3_usize) {
        let mut text = String::new();
        if n > 0 {
            text = format!("N{n}{}", " ".repeat(n));
        }
        text += &words.iter().map(|w| w.1.as_str()).collect::<String>();
        let mut line = Line::default();
        line.read(text.as_bytes());
        prop_assert_eq!(line.kind, Kind::Words);
        let got: Vec<_> = line.words()[n.min(1)..].iter().map(|w| (w.letter, w.number.map(|n| n.value))).collect();
        let want: Vec<_> = words.iter().map(|w| (w.0, Some(w.2))).collect();
        prop_assert_eq!(got, want, "{:?}", text);
    }

    /// Nothing makes the reader panic or leaves a value that is not finite; and what it tells is a function of the lines.
    #[test]
    fn survives_any_bytes(text in prop::collection::vec(any::<u8>(), 0..400), settings in settings()) {
        prop_assert_eq!(survives(&text, settings), survives(&text, settings));
    }

    #[test]
    fn survives_what_looks_like_toolpaths(text in gcodish(), settings in settings()) {
        let whole = survives(&text, settings);
        prop_assert_eq!(&whole, &survives(&text, settings));
        // Reading on from a copy is reading on.
        let cut = text.iter().position(|b| *b == b'\n').map_or(0, |n| n + 1);
        prop_assert!(survives(&text[..cut], settings)[..] [..usize::from(cut > 0)] == whole[..usize::from(cut > 0)]);
        // The rewriter stands on it: it must not panic either, however its input is cut.
        let options = options(settings.unknown_motion, settings.own_levelling);
        let at_once = follow(&text, options).map(|r| r.0);
        let mut out = Vec::new();
        let mut rewriter = Rewriter::new(bent(), options).unwrap();
        let in_bits = text.chunks(7).try_for_each(|c| rewriter.push(c, &mut out)).and_then(|()| rewriter.finish(&mut out)).map(|_| out);
        prop_assert_eq!(at_once, in_bits);
    }

    /// Absolute and relative spellings of one path give the same moves.
    #[test]
    fn absolute_and_relative_words_are_one_path(
        points in prop::collection::vec((-200_000..200_000_i32, -200_000..200_000_i32, 0..5_000_i32, 0..2_000_i32), 2..30),
    ) {
        let thousandths = |v: i32| format!("{}{}.{:03}", if v < 0 { "-" } else { "" }, v.abs() / 1000, v.abs() % 1000);
        let (mut absolute, mut relative) = (String::from("G90\nM82\n"), String::from("G90\nM82\n"));
        let mut last = (0, 0, 0, 0);
        for (n, p) in points.iter().enumerate() {
            let e = last.3 + p.3;
            absolute += &format!("G1 X{} Y{} Z{} E{}\n", thousandths(p.0), thousandths(p.1), thousandths(p.2), thousandths(e));
            if n == 0 {
                relative += &format!("G1 X{} Y{} Z{} E{}\nG91\nM83\n", thousandths(p.0), thousandths(p.1), thousandths(p.2), thousandths(e));
            } else {
                relative += &format!(
                    "G1 X{} Y{} Z{} E{}\n",
                    thousandths(p.0 - last.0), thousandths(p.1 - last.1), thousandths(p.2 - last.2), thousandths(p.3)
                );
            }
            last = (p.0, p.1, p.2, e);
        }
        let a = read(absolute.as_bytes(), Reading::default()).unwrap().0;
        let b = read(relative.as_bytes(), Reading::default()).unwrap().0;
        prop_assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            prop_assert_eq!(a.known(), b.known());
            for n in 0..3 {
                prop_assert!((a.after[n].place() - b.after[n].place()).abs() < 1e-9);
                prop_assert!((a.before[n].place() - b.before[n].place()).abs() < 1e-9);
            }
            prop_assert!((a.e_delta() - b.e_delta()).abs() < 1e-9);
        }
    }

    /// An arc by its centre and the same arc by its radius have one centre and one sweep.
    #[test]
    fn arcs_by_centre_and_by_radius_agree(
        x in -50.0..50.0_f64, y in -50.0..50.0_f64, radius in 1.0..80.0_f64,
        start in 0.0..std::f64::consts::TAU, turn in 0.05..6.2_f64, clockwise in any::<bool>(),
    ) {
        // Half a turn is where R cannot tell well where the centre is.
        prop_assume!((turn - std::f64::consts::PI).abs() > 0.05);
        let angle = if clockwise { start - turn } else { start + turn };
        let point = |a: f64| [x + radius * a.cos(), y + radius * a.sin()];
        let [from, to] = [point(start), point(angle)];
        let g = if clockwise { 2 } else { 3 };
        let sign = if turn > std::f64::consts::PI { "-" } else { "" };
        let arc = |words: String| {
            let text = format!("G0 X{:.12} Y{:.12} Z0\nG{g} X{:.12} Y{:.12} {words}\n", from[0], from[1], to[0], to[1]);
            read(text.as_bytes(), Reading::default()).unwrap().0[1].arc.unwrap()
        };
        let by_centre = arc(format!("I{:.12} J{:.12}", x - from[0], y - from[1]));
        let by_radius = arc(format!("R{sign}{radius:.12}"));
        for arc in [by_centre, by_radius] {
            prop_assert!((arc.centre[0] - x).abs() < 1e-6 && (arc.centre[1] - y).abs() < 1e-6, "{:?}", arc);
            prop_assert!((arc.sweep.abs() - turn).abs() < 1e-6 && (arc.sweep < 0.0) == clockwise, "{:?}", arc);
        }
        prop_assert!(by_centre.by_centre && !by_radius.by_centre);
    }
}
