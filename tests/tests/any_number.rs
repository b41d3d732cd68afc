//! Any number there is, NaN, infinities, subnormals and the largest among them, wherever code (not a card's text) may give one: no
//! panic, and nothing that is not finite in what comes out. An error is an answer.

use std::fmt::Debug;

use evengap::card::{Bed, Machine, Method, Outline, Print, Reading, Readings, Screw, Screws, Turn, Unread};
use evengap::check::proof::ProofOptions;
use evengap::check::{Followed, GapOptions, GapReport, Gaps, Keep, Limits, Window, judge};
use evengap::compare::difference;
use evengap::draw::{PlanOptions, isolines, plan};
use evengap::follow::{Options, Taper, rewrite};
use evengap::known::next;
use evengap::plan::{Layout, Room, Stop, VisitOptions, Wait, planned, visit};
use evengap::shape::describe;
use evengap::tram::{self, Fit, tram};
use evengap::trial::{Measured, Nozzle, TrialOptions, correct, patches, trial};
use evengap::{Card, HeightMap, SurfaceKind};
use evengap_tests::beds::{card_at, config, map};
use evengap_tests::proving::prove;
use proptest::prelude::*;

/// Any bits, and those that are worth more than their share.
fn odd() -> impl Strategy<Value = f64> {
    let named = vec![
        f64::NAN,
        -f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::MAX,
        f64::MIN,
        f64::MIN_POSITIVE,
        5e-324,
        -5e-324,
        0.0,
        -0.0,
        f64::EPSILON,
        1e308,
        -1e308,
        1e150,
        1e16,
        9.007_199_254_740_993e15,
        1e9,
        1e6,
        1e-9,
        -1.0,
        0.1,
        0.2,
        1.0,
        10.0,
        100.0,
        1000.0,
    ];
    prop_oneof![any::<u64>().prop_map(f64::from_bits), proptest::sample::select(named), -10.0..10.0_f64]
}

/// `usual` mostly, else any number.
fn mostly(usual: f64) -> impl Strategy<Value = f64> {
    prop_oneof![6 => Just(usual), 1 => odd()]
}

fn perhaps(usual: f64) -> impl Strategy<Value = Option<f64>> {
    proptest::option::of(mostly(usual))
}

fn pair(a: f64, b: f64) -> impl Strategy<Value = [f64; 2]> {
    (mostly(a), mostly(b)).prop_map(|(a, b)| [a, b])
}

/// Nothing that is shown (and derived `Debug` shows every field) is NaN or infinite.
fn finite(what: &str, made: &impl Debug) -> Result<(), TestCaseError> {
    clean(what, &format!("{made:?}"))
}

fn clean(what: &str, text: &str) -> Result<(), TestCaseError> {
    let bad = text.split(|c: char| !c.is_ascii_alphanumeric()).find(|w| ["NaN", "inf", "nan", "NAN"].contains(w));
    if let Some(at) = bad.map(|b| b.as_ptr().addr() - text.as_ptr().addr()) {
        let near: String = text.bytes().skip(at.saturating_sub(300)).take(320).map(char::from).collect();
        return Err(TestCaseError::fail(format!("{what}: {near}")));
    }
    Ok(())
}

fn bent(kind: SurfaceKind) -> HeightMap {
    map(4, 0.0, 150.0, kind, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y)
}

fn kinds() -> impl Strategy<Value = SurfaceKind> {
    prop_oneof![Just(SurfaceKind::ThinPlate), Just(SurfaceKind::Bilinear)]
}

