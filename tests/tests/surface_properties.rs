//! What must hold of any height map, on made-up readings.

use evengap::card::{Bed, Card, Method, Reading, Readings};
use evengap::surface::thin_plate::{Smoothing, ThinPlate};
use evengap::{ErrorKind, HeightMap, SurfaceKind};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

fn card(points: &[[f64; 3]], spread: Option<f64>, right_at: Option<[f64; 2]>) -> Card {
    let mut readings = Readings::new(Method::Drag);
    readings.sheet = Some(0.0);
    readings.spread = spread;
    readings.right_at = right_at;
    readings.points = points.iter().map(|p| Reading::new(p[0], p[1], p[2])).collect();
    Card::new(Bed::new([0.0, 235.0], [0.0, 235.0]), readings)
}

/// Places that are some mm apart and not on one line: a jittered grid, thinned.
fn places() -> impl Strategy<Value = Vec<[f64; 2]>> {
    (2_u32..6, 3_u32..6, any::<u32>(), prop::collection::vec((-8.0..8.0, -8.0..8.0), 30)).prop_map(
        |(columns, rows, mask, jitter)| {
            let at = |i: u32, n: u32| 20.0 + 195.0 * f64::from(i) / f64::from(n - 1);
            (0..columns * rows)
                .filter(|k| mask >> k & 1 == 1 || *k < 2 || *k >= columns * rows - 3)
                .zip(jitter)
                .map(|(k, (dx, dy))| [at(k % columns, columns) + dx, at(k / columns, rows) + dy])
                .collect()
        },
    )
}

/// The same places with heights of a printer's size.
fn readings() -> impl Strategy<Value = Vec<[f64; 3]>> {
    (places(), prop::collection::vec(-0.4..0.4, 30))
        .prop_map(|(places, heights)| places.iter().zip(heights).map(|(p, h)| [p[0], p[1], h]).collect())
}

fn anywhere() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -50.0..300.0,
        1 => prop::num::f64::ANY,
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(f64::MAX), Just(-0.0)],
    ]
}

fn split(readings: &[[f64; 3]]) -> (Vec<[f64; 2]>, Vec<f64>) {
    readings.iter().map(|r| ([r[0], r[1]], r[2])).unzip()
}

/// Some ways to smooth, from none to much.
fn smoothing() -> impl Strategy<Value = Smoothing> {
    prop_oneof![
        Just(Smoothing::None),
        (-4.0..6.0).prop_map(|e: f64| Smoothing::Lambda(10_f64.powf(e))),
        (0.001..0.3).prop_map(Smoothing::KnownNoise),
        Just(Smoothing::Gcv),
        Just(Smoothing::Reml),
    ]
}

