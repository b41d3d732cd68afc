//! Heights at places, and what readings that are to be taken leave of their variances and covariances, for each node.

use crate::known::model::{Model, Node, Sum};

/// Heights, and what readings that are to be taken leave of them.
#[derive(Clone)]
pub(super) struct Spots {
    pub(super) sums: Vec<Sum>,
    /// Of each node: the variance of each height.
    pub(super) variances: Vec<Vec<f64>>,
    /// Of each node and each reading: what it takes off a covariance, as the product of two such numbers.
    pub(super) taken: Vec<Vec<Vec<f64>>>,
    /// Of each reading 1, or -1 where it was taken back.
    pub(super) signs: Vec<f64>,
}

impl Spots {
    pub(super) fn of(model: &Model, sums: Vec<Sum>) -> Spots {
        let own: Vec<[f64; 3]> = sums.iter().map(|s| model.common(s, s)).collect();
        let variance = |node: &Node| {
            let of = |(s, common): (&Sum, &[f64; 3])| {
                let told = node.told(model, s);
                let mut variance: f64 = common.iter().zip(node.counts()).map(|(c, count)| c * count).sum();
                for (j, t) in told.iter().enumerate() {
                    variance -= sign_of(j, told.len()) * t * t;
                }
                variance.max(0.0)
            };
            sums.iter().zip(&own).map(of).collect()
        };
        let variances: Vec<Vec<f64>> = model.nodes.iter().map(variance).collect();
        Spots { taken: vec![Vec::new(); variances.len()], signs: Vec::new(), variances, sums }
    }

    /// Covariances with some of other spots, which had the same readings: of each node, a row for each of those.
    pub(super) fn covariances(
        &self,
        model: &Model,
        other: &Spots,
        which: core::ops::Range<usize>,
    ) -> Vec<Vec<Vec<f64>>> {
        // Rows over these spots, so that all that follows goes along them.
        let common: Vec<[Vec<f64>; 3]> = (other.sums[which.clone()].iter())
            .map(|sum| {
                let all: Vec<[f64; 3]> = self.sums.iter().map(|s| model.common(s, sum)).collect();
                [0, 1, 2].map(|k: usize| all.iter().map(|c| c[k]).collect())
            })
            .collect();
        let of_node = |(k, node): (usize, &Node)| {
            let told: Vec<Vec<f64>> = self.sums.iter().map(|s| node.told(model, s)).collect();
            let length = told.first().map_or(0, Vec::len);
            let mine: Vec<Vec<f64>> = (0..length).map(|j| told.iter().map(|t| t[j]).collect()).collect();
            let row = |(at, common): (usize, &[Vec<f64>; 3])| {
                let mut row = vec![0.0; self.sums.len()];
                let mut add = |factor: f64, what: &[f64]| {
                    row.iter_mut().zip(what).for_each(|(slot, w)| *slot += factor * w);
                };
                common.iter().zip(node.counts()).for_each(|(common, count)| add(count, common));
                for (j, (mine, t)) in mine.iter().zip(node.told(model, &other.sums[at])).enumerate() {
                    add(-sign_of(j, length) * t, mine);
                }
                for ((mine, theirs), sign) in self.taken[k].iter().zip(&other.taken[k]).zip(&self.signs) {
                    add(-sign * theirs[at], mine);
                }
                row
            };
            which.clone().zip(&common).map(row).collect()
        };
        model.nodes.iter().enumerate().map(of_node).collect()
    }

    /// What a reading at one of other spots takes off, see `taken`; with a sign of -1, what taking it back gives again: a reading of
    /// the variance -noise^2 is just that.
    pub(super) fn taken_by(&self, model: &Model, other: &Spots, which: usize, sign: f64) -> Vec<Vec<f64>> {
        let rows = self.covariances(model, other, which..which + 1);
        let of_node = |(k, (rows, node)): (usize, (Vec<Vec<f64>>, &Node))| {
            let square = sign * other.variances[k][which] + node.noise2;
            let root = square.max(f64::MIN_POSITIVE).sqrt();
            rows.into_iter().flatten().map(|c| c / root).collect()
        };
        rows.into_iter().zip(&model.nodes).enumerate().map(of_node).collect()
    }

    pub(super) fn take(&mut self, taken: Vec<Vec<f64>>, sign: f64) {
        for (k, taken) in taken.into_iter().enumerate() {
            self.variances[k].iter_mut().zip(&taken).for_each(|(v, t)| *v = (*v - sign * t * t).max(0.0));
            self.taken[k].push(taken);
        }
        self.signs.push(sign);
    }
}

/// Of what is [told](Node::told) the last three are added.
pub(super) fn sign_of(number: usize, of: usize) -> f64 {
    if number + 3 >= of { -1.0 } else { 1.0 }
}

/// An average over a model's nodes.
pub(super) fn over_nodes(model: &Model, of_node: impl Fn(usize, &Node) -> f64) -> f64 {
    model.nodes.iter().enumerate().map(|(k, node)| node.share * of_node(k, node)).sum()
}
