//! Invented beds read by hand: what the map's standard errors say, beside what the map is off.

#![expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of beds and readings, all small"
)]

use crate::families::{Chance, SIDE, bed, franke};
use evengap::known::Known;
use evengap::surface::thin_plate::{Smoothing, ThinPlate};
use evengap::{Card, HeightMap, SurfaceKind};

/// The grids' sides: 9, 16, 25 and 49 readings.
pub const SIDES: [u32; 4] = [3, 4, 5, 7];

/// Readings' standard deviations, mm.
pub const NOISES: [f64; 3] = [0.01, 0.02, 0.04];

/// Places along a side at which the map is compared with the bed.
const FINE: u32 = 30;

/// A card of a grid, 10 mm from the edges as one plans it, of readings that scatter.
///
/// # Panics
/// Where that makes no card.
pub fn card(side: u32, spread: &str, read: &mut dyn FnMut(f64, f64) -> f64) -> Card {
    let at = |k: u32| (10.0 + (SIDE - 20.0) * f64::from(k) / f64::from(side - 1)).round();
    let places = (0..side * side).map(|n| [at(n % side), at(n / side)]);
    card_at(places, spread, read)
}

/// A card of readings at places.
///
/// # Panics
/// Where that makes no card.
pub fn card_at(places: impl Iterator<Item = [f64; 2]>, spread: &str, read: &mut dyn FnMut(f64, f64) -> f64) -> Card {
    let mut text = format!(
        "[bed]\nx = [0, {SIDE}]\ny = [0, {SIDE}]\n[readings]\nmethod = 'drag'\nsheet = 0\n{spread}\npoints = [\n"
    );
    for [x, y] in places {
        text += &format!("[{x}, {y}, {:?}],\n", read(x, y));
    }
    Card::parse(&(text + "]")).expect("a card")
}

/// What one bed shows.
#[derive(Debug, Clone, Copy, Default)]
pub struct Shown {
    /// Share of the bed that lies within the map's 95 % of it, place by place.
    pub covered: f64,
    /// Share of the bed that lies within the one figure for the whole bed.
    pub covered_by_one: f64,
    /// Mean square of what the map is off, mm^2.
    pub square: f64,
    /// Mean square of the standard errors, mm^2.
    pub expected_square: f64,
}

/// A bed of a family, read and judged. `stated`: the card's spread over the true one.
///
/// # Panics
/// Where no map can be made.
pub fn shown(family: usize, side: u32, noise: f64, stated: f64, kind: SurfaceKind, seed: u64) -> Shown {
    let mut chance = Chance::of(seed, family as u64, u64::from(side) + (noise * 1e4).round() as u64 * 100);
    let h = bed(family, &mut chance);
    let card = card(side, &format!("spread = {}", noise * stated), &mut |x, y| h(x, y) + noise * chance.normal());
    let map = HeightMap::fit(&card, kind).expect("a map");
    compare(&map, &*h)
}

/// A map beside the bed.
///
/// # Panics
/// Where nothing can be said of it.
pub fn compare(map: &HeightMap, h: &dyn Fn(f64, f64) -> f64) -> Shown {
    let known = Known::of(map).expect("can be judged");
    let one = known.over_bed().within;
    let share = 1.0 / f64::from(FINE * FINE);
    let mut shown = Shown::default();
    for n in 0..FINE * FINE {
        let at = |k: u32| SIDE * (f64::from(k) + 0.5) / f64::from(FINE);
        let (x, y) = (at(n % FINE), at(n / FINE));
        let uncertain = known.at(x, y);
        let off = h(x, y) - uncertain.height;
        shown.covered += if off.abs() <= uncertain.within { share } else { 0.0 };
        shown.covered_by_one += if off.abs() <= one { share } else { 0.0 };
        shown.square += share * off * off;
        shown.expected_square += share * uncertain.standard_error * uncertain.standard_error;
    }
    shown
}

/// Means over many.
#[must_use]
pub fn mean(all: &[Shown]) -> Shown {
    let n = all.len().max(1) as f64;
    let of = |part: fn(&Shown) -> f64| all.iter().map(part).sum::<f64>() / n;
    Shown {
        covered: of(|s| s.covered),
        covered_by_one: of(|s| s.covered_by_one),
        square: of(|s| s.square),
        expected_square: of(|s| s.expected_square),
    }
}

/// What one bed shows of the judgement of its readings.
#[derive(Debug, Clone, Copy, Default)]
pub struct Judged {
    /// Sound readings that are said to stand out, none of them wrong.
    pub alarms: usize,
    /// Sound readings that are doubted or said to stand out, none of them wrong.
    pub doubts: usize,
    /// Whether a reading that is wrong is said to stand out.
    pub found: bool,
    /// Whether it is doubted or said to stand out.
    pub doubted: bool,
    /// Whether it is the first that is named.
    pub first: bool,
}

