//! What the levelling screws can mend, in turns of each knob, and what they cannot.
//!
//! ```
//! use evengap::tram::{Options, tram};
//! use evengap::{Card, HeightMap, SurfaceKind};
//!
//! // The front left corner stands 0.14 mm low.
//! let card = Card::parse(r#"
//! [bed]
//! x = [0, 200]
//! y = [0, 200]
//! [readings]
//! method = "drag"
//! sheet = 0.1
//! points = [[20, 20, -0.04], [180, 20, 0.1], [180, 180, 0.24], [20, 180, 0.1]]
//! [screws]
//! thread = "M4"
//! raise = "anticlockwise"
//! at = { "front left" = [20, 20], "front right" = [180, 20], "back left" = [20, 180] }
//! "#)?;
//! let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
//! let tram = tram(&map, &Options::default())?;
//! assert_eq!(
//!     tram.screws[0].to_string(),
//!     "front left: raise 0.14 mm, 0.20 turn anticlockwise, 72 degrees (3/16 turn)"
//! );
//! assert!(tram.range_after_mm < 1e-9);
//! # Ok::<(), evengap::Error>(())
//! ```
//!
//! # How it is reckoned
//!
//! A surface that the screws can move the plate along is laid through the readings' heights, and the screws take it off:
//! at a screw the bed goes up by minus the surface's height there. That surface is a plane (a ramp where the screws
//! stand on one line, four heights with [`Options::twist`]; see [`Follows`]):
//!
//! - **Least squares** (default): the surface with the smallest sum of squares of the readings' distances along Z, each
//!   weighted by 1 / spread^2 where readings have spreads of their own.
//! - **Smallest range**: the surface with the least distance between its highest and its lowest reading: the minimum
//!   zone of ISO 12781-1:2011, found by linear programming, and proved. The surface then runs midway between the two.
//!
//! The screws' places may lie outside the readings: a rigid plate's plane goes on there.
//!
//! # Where the bed ends
//!
//! - Absolute readings: at height 0. What is left lies about 0 (its weighted mean, or the middle of its range).
//! - With `right_at` on the card: the bed stays where it is at that place, and the rest is made like it.
//! - With one screw held ([`Options::hold`]): the bed becomes even, and stands where that screw leaves it,
//!   [`Tram::level_mm`] above where it would.
//! - Where a screw lacks travel: all screws are shifted alike, the least that fits ([`Travel`]).
//!
//! # Order
//!
//! The largest move first, equal ones as on the card. Screws of a rigid plate that stands on springs do not disturb one
//! another's corner: each may be turned at any time. Largest first, the most that a screw still lacks is at every moment
//! as small as it can be, so that whoever is called away has left the least undone.
//!
//! # Whether to stop
//!
//! See [`Verdict`]. Readings of a perfectly even bed differ too: the range of n of them is [`Tram::told_mm`] on average
//! (Tippett 1925). When the bed's range is no more than that, and no screw's move more than [`MAY_BE_SPREAD`] of its
//! standard deviations, another round turns the screws by the readings' errors. And where each move rounds to no sixteenth of
//! a turn, there is nothing left that a hand could turn.
//!
//! # Twist
//!
//! With four screws, [`Tram::twist`] says whether the readings show that the plate is twisted between them. A stiff
//! plate stays so, and only three of its screws carry it. A thin one follows: with [`Options::twist`] each screw gets
//! its own height.

mod plate;
mod travel;
mod turns;
mod twist;
mod verdict;
mod zone;

pub use plate::Follows;
pub use travel::Travel;
pub use turns::ScrewTurn;
pub use twist::{SHOWS, Twist};
pub use verdict::{MAY_BE_SPREAD, Verdict};

use crate::card::{MAX_COORDINATE, MAX_READING, PITCHES, Screws};
use crate::least_squares::{Fit as Found, fit};
use crate::number::Shown;
use crate::surface::Extreme;
use crate::{Card, Error, ErrorKind, HeightMap, whereabouts};
use plate::Plate;

/// Which surface the screws take off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Fit {
    /// The smallest sum of squares.
    #[default]
    LeastSquares,
    /// The smallest distance between highest and lowest.
    SmallestRange,
}

