//! The probe card.

use crate::convert::{list, plain, thrown};
use evengap::card::SpotHeight;
use wasm_bindgen::prelude::*;

/// A bed and the readings that were taken on it by hand.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Card(pub(crate) evengap::Card);

#[wasm_bindgen]
impl Card {
    /// Reads a card: TOML, or JSON when the first character that is not white space is `{`.
    ///
    /// With `csv` (lines of x,y,value in mm, with or without a header line) the readings stand there and the card has no
    /// `points`; lines and columns of the readings, and of errors in them, are then the CSV's.
    ///
    /// Throws an `EvengapError` of kind `card` or `limit`, with its place.
    #[wasm_bindgen(js_name = fromText)]
    pub fn from_text(text: &str, csv: Option<String>) -> Result<Card, JsValue> {
        match csv {
            None => evengap::Card::parse(text),
            Some(csv) => evengap::Card::parse_with_csv(text, &csv),
        }
        .map(Card)
        .map_err(thrown)
    }

    /// Reads a card as `fromText` does, and also one that has no points yet.
    ///
    /// Throws as `fromText`, but for the missing points.
    #[wasm_bindgen(js_name = fromTextWithoutPoints)]
    pub fn from_text_without_points(text: &str) -> Result<Card, JsValue> {
        evengap::Card::parse_without_points(text).map(Card).map_err(thrown)
    }

    /// The card as TOML text that reads to the same card. Comments are not kept.
    #[wasm_bindgen(js_name = toToml)]
    #[must_use]
    pub fn to_toml(&self) -> String {
        self.0.to_toml()
    }

    /// The card as a plain object; `JSON.stringify(card)` gives JSON text that reads to the same card.
    #[wasm_bindgen(js_name = toJSON, unchecked_return_type = "CardJson")]
    pub fn to_json(&self) -> Result<JsValue, JsValue> {
        plain(&self.0)
    }

    /// Twelve hex digits that name what the card says, however it is spelt.
    #[must_use]
    pub fn digest(&self) -> String {
        self.0.digest()
    }

    /// Each reading as a height, mm, in the card's order, before any `right_at` shift.
    #[wasm_bindgen(js_name = spotHeights, unchecked_return_type = "SpotHeight[]")]
    pub fn spot_heights(&self) -> Result<JsValue, JsValue> {
        list::<SpotHeight>(&self.0.spot_heights())
    }
}
