//! The way of one move over the bed, by its share t of the length: 0 at the start, 1 at the end.

use crate::number::within;
use crate::toolpath::{Arc, Move};
use core::f64::consts::{FRAC_PI_2, PI};

/// A straight line, or an arc or helix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Path {
    Straight { from: [f64; 2], to: [f64; 2], length: f64 },
    Arc { centre: [f64; 2], radii: [f64; 2], start: f64, sweep: f64, from: [f64; 2], to: [f64; 2], length: f64 },
}

impl Path {
    #[inline]
    pub(crate) fn of(m: &Move) -> Self {
        let from = [m.before[0].place(), m.before[1].place()];
        let to = [m.after[0].place(), m.after[1].place()];
        match &m.arc {
            None => Path::straight(from, to),
            Some(arc) => Path::arc(arc, from, to),
        }
    }

    #[inline]
    pub(crate) fn straight(from: [f64; 2], to: [f64; 2]) -> Self {
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        Path::Straight { from, to, length: (dx * dx + dy * dy).sqrt() }
    }

    #[inline]
    pub(crate) fn arc(a: &Arc, from: [f64; 2], to: [f64; 2]) -> Self {
        let length = a.sweep.abs() * (a.radii[0] + a.radii[1]) / 2.0;
        Path::Arc { centre: a.centre, radii: a.radii, start: a.start, sweep: a.sweep, from, to, length }
    }

    /// Length in XY, mm.
    #[inline]
    pub(crate) fn length(&self) -> f64 {
        match self {
            Path::Straight { length, .. } | Path::Arc { length, .. } => *length,
        }
    }

    /// How fast the place changes at the most, mm for t from 0 to 1: the length, but for a spiral.
    #[inline]
    pub(crate) fn speed(&self) -> f64 {
        match self {
            Path::Straight { length, .. } => *length,
            Path::Arc { radii, sweep, .. } => (radii[1] - radii[0]).abs() + radii[0].max(radii[1]) * sweep.abs(),
        }
    }

    /// How much the direction changes, as 1/mm of [`speed`](Path::speed): 1/radius, but for a spiral; 0 for a line.
    #[inline]
    pub(crate) fn curvature(&self) -> f64 {
        let Path::Arc { radii, sweep, .. } = self else { return 0.0 };
        // (r e)'' = (2 r' e' + r e'') for e the ray, whose first and second derivative are as long as the sweep and its square.
        let turns = sweep.abs() * (2.0 * (radii[1] - radii[0]).abs() + radii[0].max(radii[1]) * sweep.abs());
        let speed = self.speed();
        if speed > 0.0 { turns / (speed * speed) } else { 0.0 }
    }

    /// How far it turns, in half turns.
    #[inline]
    pub(crate) fn half_turns(&self) -> f64 {
        match self {
            Path::Straight { .. } => 0.0,
            Path::Arc { sweep, .. } => sweep.abs() / PI,
        }
    }

    #[inline]
    pub(crate) fn at(&self, t: f64) -> [f64; 2] {
        match self {
            Path::Straight { from, to, .. } => {
                if t >= 1.0 {
                    *to
                } else {
                    [from[0] + (to[0] - from[0]) * t, from[1] + (to[1] - from[1]) * t]
                }
            }
            Path::Arc { centre, radii, start, sweep, from, to, .. } => {
                if t >= 1.0 {
                    return *to;
                }
                if t <= 0.0 {
                    return *from;
                }
                let r = radii[0] + (radii[1] - radii[0]) * t;
                let (sin, cos) = libm::sincos(start + sweep * t);
                [centre[0] + r * cos, centre[1] + r * sin]
            }
        }
    }

