//! The equations of a thin plate, and what is reckoned from them.
//!
//! With W the places' weights, K the kernel between places, T = [1 u v], K~ = W^1/2 K W^1/2 and so on, the coefficients are
//! w = W^1/2 c, where
//!
//! ```text
//! (K~ + theta) c + T~ d = y~        T~' c = 0
//! ```
//!
//! Three Householder reflections give an orthogonal Q = [Q1 Q2] with T~ = Q1 R, so that c = Q2 x with (M + theta) x = Q2' y~,
//! M = Q2' K~ Q2, which is positive definite (Duchon's kernel is so on all that is orthogonal to planes; Wahba 1990, section 2.4):
//! Cholesky's factor solves it at half the price of elimination. One step of refinement follows.

use super::dense::{Square, cores, dot, each};

/// The equations before theta is added.
#[derive(Debug, Clone)]
pub(super) struct System {
    /// Above the diagonal K~, whose diagonal is 0; below it, from row 3 on, M, and after [`System::factor`] its factor.
    square: Square,
    reflectors: Reflectors,
    root: Vec<f64>,
    theta: f64,
}

impl System {
    /// For places in scaled coordinates, three or more that are not on one line, with their weights.
    pub(super) fn of(centres: &[[f64; 2]], weights: &[f64]) -> System {
        let n = centres.len();
        let root: Vec<f64> = weights.iter().map(|w| w.sqrt()).collect();
        let reflectors = Reflectors::of(centres, &root);
        let axes = &reflectors.axes;
        let mut square = Square { n, from: 3, cells: vec![0.0; n * n] };
        // K~ above the diagonal, and its products with the three axes.
        each(cores(n), square.cells.chunks_mut(n).enumerate(), |(i, row)| {
            let (p, row) = (centres[i], &mut row[i + 1..]);
            for (slot, q) in row.iter_mut().zip(&centres[i + 1..]) {
                let (du, dv) = (p[0] - q[0], p[1] - q[1]);
                *slot = du * du + dv * dv;
            }
            super::log::kernels(row);
            for (slot, r) in row.iter_mut().zip(&root[i + 1..]) {
                *slot *= root[i] * r;
            }
        });
        let mut products = [vec![0.0; n], vec![0.0; n], vec![0.0; n]];
        for i in 0..n {
            let row = &square.row(i)[i + 1..];
            for (product, axis) in products.iter_mut().zip(axes) {
                let (own, later) = product[i..].split_at_mut(1);
                own[0] += dot(row, &axis[i + 1..]);
                for (slot, k) in later.iter_mut().zip(row) {
                    *slot += axis[i] * k;
                }
            }
        }
        // One reflection after the other, each from both sides: I - 2 v v' takes v q' + q v' off, q = 2 K v - 2 (v' K v) v, where K
        // has lost what those before took.
        let mut losses: [Vec<f64>; 3] = [vec![], vec![], vec![]];
        for s in 0..3 {
            let mut product = products[s].clone();
            for t in 0..s {
                let (by_q, by_v) = (dot(&losses[t], &axes[s]), dot(&axes[t], &axes[s]));
                for ((slot, v), q) in product.iter_mut().zip(&axes[t]).zip(&losses[t]) {
                    *slot -= v * by_q + q * by_v;
                }
            }
            let bend = dot(&axes[s], &product);
            losses[s] = product.iter().zip(&axes[s]).map(|(p, v)| 2.0 * (p - bend * v)).collect();
        }
        // The same below the diagonal, by blocks that stay in the cache while they are turned over.
        const BLOCK: usize = 32;
        for i0 in (3..n).step_by(BLOCK) {
            for j0 in (3..=i0).step_by(BLOCK) {
                for i in i0..n.min(i0 + BLOCK) {
                    for j in j0..(j0 + BLOCK).min(i + 1) {
                        let mut m = if i == j { 0.0 } else { square.cells[j * n + i] };
                        for (v, q) in axes.iter().zip(&losses) {
                            m -= v[i] * q[j] + q[i] * v[j];
                        }
                        square.cells[i * n + j] = m;
                    }
                }
            }
        }
        System { square, reflectors, root, theta: 0.0 }
    }

