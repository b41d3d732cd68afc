//! What the levelling screws have to do.

use super::map;
use crate::convert::{Js, options, result, thrown};
use evengap::SurfaceKind;
use evengap::draw::PlanOptions;
use evengap::tram::{Options, Tram};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// What the screws have to do, with the words for it.
#[derive(Debug, Serialize, Tsify)]
#[tsify(missing_as_null)]
pub struct Trammed {
    /// The figures.
    #[serde(flatten)]
    tram: Tram,
    /// The words for each of `screws`, in their order.
    words: Vec<TurnWords>,
    /// The card as it should read after turning, marked as a prediction: TOML.
    predicted: String,
}

/// What one screw has to do, as a person says it.
#[derive(Debug, Serialize, Tsify)]
pub struct TurnWords {
    /// All of it: `front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)`.
    line: String,
    /// The nearest sixteenths: `3/16 turn`.
    fraction: String,
    /// Whether the screw is to be left as it is.
    still: bool,
}

/// What the card's levelling screws have to do, in turns of each knob, and what they cannot mend.
///
/// Throws an `EvengapError`: of kind `card` or `readings` as a card and its map do; of kind `card` if the card names no
/// screws, of kind `options` if the options do not fit them, of kind `readings` if the readings cannot tell how the plate
/// lies along what the screws can move.
#[wasm_bindgen]
pub fn tram(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<Options>>,
) -> Result<Js<Trammed>, JsValue> {
    let options = self::options::<Options>(options)?;
    let tram = evengap::tram::tram(&map(card, surface)?, &options).map_err(thrown)?;
    let say =
        |s: &evengap::tram::ScrewTurn| TurnWords { line: s.to_string(), fraction: s.fraction(), still: s.is_still() };
    let words = tram.screws.iter().map(say).collect();
    let predicted = tram.predicted().to_toml();
    result(&Trammed { tram, words, predicted })
}

/// The plan of the bed with the turn of each knob, as a self-contained SVG document.
///
/// Throws as `tram`, and an `EvengapError` of kind `options` for options that are unknown or of the wrong type.
#[wasm_bindgen(js_name = tramPlan)]
pub fn tram_plan(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<Options>>,
    plan: Option<Js<PlanOptions>>,
) -> Result<String, JsValue> {
    let (options, plan) = (self::options::<Options>(options)?, self::options::<PlanOptions>(plan)?);
    let map = map(card, surface)?;
    let tram = evengap::tram::tram(&map, &options).map_err(thrown)?;
    Ok(evengap::draw::tram_plan(&map, &tram, &plan))
}
