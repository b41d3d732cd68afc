//! What changed between cards: known changes come back, through other points and methods; what stands out; levels; drift.
#![allow(clippy::unwrap_used, clippy::float_cmp, reason = "tests: exact places, and a failure should be loud")]

use evengap::compare::{BY_CHANCE, Level, difference, drift};
use evengap::draw::{PlanOptions, difference_plan};
use evengap::{Card, ErrorKind, HeightMap, SurfaceKind};

fn near(what: &str, got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} and not {want} (within {tolerance:e})");
}

fn grid(n: u8, low: f64, high: f64) -> Vec<[f64; 2]> {
    let along = |k: u8| low + (high - low) * f64::from(k) / f64::from(n - 1);
    (0..n).flat_map(|j| (0..n).map(move |i| [along(i), along(j)])).collect()
}

/// A map of h over a bed of 200, read at `places` with the keys given; the value is what that method would have read.
fn map(places: &[[f64; 2]], keys: &str, value: impl Fn(f64, f64) -> f64) -> HeightMap {
    let points: Vec<String> = places.iter().map(|[x, y]| format!("[{x:?}, {y:?}, {:?}]", value(*x, *y))).collect();
    let text = format!(
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\n{keys}\npoints = [{}]\n[screws]\nthread = 'M4'\nraise = 'anticlockwise'\n\
         at = {{ 'front left' = [20, 20], 'front right' = [180, 20], 'back' = [100, 180] }}\n",
        points.join(", ")
    );
    HeightMap::fit(&Card::parse(&text).unwrap(), SurfaceKind::ThinPlate).unwrap()
}

const DRAG: &str = "method = 'drag'\nsheet = 0";

fn bent(x: f64, y: f64) -> f64 {
    let (u, v) = (x / 100.0 - 1.0, y / 100.0 - 1.0);
    0.1 * u * u - 0.05 * v + 0.03 * u * v
}

/// A plane added to a bent bed, both read at the same points: the plane comes back, and nothing else. A thin-plate spline through
/// the same points keeps planes exactly.
#[test]
fn a_known_tilt_comes_back() {
    let places = grid(5, 10.0, 190.0);
    let plane = |x: f64, y: f64| 0.04 + 0.0005 * x - 0.0002 * y;
    let change = difference(&map(&places, DRAG, bent), &map(&places, DRAG, |x, y| bent(x, y) + plane(x, y))).unwrap();
    assert_eq!(change.level, Level::Absolute);
    near("over the width", change.tilt.over_width_mm, 0.1, 1e-9);
    near("over the depth", change.tilt.over_depth_mm, -0.04, 1e-9);
    assert_eq!(change.tilt.rises_to, Some("right"));
    near("mean", change.mean_mm.unwrap(), plane(100.0, 100.0), 1e-9);
    near("range", change.range_mm, plane(190.0, 10.0) - plane(10.0, 190.0), 1e-9);
    near("gap", change.gap_error_mm, plane(190.0, 10.0), 1e-9);
    assert_eq!((change.highest.place, change.lowest.place), ("front right", "back left"));
    for rest in [change.twist_mm, change.bow_x_mm, change.bow_y_mm, change.rest_range_mm] {
        near("nothing else", rest, 0.0, 1e-9);
    }
    let turns: Vec<(&str, f64, &str)> =
        change.tilt.screws.iter().map(|s| (s.name.as_str(), s.turns, s.direction.word())).collect();
    let want = [(20.0, 20.0), (180.0, 20.0), (100.0, 180.0)].map(|(x, y)| plane(x, y) / 0.7);
    for ((_, turns, way), want) in turns.iter().zip(want) {
        near("turns", *turns, want, 1e-9);
        assert_eq!(*way, "anticlockwise");
    }
}

/// 0.3 in the middle bowed both ways: what a bow of the quadratic kind is, by the definition.
#[test]
fn a_known_bow_and_twist_come_back() {
    // Through so many readings the spline is the surface to within 1e-3 of the change.
    let places = grid(15, 0.0, 200.0);
    let flat = map(&places, DRAG, |_, _| 0.0);
    let bow = |x: f64, y: f64| {
        let (u, v) = (x / 100.0 - 1.0, y / 100.0 - 1.0);
        0.1 - 0.1 * u * u - 0.06 * v * v + 0.04 * u * v
    };
    let change = difference(&flat, &map(&places, DRAG, bow)).unwrap();
    near("bow x", change.bow_x_mm, 0.1, 3e-4);
    near("bow y", change.bow_y_mm, 0.06, 3e-4);
    near("twist", change.twist_mm, 0.08, 3e-4);
    near("tilt", change.tilt.over_width_mm, 0.0, 1e-6);
    assert_eq!(change.highest.place, "middle");
}

/// Other points and another method, the same plane bed: no change; moved by a known plane: that plane, over what both have read.
#[test]
fn other_points_and_methods_are_compared_through_the_maps() {
    let plane = |x: f64, y: f64| 0.001 * x - 0.0004 * y;
    let drag = map(&grid(4, 30.0, 190.0), DRAG, plane);
    let gauge = map(&grid(3, 10.0, 150.0), "method = 'gauge'\nparked = 0.3", |x, y| 0.3 - plane(x, y) - 0.05);
    let change = difference(&drag, &gauge).unwrap();
    assert_eq!(change.over, [30.0, 30.0, 150.0, 150.0]);
    near("mean", change.mean_mm.unwrap(), 0.05, 1e-9);
    near("range", change.range_mm, 0.0, 1e-9);
    assert!(change.points.iter().any(|p| p.through_map));
    // Readings beyond the common rectangle are not compared: nothing is known of the other bed there.
    assert!(change.points.iter().all(|p| p.x <= 150.5 && p.y >= 29.5));
    let apart = map(&grid(3, 160.0, 190.0), DRAG, plane);
    let error = difference(&map(&grid(3, 10.0, 100.0), DRAG, plane), &apart).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::Readings);
}

