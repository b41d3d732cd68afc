//! The height map.

use crate::convert::{Js, list, options, pairs, result, thrown};
use crate::{Card, convert};
use evengap::surface::{MapReading, SurfaceKind};
use js_sys::Array;
use wasm_bindgen::prelude::*;

/// h(x, y) over the bed, mm: how far its surface stands above the toolpath's Z = 0.
#[wasm_bindgen]
#[derive(Debug)]
pub struct HeightMap(pub(crate) evengap::HeightMap);

/// Most heights that one call gives: 128 MB of them.
const MOST_HEIGHTS: u64 = 1 << 24;

#[wasm_bindgen]
impl HeightMap {
    /// Fits the map of a card; the surface is `"thin-plate"` unless it is said.
    ///
    /// Throws an `EvengapError` of kind `readings` or `limit`, with the places of the readings at fault.
    pub fn fit(card: &Card, surface: Option<Js<SurfaceKind>>) -> Result<HeightMap, JsValue> {
        let kind = options::<SurfaceKind>(surface)?;
        evengap::HeightMap::fit(&card.0, kind).map(HeightMap).map_err(thrown)
    }

    /// The height at a point, mm; outside the measured rectangle that of its nearest point.
    #[must_use]
    pub fn height(&self, x: f64, y: f64) -> f64 {
        self.0.height(x, y)
    }

    /// dh/dx and dh/dy at a point, mm per mm.
    #[wasm_bindgen(unchecked_return_type = "[number, number]")]
    #[must_use]
    pub fn slope(&self, x: f64, y: f64) -> Array {
        numbers(&self.0.slope(x, y))
    }

    /// The heights at many points, mm, in their order: `points` holds x, y, x, y and so on.
    ///
    /// Throws a `RangeError` if a point lacks its y.
    #[wasm_bindgen(js_name = heightsAt)]
    pub fn heights_at(&self, points: &[f64]) -> Result<Vec<f64>, JsValue> {
        Ok(pairs(points)?.iter().map(|&[x, y]| self.0.height(x, y)).collect())
    }

    /// The heights on a grid, mm: node (i, j) at (x0 + i dx, y0 + j dy) is number j nx + i of the result.
    ///
    /// Throws a `RangeError` for more than 2^24 nodes.
    #[wasm_bindgen(js_name = heightsOnGrid)]
    pub fn heights_on_grid(&self, x0: f64, y0: f64, dx: f64, dy: f64, nx: u32, ny: u32) -> Result<Vec<f64>, JsValue> {
        if u64::from(nx) * u64::from(ny) > MOST_HEIGHTS {
            return Err(js_sys::RangeError::new("a grid has at most 2^24 nodes").into());
        }
        let row = |j| (0..nx).map(move |i| (f64::from(i), f64::from(j)));
        Ok((0..ny).flat_map(row).map(|(i, j)| self.0.height(x0 + i * dx, y0 + j * dy)).collect())
    }

    /// The rectangle that bounds the readings, mm: x0, y0, x1, y1.
    #[wasm_bindgen(getter, unchecked_return_type = "[number, number, number, number]")]
    #[must_use]
    pub fn measured(&self) -> Array {
        numbers(&self.0.measured())
    }

    /// Which surface passes through the readings.
    #[wasm_bindgen(getter)]
    pub fn kind(&self) -> Result<Js<SurfaceKind>, JsValue> {
        result(&self.0.kind())
    }

    /// How many distinct places were read: fewer than the readings where some were read more than once.
    #[wasm_bindgen(getter)]
    #[must_use]
    pub fn places(&self) -> usize {
        self.0.places()
    }

    /// What `right_at` added to every height, mm; 0 without it.
    #[wasm_bindgen(getter)]
    #[must_use]
    pub fn shift(&self) -> f64 {
        self.0.shift()
    }

    /// The card that the map was fitted to.
    #[must_use]
    pub fn card(&self) -> Card {
        Card(self.0.card().clone())
    }

    /// The readings as the map has them, in the card's order, each with its residual.
    #[wasm_bindgen(unchecked_return_type = "MapReading[]")]
    pub fn readings(&self) -> Result<JsValue, JsValue> {
        list::<MapReading>(self.0.readings())
    }

    /// How the map smooths; `null` where it passes through the readings (or their means).
    #[wasm_bindgen(unchecked_return_type = "Smoothed | null")]
    pub fn smoothed(&self) -> Result<JsValue, JsValue> {
        self.0.smoothed().map_or(Ok(JsValue::NULL), |s| Ok(result(&s)?.into()))
    }

    /// The lowest and the highest point of the map, within 1e-6 mm.
    #[wasm_bindgen(unchecked_return_type = "[Extreme, Extreme]")]
    pub fn extremes(&self) -> Result<JsValue, JsValue> {
        convert::list(&self.0.extremes())
    }
}

fn numbers(values: &[f64]) -> Array {
    values.iter().map(|&n| JsValue::from(n)).collect()
}
