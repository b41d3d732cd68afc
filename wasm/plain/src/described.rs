//! A map in figures: what the command's `map --json` prints.

use crate::handles::Map;
use evengap::SurfaceKind;
use evengap::cautions::BRIEF;
use evengap::known::{HowWell, Known};
use evengap::shape::{Shape, describe};
use evengap::surface::{Because, Smoothed};
use serde::Serialize;

#[derive(Serialize)]
struct Described<'a> {
    card: String,
    surface: SurfaceKind,
    chosen: Option<Because>,
    measured: [f64; 4],
    shift: f64,
    predicted: bool,
    unread: usize,
    #[serde(flatten)]
    shape: &'a Shape,
    smoothed: Option<Smoothed>,
    known: Option<HowWell>,
    caution: String,
}

/// The JSON text.
pub(crate) fn described(Map { map, choice }: &Map) -> String {
    let readings = &map.card().readings;
    evengap::json::write(&Described {
        card: map.card().digest(),
        surface: map.kind(),
        chosen: choice.map(|c| c.because),
        measured: map.measured(),
        shift: map.shift(),
        predicted: readings.predicted,
        unread: readings.unread.len(),
        shape: &describe(map),
        smoothed: map.smoothed(),
        known: Known::of(map).as_ref().map(Known::how_well),
        caution: format!("Caution: {}", BRIEF.join(" ")),
    })
}
