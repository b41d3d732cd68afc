//! What readings far from a square add to a thin plate there: a biharmonic expansion about the square's middle.
//!
//! With complex d = (place - middle) / half side, the kernel r^2 ln r of a reading at c (in the same unit) is, for |d| < |c|,
//!
//! ```text
//! |c|^2 l - (2 l + 1) Re(c' d) + |d|^2 (l + 1)                                  l = ln|c|, c' the conjugate
//!   + sum_{k>=2} |c|^2 Re(d^k / c^k) / (k (k-1))  -  |d|^2 sum_{k>=1} Re(d^k / c^k) / (k (k+1))
//! ```
//!
//! since it is |d - c|^2 (ln|c| + Re ln(1 - d/c)) and 1/(k-1) - 1/k = 1/(k (k-1)). So what any number of readings add is
//! Re A(d) + |d|^2 Re B(d) with two polynomials A and B (Goursat's form of a biharmonic function), which are handed on from a
//! square to its quarters exactly (after Greengard and Rokhlin 1987: local expansions only, as readings are few).
//!
//! What is cut off is bounded along with its first and second derivatives, on the disc around the square, |d| <= sqrt 2: with
//! s = sqrt 2 / |c| the terms from the order P + 1 on are sums of s^k, and a geometric series is above them.

/// The highest order of an expansion.
pub(super) const MOST: usize = 16;

/// A reading's kernel is expanded where it is at least this far from the middle, in half sides.
pub(super) const FAR: f64 = 3.0;

type Complex = [f64; 2];

/// The square root of 2 to the power k: how far the square's corners are, in half sides.
const REACH: [f64; MOST + 1] = {
    let mut out = [1.0; MOST + 1];
    let mut k = 1;
    while k <= MOST {
        out[k] = if k == 1 { core::f64::consts::SQRT_2 } else { 2.0 * out[k - 2] };
        k += 1;
    }
    out
};

/// 1 / (k (k - 1)) and 1 / (k (k + 1)).
const INVERSE: [[f64; 2]; MOST + 1] = {
    let mut out = [[0.0; 2]; MOST + 1];
    let (mut k, mut n) = (1, 1.0);
    while k <= MOST {
        out[k] = [if k == 1 { 0.0 } else { 1.0 / (n * (n - 1.0)) }, 1.0 / (n * (n + 1.0))];
        (k, n) = (k + 1, n + 1.0);
    }
    out
};

/// Re A(d) + |d|^2 Re B(d), and what it leaves out.
#[derive(Debug, Clone)]
pub(super) struct Expansion {
    /// Degree of A; that of B is less by two.
    order: usize,
    a: [Complex; MOST + 1],
    b: [Complex; MOST + 1],
    /// Bounds of what was cut off, of its slope and of its second derivative in any direction, on the square; by half sides.
    cut: [f64; 3],
}

/// (1 + i) / 2 to the power r, times i^turns: exact.
fn corner_power(r: usize) -> Complex {
    let half = (0..r / 2).fold([1.0, 0.0], |[x, y]: Complex, _| [-0.5 * y, 0.5 * x]);
    if r % 2 == 1 { [0.5 * (half[0] - half[1]), 0.5 * (half[0] + half[1])] } else { half }
}

fn times(p: Complex, q: Complex) -> Complex {
    [p[0] * q[0] - p[1] * q[1], p[0] * q[1] + p[1] * q[0]]
}

fn as_f64(n: usize) -> f64 {
    super::as_f64(n)
}

/// A bound of |z|.
fn size(z: Complex) -> f64 {
    z[0].abs() + z[1].abs()
}

/// The factors that take an expansion to the quarters of its square.
#[derive(Debug)]
pub(super) struct Shift {
    /// Binomials C(k, j) / 2^j times ((1 + i) / 2)^(k - j).
    factor: Vec<[Complex; MOST + 1]>,
}

impl Shift {
    pub(super) fn new() -> Shift {
        let mut factor = vec![[[0.0; 2]; MOST + 1]; MOST + 1];
        let mut row = [0.0; MOST + 1];
        row[0] = 1.0;
        #[expect(clippy::needless_range_loop, reason = "k is the degree, in several lists")]
        for k in 0..=MOST {
            let mut half = 1.0;
            for j in 0..=k {
                factor[j][k] = corner_power(k - j).map(|v| v * row[j] * half);
                half *= 0.5;
            }
            for j in (1..=MOST).rev() {
                row[j] += row[j - 1];
            }
        }
        Shift { factor }
    }

