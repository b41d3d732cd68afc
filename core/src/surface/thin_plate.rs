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
use super::log::ln;
use super::places::{Places, count};
use super::system::{Reflectors, System};
use crate::{Error, ErrorKind};
use core::f64::consts::PI;
use std::sync::OnceLock;

/// Most distinct places that a thin-plate spline is fitted to: the work grows with their cube.
pub const MAX_THIN_PLATE_PLACES: usize = 2_500;

/// Places whose breadth across is less than this part of their length count as lying on one line.
///
/// A fifth of a millimetre over 200 mm: a tilt across such a strip would be reckoned from readings that hardly differ in place,
/// and be wrong by far more than the readings are.
pub const ON_ONE_LINE: f64 = 1e-3;

/// How much to smooth.
///
/// Which, where the readings are to say it: with the noise known, [`Smoothing::KnownNoise`], as a card's spread has it. Without, likelihood
/// ([`Smoothing::Reml`]) for up to some hundred readings, where cross-validation ([`Smoothing::Gcv`]) now and then takes the noise for the bed;
/// cross-validation beyond, for a bed is smoother than the random surface behind the likelihood, and enough readings show it (Wahba
/// 1985). Root mean square error of the spline, mm, on 200 (from 225 readings on 25) invented beds, readings scattered at random by 0.02 mm
/// (`tests/data/known_smoothing.csv`):
///
/// | readings | noise known | likelihood | cross-validation |
/// | --- | --- | --- | --- |
/// | 5 | 0.0442 | 0.0537 | 0.0537 |
/// | 9 | 0.0258 | 0.0270 | 0.0266 |
/// | 16 | 0.0188 | 0.0201 | 0.0202 |
/// | 25 | 0.0162 | 0.0170 | 0.0172 |
/// | 49 | 0.0117 | 0.0122 | 0.0126 |
/// | 100 | 0.0085 | 0.0087 | 0.0087 |
/// | 225 | 0.0061 | 0.0063 | 0.0060 |
/// | 400 | 0.0051 | 0.0052 | 0.0049 |
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Smoothing {
    /// Pass through every place's mean.
    None,
    /// This lambda, in the square of the places' unit (mm^2 for a card's): (1/N) sum (y - f)^2 + lambda J. Infinite: the
    /// least-squares plane.
    Lambda(f64),
    /// The readings' standard deviation, in the values' unit, is known; lambda follows by restricted maximum likelihood. 0
    /// interpolates.
    KnownNoise(f64),
    /// Generalised cross-validation (Craven and Wahba 1979): the noise is not known.
    Gcv,
    /// Restricted maximum likelihood of noise and bend together: the noise is not known.
    Reml,
}

