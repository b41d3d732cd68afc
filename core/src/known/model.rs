//! The bed as a random surface, given its readings: what they leave open at any place.
//!
//! The sums are told in the docs of [`crate::known`].

use crate::order;
use crate::surface::basis::{self, Basis};
use crate::surface::places::{Places, count};
use core::f64::consts::{PI, SQRT_2};

/// Median of a bed's bend, mm: the prior's. The bend is tau times the readings' extent.
pub const USUAL_BEND: f64 = 0.1;
/// Standard deviation of the bend's logarithm: a factor of e either way.
pub const BEND_VARIES: f64 = 1.0;
/// Standard deviation of a bed's bow along x and along y, mm: from its middle to its edge, over the readings' extent.
pub const USUAL_BOW: f64 = 0.1;
/// Standard deviation of the logarithm of a spread as people state it: 95 in 100 are right to a factor of two.
pub const SPREAD_VARIES: f64 = 0.35;
/// Most places that the model takes one by one; beyond it neighbours are pooled.
pub const MAX_PLACES: usize = 400;

/// Nodes that carry less than this part of the weight of the heaviest are passed over.
const NEGLIGIBLE: f64 = 1e-3;

/// Readings for a model.
#[derive(Debug, Clone)]
pub(crate) struct Data {
    /// Where, mm.
    pub(crate) points: Vec<[f64; 2]>,
    /// Heights, mm.
    pub(crate) heights: Vec<f64>,
    /// (noise / own spread)^2 of each, where some have a spread of their own.
    pub(crate) weights: Option<Vec<f64>>,
    /// One standard deviation of a reading of weight 1 as the card states it, mm; above 0.
    pub(crate) noise: f64,
    /// What bends are measured over: the extent of all the card's readings, mm.
    pub(crate) extent: f64,
}

/// A random surface given readings.
#[derive(Debug)]
pub(crate) struct Model {
    pub(super) basis: Basis,
    pub(super) places: Places,
    /// Scaled coordinates times this are 1 at the extent's half.
    bow_unit: f64,
    /// The bows at the places.
    columns: Vec<[f64; 3]>,
    /// The same on the eigenvectors.
    bows: Vec<[f64; 3]>,
    pub(super) nodes: Vec<Node>,
}

/// One choice of noise and bend, and how much the readings speak for it.
#[derive(Debug)]
pub(super) struct Node {
    /// Its share of the posterior.
    pub(super) share: f64,
    /// Logarithm of it, less a constant.
    pub(super) log: f64,
    /// sigma^2.
    pub(super) noise2: f64,
    /// tau^2 for the kernel r^2 ln r in scaled coordinates.
    bend2: f64,
    /// D = 1 / (bend2 l_j + noise2).
    inverse: Vec<f64>,
    /// (I / bow^2 + F' D F)^-1, F the bows: C^-1 = D - D F core F' D (Woodbury 1950).
    core: [[f64; 3]; 3],
    /// C^-1 z.
    solved: Vec<f64>,
}

/// A sum of the surface's heights at places, as the model sees it: what does not depend on noise and bend.
#[derive(Debug, Clone)]
pub(crate) struct Sum {
    bend: basis::Sum,
    /// What a plane through the readings says.
    mean: f64,
    /// Its bow beside that plane, for bows of 1.
    bow: [f64; 3],
}

impl Model {
    /// `None` for readings that make no surface.
    pub(crate) fn of(data: &Data) -> Option<Model> {
        let (places, repeats) = pooled(data);
        if places.at.len() < 3 || places.breadth() < crate::surface::thin_plate::ON_ONE_LINE {
            return None;
        }
        let basis = Basis::of(&places);
        let z = basis.turned(&places.mean);
        let bow_unit = basis.scale() / (0.5 * data.extent);
        let columns: Vec<[f64; 3]> = basis.centres().iter().map(|c| bow_columns(*c, bow_unit)).collect();
        let [a, b, c] = [0, 1, 2].map(|k| basis.turned(&columns.iter().map(|column| column[k]).collect::<Vec<f64>>()));
        let bows = a.iter().zip(&b).zip(&c).map(|((a, b), c)| [*a, *b, *c]).collect();
        let mut model = Model { basis, places, bow_unit, columns, bows, nodes: Vec::new() };
        model.weigh(data, &z, repeats);
        model.nodes.iter().all(|n| n.share.is_finite()).then_some(model)
    }

