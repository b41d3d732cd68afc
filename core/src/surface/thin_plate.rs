//! The thin-plate spline, apart from cards: scattered values in the plane to a smooth surface.
//!
//! # The surface
//!
//! ```text
//! f(x, y) = a + b x + c y + sum_i w_i r_i^2 ln r_i        r_i = distance of (x, y) from place i
//! ```
//!
//! Of all surfaces through the values it has the least bending energy (Duchon 1977)
//!
//! ```text
//! J(f) = integral over the plane of  f_xx^2 + 2 f_xy^2 + f_yy^2
//! ```
//!
//! With smoothing it has the least `(1/N) sum_k v_k (y_k - f(x_k, y_k))^2 + lambda J(f)` over the N values, v_k their weights
//! (Wahba 1990, section 2.4). In the paper's normalisation the kernel is E(r) = r^2 ln r / (8 pi).
//!
//! # How much to smooth
//!
//! The spline is also the posterior mean of a random surface (Kimeldorf and Wahba 1970; Wahba 1990, section 1.5): a plane that
//! may be any, plus a bend whose covariance is tau^2 E(r) on all that a plane leaves over, read with an error of standard
//! deviation sigma. Then N lambda = sigma^2 / tau^2. So where sigma is known, one number is left to find, tau: how bent
//! this bed is. [`Smoothing::KnownNoise`] takes the tau under which the readings are the most likely, after the plane's three
//! numbers have been set apart: restricted maximum likelihood (Patterson and Thompson 1971; for splines Wahba 1985, "GML").
//! A bed that is no more bent than its readings are uncertain becomes the least-squares plane (tau = 0); a bed that is bent by many
//! spreads is followed almost to the point.
//!
//! Everything is reckoned in the spectral form (Demmler and Reinsch 1975): with W the places' weights, T the plane's columns and
//! Q2 a basis of what is orthogonal to W^1/2 T, the eigenvalues l_j of Q2' W^1/2 E W^1/2 Q2 and the values z_j on its
//! eigenvectors are independent, with variances tau^2 l_j + sigma^2.
//!
//! # Numbers
//!
//! Coordinates are shifted to the middle of the places and scaled by a power of two, which is exact. Sums run in a fixed order and
//! logarithms come from `libm`, so that every machine and WebAssembly give the same bits.
//!
//! # Sources
//!
//! - J. Duchon, "Splines minimizing rotation-invariant semi-norms in Sobolev spaces", Lecture Notes in Mathematics 571 (1977) 85-100.
//! - G. Wahba, *Spline Models for Observational Data*, SIAM 1990.
//! - G. S. Kimeldorf, G. Wahba, "A correspondence between Bayesian estimation on stochastic processes and smoothing by splines",
//!   Annals of Mathematical Statistics 41 (1970) 495-502.
//! - H. D. Patterson, R. Thompson, "Recovery of inter-block information when block sizes are unequal", Biometrika 58 (1971) 545-554.
//! - G. Wahba, "A comparison of GCV and GML for choosing the smoothing parameter in the generalized spline smoothing problem",
//!   Annals of Statistics 13 (1985) 1378-1402.
//! - A. Demmler, C. Reinsch, "Oscillation matrices with spline smoothing", Numerische Mathematik 24 (1975) 375-382.
//! - P. Craven, G. Wahba, "Smoothing noisy data with spline functions", Numerische Mathematik 31 (1979) 377-403.
//! - G. H. Golub, M. Heath, G. Wahba, "Generalized cross-validation as a method for choosing a good ridge parameter",
//!   Technometrics 21 (1979) 215-223.
//! - S. Rippa, "An algorithm for selecting a good value for the parameter c in radial basis function interpolation",
//!   Advances in Computational Mathematics 11 (1999) 193-210: leave-one-out for interpolation.

use super::criterion::{Choice, Spectrum};
use super::places::{Places, count};
use crate::{Error, ErrorKind};
use core::f64::consts::PI;
use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// Most distinct places that a thin-plate spline is fitted to: the work grows with their cube.
pub const MAX_THIN_PLATE_PLACES: usize = 1_000;

