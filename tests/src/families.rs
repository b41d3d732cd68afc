//! Five families of invented beds, for simulations of how well a bed is known.
//!
//! | family | what it is | formula |
//! | --- | --- | --- |
//! | twist | tilted and twisted | a u v |
//! | plate | a dome or a bowl, one of three from plate theory | below |
//! | saddle | bent one way along one line and the other way across it | a (p^2 - n q^2), p and q turned by any angle, n from 0.25 to 1 |
//! | wave | two opposite edges held down by clips: a wave along each, that dies out inwards | a cos(k s + f) (1 + k d) e^(-k d) |
//! | dent | a dent or a bump on a shallow dome | a e^(-r^2 / 2 b^2) |
//!
//! u and v run from -1 to 1 over the bed of 235 mm, each bed is tilted as well, amplitudes a are even between limits, with either
//! sign. From S. Timoshenko and S. Woinowsky-Krieger, *Theory of Plates and Shells*, 2nd ed., McGraw-Hill 1959 (recalled, not seen):
//!
//! - a free plate that is hotter below than above: a sphere, flat enough to be a paraboloid (articles 11 and 14);
//! - a round plate, simply supported, under an even load, here circumscribed to the bed: a (1 - r^2) (k - r^2) / k, k = (5 + nu) /
//!   (1 + nu) (article 16);
//! - a square plate, simply supported, under an even load: Navier's double sine series (article 30), four odd terms each way;
//! - the wave: Lévy's solution for a plate with sine-shaped edges (article 31), with no slope at the edge.

use std::f64::consts::{PI, TAU};

/// The bed's side, mm.
pub const SIDE: f64 = 235.0;

/// The families, in the order of the tables.
pub const FAMILIES: [&str; 5] = ["twist", "plate", "saddle", "wave", "dent"];

/// Numbers that look random and are the same on every machine: a congruential generator (Knuth, MMIX).
#[derive(Debug, Clone)]
pub struct Chance(u64);

impl Chance {
    /// Its numbers for these three figures: near figures give numbers that have nothing to do with each other.
    #[must_use]
    pub fn of(a: u64, b: u64, c: u64) -> Chance {
        let mut chance = Chance(a.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ b.wrapping_mul(0xC2B2_AE3D_27D4_EB4F));
        chance.0 ^= c.wrapping_mul(0x1656_67B1_9E37_79F9);
        (0..8).for_each(|_| _ = chance.even());
        chance
    }

    /// Even from 0 to 1.
    pub fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap_or(0)) / 4_294_967_296.0
    }

    /// Even between limits.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// Of either sign.
    pub fn size(&mut self, low: f64, high: f64) -> f64 {
        let size = self.between(low, high);
        if self.even() < 0.5 { -size } else { size }
    }

    /// Normal: Box and Muller 1958.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (TAU * self.even()).cos()
    }
}

/// A bed of a family: its height in mm at (x, y) in mm, both from 0 to [`SIDE`].
pub fn bed(family: usize, chance: &mut Chance) -> Box<dyn Fn(f64, f64) -> f64> {
    let tilt = [0; 3].map(|_| 0.1 * chance.normal());
    let shape = shape(family, chance);
    Box::new(move |x, y| {
        let (u, v) = (2.0 * x / SIDE - 1.0, 2.0 * y / SIDE - 1.0);
        tilt[0] + tilt[1] * u + tilt[2] * v + shape(u, v)
    })
}

