//! The way of one move over the bed, by its share t of the length: 0 at the start, 1 at the end.

use crate::toolpath::Move;

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
        match m.arc {
            None => {
                let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
                Path::Straight { from, to, length: (dx * dx + dy * dy).sqrt() }
            }
            Some(a) => {
                let length = a.sweep.abs() * (a.radii[0] + a.radii[1]) / 2.0;
                Path::Arc { centre: a.centre, radii: a.radii, start: a.start, sweep: a.sweep, from, to, length }
            }
        }
    }

    /// Length in XY, mm.
    #[inline]
    pub(crate) fn length(&self) -> f64 {
        match self {
            Path::Straight { length, .. } | Path::Arc { length, .. } => *length,
        }
    }

    /// 1/radius, 1/mm; 0 for a line.
    #[inline]
    pub(crate) fn curvature(&self) -> f64 {
        match self {
            Path::Straight { .. } => 0.0,
            Path::Arc { radii, .. } => {
                let r = radii[0].min(radii[1]);
                if r > 0.0 { 1.0 / r } else { 0.0 }
            }
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

    /// The box that holds the path: low and high corner.
    #[inline]
    fn bounds(&self) -> [[f64; 2]; 2] {
        match self {
            Path::Straight { from, to, .. } => {
                [[from[0].min(to[0]), from[1].min(to[1])], [from[0].max(to[0]), from[1].max(to[1])]]
            }
            Path::Arc { centre, radii, .. } => {
                let r = radii[0].max(radii[1]);
                [[centre[0] - r, centre[1] - r], [centre[0] + r, centre[1] + r]]
            }
        }
    }

    /// Adds the places (0 < t < 1) at which the path crosses the lines x = `lines[0]`, y = `lines[1]`, in no order.
    #[inline]
    pub(crate) fn crossings(&self, lines: [&[f64]; 2], into: &mut Vec<f64>) {
        let [low, high] = self.bounds();
        for axis in 0..2 {
            let all = lines[axis];
            let first = all.partition_point(|v| *v <= low[axis]);
            for line in &all[first..] {
                if *line >= high[axis] {
                    break;
                }
                self.crossing(axis, *line, into);
            }
        }
    }

    #[inline]
    fn crossing(&self, axis: usize, line: f64, into: &mut Vec<f64>) {
        let mut push = |t: f64| {
            if t > 0.0 && t < 1.0 {
                into.push(t);
            }
        };
        match self {
            Path::Straight { from, to, .. } => push((line - from[axis]) / (to[axis] - from[axis])),
            Path::Arc { centre, radii, start, sweep, .. } => {
                let c = (line - centre[axis]) / ((radii[0] + radii[1]) / 2.0);
                if c.abs() >= 1.0 || *sweep == 0.0 {
                    return;
                }
                let off = libm::acos(c);
                let middle = if axis == 0 { 0.0 } else { core::f64::consts::FRAC_PI_2 };
                for angle in [middle + off, middle - off] {
                    let turn = core::f64::consts::TAU;
                    // The share of the sweep after which the ray first has this angle.
                    let ahead = (angle - start) * sweep.signum();
                    let ahead = ahead - (ahead / turn).floor() * turn;
                    push(ahead / sweep.abs());
                }
            }
        }
    }
}