/// Places whose breadth across is less than this part of their length count as lying on one line.
///
/// A fifth of a millimetre over 200 mm: a tilt across such a strip would be reckoned from readings that hardly differ in place,
/// and be wrong by far more than the readings are.
pub const ON_ONE_LINE: f64 = 1e-3;

/// How much to smooth.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Smoothing {
    /// Pass through every place's mean.
    None,
    /// This lambda, in the units of the caller: (1/N) sum (y - f)^2 + lambda J. Infinite: the least-squares plane.
    Lambda(f64),
    /// The readings' standard deviation is known; lambda follows by restricted maximum likelihood. 0 interpolates.
    KnownNoise(f64),
    /// Generalised cross-validation (Craven and Wahba 1979): the noise is not known.
    Gcv,
    /// Restricted maximum likelihood of noise and bend together: the noise is not known.
    Reml,
}

/// A fitted thin-plate spline.
///
/// ```
/// use evengap::surface::thin_plate::{Smoothing, ThinPlate};
/// let places = [[0.0, 0.0], [100.0, 0.0], [0.0, 100.0], [100.0, 100.0], [50.0, 50.0]];
/// let heights = [0.0, 0.1, 0.1, 0.2, 0.3];
/// let spline = ThinPlate::fit(&places, &heights, None, Smoothing::None)?;
/// assert!((spline.value(50.0, 50.0) - 0.3).abs() < 1e-12);
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct ThinPlate {
    origin: [f64; 2],
    scale: f64,
    /// Scaled places; empty when the surface is a plane.
    centres: Vec<[f64; 2]>,
    /// Coefficients of r^2 ln r in scaled coordinates.
    weights: Vec<f64>,
    /// a, b, c of a + b u + c v in scaled coordinates.
    plane: [f64; 3],
    /// The ratio of noise to bend in scaled coordinates and for the kernel r^2 ln r; infinite for the plane.
    theta: f64,
    penalty: f64,
    rss: f64,
    residual_dof: f64,
    places: Places,
    values: Vec<f64>,
    value_weights: Option<Vec<f64>>,
}

/// A reading against what the other readings say of its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOut {
    /// The surface at the reading's place when it is fitted, with the same lambda, without this reading.
    pub expected: f64,
    /// The reading minus `expected`.
    pub error: f64,
    /// The standard deviation of `error` where one of a reading (of weight 1) is 1: what its own noise and the uncertainty of
    /// the surface there make together under the spline's random-surface model. `None` when the fit interpolates or is a plane
    /// fitted without a noise.
    pub noise_gain: Option<f64>,
}

impl ThinPlate {
    /// Fits a spline to values at places.
    ///
    /// Values at one place (within 1e-6 of the places' extent) are pooled: their weighted mean counts, with the sum of their
    /// weights. `weights` are 1 when not given; a value's standard deviation is that of one reading over the root of its
    /// weight.
    ///
    /// # Errors
    ///
    /// [`ErrorKind::Readings`]: fewer than three distinct places, all places on one line (see [`ON_ONE_LINE`]), a number that is
    /// not finite, a weight or a lambda or a noise that is negative, lists of different lengths, places so close together that no
    /// surface can be told. [`ErrorKind::Limit`]: more than [`MAX_THIN_PLATE_PLACES`] distinct places.
    pub fn fit(
        points: &[[f64; 2]],
        values: &[f64],
        weights: Option<&[f64]>,
        smoothing: Smoothing,
    ) -> Result<ThinPlate, Error> {
        let fail = |message: &str| Err(Error::new(ErrorKind::Readings, message));
        if points.len() != values.len() || weights.is_some_and(|w| w.len() != values.len()) {
            return fail("places, values and weights are lists of different lengths");
        }
        if !points.iter().flatten().chain(values).all(|n| n.is_finite() && n.abs() < 1e100) {
            return fail("a place or a value is not a finite number");
        }
        if weights.is_some_and(|w| !w.iter().all(|&n| n > 1e-9 && n < 1e9)) {
            return fail("a weight is not a positive number");
        }
        if let Smoothing::Lambda(n) | Smoothing::KnownNoise(n) = smoothing
            && (n.is_nan() || n < 0.0)
        {
            return fail("the amount of smoothing is negative or not a number");
        }
        if points.len() < 3 {
            return fail("a surface needs three readings or more");
        }
        let places = Places::pool(points, values, weights);
        if places.at.len() > MAX_THIN_PLATE_PLACES {
            return Err(too_many(places.at.len()));
        }
        if places.at.len() < 3 {
            return fail("the readings are at fewer than three different places");
        }
        if places.breadth() < ON_ONE_LINE {
            return fail("the readings are all on one line");
        }
        fit_places(places, values.to_vec(), weights.map(<[f64]>::to_vec), smoothing)
    }

