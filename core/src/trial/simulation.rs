//! Invented beds, a person with a sheet of paper, and calipers.

use super::super::*;
use crate::card::{Bed, Machine, Method, Outline, Readings};
use crate::{Card, HeightMap, SurfaceKind};

/// Numbers that scatter as a normal distribution does: a sum of twelve even ones (Irwin-Hall), from a congruential generator
/// (Knuth, MMIX).
struct Chance(u64);

impl Chance {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// How the readings err.
#[derive(Clone, Copy)]
struct Errs {
    constant: f64,
    tilt: f64,
    bowl: f64,
    each: f64,
}

const NONE: Errs = Errs { constant: 0.0, tilt: 0.0, bowl: 0.0, each: 0.02 };
const PAPER: Errs = Errs { constant: 0.04, tilt: 0.03, ..NONE };
const WARPED: Errs = Errs { bowl: 0.05, ..PAPER };
const CALIPERS: f64 = 0.015;

/// Height in mm over a bed of 235 mm: bow both ways, twist, tilt and a ripple, some tenths of a millimetre in all.
fn invented(chance: &mut Chance) -> impl Fn(f64, f64) -> f64 + use<> {
    let c: [f64; 6] = core::array::from_fn(|_| chance.normal());
    let phase = [chance.even() * core::f64::consts::TAU, chance.even() * core::f64::consts::TAU];
    move |x, y| {
        let (u, v) = ((x - 117.5) / 97.5, (y - 117.5) / 97.5);
        0.08 * (c[0] * (1.0 - u * u) + c[1] * (1.0 - v * v))
            + 0.05 * (c[2] * u * v + c[3] * u + c[4] * v)
            + 0.02 * c[5] * libm::sin(2.0 * u + phase[0]) * libm::cos(2.0 * v + phase[1])
    }
}

fn grid(side: u32) -> Vec<[f64; 2]> {
    let at = |n: u32| 20.0 + 195.0 * f64::from(n) / f64::from(side - 1);
    (0..side * side).map(|n| [at(n % side), at(n / side)]).collect()
}

struct Setting {
    method: Method,
    spread: Option<f64>,
    right_at: Option<[f64; 2]>,
    surface: SurfaceKind,
    readings: u32,
    patches: u32,
    flat: bool,
    errs: Errs,
}

const USUAL: Setting = Setting {
    method: Method::Drag,
    spread: Some(0.02),
    right_at: None,
    surface: SurfaceKind::ThinPlate,
    readings: 5,
    patches: 5,
    flat: false,
    errs: PAPER,
};

/// Root mean square error over the bed before and after one round, mm.
fn round(seed: u64, s: &Setting) -> [f64; 2] {
    let mut chance = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) + 1);
    let h = invented(&mut chance);
    let common: [f64; 4] = core::array::from_fn(|_| chance.normal());
    let mut readings = Readings {
        method: s.method,
        sheet: (s.method == Method::Drag).then_some(0.1),
        parked: matches!(s.method, Method::Gauge | Method::Patch).then_some(1.5),
        offset: (s.method == Method::Dial).then_some([15.0, -10.0]),
        bed_celsius: Some(60.0),
        nozzle_celsius: Some(205.0),
        spread: s.spread,
        right_at: s.right_at,
        predicted: false,
        points: vec![],
        unread: vec![],
    };
    for [x, y] in grid(s.readings) {
        let (u, v) = ((x - 117.5) / 97.5, (y - 117.5) / 97.5);
        let [dx, dy] = readings.offset.unwrap_or([0.0, 0.0]);
        let wrong = s.errs.constant * common[0]
            + s.errs.tilt * (common[1] * u + common[2] * v)
            + s.errs.bowl * common[3] * (u * u + v * v)
            + s.errs.each * chance.normal();
        let value = readings.value_of(h(x + dx, y + dy) + wrong);
        readings.points.push(crate::card::Reading::new(x, y, value));
    }
    let bed = Bed { x: [0.0, 235.0], y: [0.0, 235.0], outline: Outline::Rectangle, keep_out: vec![] };
    let card = Card { bed, readings, screws: None, print: Print::default(), machine: Machine::default() };
    let map = HeightMap::fit(&card, s.surface).unwrap();
    // A flat layer must be higher than the bed is bent.
    let layer = if s.flat { 0.9 } else { 0.2 };
    let print = Print { layer_height: Some(layer), line_width: Some(1.0), ..Print::default() };
    let options = TrialOptions { at: Some(grid(s.patches)), print, ..TrialOptions::default() };
    let measured: Vec<Measured> = patches(&card, &options)
        .unwrap()
        .iter()
        .map(|p| {
            let z = if s.flat { layer } else { layer + map.height(p.x, p.y) };
            // A bed read far too low would be ploughed: there the patch is as thin as can be held.
            let thickness = (z - h(p.x, p.y)).max(0.01) + CALIPERS * chance.normal();
            Measured { x: p.x, y: p.y, thickness: thickness.max(0.005), spread: None, line: None, column: None }
        })
        .collect();
    let nozzle = if s.flat { Nozzle::Flat(layer) } else { Nozzle::Followed(layer) };
    let corrected = correct(&card, s.surface, &measured, nozzle).unwrap();
    assert_eq!(corrected.readings.method, card.readings.method);
    // What is written is what was reckoned.
    assert_eq!(Card::parse(&corrected.to_toml()).unwrap().digest(), corrected.digest());
    let after = HeightMap::fit(&corrected, s.surface).unwrap();
    let datum = |x: f64, y: f64| s.right_at.map_or(h(x, y), |[rx, ry]| h(x, y) - h(rx, ry));
    [&map, &after].map(|m| {
        let fine = grid(30);
        let squares: f64 = fine.iter().map(|[x, y]| (m.height(*x, *y) - datum(*x, *y)).powi(2)).sum();
        (squares / 900.0).sqrt()
    })
}