/// A card of twelve readings, a point to be read and four screws, a number or a few of it odd.
fn cards() -> impl Strategy<Value = Card> {
    // One number in `n` is odd, by card: one that has many is refused for the first of them.
    let place = |n: u32, usual: f64| prop_oneof![n => Just(usual), 1 => odd()];
    let reading = move |i: u32| {
        let (x, y) = (10.0 + 60.0 * f64::from(i % 4), 10.0 + 60.0 * f64::from(i / 4));
        (
            place(60, x),
            place(60, y),
            place(60, 0.1 + 0.01 * f64::from(i % 5)),
            proptest::option::weighted(0.1, mostly(0.02)),
        )
            .prop_map(|(x, y, value, spread)| {
                let mut reading = Reading::new(x, y, value);
                reading.spread = spread;
                reading
            })
    };
    let points: Vec<_> = (0..12).map(reading).collect();
    let bed = (
        place(12, 0.0),
        place(12, 235.0),
        place(12, 0.0),
        place(12, 235.0),
        any::<bool>(),
        proptest::option::weighted(0.3, pair(100.0, 110.0)),
    )
        .prop_map(|(x0, x1, y0, y1, round, out)| {
            let mut bed = Bed::new([x0, x1], [y0, y1]);
            bed.outline = if round { Outline::Round } else { Outline::Rectangle };
            bed.keep_out = out.map(|[a, b]| vec![[a, a, b, b]]).unwrap_or_default();
            bed
        });
    let methods = prop_oneof![Just(Method::Drag), Just(Method::Gauge), Just(Method::Patch), Just(Method::Dial)];
    let readings = (
        points,
        methods,
        (perhaps(0.1), perhaps(0.3), proptest::option::of(pair(20.0, 5.0)), perhaps(60.0), perhaps(200.0)),
        (perhaps(0.02), proptest::option::of(pair(100.0, 100.0)), any::<bool>(), place(12, 40.0)),
    )
        .prop_map(
            |(points, method, (sheet, parked, offset, bed, nozzle), (spread, right_at, predicted, unread))| {
                let mut readings = Readings::new(method);
                readings.sheet = sheet;
                readings.parked = parked;
                readings.offset = offset;
                readings.bed_celsius = bed;
                readings.nozzle_celsius = nozzle;
                readings.spread = spread;
                readings.right_at = right_at;
                readings.predicted = predicted;
                readings.points = points;
                let mut unread = Unread::new(unread, 40.0);
                unread.number = 13;
                readings.unread = vec![unread];
                readings
            },
        );
    let screw = move |name: &'static str, x: f64, y: f64| {
        (place(20, x), place(20, y), proptest::option::weighted(0.3, pair(-1.0, 1.0))).prop_map(
            move |(x, y, travel)| {
                let mut screw = Screw::new(name, x, y);
                screw.travel = travel;
                screw
            },
        )
    };
    let at = (screw("a", 20.0, 20.0), screw("b", 215.0, 20.0), screw("c", 20.0, 215.0), screw("d", 215.0, 215.0));
    let screws = (place(12, 0.7), at, 0_usize..5).prop_map(|(pitch, (a, b, c, d), many)| {
        let mut screws = Screws::new(pitch, Turn::Clockwise);
        screws.at = [a, b, c, d].into_iter().take(many).collect();
        screws
    });
    (bed, readings, proptest::option::weighted(0.8, screws), prints(), machines()).prop_map(
        |(bed, readings, screws, print, machine)| {
            let mut card = Card::new(bed, readings);
            (card.screws, card.print, card.machine) = (screws, print, machine);
            card
        },
    )
}

fn prints() -> impl Strategy<Value = Print> {
    (perhaps(1.75), perhaps(0.45), perhaps(0.2), perhaps(20.0), perhaps(80.0)).prop_map(
        |(filament, line_width, layer_height, print_speed, travel_speed)| {
            let mut print = Print::default();
            print.filament = filament;
            print.line_width = line_width;
            print.layer_height = layer_height;
            print.print_speed = print_speed;
            print.travel_speed = travel_speed;
            print
        },
    )
}

fn machines() -> impl Strategy<Value = Machine> {
    (perhaps(0.1), perhaps(0.1), perhaps(100.0), perhaps(400.0)).prop_map(
        |(z_speed, z_speed_step, moves_per_second, z_steps_per_mm)| {
            let mut machine = Machine::default();
            machine.z_speed = z_speed;
            machine.z_speed_step = z_speed_step;
            machine.moves_per_second = moves_per_second;
            machine.z_steps_per_mm = z_steps_per_mm;
            machine
        },
    )
}

const TOOLPATH: &[u8] =
    b"G28\nG1 X10 Y10 Z0.2 F1200\nG1 X140 Y20 E5\nG1 X20 Y130 E9\nG2 X60 Y130 I20 J0 E11\nG1 Z0.9\nG1 X10 Y10 E16\n\
G1 X140 Z3 E20\nG92 Z1 E0\nG1 X5 E3\nG91\nG1 Z0.2 X30 E2\n";

fn look(map: &HeightMap, options: GapOptions) -> Option<GapReport> {
    let mut gaps = Gaps::new(map, options);
    gaps.push(TOOLPATH).ok()?;
    gaps.finish().ok()
}

fn follow_options() -> impl Strategy<Value = Options> {
    let taper = prop_oneof![
        Just(Taper::Auto),
        Just(Taper::None),
        (mostly(0.5), mostly(5.0)).prop_map(|(from, to)| Taper::Range { from, to })
    ];
    (taper, mostly(0.005), mostly(0.0), mostly(0.0), any::<bool>()).prop_map(|(taper, tolerance, floor, shift, all)| {
        let mut options = Options::default();
        (options.taper, options.tolerance, options.floor, options.shift) = (taper, tolerance, floor, shift);
        (options.allow.large_heights, options.allow.unknown_motion) = (all, all);
        options
    })
}

