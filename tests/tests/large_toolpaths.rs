//! What the rewriter refuses for its size the gaps and the proof refuse too: nothing is judged by leaving it out, and nothing takes for ever.

use evengap::check::proof::{Proof, ProofOptions, Verdict};
use evengap::check::{Followed, GapOptions, Gaps};
use evengap::follow::{Taper, rewrite};
use evengap::{Error, ErrorKind, HeightMap, SurfaceKind};
use evengap_tests::beds::{anywhere, config, map};
use proptest::prelude::*;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

fn bent() -> HeightMap {
    map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y)
}

/// What the three say of a file, the proof of it beside itself. Each within a second.
fn all_three(file: &[u8], bed: &HeightMap) -> [(&'static str, Option<Error>); 3] {
    let mut rewriting = anywhere(|_| {});
    rewriting.allow.unknown_motion = true;
    let gaps = || {
        let mut gaps = Gaps::new(bed, GapOptions::default());
        gaps.push(file)?;
        gaps.finish()
    };
    let proof = || {
        let mut asked = ProofOptions::default();
        asked.floor = -1e4;
        asked.followed = Followed { taper: Some([0.1, 4.0]), shift: 0.0 };
        let mut proof = Proof::new(bed, asked);
        proof.push_original(file)?;
        proof.push_rewritten(file)?;
        proof.finish()
    };
    let timed = |name, run: &dyn Fn() -> Option<Error>| {
        let began = Instant::now();
        let said = run();
        assert!(began.elapsed() < Duration::from_secs(1), "{name}: {:?}", began.elapsed());
        (name, said)
    };
    [
        timed("rewriter", &|| rewrite(file, bed, rewriting).err()),
        timed("gaps", &|| gaps().err()),
        timed("proof", &|| proof().err()),
    ]
}

fn refused(name: &str, file: &str, bed: &HeightMap, kinds: &[ErrorKind], line: u64) {
    for (who, error) in all_three(file.as_bytes(), bed) {
        let error = error.unwrap_or_else(|| panic!("{name}: let pass by the {who}"));
        assert!(kinds.contains(&error.kind()), "{name}, {who}: {error:?}");
        let place = error.places().first().copied().unwrap_or_else(|| panic!("{name}, {who}: no place: {error}"));
        assert!(place.line == line && place.column >= 1, "{name}, {who}: {error}");
    }
}

#[test]
fn moves_of_a_thousand_kilometres_are_refused() {
    let flat = map(2, 0.0, 150.0, SurfaceKind::Bilinear, |_, _| 0.0);
    for bed in [bent(), flat] {
        for (name, line) in [
            ("straight", "G1 X1000000000 E5"),
            ("the least that is too long", "G1 X1000011 E5"),
            ("diagonal", "G1 X-999999999 Y999999999 Z1 E5"),
            ("in the taper", "G1 X999999999 Z2 E5"),
            ("relative", "G91 G1 X999999999 E5"),
            ("in inches", "G20 G1 X900000000 E0.1"),
            ("a circle", "G2 I999999999 J0 E5"),
            ("an arc, the long way round", "G3 X10 Y11 I999999999 J0 E5"),
            ("a radius, the long way round", "G3 X10 Y11 R-999999999 E5"),
        ] {
            refused(name, &format!("G1 X10 Y10 Z0.2 F1200\n{line}\n"), &bed, &[ErrorKind::Limit], 2);
        }
        // Whatever is allowed: a place that no number tells, and many turns.
        let known = [ErrorKind::Toolpath];
        refused("farther than any place", "G1 X10 Y10 Z0.2\nG1 X1000000001 E5\n", &bed, &known, 2);
    }
    // Many turns are motion that is not understood, and refused as such.
    let file = b"G1 X10 Y10 Z0.2 F1200\nG2 I5 P1000000000 E5\n";
    let error = rewrite(file, &bent(), anywhere(|_| {})).expect_err("turns");
    assert_eq!((error.kind(), error.places()[0].line, error.places()[0].column), (ErrorKind::Refused, 2, 7));
}

/// An arc of a large radius may be short; a travel of a few metres is long but no harm.
#[test]
fn what_is_large_and_harmless_passes() {
    for line in ["G2 X20 Y10 R1000000 E1", "G0 X9000 Y9000", "G1 X-4000 Y5000 Z9"] {
        let file = format!("G1 X10 Y10 Z0.2 F1200\n{line}\n");
        for (who, error) in all_three(file.as_bytes(), &bent()) {
            assert!(error.is_none(), "{line}, {who}: {error:?}");
        }
    }
}

/// A motion line that is too long to hold is no line without motion.
#[test]
fn motion_on_a_line_that_is_not_held_is_refused() {
    let bed = bent();
    let blanks = " ".repeat(1 << 21);
    for (name, line) in [
        ("a move", format!("G1 X20 Y20{blanks}Z-5")),
        ("a move behind blanks", format!("{blanks}G1 Z-5")),
        ("a move behind a comment", format!("({blanks})G1 Z-5")),
        ("a comment that hides the rest", format!("({blanks}")),
        ("behind an M word", format!("M104 S200{blanks}G1 Z-5")),
        ("a mode", format!("G91{blanks}")),
        ("beside an M word", format!("M82 G1 Z-5{blanks}")),
        ("hidden in a text", format!("see G1 X5 Z-5{blanks}")),
    ] {
        refused(name, &format!("G1 X10 Y10 Z0.2 F1200\n{line}\nG1 X30\n"), &bed, &[ErrorKind::Limit], 2);
    }
    for line in [
        format!("; G1 X5{blanks}"),
        format!("(a) ; G1{blanks}"),
        format!("M117 X5 Y5{blanks}"),
        format!("hello{blanks}"),
    ] {
        for (who, error) in all_three(format!("G1 X10 Y10 Z0.2 F1200\n{line}\n").as_bytes(), &bed) {
            assert!(error.is_none(), "{who}: {error:?}");
        }
    }
}

/// Higher than told on one side, lower on the other.
fn high_and_low() -> HeightMap {
    map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 - 0.002 * x + 0.000_01 * y * y)
}

