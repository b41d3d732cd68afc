//! Made-up beds, and the options and rules that belong together.

use crate::machine::Setup;
use evengap::check::Followed;
use evengap::check::proof::{Proof, ProofOptions, Side, Verdict};
use evengap::follow::{EMode, Options, Summary, Taper};
use evengap::{Card, Error, HeightMap, SurfaceKind};
use proptest::prelude::*;

/// A card with readings of a height function, mm: `n` by `n` from `from` to `to`.
///
/// # Panics
/// Where that makes no card.
pub fn card(n: u32, from: f64, to: f64, h: impl Fn(f64, f64) -> f64) -> Card {
    let at = |k: u32| from + (to - from) * f64::from(k) / f64::from(n - 1);
    let mut text = format!(
        "[bed]\nx = [{from}, {to}]\ny = [{from}, {to}]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [\n"
    );
    for j in 0..n {
        for i in 0..n {
            let (x, y) = (at(i), at(j));
            text += &format!("[{x}, {y}, {:.6}],\n", h(x, y) + 0.1);
        }
    }
    text += "]\n";
    Card::parse(&text).expect("a card")
}

/// The map of such a card.
///
/// # Panics
/// Where that makes no map.
pub fn map(n: u32, from: f64, to: f64, kind: SurfaceKind, h: impl Fn(f64, f64) -> f64) -> HeightMap {
    HeightMap::fit(&card(n, from, to, h), kind).expect("a map")
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

/// The rewriter's options for a machine that wakes so.
pub fn woken(options: &mut Options, setup: Setup) {
    options.g90_sets_e = setup.g90_sets_e;
    options.e_start = if setup.e_relative { EMode::Relative } else { EMode::Absolute };
}

/// What is to be proven of a toolpath that was rewritten with these options.
#[must_use]
pub fn to_prove(options: &Options, summary: &Summary) -> ProofOptions {
    let mut out = ProofOptions::default();
    out.reading.e_start = options.e_start;
    out.reading.g90_sets_e = options.g90_sets_e;
    out.reading.unknown_motion = options.allow.unknown_motion;
    out.reading.own_levelling = options.allow.own_levelling;
    out.followed = Followed { taper: summary.taper, shift: options.shift };
    out.tolerance = options.tolerance;
    out.flow = options.flow;
    out.floor = options.floor;
    out
}

/// Walks both, in chunks, whichever is behind first.
///
/// # Errors
/// Where the original cannot be read.
pub fn prove(original: &[u8], rewritten: &[u8], map: &HeightMap, options: ProofOptions) -> Result<Verdict, Error> {
    let mut proof = Proof::new(map, options);
    let (mut a, mut b) = (original.chunks(1000), rewritten.chunks(1000));
    loop {
        let pushed = match proof.behind() {
            Side::Original => {
                a.next().map(|c| proof.push_original(c)).or_else(|| b.next().map(|c| proof.push_rewritten(c)))
            }
            Side::Rewritten => {
                b.next().map(|c| proof.push_rewritten(c)).or_else(|| a.next().map(|c| proof.push_original(c)))
            }
        };
        match pushed {
            Some(done) => done?,
            None => return proof.finish(),
        }
    }
}
