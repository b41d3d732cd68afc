//! Two height maps or more, in time order: what changed.
//!
//! ```
//! use evengap::compare::difference;
//! use evengap::{Card, HeightMap, SurfaceKind};
//!
//! let map = |back: f64| {
//!     let text = format!("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n
//!         points = [[20, 20, 0.1], [180, 20, 0.1], [20, 180, {back}], [180, 180, {back}], [100, 100, 0.1]]");
//!     HeightMap::fit(&Card::parse(&text)?, SurfaceKind::ThinPlate)
//! };
//! let change = difference(&map(0.1)?, &map(0.22)?)?;
//! assert!((change.highest.change_mm - 0.12).abs() < 1e-9);
//! assert_eq!(change.tilt.rises_to, Some("back"));
//! # Ok::<(), evengap::Error>(())
//! ```
//!
//! # What is compared
//!
//! The difference of the maps, later minus earlier, mm, over the rectangle that both cards' readings bound: beyond it
//! one map only repeats its rim. Cards with other points, another method or another number of readings can be compared
//! all the same. The difference is looked at on a grid of 61 by 61 places, its rim included, and at every reading's
//! place.
//!
//! # The level
//!
//! | both cards | [`Level`] | what can be told |
//! | --- | --- | --- |
//! | without `right_at` | `absolute` | everything |
//! | with `right_at` at one place (within 0.5 mm) | `same-place` | everything but a rise or fall of the whole bed: both maps are 0 there |
//! | otherwise | `shapes-only` | the shape: the mean of the difference is taken off, for it means nothing |
//!
//! # What changed beyond the spreads
//!
//! At each place that was read, the change is set against its standard deviation, sqrt(s1^2 + s2^2), s1 and s2 the
//! readings' spreads (less where a place was read more than once). Places of the two cards within 0.5 mm are one place;
//! where only one card has a reading, the other's map stands for it, with one reading's spread: what a map may be wrong
//! by between its readings is not known from a card, and not in the figure ([`Change::through_map`]). A change stands
//! out when it is larger than [`Difference::limit_deviations`] of its deviations: so many that, if nothing had changed,
//! one place or more among all of them would stand out by chance on [`BY_CHANCE`] of comparisons (Šidák 1967). A small
//! change of the whole bed may pass below that at every single place; [`Difference::rms_mm`] against
//! [`Difference::rms_by_chance_mm`] shows it.
//!
//! # Temperatures
//!
//! The cards' own are given beside each other, so that a cold bed is not taken for a bed that moved.

mod drift;
mod points;

pub use drift::{Drift, DriftPoint, drift};
pub use points::Change;

use crate::card::Method;
use crate::least_squares::fit;
use crate::normal::passed_by_none;
use crate::number::Shown;
use crate::surface::places::count;
use crate::tram::ScrewTurn;
use crate::{Error, ErrorKind, HeightMap, whereabouts};

/// How often something would stand out by chance where nothing changed.
pub const BY_CHANCE: f64 = 0.05;

/// Places along each side of the grid on which differences are looked at.
const ACROSS: u32 = 61;

/// Places nearer than this are one place, mm: hand-carried nozzles do not come back closer.
pub(crate) const ONE_PLACE: f64 = 0.5;

/// What two cards can say of each other's level; the [module](self) has the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Level {
    /// Both are absolute.
    Absolute,
    /// Both are 0 at the same place.
    SamePlace,
    /// They cannot be set against each other: shapes only.
    ShapesOnly,
}

/// What changed from one card to another. All lengths are mm; changes are later minus earlier, up is positive.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Difference {
    /// What can be said of the level.
    pub level: Level,
    /// The rectangle over which the maps are compared: `[x0, y0, x1, y1]`, mm.
    pub over: [f64; 4],
    /// The mean change over it; none where the level means nothing.
    pub mean_mm: Option<f64>,
    /// What was taken off every change, mm: the mean where only shapes are compared, else 0.
    pub taken_off_mm: f64,
    /// Highest minus lowest change.
    pub range_mm: f64,
    /// Where the bed fell most (or rose least).
    pub lowest: ChangeAt,
    /// Where the bed rose most (or fell least).
    pub highest: ChangeAt,
    /// The best plane of the change.
    pub tilt: TiltChange,
    /// Back right and front left corners of the rectangle above the other two.
    pub twist_mm: f64,
    /// Middle above the left and right edges.
    pub bow_x_mm: f64,
    /// Middle above the front and back edges.
    pub bow_y_mm: f64,
    /// Highest minus lowest of what none of these explains.
    pub rest_range_mm: f64,
    /// Its root mean square.
    pub rest_rms_mm: f64,
    /// The largest error of the gap, in size, if a file was rewritten with the earlier card and the bed is as the later
    /// one says.
    pub gap_error_mm: f64,
    /// The change at each place that was read, the earlier card's first.
    pub points: Vec<Change>,
    /// How many of them stand out.
    pub stand_out: usize,
    /// More standard deviations than this stand out.
    pub limit_deviations: f64,
    /// Root mean square of the changes at those places.
    pub rms_mm: f64,
    /// What that would be if nothing had changed, by the spreads alone.
    pub rms_by_chance_mm: f64,
    /// Bed temperatures of the two cards, degrees Celsius.
    pub bed_celsius: [Option<f64>; 2],
    /// Nozzle temperatures of the two cards, degrees Celsius.
    pub nozzle_celsius: [Option<f64>; 2],
    /// How each was read.
    pub methods: [Method; 2],
    /// Whether each is a prediction.
    pub predicted: [bool; 2],
}

