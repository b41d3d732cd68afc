//! How the plate follows its screws.
//!
//! | screws | the plate moves as | terms |
//! | --- | --- | --- |
//! | two, or more on one line | a ramp along that line, the same across it | 1, u |
//! | three or more | a plane | 1, u, v |
//! | four that stand round the plate, when asked | a plane and a twist | 1, u, v, u v |
//!
//! u and v are places on the plate without unit: for a plane, from the screws' middle, in halves of their extent; for a
//! ramp, along the screws' line. For the twist they run along the two lines that join the middles of opposite sides of
//! the screws' quadrilateral (its bimedians), and are 1 at those middles. Four screws at the corners of a rectangle or
//! any parallelogram stand at u, v = -1 or 1, and the four terms are then the bilinear surface through the four screws'
//! heights: straight along the sides. That a plate bends so when one corner is pushed is the usual model of a plate
//! without stiffness against twist (common practice, no source). Where the screws' quadrilateral is no parallelogram,
//! the same four terms still pass through any four heights, and have no fold or root outside the screws.

use crate::card::Screw;
use crate::surface::places::Places;

/// Screws whose scatter is narrower than this part of its length stand on one line: turned against each other across it,
/// they would have to move fifty times as far as what they mend.
const IN_LINE: f64 = 0.02;

/// See the module.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plate {
    origin: [f64; 2],
    /// u = axes\[0\] . (p - origin), v = axes\[1\] . (p - origin).
    axes: [[f64; 2]; 2],
    pub(super) follows: Follows,
}

/// How the plate follows its screws.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Follows {
    /// All screws stand on one line: the plate tilts along it, and comes up or down.
    Ramp,
    /// A rigid plate: it tilts both ways, and comes up or down.
    Plane,
    /// A plate that bends: also twists between four screws.
    Twist,
}

