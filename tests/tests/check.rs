//! The judgement of a toolpath over its bed: figures worked out by hand, and what rewriting does to them.

use evengap::card::Machine;
use evengap::check::{GapOptions, GapReport, Gaps, Limits, judge};
use evengap::follow::{Options, rewrite};
use evengap::{Card, HeightMap, SurfaceKind};
use evengap_tests::beds::map;
use evengap_tests::samples;

/// 200 mm by 200 mm, rising from -0.2 to 0.2 mm from left to right.
fn tilted() -> HeightMap {
    let card = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
                points = [[0, 0, -0.2], [200, 0, 0.2], [0, 200, -0.2], [200, 200, 0.2]]\n";
    HeightMap::fit(&Card::parse(card).expect("a card"), SurfaceKind::ThinPlate).expect("a map")
}

fn look(bytes: &[u8], bed: &HeightMap, options: GapOptions) -> GapReport {
    let mut gaps = Gaps::new(bed, options);
    gaps.push(bytes).expect("readable");
    gaps.finish().expect("readable")
}

fn near(a: f64, b: f64) {
    assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a} is not {b}");
}

/// F is mm of path a minute, along X, Y and Z together: RS-274/NGC, NISTIR 6556 section 2.1.2.5.
#[test]
fn time_and_the_speed_of_z() {
    let file = b"G21\nM82\nG1 X0 Y0 Z1 F600\n\
                 G1 X30 Y40 E1\n\
                 G1 X33 Y44 Z13 F780\n\
                 G1 X36 Y48 Z1\n\
                 G1 Z2 F60\n\
                 G1 E11 F300\n\
                 M106 S255 F1\n\
                 G0 X36 Y58\n\
                 G20\n\
                 G1 X2 F10\n";
    let pace = look(file, &tilted(), GapOptions::default()).pace;
    // 50 mm at 10 mm/s; 13 mm at 13 mm/s, twice; 1 mm at 1 mm/s; 10 mm of filament and 10 mm of way at 5 mm/s; 2 inches are 50.8 mm, less
    // the 36 that it stands at, at 10 inches a minute.
    near(pace.seconds, 5.0 + 1.0 + 1.0 + 1.0 + 2.0 + 2.0 + (50.8 - 36.0) / (254.0 / 60.0));
    near(pace.seconds_flat, pace.seconds);
    // 12 mm up in 1 s, then down: the change is the largest step. The move of Z alone is left out.
    near(pace.z_speed.value, 12.0);
    assert_eq!((pace.z_speed.line, pace.z_speed_step.line), (5, 6));
    near(pace.z_speed_step.value, 24.0);
    // The first move starts from nowhere.
    assert_eq!(pace.untimed, 1);
}

/// 200 moves of 1 mm at 20 mm/s, and in their middle 100 of 0.1 mm: those take 5 ms each, so that 20 begin in a tenth of a second.
#[test]
fn moves_within_a_tenth_of_a_second() {
    let mut file = String::from("G1 X0 Y10 Z0.2 F1200\n");
    let mut x = 0.0;
    for n in 0..300 {
        x += if (100..200).contains(&n) { 0.1 } else { 1.0 };
        file += &format!("G1 X{x:.1}\n");
    }
    let pace = look(file.as_bytes(), &tilted(), GapOptions::default()).pace;
    // A move at either end of the tenth counts or not by rounding.
    assert!((200.0..=210.0).contains(&pace.moves_per_second.value), "{pace:?}");
    assert!((120..=203).contains(&pace.moves_per_second.line), "{pace:?}");
}

/// No F, or one that is no speed: nothing is timed, and nothing that is no number gets out.
#[test]
fn what_has_no_speed_has_no_time() {
    for feed in ["", " F0", " F-5", " F1e-300", " F0.0000000000000001"] {
        let file = format!("G1 X0 Y0 Z1{feed}\nG1 X10\nG1 X20 Z9\nG1 X30\n");
        let Ok(report) = (|| {
            let mut gaps = Gaps::new(&tilted(), GapOptions::default());
            gaps.push(file.as_bytes())?;
            gaps.finish()
        })() else {
            continue;
        };
        assert_eq!((report.pace.seconds, report.pace.untimed), (0.0, 4), "{feed}");
        assert!(report.pace.z_speed.value.is_finite());
    }
}

/// A line that primes the nozzle lies lower than the part: both are judged, and the part by its own gap. The line may be short, or long.
#[test]
fn a_primed_line_does_not_hide_the_part() {
    for (x, share) in [("95", 60.0 / 190.0), ("110", (20.0 * 60.0 + 20.0) / (20.0 * 190.0 + 20.0))] {
        a_primed_line_to(x, share);
    }
}

