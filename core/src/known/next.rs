//! Where to read next.
//!
//! Of all places that can be read the one is taken that shrinks the variance most, on average over the places that matter; then the next one,
//! given that one, and so on: a sequential design for the integrated mean square error (Sacks, Welch, Mitchell and Wynn 1989, "Design and
//! analysis of computer experiments", Statistical Science 4, 409-423; one at a time as in Cohn 1996, "Neural network exploration using
//! optimal experiment design", Neural Networks 9, 1071-1083; both recalled, not seen). What a reading at c leaves of the variance at p
//! does not depend on its value, for each [node](super::model):
//!
//! ```text
//! variance(p) - covariance(p, c)^2 / (variance(c) + noise^2)
//! ```
//!
//! What does depend on it is left as it is: the nodes' shares, and what the map is off from the surface that they expect, where it was measured
//! before. Several points are
//! chosen one after the other, and then each anew given all the others, as long as that helps (the exchange of Fedorov 1972, *Theory of Optimal
//! Experiments*, recalled, not seen). The variance is that of [the model](super), the map a thin plate: near enough, and measured.
//! What it is worth is told in the docs of [`crate::known`].

mod design;
mod matter;
mod opening;
mod spots;

use super::model::{Model, Sum};
use super::{Known, places_of};
use crate::card::{Card, MAX_COORDINATE, Point};
use crate::plan::{Room, grid, left_out, plunger};
use crate::surface::places::count;
use crate::{Error, ErrorKind, HeightMap, SurfaceKind, whereabouts};
use design::Design;
use matter::Matter;
use opening::Opening;

/// Most points that are chosen at once, those on the card that are still to be read included.
pub const MAX_NEXT: usize = 100;

/// Places along the longer side that may be chosen.
const CHOICES: usize = 21;

/// Nearer than this to a point of the card, mm, it is that point that is read again: the map takes the mean of readings at one place, and
/// bends between two that lie beside each other.
const AGAIN: f64 = 5.0;

/// Where to read next, and what is expected of it.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Next {
    /// Before; `null` where the readings make no map yet.
    pub before: Option<Foreseen>,
    /// The points, in the order of choice: the most telling first.
    pub points: Vec<NextPoint>,
}

/// How well the places that matter are known, taken together.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Foreseen {
    /// Root of the mean square of the standard errors, mm.
    pub standard_error: f64,
    /// Of these places, [95 %](super::CONFIDENCE) are expected to lie within this of the map, mm.
    pub within: f64,
}

/// A point to read.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct NextPoint {
    /// The nozzle's X, mm.
    pub x: f64,
    /// The nozzle's Y, mm.
    pub y: f64,
    /// In words: `"back right"`.
    pub place: &'static str,
    /// Whether the card has a point there already, so that it is to be read once more.
    pub again: bool,
    /// With this point and those before it read; `null` where that makes no map yet.
    pub after: Option<Foreseen>,
}

/// The points to read next: `how_many` of them, that make the thin-plate map of the card as sure as so many can, at the places that matter
/// (`[x, y, weight]`, weights positive; the whole bed without any). They keep their distance from edges and clips as [`grid`]'s do.
///
/// Points on the card that are still to be read count as read. A card whose points are not three that make a map yet gets those first, far
/// apart; then its heights' variances are those of an unknown bed. A place may be chosen that was read before, if nothing tells more: its
/// readings' mean counts.
///
/// It takes half a second for ten points after 25 (measured natively).
///
/// ```
/// # let card = evengap::Card::parse("[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [[30, 30, 0.16], [205, 30, 0.12], [30, 205, 0.15], [117, 117, 0.27]]")?;
/// use evengap::known::next;
/// use evengap::plan::Room;
///
/// let two = next(&card, None, 2, Room::default())?;
/// assert_eq!(two.points[0].place, "back right");
/// let (before, after) = (two.before.unwrap(), two.points[1].after.unwrap());
/// assert!(after.standard_error < before.standard_error);
/// # Ok::<(), evengap::Error>(())
/// ```
///
/// # Errors
///
/// [`ErrorKind::Options`]: none or more than [`MAX_NEXT`] points, too few for a map; places that are none; a bed without room, as [`grid`] says.
/// Otherwise as [`HeightMap::fit`].
pub fn next(card: &Card, places: Option<&[[f64; 3]]>, how_many: usize, room: Room) -> Result<Next, Error> {
    let r = &card.readings;
    if how_many == 0 || how_many + r.unread.len() > MAX_NEXT {
        let unread = match r.unread.len() {
            0 => String::new(),
            n => format!(", with {n} on the card that are still to be read"),
        };
        return Err(refused(format!("{how_many} points to read next{unread}: from 1 to {MAX_NEXT} can be chosen")));
    }
    let places: Vec<[f64; 3]> = match places {
        Some(places) => places.iter().filter(|p| is_place(p)).copied().collect(),
        None => places_of(&card.bed),
    };
    if places.is_empty() {
        return Err(refused("there is no place that the next readings could matter for".to_owned()));
    }
    let choices = choices(card, room)?;
    let opening = Opening::of(card, &choices, &places)?;
    let mut points: Vec<NextPoint> = opening.taken.iter().map(|&k| choices[k].point(card)).collect();
    if points.len() > how_many {
        return Err(refused(format!("{how_many} points to read next are too few: a map needs {}", points.len()))
            .with_help("three points that are not on one line make a map"));
    }
    let known = match opening.data.points.len() == r.points.len() {
        true => Known::of(&HeightMap::fit(card, SurfaceKind::ThinPlate)?),
        false => None,
    };
    let own = if known.is_some() { None } else { Model::of(&opening.data) };
    let Some(model) = known.as_ref().map(|known| &known.model).or(own.as_ref()) else {
        return Err(refused("the readings are so close together that nothing can be said".to_owned()));
    };
    let mut design = Design::of(model, &opening.unread, choices.iter().map(|c| read_at(card, c.at)), &places, card);
    let mut matter = Matter::of(model, known.as_ref(), &places, card);
    for (spot, at) in opening.unread.iter().enumerate() {
        matter.follow(&design, spot, *at);
        design.read(spot);
    }
    let now = matter.foreseen(model);
    if let Some(last) = points.last_mut() {
        last.after = Some(now);
    }
    let before = points.is_empty().then_some(now);
    let mut again: Vec<bool> = choices.iter().map(|c| c.again).collect();
    opening.taken.iter().for_each(|&k| again[k] = true);
    let mut left = match opening.fourth {
        Some(choice) if how_many > points.len() => vec![choice],
        _ => design.clone().chosen(how_many - points.len()),
    };
    // The most telling first.
    while points.len() < how_many {
        if left.is_empty() {
            left = design.clone().chosen(how_many - points.len());
        }
        let Some(at) = design.best(left.iter().copied()) else { break };
        let choice = left.remove(at);
        matter.follow(&design, design.unread + choice, read_at(card, choices[choice].at));
        design.read(design.unread + choice);
        let after = Some(matter.foreseen(model));
        points.push(NextPoint { again: again[choice], after, ..choices[choice].point(card) });
        again[choice] = true;
    }
    Ok(Next { before, points })
}

