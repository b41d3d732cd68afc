//! What the levelling screws have to do.

use crate::HeightMap;
use crate::convert::{Js, options, result, thrown};
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

#[wasm_bindgen]
impl HeightMap {
    /// What the card's levelling screws have to do, in turns of each knob, and what they cannot mend.
    ///
    /// Throws an `EvengapError`: of kind `card` if the card names no screws, of kind `options` if the options do not fit
    /// them, of kind `readings` if the readings cannot tell how the plate lies along what the screws can move.
    pub fn tram(&self, options: Option<Js<Options>>) -> Result<Js<Trammed>, JsValue> {
        let options = self::options::<Options>(options)?;
        let tram = evengap::tram::tram(&self.0, &options).map_err(thrown)?;
        let say = |s: &evengap::tram::ScrewTurn| TurnWords {
            line: s.to_string(),
            fraction: s.fraction(),
            still: s.is_still(),
        };
        let words = tram.screws.iter().map(say).collect();
        result(&Trammed { tram, words })
    }
}
