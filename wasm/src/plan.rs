//! Points to read.

use crate::Card;
use crate::convert::{Js, result, thrown};
use evengap::plan::{Layout, Room, planned};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// Points to read, in the order in which to visit them.
#[derive(Debug, Serialize, Tsify)]
#[serde(rename_all = "camelCase")]
pub struct PlannedPoints {
    /// The nozzle's places, mm.
    points: Vec<[f64; 2]>,
    /// Points that cannot be read.
    left_out: Vec<LeftOutPoint>,
    /// From the bed's front left corner over all points, mm.
    travel: f64,
}

/// A point that cannot be read.
#[derive(Debug, Serialize, Tsify)]
pub struct LeftOutPoint {
    /// X, mm.
    x: f64,
    /// Y, mm.
    y: f64,
    /// The reason, in words.
    why: &'static str,
}

#[wasm_bindgen]
impl Card {
    /// Reads a card as `fromText` does, and also one that has no points yet.
    ///
    /// Throws as `fromText`, but for the missing points.
    #[wasm_bindgen(js_name = fromTextWithoutPoints)]
    pub fn from_text_without_points(text: &str) -> Result<Card, JsValue> {
        evengap::Card::parse_without_points(text).map(Card).map_err(thrown)
    }

    /// A grid of points to read that keeps off the bed's edge (by `margin`, mm; 10 unless it is said) and out of keep-out
    /// areas, in visiting order. The card's own points make no difference.
    ///
    /// Throws an `EvengapError` of kind `options` if the bed has no room for such a grid.
    #[wasm_bindgen(js_name = planGrid)]
    pub fn plan_grid(&self, columns: u32, rows: u32, margin: Option<f64>) -> Result<Js<PlannedPoints>, JsValue> {
        let mut room = Room::default();
        room.margin = margin.unwrap_or(room.margin);
        let grid = Layout::Grid { columns: columns as usize, rows: rows as usize };
        let planned = planned(&self.0, grid, room).map_err(thrown)?;
        result(&PlannedPoints {
            points: planned.card.readings.unread.iter().map(|u| [u.x, u.y]).collect(),
            left_out: planned.left_out.iter().map(|l| LeftOutPoint { x: l.x, y: l.y, why: l.why.words() }).collect(),
            travel: planned.travel,
        })
    }
}
