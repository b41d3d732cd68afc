//! The gap along a toolpath.

use super::map;
use crate::convert::{Js, options, plain, push, spent, thrown};
use evengap::SurfaceKind;
use evengap::check::{GapOptions, GapReport, Layer};
use js_sys::{Float64Array, Object, Reflect, Uint32Array};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// What a toolpath does over the bed.
#[derive(Debug, Serialize, Tsify)]
#[serde(rename_all = "camelCase")]
pub struct GapsFound {
    /// The layers, lowest first.
    layers: Vec<Layer>,
    /// x, y and deviation (the gap less the gap meant), mm, of each point of the kept layer, one after another.
    #[tsify(type = "Float64Array<ArrayBuffer>")]
    points: (),
    /// The number of the point (not of the number) at which each stroke begins.
    #[tsify(type = "Uint32Array<ArrayBuffer>")]
    strokes: (),
    /// Whether there was more of that layer than could be kept.
    cut: bool,
    /// Lines read.
    lines: u64,
    /// Moves read.
    moves: u64,
}

/// Looks at one toolpath, pushed by chunks of any size: the gap between nozzle and bed along the filament that it lays.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Gaps {
    /// `None` when the toolpath has ended or was refused.
    engine: Option<evengap::check::Gaps>,
    chunk: Vec<u8>,
}

#[wasm_bindgen]
impl Gaps {
    /// Prepares to look at a toolpath over the bed of a card.
    ///
    /// Throws an `EvengapError` of kind `card`, `readings` or `limit`, as a card and its map do, or `options` if the options make no sense.
    #[wasm_bindgen(constructor)]
    pub fn new(
        #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
        surface: Option<Js<SurfaceKind>>,
        options: Option<Js<GapOptions>>,
    ) -> Result<Gaps, JsValue> {
        let options = self::options::<GapOptions>(options)?;
        let map = map(card, surface)?;
        Ok(Gaps { engine: Some(evengap::check::Gaps::new(&map, options)), chunk: Vec::new() })
    }

    /// Takes the next bytes.
    ///
    /// Throws an `EvengapError` of kind `toolpath`, `refused` or `limit`, with its place.
    pub fn push(
        &mut self,
        #[wasm_bindgen(unchecked_param_type = "Uint8Array")] chunk: &JsValue,
    ) -> Result<(), JsValue> {
        push(&mut self.engine, chunk, &mut self.chunk, evengap_quick::look)
    }

    /// The toolpath has ended: tells what was found.
    ///
    /// Throws as `push`, for a last line without its ending.
    pub fn finish(&mut self) -> Result<Js<GapsFound>, JsValue> {
        found(evengap_quick::found(self.engine.take().ok_or_else(spent)?).map_err(thrown)?)
    }
}

fn found(report: GapReport) -> Result<Js<GapsFound>, JsValue> {
    let GapReport { layers, kept, lines, moves, .. } = report;
    let numbers: Vec<f64> = kept.points.into_iter().flatten().collect();
    let strokes: Vec<u32> = kept.strokes.iter().filter_map(|s| u32::try_from(*s).ok()).collect();
    let found: Object =
        plain(&GapsFound { layers, points: (), strokes: (), cut: kept.cut, lines, moves })?.unchecked_into();
    Reflect::set(&found, &"points".into(), &Float64Array::from(&numbers[..]))?;
    Reflect::set(&found, &"strokes".into(), &Uint32Array::from(&strokes[..]))?;
    Ok(JsValue::from(found).unchecked_into())
}