fn followed() -> impl Strategy<Value = Followed> {
    (proptest::option::of(pair(0.5, 5.0)), mostly(0.0)).prop_map(|(taper, shift)| Followed { taper, shift })
}

/// All that is made of a map.
fn all_of(card: &Card, map: &HeightMap) -> Result<(), TestCaseError> {
    let [x0, y0, x1, y1] = map.measured();
    for [x, y] in [[x0, y0], [x1, y1], [f64::midpoint(x0, x1), f64::midpoint(y0, y1)], [f64::NAN, f64::INFINITY]] {
        finite("a height", &(map.height(x, y), map.slope(x, y)))?;
    }
    finite("the map", &(map.readings(), map.smoothed(), map.extremes(), map.shift()))?;
    finite("the shape", &describe(map))?;
    finite("isolines", &isolines(card, map))?;
    clean("the plan", &plan(card, map, &PlanOptions::default()))?;
    if let Ok((bytes, summary)) = rewrite(TOOLPATH, map, Options::default()) {
        finite("a summary", &summary)?;
        clean("a file", &String::from_utf8_lossy(&bytes))?;
    }
    Ok(())
}

proptest! {
    #![proptest_config(config(250))]

    #[test]
    fn heights_and_slopes_at_any_place(kind in kinds(), at in proptest::collection::vec((odd(), odd()), 20)) {
        let map = bent(kind);
        for (x, y) in at {
            finite("a height", &(map.height(x, y), map.slope(x, y)))?;
        }
    }

    #[test]
    fn rewriting_by_any_options(kind in kinds(), options in follow_options()) {
        if let Ok((bytes, summary)) = rewrite(TOOLPATH, &bent(kind), options) {
            finite("a summary", &summary)?;
            clean("a file", &String::from_utf8_lossy(&bytes))?;
        }
    }

    #[test]
    fn gaps_by_any_options(
        kind in kinds(),
        window in (mostly(0.7), mostly(1.3)),
        followed in proptest::option::of(followed()),
        mut layers in proptest::collection::vec(odd(), 0..5),
        ascending in any::<bool>(),
        keep in prop_oneof![Just(Keep::Nothing), Just(Keep::Lowest), odd().prop_map(Keep::At)],
        limits in (odd(), odd()),
        machine in machines(),
    ) {
        if ascending {
            layers.sort_by(f64::total_cmp);
        }
        let mut options = GapOptions::default();
        options.window = Window { near: window.0, far: window.1 };
        (options.followed, options.layers, options.keep) = (followed, layers, keep);
        let Some(report) = look(&bent(kind), options.clone()) else { return Ok(()) };
        finite("a report", &report)?;
        let mut limit = Limits::default();
        (limit.window, limit.outside, limit.unmeasured) = (options.window, limits.0, limits.1);
        finite("a judgement", &judge(&report, &limit, &machine))?;
    }

    #[test]
    fn proofs_by_any_options(kind in kinds(), followed in followed(), tolerance in mostly(0.005), floor in mostly(0.0), flow in any::<bool>()) {
        let map = bent(kind);
        let (bytes, _) = rewrite(TOOLPATH, &map, Options::default()).expect("a file");
        let mut options = ProofOptions::default();
        (options.followed, options.tolerance, options.floor, options.flow) = (followed, tolerance, floor, flow);
        if let Ok(verdict) = prove(TOOLPATH, &bytes, &map, options) {
            finite("a verdict", &verdict)?;
            // What is no tolerance proves nothing.
            prop_assert!(tolerance.is_finite() && tolerance >= 0.0 || !verdict.is_proven(), "{tolerance}");
        }
    }
}

/// Found by the property below: the weight of the one reading with a spread of its own was 0, and its place NaN.
#[test]
fn a_spread_whose_square_is_nothing() {
    let mut card = card_at(4, [0.0, 0.0], 200.0, |x, _| 0.001 * x);
    card.readings.points[5].spread = Some(0.02);
    for spread in [f64::MIN_POSITIVE, 1e-200, 1e-7] {
        card.readings.spread = Some(spread);
        assert!(HeightMap::fit(&card, SurfaceKind::ThinPlate).is_err());
        let error = Card::parse(&card.to_toml()).expect_err("no spread");
        assert!(error.place().is_some() && error.message().contains("`spread`"), "{error}");
    }
    card.readings.spread = Some(1e-6);
    let map = HeightMap::fit(&Card::parse(&card.to_toml()).expect("a card"), SurfaceKind::ThinPlate).expect("a map");
    assert!(map.height(66.0, 66.0).is_finite());
}

