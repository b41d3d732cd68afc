//! Before the readings: points, the sheet to print, a program that carries the nozzle there; and the plan after them.

use super::{card, map};
use crate::convert::{Js, options, pairs, result, thrown};
use evengap::SurfaceKind;
use evengap::draw::{Paper, PlanOptions};
use evengap::plan::{Layout, Room, Stop, VisitOptions, planned};
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

/// A grid of points to read that keeps off the bed's edge (by `margin`, mm; 10 unless it is said) and out of keep-out
/// areas, in visiting order. The card's own points make no difference, and it needs none.
///
/// Throws an `EvengapError` of kind `options` if the bed has no room for such a grid.
#[wasm_bindgen(js_name = planGrid)]
pub fn plan_grid(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    columns: u32,
    rows: u32,
    margin: Option<f64>,
) -> Result<Js<PlannedPoints>, JsValue> {
    laid(card, Layout::Grid { columns: columns as usize, rows: rows as usize }, margin)
}

/// Points of one's own, in visiting order: as `planGrid`, which says what is kept off. `points` holds x, y, x, y and so on, mm.
///
/// Throws as `planGrid`, and a `RangeError` if a point lacks its y.
#[wasm_bindgen(js_name = planPoints)]
pub fn plan_points(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    points: &[f64],
    margin: Option<f64>,
) -> Result<Js<PlannedPoints>, JsValue> {
    laid(card, Layout::Given(pairs(points)?), margin)
}

fn laid(card: &JsValue, layout: Layout<'_>, margin: Option<f64>) -> Result<Js<PlannedPoints>, JsValue> {
    let mut room = Room::default();
    room.margin = margin.unwrap_or(room.margin);
    let planned = planned(&self::card(card)?, layout, room).map_err(thrown)?;
    result(&PlannedPoints {
        points: planned.card.readings.unread.iter().map(|u| [u.x, u.y]).collect(),
        left_out: planned.left_out.iter().map(|l| LeftOutPoint { x: l.x, y: l.y, why: l.why.words() }).collect(),
        travel: planned.travel,
    })
}

/// How to read, step by step, as the card says: its method, sheet and temperatures.
///
/// Throws an `EvengapError` of kind `card`.
#[wasm_bindgen(js_name = readingSteps)]
pub fn reading_steps(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
) -> Result<Vec<String>, JsValue> {
    Ok(evengap::plan::steps(&self::card(card)?.readings))
}

/// Why a value at the nozzle's place (x, y), mm, looks wrong beside the card's readings, in words; `undefined` where it does not.
///
/// Throws an `EvengapError` of kind `card`.
#[wasm_bindgen]
pub fn doubt(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    x: f64,
    y: f64,
    value: f64,
) -> Result<Option<String>, JsValue> {
    Ok(evengap::plan::doubt(&self::card(card)?, [x, y], value))
}

/// A program that carries the nozzle to the card's points that are still to be read, and waits at each.
///
/// Throws an `EvengapError` of kind `options` or `limit`: no points, a place that cannot be reached, a value out of its range.
#[wasm_bindgen(js_name = visitProgram)]
pub fn visit_program(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    options: Option<Js<VisitOptions>>,
) -> Result<String, JsValue> {
    let (card, options) = (self::card(card)?, self::options::<VisitOptions>(options)?);
    let stops: Vec<Stop> = card.readings.unread.iter().map(Stop::from).collect();
    evengap::plan::visit(&card, &stops, &options).map_err(thrown)
}

/// The sheet to print and to write the readings on: an SVG document for each page.
#[wasm_bindgen(js_name = readingSheet)]
pub fn reading_sheet(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    paper: Option<Js<Paper>>,
) -> Result<Vec<String>, JsValue> {
    Ok(evengap::draw::reading_sheet(&self::card(card)?, options::<Paper>(paper)?))
}

/// A contour plan of the bed as a self-contained SVG document.
///
/// Throws an `EvengapError` of kind `card` or `readings`, as a card and its map do; of kind `options` for options that are
/// unknown or of the wrong type.
#[wasm_bindgen(js_name = contourPlan)]
pub fn contour_plan(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<PlanOptions>>,
) -> Result<String, JsValue> {
    let options = self::options::<PlanOptions>(options)?;
    let map = map(card, surface)?;
    Ok(evengap::draw::plan(map.card(), &map, &options))
}
