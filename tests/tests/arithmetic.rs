//! Any bits of a float, wherever the public interface takes one: no panic, nothing runs for ever, and what comes back is of numbers or an error.
//! What the surface takes is in `surface_properties.rs`, a visit and a test print beside their code.

use evengap::check::proof::{Proof, ProofOptions};
use evengap::check::{Followed, GapOptions, Gaps, Keep, Limits, Window, judge};
use evengap::draw::{GapPlan, PlanOptions, gap_plan};
use evengap::follow::{Options, Taper, rewrite};
use evengap::{Card, HeightMap, SurfaceKind};
use evengap_tests::beds::{config, map};
use proptest::num::f64::ANY;
use proptest::prelude::*;
use std::sync::LazyLock;

/// Any bits; and the numbers at the borders, which bits at random do not meet.
fn float() -> impl Strategy<Value = f64> {
    let borders = [
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::MAX,
        f64::MIN,
        f64::MIN_POSITIVE,
        f64::EPSILON,
        5e-324,
        -5e-324,
        0.0,
        -0.0,
        1.0,
        -1.0,
        0.005,
        0.5,
        4.0,
        1e9,
        -1e9,
        9.007_199_254_740_993e15,
        1.8e19,
        1e308,
        -1e308,
    ];
    prop_oneof![2 => ANY, 3 => prop::sample::select(borders.to_vec()), 2 => -10.0..10.0_f64]
}

fn floats<const N: usize>() -> impl Strategy<Value = [f64; N]> {
    prop::collection::vec(float(), N).prop_map(|v| core::array::from_fn(|n| v[n]))
}

static BED: LazyLock<HeightMap> =
    LazyLock::new(|| map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y));

const FILE: &[u8] =
    b"G1 X10 Y10 Z0.2 F1200\nG1 X100 Y20 E5\nG2 X50 Y50 I-19 J25 E9\nG1 X20 Y20 Z0.9 E12\nG1 X120 E14 F9\n";

/// The file is one that passes: else nothing here would be tried.
#[test]
fn the_file_itself_passes() {
    rewrite(FILE, &BED, Options::default()).expect("rewritten");
    let mut gaps = Gaps::new(&BED, GapOptions::default());
    gaps.push(FILE).expect("read");
    assert!(gaps.finish().expect("read").layers.len() > 1);
}

