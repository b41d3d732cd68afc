//! The README's example, judged by the slow second implementation over both surfaces.

use evengap::follow::{Options, Taper, rewrite};
use evengap::{Card, HeightMap, SurfaceKind};
use evengap_tests::oracle::{Rules, judge, tell};

#[test]
fn the_example_follows_its_bed() {
    let card = Card::parse(include_str!("../example/bed.toml")).unwrap();
    let part = include_bytes!("../example/part.gcode");
    for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
        for taper in [Taper::Auto, Taper::None, Taper::Range { from: 1.0, to: 6.0 }] {
            let map = HeightMap::fit(&card, kind).unwrap();
            let mut options = Options::default();
            options.taper = taper;
            let (out, summary) = rewrite(part, &map, options).unwrap();
            let rules =
                Rules { taper: summary.taper.map(|[from, to]| (from, to)), floor: Some(0.0), ..Rules::default() };
            match judge(part, &out, &|x, y| map.height(x, y), &rules) {
                Ok(report) => {
                    assert_eq!(report.moves_in as u64, summary.moves_in);
                    assert_eq!(report.moves_out as u64, summary.moves_out);
                    // Moves of E alone have no way to judge.
                    assert!(report.judged > 3000, "only {} moves were judged", report.judged);
                }
                Err(faults) => panic!("{kind:?} {taper:?}:\n{}", tell(&faults)),
            }
        }
    }
}