    /// Noise and bend: the grid's nodes with their shares, finer where the readings tell them well.
    fn weigh(&mut self, data: &Data, z: &[f64], repeats: f64) {
        // tau^2 in scaled coordinates: bend = tau extent, and E(r) = r^2 ln r / (8 pi) with r in mm.
        let unit = self.basis.scale() / data.extent;
        let node = |[bend, noise]: [f64; 2]| {
            let prior = (bend / BEND_VARIES) * (bend / BEND_VARIES) + (noise / SPREAD_VARIES) * (noise / SPREAD_VARIES);
            let (sigma, size) = (data.noise * libm::exp(noise), USUAL_BEND * libm::exp(bend) * unit);
            let mut node = self.node(z, sigma * sigma, size * size / (8.0 * PI));
            node.log -= 0.5 * prior + 0.5 * self.places.within / node.noise2 + repeats * libm::log(sigma);
            node
        };
        // Middle and step of each axis, in logarithms.
        const STEPS: [i32; 2] = [7, 3];
        let (mut middle, mut step) = ([0.0, 0.0], [0.5 * BEND_VARIES, SPREAD_VARIES]);
        let mut nodes = Vec::new();
        for _ in 0..4 {
            let mut at = Vec::new();
            nodes = Vec::new();
            for i in -STEPS[0]..=STEPS[0] {
                for j in -STEPS[1]..=STEPS[1] {
                    let place = [middle[0] + step[0] * f64::from(i), middle[1] + step[1] * f64::from(j)];
                    at.push(place);
                    nodes.push(node(place));
                }
            }
            share_out(&mut nodes);
            // A grid whose steps are small beside what it measures will do.
            let mut fine = true;
            for axis in [0, 1] {
                let expected = |of: &dyn Fn(f64) -> f64| -> f64 {
                    at.iter().zip(&nodes).map(|(p, n)| n.share * of(p[axis])).sum()
                };
                let mean = expected(&|v| v);
                let deviation = expected(&|v| (v - mean) * (v - mean)).sqrt();
                if deviation < 0.8 * step[axis] {
                    fine = false;
                    step[axis] = (3.0 * deviation).max(step[axis]) / f64::from(STEPS[axis]);
                    middle[axis] = mean;
                }
            }
            if fine {
                break;
            }
        }
        let heaviest = nodes.iter().fold(0.0_f64, |a, n| a.max(n.share));
        nodes.retain(|n| n.share >= NEGLIGIBLE * heaviest);
        share_out(&mut nodes);
        self.nodes = nodes;
    }

    fn node(&self, z: &[f64], noise2: f64, bend2: f64) -> Node {
        let inverse: Vec<f64> = self.basis.values.iter().map(|l| 1.0 / (bend2 * l + noise2)).collect();
        let mut inner = [[0.0; 3]; 3];
        let mut right = [0.0; 3];
        let mut log = 0.0;
        for ((d, f), z) in inverse.iter().zip(&self.bows).zip(z) {
            for k in 0..3 {
                right[k] += d * z * f[k];
                (0..3).for_each(|l| inner[k][l] += d * f[k] * f[l]);
            }
            log += 0.5 * libm::log(*d) - 0.5 * d * z * z;
        }
        (0..3).for_each(|k| inner[k][k] += 1.0 / (USUAL_BOW * USUAL_BOW));
        let (core, determinant) = inverted(inner);
        let share = times(&core, right);
        log += 0.5 * dot3(right, share) - 0.5 * libm::log(determinant);
        let solved = inverse.iter().zip(&self.bows).zip(z).map(|((d, f), z)| d * (z - dot3(*f, share))).collect();
        Node { share: 0.0, log, noise2, bend2, inverse, core, solved }
    }

    /// The same with another's nodes: their noise, bend and shares.
    #[cfg(test)]
    pub(super) fn with_nodes_of(mut self, other: &Model) -> Model {
        let z = self.basis.turned(&self.places.mean);
        let node = |n: &Node| Node { share: n.share, ..self.node(&z, n.noise2, n.bend2) };
        self.nodes = other.nodes.iter().map(node).collect();
        self
    }

