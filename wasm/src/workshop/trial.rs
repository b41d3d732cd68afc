//! A test print, and a card corrected by it.

use super::{card, map};
use crate::convert::{Js, options, plain, result, thrown};
use evengap::SurfaceKind;
use evengap::draw::PlanOptions;
use evengap::trial::{Measured, Nozzle, Patch, Trial, TrialOptions};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// A test print, and what there is to know of it.
#[derive(Debug, Serialize, Tsify)]
#[tsify(missing_as_null)]
pub struct Printed {
    /// The figures.
    #[serde(flatten)]
    trial: Trial,
    /// The toolpath.
    toolpath: String,
}

/// A test print: one layer of patches, whose measured thickness tells how well the card knows the bed.
///
/// Throws an `EvengapError`: of kind `card` or `readings` as a card and its map do; of kind `options`, `limit`, `floor` or
/// `refused` where such a print cannot be made.
#[wasm_bindgen]
pub fn trial(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<TrialOptions>>,
) -> Result<Js<Printed>, JsValue> {
    let options = self::options::<TrialOptions>(options)?;
    let map = map(card, surface)?;
    let mut trial = evengap::trial::trial(map.card(), &map, &options).map_err(thrown)?;
    let toolpath = std::mem::take(&mut trial.text);
    result(&Printed { trial, toolpath })
}

/// Where the patches of a test print lie, without writing it: for thicknesses that come back by number.
///
/// Throws as `trial`.
#[wasm_bindgen(js_name = trialPatches, unchecked_return_type = "Patch[]")]
pub fn trial_patches(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    options: Option<Js<TrialOptions>>,
) -> Result<JsValue, JsValue> {
    plain(&patches(&self::card(card)?, options)?)
}

/// The patches and their numbers on a plan of the bed, as a self-contained SVG document.
///
/// Throws as `trial`.
#[wasm_bindgen(js_name = patchPlan)]
pub fn patch_plan(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    options: Option<Js<TrialOptions>>,
    plan: Option<Js<PlanOptions>>,
) -> Result<String, JsValue> {
    let (card, plan) = (self::card(card)?, self::options::<PlanOptions>(plan)?);
    Ok(evengap::draw::patch_plan(&card, &patches(&card, options)?, &plan))
}

/// The card corrected by measured patches, as TOML. `options` are those that the patches were printed with: they say
/// whether the nozzle followed the bed, and how high the layer was.
///
/// Throws an `EvengapError`: of kind `card`, `readings`, `options` or `limit`, with the places of the patches at fault
/// where these name their lines.
#[wasm_bindgen]
pub fn correct(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
    #[wasm_bindgen(unchecked_param_type = "Measured[]")] measured: JsValue,
    surface: Option<Js<SurfaceKind>>,
    options: Option<Js<TrialOptions>>,
) -> Result<String, JsValue> {
    let measured = crate::convert::from_plain::<Vec<Measured>>(&measured)?;
    let options = self::options::<TrialOptions>(options)?;
    let map = map(card, surface)?;
    let layer = options.print.layer_height.unwrap_or_else(|| map.card().print.layer_height());
    let nozzle = if options.flat { Nozzle::Flat(layer) } else { Nozzle::Followed(layer) };
    let corrected = evengap::trial::correct(map.card(), map.kind(), &measured, nozzle).map_err(thrown)?;
    Ok(corrected.to_toml())
}

fn patches(card: &evengap::Card, options: Option<Js<TrialOptions>>) -> Result<Vec<Patch>, JsValue> {
    evengap::trial::patches(card, &self::options::<TrialOptions>(options)?).map_err(thrown)
}
