//! The bed's shape in numbers, and its contours.

use super::map;
use crate::convert::{Js, result};
use evengap::SurfaceKind;
use evengap::draw::Isolines;
use evengap::shape::Shape;
use wasm_bindgen::prelude::*;

/// How the plate lies: tilt, twist, bow, each reading against the others, and the readings that stand out.
///
/// Throws an `EvengapError` of kind `card`, `readings` or `limit`, as a card and its map do.
#[wasm_bindgen]
pub fn shape(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
) -> Result<Js<Shape>, JsValue> {
    result(&evengap::shape::describe(&map(card, surface)?))
}

/// The contours as polylines, the same that `contourPlan` draws.
///
/// Throws as `shape`.
#[wasm_bindgen]
pub fn isolines(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
) -> Result<Js<Isolines>, JsValue> {
    let map = map(card, surface)?;
    result(&evengap::draw::isolines(map.card(), &map))
}