    /// Adds the places (0 < t < 1) at which the path crosses the lines x = `lines[0]`, y = `lines[1]`, in no order.
    #[inline]
    pub(crate) fn crossings(&self, lines: [&[f64]; 2], into: &mut Vec<f64>) {
        for axis in 0..2 {
            match self {
                Path::Straight { from, to, .. } => {
                    let (a, b) = (from[axis], to[axis]);
                    for line in between(lines[axis], a, b) {
                        let t = (line - a) / (b - a);
                        if t > 0.0 && t < 1.0 {
                            into.push(t);
                        }
                    }
                }
                Path::Arc { .. } => self.arc_crossings(axis, lines[axis], into),
            }
        }
    }

    /// An arc goes up and down in turn: between two turns it crosses each line that lies between them once.
    fn arc_crossings(&self, axis: usize, lines: &[f64], into: &mut Vec<f64>) {
        let Path::Arc { centre, radii: [radius, end], start, sweep, from, to, .. } = self else { return };
        let most = radius.max(*end);
        if between(lines, centre[axis] - most, centre[axis] + most).is_empty() {
            return;
        }
        let growth = end - radius;
        let first = libm::floor((start.min(start + sweep) + QUARTER[axis]) / PI);
        let (mut low, mut a) = (0.0, from[axis]);
        let mut to_next = |t: f64, b: f64| {
            if t > low && t <= 1.0 {
                into.extend(between(lines, a, b).iter().map(|line| self.reaches(axis, *line, [low, t], [a, b])));
                (low, a) = (t, b);
            }
        };
        for n in 0..4 {
            // r cos(angle + quarter) has no slope at a multiple of half a turn, and a little beside it where the radius grows.
            let half_turns = first + if *sweep < 0.0 { 3.0 - f64::from(n) } else { f64::from(n) };
            let angle = half_turns * PI - QUARTER[axis] - start;
            let mut t = angle / sweep;
            let grows = |t: f64| growth / ((radius + growth * within(t, 0.0, 1.0)) * sweep);
            let mut slant = grows(t);
            if slant.abs() < 1e-4 {
                t += slant / sweep;
            } else {
                // Newton's method; the slope lies between the sweep and twice that.
                for _ in 0..20 {
                    let square = slant * slant;
                    let slope = sweep * if square.is_finite() { 1.0 + square / (1.0 + square) } else { 2.0 };
                    let step = (sweep * t - angle - libm::atan(slant)) / slope;
                    t -= step;
                    slant = grows(t);
                    if step.abs() <= 1e-12 {
                        break;
                    }
                }
            }
            if t > 0.0 && t < 1.0 {
                let reach = (radius + growth * t) / (1.0 + slant * slant).sqrt();
                let even = (half_turns / 2.0).fract() == 0.0;
                to_next(t, if even { centre[axis] + reach } else { centre[axis] - reach });
            }
        }
        to_next(1.0, to[axis]);
    }

    /// Where an arc reaches a line, between two shares of which one lies on either side of it: Newton's method, kept between them by
    /// halving.
    fn reaches(&self, axis: usize, line: f64, [mut low, mut high]: [f64; 2], [a, b]: [f64; 2]) -> f64 {
        let Path::Arc { centre, radii: [radius, end], start, sweep, .. } = self else { return low };
        let growth = end - radius;
        let mut t = low + (high - low) * (line - a) / (b - a);
        for _ in 0..60 {
            let r = radius + growth * t;
            let (sin, cos) = libm::sincos(start + sweep * t + QUARTER[axis]);
            let over = centre[axis] + r * cos - line;
            if (over < 0.0) == (a < b) {
                low = t;
            } else {
                high = t;
            }
            let mut next = t - over / (growth * cos - r * sweep * sin);
            if !(next > low && next < high) {
                next = f64::midpoint(low, high);
            }
            if (next - t).abs() <= 1e-15 {
                break;
            }
            t = next;
        }
        t
    }
}

/// What is added to an angle so that its cosine tells X, or Y.
const QUARTER: [f64; 2] = [0.0, -FRAC_PI_2];

