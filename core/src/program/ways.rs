//! Ways from place to place that keep out of the keep-out areas.
//!
//! A shortest way round rectangles bends only at their corners, so that it is found among the corners that see each other: a
//! visibility graph (Lozano-Perez and Wesley, "An algorithm for planning collision-free paths among polyhedral obstacles",
//! Communications of the ACM 22 (1979) 560-570), searched by Dijkstra's method. A bed, rectangle or ellipse, is convex, and so a
//! line between two of its places stays on it.

use super::{GRAIN, grained};
use crate::card::Bed;

/// The most keep-out areas that ways are sought round.
pub(crate) const MOST_AREAS: usize = 100;

/// How far from an area's edge a way bends, mm, where there is room: first as far as a heater block is wide (common practice, no
/// source), then nearer. A place that lies nearer to an area than that is left and reached all the same.
const CLEARANCES: [f64; 4] = [10.0, 3.0, 1.0, 0.3];

/// Rounding of the geometry, mm: far below what is written, far above that of the sums.
const HAIR: f64 = 1e-7;

/// The bed with what the nozzle must keep out of.
#[derive(Debug, Clone)]
pub(crate) struct Ways {
    bed: Bed,
    /// `[x0, y0, x1, y1]`, mm, rounded outward to what is written.
    areas: Vec<[f64; 4]>,
}

impl Ways {
    /// Ways on a bed; where something is carried at an `offset` from the nozzle (a dial's plunger), it keeps out of the areas too.
    pub(crate) fn new(bed: &Bed, offset: Option<[f64; 2]>) -> Ways {
        let outward = |k: [f64; 4]| {
            let down = |v: f64| libm::floor(v / GRAIN + HAIR) * GRAIN;
            let up = |v: f64| libm::ceil(v / GRAIN - HAIR) * GRAIN;
            [down(k[0]), down(k[1]), up(k[2]), up(k[3])]
        };
        let own = bed.keep_out.iter().copied();
        let carried = offset.into_iter().flat_map(|[dx, dy]| {
            bed.keep_out.iter().map(move |k| [k[0] - dx, k[1] - dy, k[2] - dx, k[3] - dy]).collect::<Vec<_>>()
        });
        Ways { bed: bed.clone(), areas: own.chain(carried).map(outward).collect() }
    }

    /// Whether the nozzle may be at this place.
    pub(crate) fn allows(&self, place: [f64; 2]) -> bool {
        self.bed.reaches(place[0], place[1]) && !self.areas.iter().any(|k| inside(place, k))
    }

    /// The places to go to one after another, `to` the last; `None` where there is no way. Both ends must be allowed.
    pub(crate) fn way(&self, from: [f64; 2], to: [f64; 2]) -> Option<Vec<[f64; 2]>> {
        CLEARANCES.iter().find_map(|clearance| self.way_with(*clearance, from, to))
    }

    fn way_with(&self, clearance: f64, from: [f64; 2], to: [f64; 2]) -> Option<Vec<[f64; 2]>> {
        // An area is widened by no more than leaves both ends outside.
        let widened: Vec<[f64; 4]> = self
            .areas
            .iter()
            .map(|k| {
                let by = grained(clearance.min(beside(from, k)).min(beside(to, k)).max(0.0));
                [k[0] - by, k[1] - by, k[2] + by, k[3] + by]
            })
            .collect();
        let sees = |a: [f64; 2], b: [f64; 2]| !widened.iter().any(|k| crosses(a, b, k));
        if sees(from, to) {
            return Some(vec![to]);
        }
        let mut places = vec![from, to];
        for k in &widened {
            for corner in [[k[0], k[1]], [k[2], k[1]], [k[2], k[3]], [k[0], k[3]]] {
                let corner = corner.map(grained);
                if self.bed.reaches(corner[0], corner[1]) && !widened.iter().any(|k| inside(corner, k)) {
                    places.push(corner);
                }
            }
        }
        let mut length = vec![f64::INFINITY; places.len()];
        let mut came_from = vec![0_usize; places.len()];
        let mut done = vec![false; places.len()];
        length[0] = 0.0;
        loop {
            let next = (0..places.len()).filter(|&n| !done[n] && length[n].is_finite());
            let here = next.min_by(|&a, &b| length[a].total_cmp(&length[b]))?;
            if here == 1 {
                break;
            }
            done[here] = true;
            for there in 1..places.len() {
                let (a, b) = (places[here], places[there]);
                let through = length[here] + libm::hypot(b[0] - a[0], b[1] - a[1]);
                if !done[there] && through < length[there] && sees(a, b) {
                    length[there] = through;
                    came_from[there] = here;
                }
            }
        }
        let mut way = Vec::new();
        let mut at = 1;
        while at != 0 {
            way.push(places[at]);
            at = came_from[at];
        }
        way.reverse();
        Some(way)
    }
}