    /// A polynomial about the middles of the quarters, in their half sides: the quarters' middles are at i^m (1 + i) / 2.
    fn quarters(&self, p: &[Complex], mut put: impl FnMut(usize, [Complex; 4])) {
        for j in 0..p.len() {
            let factors = &self.factor[j][j..p.len()];
            // The terms by (k - j) mod 4: i^(m (k - j)) is the same for each.
            let mut sum = [[0.0; 2]; 4];
            for (zs, fs) in p[j..].chunks(4).zip(factors.chunks(4)) {
                for ((slot, z), f) in sum.iter_mut().zip(zs).zip(fs) {
                    let [x, y] = times(*z, *f);
                    slot[0] += x;
                    slot[1] += y;
                }
            }
            let [s0, s1, s2, s3] = sum;
            let (even, odd) = ([s0[0] + s2[0], s0[1] + s2[1]], [s0[0] - s2[0], s0[1] - s2[1]]);
            let (plus, minus) = ([s1[0] + s3[0], s1[1] + s3[1]], [s1[0] - s3[0], s1[1] - s3[1]]);
            put(
                j,
                [
                    [even[0] + plus[0], even[1] + plus[1]],
                    [odd[0] - minus[1], odd[1] + minus[0]],
                    [even[0] - plus[0], even[1] - plus[1]],
                    [odd[0] + minus[1], odd[1] - minus[0]],
                ],
            );
        }
    }
}

/// Where the quarters lie that [`Expansion::quarters`] gives, as columns and rows: to the right or not, behind or not.
pub(super) const QUARTERS: [[usize; 2]; 4] = [[1, 1], [0, 1], [0, 0], [1, 0]];

impl Expansion {
    pub(super) fn new(order: usize) -> Expansion {
        let zero = [[0.0; 2]; MOST + 1];
        Expansion { order: order.clamp(2, MOST), a: zero, b: zero, cut: [0.0; 3] }
    }

    /// Adds `weight` r^2 (ln r + `ln`) of a reading at `c`, r and c in half sides; |c| at least [`FAR`].
    pub(super) fn add(&mut self, c: Complex, weight: f64, ln: f64) {
        let r2 = c[0] * c[0] + c[1] * c[1];
        let l = 0.5 * crate::surface::log::ln(r2) + ln;
        self.add_square(c, weight, l);
        self.a[1][0] -= weight * c[0];
        self.a[1][1] += weight * c[1];
        self.b[0][0] += weight;
        let per = [c[0] / r2, -c[1] / r2];
        let order = self.order;
        let share = (2.0 / r2).sqrt();
        let (mut power, mut shares) = (per.map(|v| v * weight), weight.abs() / (1.0 - share));
        #[expect(clippy::needless_range_loop, reason = "k is the degree, in several lists")]
        for k in 1..=order {
            let [at_a, at_b] = INVERSE[k];
            self.a[k][0] += r2 * at_a * power[0];
            self.a[k][1] += r2 * at_a * power[1];
            if k + 2 <= order {
                self.b[k][0] -= at_b * power[0];
                self.b[k][1] -= at_b * power[1];
            }
            power = times(power, per);
            if k < order {
                shares *= share;
            }
        }
        let n = as_f64(order);
        self.cut[0] += 2.0 * shares * (INVERSE[order][1] + INVERSE[order][0]);
        self.cut[1] += core::f64::consts::SQRT_2 * shares * (1.0 / n + (n + 1.0) * INVERSE[order][0]);
        self.cut[2] += shares * (1.0 + (n + 1.0) / (n - 1.0));
    }

    /// Adds `weight` |d - c|^2 `l`.
    pub(super) fn add_square(&mut self, c: Complex, weight: f64, l: f64) {
        let wl = weight * l;
        self.a[0][0] += wl * (c[0] * c[0] + c[1] * c[1]);
        self.a[1][0] -= 2.0 * wl * c[0];
        self.a[1][1] += 2.0 * wl * c[1];
        self.b[0][0] += wl;
    }

