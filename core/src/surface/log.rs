//! The natural logarithm, inlined: a thin plate asks for little else.

/// The bits of the root of 1/2, but for those that are always cut off, and of 1.
const ROOT: u64 = 0x3fe6_a09e << 32;
const ONE: u64 = 0x3ff0_0000 << 32;
/// ln 2 in two parts, the first with zeros at its end.
const HIGH: f64 = f64::from_bits(0x3fe6_2e42_fee0_0000);
const LOW: f64 = f64::from_bits(0x3dea_39ef_3579_3c76);
/// Of (ln(1 + s) - ln(1 - s)) / s - 2 in s^2, s = f / (2 + f), by Remez' method.
const L: [f64; 7] = [
    f64::from_bits(0x3fe5_5555_5555_5593),
    f64::from_bits(0x3fd9_9999_9997_fa04),
    f64::from_bits(0x3fd2_4924_9422_9359),
    f64::from_bits(0x3fcc_71c5_1d8e_78af),
    f64::from_bits(0x3fc7_4664_96cb_03de),
    f64::from_bits(0x3fc3_9a09_d078_c69f),
    f64::from_bits(0x3fc2_f112_df3e_5244),
];

/// ln x. The steps are those of `libm::log` (and of fdlibm's `e_log`, 1993, before it), without its special cases, so that the bits
/// are the same; what is not a normal positive number goes there.
#[inline]
pub(crate) fn ln(x: f64) -> f64 {
    if (f64::MIN_POSITIVE..=f64::MAX).contains(&x) { of_normal(x) } else { libm::log(x) }
}

/// Takes squares of distances to r^2 ln r, many at once; 0 stays 0.
pub(crate) fn kernels(squares: &mut [f64]) {
    if squares.iter().all(|v| *v >= f64::MIN_POSITIVE) {
        squares.iter_mut().for_each(|v| *v = 0.5 * *v * of_normal(*v));
    } else {
        squares.iter_mut().filter(|v| **v > 0.0).for_each(|v| *v = 0.5 * *v * ln(*v));
    }
}

/// ln x of a normal positive number. Whole numbers are taken from bits and made numbers by bits, so that it goes in lanes.
#[inline]
fn of_normal(x: f64) -> f64 {
    /// 2^52: its last binary place is 1.
    const WHOLE: u64 = 0x4330 << 48;
    // x = 2^k (1 + f), 1 + f between the roots of 1/2 and of 2.
    let bits = x.to_bits() + (ONE - ROOT);
    let k = f64::from_bits(WHOLE | (bits >> 52)) - (4_503_599_627_370_496.0 + 1023.0);
    let f = f64::from_bits((bits & 0x000f_ffff_ffff_ffff) + ROOT) - 1.0;
    let half = 0.5 * f * f;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let even = w * (L[1] + w * (L[3] + w * L[5]));
    let odd = z * (L[0] + w * (L[2] + w * (L[4] + w * L[6])));
    s * (half + (odd + even)) + k * LOW - half + f + k * HIGH
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bits_are_those_of_libm() {
        let mut seed = 1_u64;
        for n in 0..2_000_000_u32 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            // Any bits at all, and numbers about 1.
            let x = match n % 3 {
                0 => f64::from_bits(seed ^ (seed >> 29)),
                1 => 1.0 + (f64::from_bits((seed >> 12) | 0x3ff0_0000_0000_0000) - 1.5) * 1e-3,
                _ => f64::from_bits((seed >> 12) | 0x3ff0_0000_0000_0000) * 0.7,
            };
            let (a, b) = (ln(x), libm::log(x));
            assert!(a.to_bits() == b.to_bits() || (a.is_nan() && b.is_nan()), "{x:e}: {a:e} {b:e}");
        }
        const { assert!(HIGH < core::f64::consts::LN_2 && core::f64::consts::LN_2 - HIGH < 2e-10) };
        for x in [0.0, -0.0, 1.0, f64::MIN_POSITIVE, 5e-324, f64::MAX, f64::INFINITY, f64::NAN, -1.0, 0.5, 2.0] {
            let (a, b) = (ln(x), libm::log(x));
            assert!(a.to_bits() == b.to_bits() || (a.is_nan() && b.is_nan()), "{x:e}: {a:e} {b:e}");
        }
    }

    #[test]
    fn many_at_once_are_the_same() {
        let squares: Vec<f64> = (0..50).map(|n| 1.3 * f64::from(n) * f64::from(n) / 7.0).collect();
        for from in [0, 1] {
            let mut all = squares[from..].to_vec();
            kernels(&mut all);
            for (square, kernel) in squares[from..].iter().zip(all) {
                let one = if *square > 0.0 { 0.5 * square * libm::log(*square) } else { 0.0 };
                assert_eq!(one.to_bits(), kernel.to_bits());
            }
        }
    }
}