    /// The surface's heights at places, each times a factor, added up.
    pub(crate) fn sum(&self, terms: &[([f64; 2], f64)]) -> Sum {
        let bend = self.basis.sum(terms);
        let mut bow = [0.0; 3];
        for &(at, factor) in terms {
            add(&mut bow, factor, bow_columns(self.basis.scaled(at), self.bow_unit));
        }
        let mut mean = 0.0;
        for ((a, m), column) in bend.taken.iter().zip(&self.places.mean).zip(&self.columns) {
            mean += a * m;
            add(&mut bow, -a, *column);
        }
        Sum { bend, mean, bow }
    }

    /// Expected value and variance of a sum, noise and bend as uncertain as the readings leave them.
    pub(crate) fn moments(&self, sum: &Sum) -> [f64; 2] {
        let (mut mean, mut square) = (0.0, 0.0);
        for node in &self.nodes {
            let [m, v] = node.moments(self, sum);
            mean += node.share * m;
            square += node.share * (v + m * m);
        }
        // The plane's part apart, so that the difference keeps its digits where heights are far from 0.
        [sum.mean + mean, (square - mean * mean).max(0.0)]
    }

    /// The noise, mm, and the bend, mm, that the readings speak for: means of their logarithms.
    pub(crate) fn noise_and_bend(&self, extent: f64) -> [f64; 2] {
        let (mut noise, mut bend) = (0.0, 0.0);
        for node in &self.nodes {
            noise += node.share * 0.5 * libm::log(node.noise2);
            bend += node.share * 0.5 * libm::log(node.bend2);
        }
        [libm::exp(noise), libm::exp(bend) * extent / self.basis.scale() * (8.0 * PI).sqrt()]
    }
}

impl Model {
    /// What two sums have in common before the readings' contrasts are known: the planes for readings of variance 1, the bends for tau = 1,
    /// the bows for bows of 1.
    pub(super) fn common(&self, a: &Sum, b: &Sum) -> [f64; 3] {
        let [plane, bend] = self.basis.between(&a.bend, &b.bend);
        [plane, bend, dot3(a.bow, b.bow)]
    }
}

impl Node {
    /// How much each number of [`Model::common`] counts.
    pub(super) fn counts(&self) -> [f64; 3] {
        [self.noise2, self.bend2, USUAL_BOW * USUAL_BOW]
    }

    /// What the readings tell of a sum, as numbers: the products of two such lists, the last three with a minus, are to be taken off what
    /// the two have in common.
    pub(super) fn told(&self, model: &Model, sum: &Sum) -> Vec<f64> {
        let mut through = [0.0; 3];
        let mut told = Vec::with_capacity(self.inverse.len() + 3);
        for ((with, f), d) in sum.bend.with.iter().zip(&model.bows).zip(&self.inverse) {
            let covariance = self.bend2 * with + USUAL_BOW * USUAL_BOW * dot3(*f, sum.bow);
            add(&mut through, d * covariance, *f);
            told.push(d.sqrt() * covariance);
        }
        told.extend(lower(&self.core, through));
        told
    }

    /// Expected value beside the plane's, and variance.
    pub(super) fn moments(&self, model: &Model, sum: &Sum) -> [f64; 2] {
        let bow2 = USUAL_BOW * USUAL_BOW;
        let (mut mean, mut explained, mut through) = (0.0, 0.0, [0.0; 3]);
        for (j, with) in sum.bend.with.iter().enumerate() {
            let f = model.bows[j];
            let covariance = self.bend2 * with + bow2 * dot3(f, sum.bow);
            mean += covariance * self.solved[j];
            let d = self.inverse[j] * covariance;
            explained += d * covariance;
            add(&mut through, d, f);
        }
        explained -= dot3(through, times(&self.core, through));
        let all = self.noise2 * sum.bend.plane + self.bend2 * sum.bend.own + bow2 * dot3(sum.bow, sum.bow);
        [mean, (all - explained).max(0.0)]
    }

    /// Diagonal of V C^-1 V' and its product with the whitened means: what leaving out needs, place by place.
    pub(super) fn left_out(&self, model: &Model) -> Vec<[f64; 2]> {
        let of_row = |row: &Vec<f64>| {
            let (mut diagonal, mut signal, mut through) = (0.0, 0.0, [0.0; 3]);
            for (j, v) in row.iter().enumerate() {
                let d = v * self.inverse[j];
                diagonal += v * d;
                signal += v * self.solved[j];
                add(&mut through, d, model.bows[j]);
            }
            [diagonal - dot3(through, times(&self.core, through)), signal]
        };
        model.basis.rows.iter().map(of_row).collect()
    }
}

