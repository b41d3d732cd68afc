//! The probe card.

use crate::convert::{list, plain, thrown};
use evengap::card::SpotHeight;
use tsify::Tsify;
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

/// A card as JSON: what [`evengap::Card`]'s `serde` form is, which is what the engine reads.
#[derive(Tsify)]
#[tsify(missing_as_null)]
#[expect(dead_code, reason = "only its TypeScript is wanted: the engine writes the value")]
pub(crate) struct CardJson {
    /// The bed's reachable area.
    bed: BedJson,
    /// How the readings were taken, and the readings.
    readings: ReadingsJson,
    /// The levelling screws, where the card names them.
    #[tsify(optional, type = "ScrewsJson")]
    screws: Option<ScrewsJson>,
}

/// The bed's reachable area, mm, in the toolpath's coordinates.
#[derive(Tsify)]
#[expect(dead_code, reason = "as `CardJson`")]
pub(crate) struct BedJson {
    /// Lowest and highest reachable X, mm.
    x: [f64; 2],
    /// Lowest and highest reachable Y, mm.
    y: [f64; 2],
    /// The plate's outline; a rectangle unless it is said.
    #[tsify(optional, type = "\"rectangle\" | \"round\"")]
    outline: (),
    /// Clips and clamps: x0, y0, x1, y1, mm.
    #[tsify(optional)]
    keep_out: Vec<[f64; 4]>,
}

/// The readings and how they were taken.
#[derive(Tsify)]
#[expect(dead_code, reason = "as `CardJson`")]
pub(crate) struct ReadingsJson {
    /// The method.
    #[tsify(type = "\"drag\" | \"gauge\" | \"patch\" | \"dial\"")]
    method: (),
    /// `drag`: the sheet's thickness, mm.
    #[tsify(optional)]
    sheet: f64,
    /// `gauge` and `patch`: the nozzle's Z while parked or printing, mm.
    #[tsify(optional)]
    parked: f64,
    /// `dial`: the plunger's place from the nozzle, mm.
    #[tsify(optional)]
    offset: [f64; 2],
    /// Bed temperature while reading, degrees Celsius.
    #[tsify(optional)]
    bed_celsius: f64,
    /// Nozzle temperature while reading, degrees Celsius.
    #[tsify(optional)]
    nozzle_celsius: f64,
    /// One standard deviation of a reading, mm.
    #[tsify(optional)]
    spread: f64,
    /// Where the first layer is right as it is: the map is shifted to 0 there.
    #[tsify(optional)]
    right_at: [f64; 2],
    /// x, y, value of each reading, mm.
    points: Vec<[f64; 3]>,
}

/// The levelling screws: `thread` or `pitch`, one of the two.
#[derive(Tsify)]
#[expect(dead_code, reason = "as `CardJson`")]
pub(crate) struct ScrewsJson {
    /// The thread's name, such as `"M4"`.
    #[tsify(optional)]
    thread: String,
    /// mm of height a turn.
    #[tsify(optional)]
    pitch: f64,
    /// The way to turn a knob, seen from above, that raises the bed.
    #[tsify(type = "\"clockwise\" | \"anticlockwise\"")]
    raise: (),
    /// Name and x, y, mm, of each.
    #[tsify(type = "Record<string, [number, number]>")]
    at: (),
}

/// A height that one reading tells.
#[derive(Tsify)]
#[tsify(rename = "SpotHeight")]
#[expect(dead_code, reason = "as `CardJson`")]
pub(crate) struct SpotHeightJson {
    /// X, mm: of the nozzle, or of the plunger for `dial`.
    x: f64,
    /// Y, mm.
    y: f64,
    /// mm above the toolpath's Z = 0.
    height: f64,
}
