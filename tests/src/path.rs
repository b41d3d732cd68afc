//! Where a move goes in the plane: a straight line or an arc, seen as a path with a fraction from 0 to 1.

use std::f64::consts::TAU;

/// An arc in the XY plane. Where the end's radius differs from the start's (digits were rounded), the radius
/// goes from one to the other evenly with the angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arc {
    /// Centre, mm.
    pub centre: [f64; 2],
    /// Seen from above.
    pub clockwise: bool,
    /// Start to centre, mm.
    pub start_radius: f64,
    /// End to centre, mm.
    pub end_radius: f64,
    /// The start's direction from the centre, radians.
    pub start_angle: f64,
    /// How far it turns, radians, above 0 and at most 2 pi.
    pub sweep: f64,
    /// The end is the start: a whole turn.
    pub full: bool,
}

/// Why an arc cannot be placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoArc {
    /// The centre is the start or the end.
    NoRadius,
    /// With R: start and end are one place, so that the centre could be anywhere.
    NoChord,
    /// With R: the ends lie further apart than twice the radius.
    TooFar,
}

impl Arc {
    /// From start to end about the centre at start + (i, j). `full` when end is start to the digit.
    ///
    /// # Errors
    /// [`NoArc::NoRadius`] where the centre lies on an end.
    pub fn about(start: [f64; 2], end: [f64; 2], full: bool, ij: [f64; 2], clockwise: bool) -> Result<Arc, NoArc> {
        let centre = [start[0] + ij[0], start[1] + ij[1]];
        let start_radius = ij[0].hypot(ij[1]);
        let end_radius = (end[0] - centre[0]).hypot(end[1] - centre[1]);
        if start_radius < 1e-9 || end_radius < 1e-9 {
            return Err(NoArc::NoRadius);
        }
        let start_angle = (-ij[1]).atan2(-ij[0]);
        let end_angle = (end[1] - centre[1]).atan2(end[0] - centre[0]);
        let mut sweep = if clockwise { start_angle - end_angle } else { end_angle - start_angle };
        sweep = sweep.rem_euclid(TAU);
        if full || sweep == 0.0 {
            sweep = TAU;
        }
        Ok(Arc { centre, clockwise, start_radius, end_radius, start_angle, sweep, full })
    }

    /// From start to end with radius |r|: the short way round where r is above 0, the long way where it is below
    /// (RS-274, NISTIR 6556 section 3.5.3.1).
    ///
    /// # Errors
    /// [`NoArc`] as its variants say. Ends that are too far apart by no more than 0.002 mm are a half circle.
    pub fn with_radius(start: [f64; 2], end: [f64; 2], r: f64, clockwise: bool) -> Result<Arc, NoArc> {
        let (dx, dy) = (end[0] - start[0], end[1] - start[1]);
        let chord = dx.hypot(dy);
        if r.abs() < 1e-9 {
            return Err(NoArc::NoRadius);
        }
        if chord < 1e-9 {
            return Err(NoArc::NoChord);
        }
        let left = r * r - chord * chord / 4.0;
        if left < 0.0 && chord / 2.0 - r.abs() > 0.002 {
            return Err(NoArc::TooFar);
        }
        // The centre stands on the chord's middle normal. Anticlockwise the short way, it is on the left.
        let away = left.max(0.0).sqrt();
        let side = if clockwise == (r > 0.0) { -1.0 } else { 1.0 };
        let ij = [dx / 2.0 - side * away * dy / chord, dy / 2.0 + side * away * dx / chord];
        Arc::about(start, end, false, ij, clockwise)
    }
}

/// A move's path in the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Path {
    /// A straight line.
    Straight {
        /// Where it begins, mm.
        start: [f64; 2],
        /// Where it ends, mm.
        end: [f64; 2],
    },
    /// An arc.
    Arc(Arc),
}

impl Path {
    /// mm along the path.
    #[must_use]
    pub fn length(&self) -> f64 {
        match self {
            Path::Straight { start, end } => (end[0] - start[0]).hypot(end[1] - start[1]),
            Path::Arc(arc) => arc.sweep * (arc.start_radius + arc.end_radius) / 2.0,
        }
    }

    /// The place at a fraction of the way, mm.
    #[must_use]
    pub fn at(&self, fraction: f64) -> [f64; 2] {
        match self {
            Path::Straight { start, end } => {
                [start[0] + fraction * (end[0] - start[0]), start[1] + fraction * (end[1] - start[1])]
            }
            Path::Arc(arc) => {
                let turn = if arc.clockwise { -1.0 } else { 1.0 };
                let angle = arc.start_angle + turn * fraction * arc.sweep;
                let radius = arc.start_radius + fraction * (arc.end_radius - arc.start_radius);
                [arc.centre[0] + radius * angle.cos(), arc.centre[1] + radius * angle.sin()]
            }
        }
    }

    /// The fraction of the place on the path nearest to `point`, as seen from `near`, a fraction close by (a full
    /// circle passes every place once, but its start is also its end). Not kept between 0 and 1.
    #[must_use]
    pub fn fraction(&self, point: [f64; 2], near: f64) -> f64 {
        match self {
            Path::Straight { start, end } => {
                let d = [end[0] - start[0], end[1] - start[1]];
                let l2 = d[0] * d[0] + d[1] * d[1];
                if l2 == 0.0 {
                    return 0.0;
                }
                ((point[0] - start[0]) * d[0] + (point[1] - start[1]) * d[1]) / l2
            }
            Path::Arc(arc) => {
                let angle = (point[1] - arc.centre[1]).atan2(point[0] - arc.centre[0]);
                let turn = if arc.clockwise { -1.0 } else { 1.0 };
                let turned = turn * (angle - arc.start_angle);
                let whole = ((near * arc.sweep - turned) / TAU).round();
                (turned + whole * TAU) / arc.sweep
            }
        }
    }

    /// How far `point` is from the place at `fraction`, mm.
    #[must_use]
    pub fn distance(&self, point: [f64; 2], fraction: f64) -> f64 {
        let on = self.at(fraction);
        (point[0] - on[0]).hypot(point[1] - on[1])
    }

    /// By how much the arc's radius changes from start to end, mm; 0 for a straight line.
    #[must_use]
    pub fn mismatch(&self) -> f64 {
        match self {
            Path::Straight { .. } => 0.0,
            Path::Arc(arc) => (arc.end_radius - arc.start_radius).abs(),
        }
    }
}