/// A fitted thin-plate spline.
///
/// Places are in a unit of the caller's, and values in another or the same one; of a card's heights both are mm. What is said here to be in
/// "the places' unit" or "the values' unit" is in those.
///
/// ```
/// use evengap::surface::thin_plate::{Smoothing, ThinPlate};
/// let places = [[0.0, 0.0], [100.0, 0.0], [0.0, 100.0], [100.0, 100.0], [50.0, 50.0]];
/// let heights = [0.0, 0.1, 0.1, 0.2, 0.3];
/// let spline = ThinPlate::fit(&places, &heights, None, Smoothing::None)?;
/// assert!((spline.value(50.0, 50.0) - 0.3).abs() < 1e-12);
/// let [slope_x, slope_y] = spline.slope(20.0, 20.0);
/// assert!(slope_x > 0.0 && slope_y > 0.0);
/// assert_eq!(spline.lambda(), 0.0);
///
/// // Smoothed, by so much: what is left over, how bent it is, how many parameters it comes to.
/// let smooth = ThinPlate::fit(&places, &heights, None, Smoothing::Lambda(10.0))?;
/// assert!((smooth.n_lambda() - 50.0).abs() < 1e-9);
/// assert!(smooth.penalty() < spline.penalty());
/// let sum: f64 = smooth.residuals().iter().map(|r| r * r).sum();
/// assert!((smooth.residual_sum_of_squares() - sum).abs() < 1e-12);
/// assert!((smooth.effective_parameters() - (5.0 - smooth.residual_dof())).abs() < 1e-12);
/// assert!(smooth.effective_parameters() > 3.0);
/// assert!(smooth.noise_estimate().is_some() && smooth.gcv().is_some());
///
/// // The middle is far from what the other four say of it.
/// let middle = spline.leave_one_out()[4].unwrap();
/// assert!((middle.error - 0.2).abs() < 1e-9);
///
/// // The coefficients, for who evaluates it elsewhere.
/// let [a, b, c] = spline.plane();
/// let at = |x: f64, y: f64| {
///     let [u, v] = [(x - spline.origin()[0]) / spline.scale(), (y - spline.origin()[1]) / spline.scale()];
///     let kernel = |r2: f64| if r2 > 0.0 { 0.5 * r2 * r2.ln() } else { 0.0 };
///     let bent: f64 = spline.centres().iter().zip(spline.weights())
///         .map(|([cu, cv], weight)| weight * kernel((u - cu) * (u - cu) + (v - cv) * (v - cv)))
///         .sum();
///     a + b * u + c * v + bent
/// };
/// assert!((at(30.0, 70.0) - spline.value(30.0, 70.0)).abs() < 1e-12);
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
    /// Reckoned when it is first asked for, unless it is known on the way.
    residual_dof: OnceLock<f64>,
    places: Places,
    values: Vec<f64>,
    value_weights: Option<Vec<f64>>,
}

/// A reading against what the other readings say of its place.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct LeftOut {
    /// The surface at the reading's place when it is fitted, with the same lambda, without this reading; in the values' unit.
    pub expected: f64,
    /// The reading minus `expected`, in the values' unit.
    pub error: f64,
    /// The standard deviation of `error` where one of a reading (of weight 1) is 1, so that it has no unit: what its own noise and
    /// the uncertainty of the surface there make together under the spline's random-surface model. `None` when the fit interpolates
    /// or is a plane fitted without a noise.
    pub noise_gain: Option<f64>,
}

impl ThinPlate {
    /// Fits a spline to values at places.
    ///
    /// Values at one place (within 1e-6 of the places' extent) are pooled: their weighted mean counts, with the sum of their
    /// weights. `weights` are 1 when not given; a value's standard deviation is that of one reading over the root of its
    /// weight.
    ///
    /// Up to 499 places are fitted on the thread that asks; with more, threads on the machine's other cores help (not in WebAssembly) and end
    /// with the fit. The bits are the same on any number of cores.
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

    /// theta of a lambda.
    fn theta_of(&self, lambda: f64) -> f64 {
        lambda * count(self.values.len()) * (8.0 * PI) / (self.scale * self.scale)
    }

    /// theta by a criterion, and with it the degrees of freedom.
    fn choose(&mut self, system: &System, choice: Choice) -> f64 {
        let (values, z) = system.spectrum(&self.places.mean);
        let all = count(self.values.len());
        let largest = self.values.iter().fold(0.0_f64, |a, y| a.max(y.abs()));
        let negligible = all * (1e-13 * largest) * (1e-13 * largest);
        let spectrum = Spectrum { values: &values, z: &z, within: self.places.within, count: all, negligible };
        let theta = spectrum.choose(choice);
        let left = |l: &f64| if theta.is_finite() { theta / (l + theta) } else { 1.0 };
        let dof = count(self.values.len() - self.places.at.len()) + values.iter().map(left).sum::<f64>();
        self.residual_dof = OnceLock::from(dof);
        theta
    }

