//! What a program that the engine lives in may rely on: its types go from thread to thread, and may be asked for in a log.

use evengap::check::proof::Proof;
use evengap::check::{GapReport, Gaps, Judgement};
use evengap::follow::{LookAhead, Looked, Options, Rewriter, Summary};
use evengap::known::{Enough, Known, Next};
use evengap::surface::sheet::Sheet;
use evengap::surface::thin_plate::ThinPlate;
use evengap::{Card, Error, Footprint, HeightMap, SurfaceKind};

fn travels<T: Send + Sync + Unpin + std::fmt::Debug + 'static>() {}

/// The compiler holds it; that it compiles is the test.
#[test]
fn everything_travels_between_threads() {
    travels::<Card>();
    travels::<HeightMap>();
    travels::<ThinPlate>();
    travels::<Sheet>();
    travels::<Known>();
    travels::<(Enough, Next, Footprint)>();
    travels::<(Rewriter, Options, Summary)>();
    travels::<(LookAhead, Looked)>();
    travels::<(Gaps, GapReport, Judgement)>();
    travels::<Proof>();
    travels::<Error>();
}

/// An error goes through `?` into a box, with all that it says; a map is fitted once and shared.
#[test]
fn maps_are_shared_and_errors_are_boxed() -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
    let card = Card::parse(
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\npoints = [[20, 20, 0], [180, 20, 0.1], [100, 180, 0.2]]",
    )?;
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
    let rewriter = Rewriter::new(&map, Options::default())?;
    let rewritten: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4)
            .map(|_| {
                let mut rewriter = rewriter.clone();
                scope.spawn(move || {
                    let mut out = Vec::new();
                    rewriter.push(b"G28\nM83\nG1 Z0.2 F600\nG1 X180 Y180 E3\n", &mut out)?;
                    rewriter.finish(&mut out)?;
                    Ok(out)
                })
            })
            .collect();
        threads.into_iter().map(|thread| thread.join().expect("no panic")).collect::<Result<_, Error>>()
    })?;
    assert!(rewritten[0].len() > 60 && rewritten.iter().all(|out| *out == rewritten[0]));
    let boxed: Box<dyn std::error::Error + Send + Sync> = Card::parse("bed").unwrap_err().into();
    assert!(!boxed.to_string().is_empty());
    Ok(())
}
