//! Which points to read: a grid, or places that someone chose, as far as nozzle and plunger can go there.

use crate::card::{Bed, MAX_POINTS, Outline};
use crate::number::Shown;
use crate::{Error, ErrorKind};

/// Usual distance of the outermost points from the bed's edge, mm. Common practice, no source: the plate's rim is often rounded.
pub const USUAL_MARGIN: f64 = 10.0;
/// Usual distance from keep-out areas, mm. Common practice, no source: a nozzle's heating block is wider than its tip.
pub const USUAL_CLEARANCE: f64 = 5.0;
/// Most points along one side of a grid.
pub const MAX_SIDE: usize = 200;

/// How far points keep away from things, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Room {
    /// From the bed's edge: of the place that is read, under the nozzle or under the plunger.
    pub margin: f64,
    /// From keep-out areas: of the nozzle, and of the plunger where there is one.
    pub clearance: f64,
}

impl Default for Room {
    /// 10 mm from the edge, 5 mm from clips.
    fn default() -> Self {
        Room { margin: USUAL_MARGIN, clearance: USUAL_CLEARANCE }
    }
}

/// Why a point was left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Why {
    /// The nozzle does not reach it, or not with the margin.
    Reach,
    /// The nozzle would come too near a keep-out area.
    KeepOut,
    /// The plunger would stand beyond the bed's edge, or within the margin.
    PlungerReach,
    /// The plunger would come too near a keep-out area.
    PlungerKeepOut,
}

impl Why {
    /// In words, after "left out: ".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Why::Reach => "out of the nozzle's reach or too near the edge",
            Why::KeepOut => "in a keep-out area or too near it",
            Why::PlungerReach => "the plunger would be off the bed or too near its edge",
            Why::PlungerKeepOut => "the plunger would be in a keep-out area or too near it",
        }
    }
}

/// A point that was left out: the nozzle's place, mm.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct LeftOut {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// The reason.
    pub why: Why,
}

/// Points to read, and those that cannot be.
#[derive(Debug, Clone, PartialEq, Default)]
#[non_exhaustive]
pub struct Choice {
    /// The nozzle's places, mm; a grid's from the front left, row by row.
    pub points: Vec<[f64; 2]>,
    /// What was left out, in the same order.
    pub left_out: Vec<LeftOut>,
}

/// A grid of `columns` by `rows` points inside what can be read, as the nozzle's places.
///
/// With `offset` (the plunger's place from the nozzle, mm, for `dial`) the grid spans what the plunger can read while the nozzle
/// stays within its reach: the margin is then the plunger's. Coordinates are whole millimetres where points lie 10 mm apart or
/// more (they are easier to dial in by hand), and tenths where they do not. Rows and columns stay straight. Of a round bed the
/// grid's corners are left out.
///
/// # Errors
///
/// [`ErrorKind::Options`]: fewer than 2 or more than [`MAX_SIDE`] a side, more than [`MAX_POINTS`] in all, a margin or clearance that is negative
/// or not finite, a margin or an offset that leaves no room; fewer than three points left.
/// [`ErrorKind::Card`]: a bed that is none (in a card built by code).
pub fn grid(bed: &Bed, offset: Option<[f64; 2]>, columns: usize, rows: usize, room: Room) -> Result<Choice, Error> {
    let options = |message: String| Error::new(ErrorKind::Options, message);
    if !(2..=MAX_SIDE).contains(&columns) || !(2..=MAX_SIDE).contains(&rows) || columns * rows > MAX_POINTS {
        return Err(options(format!(
            "a grid of {columns} x {rows} points: from 2 to {MAX_SIDE} a side can be planned"
        )));
    }
    bed.check()?;
    check(room)?;
    let xs = stations(bed.x, offset.map(|o| o[0]), columns, room.margin);
    let ys = stations(bed.y, offset.map(|o| o[1]), rows, room.margin);
    let (Some(xs), Some(ys)) = (xs, ys) else {
        let plunger =
            offset.map_or(String::new(), |[x, y]| format!(" and an offset of [{}, {}] mm", Shown(x), Shown(y)));
        return Err(options(format!(
            "a margin of {} mm{plunger} leaves no room for {columns} x {rows} points on this bed",
            Shown(room.margin)
        ))
        .with_help("take a smaller margin or fewer points"));
    };
    let all: Vec<[f64; 2]> = ys.iter().flat_map(|&y| xs.iter().map(move |&x| [x, y])).collect();
    enough(sorted_out(bed, offset, &all, room))
}

