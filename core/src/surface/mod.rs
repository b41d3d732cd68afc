//! The height map: h(x, y) over the bed, mm, from the readings of a card.
//!
//! | kind | what it is | readings | with a `spread` |
//! | --- | --- | --- | --- |
//! | [`SurfaceKind::ThinPlate`] | r^2 ln r with an affine part ([`thin_plate`]) | any scatter of three or more that are not on one line | smooths, the amount following from the spread |
//! | [`SurfaceKind::Bilinear`] | bilinear between neighbouring nodes | a full grid, two by two or more | does not smooth: it passes through the nodes |
//!
//! Readings at one place (within 1e-6 of the readings' extent) are pooled: their mean counts, with the weight of all of them.
//! Readings at one place that differ by more than six spreads (the card's, or the method's
//! [usual one](crate::card::Method::usual_spread)) contradict each other, and the map is refused: one of them is mistyped.
//!
//! Outside the rectangle that bounds the readings, h is its value at the nearest point of that rectangle.
//!
//! Heights are finite for every input, infinities and not-a-number included: an infinite coordinate lies outside on its side, one that
//! is not a number counts as the rectangle's middle.
//!
//! ```
//! use evengap::{Card, HeightMap, SurfaceKind};
//! let card = Card::parse(r#"
//! [bed]
//! x = [0, 235]
//! y = [0, 235]
//! [readings]
//! method = "drag"
//! sheet = 0.1
//! points = [[30, 30, 0.1], [205, 30, 0.2], [30, 205, 0.1], [205, 205, 0.2]]
//! "#)?;
//! let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
//! assert!((map.height(117.5, 100.0) - 0.05).abs() < 1e-12);
//! assert!((map.height(900.0, 100.0) - 0.1).abs() < 1e-12);    // as at x = 205
//! # Ok::<(), evengap::Error>(())
//! ```

pub(crate) mod basis;
mod choice;
mod criterion;
pub(crate) mod dense;
mod grid;
mod log;
pub(crate) mod places;
mod posterior;
pub mod sheet;
mod system;
pub mod thin_plate;

use crate::card::{LEAST_SPREAD, MAX_COORDINATE, MAX_READING};
use crate::number::{Shown, pair};
use crate::{Card, Error, ErrorKind};
pub use choice::{Because, Choice, choose};
use grid::Grid;
use places::Places;
pub use posterior::Posterior;
pub use sheet::Extreme;
pub use thin_plate::MAX_THIN_PLATE_PLACES;
use thin_plate::{ON_ONE_LINE, Smoothing, ThinPlate, fit_places, too_many};

/// Readings at one place that differ by more than this many spreads contradict each other.
pub const CONTRADICTION: f64 = 6.0;

/// Which surface passes through the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum SurfaceKind {
    /// r^2 ln r with an affine part (Duchon 1977).
    #[default]
    ThinPlate,
    /// Bilinear between the nodes of a full grid.
    Bilinear,
}

/// h(x, y) over the bed, mm.
///
/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// use evengap::HeightMap as Map;
///
/// let (map, choice) = Map::fit_chosen(&card)?;
/// assert_eq!(map.kind(), choice.surface);
/// assert_eq!(map.measured(), [20.0, 20.0, 180.0, 180.0]);
/// // Five readings at five places.
/// assert_eq!((map.readings().len(), map.places()), (5, 5));
/// let [lowest, highest] = map.extremes();
/// assert!(lowest.height < highest.height);
/// // No `right_at` on the card, and no spread: nothing is added, and the map passes through every reading.
/// assert_eq!(map.shift(), 0.0);
/// assert!(map.smoothed().is_none());
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct HeightMap {
    card: Card,
    kind: SurfaceKind,
    measured: [f64; 4],
    form: Form,
    /// Added to the form's value: minus its value at `right_at`.
    shift: f64,
    readings: Vec<MapReading>,
    places: usize,
}

/// The surface before the shift of `right_at` and without the clamp to the measured rectangle.
#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant, reason = "there is one for each map; with words of 32 bits it is not so large")]
pub(crate) enum Form {
    /// See [`ThinPlate::origin`] and its neighbours for the coordinates of its parts.
    ThinPlate(ThinPlate),
    /// A full grid.
    Bilinear(Grid),
}

/// A reading as the map has it.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct MapReading {
    /// X on the bed, mm: the nozzle's, or the plunger's for `dial`.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// What was read, mm, as on the card.
    pub value: f64,
    /// The height it tells, mm, after the shift of `right_at`.
    pub height: f64,
    /// `height` minus the map there, mm: 0 but for rounding where the map neither smooths nor pools.
    pub residual: f64,
    /// The card's line (from 1), when the card came from text.
    pub line: Option<u64>,
    /// The column (from 1) in that line.
    pub column: Option<u64>,
}

