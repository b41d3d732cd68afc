//! The height map. (skeleton: signatures only)
use crate::{Card, Error};
/// Most places.
pub const MAX_THIN_PLATE_PLACES: usize = 1_000;

/// Which surface passes through the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SurfaceKind {
    /// r^2 log r with an affine part (Duchon 1977).
    #[default]
    ThinPlate,
    /// Bilinear between the nodes of a full grid.
    Bilinear,
}
/// h(x, y) over the bed, mm.
#[derive(Debug, Clone)]
pub struct HeightMap {}
impl HeightMap {
    /// Fits the map.
    pub fn fit(_card: &Card, _kind: SurfaceKind) -> Result<HeightMap, Error> {
        todo!()
    }
    /// Height, mm, at (x, y) mm; outside the readings' rectangle the value at its nearest point.
    pub fn height(&self, _x: f64, _y: f64) -> f64 {
        todo!()
    }
    /// dh/dx and dh/dy, mm per mm.
    pub fn slope(&self, _x: f64, _y: f64) -> [f64; 2] {
        todo!()
    }
    /// The rectangle that bounds the readings: `[x0, y0, x1, y1]`, mm.
    pub fn measured(&self) -> [f64; 4] {
        todo!()
    }
}
