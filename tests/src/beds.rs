//! Made-up beds, and how made-up toolpaths are rewritten over them.

use crate::machine::Setup;
use evengap::follow::{EMode, Options, Taper};
use evengap::{Card, HeightMap, SurfaceKind};
use proptest::prelude::*;

/// A card with readings of a height function, mm: `n` by `n`, `size` mm wide and deep from a corner.
///
/// # Panics
/// Where that makes no card.
pub fn card_at(n: u32, [x0, y0]: [f64; 2], size: f64, h: impl Fn(f64, f64) -> f64) -> Card {
    let at = |k: u32| size * f64::from(k) / f64::from(n - 1);
    let (x1, y1) = (x0 + size, y0 + size);
    let mut text =
        format!("[bed]\nx = [{x0}, {x1}]\ny = [{y0}, {y1}]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [\n");
    for j in 0..n {
        for i in 0..n {
            let (x, y) = (x0 + at(i), y0 + at(j));
            text += &format!("[{x}, {y}, {:.6}],\n", h(x, y) + 0.1);
        }
    }
    text += "]\n";
    Card::parse(&text).expect("a card")
}

/// The map of such a card, from `from` to `to` both ways.
///
/// # Panics
/// Where that makes no map.
pub fn map(n: u32, from: f64, to: f64, kind: SurfaceKind, h: impl Fn(f64, f64) -> f64) -> HeightMap {
    HeightMap::fit(&card_at(n, [from, from], to - from, h), kind).expect("a map")
}

/// Every taper there is.
pub fn tapers() -> impl Strategy<Value = Taper> {
    prop_oneof![
        Just(Taper::None),
        Just(Taper::Auto),
        Just(Taper::Range { from: 0.5, to: 1.5 }),
        Just(Taper::Range { from: 0.0, to: 3.0 }),
    ]
}

/// Beds: constant, a plane, one twisted patch, many patches, and a bent sheet.
pub fn beds() -> impl Strategy<Value = HeightMap> {
    let small = -0.15..0.15_f64;
    let tilt = || -0.000_5..0.000_5_f64;
    prop_oneof![
        small.clone().prop_map(|c| map(2, -500.0, 500.0, SurfaceKind::ThinPlate, |_, _| c)),
        (small.clone(), tilt(), tilt())
            .prop_map(|(c, a, b)| map(3, -500.0, 500.0, SurfaceKind::ThinPlate, |x, y| c + a * x + b * y)),
        (small.clone(), -0.000_01..0.000_01_f64).prop_map(|(c, t)| map(
            2,
            0.0,
            200.0,
            SurfaceKind::Bilinear,
            |x, y| c + t * (x - 90.0) * (y - 110.0)
        )),
        proptest::collection::vec(small.clone(), 16).prop_map(|v| {
            let node = |q: f64| [0.0, 67.0, 134.0, 201.0].iter().position(|n| (q - n).abs() < 1.0).unwrap_or(0);
            map(4, 0.0, 201.0, SurfaceKind::Bilinear, |x, y| v[node(y) * 4 + node(x)])
        }),
        (small, -0.3..0.3_f64, -0.3..0.3_f64).prop_map(|(c, a, b)| {
            map(3, 10.0, 190.0, SurfaceKind::ThinPlate, |x, y| {
                c + a * ((x - 100.0) / 100.0).powi(2) + b * ((y - 100.0) / 100.0).powi(2)
            })
        }),
    ]
}

/// How many cases a property runs: more with `PROPTEST_CASES`, fewer than the usual 256 where a case is a whole file.
#[must_use]
pub fn config(cases: u32) -> ProptestConfig {
    let asked = std::env::var_os("PROPTEST_CASES").is_some();
    let default = ProptestConfig::default();
    ProptestConfig { failure_persistence: None, cases: if asked { default.cases } else { cases }, ..default }
}

/// The rewriter's options for made-up toolpaths, which go anywhere: the floor has tests of its own.
pub fn anywhere(set: impl FnOnce(&mut Options)) -> Options {
    let mut options = Options::default();
    options.floor = -1000.0;
    set(&mut options);
    options
}

/// The rewriter's options for a machine that wakes so.
pub fn woken(options: &mut Options, setup: Setup) {
    options.g90_sets_e = setup.g90_sets_e;
    options.e_start = if setup.e_relative { EMode::Relative } else { EMode::Absolute };
}
