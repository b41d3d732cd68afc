//! Cards over time.

use super::map;
use crate::convert::{Js, options, result, thrown};
use evengap::SurfaceKind;
use evengap::compare::{Difference, Drift};
use evengap::draw::PlanOptions;
use wasm_bindgen::prelude::*;

/// What changed from one card of a bed to a later one.
///
/// Throws an `EvengapError` of kind `card` or `readings`, as cards and their maps do, and where the two have too little of
/// the bed in common.
#[wasm_bindgen]
pub fn compare(
    #[wasm_bindgen(unchecked_param_type = "CardText")] earlier: &JsValue,
    #[wasm_bindgen(unchecked_param_type = "CardText")] later: &JsValue,
    surface: Option<Js<SurfaceKind>>,
) -> Result<Js<Difference>, JsValue> {
    let [earlier, later] = both(earlier, later, surface)?;
    result(&evengap::compare::difference(&earlier, &later).map_err(thrown)?)
}

/// Three cards or more, in time order: how far each place moved since the first.
///
/// Throws as `compare`.
#[wasm_bindgen]
pub fn drift(
    #[wasm_bindgen(unchecked_param_type = "CardText[]")] cards: Vec<JsValue>,
    surface: Option<Js<SurfaceKind>>,
) -> Result<Js<Drift>, JsValue> {
    let kind = options::<SurfaceKind>(surface)?;
    let kind = || result(&kind).map(Some);
    let maps = cards.iter().map(|card| map(card, kind()?)).collect::<Result<Vec<_>, JsValue>>()?;
    let (first, later) = maps.split_first().ok_or_else(|| js_sys::RangeError::new("there are no cards to compare"))?;
    result(&evengap::compare::drift(first, &later.iter().collect::<Vec<_>>()).map_err(thrown)?)
}

/// A contour plan of what changed, as a self-contained SVG document. `names`: what the two cards are called on it.
///
/// Throws as `compare`, and an `EvengapError` of kind `options` for options that are unknown or of the wrong type.
#[wasm_bindgen(js_name = differencePlan)]
pub fn difference_plan(
    #[wasm_bindgen(unchecked_param_type = "CardText")] earlier: &JsValue,
    #[wasm_bindgen(unchecked_param_type = "CardText")] later: &JsValue,
    #[wasm_bindgen(unchecked_param_type = "[string, string]")] names: Vec<String>,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<PlanOptions>>,
) -> Result<String, JsValue> {
    let options = self::options::<PlanOptions>(options)?;
    let [first, second] = names.as_slice() else {
        return Err(js_sys::RangeError::new("there are two names, one for each card").into());
    };
    let [earlier, later] = both(earlier, later, surface)?;
    let difference = evengap::compare::difference(&earlier, &later).map_err(thrown)?;
    Ok(evengap::draw::difference_plan([&earlier, &later], &difference, [first, second], &options))
}

fn both(
    earlier: &JsValue,
    later: &JsValue,
    surface: Option<Js<SurfaceKind>>,
) -> Result<[evengap::HeightMap; 2], JsValue> {
    let kind = options::<SurfaceKind>(surface)?;
    Ok([map(earlier, Some(result(&kind)?))?, map(later, Some(result(&kind)?))?])
}
