//! Words for the bed: lowest and highest, tilt, twist, bow, and the readings that stand out.
//!
//! # Directions
//!
//! As in [`crate::whereabouts`]: front is low y, back is high y, left is low x, right is high x, as one stands before the machine.
//!
//! # What the bed's shape is split into
//!
//! Over the readings, by least squares, with u and v running from -1 to 1 over the measured rectangle:
//!
//! ```text
//! height = plane + (twist / 2) u v - bow_x u^2 - bow_y v^2 + rest
//! ```
//!
//! - **tilt** is the best plane's slope: what screws can mend.
//! - **twist**, mm: how far the back right and front left corners stand above the other two, after the tilt is gone.
//! - **bow along x**, mm: how far the middle stands above the left and right edges; positive is a dome, negative a dip. **Bow along y**
//!   likewise, above the front and back edges.
//! - **rest**: what none of these explains.
//!
//! A part that the readings cannot tell is `None`: four corners tell twist but no bow; four corners and the middle tell that
//! the middle is high, not along which way the plate is bent ([`Bend::bow_either`]).
//!
//! # Readings that stand out
//!
//! Each reading is compared with what the others say of its place; see [`Outlier`].

use crate::HeightMap;
use crate::number::Shown;
use crate::surface::MapReading;
use crate::surface::places::count;
use crate::surface::thin_plate::{LeftOut, Smoothing, ThinPlate};
use crate::whereabouts;

/// The bed in numbers. All lengths are mm.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Shape {
    /// The lowest reading.
    pub lowest: Spot,
    /// The highest reading.
    pub highest: Spot,
    /// Highest minus lowest, mm.
    pub range: f64,
    /// The best plane's tilt.
    pub tilt: Tilt,
    /// What is left when the tilt is gone.
    pub bend: Bend,
    /// Each reading against the others, in the card's order.
    pub readings: Vec<Check>,
    /// The readings that stand out, the worst first.
    pub outliers: Vec<Outlier>,
}

/// A place and its height.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Spot {
    /// X on the bed, mm.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// Height, mm, after the shift of `right_at`.
    pub height: f64,
    /// The card's line.
    pub line: Option<u64>,
}

/// The best plane through the readings (least squares).
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Tilt {
    /// dh/dx and dh/dy, mm per mm.
    pub slope: [f64; 2],
    /// How much the right edge of the bed's reach stands above the left, mm.
    pub over_width: f64,
    /// How much the back edge of the bed's reach stands above the front, mm.
    pub over_depth: f64,
    /// The plane's height in the middle of the bed's reach, mm.
    pub middle: f64,
    /// Where it rises to: `"back"`, `"front left"` and so on; `None` where it rises by less than 0.001 mm over the bed.
    pub rises_to: Option<&'static str>,
}

/// What is left of the readings when the best plane is taken off.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Bend {
    /// Highest minus lowest of what is left, mm.
    pub range: f64,
    /// Root of its mean square, mm.
    pub rms: f64,
    /// Back right and front left corners above the other two, mm.
    pub twist: Option<f64>,
    /// Middle above the left and right edges, mm.
    pub bow_x: Option<f64>,
    /// Middle above the front and back edges, mm.
    pub bow_y: Option<f64>,
    /// Middle above the corners, mm, where the readings cannot tell along which way; `None` where they can, or cannot tell even this.
    pub bow_either: Option<f64>,
    /// Root mean square of what twist and bows leave, mm.
    pub rest_rms: f64,
    /// Highest minus lowest of what twist and bows leave, mm.
    pub rest_range: f64,
}

/// A reading against what the others say of its place: the leave-one-out error of the thin-plate surface with the card's spread.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Check {
    /// X on the bed, mm.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// The reading's height, mm, after the shift of `right_at`.
    pub height: f64,
    /// The height that the others lead one to expect, mm; `None` where they make no surface without it (or there are more than
    /// [`MAX_THIN_PLATE_PLACES`](crate::surface::MAX_THIN_PLATE_PLACES) of them).
    pub expected: Option<f64>,
    /// `height` minus `expected`, mm.
    pub error: Option<f64>,
    /// The card's line.
    pub line: Option<u64>,
}

