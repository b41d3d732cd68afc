//! Dense symmetric matrices, for fits of up to some thousand places: Cholesky's factor, its inverse, and eigenvalues.
//!
//! All sums run in a fixed order, two or more lanes side by side where that pays, so that a machine with vectors and one without
//! give the same bits. No operation is fused.

/// Rows and columns that are eliminated together.
const WIDE: usize = 96;
/// Columns whose panel stays in the fastest cache while all rows pass.
const CACHED: usize = 24;
/// Rows that one core takes at a time.
const STRIP: usize = 96;

/// A square matrix, row by row. Below the diagonal and on it is what is worked on, from row and column `from` on; above the
/// diagonal it keeps what it was given.
#[derive(Debug, Clone)]
pub(super) struct Square {
    pub(super) n: usize,
    pub(super) from: usize,
    pub(super) cells: Vec<f64>,
}

impl Square {
    pub(super) fn row(&self, i: usize) -> &[f64] {
        &self.cells[i * self.n..(i + 1) * self.n]
    }

    /// Takes the lower triangle to its Cholesky factor (Golub and Van Loan, *Matrix Computations*, 4th ed., section 4.2: by blocks,
    /// so that most of the work is products of blocks in the cache). Whether the matrix is positive definite as far as rounding
    /// tells.
    pub(super) fn cholesky(&mut self) -> bool {
        self.cholesky_on(cores(self.n))
    }

    /// The same on so many cores. Each row is one core's, and what is done to it does not hang on whose: the bits are the same.
    fn cholesky_on(&mut self, cores: usize) -> bool {
        let Square { n, from, ref mut cells } = *self;
        let mut panel = vec![[0.0; WIDE]; n];
        for at in (from..n).step_by(WIDE) {
            let end = n.min(at + WIDE);
            let (above, below) = cells.split_at_mut(end * n);
            if !diagonal_block(above, n, at, end) {
                return false;
            }
            let panel = &mut panel[end..];
            let rows = below.chunks_mut(STRIP * n).zip(panel.chunks_mut(STRIP));
            each(cores, rows, |(cells, panel)| below_block(cells, above, n, at, panel));
            let panel = &*panel;
            each(cores, (0..).step_by(STRIP).zip(below.chunks_mut(STRIP * n)), |(first, cells)| {
                less_panel_widely(Strip { n, first, cells }, end, panel);
            });
        }
        true
    }

    /// L^-1 b in place, from `from` on; after [`Square::cholesky`].
    pub(super) fn forward(&self, b: &mut [f64]) {
        for i in self.from..self.n {
            let row = &self.row(i)[self.from..=i];
            let k = i - self.from;
            b[i] = (b[i] - dot(&row[..k], &b[self.from..i])) / row[k];
        }
    }

    /// L'^-1 b in place, from `from` on; after [`Square::cholesky`].
    pub(super) fn backward(&self, b: &mut [f64]) {
        for i in (self.from..self.n).rev() {
            let row = &self.row(i)[self.from..=i];
            let (done, left) = b.split_at_mut(i);
            left[0] /= row[i - self.from];
            for (slot, l) in done[self.from..].iter_mut().zip(row) {
                *slot -= left[0] * l;
            }
        }
    }

    /// Takes Cholesky's factor to its inverse, which is lower triangular too.
    pub(super) fn invert(&mut self) {
        let (n, from) = (self.n, self.from);
        // Four rows at a time, so that what is above them is read once for the four.
        let mut fresh = vec![0.0; 4 * n];
        for at in (from..n).step_by(4) {
            let rows = 4.min(n - at);
            fresh.fill(0.0);
            let (above, here) = self.cells.split_at_mut(at * n);
            for k in from..at {
                let done = &above[k * n + from..=k * n + k];
                let factors = [0, 1, 2, 3].map(|r| if r < rows { here[r * n + k] } else { 0.0 });
                let mut parts = fresh.chunks_exact_mut(n).map(|row| &mut row[from..=k]);
                if let (Some(a), Some(b), Some(c), Some(d)) = (parts.next(), parts.next(), parts.next(), parts.next()) {
                    for ((((v, a), b), c), d) in done.iter().zip(a).zip(b).zip(c).zip(d) {
                        *a += factors[0] * v;
                        *b += factors[1] * v;
                        *c += factors[2] * v;
                        *d += factors[3] * v;
                    }
                }
            }
            for r in 0..rows {
                let i = at + r;
                let (before, own) = fresh.split_at_mut(r * n);
                for (q, row) in before.chunks_exact(n).enumerate() {
                    let factor = here[r * n + at + q];
                    for (slot, v) in own[from..i].iter_mut().zip(&row[from..i]) {
                        *slot += factor * v;
                    }
                }
                let own = &mut own[..n];
                let diagonal = 1.0 / here[r * n + i];
                own[from..i].iter_mut().for_each(|v| *v *= -diagonal);
                own[i] = diagonal;
            }
            for r in 0..rows {
                here[r * n + from..=r * n + at + r].copy_from_slice(&fresh[r * n + from..=r * n + at + r]);
            }
        }
    }