    /// The same places and values with another lambda, by a spectral form that is at hand.
    pub(crate) fn with_lambda(&self, lambda: f64, spectral: &Spectral) -> ThinPlate {
        let mut out = self.clone();
        out.centres = self.scaled_places();
        out.weights.clear();
        out.theta = lambda * count(out.values.len()) * (8.0 * PI) / (out.scale * out.scale);
        spectral.solve(&spectral.project(&out.places), &mut out);
        out
    }

    /// The places' spectral form: the dear part of smoothing and of leaving out, and the same for every lambda.
    pub(crate) fn spectral(&self) -> Spectral {
        Spectral::of(&self.scaled_places(), &self.places)
    }

    /// The surface at (x, y), unbounded: far outside the places it runs away as r^2 ln r does.
    #[must_use]
    pub fn value(&self, x: f64, y: f64) -> f64 {
        let (u, v) = ((x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale);
        let mut sum = 0.0;
        for (c, w) in self.centres.iter().zip(&self.weights) {
            sum += w * kernel(u - c[0], v - c[1]);
        }
        self.plane[0] + self.plane[1] * u + self.plane[2] * v + sum
    }

    /// The surface's slope at (x, y): df/dx and df/dy.
    #[must_use]
    pub fn slope(&self, x: f64, y: f64) -> [f64; 2] {
        let (u, v) = ((x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale);
        let (mut su, mut sv) = (0.0, 0.0);
        for (c, w) in self.centres.iter().zip(&self.weights) {
            let (du, dv) = (u - c[0], v - c[1]);
            let r2 = du * du + dv * dv;
            if r2 > 0.0 {
                // d/du of r^2 ln r = (r^2 / 2) ln r^2 is du (ln r^2 + 1).
                let g = w * (libm::log(r2) + 1.0);
                su += g * du;
                sv += g * dv;
            }
        }
        [(self.plane[1] + su) / self.scale, (self.plane[2] + sv) / self.scale]
    }

    /// Where the scaled coordinates have their zero: u = (x - origin) / scale. The middle of the places' rectangle.
    #[must_use]
    pub fn origin(&self) -> [f64; 2] {
        self.origin
    }

    /// The unit of the scaled coordinates: a power of two, at least half the places' extent.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The places in scaled coordinates. Empty when the surface is a plane.
    #[must_use]
    pub fn centres(&self) -> &[[f64; 2]] {
        &self.centres
    }

    /// The coefficients of r^2 ln r in scaled coordinates. For the unscaled kernel divide by `scale^2` and subtract
    /// `ln(scale) * sum(weight * |centre|^2)` from the plane's constant.
    #[must_use]
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// a, b, c of the affine part a + b u + c v in scaled coordinates.
    #[must_use]
    pub fn plane(&self) -> [f64; 3] {
        self.plane
    }

    /// lambda as in (1/N) sum (y - f)^2 + lambda J; 0 where the surface interpolates, infinite where it is the plane.
    #[must_use]
    pub fn lambda(&self) -> f64 {
        self.n_lambda() / count(self.values.len())
    }

    /// N lambda, N the number of values.
    #[must_use]
    pub fn n_lambda(&self) -> f64 {
        self.theta * (self.scale * self.scale / (8.0 * PI))
    }

    /// J, the bending energy.
    #[must_use]
    pub fn penalty(&self) -> f64 {
        self.penalty
    }

    /// Weighted sum of squares of value minus surface, over all values.
    #[must_use]
    pub fn residual_sum_of_squares(&self) -> f64 {
        self.rss
    }

    /// tr(I - A), where A takes the values to the fit: the number of values less the surface's effective parameters.
    #[must_use]
    pub fn residual_dof(&self) -> f64 {
        self.residual_dof
    }

    /// tr(A), the effective number of parameters: 3 for a plane, the number of places for interpolation.
    #[must_use]
    pub fn effective_parameters(&self) -> f64 {
        count(self.values.len()) - self.residual_dof
    }

    /// The noise's standard deviation as the residuals have it, sqrt(RSS / tr(I - A)); `None` where nothing is left over.
    #[must_use]
    pub fn noise_estimate(&self) -> Option<f64> {
        (self.residual_dof > 1e-9).then(|| (self.rss / self.residual_dof).sqrt())
    }

    /// The generalised cross-validation score, (RSS / N) / (tr(I - A) / N)^2; `None` where nothing is left over.
    #[must_use]
    pub fn gcv(&self) -> Option<f64> {
        let n = count(self.values.len());
        (self.residual_dof > 1e-9).then(|| self.rss * n / (self.residual_dof * self.residual_dof))
    }

    /// Each value minus the surface at its place.
    #[must_use]
    pub fn residuals(&self) -> Vec<f64> {
        self.values
            .iter()
            .zip(&self.places.of)
            .map(|(y, &p)| y - self.value(self.places.at[p][0], self.places.at[p][1]))
            .collect()
    }

    /// Each value against what the others say of its place, lambda kept.
    ///
    /// By the identity of leave-one-out residuals, without refitting: c_i / P_ii, where P is the matrix that takes values
    /// to kernel coefficients (Rippa 1999 for interpolation; with smoothing the same from Wahba 1990, section 4.2). `None`
    /// for a value without which the rest lie on one line or are fewer than three places.
    #[must_use]
    pub fn leave_one_out(&self) -> Vec<Option<LeftOut>> {
        self.leave_one_out_by(&self.spectral())
    }

    /// [`ThinPlate::leave_one_out`] by a spectral form that is at hand.
    pub(crate) fn leave_one_out_by(&self, spectral: &Spectral) -> Vec<Option<LeftOut>> {
        let n = self.places.at.len();
        // Diagonal of P = W^1/2 V (L + theta)^-1 V' W^1/2 in units of 1 / theta where theta is positive.
        let smooth = self.theta > 0.0;
        let floor = spectral.values.iter().fold(0.0_f64, |a, &b| a.max(b)) * 1e-15;
        let mut diagonal = vec![0.0; n];
        let mut signal = vec![0.0; n];
        let z = spectral.project(&self.places);
        for (j, &l) in spectral.values.iter().enumerate() {
            let factor = if smooth { 1.0 / (l / self.theta + 1.0) } else { 1.0 / l.max(floor) };
            for i in 0..n {
                let v = spectral.vectors[(i, j)];
                diagonal[i] += v * v * factor;
                signal[i] += v * z[j] * factor;
            }
        }
        let mut alone = vec![0_usize; n];
        for &p in &self.places.of {
            alone[p] += 1;
        }
        let typical = if smooth { 1.0 } else { diagonal.iter().sum::<f64>() / count(n) };
        (0..self.values.len())
            .map(|k| {
                let i = self.places.of[k];
                let root = self.places.weight[i].sqrt();
                let own = self.value_weights.as_ref().map_or(1.0, |w| w[k]);
                let (error, gain2) = if alone[i] == 1 {
                    if diagonal[i] <= 1e-9 * typical {
                        return None;
                    }
                    // error = c_i / P_ii with c = W^1/2 (...) and P_ii = W ...; variance of error = tau^2 / P_ii.
                    (signal[i] / (root * diagonal[i]), 1.0 / (self.places.weight[i] * diagonal[i]))
                } else {
                    // One of several at a place: 1 - A_kk = 1 - (own / weight) a_ii, where a_ii = 1 - diagonal_i.
                    let hat = if smooth { 1.0 - diagonal[i] } else { 1.0 };
                    let left = 1.0 - own / self.places.weight[i] * hat;
                    if left <= 1e-12 {
                        return None;
                    }
                    let fit = self.value(self.places.at[i][0], self.places.at[i][1]);
                    ((self.values[k] - fit) / left, 1.0 / (own * left))
                };
                Some(LeftOut { expected: self.values[k] - error, error, noise_gain: smooth.then(|| gain2.sqrt()) })
            })
            .collect()
    }

    fn scaled_places(&self) -> Vec<[f64; 2]> {
        scaled(&self.places, self.origin, self.scale)
    }
}

/// The refusal for too many places.
pub(crate) fn too_many(places: usize) -> Error {
    Error::new(
        ErrorKind::Limit,
        format!("{places} places were read; a thin-plate surface is fitted to at most {MAX_THIN_PLATE_PLACES}"),
    )
    .with_help("give fewer readings, or read a full grid and use the bilinear surface")
}

/// r^2 ln r of a difference of scaled coordinates, 0 at 0.
fn kernel(du: f64, dv: f64) -> f64 {
    let r2 = du * du + dv * dv;
    if r2 > 0.0 { 0.5 * r2 * libm::log(r2) } else { 0.0 }
}

fn scaled(places: &Places, origin: [f64; 2], scale: f64) -> Vec<[f64; 2]> {
    places.at.iter().map(|p| [(p[0] - origin[0]) / scale, (p[1] - origin[1]) / scale]).collect()
}

/// The power of two that is next at or above half the extent.
fn unit(extent: f64) -> f64 {
    let mut scale = 1.0;
    while scale < 0.5 * extent {
        scale *= 2.0;
    }
    while scale >= extent {
        scale *= 0.5;
    }
    scale
}

/// Fits to places that have been checked.
pub(crate) fn fit_places(
    places: Places,
    values: Vec<f64>,
    value_weights: Option<Vec<f64>>,
    smoothing: Smoothing,
) -> Result<ThinPlate, Error> {
    let b = places.bounds;
    let origin = [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])];
    let scale = unit(places.extent());
    let centres = scaled(&places, origin, scale);
    let n = places.at.len();
    let all = count(values.len());
    let mut out = ThinPlate {
        origin,
        scale,
        centres,
        weights: Vec::new(),
        plane: [0.0; 3],
        theta: 0.0,
        penalty: 0.0,
        rss: places.within,
        residual_dof: all - count(n),
        places,
        values,
        value_weights,
    };
    if matches!(smoothing, Smoothing::None | Smoothing::Lambda(0.0) | Smoothing::KnownNoise(0.0)) {
        interpolate(&mut out)?;
        return Ok(out);
    }
    let spectral = Spectral::of(&out.centres, &out.places);
    let z = spectral.project(&out.places);
    let largest = out.values.iter().fold(0.0_f64, |a, y| a.max(y.abs()));
    let negligible = all * (1e-13 * largest) * (1e-13 * largest);
    let spectrum = Spectrum { values: &spectral.values, z: &z, within: out.places.within, count: all, negligible };
    out.theta = match smoothing {
        Smoothing::None => 0.0,
        Smoothing::Lambda(lambda) => lambda * all * (8.0 * PI) / (scale * scale),
        Smoothing::KnownNoise(sigma) => spectrum.choose(Choice::KnownNoise(sigma)),
        Smoothing::Gcv => spectrum.choose(Choice::Gcv),
        Smoothing::Reml => spectrum.choose(Choice::Reml),
    };
    spectral.solve(&z, &mut out);
    Ok(out)
}