proptest! {
    /// A plane is followed exactly, whatever the spread.
    #[test]
    fn planes_are_recovered(places in places(), a in -0.5..0.5_f64, b in -0.004..0.004_f64, c in -0.004..0.004_f64, smooth in any::<bool>()) {
        let f = |x: f64, y: f64| a + b * x + c * y;
        let points: Vec<[f64; 3]> = places.iter().map(|p| [p[0], p[1], f(p[0], p[1])]).collect();
        let map = HeightMap::fit(&card(&points, smooth.then_some(0.02), None), SurfaceKind::ThinPlate).expect("fits");
        let [x0, y0, x1, y1] = map.measured();
        for i in 0..=10 {
            for j in 0..=10 {
                // Rounding must not carry the last step over the edge.
                let (x, y) = ((x0 + (x1 - x0) * f64::from(i) / 10.0).min(x1), (y0 + (y1 - y0) * f64::from(j) / 10.0).min(y1));
                prop_assert!((map.height(x, y) - f(x, y)).abs() < 1e-12);
                let [sx, sy] = map.slope(x, y);
                prop_assert!((sx - b).abs() < 1e-13 && (sy - c).abs() < 1e-13);
            }
        }
        if smooth {
            prop_assert_eq!(map.smoothed().expect("smooths").lambda, None);
        }
    }

    /// A patch a + b x + c y + d x y is followed exactly by the bilinear surface, on any grid.
    #[test]
    fn bilinear_patches_are_recovered(
        gaps in prop::collection::vec(2.0..40.0, 2..10), rows in prop::collection::vec(2.0..40.0, 2..10),
        a in -0.5..0.5_f64, b in -0.004..0.004_f64, c in -0.004..0.004_f64, d in -2e-5..2e-5_f64, twice in any::<bool>(),
    ) {
        let lines = |gaps: &[f64]| gaps.iter().scan(0.0, |at, g| { *at += g; Some(*at) }).collect::<Vec<f64>>();
        let (xs, ys) = (lines(&gaps), lines(&rows));
        let f = |x: f64, y: f64| a + b * x + c * y + d * x * y;
        let mut points: Vec<[f64; 3]> = ys.iter().flat_map(|&y| xs.iter().map(move |&x| [x, y, f(x, y)])).collect();
        if twice {
            // A node read twice counts as its mean.
            points[0][2] += 0.01;
            points.push([points[0][0], points[0][1], points[0][2] - 0.02]);
        }
        let map = HeightMap::fit(&card(&points, None, None), SurfaceKind::Bilinear).expect("fits");
        for s in 0..=7 {
            for t in 0..=7 {
                let x = (xs[0] + (xs[xs.len() - 1] - xs[0]) * f64::from(s) / 7.0).min(xs[xs.len() - 1]);
                let y = (ys[0] + (ys[ys.len() - 1] - ys[0]) * f64::from(t) / 7.0).min(ys[ys.len() - 1]);
                prop_assert!((map.height(x, y) - f(x, y)).abs() < 1e-12);
                let [sx, sy] = map.slope(x, y);
                prop_assert!((sx - b - d * y).abs() < 1e-12 && (sy - c - d * x).abs() < 1e-12);
            }
        }
    }

    /// Without a spread the surface passes through every reading.
    #[test]
    fn interpolation_passes_through_the_readings(points in readings()) {
        let map = HeightMap::fit(&card(&points, None, None), SurfaceKind::ThinPlate).expect("fits");
        for (p, r) in points.iter().zip(map.readings()) {
            prop_assert!((map.height(p[0], p[1]) - p[2]).abs() < 1e-11);
            prop_assert!(r.residual.abs() < 1e-11);
        }
    }

    /// Turned, moved and scaled readings make the turned, moved and scaled surface, whatever the smoothing. lambda scales with the
    /// square of lengths.
    #[test]
    fn equivariance(
        points in readings(), smoothing in smoothing(), angle in 0.0..6.3_f64, size in 0.01..50.0_f64,
        dx in -500.0..500.0_f64, dy in -500.0..500.0_f64, u in 0.0..235.0_f64, v in 0.0..235.0_f64,
    ) {
        let (at, heights) = split(&points);
        let (s, c): (f64, f64) = f64::sin_cos(angle);
        let turn = |p: [f64; 2]| [size * (c * p[0] - s * p[1]) + dx, size * (s * p[0] + c * p[1]) + dy];
        let turned: Vec<[f64; 2]> = at.iter().map(|p| turn(*p)).collect();
        let there = match smoothing { Smoothing::Lambda(l) => Smoothing::Lambda(l * size * size), other => other };
        let one = ThinPlate::fit(&at, &heights, None, smoothing).expect("fits");
        let two = ThinPlate::fit(&turned, &heights, None, there).expect("fits");
        let [x, y] = turn([u, v]);
        // The criteria that seek lambda stop within rounding of a flat minimum.
        let sought = matches!(smoothing, Smoothing::Gcv | Smoothing::Reml | Smoothing::KnownNoise(_));
        let tolerance = if sought { 1e-6 } else { 1e-10 };
        prop_assert!((one.value(u, v) - two.value(x, y)).abs() < tolerance, "{} {}", one.value(u, v), two.value(x, y));
    }

    /// Readings repeated at a place are one reading of their mean with their number for weight.
    #[test]
    fn repeats_are_weights(points in readings(), repeats in prop::collection::vec(1_u32..4, 30), sigma in 0.005..0.2_f64, lambda in 0.1..1e4_f64) {
        let (at, means) = split(&points);
        let (mut all, mut values, mut weights) = (vec![], vec![], vec![]);
        for ((p, h), &n) in at.iter().zip(&means).zip(&repeats) {
            for k in 0..n {
                all.push(*p);
                // Offsets that cancel.
                values.push(h + 0.01 * (2.0 * f64::from(k) - f64::from(n - 1)));
            }
            weights.push(f64::from(n));
        }
        let total: f64 = weights.iter().sum();
        let few = f64::from(u32::try_from(at.len()).expect("small"));
        for (one, two) in [
            (Smoothing::None, Smoothing::None),
            (Smoothing::KnownNoise(sigma), Smoothing::KnownNoise(sigma)),
            (Smoothing::Lambda(lambda / total), Smoothing::Lambda(lambda / few)),
        ] {
            let a = ThinPlate::fit(&all, &values, None, one).expect("fits");
            let b = ThinPlate::fit(&at, &means, Some(&weights), two).expect("fits");
            for p in [[20.0, 30.0], [117.0, 99.0], [200.0, 180.0]] {
                prop_assert!((a.value(p[0], p[1]) - b.value(p[0], p[1])).abs() < 1e-7);
            }
        }
    }

    /// Leave-one-out by formula is leave-one-out by fitting again, lambda kept.
    #[test]
    fn leave_one_out_is_a_refit(points in readings(), lambda in prop_oneof![Just(0.0), 0.1..1e5, Just(f64::INFINITY)], repeat in any::<bool>()) {
        let mut points = points;
        if repeat {
            let mut again = points[2];
            again[2] += 0.03;
            points.push(again);
        }
        let (at, heights) = split(&points);
        let all = f64::from(u32::try_from(at.len()).expect("small"));
        let spline = ThinPlate::fit(&at, &heights, None, Smoothing::Lambda(lambda / all)).expect("fits");
        let mut compared = 0;
        for (k, left_out) in spline.leave_one_out().into_iter().enumerate() {
            let (mut fewer, mut values) = (at.clone(), heights.clone());
            fewer.remove(k);
            values.remove(k);
            let again = ThinPlate::fit(&fewer, &values, None, Smoothing::Lambda(lambda / (all - 1.0)));
            if let (Some(left_out), Ok(again)) = (left_out, again) {
                let expected = again.value(at[k][0], at[k][1]);
                prop_assert!((left_out.expected - expected).abs() < 1e-8, "{k}: {} {expected}", left_out.expected);
                prop_assert!((left_out.error - (heights[k] - expected)).abs() < 1e-8);
                compared += 1;
            }
        }
        prop_assert!(compared > 0);
    }

    /// With the noise known, lambda is the likeliest: the restricted likelihood by brute force (the readings' contrasts from a full
    /// orthogonal basis, a determinant and a solve) is nowhere higher than at the lambda that was chosen.
    #[test]
    fn known_noise_takes_the_likeliest_bend(points in readings(), sigma in 0.01..0.3_f64) {
        let (at, heights) = split(&points);
        let n = at.len();
        prop_assume!(n > 3);
        let fit = ThinPlate::fit(&at, &heights, None, Smoothing::KnownNoise(sigma)).expect("fits");
        // Lengths in 100 mm, so that the dense algebra stays sane.
        let kernel = DMatrix::from_fn(n, n, |i, j| {
            let r2 = ((at[i][0] - at[j][0]).powi(2) + (at[i][1] - at[j][1]).powi(2)) / 1e4;
            if r2 > 0.0 { 0.5 * r2 * r2.ln() / (8.0 * std::f64::consts::PI) } else { 0.0 }
        });
        let t = DMatrix::from_fn(n, 3, |i, k| [1.0, at[i][0] / 100.0, at[i][1] / 100.0][k]);
        // The projector off the plane has eigenvalue 1 on the contrasts.
        let inverse = (t.transpose() * &t).try_inverse().expect("three places");
        let off = DMatrix::identity(n, n) - &t * inverse * t.transpose();
        let eigen = off.symmetric_eigen();
        let kept: Vec<usize> = (0..n).filter(|&j| eigen.eigenvalues[j] > 0.5).collect();
        prop_assert_eq!(kept.len(), n - 3);
        let contrasts = DMatrix::from_fn(n, n - 3, |i, j| eigen.eigenvectors[(i, kept[j])]);
        let z = contrasts.transpose() * DVector::from_column_slice(&heights);
        let bend = contrasts.transpose() * kernel * &contrasts;
        let minus_twice_log_likelihood = |tau2: f64| {
            let v = &bend * tau2 + DMatrix::identity(n - 3, n - 3) * (sigma * sigma);
            let cholesky = v.cholesky().expect("positive definite");
            let logs: f64 = cholesky.l().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
            logs + z.dot(&cholesky.solve(&z))
        };
        let tau2 = sigma * sigma / fit.n_lambda() * 1e4;
        let best = minus_twice_log_likelihood(tau2);
        for e in -40..=40 {
            let other = minus_twice_log_likelihood(sigma * sigma * 10_f64.powf(f64::from(e) / 5.0));
            prop_assert!(best <= other + 1e-7, "{best} at {tau2}, {other} at e = {e}");
        }
        prop_assert!(best <= minus_twice_log_likelihood(0.0) + 1e-7);
    }

    /// Outside the readings' rectangle h is its value at the nearest point of it, and the slope across the edge is 0.
    #[test]
    fn outside_is_the_edge(points in readings(), x in -1e3..1e3_f64, y in -1e3..1e3_f64) {
        let map = HeightMap::fit(&card(&points, None, None), SurfaceKind::ThinPlate).expect("fits");
        let [x0, y0, x1, y1] = map.measured();
        let (nx, ny) = (x.clamp(x0, x1), y.clamp(y0, y1));
        prop_assert_eq!(map.height(x, y).to_bits(), map.height(nx, ny).to_bits());
        let (here, edge) = (map.slope(x, y), map.slope(nx, ny));
        prop_assert_eq!(here[0].to_bits(), if (x0..=x1).contains(&x) { edge[0] } else { 0.0 }.to_bits());
        prop_assert_eq!(here[1].to_bits(), if (y0..=y1).contains(&y) { edge[1] } else { 0.0 }.to_bits());
    }

    /// The slope is the derivative of the height.
    #[test]
    fn slope_is_the_derivative(points in readings(), s in 0.02..0.98_f64, t in 0.02..0.98_f64) {
        let map = HeightMap::fit(&card(&points, None, None), SurfaceKind::ThinPlate).expect("fits");
        let [x0, y0, x1, y1] = map.measured();
        let (x, y) = (x0 + s * (x1 - x0), y0 + t * (y1 - y0));
        let step = 1e-3;
        let [sx, sy] = map.slope(x, y);
        let by_x = (map.height(x + step, y) - map.height(x - step, y)) / (2.0 * step);
        let by_y = (map.height(x, y + step) - map.height(x, y - step)) / (2.0 * step);
        // Central differences err by step^2 / 6 of the third derivative, which near a reading grows as 1 / r.
        prop_assert!((sx - by_x).abs() < 1e-6 && (sy - by_y).abs() < 1e-6, "{sx} {by_x} {sy} {by_y}");
    }

    /// `right_at` makes the map 0 there and shifts it by a constant elsewhere.
    #[test]
    fn right_at_is_zero(points in readings(), x in 0.0..235.0_f64, y in 0.0..235.0_f64, u in 0.0..235.0_f64, v in 0.0..235.0_f64) {
        let plain = HeightMap::fit(&card(&points, None, None), SurfaceKind::ThinPlate).expect("fits");
        let right = HeightMap::fit(&card(&points, None, Some([x, y])), SurfaceKind::ThinPlate).expect("fits");
        prop_assert_eq!(right.height(x, y).abs().to_bits(), 0.0_f64.to_bits());
        prop_assert!((plain.height(u, v) - right.height(u, v) - plain.height(x, y)).abs() < 1e-14);
        prop_assert!((right.shift() + plain.height(x, y)).abs() < 1e-14);
    }

    /// Heights and slopes are finite for any coordinates at all.
    #[test]
    fn always_finite(points in readings(), spread in prop::option::of(0.0..0.1), x in anywhere(), y in anywhere()) {
        let map = HeightMap::fit(&card(&points, spread, None), SurfaceKind::ThinPlate).expect("fits");
        prop_assert!(map.height(x, y).is_finite());
        prop_assert!(map.slope(x, y).iter().all(|s| s.is_finite()));
        let corners = [[20.0, 20.0, 0.1], [200.0, 20.0, 0.0], [20.0, 200.0, 0.1], [200.0, 200.0, -0.2]];
        let grid = HeightMap::fit(&card(&corners, spread, None), SurfaceKind::Bilinear).expect("fits");
        prop_assert!(grid.height(x, y).is_finite() && grid.slope(x, y).iter().all(|s| s.is_finite()));
    }

    /// Any numbers at all make a map with finite heights or an error, never a panic.
    #[test]
    fn any_readings_make_a_map_or_an_error(
        points in prop::collection::vec((prop::num::f64::ANY, prop::num::f64::ANY, prop::num::f64::ANY), 0..8),
        near in prop::collection::vec((0.0..1e-5, 0.0..1e-5, -0.1..0.1), 0..4),
        spread in prop::option::of(prop::num::f64::ANY),
    ) {
        let mut points: Vec<[f64; 3]> = points.into_iter().map(|(x, y, h)| [x, y, h]).collect();
        for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
            if let Ok(map) = HeightMap::fit(&card(&points, spread, None), kind) {
                prop_assert!(map.height(1.0, 2.0).is_finite());
            }
        }
        // Readings closer together than anything that a hand can set.
        points = vec![[0.0, 0.0, 0.0], [100.0, 0.0, 0.1], [0.0, 100.0, 0.2]];
        points.extend(near.into_iter().map(|(x, y, h)| [50.0 + x, 50.0 + y, h]));
        if let Ok(map) = HeightMap::fit(&card(&points, None, None), SurfaceKind::ThinPlate) {
            prop_assert!(map.height(50.0, 50.0).is_finite());
        }
    }
}

