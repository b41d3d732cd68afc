//! The engine for JavaScript: conversions only. What is fitted and rewritten is `evengap`'s.
//!
//! Lengths are millimetres. What fails throws an `Error` with more on it: `kind` (as [`evengap::ErrorKind`], in
//! kebab-case), `line` and `column` (from 1) and `help`; those that are not known are `undefined`.

use evengap::follow::Options;
use evengap::{Card, SurfaceKind};
use js_sys::{JSON, JsString, Reflect};
use wasm_bindgen::prelude::*;

/// The errors' type for TypeScript.
#[wasm_bindgen(typescript_custom_section)]
pub const ERROR_TYPE: &'static str = r#"
/** What every function here throws: lines and columns count from 1. */
export interface EvengapError extends Error {
  kind: "card" | "readings" | "toolpath" | "refused" | "floor" | "options" | "limit";
  line?: number;
  column?: number;
  help?: string;
}
"#;

pub use surface::Surface;

#[expect(missing_docs, reason = "the macro adds a variant for unknown words, without words of its own")]
mod surface {
    use wasm_bindgen::prelude::*;

    /// Which surface passes through the readings.
    #[wasm_bindgen]
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Surface {
        /// r^2 ln r with an affine part.
        ThinPlate = "thin-plate",
        /// Bilinear between the nodes of a full grid.
        Bilinear = "bilinear",
    }
}

/// h(x, y) over the bed, mm: how far its surface stands above the toolpath's Z = 0.
#[wasm_bindgen]
#[derive(Debug)]
pub struct HeightMap(evengap::HeightMap);

#[wasm_bindgen]
impl HeightMap {
    /// Fits the map of a card (TOML or JSON text); the surface is `"thin-plate"` unless it is said.
    ///
    /// # Errors
    /// As `Card::parse` and `HeightMap::fit`.
    #[wasm_bindgen(constructor)]
    pub fn new(card: &str, surface: Option<Surface>) -> Result<HeightMap, js_sys::Error> {
        let card = Card::parse(card).map_err(|e| thrown(&e))?;
        let kind = kind(surface)?;
        evengap::HeightMap::fit(&card, kind).map(HeightMap).map_err(|e| thrown(&e))
    }

    /// The height at a point, mm.
    #[must_use]
    pub fn height(&self, x: f64, y: f64) -> f64 {
        self.0.height(x, y)
    }

    /// The heights at many points, mm: `points` holds x, y, x, y and so on.
    ///
    /// # Errors
    /// A `RangeError` if a point lacks its y.
    pub fn heights(&self, points: &[f64]) -> Result<Vec<f64>, js_sys::Error> {
        let (pairs, rest) = points.as_chunks::<2>();
        if !rest.is_empty() {
            return Err(js_sys::RangeError::new("the last point has an x and no y").into());
        }
        Ok(pairs.iter().map(|&[x, y]| self.0.height(x, y)).collect())
    }

    /// The rectangle that bounds the readings, mm: x0, y0, x1, y1. Outside it the height is that of its nearest point.
    #[must_use]
    pub fn measured(&self) -> Vec<f64> {
        self.0.measured().to_vec()
    }

    /// Rewrites a whole toolpath held in memory, with the default options.
    ///
    /// # Errors
    /// As `follow::rewrite`.
    pub fn rewrite(&self, toolpath: &[u8]) -> Result<Rewritten, js_sys::Error> {
        let (bytes, summary) =
            evengap::follow::rewrite(toolpath, &self.0, Options::default()).map_err(|e| thrown(&e))?;
        let summary = serde_json::to_string(&summary).map_err(|e| js_sys::Error::new(&e.to_string()))?;
        Ok(Rewritten { bytes, summary })
    }
}

/// A rewritten toolpath.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Rewritten {
    bytes: Vec<u8>,
    summary: String,
}

#[wasm_bindgen]
impl Rewritten {
    /// The toolpath.
    #[wasm_bindgen(getter)]
    #[must_use]
    pub fn toolpath(&self) -> Vec<u8> {
        self.bytes.clone()
    }

    /// What the rewriter did: the fields of `follow::Summary`.
    ///
    /// # Errors
    /// None in practice: the text was written as JSON.
    #[wasm_bindgen(getter)]
    pub fn summary(&self) -> Result<JsValue, JsValue> {
        JSON::parse(&self.summary)
    }
}

fn kind(surface: Option<Surface>) -> Result<SurfaceKind, js_sys::Error> {
    match surface {
        None | Some(Surface::ThinPlate) => Ok(SurfaceKind::ThinPlate),
        Some(Surface::Bilinear) => Ok(SurfaceKind::Bilinear),
        Some(_) => Err(js_sys::RangeError::new("a surface is \"thin-plate\" or \"bilinear\"").into()),
    }
}

/// The engine's error as a JavaScript one.
fn thrown(error: &evengap::Error) -> js_sys::Error {
    let thrown = js_sys::Error::new(error.message());
    let text = |value: &str| JsValue::from(JsString::from(value));
    // Lines and columns of real files are far below 2^53.
    let number = |value: u64| u32::try_from(value).map_or(JsValue::UNDEFINED, JsValue::from);
    let kind = serde_json::to_value(error.kind()).ok();
    let fields = [
        ("kind", kind.as_ref().and_then(|k| k.as_str()).map_or(JsValue::UNDEFINED, text)),
        ("line", error.place().map_or(JsValue::UNDEFINED, |p| number(p.line))),
        ("column", error.place().map_or(JsValue::UNDEFINED, |p| number(p.column))),
        ("help", error.help().map_or(JsValue::UNDEFINED, text)),
    ];
    for (name, value) in fields {
        // Setting a plain property of a fresh Error cannot fail.
        let _ = Reflect::set(&thrown, &text(name), &value);
    }
    thrown
}
