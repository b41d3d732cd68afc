//! What a toolpath would do over a bed, held against limits.

use super::card as read_card;
use crate::convert::{Js, options, push, result, spent, thrown};
use evengap::check::judge::judge;
use evengap::check::{GapOptions, GapReport, Gaps, Judgement, Layer, Limits, Marker, Pace};
use evengap::draw::{GapPlan, PlanOptions, gap_plan};
use evengap::known::{Enough, Known};
use evengap::{HeightMap, SurfaceKind};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// What was found along a toolpath.
#[derive(Debug, Serialize, Tsify)]
#[tsify(missing_as_null)]
pub struct Checked {
    /// What it comes to, in words and figures.
    judgement: Judgement,
    /// Whether the card is good enough for it; `null` where there is no first layer.
    known: Option<Enough>,
    /// The layers, lowest first.
    layers: Vec<Layer>,
    /// What the toolpath asks of the machine.
    pace: Pace,
    /// How it was rewritten, where it was.
    marker: Option<Marker>,
    /// Where it was, and no layers were given: the Z of the layers that it was sliced with, mm, for the options of a second look.
    sliced: Vec<f64>,
    /// Moves that lay filament where the position is not known.
    unplaced: u64,
    /// Lines read.
    lines: u64,
    /// Moves read.
    moves: u64,
    /// The kept layer over the bed, coloured by gap, as SVG; `null` where none was kept.
    plan: Option<String>,
}

/// Looks at one toolpath, pushed by chunks of any size, and judges it.
#[wasm_bindgen(js_name = FileCheck)]
#[derive(Debug)]
pub struct Check {
    /// `None` when the toolpath has ended or was refused.
    engine: Option<Gaps>,
    map: HeightMap,
    chunk: Vec<u8>,
}

#[wasm_bindgen(js_class = FileCheck)]
impl Check {
    /// Prepares to look at a toolpath over the bed of a card. With `keep: "lowest"` the first layer is drawn.
    ///
    /// Throws an `EvengapError` of kind `card`, `readings`, `limit` or `options`.
    #[wasm_bindgen(constructor)]
    pub fn new(
        #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
        surface: Option<Js<SurfaceKind>>,
        options: Option<Js<GapOptions>>,
    ) -> Result<Check, JsValue> {
        let kind = self::options::<SurfaceKind>(surface)?;
        let options = self::options::<GapOptions>(options)?;
        let map = HeightMap::fit(&read_card(card)?, kind).map_err(thrown)?;
        Ok(Check { engine: Some(Gaps::new(&map, options)), map, chunk: Vec::new() })
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

    /// The toolpath has ended: tells what was found, held against limits and the machine's on the card. `name` is what the plan calls the
    /// toolpath.
    ///
    /// Throws as `push`, for a last line without its ending; or an `EvengapError` of kind `options`.
    pub fn finish(&mut self, limits: Option<Js<Limits>>, name: Option<String>) -> Result<Js<Checked>, JsValue> {
        let limits = self::options::<Limits>(limits)?;
        let report = evengap_quick::found(self.engine.take().ok_or_else(spent)?).map_err(thrown)?;
        let judgement = judge(&report, &limits, &self.map.card().machine);
        let known = Known::of(&self.map).and_then(|known| known.enough(&report.footprint, &limits.window));
        let plan = self.plan(&report, &limits, name.as_deref().unwrap_or("the toolpath"));
        let GapReport { layers, pace, marker, sliced, unplaced, lines, moves, .. } = report;
        result(&Checked { judgement, known, layers, pace, marker, sliced, unplaced, lines, moves, plan })
    }

    fn plan(&self, report: &GapReport, limits: &Limits, name: &str) -> Option<String> {
        let layer = report.first_layer().filter(|_| !report.kept.points.is_empty())?;
        let plan = GapPlan { name, path: &report.kept, z: layer.z, shares: layer.path, window: limits.window };
        Some(gap_plan(self.map.card(), &plan, &PlanOptions::default()))
    }
}