/// Bad readings are refused with their places named and their lines given.
#[test]
fn bad_readings_are_named() {
    let fit = |lines: &str, kind| {
        let head = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0\n";
        HeightMap::fit(&Card::parse(&format!("{head}{lines}]")).expect("a sound card"), kind)
    };
    let thin = SurfaceKind::ThinPlate;
    for (lines, kind, words, places) in [
        (
            "points = [\n[30, 30, 0.1],\n[40, 50, 0.1],\n",
            thin,
            "two places, (30, 30) and (40, 50)",
            vec![(8, 1), (9, 1)],
        ),
        ("points = [\n[30, 30, 0.1],\n [30, 30, 0.11],\n", thin, "one place, (30, 30)", vec![(8, 1), (9, 2)]),
        (
            "points = [[10, 10, 0.1], [20, 20, 0.1],\n[80, 80.01, 0.1], [5, 5, 0]\n",
            thin,
            "all 4 readings lie on one line, from (5, 5) to (80, 80.01)",
            vec![(7, 11), (7, 26), (8, 1), (8, 19)],
        ),
        (
            "points = [\n[30, 30, 0.1],\n[40, 50, 0.1],\n[90, 50, 0.1],\n[40, 50, 0.31],\n",
            thin,
            "two readings at (40, 50) contradict each other: 0.1 and 0.31, 0.210 mm apart",
            vec![(9, 1), (11, 1)],
        ),
        (
            "spread = 0\npoints = [\n[30, 30, 0.1],\n[40, 50, 0.1],\n[90, 50, 0.1],\n[40, 50, 0.1001],\n",
            thin,
            "contradict",
            vec![(10, 1), (12, 1)],
        ),
        (
            "points = [[10, 10, 0], [20, 10, 0], [30, 10, 0], [10, 20, 0], [20, 20, 0], [10, 30, 0], [30, 30, 0]\n",
            SurfaceKind::Bilinear,
            "the grid of 3 columns and 3 rows has no reading at (30, 20), (20, 30)",
            vec![],
        ),
        (
            "points = [[10, 10, 0], [20, 11, 0], [31, 12, 0], [40, 13, 0], [50, 99, 0]\n",
            SurfaceKind::Bilinear,
            "the grid of 5 columns and 5 rows has no reading at (20, 10), (31, 10), (40, 10), (50, 10), (10, 11), (31, 11), (40, 11), (50, 11), (10, 12), (20, 12) and 10 more",
            vec![],
        ),
    ] {
        let error = fit(lines, kind).expect_err(words);
        assert_eq!(error.kind(), ErrorKind::Readings);
        assert!(error.to_string().contains(words), "{error}");
        let got: Vec<_> = error.places().iter().map(|p| (p.line, p.column)).collect();
        assert_eq!(got, places, "{error}");
        assert!(error.help().is_some(), "{error}");
    }
    // Repeats within six usual spreads are pooled.
    let map = fit("points = [[30, 30, 0.1], [40, 50, 0.1], [90, 50, 0.1], [40, 50, 0.2]\n", thin).expect("fits");
    assert!((map.height(40.0, 50.0) - 0.15).abs() < 1e-12);
    assert_eq!((map.places(), map.readings().len()), (3, 4));
}