    /// Coefficients, plane, penalty and residuals for this theta. The factored equations come back, unless the surface is a plane.
    fn solve(&mut self, system: System, theta: f64) -> Result<Option<System>, Error> {
        let root: Vec<f64> = self.places.weight.iter().map(|w| w.sqrt()).collect();
        self.theta = theta;
        if theta.is_infinite() || self.centres.len() <= 3 {
            let reflectors = Reflectors::of(&self.centres, &root);
            let mut y: Vec<f64> = self.places.mean.iter().zip(&root).map(|(y, w)| y * w).collect();
            reflectors.apply_transposed(&mut y);
            self.plane = reflectors.back_substitute([y[0], y[1], y[2]]);
            self.penalty = 0.0;
            self.rss = self.places.within + y[3..].iter().map(|v| v * v).sum::<f64>();
            self.weights.clear();
            self.centres.clear();
            // Through three places a plane is what passes through all.
            self.theta = if theta == 0.0 { 0.0 } else { f64::INFINITY };
            return Ok(None);
        }
        let singular = || {
            Error::new(ErrorKind::Readings, "some readings are so close together that no surface can be told from them")
                .with_help("take out one of any two readings that are nearly at one place")
        };
        let system = system.factor(theta).ok_or_else(singular)?;
        (self.weights, self.plane) = system.solve(&self.places.mean);
        if !self.weights.iter().chain(&self.plane).all(|v| v.is_finite()) {
            return Err(singular());
        }
        // w'K w = w'(y - T d - theta W^-1 w) = w'y - theta w'W^-1 w, since T'w = 0; and what is left over is theta W^-1 w.
        let (mut along, mut square) = (0.0, 0.0);
        for ((w, y), weight) in self.weights.iter().zip(&self.places.mean).zip(&self.places.weight) {
            along += w * y;
            square += w * w / weight;
        }
        self.penalty = (8.0 * PI * (along - theta * square) / (self.scale * self.scale)).max(0.0);
        self.rss = self.places.within + theta * theta * square;
        Ok(Some(system))
    }

