//! Does the chosen surface lie nearer to the bed? Invented beds of the families, and creased ones, on grids of 16, 25 and 49 readings.

#![expect(clippy::cast_precision_loss, reason = "a count of seeds")]

use evengap::{Card, HeightMap, SurfaceKind, surface};
use evengap_tests::families::{Chance, FAMILIES, SIDE, bed};
use evengap_tests::how_well::card;

/// Two flat halves that meet in a crease, which lies anywhere and points any way.
fn creased(chance: &mut Chance) -> Box<dyn Fn(f64, f64) -> f64> {
    let fold = chance.size(0.1, 0.4);
    let (s, c) = chance.between(0.0, std::f64::consts::PI).sin_cos();
    let at = chance.between(-0.4, 0.4);
    Box::new(move |x, y| {
        let (u, v) = (2.0 * x / SIDE - 1.0, 2.0 * y / SIDE - 1.0);
        fold * (c * u + s * v - at).abs()
    })
}

/// Mean square of what a map is off where it was measured, mm^2.
fn square(card: &Card, kind: SurfaceKind, h: &dyn Fn(f64, f64) -> f64) -> f64 {
    let map = HeightMap::fit(card, kind).expect("a map");
    let [x0, y0, x1, y1] = map.measured();
    let n = 24;
    let along = |k: u32, a: f64, b: f64| a + (b - a) * (f64::from(k) + 0.5) / f64::from(n);
    let off = |i: u32, j: u32| {
        let (x, y) = (along(i, x0, x1), along(j, y0, y1));
        (h(x, y) - map.height(x, y)).powi(2)
    };
    (0..n * n).map(|k| off(k % n, k / n)).sum::<f64>() / f64::from(n * n)
}

#[test]
fn the_chosen_surface_is_nearly_the_better_one() {
    const SEEDS: u64 = 30;
    let mut totals = [0.0; 3];
    for (family, name) in FAMILIES.iter().chain(&["crease"]).enumerate() {
        for side in [4, 5, 7] {
            for noise in [0.01, 0.02] {
                // Thin plate, bilinear, chosen.
                let mut squares = [0.0; 3];
                let mut plates = 0;
                for seed in 0..SEEDS {
                    let mut chance = Chance::of(seed, family as u64, u64::from(side) + 1000);
                    let h = if family < FAMILIES.len() { bed(family, &mut chance) } else { creased(&mut chance) };
                    let card = card(side, &format!("spread = {noise}"), &mut |x, y| h(x, y) + noise * chance.normal());
                    let choice = surface::choose(&card).expect("a choice");
                    let both = [SurfaceKind::ThinPlate, SurfaceKind::Bilinear].map(|kind| square(&card, kind, &*h));
                    let chosen = both[usize::from(choice.surface == SurfaceKind::Bilinear)];
                    plates += u32::from(choice.surface == SurfaceKind::ThinPlate);
                    squares.iter_mut().zip([both[0], both[1], chosen]).for_each(|(sum, one)| *sum += one);
                }
                let [plate, bilinear, chosen] = squares.map(|sum| (sum / SEEDS as f64).sqrt());
                println!(
                    "{name:7} {side}x{side} noise {noise}: thin plate {plate:.4}, bilinear {bilinear:.4}, chosen {chosen:.4} mm; thin plate {plates} times of {SEEDS}"
                );
                assert!(chosen <= plate.max(bilinear) * (1.0 + 1e-12), "worse than either would have been by itself");
                totals.iter_mut().zip(squares).for_each(|(sum, one)| *sum += one);
            }
        }
    }
    let [plate, bilinear, chosen] = totals.map(|sum| (sum / (36.0 * SEEDS as f64)).sqrt());
    println!("all: thin plate {plate:.4}, bilinear {bilinear:.4}, chosen {chosen:.4} mm");
    // Nearly the better one: within a twentieth.
    assert!(chosen <= 1.05 * plate.min(bilinear), "{chosen}");
}
