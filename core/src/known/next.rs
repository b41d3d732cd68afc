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

use super::model::{Data, Model, Node, Sum};
use super::{Known, places_of, within};
use crate::card::{Card, MAX_COORDINATE, Point};
use crate::plan::{Room, grid, left_out, plunger, start};
use crate::surface::places::{Places, count};
use crate::surface::thin_plate::ON_ONE_LINE;
use crate::{Error, ErrorKind, HeightMap, SurfaceKind, number, order, whereabouts};

/// Most points that are chosen at once, those on the card that are still to be read included.
pub const MAX_NEXT: usize = 100;

/// Places along the longer side that may be chosen.
const CHOICES: usize = 21;

/// Each point is chosen anew, given all the others, at most so many times.
const ROUNDS: usize = 6;
/// And so many in all.
const MOST_TURNS: usize = 60;

/// Squares along the longer side that the places that matter are taken together in.
const SQUARES: usize = 10;

/// Nearer than this to a point of the card, mm, it is that point that is read again: the map takes the mean of readings at one place, and
/// bends between two that lie beside each other.
const AGAIN: f64 = 5.0;

/// Where to read next, and what is expected of it.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
pub struct Next {
    /// Before; `null` where the readings make no map yet.
    pub before: Option<Foreseen>,
    /// The points, in the order of choice: the most telling first.
    pub points: Vec<NextPoint>,
}

/// How well the places that matter are known, taken together.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
pub struct Foreseen {
    /// Root of the mean square of the standard errors, mm.
    pub standard_error: f64,
    /// Of these places, [95 %](super::CONFIDENCE) are expected to lie within this of the map, mm.
    pub within: f64,
}

/// A point to read.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
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

/// What the model is made from.
struct Opening {
    /// The card's readings, and where they make no map, points that make one.
    data: Data,
    /// The card's points that are still to be read, but for those.
    unread: Vec<[f64; 2]>,
    /// The choices among those.
    taken: Vec<usize>,
    /// Of a card without any points, the choice that comes next: far apart as well.
    fourth: Option<usize>,
}

impl Opening {
    fn of(card: &Card, choices: &[Choice], places: &[[f64; 3]]) -> Result<Opening, Error> {
        let spots = card.spot_heights();
        let mut points: Vec<[f64; 2]> = spots.iter().map(|s| [s.x, s.y]).collect();
        let mut heights: Vec<f64> = spots.iter().map(|s| s.height).collect();
        let mut unread: Vec<[f64; 2]> = card.readings.unread.iter().map(|u| read_at(card, [u.x, u.y])).collect();
        let all: Vec<[f64; 2]> = choices.iter().map(|c| read_at(card, c.at)).collect();
        let start = read_at(card, start(card));
        let [across, along] = bounds(places);
        // Far apart, but no farther than what matters; beyond it where there is no room.
        let inside = |at: &[f64; 2]| across[0] <= at[0] && at[0] <= across[1] && along[0] <= at[1] && at[1] <= along[1];
        let near: Vec<usize> = (0..all.len()).filter(|k| inside(&all[*k])).collect();
        let near_at: Vec<[f64; 2]> = near.iter().map(|&k| all[k]).collect();
        let mut taken = Vec::new();
        for _ in 0..=3 {
            if spans(&points) {
                let fourth = if taken.len() == 3 { loneliest(&points, &near_at).map(|k| near[k]) } else { None };
                return Ok(Opening { data: super::data(&card.readings, points, heights), unread, taken, fourth });
            }
            let at = if let Some(k) = farthest(&points, &unread, start) {
                unread.remove(k)
            } else if let Some(k) =
                farthest(&points, &near_at, start).map(|k| near[k]).or_else(|| farthest(&points, &all, start))
            {
                taken.push(k);
                all[k]
            } else {
                break;
            };
            // Its height makes no difference: a plane passes through it, whatever the others are.
            points.push(at);
            heights.push(0.0);
        }
        Err(refused("the bed leaves no room for three readings that are not on one line".to_owned()))
    }
}

