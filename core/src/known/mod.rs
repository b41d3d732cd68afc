//! How well the bed is known: a standard error for every height.
//!
//! ```
//! # let card = evengap::Card::parse("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [[30, 30, 0.16], [205, 30, 0.12], [30, 205, 0.15], [205, 205, 0.05], [117, 117, 0.27]]")?;
//! use evengap::known::Known;
//! # let map = evengap::HeightMap::fit(&card, evengap::SurfaceKind::ThinPlate)?;
//! let known = Known::of(&map).expect("five places tell something");
//! let corner = known.at(235.0, 235.0);
//! assert!(corner.standard_error > known.at(117.0, 117.0).standard_error);
//! assert!(corner.within > corner.standard_error);
//! println!("+-{:.3} mm over the bed, worst {}", known.over_bed().within, known.over_bed().worst.place);
//! # Ok::<(), evengap::Error>(())
//! ```
//!
//! # The bed as a random surface
//!
//! The thin-plate spline is the posterior mean of a random surface ([`crate::surface::thin_plate`]), and that surface's posterior variance
//! is the plain theory of what it leaves open (Wahba 1983; [`crate::surface::Posterior`]). Here the same surface is taken with three things
//! more, because the plain theory is not true enough for few readings: see the table.
//!
//! ```text
//! bed(x, y) = any plane + bows + bend
//! bows:  b1 u^2 + b2 sqrt(2) u v + b3 v^2, each b normal, standard deviation 0.1 mm, u and v from -1 to 1 over the readings' extent
//! bend:  the thin-plate surface, covariance tau^2 r^2 ln r / (8 pi) on all that a plane leaves over
//! ```
//!
//! - **Bows.** A plate that is heated, pressed or twisted bends as a whole before it does anything else. A bed of which the readings show
//!   nothing but bows is known much better between them than the thin plate alone would have it.
//! - **The bend is uncertain**: tau times the extent has a logarithm that is normal about ln 0.1 mm, standard deviation 1.
//! - **The spread is uncertain**: people know theirs to a factor of two (the logarithm's standard deviation is 0.35). The middle is the
//!   card's spread, or the method's [usual one](crate::card::Method::usual_spread).
//!
//! Bend and noise are integrated over: on a grid of 15 by 7 logarithms, made finer where many readings leave less than that, each node with its
//! share of the posterior (prior times restricted likelihood: Patterson and Thompson 1971; the integration in place of a best value as
//! in Handcock and Stein 1993, "A Bayesian analysis of kriging", Technometrics 35, 403-410). Mean and variance at a place are those of the
//! mixture. Against fine numerical integration the standard error is within 1 in 100 (`tests/data/known_posterior.csv`).
//!
//! # The map's error
//!
//! What is judged is the map as it is: smoothed or not, bilinear, shifted to 0 at `right_at`, constant outside the readings'
//! rectangle. Its **standard error** at a place is the root of the variance there plus the square of what the map is expected to be off. The bed
//! lies **within** such a distance of the map with a probability of 95 %, found from the normal distribution with that mean and
//! variance. Over an area it is the distance within which 95 % of it is expected to lie.
//!
//! Errors that all readings share (a sheet that is thicker than the card says, a bed that was colder) are in no reading's difference
//! from the others, and not in any of this. `right_at` takes the part of them that is constant away.
//!
//! # Calibration
//!
//! Where the numbers of the prior come from: beds of five families, invented after plate theory (`tests/src/families.rs`), and whole numbers near
//! to those that make them likely together. So they are beds "of this kind", and a bed of another kind may be known worse than is said.
//! Measured with seeds of their own on 200 beds of each family, readings on a grid 10 mm from the edges, spreads of 0.01, 0.02 and
//! 0.04 mm: the share of the bed, its margins too, that lies within what is said, in percent (`tests/data/known_calibration.csv`; plain:
//! the thin plate's own variance, the spread known, the bend the likeliest, `tests/data/known_plain.csv`).
//!
//! | readings | twist | plate | saddle | wave | dent | all | the same, plain | root mean square error, mm | the standard errors say | plain |
//! | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
//! | 9 | 98.1 | 97.6 | 97.3 | 92.8 | 92.6 | 95.7 | 87.0 to 99.6 | 0.0248 | 0.0275 | 0.0380 |
//! | 16 | 97.3 | 96.8 | 96.5 | 97.0 | 94.2 | 96.4 | 90.2 to 99.3 | 0.0187 | 0.0212 | 0.0246 |
//! | 25 | 96.2 | 96.9 | 96.3 | 97.2 | 95.3 | 96.4 | 91.5 to 98.9 | 0.0165 | 0.0179 | 0.0200 |
//! | 49 | 97.2 | 96.8 | 96.6 | 97.0 | 95.8 | 96.7 | 93.6 to 98.8 | 0.0136 | 0.0144 | 0.0157 |
//!
//! The plain theory is as good on average, and false for the single bed: with nine readings it gives a twisted plate more than twice the error
//! that its map has, and a dent too little. For sizes and spreads apart the average is 95.2 to 97.5 %. The one figure for the whole bed holds
//! for 95.5 to 95.8 % of it.
//!
//! A spread that is stated wrong: half of the true one, 90.0, 93.6, 94.5 and 95.3 % by size; twice the true one, 98.2, 97.5, 96.5 and 96.6 %
//! (`known_halved.csv`, `known_doubled.csv`, 50 beds of each family). Bilinear maps: 95.6 to 96.6 % (`known_bilinear.csv`).
//!
//! Beds of none of the families: Franke's six functions, 0.3 mm high, 40 times each (`known_franke.csv`): 91 to 95 % for nine readings, 92
//! to 93 for sixteen, 96 to 98 for more. With nine readings the first of them, two humps as wide as the readings lie apart, is covered for 58
//! to 78 %: what falls between the readings cannot be told from them, and no prior makes up for it.
//!
//! # Where to read next
//!
//! [`next`] chooses the points that shrink the variance most where it matters. What that is worth: the beds above, 100 of each family, spread
//! 0.02 mm (`tests/src/where_next.rs`, `tests/data/known_next.csv`): how many readings it takes until the map is off by no more than
//! 0.02 mm, root mean square over what matters and over the beds. Grids lie 10 mm from the bed's edges; between their sizes (2 x 2, 2 x 3,
//! 3 x 3 and so on to 5 x 5) it is interpolated along a line of the logarithms. Chosen points are whole numbers: all at once for a card
//! without readings, or four and then one by one.
//!
//! | what matters | points | twist | plate | saddle | wave | dent | average | beside the grid |
//! | --- | --- | --- | --- | --- | --- | --- | --- | --- |
//! | a part of 40 to 120 mm a side, anywhere | grid over the bed | 4 | 12.1 | 8.3 | 9.4 | 12.9 | 9.3 | |
//! | | grid over the part | 4 | 6.6 | 4 | 4 | 4.4 | 4.6 | 51 % fewer |
//! | | chosen at once | 4 | 5 | 4 | 4 | 4 | 4.2 | 55 % fewer |
//! | | chosen one by one | 4 | 5 | 4 | 4 | 4 | 4.2 | 55 % fewer |
//! | the whole bed | grid over the bed | 4 | 10.2 | 8.7 | 13.5 | 12.9 | 9.9 | |
//! | | chosen at once | 4 | 10 | 9 | 14 | 12 | 9.8 | 1 % fewer |
//! | | chosen one by one | 4 | 10 | 9 | 17 | 13 | 10.6 | 7 % more |
//!
//! It pays where a part of the bed matters. **Over a whole square bed a uniform grid is as good as any choice of as many points** that was found:
//! the points chosen at once come to lie nearly on one (interpolated like the grids they would be 5 % fewer; 16 of them leave 0.0164 mm over all
//! families, 4 x 4 leave 0.0161), and much of the error is the readings' own spread, which no place makes smaller: a twisted bed, which
//! the map follows, is still off by 0.0164 mm with ten. One by one they come to lie worse, for none can be taken back. There the choice is for
//! points beside those that a card has, and for what no grid fits.
//!
//! # Limits
//!
//! Up to [`MAX_PLACES`] places are taken one by one; beyond that those in one square of a grid are taken together. The work grows with their
//! cube for the preparation and with their square for each place that is asked for.