    /// M's eigenvalues, not negative, and the values of the places (before weighting) on its eigenvectors.
    pub(super) fn spectrum(&self, values: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut z = [self.weighted(values)];
        let eigenvalues = self.turned(&mut z);
        let [z] = z;
        (eigenvalues, z)
    }

    /// M's eigenvalues, and its eigenvectors as Q2 has them: a row for each place.
    pub(super) fn eigenvectors(&self) -> (Vec<f64>, Vec<Vec<f64>>) {
        let n = self.square.n;
        let unit = |i: usize| (0..n).map(|k| if k == i { 1.0 } else { 0.0 }).collect();
        let mut rows: Vec<Vec<f64>> = (0..n).map(unit).collect();
        (self.turned(&mut rows), rows)
    }

    /// M's eigenvalues; vectors over the places, weighted, are turned to its eigenvectors.
    fn turned(&self, vectors: &mut [Vec<f64>]) -> Vec<f64> {
        vectors.iter_mut().for_each(|v| self.reflectors.apply_transposed(v));
        let mut eigenvalues = self.square.clone().spectrum(vectors);
        // Rounding can make the smallest ones slightly negative.
        eigenvalues.iter_mut().for_each(|l| *l = l.max(0.0));
        eigenvalues
    }

    /// A plane's value as a sum over the weighted places, by least squares, and on an orthonormal basis of planes: `t` is 1 and the
    /// place's coordinates.
    pub(super) fn plane_at(&self, t: [f64; 3]) -> (Vec<f64>, [f64; 3]) {
        let h = self.reflectors.forward_substitute(t);
        let mut share = vec![0.0; self.square.n];
        share[..3].copy_from_slice(&h);
        self.reflectors.apply(&mut share);
        (share, h)
    }

    /// Adds theta and factors; `None` where places are so close together that rounding hides that M is positive definite.
    pub(super) fn factor(mut self, theta: f64) -> Option<System> {
        self.theta = theta;
        for i in 3..self.square.n {
            self.square.cells[i * self.square.n + i] += theta;
        }
        self.square.cholesky().then_some(self)
    }

    /// The coefficients and the plane for these values of the places; after [`System::factor`].
    pub(super) fn solve(&self, values: &[f64]) -> (Vec<f64>, [f64; 3]) {
        let y = self.weighted(values);
        let mut c = vec![0.0; y.len()];
        let mut rest = y.clone();
        for _ in 0..2 {
            self.reflectors.apply_transposed(&mut rest);
            rest[..3].fill(0.0);
            self.square.forward(&mut rest);
            self.square.backward(&mut rest);
            self.reflectors.apply(&mut rest);
            c.iter_mut().zip(&rest).for_each(|(c, more)| *c += more);
            rest = self.product(&c);
            rest.iter_mut().zip(&y).zip(&c).for_each(|((r, y), c)| *r = y - *r - self.theta * c);
        }
        self.reflectors.apply_transposed(&mut rest);
        let plane = self.reflectors.back_substitute([rest[0], rest[1], rest[2]]);
        c.iter_mut().zip(&self.root).for_each(|(c, root)| *c *= root);
        (c, plane)
    }

    /// tr((M + theta)^-1); after [`System::factor`].
    pub(super) fn trace_of_inverse(mut self) -> f64 {
        self.square.invert();
        (3..self.square.n).map(|i| dot(&self.square.row(i)[3..=i], &self.square.row(i)[3..=i])).sum()
    }

