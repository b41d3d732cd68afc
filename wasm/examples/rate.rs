//! How fast the native library rewrites, one thread: `tests/js/rate.js` measures the package beside it, in the same run.
//!
//! Usage: `rate make CARD TOOLPATH` writes a card and a toolpath; `rate CARD TOOLPATH` reads them and prints the seconds that
//! one rewriting took, the files read and the map prepared before.

use evengap::follow::{Options, Rewriter};
use evengap::{Card, HeightMap, SurfaceKind};
use std::fmt::Write as _;
use std::time::Instant;

/// As the page and the command push.
const CHUNK: usize = 256 * 1024;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", card, toolpath] => {
            std::fs::write(card, bed())?;
            std::fs::write(toolpath, part())?;
        }
        [card, toolpath] => {
            let map = HeightMap::fit(&Card::parse(&std::fs::read_to_string(card)?)?, SurfaceKind::ThinPlate)?;
            let toolpath = std::fs::read(toolpath)?;
            let mut rewriter = Rewriter::new(&map, Options::default())?;
            let mut out = Vec::with_capacity(2 * CHUNK);
            let start = Instant::now();
            for chunk in toolpath.chunks(CHUNK) {
                out.clear();
                rewriter.push(chunk, &mut out)?;
            }
            rewriter.finish(&mut out)?;
            println!("{}", start.elapsed().as_secs_f64());
        }
        _ => return Err("usage: rate [make] CARD TOOLPATH".into()),
    }
    Ok(())
}

/// A bed 215 mm wide, bent by 0.3 mm, read at 25 places.
fn bed() -> String {
    let mut points = String::new();
    for i in 0..5u8 {
        for j in 0..5u8 {
            let [u, v] = [i, j].map(|n| f64::from(n) / 2.0 - 1.0);
            let z = 0.1 + 0.3 * (1.0 - 0.5 * (u * u + v * v)) + 0.01 * f64::from((i * 7 + j * 3) % 5);
            let _ = write!(points, "[{}, {}, {z:.3}],", 117.5 + 107.5 * u, 117.5 + 107.5 * v);
        }
    }
    format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\npoints = [{points}]\n")
}

/// A part 50 mm high in layers of 0.2 mm, moves of 0.4 mm in absolute E: about 19 MB.
fn part() -> String {
    let mut text = String::from("M82\nG28\nG90\nG1 Z5 F3000\nG92 E0\n");
    for layer in 1..=250u32 {
        let _ = write!(text, "G1 Z{:.3} F9000\nG92 E0\n", 0.2 * f64::from(layer));
        for k in 0..2500u32 {
            let k = f64::from(k);
            let r = 50.0 + 30.0 * (k * 0.0007).sin();
            let a = k * 0.4 / r;
            let (x, y, e) = (117.0 + r * a.cos(), 117.0 + r * a.sin(), k * 0.0332);
            let _ = writeln!(text, "G1 X{x:.3} Y{y:.3} E{e:.5}");
        }
    }
    text
}