/// A bed of a family, read with a spread of 0.02 mm; then one of its readings, any of them, is `off` mm, either way.
///
/// # Panics
/// Where no map can be made.
pub fn judged(family: usize, side: u32, off: f64, seed: u64) -> Judged {
    const NOISE: f64 = 0.02;
    let mut chance = Chance::of(seed, family as u64 + 10, u64::from(side));
    let h = bed(family, &mut chance);
    let mut card = card(side, "spread = 0.02", &mut |x, y| h(x, y) + NOISE * chance.normal());
    let judge = |card: &Card| {
        let map = HeightMap::fit(card, SurfaceKind::ThinPlate).expect("a map");
        let shape = evengap::shape::describe(&map);
        let of = |list: &[evengap::shape::Outlier]| list.iter().map(|o| o.index).collect::<Vec<usize>>();
        (of(&shape.outliers), of(&shape.doubtful))
    };
    let (alarms, doubts) = judge(&card);
    let n = card.readings.points.len();
    let wrong = ((chance.even() * n as f64) as usize).min(n - 1);
    card.readings.points[wrong].value += if chance.even() < 0.5 { -off } else { off };
    let (found, doubted) = judge(&card);
    Judged {
        alarms: alarms.len(),
        doubts: alarms.len() + doubts.len(),
        found: found.contains(&wrong),
        doubted: found.contains(&wrong) || doubted.contains(&wrong),
        first: found.iter().chain(&doubted).next() == Some(&wrong),
    }
}

/// The plain theory beside it: the thin plate's own posterior, the spread known, the bend the likeliest.
///
/// # Panics
/// Where no map can be made.
pub fn plain(family: usize, side: u32, noise: f64, seed: u64) -> Shown {
    let mut chance = Chance::of(seed, family as u64, u64::from(side) + (noise * 1e4).round() as u64 * 100);
    let h = bed(family, &mut chance);
    let card = card(side, &format!("spread = {noise}"), &mut |x, y| h(x, y) + noise * chance.normal());
    let points: Vec<[f64; 2]> = card.readings.points.iter().map(|p| [p.x, p.y]).collect();
    let heights: Vec<f64> = card.readings.points.iter().map(|p| p.value).collect();
    let spline = ThinPlate::fit(&points, &heights, None, Smoothing::KnownNoise(noise)).expect("a spline");
    let (posterior, map) = (spline.posterior(), HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map"));
    let share = 1.0 / f64::from(FINE * FINE);
    let mut shown = Shown::default();
    let mut all = Vec::new();
    for n in 0..FINE * FINE {
        let at = |k: u32| SIDE * (f64::from(k) + 0.5) / f64::from(FINE);
        let (x, y) = (at(n % FINE), at(n / FINE));
        let error = posterior.standard_deviation(noise, x, y).expect("it smooths");
        let off = h(x, y) - map.height(x, y);
        shown.covered += if off.abs() <= 1.96 * error { share } else { 0.0 };
        shown.square += share * off * off;
        shown.expected_square += share * error * error;
        all.push(off.abs());
    }
    let one = 1.96 * shown.expected_square.sqrt();
    shown.covered_by_one = share * all.iter().filter(|off| **off <= one).count() as f64;
    shown
}

/// Mean square over the bed of what three ways to smooth are off, mm^2: noise known, likelihood of noise and bend together,
/// cross-validation. Readings scatter by 0.02 mm.
///
/// # Panics
/// Where no spline can be made.
pub fn smoothed(family: usize, points: &[[f64; 2]], seed: u64) -> [f64; 3] {
    const NOISE: f64 = 0.02;
    let mut chance = Chance::of(seed, family as u64 + 20, points.len() as u64);
    let h = bed(family, &mut chance);
    let heights: Vec<f64> = points.iter().map(|p| h(p[0], p[1]) + NOISE * chance.normal()).collect();
    [Smoothing::KnownNoise(NOISE), Smoothing::Reml, Smoothing::Gcv].map(|smoothing| {
        let spline = ThinPlate::fit(points, &heights, None, smoothing).expect("a spline");
        let at = |k: u32| 10.0 + (SIDE - 20.0) * (f64::from(k) + 0.5) / 20.0;
        let square = |n: u32| (h(at(n % 20), at(n / 20)) - spline.value(at(n % 20), at(n / 20))).powi(2);
        (0..400).map(square).sum::<f64>() / 400.0
    })
}

/// As [`shown`] of a bed that is of none of the families: one of Franke's functions, 0.3 mm for its 1.
///
/// # Panics
/// Where no map can be made.
#[must_use]
pub fn of_franke(function: &str, side: u32, noise: f64, seed: u64) -> Shown {
    let mut chance = Chance::of(seed, 40, u64::from(side));
    let h = |x: f64, y: f64| 0.3 * franke(function, x / SIDE, y / SIDE);
    let card = card(side, &format!("spread = {noise}"), &mut |x, y| h(x, y) + noise * chance.normal());
    compare(&HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map"), &h)
}