/// Shares from logarithms.
fn share_out(nodes: &mut [Node]) {
    let highest = nodes.iter().fold(f64::NEG_INFINITY, |a, n| a.max(n.log));
    let mut sum = 0.0;
    for node in nodes.iter_mut() {
        node.share = libm::exp(node.log - highest);
        sum += node.share;
    }
    nodes.iter_mut().for_each(|n| n.share /= sum);
}

/// u^2, sqrt(2) u v and v^2, u and v from -1 to 1 over the extent: independent coefficients of one size make bows that are as likely in any
/// direction.
fn bow_columns([u, v]: [f64; 2], unit: f64) -> [f64; 3] {
    let (u, v) = (u * unit, v * unit);
    [u * u, SQRT_2 * u * v, v * v]
}

fn dot3(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn times(m: &[[f64; 3]; 3], x: [f64; 3]) -> [f64; 3] {
    [dot3(m[0], x), dot3(m[1], x), dot3(m[2], x)]
}

fn add(to: &mut [f64; 3], factor: f64, what: [f64; 3]) {
    to.iter_mut().zip(what).for_each(|(slot, w)| *slot += factor * w);
}

/// L' x, where L L' is the symmetric positive definite matrix (Cholesky).
fn lower(m: &[[f64; 3]; 3], x: [f64; 3]) -> [f64; 3] {
    let root = |v: f64| v.max(f64::MIN_POSITIVE).sqrt();
    let a = root(m[0][0]);
    let [b, c] = [m[1][0] / a, m[2][0] / a];
    let d = root(m[1][1] - b * b);
    let e = (m[2][1] - b * c) / d;
    let f = root(m[2][2] - c * c - e * e);
    [a * x[0] + b * x[1] + c * x[2], d * x[1] + e * x[2], f * x[2]]
}

/// Inverse and determinant of a symmetric positive definite matrix, by cofactors.
fn inverted([a, b, c]: [[f64; 3]; 3]) -> ([[f64; 3]; 3], f64) {
    let cross =
        |p: [f64; 3], q: [f64; 3]| [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]];
    let cofactors = [cross(b, c), cross(c, a), cross(a, b)];
    let determinant = dot3(a, cofactors[0]).max(f64::MIN_POSITIVE);
    (cofactors.map(|row| row.map(|v| v / determinant)), determinant)
}

/// The readings' places, and how many readings more there are than places; where there are too many places those within a square of a grid
/// are taken together, at their centre of gravity, which keeps whatever a plane says.
fn pooled(data: &Data) -> (Places, f64) {
    let places = Places::pool(&data.points, &data.heights, data.weights.as_deref());
    let repeats = count(data.points.len() - places.at.len());
    if places.at.len() <= MAX_PLACES {
        return (places, repeats);
    }
    // As many squares as places are wanted, at the most.
    let side = places.extent() / (count(MAX_PLACES).sqrt() - 1.0);
    let [x0, y0, ..] = places.bounds;
    let square = |k: usize| {
        let at = places.at[k];
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 20")]
        let square = [((at[0] - x0) / side) as u32, ((at[1] - y0) / side) as u32];
        square
    };
    let mut by_square: Vec<usize> = (0..places.at.len()).collect();
    order::sort_by_key(&mut by_square, |&k| square(k));
    let (mut points, mut means, mut weights) = (Vec::new(), Vec::new(), Vec::new());
    for group in by_square.chunk_by(|&a, &b| square(a) == square(b)) {
        let [mut weight, mut x, mut y, mut h] = [0.0; 4];
        for &k in group {
            let w = places.weight[k];
            weight += w;
            x += w * places.at[k][0];
            y += w * places.at[k][1];
            h += w * places.mean[k];
        }
        points.push([x / weight, y / weight]);
        means.push(h / weight);
        weights.push(weight);
    }
    let mut pooled = Places::pool(&points, &means, Some(&weights));
    pooled.within = places.within;
    (pooled, repeats)
}
