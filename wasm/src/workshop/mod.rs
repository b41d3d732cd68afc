//! The second module, `evengap/workshop`: what is looked at and done beside the printer. It is loaded by itself and knows nothing of the
//! first one's objects, so cards come as text, or as anything that gives its text.

mod check;
mod compare;
mod gaps;
mod known;
mod plan;
mod proof;
mod shape;
mod surface;
mod tram;
mod trial;

pub use check::{Check, Checked};
pub use compare::{compare, difference_plan, drift};
pub use gaps::{Gaps, GapsFound};
pub use known::{RobustCard, how_well, known_plan, next_points, robust, standard_errors};
pub use plan::{
    LeftOutPoint, PlannedPoints, contour_plan, doubt, plan_grid, plan_points, reading_sheet, reading_steps,
    visit_program,
};
pub use proof::Proof;
pub use shape::{isolines, shape};
pub use surface::choose_surface;
pub use tram::{Trammed, TurnWords, tram, tram_plan};
pub use trial::{Printed, correct, patch_plan, trial, trial_patches};

use crate::convert::{Js, options, thrown};
use evengap::{HeightMap, SurfaceKind};
use js_sys::{Function, Reflect};
use wasm_bindgen::prelude::*;

#[wasm_bindgen(typescript_custom_section)]
const CARD_TEXT: &str = "/** A card: its text (TOML or JSON), or an object that gives it, such as a `Card` of the package's first module. \
                         Lines in errors are the text's. */\nexport type CardText = string | { toToml(): string };";

/// A card, which may have no points yet.
fn card(given: &JsValue) -> Result<evengap::Card, JsValue> {
    evengap::Card::parse_without_points(&text(given)?).map_err(thrown)
}

/// A card with readings, and its map.
fn map(given: &JsValue, surface: Option<Js<SurfaceKind>>) -> Result<HeightMap, JsValue> {
    let kind = options::<SurfaceKind>(surface)?;
    let card = evengap::Card::parse(&text(given)?).map_err(thrown)?;
    HeightMap::fit(&card, kind).map_err(thrown)
}

fn text(given: &JsValue) -> Result<String, JsValue> {
    if let Some(text) = given.as_string() {
        return Ok(text);
    }
    let wrong = || js_sys::TypeError::new("a card is given as its text, or as a Card");
    let writes = Reflect::get(given, &"toToml".into()).map_err(|_| wrong())?;
    let writes = writes.dyn_into::<Function>().map_err(|_| wrong())?;
    Ok(writes.call0(given)?.as_string().ok_or_else(wrong)?)
}