/// A bed that shows no bend beyond the spread becomes a plane; one that is bent by many spreads is followed nearly to the point.
#[test]
fn smoothing_follows_from_the_spread() {
    // Sixteen hand-picked errors with a standard deviation of about 0.02.
    let errors = [0.02, -0.02, 0.01, -0.03, 0.02, 0.01, -0.01, 0.03, -0.02, 0.0, -0.02, 0.01, 0.0, 0.03, -0.01, -0.02];
    let bent = |bow: f64| {
        let points: Vec<[f64; 3]> = (0..16_u32)
            .map(|k| {
                let (u, v) = (f64::from(k % 4) / 1.5 - 1.0, f64::from(k / 4) / 1.5 - 1.0);
                let error = errors[usize::try_from(k).expect("small")];
                [117.5 + 90.0 * u, 117.5 + 90.0 * v, 0.1 + 0.05 * u - bow * (u * u + v * v) + error]
            })
            .collect();
        HeightMap::fit(&card(&points, Some(0.02), None), SurfaceKind::ThinPlate)
            .expect("fits")
            .smoothed()
            .expect("smooths")
    };
    assert_eq!(bent(0.0).lambda, None);
    assert!((bent(0.0).effective_parameters - 3.0).abs() < 1e-12);
    let (some, much) = (bent(0.1).effective_parameters, bent(1.0).effective_parameters);
    assert!(3.5 < some && some < much && 15.0 < much && much < 16.0, "{some} {much}");
}