/// Root mean square over many beds, before and after, and the largest but five in a hundred of those after.
fn many(beds: u64, setting: &Setting) -> [f64; 3] {
    let mut all: Vec<[f64; 2]> = (0..beds).map(|seed| round(seed, setting)).collect();
    let n = f64::from(u32::try_from(beds).unwrap());
    let rms = |k: usize| (all.iter().map(|r| r[k] * r[k]).sum::<f64>() / n).sqrt();
    let (before, after) = (rms(0), rms(1));
    all.sort_by(|a, b| a[1].total_cmp(&b[1]));
    [before, after, all[all.len() * 95 / 100][1]]
}

/// One round brings the map to within the calipers' spread, on 95 of 100 beds and taken all together, whatever the readings have in common.
#[test]
fn one_round_is_enough() {
    for (name, errs) in [("none", NONE), ("paper", PAPER), ("warped", WARPED)] {
        for spread in [None, Some(0.02)] {
            let [before, after, most] = many(60, &Setting { errs, spread, ..USUAL });
            println!("{name} {spread:?}: {before:.4} {after:.4} {most:.4}");
            assert!(after < CALIPERS && most < CALIPERS, "{name} {spread:?}: {before} {after} {most}");
            assert!(after < before);
        }
    }
}

#[test]
fn so_it_is_for_other_methods_surfaces_and_flat_prints() {
    let settings = [
        ("gauge", Setting { method: Method::Gauge, ..USUAL }),
        ("patch", Setting { method: Method::Patch, ..USUAL }),
        ("bilinear", Setting { surface: SurfaceKind::Bilinear, ..USUAL }),
        ("flat", Setting { flat: true, ..USUAL }),
        ("relative", Setting { right_at: Some([117.5, 117.5]), ..USUAL }),
        ("dial", Setting { method: Method::Dial, right_at: Some([117.5, 117.5]), ..USUAL }),
    ];
    for (name, setting) in settings {
        let [before, after, most] = many(40, &setting);
        println!("{name}: {before:.4} {after:.4} {most:.4}");
        assert!(after < CALIPERS, "{name}: {before} {after} {most}");
        assert!(after < before, "{name}: {before} {after} {most}");
    }
}