/// What to ask of the screws.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(rename = "TramOptions"))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Options {
    /// Which surface the screws take off. Default: least squares.
    pub fit: Fit,
    /// The screw that is not to be turned, by its name on the card. Default: none.
    pub hold: Option<String>,
    /// Four heights instead of a plane, for a plate that bends between four screws. Default false.
    pub twist: bool,
    /// Stop when the readings' range, and every move, are no more than this, mm. Default: no limit but the readings' own.
    pub stop_below_mm: Option<f64>,
}

/// What the screws have to do, and what comes of it. All lengths are mm.
#[derive(Debug, Clone, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Tram {
    /// The screws in the order in which to turn them.
    pub screws: Vec<ScrewTurn>,
    /// Which surface they take off.
    pub fit: Fit,
    /// How the plate follows them.
    pub follows: Follows,
    /// The screw that is held still.
    pub hold: Option<String>,
    /// Where the bed ends, mm above where it would stand if no screw were held and none lacked travel: above height 0,
    /// or with `right_at` above where it was there.
    pub level_mm: f64,
    /// Whether the screws' travel allows it; none where the card gives no travel.
    pub travel: Option<Travel>,
    /// Highest minus lowest reading as the card has them, mm.
    pub range_before_mm: f64,
    /// The same after turning, mm.
    pub range_after_mm: f64,
    /// The same when each screw is turned by the nearest sixteenths of a turn only, mm.
    pub range_after_sixteenths_mm: f64,
    /// The readings before and after, in the card's order.
    pub readings: Vec<Mended>,
    /// The lowest place of the map after turning.
    pub lowest: Standing,
    /// The highest place of the map after turning.
    pub highest: Standing,
    /// One reading's standard deviation, mm: the card's spread, or the method's usual one.
    pub spread_mm: f64,
    /// The range, mm, that as many readings with these spreads of a perfectly even bed have on average: less than this
    /// the readings cannot tell.
    pub told_mm: f64,
    /// Whether the card shows twist; none where there are not four screws round the plate, or the readings cannot tell.
    pub twist: Option<Twist>,
    /// Whether to turn or to stop.
    pub verdict: Verdict,
    /// [`Verdict::stop`], for those who read the JSON.
    pub stop: bool,
    #[serde(skip)]
    predicted: Box<HeightMap>,
}

/// A reading before and after.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Mended {
    /// X on the bed, mm.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// Its height as the card has it, mm.
    pub before_mm: f64,
    /// Its height after turning, mm.
    pub after_mm: f64,
}

/// A place of the map after turning.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Standing {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// How far that is above the level where the bed ends, mm.
    pub off_mm: f64,
    /// Where on the bed: `"middle"`, `"front left"` and so on.
    pub place: &'static str,
}

impl Tram {
    /// The card as it should read after turning: marked as a prediction, its values changed, its screws' travel less by
    /// what they were turned. Values are rounded to 1e-9 mm. Everything else is the card's, but for the lines in its
    /// text, where these values do not stand.
    #[must_use]
    pub fn predicted(&self) -> &Card {
        self.predicted.card()
    }

    /// The height map of the predicted card.
    #[must_use]
    pub fn predicted_map(&self) -> &HeightMap {
        &self.predicted
    }
}

/// Highest minus lowest; 0 for none.
fn range(values: &[f64]) -> f64 {
    let [low, high] = values.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(*v), h.max(*v)]);
    if low <= high { high - low } else { 0.0 }
}

