//! How well the places that matter are known, as one reading after another is added.

use super::design::Design;
use super::spots::{Spots, over_nodes};
use super::{Foreseen, apart, matters};
use crate::card::Card;
use crate::known::model::Model;
use crate::known::{Known, within};
use crate::number;

/// What the model expects of the height at a place, and its variance.
pub(super) fn expected(known: &Known, [x, y]: [f64; 2]) -> [f64; 2] {
    let [bias, variance] = known.error(x, y);
    [known.map.height(x, y) + bias, variance]
}

/// The places that matter, as one reading after another is added.
pub(super) struct Matter<'a> {
    pub(super) spots: Spots,
    /// The map before that, where there is one.
    pub(super) known: Option<&'a Known>,
    /// What is expected of it there and its variance, before that; and the place's weight.
    pub(super) expected: Vec<[f64; 3]>,
    pub(super) places: &'a [[f64; 3]],
    /// The rectangle that the readings bound.
    pub(super) measured: [f64; 4],
}

impl<'a> Matter<'a> {
    pub(super) fn of(model: &Model, known: Option<&'a Known>, places: &'a [[f64; 3]], card: &Card) -> Matter<'a> {
        let spots = Spots::of(model, places.iter().map(|p| matters(model, p, card)).collect());
        let expected = |(place, [x, y, weight]): (usize, &[f64; 3])| {
            let [mean, variance] = match known {
                Some(known) => expected(known, [*x, *y]),
                None => [0.0, over_nodes(model, |k, _| spots.variances[k][place])],
            };
            [mean, variance, *weight]
        };
        let expected = places.iter().enumerate().map(expected).collect();
        let measured = known.map_or([0.0; 4], |known| known.map.measured());
        Matter { spots, known, expected, places, measured }
    }

    /// A reading is taken at a spot of a design, which is at this place.
    pub(super) fn follow(&mut self, design: &Design<'_>, spot: usize, [x, y]: [f64; 2]) {
        let taken = self.spots.taken_by(design.model, &design.spots, spot, 1.0);
        self.spots.take(taken, 1.0);
        let [x0, y0, x1, y1] = self.measured;
        self.measured = [x0.min(x), y0.min(y), x1.max(x), y1.max(y)];
    }

    /// What the map that is made then is expected to be off at a place: as before where it was measured before, nothing where it is measured
    /// then, and beyond that what the bed rises from its edge.
    pub(super) fn bias(&self, [x, y, _]: [f64; 3], mean: f64) -> f64 {
        let Some(known) = self.known else { return 0.0 };
        let inside = |[x0, y0, x1, y1]: [f64; 4]| [number::within(x, x0, x1), number::within(y, y0, y1)];
        let edge = inside(self.measured);
        let before = inside(known.map.measured());
        let was_measured = apart(before, edge) <= 0.0;
        let height = match was_measured {
            true => known.map.height(edge[0], edge[1]),
            false => expected(known, edge)[0],
        };
        mean - height
    }

    pub(super) fn foreseen(&self, model: &Model) -> Foreseen {
        let mut out = Vec::with_capacity(self.expected.len());
        let (mut square, mut all) = (0.0, 0.0);
        for (place, [mean, variance, weight]) in self.expected.iter().enumerate() {
            let bias = self.bias(self.places[place], *mean);
            let gained = over_nodes(model, |k, _| self.spots.taken[k].iter().map(|t| t[place] * t[place]).sum());
            let left = (variance - gained).max(0.0);
            square += weight * (left + bias * bias);
            all += weight;
            out.push((bias, left.sqrt(), *weight));
        }
        Foreseen { standard_error: (square / all).sqrt(), within: within(&out) }
    }
}
