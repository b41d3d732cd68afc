//! The change at each place that was read, and how well it is known.

use super::ONE_PLACE;
use crate::HeightMap;
use crate::surface::places::Places;

/// The change at one place that was read.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Change {
    /// X on the bed, mm.
    pub x: f64,
    /// Y on the bed, mm.
    pub y: f64,
    /// Later minus earlier height, mm.
    pub change_mm: f64,
    /// One standard deviation of that, by the readings' spreads, mm.
    pub spread_mm: f64,
    /// The change in standard deviations.
    pub deviations: f64,
    /// Whether only one of the cards was read here, so that the other's map stands for its reading.
    pub through_map: bool,
    /// Whether it is more than the spreads explain.
    pub stands_out: bool,
}

impl Change {
    pub(super) fn judged(self, limit: f64) -> Change {
        Change { stands_out: self.deviations.abs() > limit, ..self }
    }
}

/// A card's places with their mean heights and those means' variances.
struct Read {
    places: Places,
    variance: Vec<f64>,
    /// The places' numbers by X, for finding them.
    by_x: Vec<usize>,
    /// One reading's variance.
    one: f64,
}

impl Read {
    fn of(map: &HeightMap) -> Read {
        let readings = &map.card().readings;
        let noise = readings.noise().filter(|n| *n > 0.0).unwrap_or_else(|| readings.method.usual_spread());
        let at: Vec<[f64; 2]> = map.readings().iter().map(|r| [r.x, r.y]).collect();
        let heights: Vec<f64> = map.readings().iter().map(|r| r.height).collect();
        let places = Places::pool(&at, &heights, readings.weights().as_deref());
        // Weights are (noise / spread)^2, so that a place's mean has the variance noise^2 / (sum of its weights).
        let variance = places.weight.iter().map(|w| noise * noise / w).collect();
        let mut by_x: Vec<usize> = (0..places.at.len()).collect();
        crate::order::sort_by(&mut by_x, |a, b| places.at[*a][0].total_cmp(&places.at[*b][0]));
        Read { places, variance, by_x, one: noise * noise }
    }

    /// The nearest place within [`ONE_PLACE`].
    fn near(&self, at: [f64; 2]) -> Option<usize> {
        let way = |i: usize| libm::hypot(self.places.at[i][0] - at[0], self.places.at[i][1] - at[1]);
        let first = self.by_x.partition_point(|&i| self.places.at[i][0] < at[0] - ONE_PLACE);
        let near = self.by_x[first..].iter().copied().take_while(|&i| self.places.at[i][0] <= at[0] + ONE_PLACE);
        near.filter(|&i| way(i) <= ONE_PLACE).min_by(|a, b| way(*a).total_cmp(&way(*b)).then(a.cmp(b)))
    }
}

/// Changes at the places of both cards within `over`, the earlier card's first, not yet judged.
pub(super) fn changes(from: &HeightMap, to: &HeightMap, over: [f64; 4], taken_off: f64) -> Vec<Change> {
    let (earlier, later) = (Read::of(from), Read::of(to));
    let inside = |p: &[f64; 2]| {
        p[0] >= over[0] - ONE_PLACE
            && p[0] <= over[2] + ONE_PLACE
            && p[1] >= over[1] - ONE_PLACE
            && p[1] <= over[3] + ONE_PLACE
    };
    let change = |[x, y]: [f64; 2], change: f64, variance: f64, through_map: bool| {
        let (change_mm, spread_mm) = (change - taken_off, variance.sqrt());
        Change { x, y, change_mm, spread_mm, deviations: change_mm / spread_mm, through_map, stands_out: false }
    };
    let mut found = Vec::new();
    for (i, p) in earlier.places.at.iter().enumerate().filter(|(_, p)| inside(p)) {
        let before = earlier.places.mean[i];
        found.push(match later.near(*p) {
            Some(j) => change(*p, later.places.mean[j] - before, earlier.variance[i] + later.variance[j], false),
            None => change(*p, to.height(p[0], p[1]) - before, earlier.variance[i] + later.one, true),
        });
    }
    for (j, p) in later.places.at.iter().enumerate().filter(|(_, p)| inside(p)) {
        if earlier.near(*p).is_none() {
            let change_mm = later.places.mean[j] - from.height(p[0], p[1]);
            found.push(change(*p, change_mm, earlier.one + later.variance[j], true));
        }
    }
    found
}