/// Whether a place lies in the area's inside: the edge is outside, as on the card.
fn inside(p: [f64; 2], k: &[f64; 4]) -> bool {
    p[0] > k[0] + HAIR && p[0] < k[2] - HAIR && p[1] > k[1] + HAIR && p[1] < k[3] - HAIR
}

/// How far outside the area's sides a place lies, mm, the larger of X and Y; negative inside.
fn beside(p: [f64; 2], k: &[f64; 4]) -> f64 {
    (k[0] - p[0]).max(p[0] - k[2]).max(k[1] - p[1]).max(p[1] - k[3])
}

/// Whether the line goes through the area's inside (Liang and Barsky 1984: the part of the line that lies between the sides).
fn crosses(from: [f64; 2], to: [f64; 2], k: &[f64; 4]) -> bool {
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    for axis in 0..2 {
        let (low, high) = (k[axis] + HAIR, k[axis + 2] - HAIR);
        let d = to[axis] - from[axis];
        if d.abs() < HAIR {
            if from[axis] <= low || from[axis] >= high {
                return false;
            }
            continue;
        }
        let (a, b) = ((low - from[axis]) / d, (high - from[axis]) / d);
        first = first.max(a.min(b));
        last = last.min(a.max(b));
    }
    first < last
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::Outline;

    fn bed(keep_out: &[[f64; 4]]) -> Bed {
        Bed { x: [0.0, 200.0], y: [0.0, 200.0], outline: Outline::Rectangle, keep_out: keep_out.to_vec() }
    }

    #[test]
    fn a_clear_line_is_the_way() {
        let ways = Ways::new(&bed(&[[90.0, 0.0, 110.0, 50.0]]), None);
        assert_eq!(ways.way([10.0, 100.0], [190.0, 100.0]), Some(vec![[190.0, 100.0]]));
    }

    #[test]
    fn an_area_is_gone_round_on_the_shorter_side() {
        let ways = Ways::new(&bed(&[[90.0, 90.0, 110.0, 150.0]]), None);
        let way = ways.way([10.0, 100.0], [190.0, 100.0]);
        // Ten millimetres in front of its front edge.
        assert_eq!(way, Some(vec![[80.0, 80.0], [120.0, 80.0], [190.0, 100.0]]));
    }

    #[test]
    fn an_area_at_the_edge_is_gone_round_on_its_open_side() {
        let ways = Ways::new(&bed(&[[-5.0, 90.0, 150.0, 110.0]]), None);
        let way = ways.way([20.0, 20.0], [20.0, 180.0]);
        assert_eq!(way, Some(vec![[160.0, 80.0], [160.0, 120.0], [20.0, 180.0]]));
    }

    #[test]
    fn a_gap_that_is_narrow_is_passed_close_by() {
        let ways = Ways::new(&bed(&[[0.0, 90.0, 99.0, 110.0], [101.0, 90.0, 200.0, 110.0]]), None);
        let way = ways.way([20.0, 20.0], [20.0, 180.0]);
        assert_eq!(way, Some(vec![[100.0, 89.0], [100.0, 111.0], [20.0, 180.0]]));
    }

    #[test]
    fn a_wall_leaves_no_way() {
        let ways = Ways::new(&bed(&[[0.0, 90.0, 120.0, 110.0], [100.0, 80.0, 200.0, 100.0]]), None);
        assert_eq!(ways.way([20.0, 20.0], [20.0, 180.0]), None);
    }

    #[test]
    fn what_is_carried_keeps_out_too() {
        let ways = Ways::new(&bed(&[[90.0, 90.0, 110.0, 110.0]]), Some([30.0, 0.0]));
        assert!(!ways.allows([70.0, 100.0]));
        assert!(!ways.allows([100.0, 100.0]));
        assert!(ways.allows([85.0, 100.0]));
    }
}