/// Whether readings at these places make a map.
fn spans(points: &[[f64; 2]]) -> bool {
    if points.len() < 3 {
        return false;
    }
    let places = Places::pool(points, &vec![0.0; points.len()], None);
    places.at.len() >= 3 && places.breadth() >= ON_ONE_LINE
}

/// Of a list the place that lies farthest from the line through some points on one line, or from their place if they have but one; without any the
/// place next to `start`. `None` where it is no millimetre away.
fn farthest(points: &[[f64; 2]], from: &[[f64; 2]], start: [f64; 2]) -> Option<usize> {
    let Some(&a) = points.first() else { return most(from, |at| -apart(at, start)).map(|(k, _)| k) };
    let b = points.iter().fold(a, |b, p| if apart(*p, a) > apart(b, a) { *p } else { b });
    let length = apart(a, b);
    let found = most(from, |at| {
        let across = (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0]);
        if length < 1.0 { apart(at, a) } else { across.abs() / length }
    });
    found.filter(|(_, distance)| *distance >= 1.0).map(|(k, _)| k)
}

/// Of a list the place whose nearest point is farthest from it.
fn loneliest(points: &[[f64; 2]], from: &[[f64; 2]]) -> Option<usize> {
    let nearest = |at| points.iter().fold(f64::INFINITY, |least, p| least.min(apart(*p, at)));
    most(from, nearest).map(|(k, _)| k)
}

