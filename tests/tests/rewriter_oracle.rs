//! The rewriter against the slow second implementation, on made-up toolpaths and on the sample files.

use evengap::follow::{EMode, Options, Rewriter, Summary, Taper, rewrite};
use evengap::{Error, ErrorKind, HeightMap, SurfaceKind};
use evengap_tests::beds::{anywhere as options, beds, card_at, config, map, tapers, woken};
use evengap_tests::dec::Dec;
use evengap_tests::machine::{Setup, State, X, Y, Z, run};
use evengap_tests::mixed::{Op, Spelling, Toolpath, toolpath};
use evengap_tests::oracle::{Report, Rules, judge, tell};
use evengap_tests::samples;
use proptest::prelude::*;

/// The rules that match what the rewriter was told and found.
fn rules(options: &Options, summary: &Summary) -> Rules {
    Rules {
        setup: Setup { e_relative: options.e_start == EMode::Relative, g90_sets_e: options.g90_sets_e },
        taper: summary.taper.map(|[from, to]| (from, to)),
        tolerance: options.tolerance,
        flow: options.flow,
        shift: options.shift,
        floor: Some(options.floor),
        step: 0.2,
        ..Rules::default()
    }
}

/// Rewrites and judges; the text of a failure otherwise.
fn agrees(bytes: &[u8], map: &HeightMap, options: &Options) -> Result<(Vec<u8>, Report), String> {
    let (out, summary) = rewrite(bytes, map, *options).map_err(|e| refusal(&e))?;
    let rules = rules(options, &summary);
    match judge(bytes, &out, &|x, y| map.height(x, y), &rules) {
        Ok(report) => Ok((out, report)),
        Err(faults) => Err(format!(
            "{:?}\n{}\n--- original\n{}\n--- rewritten\n{}",
            summary.taper,
            tell(&faults),
            excerpt(bytes),
            excerpt(&out)
        )),
    }
}

fn excerpt(bytes: &[u8]) -> String {
    String::from_utf8_lossy(&bytes[..bytes.len().min(6000)]).into_owned()
}

fn refusal(error: &Error) -> String {
    let place = error.place().map_or("no place".to_owned(), |p| format!("{}:{}", p.line, p.column));
    format!("{place}: {:?}: {error}", error.kind())
}

/// X, Y, Z and filament after each motion, mm.
fn ends(bytes: &[u8], setup: Setup) -> Vec<[Option<f64>; 4]> {
    let moves = run(bytes, setup).into_iter().filter(|s| s.motion().is_some());
    let place = |s: &State, axis: usize| s.at[axis].map(Dec::f64);
    moves.map(|s| [place(&s.after, X), place(&s.after, Y), place(&s.after, Z), Some(s.after.filament.f64())]).collect()
}