fn shape(family: usize, chance: &mut Chance) -> Box<dyn Fn(f64, f64) -> f64> {
    match FAMILIES.get(family) {
        Some(&"twist") => {
            let a = chance.size(0.05, 0.25);
            Box::new(move |u, v| a * u * v)
        }
        Some(&"plate") => plate(chance),
        Some(&"saddle") => {
            let a = chance.size(0.05, 0.25);
            let (s, c) = chance.between(0.0, PI).sin_cos();
            let n = chance.between(0.25, 1.0);
            Box::new(move |u, v| {
                let (p, q) = (c * u + s * v, c * v - s * u);
                a * (p * p - n * q * q)
            })
        }
        Some(&"wave") => {
            let along_x = chance.even() < 0.5;
            let edges = [0; 2].map(|_| {
                let length = chance.between(140.0, 280.0);
                (chance.size(0.03, 0.1), PI * SIDE / length, chance.between(0.0, TAU))
            });
            Box::new(move |u, v| {
                let (s, d) = if along_x { (u, v) } else { (v, u) };
                let wave = |(a, k, f): (f64, f64, f64), d: f64| a * (k * s + f).cos() * (1.0 + k * d) * (-k * d).exp();
                wave(edges[0], 1.0 + d) + wave(edges[1], 1.0 - d)
            })
        }
        _ => {
            let dome = chance.size(0.02, 0.1);
            let a = chance.size(0.05, 0.15);
            let b = chance.between(25.0, 45.0) * 2.0 / SIDE;
            let at = [0; 2].map(|_| chance.between(-0.8, 0.8));
            Box::new(move |u, v| {
                let r2 = (u - at[0]) * (u - at[0]) + (v - at[1]) * (v - at[1]);
                dome * (1.0 - 0.5 * (u * u + v * v)) + a * (-0.5 * r2 / (b * b)).exp()
            })
        }
    }
}

fn plate(chance: &mut Chance) -> Box<dyn Fn(f64, f64) -> f64> {
    let a = chance.size(0.05, 0.3);
    let which = chance.even();
    if which < 1.0 / 3.0 {
        let at = [0; 2].map(|_| chance.between(-0.15, 0.15));
        return Box::new(move |u, v| a * (1.0 - 0.5 * ((u - at[0]) * (u - at[0]) + (v - at[1]) * (v - at[1]))));
    }
    if which < 2.0 / 3.0 {
        let k = (5.0 + 0.33) / (1.0 + 0.33);
        return Box::new(move |u, v| {
            let r2 = 0.5 * (u * u + v * v);
            a * (1.0 - r2) * (k - r2) / k
        });
    }
    let series = |u: f64, v: f64| {
        let odd = || [1, 3, 5, 7].map(f64::from).into_iter();
        odd()
            .flat_map(|m| odd().map(move |n| (m, n)))
            .map(|(m, n)| {
                let wave = (m * PI * 0.5 * (u + 1.0)).sin() * (n * PI * 0.5 * (v + 1.0)).sin();
                wave / (m * n * (m * m + n * n) * (m * m + n * n))
            })
            .sum::<f64>()
    };
    let most = series(0.0, 0.0);
    Box::new(move |u, v| a * series(u, v) / most)
}

/// Franke 1979, functions F1 to F6 over the unit square; `tests/data/README.md` has the source.
///
/// # Panics
/// For another name.
#[must_use]
pub fn franke(function: &str, x: f64, y: f64) -> f64 {
    let square = |v: f64| v * v;
    let bump = square(x - 0.5) + square(y - 0.5);
    match function {
        "F1" => {
            0.75 * (-(square(9.0 * x - 2.0) + square(9.0 * y - 2.0)) / 4.0).exp()
                + 0.75 * (-square(9.0 * x + 1.0) / 49.0 - (9.0 * y + 1.0) / 10.0).exp()
                + 0.5 * (-(square(9.0 * x - 7.0) + square(9.0 * y - 3.0)) / 4.0).exp()
                - 0.2 * (-square(9.0 * x - 4.0) - square(9.0 * y - 7.0)).exp()
        }
        "F2" => ((9.0 * y - 9.0 * x).tanh() + 1.0) / 9.0,
        "F3" => (1.25 + (5.4 * y).cos()) / (6.0 + 6.0 * square(3.0 * x - 1.0)),
        "F4" => (-81.0 / 16.0 * bump).exp() / 3.0,
        "F5" => (-81.0 / 4.0 * bump).exp() / 3.0,
        "F6" => (64.0 - 81.0 * bump).sqrt() / 9.0 - 0.5,
        other => panic!("no function {other}"),
    }
}