    /// The eigenvalues of the lower triangle; the vectors are turned to the eigenvectors, which belong to them.
    ///
    /// By Householder reflections to tridiagonal form, from the last row up, and by QL steps with implicit shifts (Golub and Van
    /// Loan, section 8.3; as in J. H. Wilkinson, C. Reinsch, *Linear Algebra*, 1971, II/2 and II/3). No vectors are kept
    /// but those that are given, which become as short as the eigenvalues are many. The lower triangle is lost.
    pub(super) fn spectrum(mut self, vectors: &mut [Vec<f64>]) -> Vec<f64> {
        let (n, from) = (self.n, self.from);
        let (mut diagonal, mut off) = (vec![0.0; n], vec![0.0; n]);
        // The reflection before, which the rows above it still lack: they lose v q' + q v'.
        let (mut v, mut q) = (vec![0.0; n], vec![0.0; n]);
        let (mut next, mut product) = (vec![0.0; n], vec![0.0; n]);
        for i in (from..n).rev() {
            let (above, here) = self.cells.split_at_mut(i * n);
            let row = &mut here[from..=i];
            for ((a, v_l), q_l) in row.iter_mut().zip(&v[from..=i]).zip(&q[from..=i]) {
                *a -= v[i] * q_l + q[i] * v_l;
            }
            diagonal[i] = row[i - from];
            let row = &row[..i - from];
            if row.is_empty() {
                break;
            }
            // I - 2 u u' takes the row to its last number.
            next[from..i].copy_from_slice(row);
            let length = dot(row, row).sqrt();
            let last = next[i - 1];
            off[i] = if last > 0.0 { -length } else { length };
            next[i - 1] = last - off[i];
            let norm = dot(&next[from..i], &next[from..i]).sqrt();
            if norm > 0.0 {
                next[from..i].iter_mut().for_each(|x| *x /= norm);
            }
            product[from..i].fill(0.0);
            for j in (from..i).step_by(2) {
                catch_up(above, n, [from, j, i], [&v, &q, &next], &mut product);
            }
            // u and what the rows lose with it: 2 (A u) - 2 (u' A u) u.
            let bend = dot(&next[from..i], &product[from..i]);
            for l in from..i {
                v[l] = next[l];
                q[l] = 2.0 * (product[l] - bend * next[l]);
            }
            for z in vectors.iter_mut() {
                let along = dot(&v[from..i], &z[from..i]);
                z[from..i].iter_mut().zip(&v[from..i]).for_each(|(z, v)| *z -= 2.0 * along * v);
            }
        }
        let mut values = diagonal.split_off(from);
        let mut off = off.split_off((from + 1).min(n));
        vectors.iter_mut().for_each(|z| *z = z.split_off(from));
        tridiagonal(&mut values, &mut off, vectors);
        values
    }
}

