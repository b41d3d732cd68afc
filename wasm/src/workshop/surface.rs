//! Which surface suits a card.

use super::card as read_card;
use crate::convert::{Js, result, thrown};
use evengap::surface::{Choice, choose};
use wasm_bindgen::prelude::*;

/// Chooses the surface that better predicts rows and columns of a card's readings that are left out, and tells why: what `--surface auto` of the
/// command does.
///
/// Throws an `EvengapError` of kind `card` or `readings`, as a card and its map do.
#[wasm_bindgen(js_name = chooseSurface)]
pub fn choose_surface(
    #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
) -> Result<Js<Choice>, JsValue> {
    result(&choose(&read_card(card)?).map_err(thrown)?)
}