/// The points of a list that can be read.
///
/// # Errors
///
/// [`ErrorKind::Options`]: a margin or clearance that is negative or not finite, more than [`MAX_POINTS`], fewer than three points left.
/// [`ErrorKind::Card`]: a bed that is none (in a card built by code).
pub fn given(bed: &Bed, offset: Option<[f64; 2]>, points: &[[f64; 2]], room: Room) -> Result<Choice, Error> {
    bed.check()?;
    check(room)?;
    if points.len() > MAX_POINTS {
        let message = format!("{} points are given; at most {MAX_POINTS} can be planned", points.len());
        return Err(Error::new(ErrorKind::Options, message));
    }
    enough(sorted_out(bed, offset, points, room))
}

fn check(room: Room) -> Result<(), Error> {
    for (what, value) in [("margin", room.margin), ("clearance", room.clearance)] {
        if !(value.is_finite() && value >= 0.0) {
            return Err(Error::new(
                ErrorKind::Options,
                format!("a {what} of {} mm: it must be 0 or more", Shown(value)),
            ));
        }
    }
    Ok(())
}

fn enough(choice: Choice) -> Result<Choice, Error> {
    if choice.points.len() >= 3 {
        return Ok(choice);
    }
    let (left, out) = (choice.points.len(), choice.left_out.len());
    let why = choice.left_out.first().map_or("none were given", |l| l.why.words());
    Err(Error::new(
        ErrorKind::Options,
        format!("{left} points can be read and {out} cannot ({why}); a map needs three"),
    )
    .with_help("take more points, a smaller margin or a smaller clearance"))
}

/// Evenly spaced coordinates along one side.
fn stations(reach: [f64; 2], offset: Option<f64>, count: usize, margin: f64) -> Option<Vec<f64>> {
    let (low, high) = match offset {
        None => (reach[0] + margin, reach[1] - margin),
        Some(o) => ((reach[0] + margin - o).max(reach[0]), (reach[1] - margin - o).min(reach[1])),
    };
    let last = crate::surface::places::count(count - 1);
    let step = (high - low) / last;
    if !(step > 0.0 && step.is_finite()) {
        return None;
    }
    let per_mm = if step >= 10.0 { 1.0 } else { 10.0 };
    let mut out = Vec::with_capacity(count);
    for k in 0..count {
        let exact = low + step * crate::surface::places::count(k);
        // The outermost ones must not be rounded outwards. What differs from a whole number by rounding is that number.
        let snapped = match k {
            0 => libm::ceil(exact * per_mm - 1e-6),
            k if k + 1 == count => libm::floor(exact * per_mm + 1e-6),
            _ => libm::round(exact * per_mm),
        } / per_mm;
        out.push(if step < 0.5 { exact } else { snapped + 0.0 });
    }
    out.windows(2).all(|pair| pair[0] < pair[1]).then_some(out)
}

fn sorted_out(bed: &Bed, offset: Option<[f64; 2]>, points: &[[f64; 2]], room: Room) -> Choice {
    let mut choice = Choice::default();
    for &[x, y] in points {
        match left_out(bed, offset, [x, y], room) {
            None => choice.points.push([x, y]),
            Some(why) => choice.left_out.push(LeftOut { x, y, why }),
        }
    }
    choice
}