    /// Adds a plane: its value in the middle and its slopes by half sides.
    pub(super) fn add_plane(&mut self, [value, sx, sy]: [f64; 3]) {
        self.a[0][0] += value;
        self.a[1][0] += sx;
        self.a[1][1] -= sy;
    }

    /// The same about the middles of the four quarters, in their half sides and at order `order`.
    pub(super) fn quarters(&self, shift: &Shift, order: usize, into: &mut [Expansion; 4]) {
        let cut = [self.cut[0], 0.5 * self.cut[1], 0.25 * self.cut[2]];
        for out in into.iter_mut() {
            (out.order, out.cut) = (self.order, cut);
            out.b[..self.order].fill([0.0; 2]);
        }
        shift.quarters(&self.a[..=self.order], |j, z| (0..4).for_each(|m| into[m].a[j] = z[m]));
        // |d|^2 = |d'|^2 / 4 + Re(t' d') + 1/2, and 2 Re(p) Re(q) = Re(p q) + Re(p' q).
        shift.quarters(&self.b[..self.order - 1], |j, zs| {
            for (m, mut z) in zs.into_iter().enumerate() {
                let [right, behind] = QUARTERS[m].map(|n| if n == 1 { 0.5 } else { -0.5 });
                let (t, conjugate) = ([right, behind], [right, -behind]);
                let out = &mut into[m];
                if j == 0 {
                    // Only Re B(0) counts, and both halves of the product are the same.
                    z[1] = 0.0;
                    out.a[1][0] += conjugate[0] * z[0];
                    out.a[1][1] += conjugate[1] * z[0];
                } else {
                    let next = times(conjugate, z);
                    out.a[j + 1][0] += 0.5 * next[0];
                    out.a[j + 1][1] += 0.5 * next[1];
                    let before = times(t, z);
                    out.b[j - 1][0] += 0.5 * before[0];
                    out.b[j - 1][1] += 0.5 * before[1];
                }
                out.a[j][0] += 0.5 * z[0];
                out.a[j][1] += 0.5 * z[1];
                out.b[j][0] += 0.25 * z[0];
                out.b[j][1] += 0.25 * z[1];
            }
        });
        into.iter_mut().for_each(|out| out.cut_to(order));
    }

    /// Lowers the order.
    fn cut_to(&mut self, order: usize) {
        let order = order.clamp(2, self.order);
        let root = core::f64::consts::SQRT_2;
        #[expect(clippy::needless_range_loop, reason = "k is the degree, in several lists")]
        for k in order - 1..=self.order {
            let (n, reach) = (as_f64(k), REACH[k]);
            if k > order {
                let m = size(self.a[k]) * reach;
                self.cut[0] += m;
                self.cut[1] += m * n / root;
                self.cut[2] += m * n * (n - 1.0) / 2.0;
                self.a[k] = [0.0; 2];
            }
            if k + 2 > order && k + 2 <= self.order {
                let m = size(self.b[k]) * reach;
                self.cut[0] += 2.0 * m;
                self.cut[1] += root * m * (n + 2.0);
                self.cut[2] += m * (n + 2.0) * (n + 1.0);
                self.b[k] = [0.0; 2];
            }
        }
        self.order = order;
    }

    /// A bound of what was cut off.
    pub(super) fn cut(&self) -> f64 {
        self.cut[0]
    }

    /// Bounds on the square of the slope and of the second derivative in any direction, by half sides, of all, what was cut off
    /// included.
    pub(super) fn slope_and_bend(&self) -> [f64; 2] {
        let root = core::f64::consts::SQRT_2;
        let [_, mut slope, mut bend] = self.cut;
        let exact = |z: Complex| (z[0] * z[0] + z[1] * z[1]).sqrt();
        #[expect(clippy::needless_range_loop, reason = "k is the degree, in several lists")]
        for k in 0..=self.order {
            let (n, reach) = (as_f64(k), REACH[k]);
            let m = if k <= 2 { exact(self.a[k]) } else { size(self.a[k]) } * reach;
            slope += m * n / root;
            bend += m * n * (n - 1.0) / 2.0;
            if k + 2 <= self.order {
                let m = if k == 0 { self.b[0][0].abs() } else { size(self.b[k]) } * reach;
                slope += root * m * (n + 2.0);
                bend += m * (n + 2.0) * (n + 1.0);
            }
        }
        [slope, bend]
    }

