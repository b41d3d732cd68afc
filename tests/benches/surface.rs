//! How fast a thin-plate map is: a height by the definition and by the prepared map, the preparation, the fit, for 25, 100 and 400
//! readings in one run. `cargo bench -p evengap-tests --bench surface`; add `-- --quick` for a rough answer.
//!
//! Heights are asked for at 1,000 places a round: at random over the readings' rectangle, which no toolpath does, and along a spiral
//! of moves of 0.4 mm. Divide by 1,000. The fits beside SciPy's are timed by `tests/reference/time_scipy_fits.py`.

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use evengap::surface::sheet::Sheet;
use evengap::{Card, HeightMap, SurfaceKind};
use std::fmt::Write;
use std::hint::black_box;

/// Numbers from 0 to 1, the same on every machine.
fn random(seed: &mut u64) -> f64 {
    *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    f64::from((*seed >> 32) as u32) / f64::from(u32::MAX)
}

/// A bed 215 mm wide, bent by 0.3 mm, read on a grid by a hand that errs by up to 0.02 mm.
fn card(side: u32, spread: &str) -> Card {
    let (mut points, mut seed) = (String::new(), 1);
    for k in 0..side * side {
        let [u, v] = [k % side, k / side].map(|i| f64::from(i) / f64::from(side - 1) * 2.0 - 1.0);
        let z = 0.1 + 0.3 * (1.0 - 0.5 * (u * u + v * v)) + 0.04 * (random(&mut seed) - 0.5);
        let _ = write!(points, "[{}, {}, {z:.3}],", 117.5 + 107.5 * u, 117.5 + 107.5 * v);
    }
    let text = format!(
        "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\n{spread}\npoints = [{points}]\n"
    );
    Card::parse(&text).expect("a card")
}

fn places() -> [(&'static str, Vec<[f64; 2]>); 2] {
    let mut seed = 7;
    let scattered = (0..1000).map(|_| [10.0 + 215.0 * random(&mut seed), 10.0 + 215.0 * random(&mut seed)]).collect();
    let spiral = (0..1000).map(|k| 0.4 * f64::from(k)).map(|s| {
        let r = 30.0 + 0.1 * s;
        [117.5 + r * (s / r).cos(), 117.5 + r * (s / r).sin()]
    });
    [("at random", scattered), ("along moves", spiral.collect())]
}

fn benches(c: &mut Criterion) {
    for side in [5, 10, 20] {
        for (words, spread) in [("", ""), (", smoothed", "spread = 0.02")] {
            let card = card(side, spread);
            let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map");
            let sheet = Sheet::of(&map);
            let mut group = c.benchmark_group(format!("{} readings{words}", side * side));
            group.sample_size(20);
            for (words, places) in places() {
                let sum = |h: &dyn Fn(f64, f64) -> f64| places.iter().map(|p| h(p[0], p[1])).sum::<f64>();
                group.bench_function(format!("1,000 heights by the definition, {words}"), |b| {
                    b.iter(|| sum(&|x, y| black_box(&map).height(x, y)));
                });
                group.bench_function(format!("1,000 heights, {words}"), |b| {
                    b.iter(|| black_box(&places).iter().map(|p| sheet.height(p[0], p[1])).sum::<f64>());
                });
                group.bench_function(format!("1,000 bounds of a move of 0.4 mm, {words}"), |b| {
                    let bound = |p: &[f64; 2]| sheet.around(*p, [p[0] + 0.3, p[1] + 0.3]).over(0.4);
                    b.iter(|| black_box(&places).iter().map(bound).sum::<f64>());
                });
            }
            group.bench_function("prepare", |b| b.iter(|| Sheet::of(black_box(&map))));
            group.bench_function("fit", |b| {
                b.iter_batched(
                    || card.clone(),
                    |card| HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map"),
                    BatchSize::SmallInput,
                );
            });
            group.finish();
        }
    }
}

criterion_group!(all, benches);
criterion_main!(all);
