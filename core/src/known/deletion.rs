//! Each reading against what the others say of its place.
//!
//! For every [node](super::model) the reading left out has a normal distribution, by the identity of deletion residuals (Wahba
//! 1990, section 4.2; Dubrule 1983, "Cross validation of kriging in a unique neighborhood", Mathematical Geology 15, 687-699): with
//! P = V C^-1 V', its error is (P y)_i / P_ii and its variance 1 / P_ii, whitened. The nodes' shares are those that the other readings
//! alone give: the whole likelihood divided by that of the reading left out.

use super::model::{Data, MAX_PLACES, Model};
use crate::normal::below;

/// A reading against the others.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Deletion {
    /// What the others lead one to expect, mm.
    pub(crate) expected: f64,
    /// The reading minus that, mm.
    pub(crate) error: f64,
    /// How far such a reading is off, one standard deviation, mm: its own noise, and what the others leave open.
    pub(crate) deviation: f64,
    /// The chance that a sound reading is as far off or farther, either way.
    pub(crate) chance: f64,
}

/// All readings, each against the others; `None` where the others make no surface. Readings in too many places for one model are judged among
/// their neighbours, in groups.
pub(crate) fn deletions(data: &Data) -> Vec<Option<Deletion>> {
    let all: Vec<usize> = (0..data.points.len()).collect();
    let mut out = vec![None; all.len()];
    judge(data, all, &mut out);
    out
}

fn judge(data: &Data, which: Vec<usize>, out: &mut [Option<Deletion>]) {
    if which.len() > MAX_PLACES {
        // Halves along the longer side.
        let range = |axis: usize| {
            let at = || which.iter().map(|&k| data.points[k][axis]);
            at().fold(f64::NEG_INFINITY, f64::max) - at().fold(f64::INFINITY, f64::min)
        };
        let axis = usize::from(range(1) > range(0));
        let mut near = which;
        crate::order::sort_by(&mut near, |&a, &b| {
            data.points[a][axis].total_cmp(&data.points[b][axis]).then(a.cmp(&b))
        });
        let far = near.split_off(near.len() / 2);
        judge(data, near, out);
        judge(data, far, out);
        return;
    }
    let part = Data {
        points: which.iter().map(|&k| data.points[k]).collect(),
        heights: which.iter().map(|&k| data.heights[k]).collect(),
        weights: data.weights.as_ref().map(|w| which.iter().map(|&k| w[k]).collect()),
        ..*data
    };
    let Some(model) = Model::of(&part) else { return };
    for (k, found) in which.iter().zip(of_model(&model, &part)) {
        out[*k] = found;
    }
}

fn of_model(model: &Model, data: &Data) -> Vec<Option<Deletion>> {
    let places = &model.places;
    let by_node: Vec<Vec<[f64; 2]>> = model.nodes.iter().map(|n| n.left_out(model)).collect();
    let root = model.basis.root();
    (0..data.points.len())
        .map(|k| {
            let i = places.of[k];
            let own = data.weights.as_ref().map_or(1.0, |w| w[k]);
            // Of each node: its share without this reading (a logarithm), the error, the variance.
            let mut judged = Vec::with_capacity(model.nodes.len());
            for (node, left_out) in model.nodes.iter().zip(&by_node) {
                let [diagonal, signal] = left_out[i];
                let (error, variance) = if places.alone[i] {
                    if diagonal * node.noise2 <= 1e-9 {
                        return None;
                    }
                    (signal / (root[i] * diagonal), 1.0 / (places.weight[i] * diagonal))
                } else {
                    // One of several at a place: 1 - A_kk of the reading alone.
                    let left = 1.0 - own / places.weight[i] * (1.0 - node.noise2 * diagonal);
                    let rest = data.heights[k] - places.mean[i] + node.noise2 * signal / root[i];
                    (rest / left, node.noise2 / (own * left))
                };
                let log = node.log + 0.5 * error * error / variance + 0.5 * libm::log(variance);
                judged.push((log, error, variance));
            }
            let highest = judged.iter().fold(f64::NEG_INFINITY, |a, j| a.max(j.0));
            let (mut all, mut mean, mut square, mut under, mut over) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for (log, error, variance) in judged {
                let share = libm::exp(log - highest);
                let z = error / variance.sqrt();
                all += share;
                mean += share * error;
                square += share * (variance + error * error);
                under += share * below(z);
                over += share * below(-z);
            }
            let error = mean / all;
            let deviation = (square / all - error * error).max(0.0).sqrt();
            let chance = (2.0 * f64::min(under, over) / all).min(1.0);
            let sound = [error, deviation, chance].iter().all(|v| v.is_finite());
            sound.then(|| Deletion { expected: data.heights[k] - error, error, deviation, chance })
        })
        .collect()
}