/// Why the nozzle should not stop at a point, if it should not.
#[must_use]
pub fn left_out(bed: &Bed, offset: Option<[f64; 2]>, [x, y]: [f64; 2], room: Room) -> Option<Why> {
    // With a plunger the nozzle may go right to the edge: nothing is read there.
    let nozzle_margin = if offset.is_some() { 0.0 } else { room.margin };
    if !reaches(bed, [x, y], nozzle_margin) {
        return Some(Why::Reach);
    }
    if near_keep_out(bed, [x, y], room.clearance) {
        return Some(Why::KeepOut);
    }
    let [dx, dy] = offset?;
    let plunger = [x + dx, y + dy];
    if !reaches(bed, plunger, room.margin) {
        return Some(Why::PlungerReach);
    }
    near_keep_out(bed, plunger, room.clearance).then_some(Why::PlungerKeepOut)
}

/// Whether a place lies on the bed drawn in by a margin. A millionth of a millimetre beyond is forgiven.
fn reaches(bed: &Bed, [x, y]: [f64; 2], margin: f64) -> bool {
    let inner = Bed {
        x: [bed.x[0] + margin, bed.x[1] - margin],
        y: [bed.y[0] + margin, bed.y[1] - margin],
        outline: bed.outline,
        keep_out: Vec::new(),
    };
    let wide = inner.x[0] <= inner.x[1] && inner.y[0] <= inner.y[1];
    // A circle drawn in keeps the margin all round; an ellipse keeps it at its four tips and a little less between them.
    wide && (bed.outline == Outline::Rectangle || (inner.x[0] < inner.x[1] && inner.y[0] < inner.y[1]))
        && inner.reaches(x, y)
}

/// Whether a place is inside a keep-out area, or nearer than `clearance` to one. With no clearance its edge is free.
fn near_keep_out(bed: &Bed, [x, y]: [f64; 2], clearance: f64) -> bool {
    bed.keep_out.iter().any(|k| {
        let beyond = |v: f64, low: f64, high: f64| (low - v).max(v - high);
        let (dx, dy) = (beyond(x, k[0], k[2]), beyond(y, k[1], k[3]));
        let distance = if dx > 0.0 && dy > 0.0 { libm::hypot(dx, dy) } else { dx.max(dy) };
        distance < clearance - 1e-9 || (distance < 0.0)
    })
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "planned coordinates are whole millimetres or tenths, written the same way")]
mod tests {
    use super::*;

    fn bed() -> Bed {
        Bed { x: [0.0, 235.0], y: [0.0, 235.0], outline: Outline::Rectangle, keep_out: vec![] }
    }

    #[test]
    fn a_grid_fills_the_bed_but_for_its_margin() {
        let choice = grid(&bed(), None, 5, 4, Room::default()).unwrap();
        assert_eq!((choice.points.len(), choice.left_out.len()), (20, 0));
        let xs: Vec<f64> = choice.points[..5].iter().map(|p| p[0]).collect();
        assert_eq!(xs, [10.0, 64.0, 118.0, 171.0, 225.0]);
        assert_eq!(choice.points[0], [10.0, 10.0]);
        assert_eq!(choice.points[19], [225.0, 225.0]);
    }

    #[test]
    fn outermost_points_are_never_rounded_outwards() {
        let odd = Bed { x: [-117.3, 117.4], y: [0.7, 60.2], ..bed() };
        let choice = grid(&odd, None, 3, 8, Room { margin: 2.0, clearance: 0.0 }).unwrap();
        for p in &choice.points {
            assert!(p[0] >= -115.3 && p[0] <= 115.4 && p[1] >= 2.7 && p[1] <= 58.2, "{p:?}");
        }
        assert_eq!(choice.points[0], [-115.0, 2.7]);
    }

