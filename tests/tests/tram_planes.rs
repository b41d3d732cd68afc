//! The screws' planes against other programs: NumPy's least squares, published point sets, and an interior-point solver for the smallest range.

mod surface_data;

use clarabel::algebra::CscMatrix;
use clarabel::solver::{DefaultSettings, DefaultSolver, IPSolver, SolverStatus, SupportedConeT};
use evengap::card::{Bed, Method, Reading, Readings, Screw, Screws, Turn};
use evengap::tram::{Fit, Options, Tram, tram};
use evengap::{Card, HeightMap, SurfaceKind};
use proptest::prelude::*;
use surface_data::{number, rows};

/// A card of heights, as indicated by a sheet without thickness.
fn card(points: &[[f64; 3]], screws: &[[f64; 2]]) -> Card {
    let mut readings = Readings::new(Method::Drag);
    readings.sheet = Some(0.0);
    readings.points = points.iter().map(|[x, y, value]| Reading::new(*x, *y, *value)).collect();
    let screw = |(i, [x, y]): (usize, &[f64; 2])| Screw::new(format!("s{i}"), *x, *y);
    let mut card = Card::new(Bed::new([0.0, 300.0], [0.0, 300.0]), readings);
    let mut knobs = Screws::new(0.7, Turn::Anticlockwise);
    knobs.at = screws.iter().enumerate().map(screw).collect();
    card.screws = Some(knobs);
    card
}

fn trammed(card: &Card, fit: Fit) -> Tram {
    let map = HeightMap::fit(card, SurfaceKind::ThinPlate).expect("fits");
    let mut options = Options::default();
    options.fit = fit;
    tram(&map, &options).expect("trams")
}

fn raise(tram: &Tram, name: &str) -> [f64; 2] {
    let turn = tram.screws.iter().find(|s| s.name == name).expect("named");
    [turn.raise_mm, turn.spread_mm]
}

fn near(what: &str, got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} and not {want} (within {tolerance:e})");
}

#[test]
fn least_squares_as_numpy_has_it() {
    let rows = rows("numpy_planes.csv");
    let mut cases: u32 = 0;
    while rows.iter().any(|r| r[0] == cases.to_string()) {
        let case = cases.to_string();
        let of = |role: &str| -> Vec<[f64; 4]> {
            let role = rows.iter().filter(|r| r[0] == case && r[1] == role);
            role.map(|r| [2, 3, 4, 5].map(|k| number(&r[k]))).collect()
        };
        let readings = of("reading");
        let points: Vec<[f64; 3]> = readings.iter().map(|[x, y, h, _]| [*x, *y, *h]).collect();
        let screws: Vec<[f64; 2]> = of("screw").iter().map(|[x, y, ..]| [*x, *y]).collect();
        let mut card = card(&points, &screws);
        let spreads: Vec<f64> = readings.iter().map(|r| r[3]).collect();
        if spreads.iter().all(|s| s.to_bits() == spreads[0].to_bits()) {
            card.readings.spread = Some(spreads[0]);
        } else {
            card.readings.points.iter_mut().zip(&spreads).for_each(|(p, s)| p.spread = Some(*s));
        }
        let found = trammed(&card, Fit::LeastSquares);
        for (i, [_, _, want, deviation]) in of("screw").into_iter().enumerate() {
            let [got, spread] = raise(&found, &format!("s{i}"));
            near(&format!("case {case}, screw {i}"), got, want, 1e-10);
            near(&format!("case {case}, screw {i}, deviation"), spread, deviation, 1e-10);
        }
        let [_, _, before, after] = of("range")[0];
        near("range before", found.range_before_mm, before, 1e-12);
        // Values on the predicted card are rounded to 1e-9 mm.
        near("range after", found.range_after_mm, after, 2e-9);
        cases += 1;
    }
    assert_eq!(cases, 24);
}

/// `computed_planes.csv`: least squares and smallest zone of two published sets, z = a + b x + c y. Figures there have 10 digits.
#[test]
fn published_sets_have_the_tabled_planes() {
    let table = rows("computed_planes.csv");
    assert_eq!(table.len(), 2);
    for row in table {
        let set = &row[0];
        let points: Vec<[f64; 3]> =
            rows(&format!("{set}.csv")).iter().map(|r| [0, 1, 2].map(|k| number(&r[k]))).collect();
        // The unit here is what the sets have; a bed of 300 holds them. The first screw's move is minus the plane at its place.
        let card = card(&points, &[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]);
        let n: Vec<f64> = row.iter().map(|f| f.parse().unwrap_or(f64::NAN)).collect();
        for (fit, [a, b, c], range) in
            [(Fit::LeastSquares, [n[1], n[2], n[3]], n[5]), (Fit::SmallestRange, [n[6], n[7], n[8]], n[9])]
        {
            let found = trammed(&card, fit);
            let digits = |v: f64| 6e-10 * 10_f64.powf(v.abs().log10().ceil());
            let at = ["s0", "s1", "s2"].map(|s| -raise(&found, s)[0]);
            near(&format!("{set} {fit:?} a"), at[0], a, digits(a) + 1e-9);
            near(&format!("{set} {fit:?} b"), at[1] - at[0], b, digits(b) + 1e-9);
            near(&format!("{set} {fit:?} c"), at[2] - at[0], c, digits(c) + 1e-9);
            near(&format!("{set} {fit:?} range"), found.range_after_mm, range, digits(range) + 1e-8);
        }
        // Facets of the convex hull alone give a wider zone.
        let facets_only = n[11];
        let zone = trammed(&card, Fit::SmallestRange).range_after_mm;
        assert!(zone < facets_only - 0.1, "{set}: {zone} against {facets_only}");
        // The readings that touch the zone are the tabled four.
        let found = trammed(&card, Fit::SmallestRange);
        let ends = found.readings.iter().fold([f64::MAX, f64::MIN], |[l, h], r| [l.min(r.after_mm), h.max(r.after_mm)]);
        let touching: Vec<String> = (1..)
            .zip(&found.readings)
            .filter_map(|(i, r)| match (ends[1] - r.after_mm < 1e-6, r.after_mm - ends[0] < 1e-6) {
                (true, _) => Some(format!("{i}+")),
                (_, true) => Some(format!("{i}-")),
                _ => None,
            })
            .collect();
        assert_eq!(touching.join(" "), row[10], "{set}");
    }
}

