//! The work whose machine instructions are counted: `tests/steps.sh` runs it under valgrind, which counts the same on every run
//! and whatever else the machine does. `steps NAME` does one piece of work; without a name it tells them all.

use evengap::check::{GapOptions, Gaps};
use evengap::follow::{Options, Rewriter, Taper};
use evengap::{HeightMap, SurfaceKind};
use evengap_tests::toolpaths::{self, Kind};
use std::hint::black_box;

/// All that is counted happens in here.
#[inline(never)]
fn counted(work: impl FnOnce() -> u64) -> u64 {
    black_box(work())
}

fn map(kind: SurfaceKind) -> HeightMap {
    HeightMap::fit(&toolpaths::card(), kind).expect("a map")
}

/// A megabyte of one kind, rewritten.
fn rewrite(kind: Kind) -> u64 {
    let bytes = toolpaths::make(kind, 1_000_000);
    let mut options = Options::default();
    if kind.without_taper() {
        options.taper = Taper::None;
    }
    let mut rewriter = Rewriter::new(&map(SurfaceKind::ThinPlate), options).expect("options");
    let mut out = Vec::with_capacity(2 << 20);
    counted(|| {
        rewriter.push(black_box(&bytes), &mut out).expect("it passes");
        rewriter.finish(&mut out).expect("it passes").lines_out
    })
}

fn main() {
    let name = std::env::args().nth(1).filter(|a| !a.starts_with('-'));
    let kinds = Kind::ALL.map(|k| k.name().replace([' ', ','], "-"));
    let more = ["fit", "prepare", "gaps"];
    let Some(name) = name else {
        for name in kinds.iter().map(String::as_str).chain(more) {
            println!("{name}");
        }
        return;
    };
    let done = if let Some(n) = kinds.iter().position(|k| *k == name) {
        rewrite(Kind::ALL[n])
    } else {
        match name.as_str() {
            "fit" => {
                let card = toolpaths::card();
                counted(|| HeightMap::fit(&card, SurfaceKind::ThinPlate).map_or(0, |m| m.height(1.0, 2.0).to_bits()))
            }
            "prepare" => {
                let map = map(SurfaceKind::ThinPlate);
                counted(|| Rewriter::new(&map, Options::default()).map_or(0, |r| r.lines_read()))
            }
            "gaps" => {
                let bytes = toolpaths::make(Kind::Short, 200_000);
                let mut gaps = Gaps::new(&map(SurfaceKind::ThinPlate), GapOptions::default());
                counted(|| {
                    gaps.push(black_box(&bytes)).expect("it passes");
                    gaps.finish().expect("it passes").moves
                })
            }
            other => panic!("there is no work named {other}"),
        }
    };
    println!("{done}");
}
