//! What a person at a hot printer must know.

use crate::convert::{Js, result};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// The engine's cautions, by what is about to be done.
#[derive(Debug, Serialize, Tsify)]
pub struct Cautions {
    /// Before a bed is read by hand.
    #[tsify(type = "string[]")]
    reading: [&'static str; 6],
    /// Before a program runs that moves and does not print.
    #[tsify(type = "string[]")]
    running: [&'static str; 6],
    /// Before a file is printed.
    #[tsify(type = "string[]")]
    printing: [&'static str; 7],
    /// Before a knob is turned.
    #[tsify(type = "string[]")]
    turning: [&'static str; 3],
}

/// What a person at a hot printer must know: show it where a file is saved or a knob is to be turned.
#[wasm_bindgen]
pub fn cautions() -> Result<Js<Cautions>, JsValue> {
    use evengap::cautions::{PRINTING, READING, RUNNING, TURNING};
    result(&Cautions { reading: READING, running: RUNNING, printing: PRINTING, turning: TURNING })
}