/// The first of the places where a measure is largest, and what it is there.
fn most(from: &[[f64; 2]], measure: impl Fn([f64; 2]) -> f64) -> Option<(usize, f64)> {
    let mut most: Option<(usize, f64)> = None;
    for (k, at) in from.iter().enumerate() {
        let value = measure(*at);
        if most.is_none_or(|(_, m)| value > m) {
            most = Some((k, value));
        }
    }
    most
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

/// Heights, and what readings that are to be taken leave of them.
#[derive(Clone)]
struct Spots {
    sums: Vec<Sum>,
    /// Of each node: the variance of each height.
    variances: Vec<Vec<f64>>,
    /// Of each node and each reading: what it takes off a covariance, as the product of two such numbers.
    taken: Vec<Vec<Vec<f64>>>,
    /// Of each reading 1, or -1 where it was taken back.
    signs: Vec<f64>,
}

impl Spots {
    fn of(model: &Model, sums: Vec<Sum>) -> Spots {
        let own: Vec<[f64; 3]> = sums.iter().map(|s| model.common(s, s)).collect();
        let variance = |node: &Node| {
            let of = |(s, common): (&Sum, &[f64; 3])| {
                let told = node.told(model, s);
                let mut variance: f64 = common.iter().zip(node.counts()).map(|(c, count)| c * count).sum();
                for (j, t) in told.iter().enumerate() {
                    variance -= sign_of(j, told.len()) * t * t;
                }
                variance.max(0.0)
            };
            sums.iter().zip(&own).map(of).collect()
        };
        let variances: Vec<Vec<f64>> = model.nodes.iter().map(variance).collect();
        Spots { taken: vec![Vec::new(); variances.len()], signs: Vec::new(), variances, sums }
    }

    /// Covariances with some of other spots, which had the same readings: of each node, a row for each of those.
    fn covariances(&self, model: &Model, other: &Spots, which: core::ops::Range<usize>) -> Vec<Vec<Vec<f64>>> {
        // Rows over these spots, so that all that follows goes along them.
        let common: Vec<[Vec<f64>; 3]> = (other.sums[which.clone()].iter())
            .map(|sum| {
                let all: Vec<[f64; 3]> = self.sums.iter().map(|s| model.common(s, sum)).collect();
                [0, 1, 2].map(|k: usize| all.iter().map(|c| c[k]).collect())
            })
            .collect();
        let of_node = |(k, node): (usize, &Node)| {
            let told: Vec<Vec<f64>> = self.sums.iter().map(|s| node.told(model, s)).collect();
            let length = told.first().map_or(0, Vec::len);
            let mine: Vec<Vec<f64>> = (0..length).map(|j| told.iter().map(|t| t[j]).collect()).collect();
            let row = |(at, common): (usize, &[Vec<f64>; 3])| {
                let mut row = vec![0.0; self.sums.len()];
                let mut add = |factor: f64, what: &[f64]| {
                    row.iter_mut().zip(what).for_each(|(slot, w)| *slot += factor * w);
                };
                common.iter().zip(node.counts()).for_each(|(common, count)| add(count, common));
                for (j, (mine, t)) in mine.iter().zip(node.told(model, &other.sums[at])).enumerate() {
                    add(-sign_of(j, length) * t, mine);
                }
                for ((mine, theirs), sign) in self.taken[k].iter().zip(&other.taken[k]).zip(&self.signs) {
                    add(-sign * theirs[at], mine);
                }
                row
            };
            which.clone().zip(&common).map(row).collect()
        };
        model.nodes.iter().enumerate().map(of_node).collect()
    }

    /// What a reading at one of other spots takes off, see `taken`; with a sign of -1, what taking it back gives again: a reading of
    /// the variance -noise^2 is just that.
    fn taken_by(&self, model: &Model, other: &Spots, which: usize, sign: f64) -> Vec<Vec<f64>> {
        let rows = self.covariances(model, other, which..which + 1);
        let of_node = |(k, (rows, node)): (usize, (Vec<Vec<f64>>, &Node))| {
            let square = sign * other.variances[k][which] + node.noise2;
            let root = square.max(f64::MIN_POSITIVE).sqrt();
            rows.into_iter().flatten().map(|c| c / root).collect()
        };
        rows.into_iter().zip(&model.nodes).enumerate().map(of_node).collect()
    }

    fn take(&mut self, taken: Vec<Vec<f64>>, sign: f64) {
        for (k, taken) in taken.into_iter().enumerate() {
            self.variances[k].iter_mut().zip(&taken).for_each(|(v, t)| *v = (*v - sign * t * t).max(0.0));
            self.taken[k].push(taken);
        }
        self.signs.push(sign);
    }
}

/// Of what is [told](Node::told) the last three are added.
fn sign_of(number: usize, of: usize) -> f64 {
    if number + 3 >= of { -1.0 } else { 1.0 }
}

/// An average over a model's nodes.
fn over_nodes(model: &Model, of_node: impl Fn(usize, &Node) -> f64) -> f64 {
    model.nodes.iter().enumerate().map(|(k, node)| node.share * of_node(k, node)).sum()
}

/// The choice, as one reading after another is added.
#[derive(Clone)]
struct Design<'a> {
    model: &'a Model,
    /// Points that are still to be read, then the choices.
    spots: Spots,
    unread: usize,
    /// The weights of the places that matter, taken together in squares.
    weights: Vec<f64>,
    /// Of each node and each spot: covariances with the squares.
    with: Vec<Vec<Vec<f64>>>,
}