fn a_primed_line_to(x: &str, right: f64) {
    let mut file = format!("M83\nG1 X90 Y0 Z0.1 F3000\nG1 X{x} E1\n");
    for layer in 1..4 {
        file += &format!("G1 X5 Y5 Z{}\n", 0.2 * f64::from(layer));
        for n in 0..20 {
            file += &format!("G1 X{} Y{} E5\n", if n % 2 == 0 { 195 } else { 5 }, 5 + n);
        }
    }
    let report = look(file.as_bytes(), &tilted(), GapOptions::default());
    let judgement = judge(&report, &Limits::default(), &Machine::default());
    assert_eq!((report.layers[0].z, judgement.layers), (0.1, 2));
    assert!(!judgement.passes());
    // At Z 0.2 the window is 0.06 mm either way, 30 mm of 190; a tilt of 0.002 mm a mm.
    let share = judgement.first.right / judgement.first.all;
    assert!((share - right).abs() < 0.01, "{share}");
    let texts: Vec<&str> = judgement.findings.iter().map(|f| f.text.as_str()).collect();
    assert_eq!(
        texts,
        [
            "34 % of the first layer is too far, it would not stick: front left",
            "34 % of the first layer is too near, the nozzle would scrape or plug: front right"
        ]
    );
    // The worst is at the right end: the bed has come up to the nozzle.
    let worst = judgement.worst[0];
    assert_eq!(worst.place, "front right");
    assert!(
        (worst.x - 195.0).abs() < 1.0 && (worst.gap - 0.01).abs() < 0.003 && (worst.meant - 0.2).abs() < 1e-9,
        "{worst:?}"
    );
}

#[test]
fn limits_can_be_set_and_the_machine_has_its_own() {
    let file = b"G1 X90 Y10 Z0.2 F6000\nG1 X110 E1\nG1 X120 Z5.2\nG1 X130 Z0.2\n";
    let report = look(file, &tilted(), GapOptions::default());
    let mut limits = Limits::default();
    let quiet = judge(&report, &limits, &Machine::default());
    assert!(quiet.passes(), "{quiet:?}");
    // 100 mm/s over 10 mm of X and 5 of Z.
    let speed = 100.0 * 5.0 / 125.0_f64.sqrt();
    let mut machine = Machine::default();
    machine.z_speed = Some(speed - 1.0);
    machine.z_speed_step = Some(2.0 * speed - 1.0);
    machine.moves_per_second = Some(5.0);
    machine.z_steps_per_mm = Some(50.0);
    let loud = judge(&report, &limits, &machine);
    let broken: Vec<bool> = loud.findings.iter().map(|f| f.breaks).collect();
    assert_eq!(broken, [true, true, true, false, false], "{loud:?}");
    let mut calm = Machine::default();
    calm.z_speed = Some(speed + 1.0);
    calm.z_speed_step = Some(2.0 * speed + 1.0);
    assert!(judge(&report, &limits, &calm).passes());
    // Outside the readings is told, and breaks only what was asked for.
    let narrow = b"G1 X-20 Y10 Z0.2 F6000\nG1 X20 Y10 Z0.2 E1\n";
    let report = look(narrow, &tilted(), GapOptions::default());
    let (half, all) = (report.layers[0].path.unmeasured, report.layers[0].path.all);
    near(half, 20.0);
    near(all, 40.0);
    limits.outside = 1.0;
    assert!(judge(&report, &limits, &Machine::default()).passes());
    limits.unmeasured = 0.4;
    assert!(!judge(&report, &limits, &Machine::default()).passes());
}

/// A rewritten file that stands alone: its marker tells how it was made, its layers are told from itself, and its first layer is right. A
/// fault is found all the same, and the bed of another card is not this one's.
#[test]
fn a_rewritten_file_is_judged_by_itself() {
    let mut looked = 0;
    let all = samples::all();
    for (name, bytes) in &all {
        let bent = map(5, -20.0, 235.0, SurfaceKind::ThinPlate, |x, _| 0.3 * (1.0 - ((x - 107.5) / 107.5).powi(2)));
        let mut options = Options::default();
        options.allow.unknown_motion = true;
        options.allow.own_levelling = true;
        let Ok((out, _)) = rewrite(bytes, &bent, options) else { continue };
        let asked = || {
            let mut o = GapOptions::default();
            o.reading.unknown_motion = true;
            o.reading.own_levelling = true;
            o
        };
        let before = look(bytes, &bent, asked());
        let first = look(&out, &bent, asked());
        let Some(marker) = first.marker else {
            panic!("{name} has no marker");
        };
        assert_eq!((marker.card, marker.tolerance), (bent.card().digest(), 0.005), "{name}");
        let mut again = asked();
        again.layers = first.sliced;
        let after = look(&out, &bent, again);
        let zs = |report: &GapReport| report.layers.iter().map(|l| l.z).collect::<Vec<_>>();
        // The layers of the original, whose Z may be written finer than a bin.
        let (told, sliced) = (zs(&after), zs(&before));
        if told.len() == sliced.len() {
            for (a, b) in told.iter().zip(&sliced) {
                assert!((a - b).abs() < 0.006, "{name}: {a} {b}");
            }
        } else {
            eprintln!("{name}: {} layers told of {}", told.len(), sliced.len());
        }
        let judgement = judge(&after, &Limits::default(), &Machine::default());
        if before.layers.iter().all(|l| l.z <= 0.0) {
            // Written by hand, on a bed that was levelled so that Z 0 prints.
            assert!(
                !judgement.passes() && judgement.findings[0].text.contains("sliced at Z 0"),
                "{name}: {judgement:?}"
            );
            continue;
        }
        let (right, path) = (judgement.first.right, judgement.first.all);
        eprintln!("{name}: right {:.4} of the first layer, {:.4} before", right / path, {
            let judged = judge(&before, &Limits::default(), &Machine::default());
            judged.first.right / judged.first.all
        });
        assert!(right > 0.999 * path, "{name}: {:?}", judgement.findings);
        looked += 1;
    }
    assert!(all.is_empty() || looked >= 5, "only {looked} samples were rewritten");
}
