//! How well is the bed known? Simulations with seeds of their own, the same on every run; the results are in
//! `tests/data/known_*.csv`.
//!
//!     cargo run --release -p evengap-tests --example how_well -- calibration > tests/data/known_calibration.csv

#![expect(clippy::cast_precision_loss, reason = "counts of beds and readings, all small")]

use evengap::SurfaceKind;
use evengap_tests::families::FAMILIES;
use evengap_tests::families::{Chance, SIDE};
use evengap_tests::how_well::{Judged, NOISES, SIDES, Shown, judged, mean, of_franke, plain, shown, smoothed};
use evengap_tests::where_next::{Line, Matters, at_once, grids, one_by_one};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let seeds = arguments.get(1).and_then(|s| s.parse().ok());
    match arguments.first().map(String::as_str) {
        Some("calibration") => calibration(seeds.unwrap_or(200), 1.0, SurfaceKind::ThinPlate),
        Some("doubled") => calibration(seeds.unwrap_or(200), 2.0, SurfaceKind::ThinPlate),
        Some("halved") => calibration(seeds.unwrap_or(200), 0.5, SurfaceKind::ThinPlate),
        Some("bilinear") => calibration(seeds.unwrap_or(200), 1.0, SurfaceKind::Bilinear),
        Some("outliers") => outliers(seeds.unwrap_or(200)),
        Some("plain") => table(&|f, side, noise| (0..seeds.unwrap_or(200)).map(|s| plain(f, side, noise, s)).collect()),
        Some("franke") => franke(seeds.unwrap_or(40)),
        Some("next") => next(seeds.unwrap_or(100)),
        Some("smoothing") => smoothing(seeds.unwrap_or(40)),
        _ => eprintln!("which? calibration, doubled, halved, bilinear, plain, outliers, smoothing, franke, next"),
    }
}

/// A line for each family, size and noise: the share of the bed that lies within the map's 95 %.
fn calibration(seeds: u64, stated: f64, kind: SurfaceKind) {
    table(&|f, side, noise| (0..seeds).map(|seed| shown(f, side, noise, stated, kind, seed)).collect());
}

fn table(of: &dyn Fn(usize, u32, f64) -> Vec<Shown>) {
    println!("readings,noise,family,covered,covered_by_one,rms_error,rms_standard_error");
    let mut all = Vec::new();
    for side in SIDES {
        for noise in NOISES {
            let mut of_size = Vec::new();
            for (family, name) in FAMILIES.iter().enumerate() {
                let shown = of(family, side, noise);
                line(side, &noise.to_string(), name, &mean(&shown));
                all.push((side, family, mean(&shown)));
                of_size.push(mean(&shown));
            }
            line(side, &noise.to_string(), "all", &mean(&of_size));
        }
    }
    for side in SIDES {
        for (family, name) in FAMILIES.iter().enumerate() {
            let of: Vec<Shown> = all.iter().filter(|(s, f, _)| *s == side && *f == family).map(|a| a.2).collect();
            line(side, "all", name, &mean(&of));
        }
        let of: Vec<Shown> = all.iter().filter(|(s, ..)| *s == side).map(|a| a.2).collect();
        line(side, "all", "all", &mean(&of));
    }
}

fn line(side: u32, noise: &str, family: &str, s: &Shown) {
    println!(
        "{},{noise},{family},{:.4},{:.4},{:.5},{:.5}",
        side * side,
        s.covered,
        s.covered_by_one,
        s.square.sqrt(),
        s.expected_square.sqrt()
    );
}

/// A line for each size, error and family.
fn outliers(seeds: u64) {
    println!(
        "readings,off,family,alarms_per_reading,cards_with_alarm,doubts_per_reading,cards_with_doubt,found,found_or_doubted,first_named"
    );
    for side in SIDES {
        for off in [0.1, 0.2, 0.45] {
            let mut all = Vec::new();
            for (family, name) in FAMILIES.iter().enumerate() {
                let judged: Vec<Judged> = (0..seeds).map(|seed| judged(family, side, off, seed)).collect();
                judged_line(side, off, name, &judged);
                all.extend(judged);
            }
            judged_line(side, off, "all", &all);
        }
    }
}

fn judged_line(side: u32, off: f64, family: &str, all: &[Judged]) {
    let n = all.len() as f64;
    let share = |what: &dyn Fn(&Judged) -> bool| all.iter().filter(|j| what(j)).count() as f64 / n;
    let per_reading =
        |what: fn(&Judged) -> usize| all.iter().map(what).sum::<usize>() as f64 / n / f64::from(side * side);
    println!(
        "{},{off},{family},{:.4},{:.3},{:.4},{:.3},{:.3},{:.3},{:.3}",
        side * side,
        per_reading(|j| j.alarms),
        share(&|j| j.alarms > 0),
        per_reading(|j| j.doubts),
        share(&|j| j.doubts > 0),
        share(&|j| j.found),
        share(&|j| j.doubted),
        share(&|j| j.first)
    );
}

/// Root mean square error inside the readings of three ways to smooth, over all families; readings scattered at random, but for the four
/// corners.
fn smoothing(seeds: u64) {
    println!("readings,known_noise,reml,gcv");
    for n in [5, 9, 16, 25, 49, 100, 225, 400] {
        let seeds = if n > 100 { seeds.div_ceil(8) } else { seeds };
        let (mut sums, mut all) = ([0.0; 3], 0.0);
        for family in 0..FAMILIES.len() {
            for seed in 0..seeds {
                let mut chance = Chance::of(seed, 30, n);
                let (low, high) = (10.0, SIDE - 10.0);
                let mut points = vec![[low, low], [high, low], [low, high], [high, high]];
                points.extend((4..n).map(|_| [0; 2].map(|_| chance.between(low, high))));
                let squares = smoothed(family, &points, seed);
                sums.iter_mut().zip(squares).for_each(|(sum, s)| *sum += s);
                all += 1.0;
            }
        }
        let [known, reml, gcv] = sums.map(|s: f64| (s / all).sqrt());
        println!("{n},{known:.5},{reml:.5},{gcv:.5}");
    }
}

/// Beds that are of none of the families.
fn franke(seeds: u64) {
    println!("readings,noise,function,covered,covered_by_one,rms_error,rms_standard_error");
    for side in SIDES {
        for noise in NOISES {
            let mut all = Vec::new();
            for function in ["F1", "F2", "F3", "F4", "F5", "F6"] {
                let shown: Vec<Shown> = (0..seeds).map(|seed| of_franke(function, side, noise, seed)).collect();
                line(side, &noise.to_string(), function, &mean(&shown));
                all.extend(shown);
            }
            line(side, &noise.to_string(), "all", &mean(&all));
        }
    }
}

/// Readings where they tell most, beside uniform grids.
fn next(seeds: u64) {
    println!("matters,way,readings,family,rms,median");
    for (matters, name, counts, most) in
        [(Matters::Part, "part", &[3, 4, 5, 6, 8, 9][..], 9), (Matters::Bed, "bed", &[4, 6, 9, 10, 12, 14, 16, 20], 18)]
    {
        let told = |lines: Vec<Line>| {
            for l in lines {
                println!("{name},{},{},{},{:.5},{:.5}", l.way, l.readings, FAMILIES[l.family], l.rms, l.median);
            }
        };
        (0..FAMILIES.len()).for_each(|family| told(grids(matters, family, seeds)));
        told(at_once(matters, seeds, counts));
        (0..FAMILIES.len()).for_each(|family| told(one_by_one(matters, family, seeds, most)));
    }
}