impl Plate {
    /// The rigid plate on these screws: a ramp where they stand on one line.
    pub(super) fn rigid(screws: &[Screw]) -> Plate {
        let at: Vec<[f64; 2]> = screws.iter().map(|s| [s.x, s.y]).collect();
        let places = Places::pool(&at, &vec![0.0; at.len()], None);
        let [x0, y0, x1, y1] = places.bounds;
        let origin = [0.5 * (x0 + x1), 0.5 * (y0 + y1)];
        if at.len() > 2 && places.breadth() >= IN_LINE {
            let axes = [[2.0 / (x1 - x0), 0.0], [0.0, 2.0 / (y1 - y0)]];
            return Plate { origin, axes, follows: Follows::Plane };
        }
        // From the screw that is furthest from the first to the one furthest from that: the line's two ends.
        let furthest = |from: [f64; 2]| {
            let way = |p: &[f64; 2]| libm::hypot(p[0] - from[0], p[1] - from[1]);
            at.iter().copied().fold(from, |best, p| if way(&p) > way(&best) { p } else { best })
        };
        let a = furthest(at.first().copied().unwrap_or([0.0, 0.0]));
        let b = furthest(a);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let square = (dx * dx + dy * dy).max(f64::MIN_POSITIVE);
        Plate {
            origin: [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])],
            axes: [[2.0 * dx / square, 2.0 * dy / square], [0.0, 0.0]],
            follows: Follows::Ramp,
        }
    }

    /// The plate that twists on four screws, and the four in order round the plate; `None` where they do not stand as a
    /// convex quadrilateral.
    pub(super) fn twisting(screws: &[Screw]) -> Option<(Plate, [usize; 4])> {
        if screws.len() != 4 {
            return None;
        }
        let origin = [0, 1].map(|k| 0.25 * screws.iter().map(|s| if k == 0 { s.x } else { s.y }).sum::<f64>());
        let mut round = [0, 1, 2, 3];
        let angle = |i: &usize| libm::atan2(screws[*i].y - origin[1], screws[*i].x - origin[0]);
        crate::order::sort_by(&mut round, |a, b| angle(a).total_cmp(&angle(b)));
        let p = round.map(|i| [screws[i].x, screws[i].y]);
        // Every corner turns the same way, and none is nearly straight or folded: measured against the quadrilateral's size.
        let cross =
            |a: [f64; 2], b: [f64; 2], c: [f64; 2]| (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]);
        let size = (0..4).map(|i| libm::hypot(p[i][0] - origin[0], p[i][1] - origin[1])).fold(0.0, f64::max);
        if !(0..4).all(|i| cross(p[i], p[(i + 1) % 4], p[(i + 2) % 4]) > 0.1 * size * size) {
            return None;
        }
        let half =
            |a: usize, b: usize, c: usize, d: usize| [0, 1].map(|k| 0.25 * (p[a][k] + p[b][k] - p[c][k] - p[d][k]));
        let (e, f) = (half(1, 2, 0, 3), half(2, 3, 0, 1));
        let determinant = e[0] * f[1] - e[1] * f[0];
        let axes = [[f[1] / determinant, -f[0] / determinant], [-e[1] / determinant, e[0] / determinant]];
        Some((Plate { origin, axes, follows: Follows::Twist }, round))
    }

    /// u and v of a place, mm.
    pub(super) fn place(&self, x: f64, y: f64) -> [f64; 2] {
        self.axes.map(|a| a[0] * (x - self.origin[0]) + a[1] * (y - self.origin[1]))
    }

    /// The terms' values at a place, mm.
    pub(super) fn terms(&self, x: f64, y: f64) -> Vec<f64> {
        let [u, v] = self.place(x, y);
        match self.follows {
            Follows::Ramp => vec![1.0, u],
            Follows::Plane => vec![1.0, u, v],
            Follows::Twist => vec![1.0, u, v, u * v],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn screws(at: &[[f64; 2]]) -> Vec<Screw> {
        at.iter().map(|[x, y]| Screw { name: String::new(), x: *x, y: *y, travel: None }).collect()
    }

    #[test]
    fn screws_on_one_line_make_a_ramp() {
        let plate = Plate::rigid(&screws(&[[10.0, 20.0], [210.0, 20.0]]));
        assert_eq!(plate.follows, Follows::Ramp);
        let [a, b] = [10.0, 210.0].map(|x| plate.terms(x, 99.0)[1]);
        assert!((a * b + 1.0).abs() < 1e-12 && (a.abs() - 1.0).abs() < 1e-12, "{a} {b}");
        assert_eq!(Plate::rigid(&screws(&[[0.0, 0.0], [100.0, 100.0], [50.0, 50.5]])).follows, Follows::Ramp);
        assert_eq!(Plate::rigid(&screws(&[[0.0, 0.0], [100.0, 0.0], [50.0, 80.0]])).follows, Follows::Plane);
    }

    #[test]
    fn a_rectangle_and_a_diamond_stand_at_one_and_minus_one() {
        for at in [
            [[30.0, 30.0], [205.0, 205.0], [30.0, 205.0], [205.0, 30.0]],
            [[100.0, 10.0], [190.0, 100.0], [100.0, 190.0], [10.0, 100.0]],
        ] {
            let (plate, round) = Plate::twisting(&screws(&at)).unwrap();
            let signs: Vec<f64> = round.iter().map(|&i| plate.terms(at[i][0], at[i][1])[3]).collect();
            for (k, sign) in signs.iter().enumerate() {
                let want = if (k % 2 == 0) == (signs[0] > 0.0) { 1.0 } else { -1.0 };
                assert!((sign - want).abs() < 1e-12, "{signs:?}");
            }
        }
    }

    #[test]
    fn a_triangle_with_a_screw_inside_cannot_twist() {
        assert!(Plate::twisting(&screws(&[[0.0, 0.0], [100.0, 0.0], [50.0, 100.0], [50.0, 30.0]])).is_none());
        assert!(Plate::twisting(&screws(&[[0.0, 0.0], [100.0, 0.0], [50.0, 0.0], [50.0, 100.0]])).is_none());
        assert!(Plate::twisting(&screws(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])).is_none());
    }
}