/// A change and its place.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct ChangeAt {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// mm.
    pub change_mm: f64,
    /// Where on the bed: `"middle"`, `"front left"` and so on.
    pub place: &'static str,
}

/// The best plane of a change (least squares over the rectangle).
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct TiltChange {
    /// The right edge of the bed's reach against the left, mm.
    pub over_width_mm: f64,
    /// The back edge of the bed's reach against the front, mm.
    pub over_depth_mm: f64,
    /// The side that rose; none where it is less than 0.001 mm over the bed.
    pub rises_to: Option<&'static str>,
    /// What the plane's change comes to at the screws: as if each had been turned so. In the card's order; empty where
    /// neither card names screws (the later card's count).
    pub screws: Vec<ScrewTurn>,
}

/// What can be said of the level of two maps.
pub(crate) fn level(a: &HeightMap, b: &HeightMap) -> Level {
    match (a.card().readings.right_at, b.card().readings.right_at) {
        (None, None) => Level::Absolute,
        (Some(p), Some(q)) if libm::hypot(p[0] - q[0], p[1] - q[1]) <= ONE_PLACE => Level::SamePlace,
        _ => Level::ShapesOnly,
    }
}

/// The rectangle that all maps' readings bound, mm.
pub(crate) fn common(maps: &[&HeightMap]) -> Result<[f64; 4], Error> {
    let over = maps
        .iter()
        .map(|m| m.measured())
        .fold([f64::NEG_INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::INFINITY], |a, b| {
            [a[0].max(b[0]), a[1].max(b[1]), a[2].min(b[2]), a[3].min(b[3])]
        });
    if over[2] - over[0] >= 1.0 && over[3] - over[1] >= 1.0 {
        return Ok(over);
    }
    let words = |[x0, y0, x1, y1]: [Shown; 4]| format!("X {x0} to {x1}, Y {y0} to {y1}");
    let names: Vec<String> = maps.iter().map(|m| words(m.measured().map(Shown))).collect();
    Err(Error::new(
        ErrorKind::Readings,
        format!("the cards' readings have no part of the bed in common: {}", names.join("; ")),
    )
    .with_help("read places all over the bed on each card"))
}

fn grid([x0, y0, x1, y1]: [f64; 4]) -> impl Iterator<Item = [f64; 2]> {
    let along = |k: u32, low: f64, high: f64| low + (high - low) * (f64::from(k) / f64::from(ACROSS - 1));
    (0..ACROSS).flat_map(move |j| (0..ACROSS).map(move |i| [along(i, x0, x1), along(j, y0, y1)]))
}

/// The mean of the later map minus the earlier over a rectangle, mm.
pub(crate) fn mean_change(from: &HeightMap, to: &HeightMap, over: [f64; 4]) -> f64 {
    let sum: f64 = grid(over).map(|[x, y]| to.height(x, y) - from.height(x, y)).sum();
    sum / f64::from(ACROSS * ACROSS)
}

fn range(values: &[f64]) -> [f64; 2] {
    values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(*v), h.max(*v)])
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0), |(sum, n), v| (sum + v * v, n + 1));
    if n > 0 { (sum / count(n)).sqrt() } else { 0.0 }
}

