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
use crate::known::{Data, Deletion, deletions, readings};
use crate::number::Shown;
use crate::surface::MapReading;
use crate::surface::places::count;
use crate::whereabouts;

/// The bed in numbers. All lengths are mm.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
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
    /// Readings that are far off without standing out, the worst first: a sound reading is so now and then, and half a minute tells.
    pub doubtful: Vec<Outlier>,
}

/// A place and its height.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
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
#[non_exhaustive]
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
#[non_exhaustive]
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

/// A reading against what the others say of its place, by the random surface that [`crate::known`] describes.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Check {
    /// X on the bed, mm.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// The reading's height, mm, after the shift of `right_at`.
    pub height: f64,
    /// The height that the others lead one to expect, mm; `None` where they make no surface without it.
    pub expected: Option<f64>,
    /// `height` minus `expected`, mm.
    pub error: Option<f64>,
    /// The standard deviation that such an error has, mm: the reading's own noise, and what the others leave open.
    pub deviation: Option<f64>,
    /// The chance that a sound reading is as far off, either way, or farther.
    pub chance: Option<f64>,
    /// The card's line.
    pub line: Option<u64>,
}

/// A reading that stands out from its neighbours: mistyped, misread, or a crumb under the plate.
///
/// # How they are found
///
/// One at a time, the worst first, each time without those found before, at most a quarter of the readings. Under the model of
/// [`crate::known`] a reading has, given the others, a known distribution: its own noise, what the others leave open at its place, and how little
/// few readings tell of noise and bend. It stands out where of 200 sound cards one has a reading that is as far off ([`STANDS_OUT`]), and is
/// doubtful where of 100 sound readings one is ([`DOUBTFUL`]). Fewer than six readings cannot tell.
///
/// # How well that works
///
/// Measured on 1,000 beds of five families (`tests/src/families.rs`) read with a spread of 0.02 mm, one of the readings, any of them, off by so
/// much (`tests/data/known_outliers.csv`). False alarms are those on the same beds without it.
///
/// | readings | off, mm | stands out | or doubtful | cards with a false alarm | sound readings doubted |
/// | --- | --- | --- | --- | --- | --- |
/// | 9 | 0.2 | 8 % | 71 % | 1.1 % | 1.4 % |
/// | 9 | 0.45 | 66 % | 98 % | 1.1 % | 1.4 % |
/// | 16 | 0.1 | 16 % | 63 % | 1.8 % | 1.5 % |
/// | 16 | 0.2 | 81 % | 95 % | 1.8 % | 1.5 % |
/// | 25 | 0.1 | 30 % | 77 % | 2.2 % | 1.5 % |
/// | 25 | 0.2 | 96 % | 99 % | 2.2 % | 1.5 % |
/// | 49 | 0.1 | 51 % | 93 % | 0.9 % | 1.4 % |
///
/// How much of an error of five spreads among 25 readings could be found at all, with the spread known exactly, by a test that treats every reading
/// alike; the first figure where 2 % of sound readings are doubted, the second where at most 2 % of the cards have one that is:
///
/// | what is known of the bed before it is read | doubting 2 % of readings | 2 % of cards |
/// | --- | --- | --- |
/// | all of it | 99.6 % | 95.1 % |
/// | it is a plane | 99.0 % | 90.8 % |
/// | a plane with a twist and two bows | 97.0 % | 82.6 % |
///
/// So 95 % with 2 % of the cards alarmed cannot be had on a bed that is not known before, and what can be had falls with every way in which
/// a bed may be bent. Told the family, and the mean and the covariance of its beds, the best linear prediction would find 93 % on average, doubting 2 % of
/// readings: 79 % on waved beds and 92 % on dented ones. No card tells that; the 77 % here are of a model that has to allow for all of them, and
/// for a spread that is stated wrong.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
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
    /// Of sound readings 95 in 100 lie within this of `expected_value`, mm.
    pub expected_within: f64,
    /// How many standard deviations it is off.
    pub deviations: f64,
    /// The chance that a sound reading is as far off, either way, or farther.
    pub chance: f64,
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

