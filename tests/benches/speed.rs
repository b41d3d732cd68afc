//! How fast toolpaths are rewritten, as ratios in one run: beside a bare scan of the same bytes (lines split, every number
//! read, nothing else), beside copying them, beside two lines of awk where there is one, and beside the same on two
//! threads; of these also, what the machine gives two threads that have nothing to do with each other.
//!
//! `cargo bench -p evengap-tests --bench speed [-- --megabytes 20 --runs 9]`. Each figure is the median of the runs, which
//! take turns, so that whatever else the machine does falls on all of them alike; of each ratio the median too, since the
//! two runs of a pair stand side by side.

use evengap::follow::{Options, Rewriter, Sink, Taper, Together};
use evengap::toolpath::lines::{Lines, Piece};
use evengap::toolpath::words::Line;
use evengap::{HeightMap, SurfaceKind};
use evengap_tests::toolpaths::{self, Kind};
use std::convert::Infallible;
use std::hint::black_box;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Splits lines and reads every number, and does nothing else.
fn scan(bytes: &[u8]) -> f64 {
    let (mut lines, mut line, mut sum) = (Lines::default(), Line::default(), 0.0);
    let done = lines.push(bytes, |piece| {
        if let Piece::Line(text, _) = piece {
            line.read(text);
            sum += line.words().iter().filter_map(|w| w.number).map(|n| n.value).sum::<f64>();
        }
        Ok::<(), ()>(())
    });
    done.map_or(0.0, |()| sum)
}

/// As the command does it: by chunks, into a buffer that is emptied.
#[inline(never)]
fn rewrite(ready: &Rewriter, bytes: &[u8], out: &mut Vec<u8>) -> u64 {
    let mut rewriter = ready.clone();
    for chunk in bytes.chunks(1 << 16) {
        out.clear();
        rewriter.push(chunk, out).expect("it passes");
        black_box(&out);
    }
    rewriter.finish(out).expect("it passes").lines_out
}

/// Where what comes out is thrown away.
struct Nowhere;

impl Sink for Nowhere {
    type Fault = Infallible;
    fn take(&mut self, _original: &mut Vec<u8>, rewritten: Option<&[u8]>) -> Result<(), Infallible> {
        black_box(rewritten);
        Ok(())
    }
}

/// As the command does it on so many threads. (The pieces are copied, as if they were read.)
fn rewrite_together(threads: usize, ready: &Rewriter, bytes: &[u8]) {
    let together = Together::new(threads, ready.clone(), bytes, Nowhere);
    std::thread::scope(|scope| {
        let part = || {
            if let Some((_, done)) = together.take_part() {
                black_box(done.expect("it passes").lines_out);
            }
        };
        for _ in 1..threads {
            scope.spawn(part);
        }
        part();
    });
}

/// Two whole rewritings side by side: nothing that is shared out can be quicker on this machine at this time.
fn rewrite_both(ready: &Rewriter, bytes: &[u8]) {
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| rewrite_together(1, ready, bytes));
        }
    });
}

fn seconds(work: impl FnOnce()) -> f64 {
    let begun = Instant::now();
    work();
    begun.elapsed().as_secs_f64()
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}

/// The least that anybody would write: reads each word, adds a plane to Z, and prints the line with it.
const AWK_PLANE: &str = r#"/^G1/ { for (i = 2; i <= NF; i++) { c = substr($i, 1, 1); v[c] = substr($i, 2) + 0 } printf "%s Z%.3f\n", $0, v["Z"] + 0.001 * v["X"] - 0.002 * v["Y"]; next } { print }"#;

/// The job without any care: the readings' heights `m`, straight between them, dying out from Z `a` to `b`, where E is scaled; nothing is split, checked
/// or kept as it was.
const AWK_JOB: &str = r#"BEGIN { split(h, m, " ") } /^G90/ { q = 0 } /^G91/ { q = 1 } /^M83/ { r = 1 } /^G92/ { e = f = 0 } /^G1/ { for (i = 2; i <= NF; i++) { c = substr($i, 1, 1); n = substr($i, 2) + 0; v[c] = q && c != "E" ? v[c] + n : n } w = v["Z"] <= a ? 1 : v["Z"] >= b ? 0 : (b - v["Z"]) / (b - a); if (w > 0) { s = (v["X"] - 10) / 53.75; t = (v["Y"] - 10) / 53.75; i = int(s); j = int(t); s -= i; t -= j; k = 5 * i + j + 1; d = (1 - s) * ((1 - t) * m[k] + t * m[k + 1]) + s * ((1 - t) * m[k + 5] + t * m[k + 6]); if (w < 1 && / E/) { g = (v["E"] - (r ? 0 : e)) * (1 - d / (b - a)); f = r ? g : f + g; e = v["E"]; sub(/ E.*/, ""); printf "%s E%.5f Z%.3f\n", $0, f, v["Z"] + w * d } else printf "%s Z%.3f\n", $0, v["Z"] + w * d; next } } { print }"#;

