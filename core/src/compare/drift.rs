//! Several cards in time order: how each point moved.

use super::{Level, common, level, mean_change};
use crate::surface::places::Places;
use crate::{Error, HeightMap, whereabouts};

/// How the bed moved over several cards. All lengths are mm.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Drift {
    /// The rectangle that all cards' readings bound: `[x0, y0, x1, y1]`, mm.
    pub over: [f64; 4],
    /// What can be said of the level: the least of what each card can say against the first.
    pub level: Level,
    /// The first card's places within that rectangle.
    pub points: Vec<DriftPoint>,
}

/// How one place moved.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct DriftPoint {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// Where on the bed: `"middle"`, `"front left"` and so on.
    pub place: &'static str,
    /// For each card, its height less the first card's, mm, through their maps; the first is 0. Where only shapes can be
    /// compared, less the mean over the rectangle.
    pub change_mm: Vec<f64>,
}

/// How the bed moved from the first map on. `later`: the other cards' maps, in time order.
///
/// # Errors
///
/// [`ErrorKind::Readings`](crate::ErrorKind::Readings): no rectangle that all cards' readings bound.
///
/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let drift = evengap::compare::drift(&map, &[&map, &map])?;
/// assert_eq!(drift.points.len(), 5);
/// assert_eq!(drift.points[0].change_mm, [0.0, 0.0, 0.0]);
/// # Ok::<(), evengap::Error>(())
/// ```
pub fn drift(first: &HeightMap, later: &[&HeightMap]) -> Result<Drift, Error> {
    let maps: Vec<&HeightMap> = [first].into_iter().chain(later.iter().copied()).collect();
    let over = common(&maps)?;
    let levels: Vec<Level> = later.iter().map(|m| level(first, m)).collect();
    let shapes_only = levels.contains(&Level::ShapesOnly);
    let taken_off: Vec<f64> =
        maps.iter().map(|m| if shapes_only { mean_change(first, m, over) } else { 0.0 }).collect();
    let at: Vec<[f64; 2]> = first.readings().iter().map(|r| [r.x, r.y]).collect();
    let inside = |p: &[f64; 2]| p[0] >= over[0] && p[0] <= over[2] && p[1] >= over[1] && p[1] <= over[3];
    let point = |[x, y]: [f64; 2]| DriftPoint {
        x,
        y,
        place: whereabouts::place(&first.card().bed, x, y),
        change_mm: maps.iter().zip(&taken_off).map(|(m, t)| m.height(x, y) - first.height(x, y) - t).collect(),
    };
    Ok(Drift {
        over,
        level: match (shapes_only, levels.contains(&Level::SamePlace)) {
            (true, _) => Level::ShapesOnly,
            (false, true) => Level::SamePlace,
            (false, false) => Level::Absolute,
        },
        points: Places::pool(&at, &vec![0.0; at.len()], None).at.into_iter().filter(inside).map(point).collect(),
    })
}
