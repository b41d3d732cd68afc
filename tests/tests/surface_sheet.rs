//! The prepared map against the definition: [`Sheet::height`] within its certified error of [`HeightMap::height`], and every bound of
//! slope, bend and extremes over the definition itself. Places are drawn at random, on and beside readings and edges too.

mod surface_data;

use evengap::surface::sheet::Sheet;
use evengap::{Card, HeightMap, SurfaceKind};
use proptest::prelude::*;
use std::fmt::Write as _;
use surface_data::{number, rows};

/// mm: what is promised, and rounding.
const MOST: f64 = 1.1e-5;

/// A generator for places: the same on every machine.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from((self.0 >> 32) as u32) / f64::from(u32::MAX)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

fn map(readings: &[[f64; 3]], more: &str, kind: SurfaceKind) -> HeightMap {
    let mut text = format!(
        "[bed]\nx = [-2000, 2000]\ny = [-2000, 2000]\n[readings]\nmethod = 'drag'\nsheet = 0\n{more}\npoints = [\n"
    );
    for [x, y, h] in readings {
        writeln!(text, "[{x:?}, {y:?}, {h:?}],").expect("text");
    }
    HeightMap::fit(&Card::parse(&(text + "]")).expect("a sound card"), kind).expect("fits")
}

/// A bent bed read at `n` places by a hand that errs by `noise`.
fn scattered(n: usize, noise: f64, random: &mut Random) -> Vec<[f64; 3]> {
    (0..n)
        .map(|_| {
            let (x, y) = (random.between(5.0, 230.0), random.between(5.0, 230.0));
            let (u, v) = (x / 117.5 - 1.0, y / 117.5 - 1.0);
            [x, y, 0.1 - 0.3 * u * u + 0.1 * u * v + noise * random.between(-1.0, 1.0)]
        })
        .collect()
}

fn grid(side: u32, noise: f64, random: &mut Random) -> Vec<[f64; 3]> {
    (0..side * side)
        .map(|k| {
            let [u, v] = [k % side, k / side].map(|i| f64::from(i) / f64::from(side - 1) * 2.0 - 1.0);
            [117.5 + 107.5 * u, 117.5 + 107.5 * v, 0.3 * (1.0 - u * u) + noise * random.between(-1.0, 1.0)]
        })
        .collect()
}

/// Places: anywhere, outside, near readings, on the edges.
fn places(map: &HeightMap, n: usize, random: &mut Random) -> Vec<[f64; 2]> {
    let [x0, y0, x1, y1] = map.measured();
    let readings: Vec<[f64; 2]> = map.readings().iter().map(|r| [r.x, r.y]).collect();
    (0..n)
        .map(|k| {
            let p = [random.between(x0, x1), random.between(y0, y1)];
            let r = readings[k * 7 % readings.len()];
            let near = 10_f64.powf(random.between(-9.0, 1.0));
            match k % 8 {
                0 => [p[0] + random.between(-50.0, 50.0), p[1] + random.between(-50.0, 50.0)],
                1 => r,
                2 | 3 => [r[0] + near * random.between(-1.0, 1.0), r[1] + near * random.between(-1.0, 1.0)],
                4 => [[x0, x1][k / 8 % 2], p[1]],
                _ => p,
            }
        })
        .collect()
}

/// The largest difference; it must be within what is certified.
fn worst(map: &HeightMap, n: usize, random: &mut Random) -> f64 {
    let sheet = Sheet::of(map);
    let mut worst = 0.0_f64;
    for p in places(map, n, random) {
        let off = (sheet.height(p[0], p[1]) - map.height(p[0], p[1])).abs();
        assert!(off <= sheet.error(), "{off:e} over {:e} at {p:?}", sheet.error());
        worst = worst.max(off);
    }
    worst
}

#[test]
fn no_place_is_off_by_more_than_is_certified() {
    let mut random = Random(1);
    for side in [3, 4, 5, 6, 7, 10, 15, 20] {
        for (noise, spread) in [(0.0, ""), (0.02, ""), (0.02, "spread = 0.02"), (0.02, "right_at = [70, 90]")] {
            let map = map(&grid(side, noise, &mut random), spread, SurfaceKind::ThinPlate);
            let (off, error) = (worst(&map, 4000, &mut random), Sheet::of(&map).error());
            println!("{} readings, noise {noise} {spread}: {off:.1e} of {error:.1e} mm", side * side);
            assert!(error <= MOST, "{error:e}");
        }
    }
    for n in [9, 25, 60, 150, 400, 900] {
        let map = map(&scattered(n, 0.01, &mut random), "", SurfaceKind::ThinPlate);
        let (off, error) = (worst(&map, 4000, &mut random), Sheet::of(&map).error());
        println!("{n} readings anywhere: {off:.1e} of {error:.1e} mm");
        assert!(error <= MOST, "{error:e}");
    }
    for side in [2, 5, 9] {
        let map = map(&grid(side, 0.05, &mut random), "right_at = [70, 90]", SurfaceKind::Bilinear);
        worst(&map, 4000, &mut random);
        assert!(Sheet::of(&map).error() < 1e-14);
    }
}