/// Those of the lines, in order, that lie between two values.
#[inline]
fn between(lines: &[f64], a: f64, b: f64) -> &[f64] {
    let (low, high) = (a.min(b), a.max(b));
    let first = lines.partition_point(|v| *v <= low);
    let count = lines[first..].iter().take_while(|v| **v < high).count();
    &lines[first..first + count]
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::TAU;
    use proptest::prelude::*;

    proptest! {
        /// Against looking at the path at many places: a line is crossed between two where they lie on either side of it.
        #[test]
        fn every_line_is_crossed_where_it_is_found(
            radius in prop_oneof![0.0f64..0.1, 0.1f64..50.0, 50.0f64..2000.0], growth in prop_oneof![Just(0.0), -1.0f64..1.0, -0.001f64..0.001],
            start in -PI..PI, sweep in prop_oneof![1e-6f64..0.01, 0.01f64..TAU, Just(TAU)], turn in prop_oneof![Just(-1.0), Just(1.0)],
            shares in proptest::collection::vec(0.0f64..1.0, 1..6),
        ) {
            let radii = [radius, (radius + growth).max(0.0)];
            let (centre, sweep) = ([3.0, -7.0], sweep * turn);
            let place = |t: f64| {
                let r = radii[0] + (radii[1] - radii[0]) * t;
                [centre[0] + r * libm::cos(start + sweep * t), centre[1] + r * libm::sin(start + sweep * t)]
            };
            let path = Path::Arc { centre, radii, start, sweep, from: place(0.0), to: place(1.0), length: 1.0 };
            for axis in 0..2 {
                let line = shares.iter().map(|t| place(*t)[axis] / f64::from(u32::try_from(shares.len()).unwrap())).sum::<f64>();
                let mut lines = [&[][..]; 2];
                let own = [line];
                lines[axis] = &own;
                let mut found = Vec::new();
                path.crossings(lines, &mut found);
                found.sort_by(f64::total_cmp);
                for t in &found {
                    prop_assert!((place(*t)[axis] - line).abs() <= 1e-12 * (1.0 + radii[0]), "{}", place(*t)[axis] - line);
                }
                const LOOKS: u32 = 2000;
                let over = |n: u32| place(f64::from(n) / f64::from(LOOKS))[axis] > line;
                let share = |n: u32| f64::from(n) / f64::from(LOOKS);
                for n in 0..LOOKS {
                    let inside = found.iter().filter(|t| **t >= share(n) && **t <= share(n + 1)).count();
                    if over(n) != over(n + 1) && (place(share(n))[axis] - line).abs() > 1e-9 && (place(share(n + 1))[axis] - line).abs() > 1e-9 {
                        prop_assert_eq!(inside % 2, 1, "between {} and {}", share(n), share(n + 1));
                    }
                }
                // A way goes up and down no more than three times in a turn.
                prop_assert!(found.len() <= 3);
            }
        }

        /// The two bounds, against differences.
        #[test]
        fn a_spiral_is_no_quicker_and_no_more_bent_than_is_told(
            radius in 0.0f64..100.0, growth in -1.0f64..1.0, start in -PI..PI, sweep in -TAU..TAU, t in 0.01f64..0.99,
        ) {
            let radii = [radius, (radius + growth).max(0.0)];
            let path = Path::Arc { centre: [0.0; 2], radii, start, sweep, from: [0.0; 2], to: [0.0; 2], length: 1.0 };
            let d = 1e-4;
            let [p, q, r] = [t - d, t, t + d].map(|t| path.at(t));
            let speed = libm::hypot(r[0] - p[0], r[1] - p[1]) / (2.0 * d);
            prop_assert!(speed <= path.speed() * (1.0 + 1e-9) + 1e-9);
            let bent = libm::hypot(p[0] - 2.0 * q[0] + r[0], p[1] - 2.0 * q[1] + r[1]) / (d * d);
            prop_assert!(bent <= path.curvature() * path.speed() * path.speed() * (1.0 + 1e-6) + 1e-5);
        }
    }
}
