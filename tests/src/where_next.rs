//! Invented beds read where it tells most, beside uniform grids: how many readings does it take until the map is right to 0.02 mm?
//!
//! Readings scatter by 0.02 mm. What matters is the whole bed, or a part: a rectangle of 40 to 120 mm a side that lies anywhere at least 10 mm
//! from the bed's edges, another one for each bed. Four ways to read:
//!
//! | way | what it is |
//! | --- | --- |
//! | grid | 2 x 2, 2 x 3, 3 x 3 and so on over the bed, 10 mm from the edges; every other bed has it turned |
//! | part's grid | the same over the part alone, right up to its edges |
//! | at once | so many points as [`next`] gives them for a card without readings, all read before the map is made |
//! | one by one | four such points, and then one after another: each is chosen when those before it are read |

#![expect(clippy::cast_precision_loss, reason = "counts of beds and readings, all small")]

use crate::families::{Chance, FAMILIES, SIDE, bed};
use crate::how_well::card_at;
use evengap::known::next;
use evengap::plan::Room;
use evengap::{Card, HeightMap, SurfaceKind};

/// What a reading is off, one standard deviation, mm.
pub const NOISE: f64 = 0.02;

/// What the map's error is to come to, root mean square, mm.
pub const GOAL: f64 = 0.02;

/// Columns and rows of the grids.
pub const GRIDS: [[u32; 2]; 7] = [[2, 2], [2, 3], [3, 3], [3, 4], [4, 4], [4, 5], [5, 5]];

/// The readings before one is added to another.
const FIRST: usize = 4;

/// Distance of grids and parts from the bed's edges, mm.
const MARGIN: f64 = 10.0;

/// What matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Matters {
    /// The whole bed.
    Bed,
    /// A part of it.
    Part,
}

/// A bed, and what matters of it.
struct Case {
    seed: u64,
    height: Box<dyn Fn(f64, f64) -> f64>,
    chance: Chance,
    /// x0, y0 and the sides, mm.
    part: [[f64; 2]; 2],
    /// `None` for the whole bed.
    places: Option<Vec<[f64; 3]>>,
}

impl Case {
    fn of(matters: Matters, family: usize, seed: u64) -> Case {
        let mut chance = Chance::of(seed, family as u64, 60);
        let height = bed(family, &mut chance);
        let sides = [0; 2].map(|_| chance.between(40.0, 120.0));
        let corner = sides.map(|side| chance.between(MARGIN, SIDE - MARGIN - side));
        let places = (matters == Matters::Part).then(|| squares(corner, sides, 12));
        Case { seed, height, chance, part: [corner, sides], places }
    }

    fn read(&mut self, [x, y]: [f64; 2]) -> f64 {
        (self.height)(x, y) + NOISE * self.chance.normal()
    }

    /// A map of readings, and the mean square of what it is off, mm^2.
    fn off(&self, points: &[[f64; 2]], values: &[f64]) -> (Card, f64) {
        let mut value = values.iter().copied();
        let read = &mut |_: f64, _: f64| value.next().expect("a value for each point");
        let card = card_at(points.iter().copied(), &format!("spread = {NOISE}"), read);
        let map = HeightMap::fit(&card, SurfaceKind::ThinPlate).expect("a map");
        let bed = || squares([0.0, 0.0], [SIDE, SIDE], 30);
        let places = self.places.clone().unwrap_or_else(bed);
        let square = |[x, y, _]: &[f64; 3]| ((self.height)(*x, *y) - map.height(*x, *y)).powi(2);
        (card, places.iter().map(square).sum::<f64>() / places.len() as f64)
    }

    fn at_once(mut self, points: &[[f64; 2]]) -> f64 {
        let values: Vec<f64> = points.iter().map(|p| self.read(*p)).collect();
        self.off(points, &values).1
    }
}

/// A rectangle's squares, by their middles, all of the same weight.
fn squares(corner: [f64; 2], sides: [f64; 2], count: u32) -> Vec<[f64; 3]> {
    let at = |axis: usize, k: u32| corner[axis] + sides[axis] * (f64::from(k) + 0.5) / f64::from(count);
    (0..count * count).map(|n| [at(0, n % count), at(1, n / count), 1.0]).collect()
}

fn grid(corner: [f64; 2], sides: [f64; 2], [columns, rows]: [u32; 2]) -> Vec<[f64; 2]> {
    let at = |axis: usize, k: u32, of: u32| corner[axis] + sides[axis] * f64::from(k) / f64::from(of - 1);
    (0..columns * rows).map(|n| [at(0, n % columns, columns), at(1, n / columns, rows)]).collect()
}