impl<'a> Design<'a> {
    fn of(
        model: &'a Model,
        unread: &[[f64; 2]],
        choices: impl Iterator<Item = [f64; 2]>,
        places: &[[f64; 3]],
        card: &Card,
    ) -> Design<'a> {
        let spots = unread.iter().copied().chain(choices).map(|at| model.sum(&[(at, 1.0)])).collect();
        let spots = Spots::of(model, spots);
        let squares = in_squares(places);
        let weights = squares.iter().map(|[.., weight]| *weight).collect();
        let squares = Spots::of(model, squares.iter().map(|p| matters(model, p, card)).collect());
        let with = squares.covariances(model, &spots, 0..spots.sums.len());
        Design { model, spots, unread: unread.len(), weights, with }
    }

    /// A reading is taken at a spot.
    fn read(&mut self, spot: usize) {
        self.change(spot, 1.0);
    }

    fn change(&mut self, spot: usize, sign: f64) {
        let taken = self.spots.taken_by(self.model, &self.spots, spot, sign);
        for (k, (with, taken)) in self.with.iter_mut().zip(&taken).enumerate() {
            let square = sign * self.spots.variances[k][spot] + self.model.nodes[k].noise2;
            let factor = sign / square.max(f64::MIN_POSITIVE).sqrt();
            let own = with[spot].clone();
            for (row, t) in with.iter_mut().zip(taken) {
                row.iter_mut().zip(&own).for_each(|(slot, c)| *slot -= t * factor * c);
            }
        }
        self.spots.take(taken, sign);
    }

    /// Of some choices the one that takes most off the squares' variance: its place among them.
    fn best(&self, choices: impl Iterator<Item = usize>) -> Option<usize> {
        let mut best: Option<(usize, f64)> = None;
        for (at, choice) in choices.enumerate() {
            let gain = self.gain(choice);
            if best.is_none_or(|(_, most)| gain > most) {
                best = Some((at, gain));
            }
        }
        best.map(|(at, _)| at)
    }

    fn gain(&self, choice: usize) -> f64 {
        let spot = self.unread + choice;
        over_nodes(self.model, |k, node| {
            let square: f64 = self.with[k][spot].iter().zip(&self.weights).map(|(c, w)| w * c * c).sum();
            square / (self.spots.variances[k][spot] + node.noise2)
        })
    }

    /// Choices one after the other, and then each again given all others, as long as that helps.
    fn chosen(mut self, how_many: usize) -> Vec<usize> {
        let count = self.spots.sums.len() - self.unread;
        let mut chosen = Vec::new();
        while chosen.len() < how_many
            && let Some(choice) = self.best(0..count)
        {
            self.read(self.unread + choice);
            chosen.push(choice);
        }
        let mut since = 0;
        for turn in 0..MOST_TURNS.min(ROUNDS * chosen.len()) {
            if since == chosen.len() || chosen.len() == 1 {
                break;
            }
            let slot = &mut chosen[turn % how_many];
            self.change(self.unread + *slot, -1.0);
            since += 1;
            if let Some(choice) = self.best(0..count)
                && self.gain(choice) > self.gain(*slot) * (1.0 + 1e-6)
            {
                *slot = choice;
                since = 0;
            }
            self.read(self.unread + *slot);
        }
        chosen
    }
}

/// The height of a place that matters; of a card that is right somewhere, over that place.
fn matters(model: &Model, [x, y, _]: &[f64; 3], card: &Card) -> Sum {
    let mut terms = vec![([*x, *y], 1.0)];
    terms.extend(card.readings.right_at.map(|datum| (datum, -1.0)));
    model.sum(&terms)
}

/// What the model expects of the height at a place, and its variance.
fn expected(known: &Known, [x, y]: [f64; 2]) -> [f64; 2] {
    let [bias, variance] = known.error(x, y);
    [known.map.height(x, y) + bias, variance]
}

/// The places that matter, as one reading after another is added.
struct Matter<'a> {
    spots: Spots,
    /// The map before that, where there is one.
    known: Option<&'a Known>,
    /// What is expected of it there and its variance, before that; and the place's weight.
    expected: Vec<[f64; 3]>,
    places: &'a [[f64; 3]],
    /// The rectangle that the readings bound.
    measured: [f64; 4],
}

