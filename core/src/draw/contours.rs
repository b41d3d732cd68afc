//! Heights on a fine grid, and the lines and areas of equal height that follow from it.

use super::edge::Edge;
use super::levels::Levels;

/// Cells along the longer side: about 1.5 mm on a bed of 235 mm, and no more work on a larger one.
const CELLS: f64 = 156.0;

/// Longest error that thinning a line may make, in cells.
const THINNING: f64 = 0.04;

/// Heights at the nodes of a grid that reaches one cell and a half beyond the bed.
#[derive(Debug)]
pub(super) struct Grid {
    columns: usize,
    origin: [f64; 2],
    step: [f64; 2],
    heights: Vec<f64>,
    /// Lowest and highest height on the bed, mm.
    pub(super) range: [f64; 2],
}

/// Everything at or above a level: rings to be filled by the even-odd rule, and the same rings as lines on the bed.
#[derive(Debug)]
pub(super) struct Contour {
    pub(super) rings: Vec<Vec<[f64; 2]>>,
    pub(super) lines: Vec<Vec<[f64; 2]>>,
}

impl Grid {
    /// Samples `height` over the bed, and finds the range there (`spots` count too: a grid may miss a peak).
    pub(super) fn sample(edge: &Edge, spots: &[[f64; 2]], height: &dyn Fn(f64, f64) -> f64) -> Grid {
        let cell = edge.width().max(edge.depth()) / CELLS;
        let cells = |length: f64| -> usize {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and CELLS")]
            let n = crate::number::within(libm::ceil(length / cell), 1.0, CELLS) as usize;
            n
        };
        let (nx, ny) = (cells(edge.width()), cells(edge.depth()));
        let step = [edge.width() / to_f64(nx), edge.depth() / to_f64(ny)];
        // One node more on each side, and the bed's edge on a node.
        let (columns, rows) = (nx + 3, ny + 3);
        let origin = [edge.x[0] - step[0], edge.y[0] - step[1]];
        let mut range = [f64::INFINITY, f64::NEG_INFINITY];
        let mut widen = |h: f64| range = [range[0].min(h), range[1].max(h)];
        let mut heights = Vec::with_capacity(columns * rows);
        for j in 0..rows {
            for i in 0..columns {
                let (x, y) = (origin[0] + to_f64(i) * step[0], origin[1] + to_f64(j) * step[1]);
                let h = height(x, y);
                let h = if h.is_finite() { h } else { 0.0 };
                if edge.holds([x, y]) {
                    widen(h);
                }
                heights.push(h);
            }
        }
        for [x, y] in spots {
            let h = height(*x, *y);
            if h.is_finite() && edge.holds([*x, *y]) {
                widen(h);
            }
        }
        if range[0] > range[1] {
            range = [0.0, 0.0];
        }
        Grid { columns, origin, step, heights, range }
    }