/// How a thin-plate map smooths.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Smoothed {
    /// The card's spread, mm, from which the amount follows; with spreads for single readings, that of a reading that has none.
    pub spread: f64,
    /// lambda of (1/N) sum (y - h)^2 + lambda J(h), mm^2 (J in units of mm^2 of height over mm^2 of bed). `None`: the readings
    /// show no bend beyond their spread, and the map is the least-squares plane.
    pub lambda: Option<f64>,
    /// The map's effective number of parameters: 3 for a plane, the number of places where it passes through all.
    pub effective_parameters: f64,
    /// The readings' standard deviation as the map's residuals have it, mm, to compare with `spread`; `None` where nothing is left
    /// over.
    pub noise_estimate: Option<f64>,
}

impl HeightMap {
    /// Fits the map.
    ///
    /// # Errors
    ///
    /// [`ErrorKind::Readings`], naming the readings and their lines: fewer than three places, all on one line, repeats that
    /// contradict each other, a grid with missing nodes, numbers that are not finite (in a card built by code).
    /// [`ErrorKind::Card`]: other numbers of such a card that are not finite.
    /// [`ErrorKind::Limit`]: more than [`MAX_THIN_PLATE_PLACES`] places for a thin-plate surface.
    pub fn fit(card: &Card, kind: SurfaceKind) -> Result<HeightMap, Error> {
        let Taken { points, heights, places } = taken(card)?;
        if kind == SurfaceKind::ThinPlate && places.at.len() > MAX_THIN_PLATE_PLACES {
            return Err(too_many(places.at.len()));
        }
        let measured = places.bounds;
        let place_count = places.at.len();
        let form = match kind {
            SurfaceKind::ThinPlate => {
                let smoothing = card.readings.noise().map_or(Smoothing::None, Smoothing::KnownNoise);
                Form::ThinPlate(fit_places(places, heights.clone(), card.readings.weights(), smoothing)?)
            }
            SurfaceKind::Bilinear => Form::Bilinear(Grid::of(&places)?),
        };
        let mut map = HeightMap {
            card: card.clone(),
            kind,
            measured,
            form,
            shift: 0.0,
            readings: Vec::new(),
            places: place_count,
        };
        if let Some([x, y]) = card.readings.right_at {
            map.shift = -map.height(x, y);
        }
        map.readings = card
            .readings
            .points
            .iter()
            .zip(&points)
            .zip(&heights)
            .map(|((p, at), h)| {
                let height = h + map.shift;
                MapReading {
                    x: at[0],
                    y: at[1],
                    value: p.value,
                    height,
                    residual: height - map.height(at[0], at[1]),
                    line: p.line,
                    column: p.column,
                }
            })
            .collect();
        Ok(map)
    }

    /// Height, mm, at (x, y) mm; outside the readings' rectangle the value at its nearest point. Always finite.
    #[must_use]
    pub fn height(&self, x: f64, y: f64) -> f64 {
        let [x, y] = self.clamped(x, y);
        self.shift
            + match &self.form {
                Form::ThinPlate(spline) => spline.value(x, y),
                Form::Bilinear(grid) => grid.value(x, y),
            }
    }

    /// dh/dx and dh/dy, mm per mm. Always finite.
    ///
    /// Outside the readings' rectangle the slope across the edge is 0, as h is constant there. On the rectangle's edge it is
    /// the slope inside; on a bilinear map's grid line that of the cell to the right or behind.
    #[must_use]
    pub fn slope(&self, x: f64, y: f64) -> [f64; 2] {
        let [cx, cy] = self.clamped(x, y);
        let [sx, sy] = match &self.form {
            Form::ThinPlate(spline) => spline.slope(cx, cy),
            Form::Bilinear(grid) => grid.slope(cx, cy),
        };
        let [x0, y0, x1, y1] = self.measured;
        [if x < x0 || x > x1 { 0.0 } else { sx }, if y < y0 || y > y1 { 0.0 } else { sy }]
    }

    /// The nearest point of the measured rectangle.
    fn clamped(&self, x: f64, y: f64) -> [f64; 2] {
        let [x0, y0, x1, y1] = self.measured;
        let side = |v: f64, low: f64, high: f64| {
            if v.is_nan() { 0.5 * (low + high) } else { crate::number::within(v, low, high) }
        };
        [side(x, x0, x1), side(y, y0, y1)]
    }

    /// The rectangle that bounds the readings: `[x0, y0, x1, y1]`, mm.
    #[must_use]
    pub fn measured(&self) -> [f64; 4] {
        self.measured
    }