/// What changed from `from` to `to`; the [module](self) says how.
///
/// # Errors
///
/// [`ErrorKind::Readings`]: the cards' readings have no rectangle in common (1 mm at least each way).
pub fn difference(from: &HeightMap, to: &HeightMap) -> Result<Difference, Error> {
    let over = common(&[from, to])?;
    let level = level(from, to);
    let mean = mean_change(from, to, over);
    let taken_off_mm = if level == Level::ShapesOnly { mean } else { 0.0 };
    let at = |x: f64, y: f64| to.height(x, y) - from.height(x, y) - taken_off_mm;

    // u and v run from -1 to 1 over the rectangle, as in `shape`.
    let [x0, y0, x1, y1] = over;
    let (centre, half) = ([0.5 * (x0 + x1), 0.5 * (y0 + y1)], [0.5 * (x1 - x0), 0.5 * (y1 - y0)]);
    let places: Vec<[f64; 2]> = grid(over).collect();
    let changes: Vec<f64> = places.iter().map(|[x, y]| at(*x, *y)).collect();
    let rows = |with_bend: bool| -> Vec<Vec<f64>> {
        let row = |[x, y]: &[f64; 2]| {
            let (u, v) = ((x - centre[0]) / half[0], (y - centre[1]) / half[1]);
            if with_bend { vec![1.0, u, v, u * v, u * u, v * v] } else { vec![1.0, u, v] }
        };
        places.iter().map(row).collect()
    };
    // A full grid tells all its terms: the fits cannot fail.
    let coefficients = |rows: &[Vec<f64>]| {
        fit(rows, &changes, None).map_or_else(|| vec![0.0; rows.first().map_or(0, Vec::len)], |f| f.coefficients)
    };
    let bent_rows = rows(true);
    let (plane, bend) = (coefficients(&rows(false)), coefficients(&bent_rows));
    let rest: Vec<f64> = bent_rows
        .iter()
        .zip(&changes)
        .map(|(row, c)| c - row.iter().zip(&bend).map(|(r, b)| r * b).sum::<f64>())
        .collect();
    let [rest_low, rest_high] = range(&rest);

    let points = points::changes(from, to, over, taken_off_mm);
    let limit_deviations = passed_by_none(points.len(), BY_CHANCE);
    let points: Vec<Change> = points.into_iter().map(|p| p.judged(limit_deviations)).collect();
    let read_places = points.iter().map(|p| ([p.x, p.y], at(p.x, p.y)));
    let found = places.iter().copied().zip(changes.iter().copied()).chain(read_places);
    let ([mut lowest, mut highest], first) = ([[x0, y0], [x0, y0]], at(x0, y0));
    let (mut low, mut high) = (first, first);
    for (place, change) in found {
        if change < low {
            (low, lowest) = (change, place);
        }
        if change > high {
            (high, highest) = (change, place);
        }
    }
    let bed = &to.card().bed;
    let named = |[x, y]: [f64; 2], change_mm: f64| ChangeAt { x, y, change_mm, place: whereabouts::place(bed, x, y) };
    let slope = [plane[1] / half[0], plane[2] / half[1]];
    let (over_width_mm, over_depth_mm) = (slope[0] * (bed.x[1] - bed.x[0]), slope[1] * (bed.y[1] - bed.y[0]));
    let screws = to.card().screws.as_ref().or(from.card().screws.as_ref()).map_or_else(Vec::new, |s| {
        let plane_at = |x: f64, y: f64| plane[0] + slope[0] * (x - centre[0]) + slope[1] * (y - centre[1]);
        (0..s.at.len()).map(|i| ScrewTurn::new(s, i, plane_at(s.at[i].x, s.at[i].y), 0.0)).collect()
    });
    let both = |of: fn(&HeightMap) -> Option<f64>| [of(from), of(to)];
    Ok(Difference {
        level,
        over,
        mean_mm: (level == Level::Absolute).then_some(mean),
        taken_off_mm,
        range_mm: high - low,
        lowest: named(lowest, low),
        highest: named(highest, high),
        tilt: TiltChange {
            over_width_mm,
            over_depth_mm,
            rises_to: whereabouts::direction(slope, over_width_mm.abs() + over_depth_mm.abs()),
            screws,
        },
        twist_mm: 2.0 * bend[3],
        bow_x_mm: -bend[4],
        bow_y_mm: -bend[5],
        rest_range_mm: rest_high - rest_low,
        rest_rms_mm: rms(rest.iter().copied()),
        gap_error_mm: low.abs().max(high.abs()),
        stand_out: points.iter().filter(|p| p.stands_out).count(),
        limit_deviations,
        rms_mm: rms(points.iter().map(|p| p.change_mm)),
        rms_by_chance_mm: rms(points.iter().map(|p| p.spread_mm)),
        points,
        bed_celsius: both(|m| m.card().readings.bed_celsius),
        nozzle_celsius: both(|m| m.card().readings.nozzle_celsius),
        methods: [from, to].map(|m| m.card().readings.method),
        predicted: [from, to].map(|m| m.card().readings.predicted),
    })
}