/// Brings rows `j` and `j + 1` (below `end`) up to date by `v` and `q`, and adds what they give to the product with `u`.
fn catch_up(cells: &mut [f64], n: usize, [from, j, end]: [usize; 3], [v, q, u]: [&[f64]; 3], product: &mut [f64]) {
    let two = j + 1 < end;
    let (first, second) = cells[j * n..].split_at_mut(n);
    let first = &mut first[from..=j];
    let second = if two { &mut second[from..=j + 1] } else { &mut second[..0] };
    let k = first.len();
    let (vs, qs, us) = (&v[from..=j], &q[from..=j], &u[from..=j]);
    let [vj, qj, uj] = [v[j], q[j], u[j]];
    let [vk, qk, uk] = if two { [v[j + 1], q[j + 1], u[j + 1]] } else { [0.0; 3] };
    let mut sums = [[0.0; 2]; 2];
    if two {
        let (ps, _) = product[from..=j].as_chunks_mut::<2>();
        let (a_s, _) = first.as_chunks_mut::<2>();
        let (b_s, _) = second[..k].as_chunks_mut::<2>();
        let ((vp, _), (qp, _), (up, _)) = (vs.as_chunks::<2>(), qs.as_chunks::<2>(), us.as_chunks::<2>());
        for (((((a, b), p), v), q), u) in a_s.iter_mut().zip(b_s).zip(ps).zip(vp).zip(qp).zip(up) {
            for l in 0..2 {
                a[l] -= vj * q[l] + qj * v[l];
                b[l] -= vk * q[l] + qk * v[l];
                sums[0][l] += a[l] * u[l];
                sums[1][l] += b[l] * u[l];
                p[l] += a[l] * uj + b[l] * uk;
            }
        }
    } else {
        let even = k - k % 2;
        for l in 0..even {
            first[l] -= vj * qs[l] + qj * vs[l];
            sums[0][l % 2] += first[l] * us[l];
            product[from + l] += first[l] * uj;
        }
    }
    // An odd last number, and the numbers on the diagonal, which count once.
    let mut extra = [sums[0][0] + sums[0][1], sums[1][0] + sums[1][1]];
    if k % 2 == 1 {
        let l = k - 1;
        first[l] -= vj * qs[l] + qj * vs[l];
        extra[0] += first[l] * us[l];
        product[from + l] += first[l] * uj;
        if two {
            second[l] -= vk * qs[l] + qk * vs[l];
            extra[1] += second[l] * us[l];
            product[from + l] += second[l] * uk;
        }
    }
    product[j] += extra[0] - first[k - 1] * uj;
    if two {
        second[k] -= 2.0 * vk * qk;
        product[j + 1] += extra[1] + second[k] * uk;
    }
}

/// The factor of the block on the diagonal.
fn diagonal_block(cells: &mut [f64], n: usize, at: usize, end: usize) -> bool {
    for i in at..end {
        let (above, row) = cells.split_at_mut(i * n);
        let row = &mut row[at..=i];
        for j in at..i {
            let k = j - at;
            let other = &above[j * n + at..=j * n + j];
            row[k] = (row[k] - dot(&row[..k], &other[..k])) / other[k];
        }
        let k = i - at;
        let rest = row[k] - dot(&row[..k], &row[..k]);
        // What is not a number is not positive either.
        if rest.is_nan() || rest <= 0.0 {
            return false;
        }
        row[k] = rest.sqrt();
    }
    true
}

/// Some of the rows below a block, whole: those from number `first` on, counted from the block's end.
struct Strip<'a> {
    n: usize,
    first: usize,
    cells: &'a mut [f64],
}

impl Strip<'_> {
    fn row(&mut self, i: usize) -> &mut [f64] {
        let at = (i - self.first) * self.n;
        &mut self.cells[at..at + self.n]
    }
}

/// Matrices of fewer rows than this are soonest done on one core.
const MANY: usize = 500;

/// How many cores a matrix of `n` rows is worth.
pub(super) fn cores(n: usize) -> usize {
    if cfg!(target_arch = "wasm32") || n < MANY {
        return 1;
    }
    std::thread::available_parallelism().map_or(1, core::num::NonZeroUsize::get)
}

/// Does `work` on every part, on so many cores, each taking the next as it is done with one. (Where no thread can be had, this one does it
/// all.)
pub(super) fn each<T: Send>(cores: usize, parts: impl Iterator<Item = T> + Send, work: impl Fn(T) + Sync) {
    if cfg!(target_arch = "wasm32") || cores < 2 {
        parts.for_each(work);
        return;
    }
    let left = std::sync::Mutex::new(parts);
    let next = || left.lock().unwrap_or_else(std::sync::PoisonError::into_inner).next();
    let take = || {
        while let Some(part) = next() {
            work(part);
        }
    };
    #[expect(
        clippy::disallowed_methods,
        reason = "no stream is cut: threads that end with the fit, and change no bit of it"
    )]
    std::thread::scope(|scope| {
        for _ in 1..cores {
            if std::thread::Builder::new().spawn_scoped(scope, take).is_err() {
                break;
            }
        }
        take();
    });
}