proptest! {
    #![proptest_config(config(96))]

    #[test]
    fn mixed_files_follow_the_bed(
        path in toolpath(40), map in beds(), taper in tapers(), flow in any::<bool>(),
        shift in prop_oneof![3 => Just(0.0), 1 => -0.1..0.1_f64], tolerance in prop_oneof![3 => Just(0.005), 1 => 0.002..0.05_f64],
    ) {
        let options = options(|o| {
            woken(o, path.setup);
            o.taper = taper;
            o.flow = flow;
            o.shift = shift;
            o.tolerance = tolerance;
        });
        let judged = agrees(&path.bytes(), &map, &options);
        prop_assert!(judged.is_ok(), "{}", judged.as_ref().err().cloned().unwrap_or_default());
    }

    #[test]
    fn any_cut_gives_the_same_bytes(path in toolpath(40), map in beds(), cuts in proptest::collection::vec(1..400_usize, 1..20)) {
        let bytes = path.bytes();
        let options = options(|o| woken(o, path.setup));
        let run = |sizes: &[usize]| {
            let mut rewriter = Rewriter::new(&map, options)?;
            let mut out = Vec::new();
            let mut rest = &bytes[..];
            for size in sizes.iter().cycle() {
                let (now, later) = rest.split_at((*size).min(rest.len()));
                rewriter.push(now, &mut out)?;
                rest = later;
                if rest.is_empty() {
                    break;
                }
            }
            rewriter.finish(&mut out)?;
            Ok::<_, Error>(out)
        };
        let whole = run(&[usize::MAX]);
        prop_assert_eq!(&whole, &run(&cuts));
        prop_assert_eq!(&whole, &run(&[1]));
        prop_assert!(whole.is_ok(), "{}", whole.err().map_or_else(String::new, |e| refusal(&e)));
    }

    #[test]
    fn a_zero_map_changes_nothing(path in toolpath(40), taper in tapers(), kind in prop_oneof![Just(SurfaceKind::ThinPlate), Just(SurfaceKind::Bilinear)]) {
        let flat = map(3, 0.0, 200.0, kind, |_, _| 0.0);
        let options = options(|o| {
            woken(o, path.setup);
            o.taper = taper;
        });
        let bytes = path.bytes();
        let (out, _) = rewrite(&bytes, &flat, options).map_err(|e| TestCaseError::fail(refusal(&e)))?;
        prop_assert_eq!(String::from_utf8_lossy(&out), String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn a_constant_map_is_a_plain_offset(path in toolpath(40), c in -0.2..0.2_f64, up in -0.1..0.1_f64) {
        let level = map(3, 0.0, 200.0, SurfaceKind::ThinPlate, |_, _| c);
        let options = options(|o| {
            woken(o, path.setup);
            o.taper = Taper::None;
            o.shift = up;
        });
        let judged = agrees(&path.bytes(), &level, &options);
        prop_assert!(judged.is_ok(), "{}", judged.as_ref().err().cloned().unwrap_or_default());
        let (_, report) = judged.map_err(TestCaseError::fail)?;
        prop_assert_eq!(report.moves_in, report.moves_out);
    }

    /// On a plane a straight move needs no split: neither without a taper nor wholly below it.
    #[test]
    fn a_plane_splits_no_straight_move(path in toolpath(40), a in -0.000_5..0.000_5_f64, b in -0.000_5..0.000_5_f64) {
        let mut path = path;
        path.ops.retain(|op| !matches!(op, Op::Arc { .. }));
        let plane = map(3, -2000.0, 2000.0, SurfaceKind::ThinPlate, |x, y| 0.02 + a * x + b * y);
        let options = options(|o| {
            woken(o, path.setup);
            o.taper = Taper::None;
        });
        let judged = agrees(&path.bytes(), &plane, &options);
        prop_assert!(judged.is_ok(), "{}", judged.as_ref().err().cloned().unwrap_or_default());
        let (_, report) = judged.map_err(TestCaseError::fail)?;
        prop_assert_eq!(report.moves_in, report.moves_out);
    }

    /// Pieces end where they end however they are spelt: to a unit of the last digit, as each rounds for itself.
    #[test]
    fn absolute_and_relative_spellings_give_one_path(path in toolpath(30), map in beds(), taper in tapers()) {
        let (absolute, relative) = path.respell();
        let options = options(|o| {
            woken(o, absolute.setup);
            o.taper = taper;
        });
        let out = |path: &Toolpath| agrees(&path.bytes(), &map, &options).map(|(out, _)| out).map_err(TestCaseError::fail);
        let (out_a, out_b) = (out(&absolute)?, out(&relative)?);
        let both = || format!("--- absolute\n{}\n--- relative\n{}", excerpt(&out_a), excerpt(&out_b));
        let (a, b) = (ends(&out_a, absolute.setup), ends(&out_b, relative.setup));
        prop_assert_eq!(a.len(), b.len(), "{}", both());
        for (k, (a, b)) in a.iter().zip(&b).enumerate() {
            for (a, b) in a.iter().zip(b) {
                let close = match (a, b) {
                    (Some(a), Some(b)) => (a - b).abs() < 0.001_1,
                    _ => a == b,
                };
                prop_assert!(close, "move {}: {:?} {:?}\n{}", k, a, b, both());
            }
        }
    }

    #[test]
    fn line_ends_are_kept(path in toolpath(40), map in beds()) {
        let options = options(|o| woken(o, path.setup));
        let with = |ends| rewrite(&Toolpath { ends, ..path.clone() }.bytes(), &map, options).map(|(out, _)| out);
        let (lf, crlf) = (with(0), with(1));
        let (lf, crlf) = (lf.map_err(|e| TestCaseError::fail(refusal(&e)))?, crlf.map_err(|e| TestCaseError::fail(refusal(&e)))?);
        let mut turned = Vec::new();
        for b in lf {
            if b == b'\n' {
                turned.push(b'\r');
            }
            turned.push(b);
        }
        prop_assert_eq!(String::from_utf8_lossy(&turned), String::from_utf8_lossy(&crlf));
    }

    #[test]
    fn rewritten_twice_is_refused(path in toolpath(20)) {
        let level = map(3, 0.0, 200.0, SurfaceKind::ThinPlate, |_, _| 0.1);
        let options = options(|o| woken(o, path.setup));
        let bytes = path.bytes();
        let (out, _) = rewrite(&bytes, &level, options).map_err(|e| TestCaseError::fail(refusal(&e)))?;
        if out != bytes {
            let again = rewrite(&out, &level, options);
            prop_assert_eq!(again.err().map(|e| e.kind()), Some(ErrorKind::Refused));
        }
    }
}

/// Where a file's moves lie, mm.
fn middle(bytes: &[u8]) -> f64 {
    let mut corner_origin = true;
    for step in run(bytes, Setup::default()) {
        if let (Some(x), Some(y), Some(m)) = (step.after.at[X], step.after.at[Y], step.motion())
            && m.e.is_positive()
        {
            corner_origin &= x.f64() > -20.0 && y.f64() > -20.0;
        }
    }
    if corner_origin { 107.5 } else { 0.0 }
}

/// Every sample is rewritten and agrees, or is refused with line, column and reason; then again with all allowed.
/// The bed is bent by 0.3 mm over 215 mm: a parabola in X, read on a grid of 5 by 5.
#[test]
fn samples_agree_or_are_refused_with_a_place() {
    let mut wrong = Vec::new();
    let mut table = String::new();
    for (name, bytes) in samples::all() {
        let c = middle(&bytes);
        let bents = [SurfaceKind::ThinPlate, SurfaceKind::Bilinear]
            .map(|kind| map(5, c - 107.5, c + 107.5, kind, |x, _| 0.3 * (1.0 - ((x - c) / 107.5).powi(2))));
        let mut agreed = false;
        for (bilinear, allowed, taper) in
            [(0, false, Taper::Auto), (0, true, Taper::Auto), (0, true, Taper::None), (1, true, Taper::None)]
        {
            // The second surface on the shorter half of the samples: it takes its time.
            if allowed && agreed && taper == Taper::Auto || bilinear == 1 && bytes.len() > 1_200_000 {
                continue;
            }
            let bent = &bents[bilinear];
            let options = options(|o| {
                o.taper = taper;
                if allowed {
                    o.allow.unknown_motion = true;
                    o.allow.own_levelling = true;
                    o.allow.already_rewritten = true;
                    o.allow.large_heights = true;
                }
            });
            let asked = format!(
                "{taper:?}{}{}",
                if allowed { ", all allowed" } else { "" },
                if bilinear == 1 { ", bilinear" } else { "" }
            );
            let (out, summary) = match rewrite(&bytes, bent, options) {
                Err(error) => {
                    table += &format!("{name:40} {asked:30} refused {}\n", refusal(&error));
                    if error.place().is_none() {
                        wrong.push(format!("{name}: refused without a place"));
                    }
                    continue;
                }
                Ok(done) => done,
            };
            let rules = Rules { step: 0.05, ..rules(&options, &summary) };
            match judge(&bytes, &out, &|x, y| bent.height(x, y), &rules) {
                Ok(r) => {
                    agreed = true;
                    table += &format!(
                        "{name:40} {asked:30} agrees: {} -> {} moves ({:+.2} %; at least {}), {} pieces where {} would do, {} mergeable, worst Z {:.4} XY {:.5} E {:.7}, \
                         {} lines changed, {} the same\n",
                        r.moves_in,
                        r.moves_out,
                        r.growth_percent(),
                        r.moves_least,
                        r.pieces,
                        r.pieces_fewest,
                        r.mergeable,
                        r.worst_z,
                        r.worst_xy,
                        r.worst_e,
                        r.changed_lines,
                        r.same_lines
                    );
                    // A tenth more at the most; where no rewriter could keep to that, a twentieth more than the bound from below
                    // (pieces that need not join, so that it can hardly be reached).
                    let (least, tenth) = (20 * r.moves_out <= 21 * r.moves_least, 10 * r.moves_out <= 11 * r.moves_in);
                    let possible = 10 * r.moves_least <= 11 * r.moves_in;
                    // Of the moves that are several pieces, at most a fiftieth more than each could be by itself.
                    if 50 * r.pieces > 51 * r.pieces_fewest {
                        wrong.push(format!("{name} {asked}: {} pieces where {} would do", r.pieces, r.pieces_fewest));
                    }
                    if taper == Taper::Auto && !tenth && (possible || !least) {
                        wrong.push(format!("{name} {asked}: {:.2} % more moves", r.growth_percent()));
                    }
                }
                Err(faults) => {
                    table += &format!("{name:40} {asked:30} DISAGREES: {} faults\n", faults.len());
                    wrong.push(format!("{name} {asked}:\n{}", tell(&faults[..faults.len().min(8)])));
                }
            }
        }
    }
    eprintln!("{table}");
    assert!(wrong.is_empty(), "{}\n{table}", wrong.join("\n"));
}

/// Growth on beds that are bent by 0.3 mm over 215 mm from lowest to highest, about the part's middle: at most a tenth. A cylinder, a dome
/// and a saddle. Moves are counted here, not judged. With `--taper none` there is no such limit: every layer of a tall part grows.
#[test]
fn samples_grow_by_at_most_a_tenth() {
    for (name, bytes) in samples::all() {
        let [x0, y0] = centre(&bytes);
        let cylinder = |u: f64, _: f64| 0.3 * (1.0 - u * u);
        let dome = |u: f64, v: f64| 0.3 * (1.0 - (u * u + v * v) / 2.0);
        let saddle = |u: f64, v: f64| 0.15 + 0.15 * (u * u - v * v);
        for (bed, h) in [("cylinder", &cylinder as &dyn Fn(f64, f64) -> f64), ("dome", &dome), ("saddle", &saddle)] {
            let card = card_at(5, [x0 - 107.5, y0 - 107.5], 215.0, |x, y| h((x - x0) / 107.5, (y - y0) / 107.5));
            let bent = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map");
            let options = options(|o| {
                o.allow.unknown_motion = true;
                o.allow.own_levelling = true;
                o.allow.already_rewritten = true;
            });
            // What is refused has its own test.
            let Ok((_, s)) = rewrite(&bytes, &bent, options) else { continue };
            let (moves_in, moves_out) = (s.moves_in, s.moves_out);
            eprintln!("{name} on a {bed}: {moves_in} moves in, {moves_out} out");
            assert!(10 * moves_out <= 11 * moves_in, "{name} on a {bed}: {moves_in} moves in, {moves_out} out");
        }
    }
}

/// The middle of the rectangle that the filament lies in, mm.
fn centre(bytes: &[u8]) -> [f64; 2] {
    let mut laid = [[f64::INFINITY, f64::NEG_INFINITY]; 2];
    for step in run(bytes, Setup::default()) {
        if let Some(m) = step.motion()
            && let (true, Some(path)) = (m.e.is_positive(), m.path)
        {
            for place in (0..=8).map(|k| path.at(f64::from(k) / 8.0)) {
                for (range, q) in laid.iter_mut().zip(place) {
                    *range = [range[0].min(q), range[1].max(q)];
                }
            }
        }
    }
    laid.map(|[low, high]| if low <= high { f64::midpoint(low, high) } else { 107.5 })
}

/// On a parabola of 0.3 mm over 215 mm a chord of length L is off by L^2 / 8 times 2 * 0.3 / 107.5^2: by 0.006 mm for
/// 30.4 mm. That is over the tolerance, but not where the move may end off its place within the tolerance.
#[test]
fn a_move_ends_off_its_place_where_that_saves_a_piece() {
    let bent = map(9, 0.0, 215.0, SurfaceKind::ThinPlate, |x, _| 0.3 * (1.0 - ((x - 107.5) / 107.5).powi(2)));
    let file = b"G1 X92 Y100 Z0.2\nG1 X122.4 E1\nG1 Y100.4 E1.1\nG1 X92 E2\nG1 Y101\nG1 X122.4 E3\n";
    let options = options(|o| o.taper = Taper::None);
    let (_, report) = agrees(file, &bent, &options).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!((report.moves_in, report.moves_out), (6, 6), "{report:?}");
    assert!(report.worst_z > 0.003, "{report:?}");
}

/// A few moves whose pieces can be counted by hand: on a parabola of 0.3 mm over 215 mm a chord of length L is off by
/// at most h'' L^2 / 8 with h'' = 2 * 0.3 / 107.5^2, so 0.005 mm allows a chord of 27.8 mm that touches the curve at
/// both ends, and no fewer than 215 / (27.8 * sqrt 2) = 5.5 pieces (ends may lie off the curve by the tolerance) serve.
#[test]
fn a_long_move_has_as_few_pieces_as_it_can() {
    let bent = map(9, 0.0, 215.0, SurfaceKind::Bilinear, |x, _| 0.3 * (1.0 - ((x - 107.5) / 107.5).powi(2)));
    let file = b"G1 X0 Y100 Z0.2\nG1 X215 E10\n";
    let options = options(|o| o.taper = Taper::None);
    let (_, report) = agrees(file, &bent, &options).unwrap_or_else(|e| panic!("{e}"));
    // Eight straight pieces of 26.875 mm would follow the bilinear surface exactly.
    assert!((6..=9).contains(&report.moves_out), "{report:?}");
    assert_eq!(report.mergeable, 0);
}

/// A long slope from a place that was commanded, and from one that was declared and so is not yet compensated.
#[test]
fn a_long_slope_follows_the_bed() {
    let bent = map(5, -107.5, 107.5, SurfaceKind::ThinPlate, |x, _| 0.3 * (1.0 - (x / 107.5).powi(2)));
    let options = options(|o| o.taper = Taper::None);
    let homed = "G92 X0 Y0 Z-5\nG1 Z0\nM132 X Y Z\nG92 X152 Y61 Z0";
    for start in ["G1 X152 Y61 Z0", "G92 X152 Y61 Z0", "G92 X0 Y0 Z-5\nG1 Z0\nG92 X152 Y61 Z0", homed] {
        let file = format!("{start}\nG1 X-141 Y-60 Z40\n");
        if let Err(told) = agrees(file.as_bytes(), &bent, &options) {
            panic!("{start}: {told}");
        }
    }
}

#[test]
fn plain_files_stay_plain() {
    let path = Toolpath {
        ops: vec![
            Op::Home(0),
            Op::ToZ(200),
            Op::Line { to: [10_000, 20_500], dz: 0, e: 0, rapid: true, feed: Some(3000), a: None },
            Op::Line { to: [100_000, 20_500], dz: 0, e: 400_000, rapid: false, feed: None, a: None },
        ],
        style: 0,
        ends: 0,
        numbered: false,
        bom: false,
        open: false,
        setup: Setup::default(),
        spelling: Spelling::Own,
    };
    let tilted = map(2, 0.0, 200.0, SurfaceKind::Bilinear, |x, _| 0.001 * x);
    let (out, report) = agrees(&path.bytes(), &tilted, &options(|_| ())).unwrap_or_else(|e| panic!("{e}"));
    let text = String::from_utf8(out).expect("text");
    assert!(text.contains("\nG0 X10 Y20.5 Z0.210 F3000\nG1 X100 Z0.300 E4\n"), "{text}");
    assert_eq!((report.moves_out, report.changed_lines), (3, 2));
}

/// Ends may lie off their place, and are put right gently: a move of a thousandth of a millimetre does not make Z jump. Long lines that need
/// pieces are joined here by moves that are short, or hardly any.
#[test]
fn short_moves_do_not_make_z_jump() {
    let bent =
        map(5, 0.0, 200.0, SurfaceKind::ThinPlate, |x, y| 0.6 - 3e-5 * ((x - 100.0).powi(2) + (y - 100.0).powi(2)));
    let mut file = String::from("M83\nG1 X10 Y10 Z0.2 F3000\n");
    for n in 0..60_usize {
        let y = 10.0 + 3.0 * f64::from(u32::try_from(n).expect("small"));
        let (x, back) = if n % 2 == 0 { (190.0, -1.0) } else { (10.0, 1.0) };
        let tiny = [0.001, 0.02, 0.25][n % 3];
        file += &format!("G1 X{x} Y{y} E9\nG1 X{:.3} E0.01\nG1 X{x} Y{} E0.2\n", x + back * tiny, y + 3.0);
    }
    let (out, summary) = rewrite(file.as_bytes(), &bent, Options::default()).expect("rewritten");
    assert!(summary.moves_out > summary.moves_in + 60, "nothing was split: {summary:?}");
    // The slope of the bed at its corner, what is put right to the mm, and half a digit at either end.
    let slope = 2.0 * 3e-5 * 90.0 * 2.0_f64.sqrt() * 1.05 + 0.0101;
    let mut at = [f64::NAN; 3];
    let mut short = 0;
    for line in String::from_utf8(out).expect("text").lines().filter(|l| l.starts_with("G1")) {
        let before = at;
        for word in line.split(' ').skip(1) {
            if let Some(n) = ['X', 'Y', 'Z'].iter().position(|l| word.starts_with(*l)) {
                at[n] = word[1..].parse().expect("a number");
            }
        }
        let length = (at[0] - before[0]).hypot(at[1] - before[1]);
        if length > 0.0 && length < 0.3 {
            short += 1;
            let rise = (at[2] - before[2]).abs();
            assert!(rise <= slope * length + 0.001 + 1e-9, "{line}: {rise} over {length}");
        }
    }
    assert!(short >= 60, "{short}");
}