    /// The contours of `levels`, lowest first.
    ///
    /// Each ring is closed along the grid's border, half a cell outside the bed: cutting at the edge leaves the true lines.
    pub(super) fn contours(&self, levels: &Levels, edge: &Edge) -> Vec<Contour> {
        let thin = THINNING * self.step[0].min(self.step[1]);
        // The first node is half a cell from where the rings are measured.
        let from = [0, 1].map(|k| self.origin[k] - 0.5 * self.step[k]);
        (0..levels.len())
            .map(|i| {
                let rings: Vec<Vec<[f64; 2]>> = super::rings::rings(&self.heights, self.columns, levels.height(i))
                    .into_iter()
                    .map(|ring| ring.iter().map(|p| [0, 1].map(|k| p[k] * self.step[k] + from[k])).collect::<Vec<_>>())
                    .filter(|ring| ring.len() > 3 && ring.iter().flatten().all(|v| v.is_finite()))
                    .collect();
                let lines = rings.iter().flat_map(|ring| joined(edge.clip(ring))).map(|l| thinned(&l, thin)).collect();
                Contour { rings: rings.iter().map(|r| thinned(r, thin)).collect(), lines }
            })
            .collect()
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of grid nodes")]
fn to_f64(n: usize) -> f64 {
    n as f64
}

/// A ring starts anywhere: where its last run ends at the first one's start, the two are one line.
fn joined(mut runs: Vec<Vec<[f64; 2]>>) -> Vec<Vec<[f64; 2]>> {
    let meets = runs.len() > 1 && runs.first().and_then(|r| r.first()) == runs.last().and_then(|r| r.last());
    if meets && let Some(mut last) = runs.pop() {
        let first = &mut runs[0];
        last.extend_from_slice(&first[1..]);
        *first = last;
    }
    runs
}

/// Douglas and Peucker 1973: the fewest of the line's own points that stay within `tolerance` of it, found from the ends inward.
pub(super) fn thinned(line: &[[f64; 2]], tolerance: f64) -> Vec<[f64; 2]> {
    if line.len() < 3 {
        return line.to_vec();
    }
    let mut keep = vec![false; line.len()];
    keep[0] = true;
    keep[line.len() - 1] = true;
    let mut spans = vec![(0, line.len() - 1)];
    while let Some((from, to)) = spans.pop() {
        let (mut worst, mut at) = (tolerance, None);
        for i in from + 1..to {
            let d = distance_to_piece(line[i], line[from], line[to]);
            if d > worst {
                (worst, at) = (d, Some(i));
            }
        }
        if let Some(i) = at {
            keep[i] = true;
            spans.push((from, i));
            spans.push((i, to));
        }
    }
    line.iter().zip(keep).filter(|(_, k)| *k).map(|(p, _)| *p).collect()
}

fn distance_to_piece(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length = dx * dx + dy * dy;
    let t = if length > 0.0 {
        crate::number::within(((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length, 0.0, 1.0)
    } else {
        0.0
    };
    libm::hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BED: Edge = Edge { x: [0.0, 200.0], y: [0.0, 100.0], round: false };

    fn all_contours(edge: &Edge, height: &dyn Fn(f64, f64) -> f64) -> (Levels, Vec<Contour>) {
        let grid = Grid::sample(edge, &[], height);
        let levels = Levels::between(grid.range[0], grid.range[1]);
        let contours = grid.contours(&levels, edge);
        (levels, contours)
    }

    #[test]
    fn a_tilted_plane_has_straight_parallel_contours_from_edge_to_edge() {
        let (levels, contours) = all_contours(&BED, &|x, _| 0.001 * x);
        assert_eq!(contours.len(), 9);
        for (i, c) in contours.iter().enumerate() {
            assert_eq!(c.lines.len(), 1);
            let x = 1000.0 * levels.height(i);
            assert!(c.lines[0].iter().all(|p| (p[0] - x).abs() < 1e-9), "{:?}", c.lines[0]);
            let mut ends = [c.lines[0][0][1], c.lines[0][c.lines[0].len() - 1][1]];
            crate::order::sort_numbers(&mut ends);
            assert!(ends[0].abs() < 1e-9 && (ends[1] - 100.0).abs() < 1e-9, "{ends:?}");
            assert_eq!(c.lines[0].len(), 2, "thinned to its ends");
        }
    }

    #[test]
    fn contours_of_a_bowl_are_circles_at_the_right_radius() {
        let edge = Edge { x: [-100.0, 100.0], y: [-100.0, 100.0], round: true };
        let (levels, contours) = all_contours(&edge, &|x, y| 2e-5 * (x * x + y * y));
        assert!(contours.len() >= 8);
        for (i, c) in contours.iter().enumerate() {
            let r = (levels.height(i) / 2e-5).sqrt();
            for p in c.lines.iter().flatten() {
                // Linear between nodes 1.3 mm apart: off by at most step^2 / (8 r), and the thinning.
                assert!((libm::hypot(p[0], p[1]) - r).abs() < 0.06, "{p:?} {r}");
            }
        }
    }

    #[test]
    fn every_point_of_a_line_is_on_the_bed() {
        for round in [false, true] {
            let edge = Edge { round, ..BED };
            let (_, contours) = all_contours(&edge, &|x, y| 0.2 * libm::sin(0.05 * x) * libm::cos(0.07 * y));
            let grown = Edge { x: [-1e-9, 200.0 + 1e-9], y: [-1e-9, 100.0 + 1e-9], round };
            assert!(contours.iter().flat_map(|c| c.lines.iter().flatten()).all(|p| grown.holds(*p)));
        }
    }

    #[test]
    fn flat_and_broken_heights_draw_nothing_and_do_not_panic() {
        assert!(all_contours(&BED, &|_, _| 0.1).1.is_empty());
        assert!(all_contours(&BED, &|_, _| f64::NAN).1.is_empty());
    }
}
