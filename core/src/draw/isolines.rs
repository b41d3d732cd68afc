//! The plan's contours as polylines.

use super::Survey;
use super::levels::signed;
use crate::card::Card;
use crate::surface::HeightMap;

/// The contours of a bed: heights in mm above the toolpath's Z = 0, places in mm.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Isolines {
    /// Lowest and highest height on the bed, mm, as far as a grid of about 1.5 mm (finer on beds under 235 mm) and the readings
    /// show them; [`HeightMap::extremes`] is exact.
    pub range: [f64; 2],
    /// mm between neighbouring contours: 1, 2 or 5 times a power of ten, at least 0.001.
    pub interval: f64,
    /// The contours, lowest first; none where the bed is flat.
    pub levels: Vec<Isoline>,
}

/// One contour.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Isoline {
    /// Its height, mm: a multiple of the interval.
    pub height: f64,
    /// The height as the plan writes it: signed (with a true minus), as many decimals as the interval has; `"0"` for 0.
    pub text: String,
    /// Every fifth contour is an index contour, drawn heavier.
    pub index: bool,
    /// Its lines on the bed: places `[x, y]`, mm. A line that closes ends where it begins; any other ends at the bed's edge.
    #[cfg_attr(feature = "typescript", tsify(type = "[number, number][][]"))]
    pub lines: Vec<Vec<[f64; 2]>>,
}

/// The contours that [`plan`](super::plan) draws: the same levels, the same places.
///
/// A line's places lie within 0.04 cells (0.06 mm on a bed of 235 mm) of the contour of the surface that is linear between the
/// nodes of the grid.
///
/// ```
/// use evengap::{Card, HeightMap, SurfaceKind, draw::isolines};
/// let card = Card::parse("
/// [bed]
/// x = [0, 200]
/// y = [0, 200]
/// [readings]
/// method = 'drag'
/// sheet = 0.1
/// points = [[20, 20, 0.1], [180, 20, 0.2], [20, 180, 0.1], [180, 180, 0.2]]
/// ")?;
/// let contours = isolines(&card, &HeightMap::fit(&card, SurfaceKind::Bilinear)?);
/// assert!((contours.interval - 0.01).abs() < 1e-12);
/// let middle = &contours.levels[4];
/// assert_eq!(middle.text, "+0.05");
/// // Halfway between 0 and 0.1 mm, halfway between x = 20 and x = 180.
/// assert!(middle.lines[0].iter().all(|[x, _]| (x - 100.0).abs() < 1e-6));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn isolines(card: &Card, map: &HeightMap) -> Isolines {
    let Survey { range, levels, contours, .. } = Survey::new(card, map);
    let levels_out = contours.into_iter().enumerate().map(|(i, contour)| Isoline {
        height: levels.height(i),
        text: levels.text(i, signed),
        index: levels.is_index(i),
        lines: contour.lines,
    });
    Isolines { range, interval: levels.interval, levels: levels_out.collect() }
}