impl<'a> Matter<'a> {
    fn of(model: &Model, known: Option<&'a Known>, places: &'a [[f64; 3]], card: &Card) -> Matter<'a> {
        let spots = Spots::of(model, places.iter().map(|p| matters(model, p, card)).collect());
        let expected = |(place, [x, y, weight]): (usize, &[f64; 3])| {
            let [mean, variance] = match known {
                Some(known) => expected(known, [*x, *y]),
                None => [0.0, over_nodes(model, |k, _| spots.variances[k][place])],
            };
            [mean, variance, *weight]
        };
        let expected = places.iter().enumerate().map(expected).collect();
        let measured = known.map_or([0.0; 4], |known| known.map.measured());
        Matter { spots, known, expected, places, measured }
    }

    /// A reading is taken at a spot of a design, which is at this place.
    fn follow(&mut self, design: &Design<'_>, spot: usize, [x, y]: [f64; 2]) {
        let taken = self.spots.taken_by(design.model, &design.spots, spot, 1.0);
        self.spots.take(taken, 1.0);
        let [x0, y0, x1, y1] = self.measured;
        self.measured = [x0.min(x), y0.min(y), x1.max(x), y1.max(y)];
    }

    /// What the map that is made then is expected to be off at a place: as before where it was measured before, nothing where it is measured
    /// then, and beyond that what the bed rises from its edge.
    fn bias(&self, [x, y, _]: [f64; 3], mean: f64) -> f64 {
        let Some(known) = self.known else { return 0.0 };
        let inside = |[x0, y0, x1, y1]: [f64; 4]| [number::within(x, x0, x1), number::within(y, y0, y1)];
        let edge = inside(self.measured);
        let before = inside(known.map.measured());
        let was_measured = apart(before, edge) <= 0.0;
        let height = match was_measured {
            true => known.map.height(edge[0], edge[1]),
            false => expected(known, edge)[0],
        };
        mean - height
    }

    fn foreseen(&self, model: &Model) -> Foreseen {
        let mut out = Vec::with_capacity(self.expected.len());
        let (mut square, mut all) = (0.0, 0.0);
        for (place, [mean, variance, weight]) in self.expected.iter().enumerate() {
            let bias = self.bias(self.places[place], *mean);
            let gained = over_nodes(model, |k, _| self.spots.taken[k].iter().map(|t| t[place] * t[place]).sum());
            let left = (variance - gained).max(0.0);
            square += weight * (left + bias * bias);
            all += weight;
            out.push((bias, left.sqrt(), *weight));
        }
        Foreseen { standard_error: (square / all).sqrt(), within: within(&out) }
    }
}

/// The places' smallest and largest X and Y.
fn bounds(places: &[[f64; 3]]) -> [[f64; 2]; 2] {
    [0, 1].map(|axis: usize| {
        let along = || places.iter().map(|p| p[axis]);
        [along().fold(f64::INFINITY, f64::min), along().fold(f64::NEG_INFINITY, f64::max)]
    })
}

/// Places that lie in one square taken together, at their centre of gravity.
fn in_squares(places: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let bounds = bounds(places);
    // A hair more, so that the last place is in the last square.
    let side = (bounds[0][1] - bounds[0][0]).max(bounds[1][1] - bounds[1][0]) * (1.0 + 1e-9) / count(SQUARES);
    let square =
        |p: &[f64; 3]| [0, 1].map(|axis| if side > 0.0 { ((p[axis] - bounds[axis][0]) / side).floor() } else { 0.0 });
    let mut sorted = places.to_vec();
    order::sort_by(&mut sorted, |a, b| {
        let (a, b) = (square(a), square(b));
        a[1].total_cmp(&b[1]).then(a[0].total_cmp(&b[0]))
    });
    let alike = |a: &[f64; 3], b: &[f64; 3]| square(a).map(f64::to_bits) == square(b).map(f64::to_bits);
    let together = |group: &[[f64; 3]]| {
        let [x, y, w] = group.iter().fold([0.0; 3], |[x, y, w], p| [x + p[2] * p[0], y + p[2] * p[1], w + p[2]]);
        [x / w, y / w, w]
    };
    sorted.chunk_by(alike).map(together).collect()
}

#[cfg(test)]
mod tests;