/// Through every place: the usual symmetric system, by elimination with row exchanges and one step of refinement.
fn interpolate(out: &mut ThinPlate) -> Result<(), Error> {
    let n = out.centres.len();
    let mut system = DMatrix::zeros(n + 3, n + 3);
    for j in 0..n {
        let q = out.centres[j];
        for i in 0..n {
            system[(i, j)] = kernel(out.centres[i][0] - q[0], out.centres[i][1] - q[1]);
        }
        for (k, t) in [1.0, q[0], q[1]].into_iter().enumerate() {
            system[(j, n + k)] = t;
            system[(n + k, j)] = t;
        }
    }
    let mut right = DVector::zeros(n + 3);
    for (i, &y) in out.places.mean.iter().enumerate() {
        right[i] = y;
    }
    let singular = || {
        Error::new(ErrorKind::Readings, "some readings are so close together that no surface can be told from them")
            .with_help("take out one of any two readings that are nearly at one place")
    };
    let lu = system.clone().lu();
    let mut x = lu.solve(&right).ok_or_else(singular)?;
    let rest = &right - &system * &x;
    x += lu.solve(&rest).ok_or_else(singular)?;
    if !x.iter().all(|v| v.is_finite()) {
        return Err(singular());
    }
    out.weights = x.iter().take(n).copied().collect();
    out.plane = [x[n], x[n + 1], x[n + 2]];
    // w'K w = w'(y - T d) = w'y, since T'w = 0.
    let energy: f64 = out.weights.iter().zip(&out.places.mean).map(|(w, y)| w * y).sum();
    out.penalty = (8.0 * PI * energy / (out.scale * out.scale)).max(0.0);
    Ok(())
}