    #[test]
    fn clips_keep_their_distance_and_are_counted() {
        let clipped = Bed { keep_out: vec![[0.0, 100.0, 12.0, 130.0]], ..bed() };
        let choice = grid(&clipped, None, 5, 5, Room::default()).unwrap();
        assert_eq!(choice.points.len(), 24);
        assert_eq!(choice.left_out, [LeftOut { x: 10.0, y: 118.0, why: Why::KeepOut }]);
        // Round its corner, by the distance and not by a larger box.
        let room = Room { margin: 0.0, clearance: 5.0 };
        assert_eq!(left_out(&clipped, None, [16.0, 134.0], room), None);
        assert_eq!(left_out(&clipped, None, [15.5, 133.0], room), Some(Why::KeepOut));
        assert_eq!(left_out(&clipped, None, [12.0, 110.0], Room { margin: 0.0, clearance: 0.0 }), None);
        assert_eq!(left_out(&clipped, None, [11.9, 110.0], Room { margin: 0.0, clearance: 0.0 }), Some(Why::KeepOut));
    }

    #[test]
    fn a_round_bed_has_no_corners() {
        let round = Bed { x: [-100.0, 100.0], y: [-100.0, 100.0], outline: Outline::Round, keep_out: vec![] };
        let choice = grid(&round, None, 5, 5, Room::default()).unwrap();
        assert_eq!((choice.points.len(), choice.left_out.len()), (13, 12));
        for [x, y] in &choice.points {
            assert!(libm::hypot(*x, *y) <= 90.0 + 1e-6);
        }
        assert!(choice.left_out.iter().all(|l| l.why == Why::Reach));
    }

    #[test]
    fn nozzle_and_plunger_both_stay_on_the_bed() {
        let clipped = Bed { keep_out: vec![[100.0, 225.0, 130.0, 235.0]], ..bed() };
        let offset = [-35.0, 22.0];
        let choice = grid(&clipped, Some(offset), 5, 5, Room::default()).unwrap();
        assert!(!choice.points.is_empty());
        for &[x, y] in &choice.points {
            assert!(clipped.reaches(x, y));
            let plunger = [x + offset[0], y + offset[1]];
            assert!(plunger.iter().all(|v| *v >= 10.0 && *v <= 225.0), "{plunger:?}");
        }
        // The plunger's span: X 10 to 200 (the nozzle's reach ends), Y 22 to 225.
        assert_eq!(choice.points[0], [45.0, 0.0]);
        assert_eq!(choice.points.iter().map(|p| p[0]).fold(0.0, f64::max), 235.0);
        assert!(choice.left_out.iter().all(|l| l.why == Why::PlungerKeepOut) && !choice.left_out.is_empty());
        let no_room = Room { margin: 0.0, clearance: 0.0 };
        assert_eq!(left_out(&clipped, Some(offset), [20.0, 100.0], no_room), Some(Why::PlungerReach));
        assert_eq!(left_out(&clipped, Some(offset), [240.0, 100.0], no_room), Some(Why::Reach));
    }

    #[test]
    fn what_cannot_be_planned_is_refused() {
        let wrong = |columns, rows, margin, clearance| grid(&bed(), None, columns, rows, Room { margin, clearance });
        for result in [
            wrong(1, 5, 10.0, 5.0),
            wrong(5, 201, 10.0, 5.0),
            wrong(5, 5, 118.0, 5.0),
            wrong(5, 5, -1.0, 5.0),
            wrong(5, 5, f64::NAN, 5.0),
            grid(
                &Bed { keep_out: vec![[0.0, 0.0, 9.0, 9.0]], ..bed() },
                None,
                5,
                5,
                Room { margin: 1.0, clearance: 500.0 },
            ),
            grid(&bed(), Some([300.0, 0.0]), 5, 5, Room::default()),
            given(&bed(), None, &[[10.0, 10.0], [500.0, 0.0], [20.0, 20.0]], Room::default()),
        ] {
            assert_eq!(result.unwrap_err().kind(), ErrorKind::Options);
        }
    }

    #[test]
    fn given_points_are_kept_as_they_are() {
        let list = [[10.25, 11.0], [200.0, 20.0], [100.0, 200.0], [100.0, 200.0], [1.0, 1.0]];
        let choice = given(&bed(), None, &list, Room { margin: 5.0, clearance: 0.0 }).unwrap();
        assert_eq!(choice.points, list[..4]);
        assert_eq!(choice.left_out.len(), 1);
    }
}