mod deletion;
mod enough;
mod model;
mod next;
mod robust;

use crate::HeightMap;
use crate::card::{Bed, LEAST_SPREAD, MAX_COORDINATE, Readings};
use crate::normal::below;
use crate::number;
use crate::whereabouts;
pub(crate) use deletion::{Deletion, deletions};
pub use enough::Enough;
pub(crate) use model::Data;
use model::Model;
pub use model::{BEND_VARIES, MAX_PLACES, SPREAD_VARIES, USUAL_BEND, USUAL_BOW};
pub use next::{Foreseen, MAX_NEXT, Next, NextPoint, next};
pub use robust::robust;

/// The share that "within" stands for.
pub const CONFIDENCE: f64 = 0.95;

/// How well a height map's heights are known.
#[derive(Debug)]
pub struct Known {
    map: HeightMap,
    model: Model,
    data: Data,
}

/// How well one height is known.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Uncertain {
    /// The map's height, mm.
    pub height: f64,
    /// Root of the mean square of what the map is expected to be off there, mm.
    pub standard_error: f64,
    /// The bed lies within this of the map there, mm, with a probability of [`CONFIDENCE`].
    pub within: f64,
}

/// How well the bed is known, in figures.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct HowWell {
    /// [`CONFIDENCE`].
    pub confidence: f64,
    /// One standard deviation of a reading, mm; see [`Known::noise`].
    pub noise: f64,
    /// mm; see [`Known::bend`].
    pub bend: f64,
    /// Over the bed.
    pub bed: Over,
}

