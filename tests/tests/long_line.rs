//! A line that is longer than memory should be: by itself in a process, as its peak is measured.

use evengap::SurfaceKind;
use evengap::check::proof::{Proof, ProofOptions};
use evengap::check::{GapOptions, Gaps};
use evengap::follow::{Options, Rewriter};
use evengap_tests::beds::map;

/// Lines of 300 MB go through without being held: comments pass, motion is refused.
#[test]
fn a_line_is_not_held() {
    let Ok(status) = std::fs::read_to_string("/proc/self/status") else {
        eprintln!("SKIPPED: this system does not tell how much memory a process has had");
        return;
    };
    let peak = |status: &str| -> u64 {
        let line = status.lines().find(|l| l.starts_with("VmHWM:")).expect("VmHWM");
        line.split_whitespace().nth(1).expect("a number").parse().expect("a number")
    };
    let before = peak(&status);
    let bed = map(4, 0.0, 150.0, SurfaceKind::ThinPlate, |x, y| 0.1 * ((x - 70.0) / 60.0).powi(2) + 0.0005 * y);
    let chunk = vec![b'x'; 64 * 1024];
    let mut rewriter = Rewriter::new(&bed, Options::default()).expect("options");
    let mut gaps = Gaps::new(&bed, GapOptions::default());
    let mut proof = Proof::new(&bed, ProofOptions::default());
    let mut out = Vec::new();
    let mut came = 0;
    for n in 0..4800 {
        let bytes = if n == 0 { b"; a comment ".as_slice() } else { &chunk };
        rewriter.push(bytes, &mut out).expect("a comment");
        came += out.len();
        out.clear();
        gaps.push(bytes).expect("a comment");
        proof.push_original(bytes).expect("a comment");
        proof.push_rewritten(bytes).expect("a comment");
    }
    rewriter.finish(&mut out).expect("a comment");
    assert_eq!(came + out.len(), 12 + 4799 * chunk.len());
    assert_eq!(gaps.finish().expect("a comment").lines, 1);
    assert!(proof.finish().expect("a comment").is_proven());
    let grown = peak(&std::fs::read_to_string("/proc/self/status").expect("status")) - before;
    eprintln!("300 MB in one line through three of them: {grown} KiB more at the peak");
    assert!(grown < 64 * 1024, "{grown} KiB");

    // A motion line of that length is refused long before its end.
    let mut rewriter = Rewriter::new(&bed, Options::default()).expect("options");
    let digits = vec![b'0'; 64 * 1024];
    let refused = (0..4800).find_map(|n| rewriter.push(if n == 0 { b"G1 X" } else { &digits }, &mut out).err());
    assert_eq!(refused.expect("refused").places()[0].line, 1);
}