/// Readings that err by a plane alone, and calipers: what is left is the calipers' scatter alone. A reading and a patch at one place are
/// pooled with weights of 0.36 and 0.64; the reading carries the scatter of a plane through 25 patches, sqrt(3 / 25) of theirs. Between the places a
/// map that smooths scatters no more than at them.
#[test]
fn a_common_error_is_taken_off_whole() {
    let errs = Errs { each: 0.0, ..PAPER };
    let [before, after, _] = many(40, &Setting { errs, ..USUAL });
    println!("no scatter: {before:.4} {after:.4}");
    assert!(after < CALIPERS * (0.64 + 0.36 * (3.0_f64 / 25.0).sqrt()), "{before} {after}");
}

#[test]
fn few_patches_move_the_map_as_a_whole() {
    let card = Card::parse(super::CARD).unwrap();
    let old = HeightMap::fit(&card, SurfaceKind::Bilinear).unwrap();
    let m = |x: f64, y: f64, thickness: f64| Measured { x, y, thickness, spread: None, line: None, column: None };
    // 0.03 mm thicker than sliced, off the nodes: the bed lies 0.03 mm lower.
    let patches = [m(60.0, 60.0, 0.23), m(150.0, 60.0, 0.23)];
    let new = correct(&card, SurfaceKind::Bilinear, &patches, Nozzle::Followed(0.2)).unwrap();
    assert_eq!(new.readings.points.len(), card.readings.points.len());
    let new = HeightMap::fit(&new, SurfaceKind::Bilinear).unwrap();
    for [x, y] in grid(7) {
        assert!((new.height(x, y) - old.height(x, y) + 0.03).abs() < 1e-4);
    }
}

#[test]
fn a_reading_that_the_patch_contradicts_gives_way() {
    let mut card = Card::parse(super::CARD).unwrap();
    let flat = |card: &mut Card| card.readings.points.iter_mut().for_each(|p| p.value = 0.1);
    flat(&mut card);
    let truth = HeightMap::fit(&card, SurfaceKind::Bilinear).unwrap();
    card.readings.points[4].value = 0.3;
    let all: Vec<Measured> = card
        .readings
        .points
        .iter()
        .map(|p| {
            let wrong = if p.value > 0.2 { 0.2 } else { 0.0 };
            Measured { x: p.x, y: p.y, thickness: 0.2 + wrong, spread: None, line: None, column: None }
        })
        .collect();
    let new = correct(&card, SurfaceKind::Bilinear, &all, Nozzle::Followed(0.2)).unwrap();
    let new = HeightMap::fit(&new, SurfaceKind::Bilinear).unwrap();
    for [x, y] in grid(5) {
        assert!((new.height(x, y) - truth.height(x, y)).abs() < 0.03, "{x} {y} {}", new.height(x, y));
    }
}

#[test]
fn thicknesses_that_cannot_be_are_refused_with_their_line() {
    let card = Card::parse(super::CARD).unwrap();
    for (thickness, x) in [(0.0, 20.0), (-0.2, 20.0), (0.9, 20.0), (f64::NAN, 20.0), (0.2, -3.0), (0.2, f64::NAN)] {
        let m = Measured { x, y: 20.0, thickness, spread: None, line: Some(7), column: Some(3) };
        let error = correct(&card, SurfaceKind::ThinPlate, &[m], Nozzle::Followed(0.2)).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::Readings);
        assert_eq!(error.place().map(|p| (p.line, p.column)), Some((7, 3)));
    }
    assert!(correct(&card, SurfaceKind::ThinPlate, &[], Nozzle::Followed(0.2)).is_err());
}
