//! What the native library makes of the cases that the package is tested with: cards and points in, heights and
//! rewritten toolpaths out, in the folder given. `wasm/tests/package.test.mjs` compares them bit by bit.
//!
//! Usage: `cargo run -p evengap-wasm --example native -- CARD TOOLPATH OUT`

use evengap::follow::{Options, rewrite};
use evengap::{Card, HeightMap, SurfaceKind};
use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let mut next = |name: &str| arguments.next().ok_or(format!("{name} is missing"));
    let (card, toolpath, out) = (next("CARD")?, next("TOOLPATH")?, next("OUT")?);
    let card = Card::parse(&std::fs::read_to_string(card)?)?;
    let toolpath = std::fs::read(toolpath)?;
    let out = Path::new(&out);
    std::fs::create_dir_all(out)?;

    let mut exact = card.clone();
    exact.readings.spread = None;
    let mut smoothed = card;
    smoothed.readings.spread = Some(0.02);
    let cases = [
        ("exact", &exact, SurfaceKind::ThinPlate, "thin-plate"),
        ("smoothed", &smoothed, SurfaceKind::ThinPlate, "thin-plate"),
        ("bilinear", &exact, SurfaceKind::Bilinear, "bilinear"),
    ];
    let mut names = Vec::new();
    for (name, card, kind, surface) in cases {
        // Both sides start from the same text.
        let text = card.to_toml();
        let map = HeightMap::fit(&Card::parse(&text)?, kind)?;
        let points = points(&map);
        let heights: Vec<f64> = points.iter().map(|&[x, y]| map.height(x, y)).collect();
        let (rewritten, summary) = rewrite(&toolpath, &map, Options::default())?;
        std::fs::write(out.join(format!("{name}.toml")), text)?;
        std::fs::write(out.join(format!("{name}.points")), bytes(points.as_flattened()))?;
        std::fs::write(out.join(format!("{name}.heights")), bytes(&heights))?;
        std::fs::write(out.join(format!("{name}.gcode")), rewritten)?;
        std::fs::write(out.join(format!("{name}.summary.json")), serde_json::to_string(&summary)?)?;
        names.push(serde_json::json!({ "name": name, "surface": surface, "points": points.len() }));
    }
    std::fs::write(out.join("cases.json"), serde_json::to_string(&names)?)?;
    Ok(())
}

/// The readings themselves, and a lattice of odd steps that reaches beyond the bed on every side.
fn points(map: &HeightMap) -> Vec<[f64; 2]> {
    let bed = &map.card().bed;
    let along = |[low, high]: [f64; 2], n: u32| low - 20.3 + (high - low + 40.6) * f64::from(n) / 40.0;
    let lattice = (0..=40).flat_map(|j| (0..=40).map(move |i| (i, j))).map(|(i, j)| [along(bed.x, i), along(bed.y, j)]);
    map.readings().iter().map(|r| [r.x, r.y]).chain(lattice).collect()
}

fn bytes(numbers: &[f64]) -> Vec<u8> {
    numbers.iter().flat_map(|number| number.to_le_bytes()).collect()
}