/// A reading stands out when no more than this share of sound cards, all their readings sound, has one that is as far off.
pub const STANDS_OUT: f64 = 0.005;
/// A reading is doubtful when no more than this share of sound readings is as far off.
pub const DOUBTFUL: f64 = 0.01;
/// Fewer readings cannot tell whether one of them is wrong.
pub const FEWEST_TO_JUDGE: usize = 6;

/// Describes the bed that a map was fitted to.
///
/// The same for a thin-plate and a bilinear map: what it says of the readings does not depend on the surface between them.
///
/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let shape = evengap::shape::describe(&map);
/// assert_eq!(shape.tilt.rises_to, Some("back right"));
/// # Ok::<(), evengap::Error>(())
/// ```
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
    let judged = Judged::of(map);
    Shape {
        lowest,
        highest,
        range: highest.height - lowest.height,
        tilt,
        bend,
        readings: judged.checks,
        outliers: judged.outliers,
        doubtful: judged.doubtful,
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

/// The readings, each against the others.
struct Judged {
    checks: Vec<Check>,
    outliers: Vec<Outlier>,
    doubtful: Vec<Outlier>,
}

impl Judged {
    fn of(map: &HeightMap) -> Judged {
        let data = readings(map);
        let shift = map.shift();
        let mut against = deletions(&data);
        let check = |(r, l): (&MapReading, &Option<Deletion>)| Check {
            x: r.x,
            y: r.y,
            height: r.height,
            expected: l.map(|l| l.expected + shift),
            error: l.map(|l| l.error),
            deviation: l.map(|l| l.deviation),
            chance: l.map(|l| l.chance),
            line: r.line,
        };
        let checks = map.readings().iter().zip(&against).map(check).collect();
        let (mut outliers, mut doubtful) = (Vec::new(), Vec::new());
        let mut kept: Vec<usize> = (0..data.points.len()).collect();
        // One at a time, each time without those found before: a wrong reading makes its neighbours look wrong too.
        while kept.len() >= FEWEST_TO_JUDGE && outliers.len() + doubtful.len() < data.points.len() / 4 {
            let worst = kept.iter().zip(&against).filter_map(|(&k, l)| l.map(|l| (k, l)));
            // Chances too small for a number are told apart by the distance.
            let off = |d: &Deletion| d.error.abs() / d.deviation;
            let farther = |a: &Deletion, b: &Deletion| (b.chance, off(a)) < (a.chance, off(b));
            let worst = worst.reduce(|a, b| if farther(&a.1, &b.1) { b } else { a });
            let Some((index, found)) = worst.filter(|(_, found)| found.chance < DOUBTFUL) else { break };
            let stands_out = found.chance * count(data.points.len()) < STANDS_OUT;
            let list = if stands_out { &mut outliers } else { &mut doubtful };
            list.push(outlier(map, index, &found));
            kept.retain(|&k| k != index);
            against = deletions(&part(&data, &kept));
        }
        Judged { checks, outliers, doubtful }
    }
}

fn part(data: &Data, which: &[usize]) -> Data {
    Data {
        points: which.iter().map(|&k| data.points[k]).collect(),
        heights: which.iter().map(|&k| data.heights[k]).collect(),
        weights: data.weights.as_ref().map(|w| which.iter().map(|&k| w[k]).collect()),
        ..*data
    }
}

fn outlier(map: &HeightMap, index: usize, found: &Deletion) -> Outlier {
    let point = map.card().readings.points[index];
    Outlier {
        index,
        line: point.line,
        column: point.column,
        x: point.x,
        y: point.y,
        value: point.value,
        expected_value: map.card().readings.value_of(found.expected),
        expected_within: 1.96 * found.deviation,
        deviations: found.error.abs() / found.deviation,
        chance: found.chance,
    }
}
