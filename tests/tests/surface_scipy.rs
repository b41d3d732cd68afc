//! The height map against SciPy 1.17.1, an independent implementation: `data/README.md` has the sources.

mod surface_data;

use evengap::surface::thin_plate::{Smoothing, ThinPlate};
use evengap::{Card, HeightMap, SurfaceKind};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use surface_data::{number, rows};

/// mm: what the project promises.
const AGREEMENT: f64 = 1e-9;

fn card(readings: &[[f64; 3]]) -> Card {
    let mut text =
        String::from("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0\npoints = [\n");
    for [x, y, h] in readings {
        writeln!(text, "[{x:?}, {y:?}, {h:?}],").expect("text");
    }
    Card::parse(&(text + "]")).expect("a sound card")
}

#[derive(Default)]
struct Case {
    readings: Vec<[f64; 3]>,
    queries: Vec<[f64; 3]>,
}

fn thin_plate_cases() -> BTreeMap<(String, String), Case> {
    let mut cases: BTreeMap<(String, String), Case> = BTreeMap::new();
    for row in rows("scipy_thin_plate.csv") {
        let case = cases.entry((row[0].clone(), row[1].clone())).or_default();
        let point = [number(&row[3]), number(&row[4]), number(&row[5])];
        if row[2] == "reading" { &mut case.readings } else { &mut case.queries }.push(point);
    }
    cases
}

#[test]
fn thin_plate_interpolation_agrees() {
    let mut ran = 0;
    for ((size, smoothing), case) in thin_plate_cases() {
        if smoothing != "0.0" {
            continue;
        }
        assert_eq!(size, case.readings.len().to_string());
        let map = HeightMap::fit(&card(&case.readings), SurfaceKind::ThinPlate).expect("fits");
        let worst = case.queries.iter().map(|[x, y, h]| (map.height(*x, *y) - h).abs()).fold(0.0, f64::max);
        println!("{size} readings: {worst:.1e} mm");
        assert!(worst <= AGREEMENT, "{size} readings: {worst:e} mm apart");
        ran += case.queries.len();
    }
    assert_eq!(ran, 8 * 40);
}

/// SciPy solves (K + s I) w with the kernel r^2 ln r, so s = 8 pi N lambda.
#[test]
fn thin_plate_smoothing_agrees() {
    let mut ran = 0;
    for ((size, smoothing), case) in thin_plate_cases() {
        if smoothing == "0.0" {
            continue;
        }
        let points: Vec<[f64; 2]> = case.readings.iter().map(|r| [r[0], r[1]]).collect();
        let values: Vec<f64> = case.readings.iter().map(|r| r[2]).collect();
        let lambda = number(&smoothing) / (8.0 * std::f64::consts::PI * number(&size));
        let spline = ThinPlate::fit(&points, &values, None, Smoothing::Lambda(lambda)).expect("fits");
        let worst = case.queries.iter().map(|[x, y, h]| (spline.value(*x, *y) - h).abs()).fold(0.0, f64::max);
        println!(
            "{size} readings, smoothing {smoothing}: {worst:.1e} mm, {} parameters",
            spline.effective_parameters()
        );
        assert!(worst <= AGREEMENT, "{size} readings: {worst:e} mm apart");
        ran += case.queries.len();
    }
    assert_eq!(ran, 3 * 40);
}

#[test]
fn bilinear_agrees_and_clamps() {
    let mut case = Case::default();
    for row in rows("scipy_bilinear.csv") {
        let point = [number(&row[1]), number(&row[2]), number(&row[3])];
        if row[0] == "reading" { &mut case.readings } else { &mut case.queries }.push(point);
    }
    let map = HeightMap::fit(&card(&case.readings), SurfaceKind::Bilinear).expect("fits");
    assert_eq!(case.queries.len(), 120);
    for [x, y, h] in case.queries {
        assert!((map.height(x, y) - h).abs() <= 1e-12, "at ({x}, {y}): {} and {h}", map.height(x, y));
    }
}
