//! The bed's edge, and straight pieces cut at it.

use crate::card::{Bed, Outline};

/// A convex outline in mm: a rectangle, or the ellipse inscribed in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub(super) x: [f64; 2],
    pub(super) y: [f64; 2],
    pub(super) round: bool,
}

impl Edge {
    pub(super) fn of(bed: &Bed) -> Edge {
        Edge { x: bed.x, y: bed.y, round: bed.outline == Outline::Round }
    }

    /// The rectangle `[x0, y0, x1, y1]`.
    pub(super) fn rectangle([x0, y0, x1, y1]: [f64; 4]) -> Edge {
        Edge { x: [x0, x1], y: [y0, y1], round: false }
    }

    pub(super) fn width(&self) -> f64 {
        self.x[1] - self.x[0]
    }

    pub(super) fn depth(&self) -> f64 {
        self.y[1] - self.y[0]
    }

    pub(super) fn centre(&self) -> [f64; 2] {
        [0.5 * (self.x[0] + self.x[1]), 0.5 * (self.y[0] + self.y[1])]
    }

    /// Whether the point lies on the bed, its edge included.
    pub(super) fn holds(&self, [x, y]: [f64; 2]) -> bool {
        if self.round {
            let [cx, cy] = self.centre();
            let (u, v) = (2.0 * (x - cx) / self.width(), 2.0 * (y - cy) / self.depth());
            u * u + v * v <= 1.0
        } else {
            x >= self.x[0] && x <= self.x[1] && y >= self.y[0] && y <= self.y[1]
        }
    }

    /// The share of the piece from `p` to `q` that lies inside: its two ends as parameters from 0 to 1.
    pub(super) fn inside(&self, p: [f64; 2], q: [f64; 2]) -> Option<[f64; 2]> {
        let d = [q[0] - p[0], q[1] - p[1]];
        let span = if self.round { self.inside_ellipse(p, d) } else { self.inside_rectangle(p, d) }?;
        let span = [span[0].max(0.0), span[1].min(1.0)];
        (span[0] < span[1]).then_some(span)
    }

    /// Liang and Barsky 1984, "A new concept and method for line clipping".
    fn inside_rectangle(&self, p: [f64; 2], d: [f64; 2]) -> Option<[f64; 2]> {
        let mut span = [0.0_f64, 1.0_f64];
        for (k, [low, high]) in [self.x, self.y].into_iter().enumerate() {
            for (step, room) in [(-d[k], p[k] - low), (d[k], high - p[k])] {
                if step > 0.0 {
                    span[1] = span[1].min(room / step);
                } else if step < 0.0 {
                    span[0] = span[0].max(room / step);
                } else if room < 0.0 {
                    return None;
                }
            }
        }
        Some(span)
    }

    /// Roots of |p + t d|^2 = 1 where the ellipse is stretched to the unit circle.
    fn inside_ellipse(&self, p: [f64; 2], d: [f64; 2]) -> Option<[f64; 2]> {
        let [cx, cy] = self.centre();
        let (rx, ry) = (0.5 * self.width(), 0.5 * self.depth());
        let (px, py, dx, dy) = ((p[0] - cx) / rx, (p[1] - cy) / ry, d[0] / rx, d[1] / ry);
        let (a, b, c) = (dx * dx + dy * dy, px * dx + py * dy, px * px + py * py - 1.0);
        let under = b * b - a * c;
        if a <= 0.0 || under <= 0.0 {
            return None;
        }
        let root = under.sqrt();
        Some([(-b - root) / a, (-b + root) / a])
    }

    /// Cuts a line at the edge: the runs that lie inside, each with at least two points.
    pub(super) fn clip(&self, line: &[[f64; 2]]) -> Vec<Vec<[f64; 2]>> {
        self.split(line).into_iter().filter(|(inside, _)| *inside).map(|(_, run)| run).collect()
    }

    /// Cuts a line at the edge into runs, in order, each with whether it lies inside.
    pub(super) fn split(&self, line: &[[f64; 2]]) -> Vec<(bool, Vec<[f64; 2]>)> {
        let mut runs: Vec<(bool, Vec<[f64; 2]>)> = Vec::new();
        let mut add = |inside: bool, p: [f64; 2], q: [f64; 2]| match runs.last_mut() {
            Some((was, run)) if *was == inside => run.push(q),
            _ => runs.push((inside, vec![p, q])),
        };
        for pair in line.windows(2) {
            let (p, q) = (pair[0], pair[1]);
            let at = |t: f64| [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])];
            match self.inside(p, q) {
                None => add(false, p, q),
                Some([from, to]) => {
                    let (a, b) = (if from > 0.0 { at(from) } else { p }, if to < 1.0 { at(to) } else { q });
                    if from > 0.0 {
                        add(false, p, a);
                    }
                    add(true, a, b);
                    if to < 1.0 {
                        add(false, b, q);
                    }
                }
            }
        }
        runs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BED: Edge = Edge { x: [0.0, 100.0], y: [0.0, 50.0], round: false };

    #[test]
    fn a_line_across_is_cut_into_three() {
        let runs = BED.split(&[[-10.0, 25.0], [110.0, 25.0]]);
        assert_eq!(runs.len(), 3);
        assert_eq!(runs[1], (true, vec![[0.0, 25.0], [100.0, 25.0]]));
        assert_eq!(runs[2].1, vec![[100.0, 25.0], [110.0, 25.0]]);
    }

    #[test]
    fn a_line_outside_has_no_run_inside() {
        assert!(BED.clip(&[[-1.0, -1.0], [-1.0, 60.0], [120.0, 60.0]]).is_empty());
        assert!(Edge { round: true, ..BED }.clip(&[[0.0, 0.0], [4.0, 4.0]]).is_empty());
    }

    #[test]
    fn a_round_bed_cuts_on_its_circle() {
        let round = Edge { x: [-50.0, 50.0], y: [-50.0, 50.0], round: true };
        let runs = round.clip(&[[-60.0, 30.0], [60.0, 30.0]]);
        assert_eq!(runs.len(), 1);
        for [x, y] in &runs[0] {
            assert!((x * x + y * y - 2500.0).abs() < 1e-9);
        }
        assert!(round.holds([30.0, 40.0]) && !round.holds([36.0, 36.0]));
    }

    #[test]
    fn a_line_that_leaves_and_returns_is_two_runs() {
        let runs = BED.clip(&[[50.0, 25.0], [50.0, 75.0], [60.0, 75.0], [60.0, 25.0]]);
        assert_eq!(runs, vec![vec![[50.0, 25.0], [50.0, 50.0]], vec![[60.0, 50.0], [60.0, 25.0]]]);
    }
}