/// The places' spectral form; see the module's text.
#[derive(Debug)]
pub(crate) struct Spectral {
    reflectors: Reflectors,
    /// Eigenvalues l_j for the kernel r^2 ln r in scaled coordinates, not negative.
    values: Vec<f64>,
    /// Eigenvectors, whitened: n rows, n - 3 columns, orthonormal and orthogonal to W^1/2 T.
    vectors: DMatrix<f64>,
}

impl Spectral {
    fn of(centres: &[[f64; 2]], places: &Places) -> Spectral {
        let n = centres.len();
        let root: Vec<f64> = places.weight.iter().map(|w| w.sqrt()).collect();
        let reflectors = Reflectors::of(centres, &root);
        let mut full = DMatrix::from_fn(n, n, |i, j| {
            root[i] * root[j] * kernel(centres[i][0] - centres[j][0], centres[i][1] - centres[j][1])
        });
        reflectors.apply_transposed(&mut full);
        full.transpose_mut();
        reflectors.apply_transposed(&mut full);
        let m = n - 3;
        let inner = DMatrix::from_fn(m, m, |i, j| 0.5 * (full[(i + 3, j + 3)] + full[(j + 3, i + 3)]));
        let mut values = Vec::with_capacity(m);
        let mut vectors = DMatrix::zeros(n, m);
        if m > 0 {
            let eigen = SymmetricEigen::new(inner);
            // Rounding can make the smallest ones slightly negative.
            values.extend(eigen.eigenvalues.iter().map(|l| l.max(0.0)));
            vectors.view_mut((3, 0), (m, m)).copy_from(&eigen.eigenvectors);
            reflectors.apply(&mut vectors);
        }
        Spectral { reflectors, values, vectors }
    }

