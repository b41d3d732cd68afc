//! A move's way in XY by its share t of the length, and where a place lies on it. The rewriter has one of its own: what checks does not
//! trust it.

use crate::toolpath::{Arc, Move};

/// A straight line, or an arc.
#[derive(Debug, Clone, Copy)]
pub(super) struct Way {
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
    pub(super) arc: Option<Arc>,
    /// mm.
    pub(super) length: f64,
}

impl Way {
    #[inline]
    pub(super) fn of(m: &Move) -> Way {
        let from = [m.before[0].place(), m.before[1].place()];
        let to = [m.after[0].place(), m.after[1].place()];
        let length = match m.arc {
            Some(a) => 0.5 * (a.radii[0] + a.radii[1]) * a.sweep.abs(),
            None => libm::hypot(to[0] - from[0], to[1] - from[1]),
        };
        Way { from, to, arc: m.arc, length }
    }

    /// |p'| is at most this, p the place and t from 0 to 1, mm. Of a spiral p' = r' e + r e', e the ray, |e'| the sweep.
    #[inline]
    pub(super) fn speed(&self) -> f64 {
        self.arc.map_or(self.length, |a| (a.radii[0] - a.radii[1]).abs() + a.radii[0].max(a.radii[1]) * a.sweep.abs())
    }

    /// |p''| is at most this, mm: p'' = 2 r' e' + r e'', |e''| the square of the sweep.
    #[inline]
    pub(super) fn turning(&self) -> f64 {
        self.arc.map_or(0.0, |a| {
            a.sweep.abs() * (2.0 * (a.radii[0] - a.radii[1]).abs() + a.radii[0].max(a.radii[1]) * a.sweep.abs())
        })
    }

    #[inline]
    pub(super) fn at(&self, t: f64) -> [f64; 2] {
        match &self.arc {
            Some(a) if t > 0.0 && t < 1.0 => {
                let r = a.radii[0] * (1.0 - t) + a.radii[1] * t;
                let angle = a.start + a.sweep * t;
                [a.centre[0] + r * libm::cos(angle), a.centre[1] + r * libm::sin(angle)]
            }
            None if t > 0.0 && t < 1.0 => [0, 1].map(|n| self.from[n] * (1.0 - t) + self.to[n] * t),
            _ => {
                if t < 0.5 {
                    self.from
                } else {
                    self.to
                }
            }
        }
    }

    /// The share at which a line passes a place, and the place's distance from it there.
    #[inline]
    pub(super) fn share_on_line(&self, p: [f64; 2]) -> (f64, f64) {
        let d = [self.to[0] - self.from[0], self.to[1] - self.from[1]];
        let e = [p[0] - self.from[0], p[1] - self.from[1]];
        let along = (d[0] * e[0] + d[1] * e[1]) / (self.length * self.length);
        let t = crate::number::within(along, 0.0, 1.0);
        (t, libm::hypot(e[0] - d[0] * t, e[1] - d[1] * t))
    }
}