/// The least t with |h - a - b u - c v| <= t, by an interior-point solver; a, b, c and t are its unknowns.
fn zone_by_interior_point(points: &[[f64; 3]]) -> f64 {
    let n = points.len();
    let (mut row, mut value) = (vec![Vec::new(); 4], vec![Vec::new(); 4]);
    let mut right = Vec::new();
    for (k, [x, y, h]) in points.iter().enumerate() {
        for (i, sign) in [(2 * k, 1.0), (2 * k + 1, -1.0)] {
            // sign (h - x . c) <= t
            for (column, v) in
                [-sign, -sign * (x / 150.0 - 1.0), -sign * (y / 150.0 - 1.0), -1.0].into_iter().enumerate()
            {
                row[column].push(i);
                value[column].push(v);
            }
            right.push(-sign * h);
        }
    }
    let mut starts = vec![0];
    starts.extend((1..=4).map(|c| c * 2 * n));
    let a = CscMatrix::new(2 * n, 4, starts, row.concat(), value.concat());
    let settings = DefaultSettings {
        verbose: false,
        tol_gap_abs: 1e-11,
        tol_gap_rel: 1e-11,
        tol_feas: 1e-11,
        ..DefaultSettings::default()
    };
    let cones = [SupportedConeT::NonnegativeConeT(2 * n)];
    let nothing = CscMatrix::zeros((4, 4));
    let mut solver =
        DefaultSolver::new(&nothing, &[0.0, 0.0, 0.0, 1.0], &a, &right, &cones, settings).expect("sets up");
    solver.solve();
    assert!(matches!(solver.solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved));
    2.0 * solver.solution.x[3]
}

fn bed_points() -> impl Strategy<Value = Vec<[f64; 3]>> {
    let rough = prop::collection::vec((5.0..295.0_f64, 5.0..295.0_f64, -0.4..0.4_f64), 4..60);
    // Grids with coarse values touch the zone in many places at once.
    let grid = (2..8_u8, prop::collection::vec(-8..8_i32, 64)).prop_map(|(side, values)| {
        let at = |k: u8| 20.0 + 260.0 * f64::from(k) / f64::from(side - 1);
        (0..side)
            .flat_map(|j| (0..side).map(move |i| (i, j)))
            .zip(values)
            .map(|((i, j), v)| (at(i), at(j), 0.05 * f64::from(v)))
            .collect::<Vec<_>>()
    });
    prop_oneof![rough, grid].prop_map(|points| points.into_iter().map(|(x, y, h)| [x, y, h]).collect())
}

proptest! {
    // Rough random beds are the slowest there are for the height map: fewer of them than usual.
    #![proptest_config(ProptestConfig { cases: ProptestConfig::default().cases / 8, ..ProptestConfig::default() })]

    /// The smallest range is the interior-point solver's, within what that one promises, and no more than that of least squares.
    #[test]
    fn the_smallest_range_is_the_smallest(points in bed_points()) {
        let card = card(&points, &[[0.0, 0.0], [300.0, 0.0], [0.0, 300.0]]);
        let Ok(map) = HeightMap::fit(&card, SurfaceKind::ThinPlate) else { return Ok(()) };
        let mut options = Options::default();
        options.fit = Fit::SmallestRange;
        let found = tram(&map, &options).expect("trams");
        let want = zone_by_interior_point(&points);
        prop_assert!((found.range_after_mm - want).abs() < 1e-8, "{} and {want}", found.range_after_mm);
        let squares = trammed(&card, Fit::LeastSquares);
        prop_assert!(found.range_after_mm <= squares.range_after_mm + 3e-9);
        // The middle of what is left is height 0.
        let ends = found.readings.iter().fold([f64::MAX, f64::MIN], |[l, h], r| [l.min(r.after_mm), h.max(r.after_mm)]);
        prop_assert!((ends[0] + ends[1]).abs() < 4e-9, "{ends:?}");
    }
}