    /// The places' means on the eigenvectors.
    fn project(&self, places: &Places) -> Vec<f64> {
        (0..self.values.len())
            .map(|j| {
                let column = self.vectors.column(j);
                places.mean.iter().zip(&places.weight).zip(column.iter()).map(|((y, w), v)| y * w.sqrt() * v).sum()
            })
            .collect()
    }

    /// Coefficients, penalty, residuals and degrees of freedom for `out.theta`.
    fn solve(&self, z: &[f64], out: &mut ThinPlate) {
        let n = out.centres.len();
        let root: Vec<f64> = out.places.weight.iter().map(|w| w.sqrt()).collect();
        let plane_only = out.theta.is_infinite() || self.values.is_empty();
        let mut weights = vec![0.0; n];
        let (mut energy, mut rss, mut dof) = (0.0, 0.0, 0.0);
        for (j, &l) in self.values.iter().enumerate() {
            // z / (l + theta), and what of z the surface leaves: theta / (l + theta).
            let (share, left) =
                if plane_only { (0.0, 1.0) } else { (1.0 / (l + out.theta), out.theta / (l + out.theta)) };
            for (i, w) in weights.iter_mut().enumerate() {
                *w += root[i] * self.vectors[(i, j)] * (z[j] * share);
            }
            energy += l * (z[j] * share) * (z[j] * share);
            rss += (z[j] * left) * (z[j] * left);
            dof += left;
        }
        // R d = Q1' W^1/2 (y - K w)
        let mut rest = DMatrix::zeros(n, 1);
        for i in 0..n {
            let c = out.centres[i];
            let mut bend = 0.0;
            if !plane_only {
                for (k, w) in weights.iter().enumerate() {
                    bend += w * kernel(c[0] - out.centres[k][0], c[1] - out.centres[k][1]);
                }
            }
            rest[(i, 0)] = root[i] * (out.places.mean[i] - bend);
        }
        self.reflectors.apply_transposed(&mut rest);
        out.plane = self.reflectors.back_substitute([rest[(0, 0)], rest[(1, 0)], rest[(2, 0)]]);
        out.penalty = 8.0 * PI * energy / (out.scale * out.scale);
        out.rss = out.places.within + rss;
        out.residual_dof = count(out.values.len() - n) + dof;
        if plane_only {
            out.theta = f64::INFINITY;
            out.centres.clear();
        } else {
            out.weights = weights;
        }
    }
}

