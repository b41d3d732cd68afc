//! How much to smooth: the criteria, on the spectral form that [`super::thin_plate`] describes.

/// Which criterion.
#[derive(Debug, Clone, Copy)]
pub(super) enum Choice {
    /// Restricted maximum likelihood with this standard deviation of a reading.
    KnownNoise(f64),
    /// Generalised cross-validation.
    Gcv,
    /// Restricted maximum likelihood with the noise left free.
    Reml,
}

/// The data in spectral form.
pub(super) struct Spectrum<'a> {
    /// Eigenvalues, not negative.
    pub(super) values: &'a [f64],
    /// The data on the eigenvectors.
    pub(super) z: &'a [f64],
    /// Sum of squares of repeats about their places' means.
    pub(super) within: f64,
    /// Number of readings.
    pub(super) count: f64,
    /// A sum of squares that is nothing but rounding.
    pub(super) negligible: f64,
}

/// Steps of the first scan, in ln(theta): fine enough that two minima of a sum of such smooth steps are not skipped over.
const STEP: f64 = 0.25;
/// How far beyond the eigenvalues the scan goes, ln(1e4) and a little: there the criteria are flat.
const BEYOND: f64 = 9.25;

impl Spectrum<'_> {
    /// theta, the noise's part against the eigenvalues; infinite for the plane.
    ///
    /// The criterion is scanned over ln(theta), since it may have more than one minimum, and the best bracket's derivative is
    /// bisected to the last bit. The plane is the end of the scale and competes with the best of the rest.
    pub(super) fn choose(&self, choice: Choice) -> f64 {
        let largest = self.values.iter().fold(0.0_f64, |a, &b| a.max(b));
        let smallest = self.values.iter().fold(f64::INFINITY, |a, &b| if b > 1e-14 * largest { a.min(b) } else { a });
        let total = self.within + self.z.iter().map(|z| z * z).sum::<f64>();
        // Without a known noise, data that are a plane to the last digits have no likelihood to maximise.
        if largest <= 0.0 || total <= self.negligible || self.count <= 3.0 {
            return f64::INFINITY;
        }
        let (low, high) = (libm::log(smallest) - BEYOND, libm::log(largest) + BEYOND);
        let (mut best, mut best_at, mut at) = (f64::INFINITY, low, low);
        while at <= high {
            let score = self.score(choice, libm::exp(at));
            if score < best {
                (best, best_at) = (score, at);
            }
            at += STEP;
        }
        if self.plane_score(choice) <= best || best_at + STEP > high {
            return f64::INFINITY;
        }
        let (mut a, mut b) = (best_at - STEP, best_at + STEP);
        // The score falls at a and rises at b, or the minimum is at the scan's lower end.
        if self.derivative(choice, libm::exp(a)) >= 0.0 {
            return libm::exp(a);
        }
        for _ in 0..64 {
            let middle = 0.5 * (a + b);
            if self.derivative(choice, libm::exp(middle)) < 0.0 {
                a = middle;
            } else {
                b = middle;
            }
        }
        libm::exp(0.5 * (a + b))
    }

    /// Each eigenvalue's v = 1 + l / theta with its z.
    fn terms(&self, theta: f64) -> impl Iterator<Item = (f64, f64)> {
        self.values.iter().zip(self.z).map(move |(l, z)| (1.0 + l / theta, *z))
    }

    fn score(&self, choice: Choice, theta: f64) -> f64 {
        match choice {
            // Minus twice the log likelihood, less constants: sum ln(s2 v) + z^2 / (s2 v).
            Choice::KnownNoise(sigma) => {
                self.terms(theta).map(|(v, z)| libm::log(v) + (z / sigma) * (z / sigma) / v).sum()
            }
            // The same at the noise that is best for this theta.
            Choice::Reml => {
                let (mut logs, mut squares) = (0.0, self.within);
                for (v, z) in self.terms(theta) {
                    logs += libm::log(v);
                    squares += z * z / v;
                }
                (self.count - 3.0) * libm::log(squares) + logs
            }
            Choice::Gcv => {
                let (rss, trace) = self.residuals(theta);
                libm::log(rss) - 2.0 * libm::log(trace)
            }
        }
    }

    /// RSS and tr(I - A).
    fn residuals(&self, theta: f64) -> (f64, f64) {
        let (mut rss, mut trace) = (self.within, self.count - 3.0 - super::places::count(self.values.len()));
        for (v, z) in self.terms(theta) {
            rss += (z / v) * (z / v);
            trace += 1.0 / v;
        }
        (rss, trace)
    }

    /// The score where theta is infinite: every v is 1.
    fn plane_score(&self, choice: Choice) -> f64 {
        let squares: f64 = self.z.iter().map(|z| z * z).sum();
        match choice {
            Choice::KnownNoise(sigma) => squares / (sigma * sigma),
            Choice::Reml => (self.count - 3.0) * libm::log(squares + self.within),
            Choice::Gcv => libm::log(squares + self.within) - 2.0 * libm::log(self.count - 3.0),
        }
    }

    /// d score / d ln(theta), by dv / d ln(theta) = -(v - 1).
    fn derivative(&self, choice: Choice, theta: f64) -> f64 {
        match choice {
            Choice::KnownNoise(sigma) => {
                self.terms(theta).map(|(v, z)| (v - 1.0) / v * ((z / sigma) * (z / sigma) / v - 1.0)).sum()
            }
            Choice::Reml => {
                let (mut squares, mut slope, mut logs) = (self.within, 0.0, 0.0);
                for (v, z) in self.terms(theta) {
                    squares += z * z / v;
                    slope += z * z * (v - 1.0) / (v * v);
                    logs += (v - 1.0) / v;
                }
                (self.count - 3.0) * slope / squares - logs
            }
            Choice::Gcv => {
                let (rss, trace) = self.residuals(theta);
                let (mut a, mut b) = (0.0, 0.0);
                for (v, z) in self.terms(theta) {
                    a += z * z * (v - 1.0) / (v * v * v);
                    b += (v - 1.0) / (v * v);
                }
                2.0 * a / rss - 2.0 * b / trace
            }
        }
    }
}
