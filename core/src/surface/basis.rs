//! The readings' places in spectral form, with the vectors: what is reckoned for many noises and bends, and for many other places.

use super::dense::dot;
use super::places::Places;
use super::system::System;
use super::thin_plate::{kernel, scaled, unit};

/// See the module, and [`super::thin_plate`] for what the eigenvalues are.
#[derive(Debug)]
pub(crate) struct Basis {
    origin: [f64; 2],
    scale: f64,
    centres: Vec<[f64; 2]>,
    root: Vec<f64>,
    /// l_j for the kernel r^2 ln r in scaled coordinates, not negative.
    pub(crate) values: Vec<f64>,
    /// The eigenvectors, whitened: a row for each place.
    pub(crate) rows: Vec<Vec<f64>>,
    /// The least-squares plane's constant and its two slopes.
    planes: [Part; 3],
    /// Their covariances with each other, for tau = 1.
    grams: [[f64; 3]; 3],
}

/// A number of the least-squares plane: the constant, or a slope.
#[derive(Debug)]
struct Part {
    /// As a sum over the places' means.
    taken: Vec<f64>,
    /// That sum's covariance with the places, for tau = 1.
    bent: Vec<f64>,
    /// On an orthonormal basis of planes.
    plane: [f64; 3],
}

/// A sum of the surface's heights at places: what does not depend on noise and bend.
#[derive(Debug, Clone)]
pub(crate) struct Sum {
    /// Scaled coordinates and factors.
    terms: Vec<[f64; 3]>,
    /// The sum of 1, u and v.
    t: [f64; 3],
    /// Covariance with each [`Part`] of the plane, for tau = 1.
    to: [f64; 3],
    /// On an orthonormal basis of planes.
    on_planes: [f64; 3],
    /// The plane through the readings there, as a sum over the places' means.
    pub(crate) taken: Vec<f64>,
    /// Its variance for readings of variance 1.
    pub(crate) plane: f64,
    /// Variance of the bend beside that plane, for tau = 1.
    pub(crate) own: f64,
    /// Covariance of that with the readings' contrasts, for tau = 1.
    pub(crate) with: Vec<f64>,
}

impl Basis {
    /// Of three places or more that are not on one line.
    pub(crate) fn of(places: &Places) -> Basis {
        let b = places.bounds;
        let origin = [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])];
        let scale = unit(places.extent());
        let centres = scaled(places, origin, scale);
        let root: Vec<f64> = places.weight.iter().map(|w| w.sqrt()).collect();
        let system = System::of(&centres, &places.weight);
        let (values, rows) = system.eigenvectors();
        let planes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|t| {
            let (share, plane) = system.plane_at(t);
            let taken: Vec<f64> = share.iter().zip(&root).map(|(a, r)| a * r).collect();
            let to = |c: &[f64; 2]| -> f64 {
                taken.iter().zip(&centres).map(|(a, d)| a * kernel(c[0] - d[0], c[1] - d[1])).sum()
            };
            let bent = centres.iter().map(to).collect();
            Part { taken, bent, plane }
        });
        let grams = [0, 1, 2].map(|k: usize| [0, 1, 2].map(|l: usize| dot(&planes[k].taken, &planes[l].bent)));
        Basis { origin, scale, centres, root, values, rows, planes, grams }
    }

    /// A place in scaled coordinates.
    pub(crate) fn scaled(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale]
    }

    /// The unit of the scaled coordinates.
    pub(crate) fn scale(&self) -> f64 {
        self.scale
    }

    /// The places in scaled coordinates.
    pub(crate) fn centres(&self) -> &[[f64; 2]] {
        &self.centres
    }

    /// The roots of the places' weights.
    pub(crate) fn root(&self) -> &[f64] {
        &self.root
    }

    /// Numbers of the places on the eigenvectors.
    pub(crate) fn turned(&self, values: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; self.values.len()];
        for ((row, value), root) in self.rows.iter().zip(values).zip(&self.root) {
            let weighted = value * root;
            out.iter_mut().zip(row).for_each(|(slot, v)| *slot += v * weighted);
        }
        out
    }

    /// The surface's heights at places, each times a factor, added up.
    pub(crate) fn sum(&self, terms: &[([f64; 2], f64)]) -> Sum {
        let mut t = [0.0; 3];
        let mut to = vec![0.0; self.centres.len()];
        let place = |&(at, factor): &([f64; 2], f64)| {
            let [u, v] = self.scaled(at);
            [u, v, factor]
        };
        let terms: Vec<[f64; 3]> = terms.iter().map(place).collect();
        for [u, v, factor] in &terms {
            t = [t[0] + factor, t[1] + factor * u, t[2] + factor * v];
            for (slot, c) in to.iter_mut().zip(&self.centres) {
                *slot += factor * kernel(u - c[0], v - c[1]);
            }
        }
        let mut own = kernels(&terms, &terms);
        // The plane through the readings, as a sum of heights at the places, is taken off.
        let mut taken = vec![0.0; to.len()];
        let mut bent = vec![0.0; to.len()];
        let mut plane = [0.0; 3];
        for (share, part) in t.iter().zip(&self.planes) {
            taken.iter_mut().zip(&part.taken).for_each(|(slot, a)| *slot += share * a);
            bent.iter_mut().zip(&part.bent).for_each(|(slot, a)| *slot += share * a);
            plane.iter_mut().zip(&part.plane).for_each(|(slot, a)| *slot += share * a);
        }
        own += dot(&taken, &bent) - 2.0 * dot(&taken, &to);
        let along = [0, 1, 2].map(|k: usize| dot(&self.planes[k].taken, &to));
        to.iter_mut().zip(&bent).for_each(|(slot, b)| *slot -= b);
        let with = self.turned(&to);
        Sum { terms, t, to: along, on_planes: plane, taken, plane: dot(&plane, &plane), own, with }
    }

    /// Of two sums: the covariance of the planes through the readings, for readings of variance 1, and that of the bends beside them, for
    /// tau = 1.
    pub(crate) fn between(&self, a: &Sum, b: &Sum) -> [f64; 2] {
        let mut bend = kernels(&a.terms, &b.terms) - dot(&a.t, &b.to) - dot(&a.to, &b.t);
        bend += a.t.iter().zip(&self.grams).map(|(t, row)| t * dot(row, &b.t)).sum::<f64>();
        [dot(&a.on_planes, &b.on_planes), bend]
    }
}

/// The kernel between two lists of places, each times its factors.
fn kernels(a: &[[f64; 3]], b: &[[f64; 3]]) -> f64 {
    let of = |[u, v, factor]: &[f64; 3]| -> f64 { b.iter().map(|c| factor * c[2] * kernel(u - c[0], v - c[1])).sum() };
    a.iter().map(of).sum()
}
