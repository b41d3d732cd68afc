//! Which of the choices tell most together.

use super::spots::{Spots, over_nodes};
use super::{bounds, matters};
use crate::card::Card;
use crate::known::model::Model;
use crate::order;
use crate::surface::places::count;

/// Each point is chosen anew, given all the others, at most so many times.
const ROUNDS: usize = 6;
/// And so many in all.
const MOST_TURNS: usize = 60;

/// Squares along the longer side that the places that matter are taken together in.
const SQUARES: usize = 10;
/// The choice, as one reading after another is added.
#[derive(Clone)]
pub(super) struct Design<'a> {
    pub(super) model: &'a Model,
    /// Points that are still to be read, then the choices.
    pub(super) spots: Spots,
    pub(super) unread: usize,
    /// The weights of the places that matter, taken together in squares.
    pub(super) weights: Vec<f64>,
    /// Of each node and each spot: covariances with the squares.
    pub(super) with: Vec<Vec<Vec<f64>>>,
}

impl<'a> Design<'a> {
    pub(super) fn of(
        model: &'a Model,
        unread: &[[f64; 2]],
        choices: impl Iterator<Item = [f64; 2]>,
        places: &[[f64; 3]],
        card: &Card,
    ) -> Design<'a> {
        let spots = unread.iter().copied().chain(choices).map(|at| model.sum(&[(at, 1.0)])).collect();
        let spots = Spots::of(model, spots);
        let squares = in_squares(places);
        let weights = squares.iter().map(|[.., weight]| *weight).collect();
        let squares = Spots::of(model, squares.iter().map(|p| matters(model, p, card)).collect());
        let with = squares.covariances(model, &spots, 0..spots.sums.len());
        Design { model, spots, unread: unread.len(), weights, with }
    }

    /// A reading is taken at a spot.
    pub(super) fn read(&mut self, spot: usize) {
        self.change(spot, 1.0);
    }

    pub(super) fn change(&mut self, spot: usize, sign: f64) {
        let taken = self.spots.taken_by(self.model, &self.spots, spot, sign);
        for (k, (with, taken)) in self.with.iter_mut().zip(&taken).enumerate() {
            let square = sign * self.spots.variances[k][spot] + self.model.nodes[k].noise2;
            let factor = sign / square.max(f64::MIN_POSITIVE).sqrt();
            let own = with[spot].clone();
            for (row, t) in with.iter_mut().zip(taken) {
                row.iter_mut().zip(&own).for_each(|(slot, c)| *slot -= t * factor * c);
            }
        }
        self.spots.take(taken, sign);
    }

    /// Of some choices the one that takes most off the squares' variance: its place among them.
    pub(super) fn best(&self, choices: impl Iterator<Item = usize>) -> Option<usize> {
        let mut best: Option<(usize, f64)> = None;
        for (at, choice) in choices.enumerate() {
            let gain = self.gain(choice);
            if best.is_none_or(|(_, most)| gain > most) {
                best = Some((at, gain));
            }
        }
        best.map(|(at, _)| at)
    }

    pub(super) fn gain(&self, choice: usize) -> f64 {
        let spot = self.unread + choice;
        over_nodes(self.model, |k, node| {
            let square: f64 = self.with[k][spot].iter().zip(&self.weights).map(|(c, w)| w * c * c).sum();
            square / (self.spots.variances[k][spot] + node.noise2)
        })
    }

    /// Choices one after the other, and then each again given all others, as long as that helps.
    pub(super) fn chosen(mut self, how_many: usize) -> Vec<usize> {
        let count = self.spots.sums.len() - self.unread;
        let mut chosen = Vec::new();
        while chosen.len() < how_many
            && let Some(choice) = self.best(0..count)
        {
            self.read(self.unread + choice);
            chosen.push(choice);
        }
        let mut since = 0;
        for turn in 0..MOST_TURNS.min(ROUNDS * chosen.len()) {
            if since == chosen.len() || chosen.len() == 1 {
                break;
            }
            let slot = &mut chosen[turn % how_many];
            self.change(self.unread + *slot, -1.0);
            since += 1;
            if let Some(choice) = self.best(0..count)
                && self.gain(choice) > self.gain(*slot) * (1.0 + 1e-6)
            {
                *slot = choice;
                since = 0;
            }
            self.read(self.unread + *slot);
        }
        chosen
    }
}

/// Places that lie in one square taken together, at their centre of gravity.
pub(super) fn in_squares(places: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let bounds = bounds(places);
    // A hair more, so that the last place is in the last square.
    let side = (bounds[0][1] - bounds[0][0]).max(bounds[1][1] - bounds[1][0]) * (1.0 + 1e-9) / count(SQUARES);
    let square =
        |p: &[f64; 3]| [0, 1].map(|axis| if side > 0.0 { ((p[axis] - bounds[axis][0]) / side).floor() } else { 0.0 });
    let mut sorted = places.to_vec();
    order::sort_by(&mut sorted, |a, b| {
        let (a, b) = (square(a), square(b));
        a[1].total_cmp(&b[1]).then(a[0].total_cmp(&b[0]))
    });
    let alike = |a: &[f64; 3], b: &[f64; 3]| square(a).map(f64::to_bits) == square(b).map(f64::to_bits);
    let together = |group: &[[f64; 3]]| {
        let [x, y, w] = group.iter().fold([0.0; 3], |[x, y, w], p| [x + p[2] * p[0], y + p[2] * p[1], w + p[2]]);
        [x / w, y / w, w]
    };
    sorted.chunk_by(alike).map(together).collect()
}