/// How well a part of the bed is known.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Over {
    /// Of that part, [`CONFIDENCE`] is expected to lie within this of the map, mm.
    pub within: f64,
    /// Root of the mean square of the standard errors, mm.
    pub standard_error: f64,
    /// Where it is known worst.
    pub worst: Worst,
}

/// The place that is known worst.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Worst {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// In words: `"back right"`.
    pub place: &'static str,
    /// The bed lies within this of the map there, mm.
    pub within: f64,
    /// Its standard error, mm.
    pub standard_error: f64,
}

/// Squares along the bed's longer side that it is judged at.
const SQUARES: u32 = 20;

/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// use evengap::known::Known;
///
/// let Some(known) = Known::of(&map) else { panic!("too many readings") };
/// let bed = known.how_well();
/// assert_eq!((bed.noise, bed.bend), (known.noise(), known.bend()));
/// // Under a part of 40 by 40 mm in the middle, in four squares of the same weight.
/// let part = known.over(&[[90.0, 90.0, 1.0], [110.0, 90.0, 1.0], [90.0, 110.0, 1.0], [110.0, 110.0, 1.0]]);
/// assert!(part.within < bed.bed.within);
/// # Ok::<(), evengap::Error>(())
/// ```
impl Known {
    /// Judges a map by its readings.
    ///
    /// `None` for readings so close together that nothing can be said.
    #[must_use]
    pub fn of(map: &HeightMap) -> Option<Known> {
        let data = readings(map);
        let model = Model::of(&data)?;
        Some(Known { map: map.clone(), model, data })
    }

    /// How well the height at (x, y), mm, is known: also outside the readings' rectangle, where the map keeps its edge's height and the bed may
    /// not. Always finite.
    #[must_use]
    pub fn at(&self, x: f64, y: f64) -> Uncertain {
        let [bias, variance] = self.error(x, y);
        Uncertain {
            height: self.map.height(x, y),
            standard_error: (variance + bias * bias).sqrt(),
            within: within(&[(bias, variance.sqrt(), 1.0)]),
        }
    }

    /// How well the bed is known, as far as the nozzle reaches and no clip is in its way.
    #[must_use]
    pub fn over_bed(&self) -> Over {
        self.over(&places_of(&self.map.card().bed))
    }

    /// How well places are known, taken together: `[x, y, weight]`, weights positive. No place at all is known exactly.
    #[must_use]
    pub fn over(&self, places: &[[f64; 3]]) -> Over {
        let nowhere = Worst { x: 0.0, y: 0.0, place: "middle", within: 0.0, standard_error: 0.0 };
        let mut worst: Option<(f64, [f64; 3])> = None;
        let mut errors = Vec::with_capacity(places.len());
        let (mut square, mut all) = (0.0, 0.0);
        for &[x, y, weight] in places {
            let [bias, variance] = self.error(x, y);
            let own = variance + bias * bias;
            square += weight * own;
            all += weight;
            errors.push((bias, variance.sqrt(), weight));
            if worst.is_none_or(|(w, _)| own > w) {
                worst = Some((own, [x, y, own]));
            }
        }
        let worst = worst.map_or(nowhere, |(own, [x, y, _])| Worst {
            x,
            y,
            place: whereabouts::place(&self.map.card().bed, x, y),
            within: self.at(x, y).within,
            standard_error: own.sqrt(),
        });
        let standard_error = if all > 0.0 { (square / all).sqrt() } else { 0.0 };
        Over { within: within(&errors), standard_error, worst }
    }

    /// One standard deviation of a reading, mm, as the readings themselves and the card's spread together have it.
    #[must_use]
    pub fn noise(&self) -> f64 {
        self.model.noise_and_bend(self.data.extent)[0]
    }

