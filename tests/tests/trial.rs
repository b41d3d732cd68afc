//! The test print of the example's bed, judged by the second implementation.
#![allow(clippy::unwrap_used, reason = "tests")]

use evengap::trial::{TrialOptions, trial};
use evengap::{Card, HeightMap, SurfaceKind};
use evengap_tests::oracle::{Rules, judge, tell};

#[test]
fn the_test_print_keeps_the_contract_over_the_example() {
    let card = Card::parse(include_str!("../example/bed.toml")).unwrap();
    for surface in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
        let map = HeightMap::fit(&card, surface).unwrap();
        let mut options = TrialOptions::default();
        options.numbers = true;
        // High enough that the flat one does not scrape.
        options.print.layer_height = Some(0.3);
        let followed = trial(&card, &map, &options).unwrap();
        options.flat = true;
        let flat = trial(&card, &map, &options).unwrap();
        assert_eq!(flat.patches, followed.patches);
        assert_eq!(flat.patches.len(), 25);
        // The one line that says how it was made.
        let flat = flat.text.replace("one layer, at one Z", "one layer, following the bed");
        let rules = Rules { taper: None, floor: Some(0.0), ..Rules::default() };
        let report = judge(flat.as_bytes(), followed.text.as_bytes(), &|x, y| map.height(x, y), &rules)
            .unwrap_or_else(|faults| panic!("{}", tell(&faults)));
        assert!(report.judged > 1000 && report.largest_offset > 0.1, "{report:?}");
    }
}