/// The factor's rows below the block whose rows end `above`, four at a time, and once more in the panel.
fn below_block(cells: &mut [f64], above: &[f64], n: usize, at: usize, panel: &mut [[f64; WIDE]]) {
    let end = above.len() / n;
    let wide = end - at;
    for (cells, panel) in cells.chunks_mut(4 * n).zip(panel.chunks_mut(4)) {
        let mut x = [[0.0; WIDE]; 4];
        for (own, cells) in x.iter_mut().zip(cells.chunks_exact(n)) {
            own[..wide].copy_from_slice(&cells[at..end]);
        }
        // Two columns at a time: what the columns before them take off first, by the same products.
        let row = |j: usize| &above[(at + j) * n + at..=(at + j) * n + at + j];
        for j in (0..wide).step_by(2) {
            let (first, second) = (row(j), if j + 1 < wide { row(j + 1) } else { row(j) });
            let mut sums = [[[0.0; 2]; 2]; 4];
            let ((a, _), (b, _)) = (first[..j].as_chunks::<2>(), second[..j].as_chunks::<2>());
            for (k, columns) in a.iter().zip(b).enumerate() {
                let columns = [columns.0, columns.1];
                for (sums, own) in sums.iter_mut().zip(&x) {
                    let own = [own[2 * k], own[2 * k + 1]];
                    for (sum, column) in sums.iter_mut().zip(columns) {
                        for lane in 0..2 {
                            sum[lane] += own[lane] * column[lane];
                        }
                    }
                }
            }
            for (sums, own) in sums.iter().zip(&mut x) {
                own[j] = (own[j] - (sums[0][0] + sums[0][1])) / first[j];
                if j + 1 < wide {
                    let sum = sums[1][0] + sums[1][1] + second[j] * own[j];
                    own[j + 1] = (own[j + 1] - sum) / second[j + 1];
                }
            }
        }
        for ((own, cells), panel) in x.iter().zip(cells.chunks_exact_mut(n)).zip(panel) {
            cells[at..end].copy_from_slice(&own[..wide]);
            *panel = *own;
        }
    }
}

/// The same by the widest vectors of this machine. They only do more sums side by side: the bits are the same.
fn less_panel_widely(strip: Strip<'_>, end: usize, panel: &[[f64; WIDE]]) {
    #[cfg(target_arch = "x86_64")]
    pulp::Arch::new().dispatch(Less { strip, end, panel });
    #[cfg(not(target_arch = "x86_64"))]
    less_panel(strip, end, panel);
}

/// [`less_panel`], to be compiled for several machines.
#[cfg(target_arch = "x86_64")]
struct Less<'a> {
    strip: Strip<'a>,
    end: usize,
    panel: &'a [[f64; WIDE]],
}

#[cfg(target_arch = "x86_64")]
impl pulp::WithSimd for Less<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) {
        less_panel(self.strip, self.end, self.panel);
    }
}

/// Takes the panel's products from these rows, as far as they are in the lower triangle. Rows and columns are counted from the block's `end`.
#[inline(always)]
fn less_panel(mut strip: Strip<'_>, end: usize, panel: &[[f64; WIDE]]) {
    let rows = strip.first..strip.first + strip.cells.len() / strip.n;
    for first in (0..rows.end).step_by(CACHED) {
        for i in (rows.start.max(first)..rows.end).step_by(4) {
            less_columns(&mut strip, end, panel, i..rows.end.min(i + 4), first..rows.end.min(first + CACHED));
        }
    }
}

/// The same of some of the columns, from up to four rows.
#[inline(always)]
fn less_columns(
    strip: &mut Strip<'_>,
    end: usize,
    panel: &[[f64; WIDE]],
    rows: core::ops::Range<usize>,
    columns: core::ops::Range<usize>,
) {
    let last = columns.end.min(rows.end);
    let mut j = columns.start;
    if rows.len() == 4 {
        let i = rows.start;
        let own = [&panel[i], &panel[i + 1], &panel[i + 2], &panel[i + 3]];
        while j + 2 <= columns.end && j < last {
            let sums = products(own, [&panel[j], &panel[j + 1]]);
            for (r, sums) in sums.iter().enumerate() {
                for (c, sum) in sums.iter().enumerate() {
                    if j + c <= i + r {
                        strip.row(i + r)[end + j + c] -= sum;
                    }
                }
            }
            j += 2;
        }
    }
    for i in rows {
        for c in j..last.min(i + 1) {
            strip.row(i)[end + c] -= dot(&panel[i], &panel[c]);
        }
    }
}