    /// How bent the bed is beside tilt, twist and bow, mm; see [the module](self).
    #[must_use]
    pub fn bend(&self) -> f64 {
        self.model.noise_and_bend(self.data.extent)[1]
    }

    /// All of these.
    #[must_use]
    pub fn how_well(&self) -> HowWell {
        HowWell { confidence: CONFIDENCE, noise: self.noise(), bend: self.bend(), bed: self.over_bed() }
    }

    /// The map that is judged.
    #[must_use]
    pub fn map(&self) -> &HeightMap {
        &self.map
    }

    /// Expected error of the map (bed minus map) and its variance.
    fn error(&self, x: f64, y: f64) -> [f64; 2] {
        let at = self.sound(x, y);
        let mut terms = vec![(at, 1.0)];
        terms.extend(self.map.card().readings.right_at.map(|datum| (datum, -1.0)));
        let [mean, variance] = self.model.moments(&self.model.sum(&terms));
        [mean - self.map.height(at[0], at[1]), variance]
    }

    fn sound(&self, x: f64, y: f64) -> [f64; 2] {
        let [x0, y0, x1, y1] = self.map.measured();
        let side = |v: f64, low: f64, high: f64| {
            if v.is_nan() { 0.5 * (low + high) } else { number::within(v, -2.0 * MAX_COORDINATE, 2.0 * MAX_COORDINATE) }
        };
        [side(x, x0, x1), side(y, y0, y1)]
    }
}

/// A map's readings for the model.
pub(crate) fn readings(map: &HeightMap) -> Data {
    let points = map.readings().iter().map(|r| [r.x, r.y]).collect();
    data(&map.card().readings, points, map.readings().iter().map(|r| r.height - map.shift()).collect())
}

/// A card's readings for the model: where they were taken and their heights, mm, and maybe more than the card has.
fn data(r: &Readings, points: Vec<[f64; 2]>, heights: Vec<f64>) -> Data {
    let side = |axis: usize| {
        let along = || points.iter().map(|p: &[f64; 2]| p[axis]);
        along().fold(f64::NEG_INFINITY, f64::max) - along().fold(f64::INFINITY, f64::min)
    };
    let weights = r.weights().map(|mut weights| {
        weights.resize(points.len(), 1.0);
        weights
    });
    Data {
        heights,
        weights,
        noise: r.noise().unwrap_or_else(|| r.method.usual_spread()).max(100.0 * LEAST_SPREAD),
        extent: side(0).max(side(1)),
        points,
    }
}

/// The bed in squares: their middles, each with the same weight, without those out of reach or under a clip.
pub(crate) fn places_of(bed: &Bed) -> Vec<[f64; 3]> {
    let (width, depth) = (bed.x[1] - bed.x[0], bed.y[1] - bed.y[0]);
    let side = width.max(depth) / f64::from(SQUARES);
    let along = |length: f64| (1..SQUARES).find(|n| f64::from(*n) * side >= length - 1e-9).unwrap_or(SQUARES);
    let (columns, rows) = (along(width), along(depth));
    let at = |k: u32, n: u32, [low, high]: [f64; 2]| low + (high - low) * (f64::from(k) + 0.5) / f64::from(n);
    (0..rows)
        .flat_map(|j| (0..columns).map(move |i| (i, j)))
        .map(|(i, j)| [at(i, columns, bed.x), at(j, rows, bed.y), 1.0])
        .filter(|[x, y, _]| bed.reaches(*x, *y) && bed.keep_out_at(*x, *y).is_none())
        .collect()
}

/// The distance from 0 within which [`CONFIDENCE`] of normal errors lie: mean, standard deviation and weight of each.
fn within(errors: &[(f64, f64, f64)]) -> f64 {
    let all: f64 = errors.iter().map(|e| e.2).sum();
    if all <= 0.0 {
        return 0.0;
    }
    let inside = |reach: f64| -> f64 {
        errors
            .iter()
            .map(|&(mean, deviation, weight)| {
                if deviation > 0.0 {
                    weight * (below((reach - mean) / deviation) - below((-reach - mean) / deviation))
                } else if mean.abs() <= reach {
                    weight
                } else {
                    0.0
                }
            })
            .sum::<f64>()
            / all
    };
    let (mut low, mut high) = (0.0, errors.iter().fold(0.0_f64, |a, e| a.max(e.0.abs() + 2.0 * e.1)));
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if inside(middle) < CONFIDENCE {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
