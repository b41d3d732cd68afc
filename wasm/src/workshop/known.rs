//! How well the bed is known.

use super::{card as checked, map};
use crate::convert::{Js, options, pairs, result, thrown};
use evengap::SurfaceKind;
use evengap::draw::PlanOptions;
use evengap::known::{HowWell, Known, Next, next};
use evengap::plan::Room;
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// How well the bed is known by a card's readings: the same that `evengap map --json` tells.
///
/// Throws an `EvengapError` of kind `card` or `readings`, as a card and its map do; a `RangeError` for readings so close
/// together that nothing can be said.
#[wasm_bindgen(js_name = howWell)]
pub fn how_well(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
) -> Result<Js<HowWell>, JsValue> {
    result(&known(card, surface)?.how_well())
}

/// The map's standard error at many points, mm, in their order: `points` holds x, y, x, y and so on.
///
/// Throws as `howWell`, and a `RangeError` if a point lacks its y.
#[wasm_bindgen(js_name = standardErrors)]
pub fn standard_errors(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    points: &[f64],
    surface: Option<Js<SurfaceKind>>,
) -> Result<Vec<f64>, JsValue> {
    let pairs = pairs(points)?;
    let known = known(card, surface)?;
    Ok(pairs.iter().map(|&[x, y]| known.at(x, y).standard_error).collect())
}

/// A plan of how well the bed is known, as a self-contained SVG document.
///
/// Throws as `howWell`, and an `EvengapError` of kind `options` for options that are unknown or of the wrong type.
#[wasm_bindgen(js_name = knownPlan)]
pub fn known_plan(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<PlanOptions>>,
) -> Result<String, JsValue> {
    let options = self::options::<PlanOptions>(options)?;
    Ok(evengap::draw::known_plan(&known(card, surface)?, &options))
}

/// So many points to read next, those that tell most: of the whole bed, or of what matters. `places` holds x, y and weight, x, y and weight and
/// so on, mm; the map is a thin plate. A card without three readings gets its first ones.
///
/// Throws an `EvengapError` of kind `card`, `readings` or `options`: too few or too many points, a bed without room, no place of a weight; a
/// `RangeError` if a place lacks its weight.
#[wasm_bindgen(js_name = nextPoints)]
pub fn next_points(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    count: u32,
    places: Option<Vec<f64>>,
) -> Result<Js<Next>, JsValue> {
    let places = places.unwrap_or_default();
    let (triples, rest) = places.as_chunks::<3>();
    if !rest.is_empty() {
        return Err(js_sys::RangeError::new("the last place has no weight").into());
    }
    let places = if triples.is_empty() { None } else { Some(triples) };
    result(&next(&checked(card)?, places, count as usize, Room::default()).map_err(thrown)?)
}

/// A card on which odd readings weigh less.
#[derive(Debug, Serialize, Tsify)]
pub struct RobustCard {
    /// The card, as TOML.
    card: String,
    /// The numbers of the readings that got a larger spread, from 0, in the card's order.
    less: Vec<usize>,
}

/// A card on which readings that are far from what the others say weigh less, by a spread of their own; it is never done unless it is
/// asked for, because a reading may be odd because the bed is.
///
/// Throws an `EvengapError` of kind `card` or `readings`, as a card and its map do.
#[wasm_bindgen]
pub fn robust(#[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue) -> Result<Js<RobustCard>, JsValue> {
    let (card, less) = evengap::known::robust(&map(card, None)?);
    result(&RobustCard { card: card.to_toml(), less })
}

fn known(card: &JsValue, surface: Option<Js<SurfaceKind>>) -> Result<Known, JsValue> {
    let nothing = || js_sys::RangeError::new("the readings are so close together that nothing can be said").into();
    Known::of(&map(card, surface)?).ok_or_else(nothing)
}