/// Lines in which every word lies near the farthest place that a word may name: in words of both kinds, millimetres and inches.
fn near_the_limit() -> impl Strategy<Value = String> {
    let far = || {
        (0..400_i32, 0..3_u8).prop_map(|(less, part)| match part {
            0 => "1000000000".to_string(),
            1 => format!("{}", 1_000_000_000 - less),
            _ => format!("{}.{less:03}", 999_999_999),
        })
    };
    prop_oneof![
        4 => (0..4_u8, far(), -20..120_i32).prop_map(|(way, z, x)| match way {
            0 => format!("G1 X{x} Z{z}\n"),
            1 => format!("G1 Z{z}\nG1 X{x}\n"),
            2 => format!("G92 Z{z}\nG1 X{x}\n"),
            _ => format!("G1 X{x}\nG92 Z{z}\n"),
        }),
        4 => (far(), 0..120_i32, 0..120_i32).prop_map(|(e, x, y)| format!("G1 X{x} Y{y} E{e}\n")),
        4 => (0..120_i32, 0..120_i32, 0..99_i32).prop_map(|(x, y, e)| format!("G1 X{x} Y{y} E{e}\n")),
        2 => far().prop_map(|e| format!("G92 E{e}\n")),
        1 => far().prop_map(|x| format!("G92 X{x}\nG91\nG1 X5\nG90\n")),
        2 => "(G90|M82|M83|G20|G21|G92 Z0.2|G92 E0|G28|G1 Z0.3|G1 Z0.9|G1 X0 Y0|G1 Z7)\n",
    ]
}