/// A reading that stands out from its neighbours: mistyped, misread, or a crumb under the plate.
///
/// # How they are found
///
/// One at a time, the worst first, each time without those found before, at most a quarter of the readings. A thin-plate surface
/// is fitted to the others, with the card's spread (or the method's usual one) for noise, and its bend by
/// restricted maximum likelihood ([`crate::surface::thin_plate`]), but not less than [`USUAL_BEND`]. Under that model the reading's distance
/// from the surface has a known standard deviation: its own noise, and what the others leave open at its place. The reading
/// stands out when the distance is more than `3.5 + 6 / (n - 4)` of those, n the number of readings: more for few readings, whose bend is
/// itself uncertain. Fewer than six readings cannot tell.
///
/// # How well that works
///
/// Measured on made-up beds with up to 0.2 mm of bow each way, twist, a hanging corner and a wave, read with a spread of 0.02 mm: false
/// alarms on at most 4 beds in 1,000, whether the readings were a grid of 9 or 16 or a scatter of 6 to 12, and on none of 400 with 25
/// or 49. A reading wrong by 0.45 mm was found, and nothing else, on 44 beds in 100 with nine readings and on 99 in 100 with
/// sixteen; one wrong by 0.2 mm on 88 in 100 with twenty-five.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Outlier {
    /// Its number on the card, from 0.
    pub index: usize,
    /// The card's line.
    pub line: Option<u64>,
    /// The column in that line.
    pub column: Option<u64>,
    /// X on the card, mm.
    pub x: f64,
    /// Y on the card, mm.
    pub y: f64,
    /// What the card says was read, mm: in the method's own terms.
    pub value: f64,
    /// What would have been expected, mm: in the method's own terms.
    pub expected_value: f64,
    /// How many standard deviations it is off.
    pub deviations: f64,
}

/// One line for a person: `line 14: read 0.61 at (117, 205), where the other readings say about 0.16`.
impl core::fmt::Display for Outlier {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        let [x, y, value, expected] = [self.x, self.y, self.value, self.expected_value].map(Shown);
        write!(f, "read {value} at ({x}, {y}), where the other readings say about {expected:.2}")
    }
}

/// The least bend that a bed is credited with when readings are judged, mm: the root of tau^2 times the readings' extent squared.
///
/// A plate bowed by 0.1 mm over nine readings has about this much. Found by simulation: with less, beds that are bent in one place
/// only are taken for mistyped.
pub const USUAL_BEND: f64 = 0.3;

/// Describes the bed that a map was fitted to.
///
/// The same for a thin-plate and a bilinear map: what it says of the readings does not depend on the surface between them.
#[must_use]
pub fn describe(map: &HeightMap) -> Shape {
    let readings = map.readings();
    let spot = |r: &MapReading| Spot { x: r.x, y: r.y, height: r.height, line: r.line };
    let nothing = Spot { x: 0.0, y: 0.0, height: 0.0, line: None };
    let mut lowest = readings.first().map_or(nothing, spot);
    let mut highest = lowest;
    for r in readings {
        if r.height < lowest.height {
            lowest = spot(r);
        }
        if r.height > highest.height {
            highest = spot(r);
        }
    }
    let (tilt, bend) = plane_and_bend(map);
    let found = Judge::of(map);
    Shape {
        lowest,
        highest,
        range: highest.height - lowest.height,
        tilt,
        bend,
        readings: found.checks(map),
        outliers: found.outliers(map),
    }
}

/// Columns over the readings, made orthogonal one after the other.
struct Columns(Vec<Vec<f64>>);

impl Columns {
    /// What of a column is not in the span of these.
    fn rest_of(&self, column: &[f64]) -> Vec<f64> {
        let mut rest = column.to_vec();
        // Twice: once leaves rounding that matters where the rest is small (Golub and Van Loan, section 5.2.8).
        for _ in 0..2 {
            for q in &self.0 {
                let share = dot(q, &rest) / dot(q, q);
                rest.iter_mut().zip(q).for_each(|(r, q)| *r -= share * q);
            }
        }
        rest
    }