/// The three Householder reflections that take W^1/2 [1 u v] to upper triangular form (Golub and Van Loan, *Matrix
/// Computations*, 4th ed., section 5.2).
#[derive(Debug)]
struct Reflectors {
    /// Unit vectors v of I - 2 v v'.
    axes: [Vec<f64>; 3],
    /// The triangle, by rows.
    r: [[f64; 3]; 3],
}

impl Reflectors {
    fn of(centres: &[[f64; 2]], root: &[f64]) -> Reflectors {
        let n = centres.len();
        let mut t = DMatrix::from_fn(n, 3, |i, k| root[i] * [1.0, centres[i][0], centres[i][1]][k]);
        let mut axes = [vec![], vec![], vec![]];
        for (k, slot) in axes.iter_mut().enumerate() {
            let mut axis: Vec<f64> = (0..n).map(|i| if i < k { 0.0 } else { t[(i, k)] }).collect();
            let length = axis.iter().map(|v| v * v).sum::<f64>().sqrt();
            axis[k] += if axis[k] < 0.0 { -length } else { length };
            let length = axis.iter().map(|v| v * v).sum::<f64>().sqrt();
            if length > 0.0 {
                axis.iter_mut().for_each(|v| *v /= length);
            }
            reflect(&axis, &mut t);
            *slot = axis;
        }
        let mut r = [[0.0; 3]; 3];
        for (i, row) in r.iter_mut().enumerate() {
            for (k, slot) in row.iter_mut().enumerate().skip(i) {
                *slot = t[(i, k)];
            }
        }
        Reflectors { axes, r }
    }

    /// Q' m.
    fn apply_transposed(&self, m: &mut DMatrix<f64>) {
        self.axes.iter().for_each(|axis| reflect(axis, m));
    }

    /// Q m.
    fn apply(&self, m: &mut DMatrix<f64>) {
        self.axes.iter().rev().for_each(|axis| reflect(axis, m));
    }

    fn back_substitute(&self, b: [f64; 3]) -> [f64; 3] {
        let r = &self.r;
        let z = b[2] / r[2][2];
        let y = (b[1] - r[1][2] * z) / r[1][1];
        [(b[0] - r[0][1] * y - r[0][2] * z) / r[0][0], y, z]
    }
}

fn reflect(axis: &[f64], m: &mut DMatrix<f64>) {
    for mut column in m.column_iter_mut() {
        let dot: f64 = axis.iter().zip(column.iter()).map(|(a, c)| a * c).sum();
        for (a, c) in axis.iter().zip(column.iter_mut()) {
            *c -= 2.0 * dot * a;
        }
    }
}