proptest! {
    #![proptest_config(config(400))]
    /// What is written anew can be read again: where a word would have to go farther than it may, the file is refused.
    #[test]
    fn what_is_written_can_be_read(
        lines in proptest::collection::vec(near_the_limit(), 1..8), flow in any::<bool>(), tapers in any::<bool>(),
    ) {
        static BED: LazyLock<HeightMap> = LazyLock::new(high_and_low);
        let original = format!("G28\nG1 X10 Y10 Z0.2 F1200\n{}", lines.concat());
        let options = anywhere(|o| {
            o.flow = flow;
            o.taper = if tapers { Taper::Range { from: 0.1, to: 4.0 } } else { Taper::None };
        });
        match rewrite(original.as_bytes(), &BED, options) {
            Ok((rewritten, _)) => {
                let mut asked = ProofOptions::default();
                asked.floor = -1e12;
                asked.flow = flow;
                asked.followed = Followed { taper: tapers.then_some([0.1, 4.0]), shift: 0.0 };
                let mut proof = Proof::new(&BED, asked);
                prop_assert!(proof.push_original(original.as_bytes()).is_ok());
                let read = proof.push_rewritten(&rewritten);
                prop_assert!(read.is_ok(), "{read:?}\n{}", String::from_utf8_lossy(&rewritten));
                let proven = proof.finish();
                let holds = proven.as_ref().is_ok_and(Verdict::is_proven);
                prop_assert!(holds, "{proven:?}\n{}", String::from_utf8_lossy(&rewritten));
            }
            Err(e) => prop_assert!(!e.places().is_empty(), "{e}"),
        }
    }
}

#[test]
fn a_word_that_would_go_too_far_is_refused() {
    let taper = Taper::Range { from: 0.1, to: 4.0 };
    for (lines, last, taper) in [
        ("G1 Z1000000000", "Z", Taper::None),
        ("G1 X0 E1\nG92 Z1000000000", "Z", taper),
        ("G1 X70 E1\nG92 Z1000000000\nG1 X0 E2", "Z", taper),
        ("G1 Z0.8 E0\nG92 E999999000\nG1 X140 Y10 E1000000000", "E", taper),
        ("G1 Z0.8 E0\nG92 E900000000\nG1 X140 Y10 E1000000000\nG1 X0 Y0", "E", taper),
    ] {
        let original = format!("G28\nG1 X0 Y10 Z0.2 F1200\n{lines}\n");
        let options = anywhere(|o| (o.taper, o.flow) = (taper, true));
        let Err(error) = rewrite(original.as_bytes(), &high_and_low(), options) else { panic!("{lines}: let pass") };
        assert_eq!(error.kind(), ErrorKind::Limit, "{lines}: {error}");
        assert!(error.to_string().contains(&format!("{last} would go farther")), "{lines}: {error}");
        assert!(error.places()[0].line >= 3, "{lines}: {error}");
    }
}

/// Z as far off as is allowed, all along a way of nearly a kilometre: no bound can tell, and it does not take for ever to say so.
#[test]
fn a_bound_is_not_sought_for_ever() {
    let bed = map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y);
    let at = bed.height(1e6, 10.0);
    for just_below in [1e-9, 1e-7, 1e-5] {
        let z = 0.2 + at + 0.005 + 0.0005 - just_below;
        let original = "G1 X200 Y10 Z0.2 F1200\nG1 X900000 E5\n";
        let rewritten = format!("G1 X200 Y10 Z{z:.12} F1200\nG1 X900000 E5\n");
        let mut asked = ProofOptions::default();
        asked.floor = -1e4;
        let began = Instant::now();
        let mut proof = Proof::new(&bed, asked);
        proof.push_original(original.as_bytes()).expect("read");
        proof.push_rewritten(rewritten.as_bytes()).expect("read");
        let verdict = proof.finish().expect("read");
        assert!(began.elapsed() < Duration::from_secs(2), "{just_below}: {:?}", began.elapsed());
        assert!(!verdict.is_proven(), "{verdict:?}");
    }
}
