//! What the shape says of beds that were made up for the purpose.

use evengap::{Card, HeightMap, SurfaceKind, shape};
use std::fmt::Write as _;

/// Numbers that look random and are the same on every machine (Knuth's MMIX linear congruential generator).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).expect("32 bits")) / 4_294_967_296.0
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
    /// Near enough normal: the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// A plausible bed that leans and has a twist, bows along x and y, a corner that hangs, and a wave, mm.
fn bed(numbers: &mut Numbers) -> impl Fn(f64, f64) -> f64 + use<> {
    let t = [0.2, 0.2, 0.1, 0.2, 0.2, 0.05, 0.03].map(|size| numbers.between(-size, size));
    let phase = numbers.between(0.0, 6.0);
    move |u, v| {
        let corner = (0.5 * (1.0 + u) * 0.5 * (1.0 + v)).powi(2);
        t[0] * u + t[1] * v + t[2] * u * v - t[3] * u * u - t[4] * v * v
            + t[5] * corner
            + t[6] * (2.5 * u + phase).sin()
    }
}

/// A bed read on a grid with a spread of 0.02 mm, to two decimals as one reads by hand, one reading `wrong` mm off where that is
/// given. Returns the readings that stand out and the one that is wrong.
fn judged(side: u32, wrong: Option<f64>, numbers: &mut Numbers) -> (Vec<usize>, usize) {
    let f = bed(numbers);
    let n = side * side;
    let pick = numbers.between(0.0, f64::from(n));
    let at = (0..n).position(|k| pick < f64::from(k + 1)).expect("one of them");
    let mut text =
        String::from("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [\n");
    for k in 0..n {
        let across = |i: u32| f64::from(i) * 2.0 / f64::from(side - 1) - 1.0;
        let (u, v) = (across(k % side), across(k / side));
        let mut value = 0.1 + f(u, v) + 0.02 * numbers.normal();
        if at == usize::try_from(k).expect("small") {
            value += wrong.unwrap_or(0.0);
        }
        writeln!(text, "[{:.1}, {:.1}, {value:.2}],", 117.5 + 100.0 * u, 117.5 + 100.0 * v).expect("text");
    }
    let map = HeightMap::fit(&Card::parse(&(text + "]")).expect("card"), SurfaceKind::ThinPlate).expect("fits");
    (shape::describe(&map).outliers.iter().map(|o| o.index).collect(), at)
}

/// False alarms are rare on bent beds, and a slip of half a millimetre is found where there are sixteen readings or more.
#[test]
fn mistyped_readings_are_found_on_bent_beds() {
    const RUNS: usize = 60;
    for (side, least) in [(3, 15), (4, 57), (5, 59), (7, 59)] {
        let mut numbers = Numbers(u64::from(side));
        let alarms = (0..RUNS).filter(|_| !judged(side, None, &mut numbers).0.is_empty()).count();
        assert!(alarms <= 1, "{alarms} false alarms in {RUNS} with {side} x {side} readings");
        let mut hits = 0;
        for _ in 0..RUNS {
            let (found, at) = judged(side, Some(0.45), &mut numbers);
            hits += usize::from(found == [at]);
        }
        assert!(hits >= least, "{hits} found in {RUNS} with {side} x {side} readings");
    }
}