proptest! {
    #![proptest_config(config(250))]

    #[test]
    fn cards_of_any_numbers(card in cards(), kind in kinds(), hold in any::<bool>(), twist in any::<bool>(), stop in perhaps(0.05), zone in any::<bool>()) {
        let _ = (card.to_toml(), card.digest(), serde_json::to_string(&card));
        let _ = (evengap::plan::card_text(&card), evengap::draw::reading_sheet(&card, evengap::draw::Paper::A4));
        let Ok(map) = HeightMap::fit(&card, kind) else { return Ok(()) };
        all_of(&card, &map)?;
        let mut options = tram::Options::default();
        options.fit = if zone { Fit::SmallestRange } else { Fit::LeastSquares };
        options.hold = hold.then(|| "b".to_owned());
        (options.twist, options.stop_below_mm) = (twist, stop);
        if let Ok(made) = tram(&map, &options) {
            // All but the predicted map, which shows its inside and the card's own words.
            finite("turns", &(&made.screws, &made.travel, &made.twist, &made.verdict, &made.readings, made.lowest, made.highest))?;
            finite("ranges", &[made.range_before_mm, made.range_after_mm, made.range_after_sixteenths_mm, made.level_mm])?;
            finite("spreads", &[made.spread_mm, made.told_mm])?;
            finite("a prediction", &(&made.predicted().readings.points, made.predicted_map().extremes()))?;
            if let Ok(change) = difference(&map, made.predicted_map()) {
                finite("a difference", &change)?;
            }
        }
    }

    #[test]
    fn trials_of_any_numbers(
        card in prop_oneof![1 => cards(), 1 => Just(card_at(4, [0.0, 0.0], 200.0, |x, _| 0.001 * x))],
        print in prints(), patch in mostly(20.0), at in proptest::option::of(proptest::collection::vec(pair(60.0, 70.0), 1..3)),
        heat in (perhaps(60.0), perhaps(200.0)), flat in any::<bool>(),
        measured in proptest::collection::vec((mostly(60.0), mostly(70.0), mostly(0.2), perhaps(0.015)), 1..4), layer in mostly(0.2),
    ) {
        let mut options = TrialOptions::default();
        (options.patch, options.at, options.print, options.flat) = (patch, at, print, flat);
        (options.bed_celsius, options.nozzle_celsius) = heat;
        if let Ok(patches) = patches(&card, &options) {
            finite("patches", &patches)?;
        }
        let Ok(map) = HeightMap::fit(&card, SurfaceKind::ThinPlate) else { return Ok(()) };
        if let Ok(made) = trial(&card, &map, &options) {
            finite("a trial", &made)?;
        }
        let measured: Vec<Measured> = measured
            .into_iter()
            .map(|(x, y, thickness, spread)| Measured { x, y, thickness, spread, line: None, column: None })
            .collect();
        let nozzle = if flat { Nozzle::Flat(layer) } else { Nozzle::Followed(layer) };
        if let Ok(made) = correct(&card, SurfaceKind::ThinPlate, &measured, nozzle) {
            finite("a corrected card's readings", &made.readings.points)?;
        }
    }

    #[test]
    fn plans_of_any_numbers(
        card in cards(), margin in mostly(10.0), clearance in mostly(5.0), given in proptest::collection::vec(pair(50.0, 60.0), 0..6),
        heights in (mostly(10.0), perhaps(1.0), mostly(0.0), mostly(5.0)), speeds in (perhaps(80.0), mostly(10.0), mostly(5.0)),
        ends in (proptest::option::of(pair(0.0, 0.0)), proptest::option::of(pair(9.0, 200.0))), clock in any::<bool>(),
    ) {
        let room = Room { margin, clearance };
        for layout in [Layout::Grid { columns: 4, rows: 3 }, Layout::Given(&given)] {
            if let Ok(made) = planned(&card, layout, room) {
                finite("planned points", &(&made.card.readings.unread, &made.left_out.len(), made.travel))?;
            }
        }
        let places: Vec<[f64; 3]> = given.iter().map(|[x, y]| [*x, *y, heights.2]).collect();
        for places in [None, Some(&places[..])] {
            if let Ok(made) = next(&card, places, 4, room) {
                finite("points to read next", &made)?;
            }
        }
        let stops: Vec<Stop> = card.readings.unread.iter().map(Stop::from).collect();
        let mut options = VisitOptions::default();
        (options.safe_height, options.dial_height, options.settle) = (heights.0, heights.1, heights.2);
        options.wait = if clock { Wait::Seconds(heights.3) } else { Wait::Person };
        (options.travel_speed, options.up_speed, options.down_speed) = speeds;
        (options.home, options.park) = ends;
        if let Ok(program) = visit(&card, &stops, &options) {
            clean("a program", &program)?;
        }
    }
}
