//! The generator of toolpaths: what it makes can be run, holds what it should, and judges well against itself.

use evengap_tests::machine::{Kind, Motion, Setup, run};
use evengap_tests::mixed::{Op, Spelling, Toolpath, toolpath};
use evengap_tests::oracle::{Rules, judge, tell};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;

fn motions(path: &Toolpath) -> Vec<Motion> {
    run(&path.bytes(), path.setup).iter().filter_map(|s| s.motion().cloned()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn every_line_is_understood(path in toolpath(40)) {
        let bytes = path.bytes();
        for step in run(&bytes, path.setup) {
            let doubt = matches!(step.kind, Kind::Doubt(_));
            prop_assert!(!doubt, "{:?}: {:?}", String::from_utf8_lossy(step.line.raw), step.kind);
        }
    }

    #[test]
    fn a_file_agrees_with_itself(path in toolpath(40)) {
        let bytes = path.bytes();
        for taper in [None, Some((0.5, 1.5))] {
            let rules = Rules { setup: path.setup, taper, ..Rules::default() };
            let judged = judge(&bytes, &bytes, &|_, _| 0.0, &rules);
            prop_assert!(judged.is_ok(), "{}", tell(&judged.err().unwrap_or_default()));
        }
    }

    #[test]
    fn both_spellings_are_one_path(path in toolpath(40)) {
        let (absolute, relative) = path.respell();
        let (a, b) = (motions(&absolute), motions(&relative));
        prop_assert_eq!(a.len(), b.len());
        for (a, b) in a.iter().zip(&b) {
            prop_assert_eq!((a.g, a.start, a.end, a.e), (b.g, b.start, b.end, b.e));
        }
    }
}

/// A generator that makes no arcs, say, would let every test over arcs pass.
#[test]
fn all_kinds_occur() {
    let mut runner = TestRunner::deterministic();
    let mut seen = std::collections::BTreeMap::<&str, usize>::new();
    let mut count = |name, yes: bool| *seen.entry(name).or_default() += usize::from(yes);
    for _ in 0..300 {
        let path = toolpath(40).new_tree(&mut runner).expect("a toolpath").current();
        let bytes = path.bytes();
        count("numbered", path.numbered);
        count("crlf", path.ends == 1);
        count("no last line end", path.open);
        count("BOM", bytes.starts_with(b"\xef\xbb\xbf"));
        count("E by G90", path.setup.g90_sets_e);
        for step in run(&bytes, path.setup) {
            let modes = &step.after.modes;
            let Some(m) = step.motion() else {
                count("G92 Z", step.is_g92() && step.word(b'Z').is_some());
                count("G92 X", step.is_g92() && step.word(b'X').is_some());
                continue;
            };
            count("modal", step.word(b'G').is_none());
            count("line", m.g < 2);
            count("arc by I and J", m.g >= 2 && step.word(b'R').is_none());
            count("arc by R", m.g >= 2 && step.word(b'R').is_some());
            count("helix", m.g >= 2 && m.start[2] != m.end[2]);
            count("full circle", m.g >= 2 && m.start[..2] == m.end[..2]);
            count("relative", modes.relative && m.known());
            count("inches", modes.inches && m.known());
            count("relative E", modes.e_relative && !m.e.is_zero());
            count("absolute E", !modes.e_relative && !m.e.is_zero());
            count("wipe", m.travels() && !m.e.is_zero() && !m.e.is_positive());
            count("Z alone", !m.travels() && m.start[2] != m.end[2]);
            count("sloping", m.known() && m.travels() && m.start[2] != m.end[2]);
            count("unknown", !m.known());
            count("in the taper", m.end[2].is_some_and(|z| z.f64() > 0.5 && z.f64() < 1.5));
        }
    }
    for (name, n) in &seen {
        assert!(*n >= 15, "{name}: {n} in 300 files\n{seen:?}");
    }
}

#[test]
fn plain_style_is_plain() {
    let ops = vec![
        Op::Home(0),
        Op::ToZ(200),
        Op::Line { to: [10_000, 20_500], dz: 0, e: 0, rapid: true, feed: Some(3000), a: None },
        Op::Arc { ij: [10_000, 0], sweep: 900, clockwise: true, dz: 0, e: 150_000, r: false },
        Op::Hop { dz: 400, to: [0, 0] },
        Op::Set(8, 0),
    ];
    let file = Toolpath {
        ops,
        style: 0,
        ends: 0,
        numbered: false,
        bom: false,
        open: false,
        setup: Setup::default(),
        spelling: Spelling::Own,
    };
    let text = String::from_utf8(file.bytes()).expect("text");
    assert_eq!(
        text,
        "G28\nG1 Z0.2\nG0 X10 Y20.5 F3000\nG2 X20 Y30.5 I10 E1.5\nG91\nG1 Z0.4\nG90\nG0 X0 Y0\nG1 Z0.2\nG92 E0\n"
    );
    let numbered = Toolpath { numbered: true, ops: vec![Op::Relative(true)], ..file };
    // XOR of "N1 G91" by hand: 0x4e ^ 0x31 ^ 0x20 ^ 0x47 ^ 0x39 ^ 0x31 = 0x10.
    assert_eq!(numbered.bytes(), b"N1 G91*16\n");
}
