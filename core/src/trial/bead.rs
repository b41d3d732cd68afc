//! How much filament a printed line needs.
//!
//! A line of width w and height h is taken as a stadium, a rectangle with half-round ends (geometry; that a bead is pressed into this
//! shape is common practice, no source):
//!
//! ```text
//! area       A = (w - h) h + pi (h / 2)^2  =  h (w - h (1 - pi / 4))
//! spacing    s = A / h  =  w - h (1 - pi / 4)
//! filament   e = A / (pi (d / 2)^2)          mm of filament of diameter d for each mm of line
//! ```
//!
//! Lines side by side at the spacing s fill a layer of height h without holes: each has the plastic of a strip s wide and h high.
//!
//! ```
//! use evengap::trial::{bead_area, filament_per_mm, line_spacing};
//!
//! let (width, height) = (0.45, 0.2);
//! assert!((bead_area(width, height) - line_spacing(width, height) * height).abs() < 1e-12);
//! assert!((filament_per_mm(width, height, 1.75) - 0.0338).abs() < 1e-4);
//! ```

use core::f64::consts::PI;

/// Cross-section of a line, mm^2: width and height in mm, the width at least the height.
#[must_use]
pub fn bead_area(width: f64, height: f64) -> f64 {
    (width - height) * height + PI * (0.5 * height) * (0.5 * height)
}

/// Distance between neighbouring lines that fill a layer, mm.
#[must_use]
pub fn line_spacing(width: f64, height: f64) -> f64 {
    width - height * (1.0 - PI / 4.0)
}

/// mm of filament of this diameter for each mm of line.
#[must_use]
pub fn filament_per_mm(width: f64, height: f64, diameter: f64) -> f64 {
    bead_area(width, height) / (PI * (0.5 * diameter) * (0.5 * diameter))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_spacing_fills_the_layer() {
        for (w, h) in [(0.45, 0.2), (0.8, 0.3), (0.3, 0.3), (1.2, 0.05)] {
            assert!((line_spacing(w, h) * h - bead_area(w, h)).abs() < 1e-15);
        }
        // A round bead.
        assert!((bead_area(0.4, 0.4) - PI * 0.04).abs() < 1e-15);
        // By hand: 0.25 x 0.2 + pi 0.01 = 0.081416 mm^2, over 2.405282 mm^2 of filament.
        assert!((filament_per_mm(0.45, 0.2, 1.75) - 0.033_849).abs() < 5e-7);
    }
}
