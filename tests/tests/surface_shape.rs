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

/// A plausible bed: tilt, twist, bows along x and y, a corner that hangs, and a wave, mm.
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

fn simulate(side: u32, wrong: Option<f64>, numbers: &mut Numbers, spread: bool) -> (usize, bool, usize) {
    let f = bed(numbers);
    let n = side * side;
    let mistyped = (numbers.next() * f64::from(n)).floor();
    let mut text = String::from("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n");
    if spread {
        text += "spread = 0.02\n";
    }
    text += "points = [\n";
    for k in 0..n {
        let (u, v) = (
            f64::from(k % side) * 2.0 / f64::from(side - 1) - 1.0,
            f64::from(k / side) * 2.0 / f64::from(side - 1) - 1.0,
        );
        let mut value = 0.1 + f(u, v) + 0.02 * numbers.normal();
        if let Some(w) = wrong
            && f64::from(k) == mistyped
        {
            value += if numbers.next() < 0.5 { w } else { -w };
        }
        writeln!(text, "[{:.1}, {:.1}, {:.2}],", 117.5 + 100.0 * u, 117.5 + 100.0 * v, value).expect("text");
    }
    let map = HeightMap::fit(&Card::parse(&(text + "]")).expect("card"), SurfaceKind::ThinPlate).expect("fits");
    let shape = shape::describe(&map);
    let hit = shape.outliers.iter().any(|o| o.index as f64 == mistyped);
    let false_ones = shape.outliers.iter().filter(|o| wrong.is_none() || o.index as f64 != mistyped).count();
    (shape.outliers.len(), hit, false_ones)
}

#[test]
fn experiment() {
    for side in [3, 4, 5, 7] {
        let mut numbers = Numbers(u64::from(side));
        let runs = 300;
        let alarms = (0..runs).filter(|_| simulate(side, None, &mut numbers, false).0 > 0).count();
        print!("{side}: false {alarms}/{runs};");
        for wrong in [0.2, 0.3, 0.45, 0.9] {
            let mut hits = 0;
            let mut falses = 0;
            for _ in 0..runs {
                let (_, hit, f) = simulate(side, Some(wrong), &mut numbers, false);
                hits += usize::from(hit);
                falses += usize::from(f > 0);
            }
            print!(" {wrong}: hit {hits} wrong {falses};");
        }
        println!();
    }
}