    /// The surface at (x, y), in the values' unit; x and y are in the places'. Unbounded: far outside the places it runs away as
    /// r^2 ln r does.
    #[must_use]
    pub fn value(&self, x: f64, y: f64) -> f64 {
        let (u, v) = ((x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale);
        let mut sum = 0.0;
        for (c, w) in self.centres.iter().zip(&self.weights) {
            sum += w * kernel(u - c[0], v - c[1]);
        }
        self.plane[0] + self.plane[1] * u + self.plane[2] * v + sum
    }

    /// The surface's slope at (x, y): df/dx and df/dy, in the values' unit a unit of the places' (mm a mm for a card's).
    #[must_use]
    pub fn slope(&self, x: f64, y: f64) -> [f64; 2] {
        let (u, v) = ((x - self.origin[0]) / self.scale, (y - self.origin[1]) / self.scale);
        let (mut su, mut sv) = (0.0, 0.0);
        for (c, w) in self.centres.iter().zip(&self.weights) {
            let (du, dv) = (u - c[0], v - c[1]);
            let r2 = du * du + dv * dv;
            if r2 > 0.0 {
                // d/du of r^2 ln r = (r^2 / 2) ln r^2 is du (ln r^2 + 1).
                let g = w * (ln(r2) + 1.0);
                su += g * du;
                sv += g * dv;
            }
        }
        [(self.plane[1] + su) / self.scale, (self.plane[2] + sv) / self.scale]
    }

    /// Where the scaled coordinates have their zero: u = (x - origin) / scale. The middle of the places' rectangle, in the
    /// places' unit.
    #[must_use]
    pub fn origin(&self) -> [f64; 2] {
        self.origin
    }

    /// The unit of the scaled coordinates, in the places' unit: a power of two, at least half the places' extent.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The places in scaled coordinates, without a unit. Empty when the surface is a plane.
    #[must_use]
    pub fn centres(&self) -> &[[f64; 2]] {
        &self.centres
    }

    /// The coefficients of r^2 ln r in scaled coordinates, in the values' unit. For the unscaled kernel divide by `scale^2` and
    /// subtract `ln(scale) * sum(weight * |centre|^2)` from the plane's constant.
    #[must_use]
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// a, b, c of the affine part a + b u + c v in scaled coordinates, in the values' unit.
    #[must_use]
    pub fn plane(&self) -> [f64; 3] {
        self.plane
    }

    /// lambda as in (1/N) sum (y - f)^2 + lambda J, in the square of the places' unit; 0 where the surface interpolates, infinite
    /// where it is the plane.
    #[must_use]
    pub fn lambda(&self) -> f64 {
        self.n_lambda() / count(self.values.len())
    }

    /// N lambda, N the number of values; in the square of the places' unit.
    #[must_use]
    pub fn n_lambda(&self) -> f64 {
        self.theta * (self.scale * self.scale / (8.0 * PI))
    }

    /// J, the bending energy, in the square of the values' unit over that of the places' (for a card's, mm^2 over mm^2: none).
    #[must_use]
    pub fn penalty(&self) -> f64 {
        self.penalty
    }

    /// Weighted sum of squares of value minus surface, over all values; in the square of the values' unit.
    #[must_use]
    pub fn residual_sum_of_squares(&self) -> f64 {
        self.rss
    }

    /// tr(I - A), where A takes the values to the fit: the number of values less the surface's effective parameters.
    ///
    /// For a lambda that was given it is reckoned when this, or what follows from it, is first asked for; that takes two to three times
    /// as long as the fit.
    #[must_use]
    pub fn residual_dof(&self) -> f64 {
        *self.residual_dof.get_or_init(|| {
            let (values, places) = (self.values.len(), self.places.at.len());
            let inner = if self.theta == 0.0 {
                0.0
            } else if self.theta.is_infinite() {
                count(places.saturating_sub(3))
            } else {
                let factored = System::of(&self.scaled_places(), &self.places.weight).factor(self.theta);
                factored.map_or(0.0, |system| self.theta * system.trace_of_inverse())
            };
            count(values - places) + inner
        })
    }

    /// tr(A), the effective number of parameters: 3 for a plane, the number of places for interpolation.
    #[must_use]
    pub fn effective_parameters(&self) -> f64 {
        count(self.values.len()) - self.residual_dof()
    }

    /// The noise's standard deviation as the residuals have it, sqrt(RSS / tr(I - A)), in the values' unit; `None` where nothing
    /// is left over.
    #[must_use]
    pub fn noise_estimate(&self) -> Option<f64> {
        let dof = self.residual_dof();
        (dof > 1e-9).then(|| (self.rss / dof).sqrt())
    }

    /// The generalised cross-validation score, (RSS / N) / (tr(I - A) / N)^2, in the square of the values' unit; `None` where
    /// nothing is left over.
    #[must_use]
    pub fn gcv(&self) -> Option<f64> {
        let (n, dof) = (count(self.values.len()), self.residual_dof());
        (dof > 1e-9).then(|| self.rss * n / (dof * dof))
    }

    /// Each value minus the surface at its place, in the values' unit and the values' order.
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
        // The diagonal of Q2 (M + theta)^-1 Q2', in units of 1 / theta where theta is positive.
        let diagonal = if self.theta.is_infinite() || self.places.at.len() <= 3 {
            self.beside_plane()
        } else {
            let system = System::of(&self.scaled_places(), &self.places.weight);
            let Some(factored) = system.factor(self.theta) else { return vec![None; self.values.len()] };
            let mut diagonal = factored.diagonal();
            if self.theta > 0.0 {
                diagonal.iter_mut().for_each(|d| *d *= self.theta);
            }
            diagonal
        };
        let typical = self.typical(&diagonal);
        (0..self.values.len()).map(|k| self.left_out(k, diagonal[self.places.of[k]], typical)).collect()
    }

    /// The size that diagonals have: 1 in units of 1 / theta.
    fn typical(&self, diagonal: &[f64]) -> f64 {
        if self.theta > 0.0 { 1.0 } else { diagonal.iter().sum::<f64>() / count(diagonal.len()) }
    }