    /// The coefficients of A and those of B.
    pub(super) fn parts(&self) -> [&[Complex]; 2] {
        [&self.a[..=self.order], &self.b[..self.order - 1]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(e: &Expansion, d: Complex) -> f64 {
        let (mut sum, mut power, d2) = (0.0, [1.0, 0.0], d[0] * d[0] + d[1] * d[1]);
        for k in 0..=e.order {
            sum += times(e.a[k], power)[0];
            if k + 2 <= e.order {
                sum += d2 * times(e.b[k], power)[0];
            }
            power = times(power, d);
        }
        sum
    }

    fn kernel(d: Complex, c: Complex) -> f64 {
        let r2 = (d[0] - c[0]) * (d[0] - c[0]) + (d[1] - c[1]) * (d[1] - c[1]);
        0.5 * r2 * libm::log(r2)
    }

    fn square() -> impl Iterator<Item = Complex> {
        (0..=20).flat_map(|i| (0..=20).map(move |j| [f64::from(i) / 10.0 - 1.0, f64::from(j) / 10.0 - 1.0]))
    }

    #[test]
    fn an_expansion_is_its_kernel_within_what_was_cut() {
        for order in [2, 3, 5, 8, 16] {
            for c in [[3.0, 0.0], [-2.2, 2.2], [0.5, -7.0], [40.0, 13.0]] {
                let mut e = Expansion::new(order);
                e.add(c, 1.0, 0.0);
                let worst = square().map(|d| (value(&e, d) - kernel(d, c)).abs()).fold(0.0, f64::max);
                let allowed = e.cut() + 1e-13 * kernel([0.0; 2], c).abs();
                assert!(worst <= allowed, "{order} {c:?}: {worst:e} over {allowed:e}");
                // The bound is of the right size: a fifth of it is reached where the kernel is near.
                assert!(c[0].abs() > 9.0 || c[1].abs() > 3.0 || worst > 0.05 * e.cut(), "{order} {c:?}: {worst:e}");
            }
        }
    }

    #[test]
    fn quarters_are_the_same_surface() {
        let shift = Shift::new();
        let mut e = Expansion::new(10);
        e.add([3.1, 0.4], 1.3, 0.2);
        e.add([-2.0, -2.9], -0.7, 0.2);
        e.add_plane([0.3, -0.2, 0.5]);
        let quarters = |order| {
            let mut out = [0, 1, 2, 3].map(|_| Expansion::new(MOST));
            e.quarters(&shift, order, &mut out);
            out
        };
        for (quarter, [right, behind]) in quarters(10).iter().zip(QUARTERS) {
            for d in square() {
                let at = [0.5 * d[0] + as_f64(right) - 0.5, 0.5 * d[1] + as_f64(behind) - 0.5];
                assert!((value(quarter, d) - value(&e, at)).abs() < 1e-13);
            }
        }
        for (quarter, whole) in quarters(6).iter().zip(quarters(10)) {
            assert!(quarter.cut() > 0.0);
            for d in square() {
                assert!((value(quarter, d) - value(&whole, d)).abs() <= quarter.cut());
            }
        }
    }

    #[test]
    fn bounds_hold_of_slope_and_bend() {
        let mut e = Expansion::new(5);
        e.add([3.1, 0.4], 1.3, 0.0);
        e.add([-2.0, -2.9], -0.7, 0.0);
        let f = |d: Complex| 1.3 * kernel(d, [3.1, 0.4]) - 0.7 * kernel(d, [-2.0, -2.9]);
        let [slope, bend] = e.slope_and_bend();
        let (mut steepest, mut most) = (0.0f64, 0.0f64);
        for d in square() {
            for turn in 0..12 {
                let a = f64::from(turn) * core::f64::consts::PI / 12.0;
                let step = [1e-3 * libm::cos(a), 1e-3 * libm::sin(a)];
                let (on, back) = (f([d[0] + step[0], d[1] + step[1]]), f([d[0] - step[0], d[1] - step[1]]));
                steepest = steepest.max((on - back).abs() / 2e-3);
                most = most.max((on + back - 2.0 * f(d)).abs() / 1e-6);
            }
        }
        assert!(steepest <= slope && steepest > 0.3 * slope, "{steepest} {slope}");
        assert!(most <= bend + 1e-6 && most > 0.2 * bend, "{most} {bend}");
    }
}
