//! A map evaluated on a grid and drawn: as grey levels for a program, as a contour plan for a person.
//!
//!     cargo run -p evengap --example heights_drawn -- FOLDER

#![allow(clippy::disallowed_types, clippy::disallowed_methods, reason = "a program: the core itself does no I/O")]

use evengap::draw::{PlanOptions, plan};
use evengap::{Card, HeightMap, SurfaceKind};
use std::error::Error;
use std::path::PathBuf;

const CARD: &str = "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'gauge'\nparked = 0.3\nspread = 0.015\n\
     points = [[20, 20, 0.30], [117, 20, 0.20], [215, 20, 0.30], [20, 117, 0.25], [117, 117, 0.10],\n\
     [215, 117, 0.25], [20, 215, 0.35], [117, 215, 0.25], [215, 215, 0.30]]\n";

const COLUMNS: u32 = 96;
const ROWS: u32 = 96;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).map_or_else(std::env::temp_dir, PathBuf::from);
    let card = Card::parse(CARD)?;
    let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;

    // Row by row from the back, as a picture has them.
    let at = |k: u32, n: u32, [low, high]: [f64; 2]| low + (high - low) * (f64::from(k) + 0.5) / f64::from(n);
    let heights: Vec<f64> = (0..ROWS)
        .rev()
        .flat_map(|row| (0..COLUMNS).map(move |column| (row, column)))
        .map(|(row, column)| map.height(at(column, COLUMNS, card.bed.x), at(row, ROWS, card.bed.y)))
        .collect();

    // Grey levels, the highest white, a flat bed black: a portable graymap, which most programs read.
    let (low, high) = heights.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), h| (a.min(*h), b.max(*h)));
    let range = if high > low { high - low } else { 1.0 };
    let mut picture = format!("P2\n{COLUMNS} {ROWS}\n255\n");
    for row in heights.chunks(COLUMNS as usize) {
        let levels: Vec<String> = row.iter().map(|h| format!("{:.0}", 255.0 * (h - low) / range)).collect();
        picture += &(levels.join(" ") + "\n");
    }
    std::fs::write(folder.join("bed.pgm"), picture)?;

    // Contours with their heights, the readings, a scale and a legend.
    std::fs::write(folder.join("bed.svg"), plan(&card, &map, &PlanOptions::default()))?;

    println!("from {low:+.3} to {high:+.3} mm; drew bed.pgm and bed.svg in {}", folder.display());
    Ok(())
}