/// No text tells of what is no number. JSON has no word for it but null, which some fields are by right.
fn of_numbers(text: &str) -> Result<(), TestCaseError> {
    for word in ["NaN", "inf ", "inf,", "-inf", "\"inf"] {
        prop_assert!(!text.contains(word), "{word} in {text}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(config(120))]

    #[test]
    fn rewriting([tolerance, floor, shift, from, to] in floats::<5>(), flow in any::<bool>(), which in 0..3usize) {
        let mut options = Options::default();
        (options.tolerance, options.floor, options.shift, options.flow) = (tolerance, floor, shift, flow);
        options.taper = [Taper::Auto, Taper::None, Taper::Range { from, to }][which];
        for only in 0..6 {
            // All of them odd are refused for the first: each by itself as well.
            let mut one = if only == 5 { options } else { Options::default() };
            match only {
                0 => one.tolerance = tolerance,
                1 => one.floor = floor,
                2 => one.shift = shift,
                3 => one.taper = Taper::Range { from, to },
                _ => one.taper = options.taper,
            }
            let Ok((out, summary)) = rewrite(FILE, &BED, one) else { continue };
            of_numbers(&String::from_utf8_lossy(&out))?;
            let told = serde_json::to_string(&summary).expect("JSON");
            of_numbers(&told)?;
            prop_assert!(summary.z_range.is_some_and(|z| z.iter().all(|z| z.is_finite())) && summary.extrusion_out.is_finite(), "{told}");
        }
    }

    #[test]
    fn proving([tolerance, floor, shift, from, to] in floats::<5>(), only in 0..5) {
        let mut options = ProofOptions::default();
        match only {
            0 => options.tolerance = tolerance,
            1 => options.floor = floor,
            2 => options.followed.shift = shift,
            3 => options.followed.taper = Some([from, to]),
            _ => {
                (options.tolerance, options.floor) = (tolerance, floor);
                options.followed = Followed { taper: Some([from, to]), shift };
            }
        }
        // The original itself is no rewritten file over this bed, whatever the options are.
        let mut proof = Proof::new(&BED, options);
        let read = proof.push_original(FILE).and_then(|()| proof.push_rewritten(FILE)).and_then(|()| proof.finish());
        if let Ok(verdict) = read {
            let told = [verdict.height.by, verdict.path.by, verdict.filament.by];
            prop_assert!(told.iter().all(|v| v.is_finite()), "{verdict:?}");
            // 0.1 mm of tolerance may hold what this bed asks for; anything below does not.
            prop_assert!(!verdict.is_proven() || options.tolerance > 0.05 || options.followed.taper.is_some(), "{options:?}");
            for fault in &verdict.faults {
                of_numbers(&fault.message)?;
            }
        }
    }

    #[test]
    fn looking_and_judging(
        [near, far, from, to, shift, at, outside, unmeasured, width] in floats::<9>(),
        layers in prop::collection::vec(float(), 0..5), machine in floats::<4>(), undo in any::<bool>(),
    ) {
        let mut options = GapOptions::default();
        options.window = Window { near, far };
        options.followed = undo.then_some(Followed { taper: Some([from, to]), shift });
        options.layers = layers;
        options.keep = if at > 0.0 { Keep::At(at) } else { Keep::Lowest };
        let window = options.window;
        let mut gaps = Gaps::new(&BED, options);
        if gaps.push(FILE).is_err() {
            return Ok(());
        }
        let Ok(report) = gaps.finish() else { return Ok(()) };
        for layer in &report.layers {
            let told = [layer.z, layer.path.all, layer.path.right, layer.path.near, layer.path.far, layer.nearest.deviation, layer.farthest.deviation];
            prop_assert!(told.iter().all(|v| v.is_finite()), "{layer:?}");
        }
        prop_assert!(report.kept.points.iter().flatten().all(|v| v.is_finite()), "{:?}", report.kept);
        prop_assert!(report.sliced.iter().all(|z| z.is_finite()), "{:?}", report.sliced);
        let mut limits = Limits::default();
        (limits.window, limits.outside, limits.unmeasured) = (window, outside, unmeasured);
        let mut can = BED.card().machine;
        [can.z_speed, can.z_speed_step, can.moves_per_second, can.z_steps_per_mm] = machine.map(Some);
        let judgement = judge(&report, &limits, &can);
        of_numbers(&serde_json::to_string(&(&report.layers, &report.pace)).expect("JSON"))?;
        prop_assert!(judgement.worst.iter().all(|w| w.gap.is_finite() && w.meant.is_finite()), "{judgement:?}");
        if let Some(layer) = report.layers.first() {
            let plan = GapPlan { name: "a part", path: &report.kept, z: layer.z, shares: layer.path, window };
            of_numbers(&gap_plan(BED.card(), &plan, &PlanOptions { width, grid: true }))?;
        }
    }

    /// A limit that is no number is broken, and not kept.
    #[test]
    fn a_limit_that_is_no_number_is_broken(which in 0..2) {
        let mut gaps = Gaps::new(&BED, GapOptions::default());
        gaps.push(FILE).expect("read");
        gaps.push(b"G1 X180 Z0.2 E20\n").expect("read");
        let report = gaps.finish().expect("read");
        let mut limits = Limits::default();
        limits.unmeasured = 0.0;
        limits.outside = 1.0;
        if which == 0 { limits.outside = f64::NAN } else { limits.unmeasured = f64::NAN }
        prop_assert!(!judge(&report, &limits, &BED.card().machine).passes());
    }

    /// A card made in code may hold anything.
    #[test]
    fn cards_made_in_code(v in floats::<14>(), points in prop::collection::vec(floats::<3>(), 0..6), which in 0..8usize) {
        let mut card = BED.card().clone();
        match which {
            0 => card.bed.x = [v[0], v[1]],
            1 => card.bed.y = [v[0], v[1]],
            2 => card.bed.keep_out = vec![[v[0], v[1], v[2], v[3]]],
            3 => card.readings.spread = Some(v[4]),
            4 => card.readings.right_at = Some([v[5], v[6]]),
            5 => {
                for (reading, [x, y, value]) in card.readings.points.iter_mut().zip(&points) {
                    (reading.x, reading.y, reading.value) = (*x, *y, *value);
                }
            }
            6 => card.readings.bed_celsius = Some(v[7]),
            _ => {
                card.bed.x = [v[0], v[1]];
                card.bed.y = [v[2], v[3]];
                card.readings.right_at = Some([v[5], v[6]]);
                card.readings.spread = Some(v[4]);
            }
        }
        let _ = (card.digest(), card.to_toml(), card.spot_heights(), card.readings.height_of(v[8]), card.readings.value_of(v[9]), card.readings.noise(), card.readings.weights());
        let _ = (card.bed.reaches(v[10], v[11]), card.bed.keep_out_at(v[10], v[11]), evengap::plan::doubt(&card, [v[10], v[11]], v[12]));
        of_numbers(evengap::whereabouts::place(&card.bed, v[10], v[11]))?;
        for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
            let Ok(map) = HeightMap::fit(&card, kind) else { continue };
            prop_assert!(map.height(v[12], v[13]).is_finite() && map.slope(v[12], v[13]).iter().all(|s| s.is_finite()));
            prop_assert!(map.shift().is_finite() && map.measured().iter().all(|m| m.is_finite()));
            let shape = evengap::shape::describe(&map);
            prop_assert!(shape.range.is_finite(), "{shape:?}");
            of_numbers(&evengap::draw::plan(&card, &map, &PlanOptions { width: v[13], grid: true }))?;
            if let Ok((out, _)) = rewrite(FILE, &map, Options::default()) {
                of_numbers(&String::from_utf8_lossy(&out))?;
            }
            if let Ok(difference) = evengap::compare::difference(&BED, &map) {
                of_numbers(&serde_json::to_string(&difference).expect("JSON"))?;
                prop_assert!(difference.rms_mm.is_finite() && difference.range_mm.is_finite(), "{difference:?}");
            }
        }
    }

    #[test]
    fn tramming(stop in float(), at in prop::collection::vec(floats::<2>(), 3..5), pitch in float()) {
        let screws = "[screws]\nthread = 'M4'\nraise = 'anticlockwise'\nat = { 'front left' = [0, 0], 'front right' = [150, 0], 'back left' = [0, 150], 'back right' = [150, 150] }\n";
        let mut card = Card::parse(&format!("{}\n{screws}", BED.card().to_toml())).expect("a card");
        for odd in [false, true] {
            if odd && let Some(screws) = &mut card.screws {
                screws.pitch = pitch;
                for (screw, [x, y]) in screws.at.iter_mut().zip(&at) {
                    (screw.x, screw.y) = (*x, *y);
                }
            }
            let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("the readings are sound");
            let mut options = evengap::tram::Options::default();
            options.stop_below_mm = Some(stop);
            for twist in [false, true] {
                options.twist = twist;
                if let Ok(tram) = evengap::tram::tram(&map, &options) {
                    prop_assert!(tram.level_mm.is_finite(), "{tram:?}");
                    prop_assert!(tram.screws.iter().all(|s| s.turns.is_finite()), "{:?}", tram.screws);
                }
            }
        }
    }
}