    fn with(mut self, column: &[f64]) -> Columns {
        let rest = self.rest_of(column);
        self.0.push(rest);
        self
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn range_of(values: &[f64]) -> f64 {
    let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    if low <= high { high - low } else { 0.0 }
}

fn rms_of(values: &[f64]) -> f64 {
    (dot(values, values) / count(values.len().max(1))).sqrt()
}

/// The least part of its length that a column must have outside the others' span for its coefficient to be told.
const TOLD: f64 = 0.1;

fn plane_and_bend(map: &HeightMap) -> (Tilt, Bend) {
    let readings = map.readings();
    let [x0, y0, x1, y1] = map.measured();
    let half = [0.5 * (x1 - x0), 0.5 * (y1 - y0)];
    let centre = [0.5 * (x0 + x1), 0.5 * (y0 + y1)];
    let u: Vec<f64> = readings.iter().map(|r| (r.x - centre[0]) / half[0]).collect();
    let v: Vec<f64> = readings.iter().map(|r| (r.y - centre[1]) / half[1]).collect();
    let heights: Vec<f64> = readings.iter().map(|r| r.height).collect();
    let ones = vec![1.0; readings.len()];
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).collect::<Vec<f64>>();
    let sum = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a + b).collect::<Vec<f64>>();
    // The coefficient of a column in the least-squares fit with the others, by what of it the others do not span.
    let coefficient = |column: &[f64], others: &[&[f64]]| -> Option<f64> {
        let basis = others.iter().fold(Columns(Vec::new()), |basis, c| {
            let rest = basis.rest_of(c);
            if dot(&rest, &rest) > 1e-12 * dot(c, c) { basis.with(c) } else { basis }
        });
        let rest = basis.rest_of(column);
        let (own, left) = (dot(column, column), dot(&rest, &rest));
        (left > TOLD * TOLD * own).then(|| dot(&rest, &heights) / left)
    };
    let plane_b = coefficient_or_zero(&u, &[&ones, &v], &heights);
    let plane_c = coefficient_or_zero(&v, &[&ones, &u], &heights);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / count(values.len().max(1));
    let plane_a = mean(&heights) - plane_b * mean(&u) - plane_c * mean(&v);
    let left: Vec<f64> =
        heights.iter().zip(u.iter().zip(&v)).map(|(h, (u, v))| h - (plane_a + plane_b * u + plane_c * v)).collect();

    let (uv, uu, vv) = (product(&u, &v), product(&u, &u), product(&v, &v));
    let plane: [&[f64]; 3] = [&ones, &u, &v];
    let twist = coefficient(&uv, &[plane[0], plane[1], plane[2], &uu, &vv]);
    let bow_x = coefficient(&uu, &[plane[0], plane[1], plane[2], &uv, &vv]);
    let bow_y = coefficient(&vv, &[plane[0], plane[1], plane[2], &uv, &uu]);
    let both = sum(&uu, &vv);
    let bow_either = match (bow_x, bow_y) {
        (None, None) => coefficient(&both, &[plane[0], plane[1], plane[2], &uv]),
        _ => None,
    };
    // The rest: what is left when every column that could be told is fitted.
    let mut basis = Columns(Vec::new()).with(&ones).with(&u).with(&v);
    for (told, column) in [(twist, &uv), (bow_x, &uu), (bow_y, &vv), (bow_either, &both)] {
        if told.is_some() {
            basis = basis.with(column);
        }
    }
    let rest = basis.rest_of(&heights);

    let slope = [plane_b / half[0], plane_c / half[1]];
    let bed = &map.card().bed;
    let (width, depth) = (bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]);
    let (over_width, over_depth) = (slope[0] * width, slope[1] * depth);
    let middle = [0.5 * (bed.x[0] + bed.x[1]), 0.5 * (bed.y[0] + bed.y[1])];
    let tilt = Tilt {
        slope,
        over_width,
        over_depth,
        middle: plane_a + slope[0] * (middle[0] - centre[0]) + slope[1] * (middle[1] - centre[1]),
        rises_to: whereabouts::direction(slope, over_width.abs() + over_depth.abs()),
    };
    let bend = Bend {
        range: range_of(&left),
        rms: rms_of(&left),
        twist: twist.map(|t| 2.0 * t),
        bow_x: bow_x.map(|b| -b),
        bow_y: bow_y.map(|b| -b),
        bow_either: bow_either.map(|b| -2.0 * b),
        rest_rms: rms_of(&rest),
        rest_range: range_of(&rest),
    };
    (tilt, bend)
}

/// A plane's coefficient: the readings are not on one line, so that it can always be told.
fn coefficient_or_zero(column: &[f64], others: &[&[f64]], heights: &[f64]) -> f64 {
    let basis = others.iter().fold(Columns(Vec::new()), |basis, c| basis.with(c));
    let rest = basis.rest_of(column);
    let left = dot(&rest, &rest);
    if left > 0.0 { dot(&rest, heights) / left } else { 0.0 }
}

/// The readings as a spline sees them, for leave-one-out errors and outliers.
struct Judge {
    points: Vec<[f64; 2]>,
    heights: Vec<f64>,
    weights: Option<Vec<f64>>,
    /// One reading's standard deviation, mm, never 0.
    noise: f64,
    /// The readings' extent, mm.
    extent: f64,
}