#[test]
fn levels_that_mean_nothing_are_taken_off() {
    let places = grid(3, 20.0, 180.0);
    let at = |place: &str| format!("{DRAG}\nright_at = {place}");
    let raised = |x, y| bent(x, y) + 0.2;
    let absolute = map(&places, DRAG, bent);
    let relative = map(&places, &at("[100, 100]"), raised);
    let shapes = difference(&absolute, &relative).unwrap();
    assert_eq!((shapes.level, shapes.mean_mm), (Level::ShapesOnly, None));
    near("same shape", shapes.range_mm, 0.0, 1e-9);
    near("nothing left", shapes.gap_error_mm, 0.0, 1e-9);
    let same = difference(&map(&places, &at("[100, 100.2]"), bent), &relative).unwrap();
    assert_eq!(same.level, Level::SamePlace);
    let other = difference(&map(&places, &at("[20, 20]"), bent), &relative).unwrap();
    assert_eq!(other.level, Level::ShapesOnly);
}

/// One corner up by 0.2 of 25 readings with a spread of 0.02 stands out, alone; 0.03 does not. The standard deviation of a change of two is 0.02 sqrt 2.
#[test]
fn what_is_more_than_the_spreads_stands_out() {
    let places = grid(5, 20.0, 180.0);
    let spread = "method = 'drag'\nsheet = 0\nspread = 0.02";
    let before = map(&places, spread, bent);
    let up = |by: f64| move |x: f64, y: f64| bent(x, y) + if x > 170.0 && y > 170.0 { by } else { 0.0 };
    let change = difference(&before, &map(&places, spread, up(0.2))).unwrap();
    let out: Vec<[f64; 2]> = change.points.iter().filter(|p| p.stands_out).map(|p| [p.x, p.y]).collect();
    assert_eq!(out, [[180.0, 180.0]]);
    assert_eq!(change.stand_out, 1);
    near("deviation", change.points[24].spread_mm, 0.02 * 2.0_f64.sqrt(), 1e-12);
    assert_eq!(difference(&before, &map(&places, spread, up(0.03))).unwrap().stand_out, 0);
    // 25 looks: each may pass on 1 - 0.95^(1/25) of occasions, two-sided, which is 3.08 deviations.
    near("limit", change.limit_deviations, 3.0826, 2e-3);
    // A reading with a spread of its own counts with that.
    let text = before.card().to_toml().replace("spread = 0.02", "spread = 0.5");
    let unsure = HeightMap::fit(&Card::parse(&text).unwrap(), SurfaceKind::ThinPlate).unwrap();
    assert_eq!(difference(&unsure, &map(&places, spread, up(0.2))).unwrap().stand_out, 0);
}

/// Where nothing changed, something stands out on about one comparison in twenty: a thousand pairs of cards of one bed, read with their spread.
#[test]
fn chance_alone_stands_out_as_often_as_promised() {
    let places = grid(3, 20.0, 180.0);
    let mut state = 12345_u64;
    // Twelve uniform numbers less 6: nearly a normal one (its fourth moment is 0.1 short), enough for 2.8 deviations.
    let mut noise = move || {
        (0..12)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                f64::from(u32::try_from(state >> 33).unwrap()) / f64::from(1_u32 << 31)
            })
            .sum::<f64>()
            - 6.0
    };
    let spread = "method = 'drag'\nsheet = 0\nspread = 0.02";
    let mut read = || {
        let values: Vec<f64> = places.iter().map(|[x, y]| bent(*x, *y) + 0.02 * noise()).collect();
        map(&places, spread, |x, y| values[places.iter().position(|p| *p == [x, y]).unwrap()])
    };
    let pairs = 1000;
    let out = (0..pairs).filter(|_| difference(&read(), &read()).unwrap().stand_out > 0).count();
    // 50 expected; four standard deviations of a count of 1000 with chance 0.05 are 27.6.
    let expected = BY_CHANCE * f64::from(pairs);
    assert!((f64::from(u32::try_from(out).unwrap()) - expected).abs() < 27.6, "{out}");
}

#[test]
fn cards_in_time_order_drift() {
    let places = grid(3, 20.0, 180.0);
    let at = |day: f64| map(&places, DRAG, move |x, y| bent(x, y) + day * 0.0001 * y);
    let later = [at(1.0), at(2.0), at(5.0)];
    let found = drift(&at(0.0), &later.iter().collect::<Vec<_>>()).unwrap();
    assert_eq!((found.points.len(), found.level), (9, Level::Absolute));
    for p in &found.points {
        assert_eq!(p.change_mm.len(), 4);
        for (got, day) in p.change_mm.iter().zip([0.0, 1.0, 2.0, 5.0]) {
            near("drift", *got, day * 0.0001 * p.y, 1e-9);
        }
    }
    assert_eq!(found.points[4].place, "middle");
}

#[test]
fn predictions_methods_and_temperatures_are_told() {
    let places = grid(3, 20.0, 180.0);
    let cold = map(&places, "method = 'drag'\nsheet = 0\nbed_celsius = 20", bent);
    let hot = map(&places, "method = 'drag'\nsheet = 0\nbed_celsius = 60\npredicted = true", bent);
    let change = difference(&cold, &hot).unwrap();
    assert_eq!(change.bed_celsius, [Some(20.0), Some(60.0)]);
    assert_eq!(change.predicted, [false, true]);
    let svg = difference_plan([&cold, &hot], &change, ["cold.toml", "hot.toml"], &PlanOptions::default());
    assert!(svg.contains("hot.toml minus cold.toml") && svg.contains("What changed"), "{svg}");
}