/// What the screws of the map's card have to do.
///
/// # Errors
///
/// [`ErrorKind::Card`]: the card names no screws. [`ErrorKind::Options`]: a screw to hold that the card does not name,
/// `twist` without four screws round the plate, a limit that is no length. [`ErrorKind::Readings`]: the readings cannot
/// tell how the plate lies along what the screws can move (all across the line of two screws, say; or no twist).
pub fn tram(map: &HeightMap, options: &Options) -> Result<Tram, Error> {
    let card = map.card();
    let screws = card.screws.as_ref().filter(|s| s.at.len() >= 2).ok_or_else(no_screws)?;
    let sound = |n: f64| n.is_finite() && n.abs() <= MAX_COORDINATE;
    if !((PITCHES[0]..=PITCHES[1]).contains(&screws.pitch)
        && screws.at.iter().all(|s| sound(s.x) && sound(s.y) && s.travel.iter().flatten().all(|t| sound(*t))))
    {
        // A card from text cannot fail this; one built by code can.
        return Err(Error::new(ErrorKind::Card, "the screws' pitch, places or travel are no usable numbers"));
    }
    let held = held(screws, options)?;
    if let Some(limit) = options.stop_below_mm
        && !(limit > 0.0 && limit <= MAX_READING)
    {
        return Err(Error::new(ErrorKind::Options, format!("{} mm is no range to stop below", Shown(limit)))
            .with_help("a usual one is 0.05 mm"));
    }
    let plate = match options.twist {
        true => Plate::twisting(&screws.at).ok_or_else(no_twist)?.0,
        false => Plate::rigid(&screws.at),
    };
    let rows: Vec<Vec<f64>> = map.readings().iter().map(|r| plate.terms(r.x, r.y)).collect();
    let heights: Vec<f64> = map.readings().iter().map(|r| r.height).collect();
    let found = fit(&rows, &heights, card.readings.weights().as_deref())
        .filter(|f| f.told > twist::TOLD || plate.follows != Follows::Twist)
        .ok_or_else(|| cannot_tell(plate.follows))?;
    let mut surface = found.coefficients.clone();
    if options.fit == Fit::SmallestRange {
        let left: Vec<f64> = rows.iter().zip(&heights).map(|(row, h)| h - found.value(row)).collect();
        surface.iter_mut().zip(zone::smallest(&rows, &left)?).for_each(|(c, more)| *c += more);
    }

    let at_screws: Vec<Vec<f64>> = screws.at.iter().map(|s| plate.terms(s.x, s.y)).collect();
    let right_at = card.readings.right_at.map(|[x, y]| plate.terms(x, y));
    let fixed = held.map(|i| at_screws[i].clone()).or_else(|| right_at.clone());
    let mut change: Vec<f64> = surface.iter().map(|c| -c).collect();
    if let Some(fixed) = &fixed {
        change[0] += dot(&surface, fixed);
    }
    let moves: Vec<f64> = at_screws.iter().map(|row| dot(&change, row)).collect();
    let travel = travel::fit(&screws.at, &moves, held.is_none());
    change[0] += travel.as_ref().map_or(0.0, |t| t.shift_mm);
    let level_mm = match (&right_at, held) {
        (Some(right_at), _) => dot(&change, right_at),
        (None, _) => dot(&change, &at_screws[0]) + dot(&surface, &at_screws[0]),
    };

    let noise = card.readings.noise().filter(|n| *n > 0.0).unwrap_or_else(|| card.readings.method.usual_spread());
    let turns: Vec<ScrewTurn> = at_screws
        .iter()
        .enumerate()
        .map(|(i, row)| {
            let raise = if held == Some(i) { 0.0 } else { dot(&change, row) };
            ScrewTurn::new(screws, i, raise, noise * deviation(&found, row, fixed.as_deref()))
        })
        .collect();
    let by_sixteenths: Vec<f64> = turns.iter().map(ScrewTurn::done_in_sixteenths).collect();
    // Sixteenths of four screws are seldom on one plane: a rigid plate then rests on the best one.
    let rounded = fit(&at_screws, &by_sixteenths, None).map_or_else(|| change.clone(), |f| f.coefficients);
    let left_by =
        |change: &[f64]| -> Vec<f64> { rows.iter().zip(&heights).map(|(row, h)| h + dot(change, row)).collect() };

    let predicted = HeightMap::fit(&predicted(card, screws, &plate, &change, &turns), map.kind())?;
    let after: Vec<f64> = predicted.readings().iter().map(|r| r.height).collect();
    let [lowest, highest] = predicted.extremes().map(|e| standing(card, &e, level_mm));
    let range_before_mm = range(&heights);
    let told_mm = verdict::told(&card.readings, noise);
    let twist = twist::shown(map, screws, noise, options.twist);
    let verdict = verdict::judge(&turns, range_before_mm, told_mm, options.stop_below_mm);
    let readings = map.readings().iter().zip(&after);
    let readings =
        readings.map(|(r, after)| Mended { x: r.x, y: r.y, before_mm: r.height, after_mm: *after }).collect();
    let mut screws = turns;
    // A millionth of a millimetre is rounding and orders nothing.
    let size = |s: &ScrewTurn| (s.raise_mm.abs() * 1e6).round();
    crate::order::sort_by(&mut screws, |a, b| size(b).total_cmp(&size(a)));
    Ok(Tram {
        screws,
        fit: options.fit,
        follows: plate.follows,
        hold: options.hold.clone(),
        level_mm,
        travel,
        range_before_mm,
        range_after_mm: range(&after),
        range_after_sixteenths_mm: range(&left_by(&rounded)),
        readings,
        lowest,
        highest,
        spread_mm: noise,
        told_mm,
        twist,
        verdict,
        stop: verdict.stop(),
        predicted: Box::new(predicted),
    })
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The standard deviation of a screw's move, for readings of standard deviation 1: of the surface at the screw, less
/// that at the place that stays.
fn deviation(found: &Found, row: &[f64], fixed: Option<&[f64]>) -> f64 {
    let row: Vec<f64> = row.iter().enumerate().map(|(j, r)| r - fixed.map_or(0.0, |f| f[j])).collect();
    found.variance(&row).max(0.0).sqrt()
}

fn standing(card: &Card, e: &Extreme, level_mm: f64) -> Standing {
    // A relative map is 0 at `right_at` wherever that stands.
    let level = if card.readings.right_at.is_some() { 0.0 } else { level_mm };
    Standing {
        x: e.x,
        y: e.y,
        height_mm: e.height,
        off_mm: e.height - level,
        place: whereabouts::place(&card.bed, e.x, e.y),
    }
}

/// See [`Tram::predicted`].
fn predicted(card: &Card, screws: &Screws, plate: &Plate, change: &[f64], turns: &[ScrewTurn]) -> Card {
    let mut after = card.clone();
    let readings = &mut after.readings;
    for (point, spot) in readings.points.iter_mut().zip(card.spot_heights()) {
        let value = card.readings.value_of(spot.height + dot(change, &plate.terms(spot.x, spot.y)));
        (point.value, point.line, point.column) = ((value * 1e9).round() / 1e9 + 0.0, None, None);
    }
    for point in &mut readings.unread {
        (point.line, point.column) = (None, None);
    }
    readings.predicted = true;
    let mut screws = screws.clone();
    for (screw, turn) in screws.at.iter_mut().zip(turns) {
        screw.travel =
            screw.travel.map(|[low, high]| [(low - turn.raise_mm).min(0.0), (high - turn.raise_mm).max(0.0)]);
    }
    after.screws = Some(screws);
    after
}

fn held(screws: &Screws, options: &Options) -> Result<Option<usize>, Error> {
    let Some(name) = &options.hold else { return Ok(None) };
    screws.at.iter().position(|s| s.name == *name).map(Some).ok_or_else(|| {
        let names: Vec<&str> = screws.at.iter().map(|s| s.name.as_str()).collect();
        Error::new(ErrorKind::Options, format!("the card names no screw \"{name}\" that could be held still"))
            .with_help(format!("its screws are: {}", names.join(", ")))
    })
}

fn no_screws() -> Error {
    Error::new(ErrorKind::Card, "the card has no section [screws]: without it nobody knows what to turn").with_help(
        "add, with your own screws' places in mm:\n[screws]\nthread = \"M4\"           # or pitch = 0.7, mm a turn\n\
         raise = \"anticlockwise\"  # the way to turn a knob, seen from above, that raises the bed\n\
         at = { \"front left\" = [30, 30], \"front right\" = [205, 30], \"back\" = [117, 205] }",
    )
}

fn no_twist() -> Error {
    Error::new(
        ErrorKind::Options,
        "a twist needs four screws that stand round the plate, each a corner of a quadrilateral",
    )
    .with_help("leave it out: then the best plane is taken")
}

fn cannot_tell(follows: Follows) -> Error {
    match follows {
        Follows::Ramp => Error::new(
            ErrorKind::Readings,
            "the readings cannot tell how the bed lies along the line on which the screws stand",
        )
        .with_help("read places that lie apart along that line"),
        Follows::Plane => Error::new(ErrorKind::Readings, "the readings cannot tell how the bed lies")
            .with_help("read three places or more that are not on one line"),
        Follows::Twist => Error::new(ErrorKind::Readings, "the readings cannot tell whether the plate is twisted")
            .with_help("read near all four screws, or leave the twist out"),
    }
}