impl Judge {
    fn of(map: &HeightMap) -> Judge {
        let r = &map.card().readings;
        let [x0, y0, x1, y1] = map.measured();
        Judge {
            points: map.readings().iter().map(|r| [r.x, r.y]).collect(),
            heights: map.readings().iter().map(|r| r.height).collect(),
            weights: r.weights(),
            noise: r.noise().filter(|s| *s > 0.0).unwrap_or_else(|| r.method.usual_spread()),
            extent: (x1 - x0).max(y1 - y0),
        }
    }

    fn checks(&self, map: &HeightMap) -> Vec<Check> {
        let smoothing = map.card().readings.noise().map_or(Smoothing::None, Smoothing::KnownNoise);
        let left_out = match ThinPlate::fit(&self.points, &self.heights, self.weights.as_deref(), smoothing) {
            Ok(spline) => spline.leave_one_out(),
            Err(_) => vec![None; self.points.len()],
        };
        let check = |(r, l): (&MapReading, Option<LeftOut>)| Check {
            x: r.x,
            y: r.y,
            height: r.height,
            expected: l.map(|l| l.expected),
            error: l.map(|l| l.error),
            line: r.line,
        };
        map.readings().iter().zip(left_out).map(check).collect()
    }

    fn outliers(&self, map: &HeightMap) -> Vec<Outlier> {
        let mut kept: Vec<usize> = (0..self.points.len()).collect();
        let mut found = Vec::new();
        while found.len() < self.points.len() / 4 {
            let Some((index, left_out, deviations)) = self.worst(&kept) else { break };
            kept.retain(|&k| k != index);
            let point = map.card().readings.points[index];
            found.push(Outlier {
                index,
                line: point.line,
                column: point.column,
                x: point.x,
                y: point.y,
                value: point.value,
                expected_value: map.card().readings.value_of(left_out.expected - map.shift()),
                deviations,
            });
        }
        found
    }

    fn fit(&self, which: &[usize], smoothing: Smoothing) -> Option<ThinPlate> {
        let points: Vec<[f64; 2]> = which.iter().map(|&k| self.points[k]).collect();
        let heights: Vec<f64> = which.iter().map(|&k| self.heights[k]).collect();
        let weights: Option<Vec<f64>> = self.weights.as_ref().map(|w| which.iter().map(|&k| w[k]).collect());
        ThinPlate::fit(&points, &heights, weights.as_deref(), smoothing).ok()
    }

    /// The reading of these that stands out most from the others, if one does.
    fn worst(&self, which: &[usize]) -> Option<(usize, LeftOut, f64)> {
        /// So many of the furthest are looked at with a surface of their own: a wrong reading makes its neighbours look wrong too.
        const CANDIDATES: usize = 3;
        const MANY: usize = 100;
        let n = which.len();
        if n < 6 {
            return None;
        }
        let limit = 3.5 + 6.0 / (count(n) - 4.0);
        let most = self.noise * self.noise * (self.extent * self.extent) / (USUAL_BEND * USUAL_BEND);
        let all = self.fit(which, Smoothing::KnownNoise(self.noise))?;
        let mut ranked: Vec<(f64, usize)> = all
            .leave_one_out()
            .into_iter()
            .enumerate()
            .filter_map(|(i, l)| l.and_then(|l| l.noise_gain.map(|gain| (l.error.abs() / (gain * self.noise), i))))
            .collect();
        crate::order::sort_by(&mut ranked, |a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let candidates: Vec<usize> = ranked.iter().take(CANDIDATES).map(|&(_, i)| i).collect();
        let without = |left_out: &[usize]| {
            let others: Vec<usize> = (0..n).filter(|i| !left_out.contains(i)).map(|i| which[i]).collect();
            self.fit(&others, Smoothing::KnownNoise(self.noise))
        };
        // Among many readings three more or less do not change the bend that the others show: one surface does for all.
        let common = if n > MANY { without(&candidates) } else { None };
        let mut best: Option<(usize, LeftOut, f64)> = None;
        for &i in &candidates {
            let own = if n > MANY { None } else { without(&[i]) };
            let Some(without) = common.as_ref().or(own.as_ref()) else { continue };
            // The others' bend, but all readings' places: leave-one-out then tells distance and standard deviation together.
            let lambda = without.n_lambda().min(most) / count(n);
            let Some(left_out) = all.left_out_with(lambda, i) else { continue };
            let Some(gain) = left_out.noise_gain else { continue };
            let deviations = left_out.error.abs() / (gain * self.noise);
            if deviations > limit && best.is_none_or(|(_, _, d)| deviations > d) {
                best = Some((which[i], left_out, deviations));
            }
        }
        best
    }
}
