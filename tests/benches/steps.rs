//! The work whose machine instructions are counted: `tests/steps.sh` runs it under valgrind, which counts the same on every run
//! and whatever else the machine does. `steps NAME` does one piece of work; without a name it tells them all.

use evengap::check::{GapOptions, Gaps};
use evengap::follow::{Looked, Options, Rewriter, Taper};
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

/// A megabyte of one kind, of which all was told that can be: looking ahead, or following then.
fn ahead(kind: Kind, looks: bool) -> u64 {
    let bytes = toolpaths::make(kind, 1_000_000);
    let mut rewriter = Rewriter::new(&map(SurfaceKind::ThinPlate), Options::default()).expect("options");
    let mut ahead = rewriter.look_ahead();
    let mut pieces: Vec<Looked> = bytes.chunks(1 << 16).map(|_| Looked::default()).collect();
    pieces.iter_mut().zip(bytes.chunks(1 << 16)).for_each(|(piece, chunk)| piece.refill().extend_from_slice(chunk));
    let mut look = || pieces.iter_mut().for_each(|piece| ahead.look(piece, || true));
    if looks {
        return counted(|| {
            look();
            0
        });
    }
    look();
    let mut out = Vec::with_capacity(2 << 20);
    counted(|| {
        pieces.iter_mut().for_each(|piece| rewriter.push_looked(piece, &mut out).expect("it passes"));
        rewriter.finish(&mut out).expect("it passes").lines_out
    })
}

/// What is looked at ahead: in the taper, above it, and arcs.
const AHEAD: [(&str, Kind); 3] = [("taper", Kind::Taper), ("above", Kind::Above), ("arcs", Kind::Arcs)];

fn main() {
    let name = std::env::args().nth(1).filter(|a| !a.starts_with('-'));
    let kinds = Kind::ALL.map(|k| k.name().replace([' ', ','], "-"));
    let more = ["fit", "prepare", "gaps"].map(str::to_owned);
    let ahead_too = AHEAD.iter().flat_map(|(kind, _)| ["look", "looked"].map(|how| format!("{kind}--{how}")));
    let Some(name) = name else {
        for name in kinds.into_iter().chain(more).chain(ahead_too) {
            println!("{name}");
        }
        return;
    };
    let done = if let Some(n) = kinds.iter().position(|k| *k == name) {
        rewrite(Kind::ALL[n])
    } else if let Some((kind, how)) = name.split_once("--")
        && let Some((_, kind)) = AHEAD.iter().find(|(name, _)| *name == kind)
    {
        ahead(*kind, how == "look")
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