fn fit(method: &str, points: &[[f64; 3]]) -> HeightMap {
    let mut text = format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\n{method}\npoints = [\n");
    for [x, y, value] in points {
        writeln!(text, "[{x:?}, {y:?}, {value:?}],").expect("text");
    }
    HeightMap::fit(&Card::parse(&(text + "]")).expect("card"), SurfaceKind::ThinPlate).expect("fits")
}

/// A grid of side x side over 30..205 with heights f(u, v).
fn grid(side: u32, f: impl Fn(f64, f64) -> f64) -> Vec<[f64; 3]> {
    let across = |i: u32| f64::from(i) * 2.0 / f64::from(side - 1) - 1.0;
    (0..side * side)
        .map(|k| (across(k % side), across(k / side)))
        .map(|(u, v)| [117.5 + 87.5 * u, 117.5 + 87.5 * v, f(u, v)])
        .collect()
}

/// A slip on the card is told of in the card's own terms: its line, what it says, what its neighbours say.
#[test]
fn a_slip_is_told_in_the_cards_terms() {
    for (method, card_value) in [
        ("method = 'drag'\nsheet = 0.1", Box::new(|h: f64| h + 0.1) as Box<dyn Fn(f64) -> f64>),
        ("method = 'gauge'\nparked = 0.5", Box::new(|h: f64| 0.5 - h)),
        ("method = 'dial'\noffset = [0, 0]\nright_at = [30, 30]", Box::new(|h: f64| h + 3.0)),
    ] {
        let mut points = grid(4, |u, v| card_value(0.05 - 0.1 * u * u - 0.05 * v * v + 0.02 * u));
        let right = points[6][2];
        points[6][2] += 0.45;
        let map = fit(method, &points);
        let outliers = shape::describe(&map).outliers;
        assert_eq!(outliers.len(), 1, "{method}");
        let o = &outliers[0];
        assert!(o.to_string().starts_with(&format!("line {}: ", o.line.expect("from text"))), "{o}");
        // The list opens on line 8, or 9 for the dial: one line for each key before it.
        let first = u64::try_from(method.lines().count()).expect("small") + 6;
        assert_eq!((o.index, o.line, o.column), (6, Some(first + 6), Some(1)));
        assert!((o.value - right - 0.45).abs() < 1e-12);
        assert!((o.expected_value - right).abs() < 0.03, "{method}: {} and not {right}", o.expected_value);
    }
}

#[test]
fn tilt_twist_and_bow_have_their_signs_and_sizes() {
    let method = "method = 'drag'\nsheet = 0";
    let map = fit(method, &grid(5, |u, v| 0.2 + 0.07 * u - 0.035 * v + 0.04 * u * v - 0.10 * u * u + 0.06 * v * v));
    let s = shape::describe(&map);
    // 0.07 over 87.5 mm.
    assert!((s.tilt.slope[0] - 0.0008).abs() < 1e-15 && (s.tilt.slope[1] + 0.0004).abs() < 1e-15);
    assert!((s.tilt.over_width - 0.188).abs() < 1e-12 && (s.tilt.over_depth + 0.094).abs() < 1e-12);
    assert_eq!(s.tilt.rises_to, Some("front right"));
    assert!((s.bend.twist.expect("told") - 0.08).abs() < 1e-12);
    assert!((s.bend.bow_x.expect("told") - 0.10).abs() < 1e-12);
    assert!((s.bend.bow_y.expect("told") + 0.06).abs() < 1e-12);
    assert_eq!(s.bend.bow_either, None);
    assert!(s.bend.rest_rms < 1e-12 && s.bend.rest_range < 1e-12);
    assert!((s.highest.height - s.lowest.height - s.range).abs() < 1e-15);
}

#[test]
fn what_cannot_be_told_is_not_said() {
    let method = "method = 'drag'\nsheet = 0";
    let corners = [[30.0, 30.0, 0.1], [205.0, 30.0, 0.0], [30.0, 205.0, 0.0], [205.0, 205.0, 0.1]];
    let s = shape::describe(&fit(method, &corners));
    assert!((s.bend.twist.expect("told") - 0.1).abs() < 1e-12);
    assert_eq!((s.bend.bow_x, s.bend.bow_y, s.bend.bow_either), (None, None, None));
    assert_eq!(s.tilt.rises_to, None);
    // The middle read too: it is high, but along which way the plate bends cannot be told.
    let mut five = corners.to_vec();
    five.push([117.5, 117.5, 0.25]);
    let s = shape::describe(&fit(method, &five));
    assert_eq!((s.bend.bow_x, s.bend.bow_y), (None, None));
    assert!((s.bend.bow_either.expect("told") - 0.2).abs() < 1e-12);
    assert!(s.bend.rest_rms < 1e-12);
    assert!(s.outliers.is_empty());
}

/// Eight ways to rise, named as one stands before the machine.
#[test]
fn directions() {
    for (dx, dy, word) in [
        (1.0, 0.0, "right"),
        (1.0, 1.0, "back right"),
        (0.0, 1.0, "back"),
        (-1.0, 1.0, "back left"),
        (-1.0, 0.1, "left"),
        (-1.0, -0.1, "left"),
        (-1.0, -1.0, "front left"),
        (0.0, -1.0, "front"),
        (1.0, -1.0, "front right"),
    ] {
        let map = fit("method = 'drag'\nsheet = 0", &grid(3, |u, v| 0.1 * (dx * u + dy * v)));
        assert_eq!(shape::describe(&map).tilt.rises_to, Some(word));
    }
}
