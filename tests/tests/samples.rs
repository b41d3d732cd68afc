//! The little machine and the oracle on real files: each agrees with itself, and what is in doubt is listed.

use evengap_tests::machine::{Kind, Setup, run};
use evengap_tests::oracle::{Rules, judge, tell};
use evengap_tests::samples;

#[test]
fn each_sample_agrees_with_itself() {
    for (name, bytes) in samples::all() {
        let rules = Rules { taper: Some((0.5, 2.0)), ..Rules::default() };
        let report = match judge(&bytes, &bytes, &|_, _| 0.0, &rules) {
            Ok(report) => report,
            Err(faults) => panic!("{name}:\n{}", tell(&faults)),
        };
        assert!(report.moves_in > 100, "{name}: {report:?}");
        eprintln!(
            "{name}: {} moves, {} judged, {} while unknown, {} in doubt, {:.3} mm of filament",
            report.moves_in, report.judged, report.passed_unknown, report.doubts, report.filament_in
        );
        let mut told = 0;
        for step in run(&bytes, Setup::default()) {
            if let Kind::Doubt(why) = step.kind
                && told < 4
            {
                told += 1;
                eprintln!("    line {}: {why}: {}", step.line.number, String::from_utf8_lossy(step.line.raw));
            }
        }
    }
}
