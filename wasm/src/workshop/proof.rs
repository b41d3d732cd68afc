//! A rewritten toolpath proven against its original.

use super::map;
use crate::convert::{Js, options, push, result, spent, thrown};
use evengap::SurfaceKind;
use evengap::check::proof::{ProofOptions, Side, Verdict};
use wasm_bindgen::prelude::*;

/// Walks a toolpath and its rewritten form side by side, both pushed by chunks of any size: push the one that is behind,
/// and little is held.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Proof {
    /// `None` when both have ended or the original was refused.
    engine: Option<evengap::check::proof::Proof>,
    chunk: Vec<u8>,
}

#[wasm_bindgen]
impl Proof {
    /// Prepares to walk over the bed of a card.
    ///
    /// Throws an `EvengapError` of kind `card`, `readings` or `options`.
    #[wasm_bindgen(constructor)]
    pub fn new(
        #[wasm_bindgen(unchecked_param_type = "CardText")] card: &JsValue,
        surface: Option<Js<SurfaceKind>>,
        options: Option<Js<ProofOptions>>,
    ) -> Result<Proof, JsValue> {
        let options = self::options::<ProofOptions>(options)?;
        let engine = evengap::check::proof::Proof::new(&map(card, surface)?, options);
        Ok(Proof { engine: Some(engine), chunk: Vec::new() })
    }

    /// Whether the original is to be pushed next, so that little is held; else the rewritten one.
    #[wasm_bindgen(getter, js_name = originalIsBehind)]
    #[must_use]
    pub fn original_is_behind(&self) -> bool {
        self.engine.as_ref().is_some_and(|engine| engine.behind() == Side::Original)
    }

    /// Takes the original's next bytes.
    ///
    /// Throws an `EvengapError` of kind `toolpath`, `refused` or `limit` where the original cannot be read, with its place.
    #[wasm_bindgen(js_name = pushOriginal)]
    pub fn push_original(
        &mut self,
        #[wasm_bindgen(unchecked_param_type = "Uint8Array")] chunk: &JsValue,
    ) -> Result<(), JsValue> {
        push(&mut self.engine, chunk, &mut self.chunk, evengap::check::proof::Proof::push_original)
    }

    /// Takes the rewritten toolpath's next bytes.
    ///
    /// Throws as `pushOriginal`. What cannot be read in the rewritten toolpath is a fault.
    #[wasm_bindgen(js_name = pushRewritten)]
    pub fn push_rewritten(
        &mut self,
        #[wasm_bindgen(unchecked_param_type = "Uint8Array")] chunk: &JsValue,
    ) -> Result<(), JsValue> {
        push(&mut self.engine, chunk, &mut self.chunk, evengap::check::proof::Proof::push_rewritten)
    }

    /// Both have ended: tells what was found. It is proven where there are no `faults`, no `more_faults` and `lost_at` is
    /// `null`.
    ///
    /// Throws as `pushOriginal`.
    pub fn finish(&mut self) -> Result<Js<Verdict>, JsValue> {
        result(&self.engine.take().ok_or_else(spent)?.finish().map_err(thrown)?)
    }
}
