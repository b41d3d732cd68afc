//! The same bed read four ways gives the same map; for the dial, up to its datum.
#![allow(clippy::unwrap_used, reason = "tests")]

use evengap::plan::{Layout, Room, card_text, planned};
use evengap::{Card, HeightMap, SurfaceKind};

/// An invented bed, mm: tilted, twisted, its middle high.
fn bed(x: f64, y: f64) -> f64 {
    let (u, v) = (x / 235.0 - 0.5, y / 235.0 - 0.5);
    0.05 + 0.12 * u - 0.07 * v + 0.15 * u * v + 0.2 * (0.5 - u * u - v * v)
}

const OFFSET: [f64; 2] = [-35.0, 22.0];
const RIGHT_AT: [f64; 2] = [117.0, 117.0];

/// What a person with a steady hand writes down at the nozzle's place (x, y), by the brief's table of methods.
type Person = fn(f64, f64) -> f64;

/// A card planned with `keys`, each point read by `person`; as the card's text would come back.
fn read(keys: &str, layout: Layout<'_>, person: Person) -> Card {
    let text = format!("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\n{keys}\n");
    let bare = Card::parse_without_points(&text).unwrap();
    let plan = planned(&bare, layout, Room { margin: 0.0, clearance: 0.0 }).unwrap();
    assert!(plan.left_out.is_empty());
    // Written into the card by hand: a third number on each point's line.
    let mut filled = String::new();
    for line in card_text(&plan.card).lines() {
        match line.trim_start().strip_prefix('[').and_then(|rest| rest.split_once("],")) {
            Some((place, comment)) => {
                let numbers: Vec<f64> = place.split(',').map(|n| n.trim().parse().unwrap()).collect();
                let value = person(numbers[0], numbers[1]);
                filled.push_str(&format!("  [{place}, {value}],{comment}\n"));
            }
            None => filled.push_str(&format!("{line}\n")),
        }
    }
    let card = Card::parse(&filled).unwrap();
    assert!(card.readings.unread.is_empty() && card.readings.points.len() >= 25, "{filled}");
    card
}

/// The largest difference of two maps over the bed, mm.
fn apart(a: &HeightMap, b: impl Fn(f64, f64) -> f64) -> f64 {
    let steps = (0..=47).map(|k| 5.0 * f64::from(k));
    let places = steps.clone().flat_map(|x| steps.clone().map(move |y| (x, y)));
    places.map(|(x, y)| (a.height(x, y) - b(x, y)).abs()).fold(0.0, f64::max)
}

#[test]
fn drag_gauge_and_patch_give_the_same_map_and_dial_the_same_shape() {
    // Places that nozzle and plunger both reach, as the places that are read.
    let places: Vec<[f64; 2]> =
        (0..6).flat_map(|j| (0..6).map(move |i| [12.0 + 35.0 * f64::from(i), 30.0 + 38.0 * f64::from(j)])).collect();
    let nozzle: Vec<[f64; 2]> = places.iter().map(|p| [p[0] - OFFSET[0], p[1] - OFFSET[1]]).collect();
    for kind in [SurfaceKind::ThinPlate, SurfaceKind::Bilinear] {
        let fit = |card: &Card| HeightMap::fit(card, kind).unwrap();
        let given = Layout::Given(&places);
        let drag = fit(&read("method = 'drag'\nsheet = 0.1", given, |x, y| bed(x, y) + 0.1));
        let gauge = fit(&read("method = 'gauge'\nparked = 0.5", given, |x, y| 0.5 - bed(x, y)));
        let patch = fit(&read("method = 'patch'\nparked = 0.3", given, |x, y| 0.3 - bed(x, y)));
        // The indicator was set to 0 somewhere: what it shows is off by a constant.
        let keys = format!("method = 'dial'\noffset = {OFFSET:?}\nright_at = {RIGHT_AT:?}");
        let dial = fit(&read(&keys, Layout::Given(&nozzle), |x, y| bed(x + OFFSET[0], y + OFFSET[1]) - 1.234));

        // Not by all being flat: the bed's range over the readings is 0.17 mm.
        assert!((drag.height(117.0, 117.0) - drag.height(12.0, 220.0)).abs() > 0.1);
        // Values carry 16 digits; what is left is the rounding of the sums, far below the 0.0001 mm that anything here reads.
        assert!(apart(&gauge, |x, y| drag.height(x, y)) < 1e-9);
        assert!(apart(&patch, |x, y| drag.height(x, y)) < 1e-9);
        let datum = drag.height(RIGHT_AT[0], RIGHT_AT[1]);
        assert!(apart(&dial, |x, y| drag.height(x, y) - datum) < 1e-9);
        assert!(dial.height(RIGHT_AT[0], RIGHT_AT[1]).abs() < 1e-9);
    }
}

#[test]
fn a_relative_card_is_the_absolute_one_shifted() {
    let grid = Layout::Grid { columns: 6, rows: 6 };
    for (keys, person) in [
        ("method = 'drag'\nsheet = 0.1", (|x, y| bed(x, y) + 0.1) as Person),
        ("method = 'gauge'\nparked = 0.5", |x, y| 0.5 - bed(x, y)),
        ("method = 'patch'\nparked = 0.3", |x, y| 0.3 - bed(x, y)),
    ] {
        let map = |keys: &str| HeightMap::fit(&read(keys, grid, person), SurfaceKind::ThinPlate).unwrap();
        let (absolute, relative) = (map(keys), map(&format!("{keys}\nright_at = {RIGHT_AT:?}")));
        let datum = absolute.height(RIGHT_AT[0], RIGHT_AT[1]);
        assert!(datum.abs() > 0.05);
        assert!(apart(&relative, |x, y| absolute.height(x, y) - datum) < 1e-9, "{keys}");
    }
}