/// Franke's sets of places with his principal function (NPS-53-79-003), on a bed of 200 mm and half a millimetre high.
#[test]
fn franke_sets_are_within_what_is_certified() {
    let mut ran = 0;
    for file in ["franke_ds1_100pts.csv", "franke_ds2_33pts.csv", "franke_ds3_25pts.csv"] {
        let readings: Vec<[f64; 3]> = rows(file)
            .iter()
            .map(|row| {
                let (x, y) = (number(&row[0]), number(&row[1]));
                let square = |a: f64, b: f64| (9.0 * x - a).powi(2) / b + (9.0 * y - a).powi(2) / b;
                let f = 0.75 * (-square(2.0, 4.0)).exp()
                    + 0.75 * (-(9.0 * x + 1.0).powi(2) / 49.0 - (9.0 * y + 1.0) / 10.0).exp()
                    + 0.5 * (-(9.0 * x - 7.0).powi(2) / 4.0 - (9.0 * y - 3.0).powi(2) / 4.0).exp()
                    - 0.2 * (-(9.0 * x - 4.0).powi(2) - (9.0 * y - 7.0).powi(2)).exp();
                [200.0 * x, 200.0 * y, 0.4 * f]
            })
            .collect();
        let map = map(&readings, "", SurfaceKind::ThinPlate);
        let (off, error) = (worst(&map, 20_000, &mut Random(5)), Sheet::of(&map).error());
        println!("{file}: {off:.1e} of {error:.1e} mm");
        assert!(error <= MOST);
        ran += readings.len();
    }
    assert_eq!(ran, 100 + 33 + 25);
}

/// Readings a hair apart that disagree: the polynomials give up where they must, and what is certified still holds.
#[test]
fn surfaces_that_no_bed_has_are_within_what_is_certified() {
    let mut random = Random(3);
    for (apart, step) in [(0.01, 0.05), (0.1, 0.1), (1.0, 0.4), (5.0, 1.5)] {
        let mut readings = scattered(20, 0.01, &mut random);
        for k in 0..6 {
            let [x, y, h] = readings[k];
            readings.push([x + apart, y + 0.3 * apart, h + step]);
        }
        let map = map(&readings, "", SurfaceKind::ThinPlate);
        let (off, error) = (worst(&map, 4000, &mut random), Sheet::of(&map).error());
        println!("{apart} mm apart: {off:.1e} of {error:.1e} mm");
        // Rounding of kernels that nearly cancel comes on top.
        assert!(error <= 1e-5 + 1e-4 * (0.01_f64 / apart).powi(2), "{error:e}");
    }
    // Long and narrow, tiny, huge, far from the origin.
    for (size, at) in [([200.0, 3.0], 0.0), ([2.0, 150.0], 700.0), ([0.5, 0.5], 900.0), ([900.0, 900.0], -800.0)] {
        let readings: Vec<[f64; 3]> = (0..30)
            .map(|_| [at + size[0] * random.next(), -at + size[1] * random.next(), 0.2 * random.next()])
            .collect();
        worst(&map(&readings, "spread = 0.05", SurfaceKind::ThinPlate), 4000, &mut random);
    }
}