/// A line of awk, and what its variables are.
fn awk(line: &str, told: &[String], bytes: &[u8]) -> Option<f64> {
    let begun = Instant::now();
    let told = told.iter().flat_map(|told| ["-v", told]);
    let mut child =
        Command::new("awk").args(told).arg(line).stdin(Stdio::piped()).stdout(Stdio::null()).spawn().ok()?;
    child.stdin.take()?.write_all(bytes).ok()?;
    child.wait().ok()?.success().then(|| begun.elapsed().as_secs_f64())
}

fn number(name: &str, default: usize) -> usize {
    let mut words = std::env::args().skip_while(|a| a != name);
    words.nth(1).and_then(|n| n.parse().ok()).unwrap_or(default)
}

fn main() {
    let (megabytes, runs) = (number("--megabytes", 20), number("--runs", 9).max(1));
    let only = std::env::args().skip_while(|a| a != "--only").nth(1);
    let rate = |bytes: &[u8], s: f64| {
        #[expect(clippy::cast_precision_loss, reason = "bytes of a test")]
        let b = bytes.len() as f64;
        b / 1e6 / s
    };
    println!("{megabytes} MB of each, {runs} runs, medians; MB/s, and the time as a multiple of the scan's");
    println!(
        "{:<36} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8}",
        "toolpath", "copy", "scan", "rewrite", "x scan", "x plane", "x job", "on two", "of"
    );
    for kind in Kind::ALL {
        if only.as_ref().is_some_and(|o| !kind.name().contains(o.as_str())) {
            continue;
        }
        let bytes = &toolpaths::make(kind, megabytes * 1_000_000)[..];
        for surface in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
            let map = HeightMap::fit(&toolpaths::card(), surface).expect("a map");
            let mut options = Options::default();
            if kind.without_taper() {
                options.taper = Taper::None;
            }
            let ready = Rewriter::new(&map, options).expect("options");
            let mut out = Vec::with_capacity(1 << 18);
            let mut times: [Vec<f64>; 3] = Default::default();
            let (mut ratio, mut awks) = (Vec::new(), [Vec::new(), Vec::new()]);
            let [mut on_two, mut both] = [Vec::new(), Vec::new()];
            let heights: Vec<String> =
                map.card().readings.points.iter().map(|p| map.card().readings.height_of(p.value).to_string()).collect();
            let [from, to] = ready.taper().unwrap_or([1e6, 2e6]);
            let told = [format!("h={}", heights.join(" ")), format!("a={from}"), format!("b={to}")];
            // It takes its time.
            let with_awk = surface == SurfaceKind::ThinPlate && !matches!(kind, Kind::Above | Kind::Arcs);
            for run in 0..runs {
                let mut copied = Vec::with_capacity(1 << 17);
                let copy = seconds(|| {
                    for chunk in bytes.chunks(1 << 16) {
                        copied.clear();
                        copied.extend_from_slice(black_box(chunk));
                        black_box(&copied);
                    }
                });
                let scanned = seconds(|| {
                    black_box(scan(black_box(bytes)));
                });
                let rewritten = seconds(|| {
                    black_box(rewrite(&ready, black_box(bytes), &mut out));
                });
                ratio.push(rewritten / scanned);
                let one = seconds(|| rewrite_together(1, &ready, black_box(bytes)));
                on_two.push(one / seconds(|| rewrite_together(2, &ready, black_box(bytes))));
                both.push(2.0 * one / seconds(|| rewrite_both(&ready, black_box(bytes))));
                if with_awk && run % 4 == 0 {
                    awks[0].extend(awk(AWK_PLANE, &[], bytes).map(|s| s / rewritten));
                    awks[1].extend(awk(AWK_JOB, &told, bytes).map(|s| s / rewritten));
                }
                for (all, one) in times.iter_mut().zip([copy, scanned, rewritten]) {
                    all.push(one);
                }
            }
            let [copy, scanned, rewritten] = times.map(median);
            let [plane, job] = awks.map(|of| if of.is_empty() { "-".into() } else { format!("{:.1}", median(of)) });
            println!(
                "{:<36} {:>8.0} {:>8.0} {:>8.0} {:>8.2} {:>8} {:>8} {:>8.2} {:>8.2}",
                format!("{}, {surface:?}", kind.name()),
                rate(bytes, copy),
                rate(bytes, scanned),
                rate(bytes, rewritten),
                median(ratio),
                plane,
                job,
                median(on_two),
                median(both),
            );
        }
    }
}