fn refused(message: String) -> Error {
    Error::new(ErrorKind::Options, message)
}

fn is_place([x, y, weight]: &[f64; 3]) -> bool {
    x.abs() <= MAX_COORDINATE && y.abs() <= MAX_COORDINATE && *weight > 0.0 && weight.is_finite()
}

/// A place that may be chosen.
struct Choice {
    /// The nozzle's, mm.
    at: [f64; 2],
    /// Whether it is on the card already.
    again: bool,
}

impl Choice {
    fn point(&self, card: &Card) -> NextPoint {
        let [x, y] = self.at;
        NextPoint { x, y, place: whereabouts::place(&card.bed, x, y), again: self.again, after: None }
    }
}

/// A grid of what can be read, and the card's own points in the place of those beside them.
fn choices(card: &Card, room: Room) -> Result<Vec<Choice>, Error> {
    let [width, depth] = [card.bed.x, card.bed.y].map(|[low, high]| high - low);
    let along = |length: f64| {
        let share = length / width.max(depth);
        (2..CHOICES).find(|n| count(n - 1) >= share * count(CHOICES - 1) - 1e-9).unwrap_or(CHOICES)
    };
    let grid = grid(&card.bed, plunger(card), along(width), along(depth), room)?;
    let own: Vec<[f64; 2]> = card.readings.all_points().map(|p| place_of(&p)).collect();
    let near = |a: &[f64; 2], b: &[f64; 2]| apart(*a, *b) < AGAIN;
    let mut choices: Vec<Choice> = Vec::new();
    for at in &own {
        let known = choices.iter().any(|c| near(&c.at, at));
        if !known && left_out(&card.bed, plunger(card), *at, room).is_none() {
            choices.push(Choice { at: *at, again: true });
        }
    }
    let free = grid.points.iter().filter(|at| !own.iter().any(|o| near(o, at)));
    choices.extend(free.map(|at| Choice { at: *at, again: false }));
    Ok(choices)
}

fn place_of(point: &Point) -> [f64; 2] {
    match point {
        Point::Read(r) => [r.x, r.y],
        Point::Unread(u) => [u.x, u.y],
    }
}

/// Where a reading is taken whose nozzle stands there: of an indicator, under its plunger.
fn read_at(card: &Card, [x, y]: [f64; 2]) -> [f64; 2] {
    let [dx, dy] = plunger(card).unwrap_or([0.0, 0.0]);
    [x + dx, y + dy]
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

/// The height of a place that matters; of a card that is right somewhere, over that place.
fn matters(model: &Model, [x, y, _]: &[f64; 3], card: &Card) -> Sum {
    let mut terms = vec![([*x, *y], 1.0)];
    terms.extend(card.readings.right_at.map(|datum| (datum, -1.0)));
    model.sum(&terms)
}

/// The places' smallest and largest X and Y.
fn bounds(places: &[[f64; 3]]) -> [[f64; 2]; 2] {
    [0, 1].map(|axis: usize| {
        let along = || places.iter().map(|p| p[axis]);
        [along().fold(f64::INFINITY, f64::min), along().fold(f64::NEG_INFINITY, f64::max)]
    })
}

#[cfg(test)]
mod tests;