/// The products of four rows with two: eight sums of two lanes, as many as registers hold.
#[inline(always)]
fn products(rows: [&[f64; WIDE]; 4], columns: [&[f64; WIDE]; 2]) -> [[f64; 2]; 4] {
    let mut sums = [[[0.0; 2]; 2]; 4];
    for k in 0..WIDE / 2 {
        let b = columns.map(|c| [c[2 * k], c[2 * k + 1]]);
        for (sums, row) in sums.iter_mut().zip(rows) {
            let a = [row[2 * k], row[2 * k + 1]];
            for (sum, b) in sums.iter_mut().zip(b) {
                for lane in 0..2 {
                    sum[lane] += a[lane] * b[lane];
                }
            }
        }
    }
    sums.map(|row| row.map(|s| s[0] + s[1]))
}

/// The inner product of two lists of one length.
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let ((a8, a_rest), (b8, b_rest)) = (a.as_chunks::<8>(), b.as_chunks::<8>());
    for (x, y) in a8.iter().zip(b8) {
        for ((sum, x), y) in sums.iter_mut().zip(x).zip(y) {
            *sum += x * y;
        }
    }
    let all = ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
    a_rest.iter().zip(b_rest).fold(all, |sum, (x, y)| sum + x * y)
}

/// QL steps with implicit shifts; `off[k]` couples `values[k]` and `values[k + 1]`.
fn tridiagonal(values: &mut [f64], off: &mut Vec<f64>, vectors: &mut [Vec<f64>]) {
    let n = values.len();
    off.resize(n, 0.0);
    for l in 0..n {
        // Two steps a value are usual; no matrix is known that needs thirty.
        for _ in 0..60 {
            let split = (l..n - 1).find(|&m| {
                let near = values[m].abs() + values[m + 1].abs();
                off[m].abs() <= f64::EPSILON * near
            });
            let m = split.unwrap_or(n - 1);
            if m == l {
                break;
            }
            let g = (values[l + 1] - values[l]) / (2.0 * off[l]);
            let r = (g * g + 1.0).sqrt();
            let mut g = values[m] - values[l] + off[l] / (g + if g < 0.0 { -r } else { r });
            let (mut s, mut c, mut p) = (1.0, 1.0, 0.0);
            let mut early = false;
            for i in (l..m).rev() {
                let (f, b) = (s * off[i], c * off[i]);
                let r = (f * f + g * g).sqrt();
                off[i + 1] = r;
                if r == 0.0 {
                    values[i + 1] -= p;
                    off[m] = 0.0;
                    early = true;
                    break;
                }
                (s, c) = (f / r, g / r);
                let g1 = values[i + 1] - p;
                let r = (values[i] - g1) * s + 2.0 * c * b;
                p = s * r;
                values[i + 1] = g1 + p;
                g = c * r - b;
                for z in vectors.iter_mut() {
                    (z[i], z[i + 1]) = (c * z[i] - s * z[i + 1], s * z[i] + c * z[i + 1]);
                }
            }
            if !early {
                values[l] -= p;
                off[l] = g;
                off[m] = 0.0;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, SymmetricEigen};

    /// A matrix that is positive definite, in the lower triangle from row 3 on.
    fn square(m: usize) -> (Square, DMatrix<f64>) {
        let at = |i: usize, j: usize| {
            let d = libm::sin(1.7 * f64::from(u32::try_from(i * 31 + j * 17 + i * j).unwrap_or(0)));
            0.3 * d + if i == j { 2.0 } else { 0.0 }
        };
        let a = DMatrix::from_fn(m, m + 2, at);
        let whole = &a * a.transpose();
        let n = m + 3;
        let mut cells = vec![f64::NAN; n * n];
        for i in 0..m {
            for j in 0..=i {
                cells[(i + 3) * n + j + 3] = whole[(i, j)];
            }
        }
        (Square { n, from: 3, cells }, whole)
    }

    #[test]
    fn factor_solution_and_inverse() {
        for m in [1, 2, 3, 4, 5, 6, 7, 23, 95, 96, 97, 98, 100, 130, 193, 250] {
            let (mut l, whole) = square(m);
            assert!(l.cholesky());
            let n = m + 3;
            let scale = whole.amax();
            for i in 3..n {
                for j in 3..=i {
                    let product = dot(&l.row(i)[3..=j], &l.row(j)[3..=j]);
                    assert!((product - whole[(i - 3, j - 3)]).abs() < 1e-13 * scale, "{m}: {i} {j}");
                }
            }
            let want: Vec<f64> = (0..m).map(|k| libm::cos(1.3 * f64::from(u32::try_from(k).unwrap_or(0)))).collect();
            let right = &whole * nalgebra::DVector::from_vec(want.clone());
            let mut b = [vec![0.0; 3], right.as_slice().to_vec()].concat();
            l.forward(&mut b);
            l.backward(&mut b);
            assert!(b[3..].iter().zip(&want).all(|(x, w)| (x - w).abs() < 1e-9), "{m}");
            let factor = l.clone();
            l.invert();
            for i in 3..n {
                for j in 3..=i {
                    let product: f64 = (j..=i).map(|k| factor.row(i)[k] * l.row(k)[j]).sum();
                    assert!((product - if i == j { 1.0 } else { 0.0 }).abs() < 1e-11, "{m}: {i} {j} {product}");
                }
            }
        }
    }

    #[test]
    fn many_cores_give_the_bits_of_one() {
        for m in [1, 5, 95, 97, 193, 250, 301] {
            let (one, _) = square(m);
            let factor = |cores: usize| {
                let mut l = one.clone();
                assert!(l.cholesky_on(cores));
                l.cells.iter().map(|v| v.to_bits()).collect::<Vec<_>>()
            };
            let alone = factor(1);
            for cores in [2, 3, 7] {
                assert!(factor(cores) == alone, "{m} on {cores}");
            }
        }
    }

    #[test]
    fn wide_vectors_give_the_bits_of_narrow_ones() {
        let number = |k: usize| libm::sin(1.1 * f64::from(u32::try_from(k).unwrap_or(0)));
        for rows in [1, 4, 7, 30, 97] {
            let (n, end) = (rows + 5, 5);
            let panel: Vec<[f64; WIDE]> = (0..rows).map(|i| core::array::from_fn(|k| number(i * WIDE + k))).collect();
            let told = |work: fn(Strip<'_>, usize, &[[f64; WIDE]])| {
                let mut cells: Vec<f64> = (0..rows * n).map(number).collect();
                work(Strip { n, first: 0, cells: &mut cells }, end, &panel);
                cells.iter().map(|v| v.to_bits()).collect::<Vec<_>>()
            };
            assert!(told(less_panel) == told(less_panel_widely), "{rows}");
        }
    }

    #[test]
    fn what_is_not_positive_definite_is_told() {
        let (mut l, _) = square(120);
        l.cells[100 * 123 + 100] = -1.0;
        assert!(!l.cholesky());
        let (mut l, _) = square(120);
        l.cells[100 * 123 + 99] = f64::NAN;
        assert!(!l.cholesky());
    }

    #[test]
    fn spectra_are_those_of_a_slow_method() {
        for m in [1, 2, 3, 4, 5, 8, 31, 64, 101] {
            let (square, whole) = square(m);
            let z: Vec<f64> = (0..m + 3).map(|k| libm::sin(2.1 * f64::from(u32::try_from(k).unwrap_or(0)))).collect();
            let mut turned = [z.clone()];
            let values = square.spectrum(&mut turned);
            let [turned] = turned;
            let eigen = SymmetricEigen::new(whole.clone());
            let mut slow: Vec<(f64, f64)> = (0..m)
                .map(|j| {
                    let along: f64 = (0..m).map(|i| eigen.eigenvectors[(i, j)] * z[i + 3]).sum();
                    (eigen.eigenvalues[j], along * along)
                })
                .collect();
            let mut fast: Vec<(f64, f64)> = values.into_iter().zip(turned).map(|(v, z)| (v, z * z)).collect();
            slow.sort_by(|a, b| a.0.total_cmp(&b.0));
            fast.sort_by(|a, b| a.0.total_cmp(&b.0));
            for (a, b) in slow.iter().zip(&fast) {
                assert!((a.0 - b.0).abs() < 1e-12 * whole.amax() * f64::from(u32::try_from(m).unwrap_or(0)), "{m}");
                assert!((a.1 - b.1).abs() < 1e-6, "{m}: {a:?} {b:?}");
            }
        }
    }
}