    /// Which surface this is.
    #[must_use]
    pub fn kind(&self) -> SurfaceKind {
        self.kind
    }

    /// The card that the map was fitted to.
    #[must_use]
    pub fn card(&self) -> &Card {
        &self.card
    }

    /// The readings as the map has them, in the card's order.
    #[must_use]
    pub fn readings(&self) -> &[MapReading] {
        &self.readings
    }

    /// Number of distinct places that were read: fewer than the readings where some places were read more than once.
    #[must_use]
    pub fn places(&self) -> usize {
        self.places
    }

    /// What `right_at` added to every height, mm; 0 without it.
    #[must_use]
    pub fn shift(&self) -> f64 {
        self.shift
    }

    /// How the map smooths; `None` where it passes through the readings (or their means).
    #[must_use]
    pub fn smoothed(&self) -> Option<Smoothed> {
        let (Form::ThinPlate(spline), Some(spread)) = (&self.form, self.card.readings.noise()) else {
            return None;
        };
        (spread > 0.0).then(|| Smoothed {
            spread,
            lambda: Some(spline.lambda()).filter(|l| l.is_finite()),
            effective_parameters: spline.effective_parameters(),
            noise_estimate: spline.noise_estimate(),
        })
    }

    /// The lowest and the highest point of the map over the readings' rectangle, which are those of the whole map;
    /// within 1e-6 mm. (A bilinear map has them at readings; a thin-plate map is searched, by branch and bound.)
    #[must_use]
    pub fn extremes(&self) -> [Extreme; 2] {
        let sheet = sheet::Sheet::of(self);
        [sheet.lowest(), sheet.highest()]
    }

    /// The surface itself, for faster ways to evaluate it: add [`HeightMap::shift`] and clamp to [`HeightMap::measured`].
    pub(crate) fn form(&self) -> &Form {
        &self.form
    }
}

/// A card's readings: where they were taken and the heights that they tell, mm, and both pooled into places.
struct Taken {
    points: Vec<[f64; 2]>,
    heights: Vec<f64>,
    places: Places,
}

/// Refused where no surface goes through them.
fn taken(card: &Card) -> Result<Taken, Error> {
    card.bed.check()?;
    let spots = card.spot_heights();
    let points: Vec<[f64; 2]> = spots.iter().map(|s| [s.x, s.y]).collect();
    let heights: Vec<f64> = spots.iter().map(|s| s.height).collect();
    check_numbers(card, &points, &heights)?;
    if points.is_empty() {
        let message = match card.readings.unread.len() {
            0 => "the card has no readings".to_owned(),
            n => format!("none of the card's {n} points has been read yet"),
        };
        let error = Error::new(ErrorKind::Readings, message).with_help(THREE);
        return Err(match card.readings.unread.first().and_then(|u| Some((u.line?, u.column?))) {
            Some((line, column)) => error.at(line, column),
            None => error,
        });
    }
    let weights = card.readings.weights();
    let places = Places::pool(&points, &heights, weights.as_deref());
    check_repeats(card, &places, &heights)?;
    check_scatter(card, &places)?;
    Ok(Taken { points, heights, places })
}

const THREE: &str = "read three places or more that are not on one line; nine or more tell a bent bed";

fn name(card: &Card, k: usize) -> String {
    card.readings.points.get(k).map_or_else(String::new, |p| pair([p.x, p.y]))
}

/// Adds the places on the card of these readings to an error: the first ten.
fn placed(mut error: Error, card: &Card, readings: impl IntoIterator<Item = usize>) -> Error {
    for k in readings.into_iter().take(10) {
        if let Some(p) = card.readings.points.get(k)
            && let Some(line) = p.line
        {
            error = error.at(line, p.column.unwrap_or(1));
        }
    }
    error
}