fn sheets() -> impl Strategy<Value = HeightMap> {
    (any::<u64>(), 4_usize..60, 0.0..0.05_f64, any::<bool>(), any::<bool>()).prop_map(
        |(seed, n, noise, smooth, level)| {
            let mut random = Random(seed);
            if level {
                let side = 2 + u32::try_from(n % 6).expect("small");
                return map(&grid(side, noise, &mut random), "", SurfaceKind::Bilinear);
            }
            map(&scattered(n, noise, &mut random), if smooth { "spread = 0.02" } else { "" }, SurfaceKind::ThinPlate)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    /// The definition along straight lines and arcs: its chord, its rise, its extremes.
    #[test]
    fn bounds_hold_of_the_definition(map in sheets(), seed in any::<u64>()) {
        let sheet = Sheet::of(&map);
        let [x0, y0, x1, y1] = map.measured();
        let random = &mut Random(seed);
        let mut judged = 0;
        for (k, start) in places(&map, 400, random).into_iter().enumerate() {
            let h = map.height(start[0], start[1]);
            prop_assert!((sheet.height(start[0], start[1]) - h).abs() <= sheet.error());
            prop_assert!(h.abs() <= sheet.largest() + 1e-12);
            prop_assert!(h <= sheet.highest().height + 1.2e-5 && h >= sheet.lowest().height - 1.2e-5);

            let (d, angle) = (10_f64.powf(random.between(-3.0, 1.8)), random.between(0.0, 6.3));
            let turn = if k % 2 == 0 { 0.0 } else { random.between(-3.1, 3.1) };
            // An arc of length d that turns by `turn`, its middle at `start`.
            let at = |t: f64| {
                let s = (t - 0.5) * d;
                let [along, across] = if turn == 0.0 { [s, 0.0] } else {
                    let r = d / turn;
                    [r * (s / r).sin(), r * (1.0 - (s / r).cos())]
                };
                let (c, s) = (angle.cos(), angle.sin());
                [start[0] + along * c - across * s, start[1] + along * s + across * c]
            };
            let path: Vec<[f64; 2]> = (0..=16).map(|i| at(f64::from(i) / 16.0)).collect();
            let (low, high) = path.iter().fold((start, start), |(l, h), p| {
                ([l[0].min(p[0]), l[1].min(p[1])], [h[0].max(p[0]), h[1].max(p[1])])
            });
            // The arc may reach beyond what was looked at by as much as a sixteenth of it bends.
            let out = d * turn.abs() / 2048.0;
            let (low, high) = ([low[0] - out, low[1] - out], [high[0] + out, high[1] + out]);
            if low[0] < x0 || low[1] < y0 || high[0] > x1 || high[1] > y1 {
                continue;
            }
            let crosses = sheet.breaks().iter().enumerate().any(|(n, lines)| lines.iter().any(|v| low[n] < *v && *v < high[n]));
            let f: Vec<f64> = path.iter().map(|p| map.height(p[0], p[1])).collect();
            prop_assert!((f[16] - f[0]).abs() <= sheet.slope_bound() * d + 1e-12);
            if crosses {
                continue;
            }
            let curved = sheet.slope_bound() * turn.abs() / d;
            for bend in [sheet.bend(d), sheet.around(low, high).over(d)] {
                for (i, v) in (0_u8..).zip(&f) {
                    let off = (v - f[0] - (f[16] - f[0]) * f64::from(i) / 16.0).abs();
                    prop_assert!(off <= (bend + curved) * d * d / 8.0 + 1e-12, "{off:e} over {d} mm at {start:?}");
                }
            }
            prop_assert!(sheet.around(low, high).over(d) <= sheet.bend(d));
            judged += 1;
        }
        prop_assert!(judged > 20, "{judged}");
    }
}

/// What a bound is worth: over a bed that is bent evenly the local one is near to the bend itself.
#[test]
fn bounds_are_not_far_from_what_they_bound() {
    let map = map(&grid(5, 0.0, &mut Random(1)), "spread = 0.02", SurfaceKind::ThinPlate);
    let sheet = Sheet::of(&map);
    // 0.3 (1 - u^2), u = (x - 117.5) / 107.5, has the second derivative 0.6 / 107.5^2.
    let bend = 0.6 / (107.5 * 107.5);
    let local = sheet.around([85.0, 85.0], [90.0, 90.0]).over(1.0);
    println!("bend {bend:.2e}, bound there {local:.2e}, anywhere {:.2e}", sheet.bend(1.0));
    assert!(local < 2.0 * bend && sheet.bend(1.0) < 6.0 * bend);
    assert!((sheet.highest().height - sheet.lowest().height - 0.3).abs() < 0.03);
}

/// Numbers of any kind give a height.
#[test]
fn any_place_has_a_height() {
    let maps = [SurfaceKind::ThinPlate, SurfaceKind::Bilinear].map(|kind| map(&grid(4, 0.1, &mut Random(1)), "", kind));
    for map in maps {
        let sheet = Sheet::of(&map);
        for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, -0.0, 1e300, 117.0, 225.0] {
            for y in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MIN, 0.0, -1e300, 31.0, 10.0] {
                let h = sheet.height(x, y);
                assert!(h.is_finite() && h.abs() <= sheet.largest());
                if !x.is_nan() && !y.is_nan() {
                    assert!((h - map.height(x, y)).abs() <= sheet.error());
                }
                assert!(sheet.around([x, y], [x, y]).over(1.0) <= sheet.bend(1.0));
            }
        }
    }
}
