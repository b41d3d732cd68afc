//! Toolpaths that follow the bed.

use crate::HeightMap;
use crate::convert::{Js, bytes, options, result, spent, thrown, view};
use evengap::follow::{Options, Summary};
use js_sys::{Object, Reflect, Uint8Array};
use serde::Serialize;
use tsify::Tsify;
use wasm_bindgen::prelude::*;

/// The end of a toolpath, or the whole of it, and what was done.
#[derive(Debug, Serialize, Tsify)]
pub struct Rewritten {
    /// The last bytes of the rewritten toolpath, or all of them.
    #[tsify(type = "Uint8Array<ArrayBuffer>")]
    bytes: (),
    /// What the rewriter did.
    summary: Summary,
}

/// Rewrites one toolpath, pushed by chunks of any size: the output does not depend on how the input was cut, and memory
/// does not grow with the toolpath.
///
/// After an error, and after `finish`, nothing more can be pushed; what was written before an error must be thrown away.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Rewriter {
    /// `None` when the toolpath has ended or was refused.
    engine: Option<evengap::follow::Rewriter>,
    refused: bool,
    lines_read: u64,
    chunk: Vec<u8>,
    out: Vec<u8>,
}

#[wasm_bindgen]
impl Rewriter {
    /// Prepares to rewrite a toolpath for the bed of `map`.
    ///
    /// Throws an `EvengapError` of kind `options` if the options make no sense or the taper would fold Z, of kind `refused`
    /// for heights over 2 mm that were not allowed.
    #[wasm_bindgen(constructor)]
    pub fn new(map: &HeightMap, options: Option<Js<Options>>) -> Result<Rewriter, JsValue> {
        let options = self::options::<Options>(options)?;
        let engine = evengap::follow::Rewriter::new(&map.0, options).map_err(thrown)?;
        Ok(Rewriter { engine: Some(engine), refused: false, lines_read: 0, chunk: Vec::new(), out: Vec::new() })
    }

    /// Takes the next bytes of the toolpath and gives what is ready of the rewritten one.
    ///
    /// Throws an `EvengapError` of kind `toolpath`, `refused` or `limit`, with its place.
    #[wasm_bindgen(unchecked_return_type = "Uint8Array<ArrayBuffer>")]
    pub fn push(
        &mut self,
        #[wasm_bindgen(unchecked_param_type = "Uint8Array")] chunk: &JsValue,
    ) -> Result<Uint8Array, JsValue> {
        self.take(chunk)?;
        Ok(Uint8Array::from(&self.out[..]))
    }

    /// As `push`, a fifth quicker: the bytes are not copied out, they lie in the module's own memory and are good until the next call of
    /// anything in this package. Write them or copy them before; whoever keeps them finds others there.
    #[wasm_bindgen(js_name = pushView, unchecked_return_type = "Uint8Array<ArrayBuffer>")]
    pub fn push_view(
        &mut self,
        #[wasm_bindgen(unchecked_param_type = "Uint8Array")] chunk: &JsValue,
    ) -> Result<Uint8Array, JsValue> {
        self.take(chunk)?;
        Ok(view(&self.out))
    }

    /// The toolpath has ended: gives what is left of the rewritten one, and tells what was done.
    ///
    /// Throws as `push`, for a last line without its ending; and an `EvengapError` of kind `floor` if the path would have come
    /// to lie below the floor.
    pub fn finish(&mut self) -> Result<Js<Rewritten>, JsValue> {
        let engine = self.engine.take().ok_or_else(spent)?;
        self.out.clear();
        let finished = evengap_quick::finish(engine, &mut self.out);
        self.refused = finished.is_err();
        let summary = finished.map_err(thrown)?;
        self.lines_read = summary.lines_in;
        rewritten(&self.out, &summary)
    }

    /// The original's lines read so far.
    #[wasm_bindgen(getter, js_name = linesRead)]
    #[must_use]
    pub fn lines_read(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "exact up to 2^53 lines")]
        let lines = self.lines_read as f64;
        lines
    }

    /// Whether the toolpath was refused or is going to be at its end (the floor was passed): what came out is of no use.
    #[wasm_bindgen(getter, js_name = isRefused)]
    #[must_use]
    pub fn is_refused(&self) -> bool {
        self.refused
    }
}

impl Rewriter {
    fn take(&mut self, chunk: &JsValue) -> Result<(), JsValue> {
        let engine = self.engine.as_mut().ok_or_else(spent)?;
        bytes(chunk, &mut self.chunk)?;
        self.out.clear();
        let pushed = evengap_quick::push(engine, &self.chunk, &mut self.out);
        (self.refused, self.lines_read) = (pushed.is_err() || engine.is_refused(), engine.lines_read());
        pushed.map_err(|refusal| {
            self.engine = None;
            thrown(refusal)
        })
    }
}

/// Rewrites a whole toolpath held in memory.
///
/// Throws as `Rewriter` does.
#[wasm_bindgen]
pub fn rewrite(
    #[wasm_bindgen(unchecked_param_type = "Uint8Array")] toolpath: &JsValue,
    map: &HeightMap,
    options: Option<Js<Options>>,
) -> Result<Js<Rewritten>, JsValue> {
    let options = self::options::<Options>(options)?;
    let mut chunk = Vec::new();
    bytes(toolpath, &mut chunk)?;
    let mut engine = evengap::follow::Rewriter::new(&map.0, options).map_err(thrown)?;
    let mut out = Vec::new();
    evengap_quick::push(&mut engine, &chunk, &mut out).map_err(thrown)?;
    let summary = evengap_quick::finish(engine, &mut out).map_err(thrown)?;
    rewritten(&out, &summary)
}

/// The options that stand where none are given.
#[wasm_bindgen(js_name = defaultOptions, unchecked_return_type = "Required<Options>")]
pub fn default_options() -> Result<Js<Options>, JsValue> {
    result(&Options::default())
}

fn rewritten(out: &[u8], summary: &Summary) -> Result<Js<Rewritten>, JsValue> {
    let rewritten = Object::new();
    Reflect::set(&rewritten, &"bytes".into(), &Uint8Array::from(out))?;
    Reflect::set(&rewritten, &"summary".into(), &result(summary)?.into())?;
    Ok(JsValue::from(rewritten).unchecked_into())
}