/// A card from text cannot fail this; one built by code can.
fn check_numbers(card: &Card, points: &[[f64; 2]], heights: &[f64]) -> Result<(), Error> {
    let r = &card.readings;
    let sound = |n: f64, limit: f64| n.is_finite() && n.abs() <= limit;
    for (k, (p, h)) in points.iter().zip(heights).enumerate() {
        if !(sound(p[0], 2.0 * MAX_COORDINATE) && sound(p[1], 2.0 * MAX_COORDINATE) && sound(*h, 2.0 * MAX_READING)) {
            let error =
                Error::new(ErrorKind::Readings, format!("the reading at {} is not a usable number", name(card, k)));
            return Err(placed(error, card, [k]));
        }
    }
    if let Some(k) = r.points.iter().position(|p| p.spread.is_some_and(|s| !(1e-4..=0.5).contains(&s))) {
        let message = format!("the spread of the reading at {} is not from 0.0001 to 0.5 mm", name(card, k));
        return Err(placed(Error::new(ErrorKind::Readings, message), card, [k]));
    }
    if r.spread.is_some_and(|s| !(sound(s, MAX_READING) && (s == 0.0 || s >= LEAST_SPREAD))) {
        return Err(Error::new(ErrorKind::Readings, "the spread of the readings is not a usable number"));
    }
    let words = r.single_numbers().into_iter().filter_map(|(key, value)| Some((key, value?)));
    if let Some((key, _)) = words.chain(r.offset.iter().flatten().map(|v| ("offset", *v))).find(|(_, v)| !v.is_finite())
    {
        return Err(Error::new(ErrorKind::Readings, format!("the readings' `{key}` is not a usable number")));
    }
    if r.unread.iter().any(|u| !(sound(u.x, MAX_COORDINATE) && sound(u.y, MAX_COORDINATE))) {
        return Err(Error::new(ErrorKind::Readings, "a point that is still to be read is at no usable place"));
    }
    if r.right_at.is_some_and(|p| !p.iter().all(|n| sound(*n, MAX_COORDINATE))) {
        return Err(Error::new(ErrorKind::Readings, "the place `right_at` is not a usable number"));
    }
    Ok(())
}

fn check_repeats(card: &Card, places: &Places, heights: &[f64]) -> Result<(), Error> {
    let usual = card.readings.spread_or_usual();
    let own = |k: usize| card.readings.points.get(k).and_then(|p| p.spread).unwrap_or(usual);
    let mut lowest: Vec<Option<usize>> = vec![None; places.at.len()];
    let mut highest = lowest.clone();
    for (k, &place) in places.of.iter().enumerate() {
        if lowest[place].is_none_or(|l| heights[k] < heights[l]) {
            lowest[place] = Some(k);
        }
        if highest[place].is_none_or(|h| heights[k] > heights[h]) {
            highest[place] = Some(k);
        }
    }
    for pair in lowest.into_iter().zip(highest) {
        let (Some(a), Some(b)) = pair else { continue };
        let apart = heights[b] - heights[a];
        let spread = own(a).max(own(b));
        // A hair of slack, so that 0.12 more at a spread of 0.02 is not a question of rounding.
        if apart > CONTRADICTION * spread * (1.0 + 1e-9) {
            let (a, b) = (a.min(b), a.max(b));
            let (va, vb) = (card.readings.points[a].value, card.readings.points[b].value);
            let [va, vb, apart] = [va, vb, apart].map(Shown);
            let why = match card.readings.spread {
                _ if spread > usual || own(a).min(own(b)) < usual => {
                    format!("the larger of their spreads is {} mm", Shown(spread))
                }
                Some(given) => format!("the card's spread is {} mm", Shown(given)),
                None => format!("a {} reading's usual spread is {} mm", card.readings.method.word(), Shown(spread)),
            };
            let error = Error::new(
                ErrorKind::Readings,
                format!(
                    "two readings at {} contradict each other: {va} and {vb}, {apart:.3} mm apart, and {why}",
                    name(card, a)
                ),
            )
            .with_help(
                "one of them is mistyped, or the bed moved between them: read that place again and keep what is right",
            );
            return Err(placed(error, card, [a, b]));
        }
    }
    Ok(())
}

fn check_scatter(card: &Card, places: &Places) -> Result<(), Error> {
    let n = places.at.len();
    if n < 3 {
        let names: Vec<String> = places.at.iter().map(|p| pair(*p)).collect();
        let error = Error::new(
            ErrorKind::Readings,
            format!(
                "the card's readings are at {}: a surface needs three places",
                match n {
                    1 => format!("one place, {}", names[0]),
                    _ => format!("two places, {}", names.join(" and ")),
                }
            ),
        )
        .with_help(THREE);
        return Err(placed(error, card, 0..places.of.len()));
    }
    if places.breadth() < ON_ONE_LINE {
        // The two ends of the line.
        let [x0, y0, x1, y1] = places.bounds;
        let along = |p: &[f64; 2]| if x1 - x0 >= y1 - y0 { p[0] } else { p[1] };
        let end = |sign: f64| {
            (0..places.of.len()).fold(0, |best, k| {
                let (a, b) = (along(&places.at[places.of[k]]), along(&places.at[places.of[best]]));
                if sign * a > sign * b { k } else { best }
            })
        };
        let (first, last) = (end(-1.0), end(1.0));
        let error = Error::new(
            ErrorKind::Readings,
            format!(
                "all {} readings lie on one line, from {} to {}",
                places.of.len(),
                name(card, first),
                name(card, last)
            ),
        )
        .with_help("read a place well off that line too: a surface cannot be told from a line");
        return Err(placed(error, card, 0..places.of.len()));
    }
    Ok(())
}