    /// The diagonal of Q2 Q2': one less the leverage of each place on the plane.
    fn beside_plane(&self) -> Vec<f64> {
        let n = self.places.at.len();
        let root: Vec<f64> = self.places.weight.iter().map(|w| w.sqrt()).collect();
        let reflectors = Reflectors::of(&self.scaled_places(), &root);
        let mut out = vec![1.0; n];
        for k in 0..3.min(n) {
            let mut column = vec![0.0; n];
            column[k] = 1.0;
            reflectors.apply(&mut column);
            out.iter_mut().zip(&column).for_each(|(d, q)| *d -= q * q);
        }
        out
    }

    /// One value against the others, by the number on the diagonal for its place.
    fn left_out(&self, k: usize, diagonal: f64, typical: f64) -> Option<LeftOut> {
        let smooth = self.theta > 0.0;
        let i = self.places.of[k];
        let weight = self.places.weight[i];
        let own = self.value_weights.as_ref().map_or(1.0, |w| w[k]);
        let (error, gain2) = if self.places.alone[i] {
            if diagonal <= 1e-9 * typical {
                return None;
            }
            // error = c_i / P_ii, c the coefficients and P = W^1/2 Q2 (M + theta)^-1 Q2' W^1/2; variance of error = tau^2 / P_ii.
            let c = self.weights.get(i).copied().unwrap_or(0.0) / weight;
            let signal = if self.theta.is_infinite() {
                self.places.mean[i] - self.value(self.places.at[i][0], self.places.at[i][1])
            } else if smooth {
                self.theta * c
            } else {
                c
            };
            (signal / diagonal, 1.0 / (weight * diagonal))
        } else {
            // One of several at a place: 1 - A_kk = 1 - (own / weight) a_ii, where a_ii = 1 - diagonal_i.
            let hat = if smooth { 1.0 - diagonal } else { 1.0 };
            let left = 1.0 - own / weight * hat;
            if left <= 1e-12 {
                return None;
            }
            let fit = self.value(self.places.at[i][0], self.places.at[i][1]);
            ((self.values[k] - fit) / left, 1.0 / (own * left))
        };
        Some(LeftOut { expected: self.values[k] - error, error, noise_gain: smooth.then(|| gain2.sqrt()) })
    }

    /// The places, and theta.
    pub(super) fn parts(&self) -> (&Places, f64) {
        (&self.places, self.theta)
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
#[inline]
pub(crate) fn kernel(du: f64, dv: f64) -> f64 {
    let r2 = du * du + dv * dv;
    if r2 > 0.0 { 0.5 * r2 * ln(r2) } else { 0.0 }
}

pub(crate) fn scaled(places: &Places, origin: [f64; 2], scale: f64) -> Vec<[f64; 2]> {
    places.at.iter().map(|p| [(p[0] - origin[0]) / scale, (p[1] - origin[1]) / scale]).collect()
}

/// The power of two that is next at or above half the extent.
pub(crate) fn unit(extent: f64) -> f64 {
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
    let mut out = ThinPlate {
        origin,
        scale,
        centres,
        weights: Vec::new(),
        plane: [0.0; 3],
        theta: 0.0,
        penalty: 0.0,
        rss: places.within,
        residual_dof: OnceLock::new(),
        places,
        values,
        value_weights,
    };
    let system = System::of(&out.centres, &out.places.weight);
    let theta = match smoothing {
        Smoothing::None | Smoothing::Lambda(0.0) | Smoothing::KnownNoise(0.0) => 0.0,
        Smoothing::Lambda(lambda) => out.theta_of(lambda),
        Smoothing::KnownNoise(sigma) => out.choose(&system, Choice::KnownNoise(sigma)),
        Smoothing::Gcv => out.choose(&system, Choice::Gcv),
        Smoothing::Reml => out.choose(&system, Choice::Reml),
    };
    out.solve(system, theta)?;
    Ok(out)
}
