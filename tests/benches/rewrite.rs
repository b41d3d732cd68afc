//! How fast toolpaths are rewritten, beside a bare scan of the same bytes in the same run. `cargo bench -p
//! evengap-tests`; add `-- --quick` for a rough answer.
//!
//! The toolpaths are short moves (0.4 mm) in absolute E: a part 20 mm high (a fifth of it in the taper), and the same
//! lines all within the taper, where every line's E is written anew: the worst case.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use evengap::follow::{Options, Rewriter, Taper};
use evengap::toolpath::lines::{Lines, Piece};
use evengap::toolpath::words::Line;
use evengap::{Card, HeightMap, SurfaceKind};
use std::fmt::Write;
use std::hint::black_box;

/// A bed 215 mm wide, bent by 0.3 mm, read at 25 places.
fn map(kind: SurfaceKind) -> HeightMap {
    let mut points = String::new();
    for i in 0..5u8 {
        for j in 0..5u8 {
            let [u, v] = [i, j].map(|n| f64::from(n) / 2.0 - 1.0);
            let z = 0.1 + 0.3 * (1.0 - 0.5 * (u * u + v * v)) + 0.01 * f64::from((i * 7 + j * 3) % 5);
            let _ = write!(points, "[{}, {}, {z:.3}],", 117.5 + 107.5 * u, 117.5 + 107.5 * v);
        }
    }
    let card =
        format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [{points}]\n");
    HeightMap::fit(&Card::parse(&card).expect("a card"), kind).expect("a map")
}

/// Layers of `step` mm up to `height`.
fn part(step: f64, height: f64) -> Vec<u8> {
    let mut text = String::from("M82\nG28\nG90\nG1 Z5 F3000\nG92 E0\n");
    let mut z = 0.2;
    while z < height {
        let _ = write!(text, "G1 Z{z:.3} F9000\nG92 E0\n");
        for k in 0..2500u32 {
            let k = f64::from(k);
            let r = 50.0 + 30.0 * (k * 0.0007).sin();
            let a = k * 0.4 / r;
            let (x, y, e) = (117.0 + r * a.cos(), 117.0 + r * a.sin(), k * 0.0332);
            let _ = writeln!(text, "G1 X{x:.3} Y{y:.3} E{e:.5}");
        }
        z += step;
    }
    text.into_bytes()
}

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

fn benches(c: &mut Criterion) {
    let (tall, low) = (part(0.2, 20.0), part(0.03, 3.2));
    for (name, bytes) in [("part of 20 mm", &tall), ("all in the taper", &low)] {
        let mut group = c.benchmark_group(name);
        group.throughput(Throughput::Bytes(bytes.len() as u64)).sample_size(10);
        group.bench_function("scan alone", |b| b.iter(|| scan(black_box(bytes))));
        for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
            let map = map(kind);
            for (words, taper) in [("", Taper::Auto), (", no taper", Taper::None)] {
                let mut options = Options::default();
                options.taper = taper;
                // The map is prepared once for a file of any length: it is measured apart.
                let ready = Rewriter::new(&map, options).expect("options");
                let mut out = Vec::with_capacity(bytes.len() * 2);
                group.bench_function(format!("rewrite, {kind:?}{words}"), |b| {
                    b.iter(|| {
                        out.clear();
                        let mut rewriter = ready.clone();
                        rewriter.push(black_box(bytes), &mut out).expect("it passes");
                        rewriter.finish(&mut out).expect("it passes")
                    });
                });
            }
        }
        group.finish();
    }
    let map = map(SurfaceKind::ThinPlate);
    c.bench_function("prepare a thin-plate map of 25 readings", |b| {
        b.iter(|| Rewriter::new(black_box(&map), Options::default()).expect("options"));
    });
}

criterion_group!(all, benches);
criterion_main!(all);
