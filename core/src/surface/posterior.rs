//! What a thin-plate spline leaves open: its variance as the posterior of a random surface.

use super::basis::Basis;
use super::thin_plate::ThinPlate;

/// The posterior variance of a [`ThinPlate`], its lambda taken as given.
///
/// Under the random surface that the spline is the posterior mean of ([`super::thin_plate`]), the variance at a place x is (Wahba 1983,
/// "Bayesian 'confidence intervals' for the cross-validated smoothing spline", Journal of the Royal Statistical Society B 45, 133-150;
/// here in the spectral form, for any place and not only those that were read)
///
/// ```text
/// sigma^2 |h|^2 + tau^2 (c - sum_j s_j^2 / (l_j + theta))        theta = sigma^2 / tau^2
/// ```
///
/// h: x on an orthonormal basis of the planes over the readings; c: the variance of the bend at x beside the plane through the readings;
/// s_j: its covariance with the j-th contrast, both for tau = 1. The noise is independent from reading to reading.
///
/// Lambda is uncertain as well: [`crate::known`] reckons with that.
#[derive(Debug)]
pub struct Posterior {
    basis: Basis,
    theta: f64,
}

impl ThinPlate {
    /// What the spline leaves open.
    #[must_use]
    pub fn posterior(&self) -> Posterior {
        let (places, theta) = self.parts();
        Posterior { basis: Basis::of(places), theta }
    }
}

/// ```
/// use evengap::surface::thin_plate::{Smoothing, ThinPlate};
///
/// let places = [[0.0, 0.0], [100.0, 0.0], [0.0, 100.0], [100.0, 100.0], [50.0, 50.0]];
/// let spline = ThinPlate::fit(&places, &[0.0, 0.1, 0.1, 0.2, 0.3], None, Smoothing::Lambda(10.0))?;
/// let posterior = spline.posterior();
/// let [at, beside] = [50.0, 150.0].map(|x| posterior.standard_deviation(0.02, x, 50.0));
/// assert!(at < beside);
/// # Ok::<(), evengap::Error>(())
/// ```
impl Posterior {
    /// The standard deviation of the surface at (x, y) given the readings, where one of a reading (of weight 1) is `noise`, in the same
    /// unit. `None` for a spline that interpolates: it has no noise.
    ///
    /// For a plane (lambda infinite) it is that of a least-squares plane.
    #[must_use]
    pub fn standard_deviation(&self, noise: f64, x: f64, y: f64) -> Option<f64> {
        if self.theta <= 0.0 {
            return None;
        }
        let sum = self.basis.sum(&[([x, y], 1.0)]);
        if self.theta.is_infinite() {
            return Some(noise * sum.plane.sqrt());
        }
        let told: f64 = self.basis.values.iter().zip(&sum.with).map(|(l, s)| s * s / (l + self.theta)).sum();
        Some(noise * (sum.plane + (sum.own - told).max(0.0) / self.theta).sqrt())
    }
}