    /// The diagonal of Q2 (M + theta)^-1 Q2'; after [`System::factor`].
    pub(super) fn diagonal(mut self) -> Vec<f64> {
        self.square.invert();
        let n = self.square.n;
        let mut out = vec![0.0; n];
        let mut row = vec![0.0; n];
        for i in 3..n {
            row.fill(0.0);
            row[3..=i].copy_from_slice(&self.square.row(i)[3..=i]);
            self.reflectors.apply(&mut row);
            out.iter_mut().zip(&row).for_each(|(sum, v)| *sum += v * v);
        }
        out
    }

    fn weighted(&self, values: &[f64]) -> Vec<f64> {
        values.iter().zip(&self.root).map(|(y, root)| y * root).collect()
    }

    /// K~ c.
    fn product(&self, c: &[f64]) -> Vec<f64> {
        let n = c.len();
        let mut out = vec![0.0; n];
        for i in 0..n {
            let row = &self.square.row(i)[i + 1..];
            let (own, later) = out[i..].split_at_mut(1);
            own[0] += dot(row, &c[i + 1..]);
            for (slot, k) in later.iter_mut().zip(row) {
                *slot += c[i] * k;
            }
        }
        out
    }
}

/// The three Householder reflections that take W^1/2 [1 u v] to upper triangular form (Golub and Van Loan, *Matrix
/// Computations*, 4th ed., section 5.2).
#[derive(Debug, Clone)]
pub(super) struct Reflectors {
    /// Unit vectors v of I - 2 v v'.
    axes: [Vec<f64>; 3],
    /// The triangle, by rows.
    r: [[f64; 3]; 3],
}

impl Reflectors {
    pub(super) fn of(centres: &[[f64; 2]], root: &[f64]) -> Reflectors {
        let column = |k: usize| root.iter().zip(centres).map(|(w, c)| w * [1.0, c[0], c[1]][k]).collect::<Vec<f64>>();
        let mut t = [column(0), column(1), column(2)];
        let mut axes = [vec![], vec![], vec![]];
        for (k, slot) in axes.iter_mut().enumerate() {
            let mut axis = t[k].clone();
            axis[..k].fill(0.0);
            let length = dot(&axis, &axis).sqrt();
            axis[k] += if axis[k] < 0.0 { -length } else { length };
            let length = dot(&axis, &axis).sqrt();
            if length > 0.0 {
                axis.iter_mut().for_each(|v| *v /= length);
            }
            t.iter_mut().for_each(|column| reflect(&axis, column));
            *slot = axis;
        }
        let mut r = [[0.0; 3]; 3];
        for (i, row) in r.iter_mut().enumerate() {
            for (k, slot) in row.iter_mut().enumerate().skip(i) {
                *slot = t[k][i];
            }
        }
        Reflectors { axes, r }
    }

    /// Q' x.
    pub(super) fn apply_transposed(&self, x: &mut [f64]) {
        self.axes.iter().for_each(|axis| reflect(axis, x));
    }

    /// Q x.
    pub(super) fn apply(&self, x: &mut [f64]) {
        self.axes.iter().rev().for_each(|axis| reflect(axis, x));
    }

    /// R'^-1 t.
    fn forward_substitute(&self, t: [f64; 3]) -> [f64; 3] {
        let r = &self.r;
        let a = t[0] / r[0][0];
        let b = (t[1] - r[0][1] * a) / r[1][1];
        [a, b, (t[2] - r[0][2] * a - r[1][2] * b) / r[2][2]]
    }

    /// R^-1 b.
    pub(super) fn back_substitute(&self, b: [f64; 3]) -> [f64; 3] {
        let r = &self.r;
        let z = b[2] / r[2][2];
        let y = (b[1] - r[1][2] * z) / r[1][1];
        [(b[0] - r[0][1] * y - r[0][2] * z) / r[0][0], y, z]
    }
}

fn reflect(axis: &[f64], x: &mut [f64]) {
    let twice = 2.0 * dot(axis, x);
    x.iter_mut().zip(axis).for_each(|(x, a)| *x -= twice * a);
}