/// So many points for a card without readings.
fn first(places: Option<&[[f64; 3]]>, count: usize) -> Vec<[f64; 2]> {
    let text = format!(
        "[bed]\nx = [0, {SIDE}]\ny = [0, {SIDE}]\n[readings]\nmethod = 'drag'\nsheet = 0\nspread = {NOISE}\npoints = []"
    );
    let blank = Card::parse_without_points(&text).expect("a card");
    let found = next(&blank, places, count, Room::default()).expect("points");
    found.points.iter().map(|p| [p.x, p.y]).collect()
}

/// One way to read, with so many readings: what the maps are off.
#[derive(Debug, Clone)]
pub struct Line {
    /// See the module.
    pub way: &'static str,
    /// How many.
    pub readings: usize,
    /// The family's number.
    pub family: usize,
    /// Root of the mean square over all beds and what matters of them, mm.
    pub rms: f64,
    /// Median of the beds' own root mean squares, mm.
    pub median: f64,
}

impl Line {
    fn of(way: &'static str, readings: usize, family: usize, squares: &[f64]) -> Line {
        let mut sorted = squares.to_vec();
        sorted.sort_by(f64::total_cmp);
        let rms = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
        Line { way, readings, family, rms, median: sorted[sorted.len() / 2].sqrt() }
    }
}

/// Grids of one family, and the same numbers at once.
#[must_use]
pub fn grids(matters: Matters, family: usize, seeds: u64) -> Vec<Line> {
    let mut lines = Vec::new();
    let turned = |seed: u64, [a, b]: [u32; 2]| if seed.is_multiple_of(2) { [a, b] } else { [b, a] };
    for sides in GRIDS {
        let readings = (sides[0] * sides[1]) as usize;
        let inner = [SIDE - 2.0 * MARGIN; 2];
        let mut way = |name: &'static str, points: &dyn Fn(&Case) -> Vec<[f64; 2]>| {
            let cases = (0..seeds).map(|seed| Case::of(matters, family, seed));
            let squares: Vec<f64> = cases
                .map(|case| {
                    let points = points(&case);
                    case.at_once(&points)
                })
                .collect();
            lines.push(Line::of(name, readings, family, &squares));
        };
        way("grid", &|case| {
            grid([MARGIN; 2], inner, turned(case.seed, sides)).iter().map(|p| p.map(f64::round)).collect()
        });
        if matters == Matters::Part {
            way("part's grid", &|case| grid(case.part[0], case.part[1], turned(case.seed, sides)));
        }
    }
    lines
}

/// So many at once.
#[must_use]
pub fn at_once(matters: Matters, seeds: u64, counts: &[usize]) -> Vec<Line> {
    let mut lines = Vec::new();
    for &count in counts {
        let bed = first(None, count);
        for family in 0..FAMILIES.len() {
            let square = |seed: u64| {
                let case = Case::of(matters, family, seed);
                let points = case.places.as_ref().map_or_else(|| bed.clone(), |places| first(Some(places), count));
                case.at_once(&points)
            };
            lines.push(Line::of("at once", count, family, &(0..seeds).map(square).collect::<Vec<f64>>()));
        }
    }
    lines
}

/// One by one up to so many.
#[must_use]
pub fn one_by_one(matters: Matters, family: usize, seeds: u64, most: usize) -> Vec<Line> {
    let mut squares = vec![Vec::new(); most + 1];
    let bed = first(None, FIRST);
    for seed in 0..seeds {
        let mut case = Case::of(matters, family, seed);
        let mut points = case.places.as_ref().map_or_else(|| bed.clone(), |places| first(Some(places), FIRST));
        let mut values: Vec<f64> = points.iter().map(|p| case.read(*p)).collect();
        loop {
            let (card, square) = case.off(&points, &values);
            squares[points.len()].push(square);
            if points.len() == most {
                break;
            }
            let found = next(&card, case.places.as_deref(), 1, Room::default()).expect("a point");
            points.extend(found.points.iter().map(|p| [p.x, p.y]));
            values.extend(found.points.iter().map(|p| case.read([p.x, p.y])));
        }
    }
    (FIRST..=most).map(|n| Line::of("one by one", n, family, &squares[n])).collect()
}

/// The number of readings at which an error comes to the goal and stays there: between two numbers of readings along a line of the logarithms,
/// from (readings, error) in rising order. The first number where its error is no more than the goal already; `None` where none is.
#[must_use]
pub fn reached(errors: &[(f64, f64)]) -> Option<f64> {
    let last_over = errors.iter().rposition(|(_, error)| *error > GOAL);
    let Some(over) = last_over else { return errors.first().map(|e| e.0) };
    let ((n0, e0), (n1, e1)) = (errors[over], *errors.get(over + 1)?);
    let share = (e0 / GOAL).ln() / (e0 / e1).ln();
    Some(n0 * (n1 / n0).powf(share))
}
