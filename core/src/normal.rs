//! The normal distribution: what readings scatter by, and how far their highest and lowest lie apart.

/// The share of a standard normal below `z`: erfc(-z / sqrt 2) / 2 (NIST Digital Library of Mathematical Functions, 7.17).
pub(crate) fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * core::f64::consts::FRAC_1_SQRT_2)
}

/// The size that none of `count` independent standard normals passes, either way, but with the chance `level`: Šidák
/// 1967, "Rectangular confidence regions for the means of multivariate normal distributions", each one's share being 1 -
/// (1 - level)^(1 / count).
///
/// Found by bisection, within 1e-12. `level` from 1e-12 to 0.5; `count` 0 counts as 1.
pub(crate) fn passed_by_none(count: usize, level: f64) -> f64 {
    let n = crate::surface::places::count(count.max(1));
    let each = -libm::expm1(libm::log1p(-crate::number::within(level, 1e-12, 0.5)) / n);
    let (mut low, mut high) = (0.0, 40.0);
    while high - low > 1e-12 {
        let middle = 0.5 * (low + high);
        // Two tails; `below(-z)` keeps its digits where 1 - below(z) would not.
        if 2.0 * below(-middle) > each {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The expected range, highest minus lowest, of independent normals of mean 0 with these standard deviations (mm, or
/// whatever they are in); 0 for fewer than two.
///
/// L. H. C. Tippett 1925, "On the extreme individuals and the range of samples taken from a normal population",
/// Biometrika 17: the integral of 1 - P(all are below x) - P(all are above x) over x, here with a standard deviation for
/// each. By the trapezoidal rule, which is exact to far below 1e-9 of the largest deviation for such smooth functions
/// that vanish with all their derivatives at both ends.
pub(crate) fn expected_range(deviations: &[f64]) -> f64 {
    const HALF_STEPS: i32 = 160;
    const REACH: f64 = 10.0;
    let largest = deviations.iter().copied().fold(0.0, f64::max);
    if deviations.len() < 2 || largest <= 0.0 || !largest.is_finite() {
        return 0.0;
    }
    // Equal deviations are taken together: cards have one or two.
    let mut groups: Vec<(f64, f64)> = Vec::new();
    for &d in deviations {
        match groups.iter_mut().find(|(g, _)| g.to_bits() == d.to_bits()) {
            Some((_, n)) => *n += 1.0,
            None => groups.push((d, 1.0)),
        }
    }
    let all = |x: f64| -> f64 {
        let share = |d: f64| if d > 0.0 { below(x / d) } else { f64::from(x > 0.0) };
        groups.iter().map(|&(d, n)| libm::pow(share(d), n)).product()
    };
    let step = REACH * largest / f64::from(HALF_STEPS);
    let sum: f64 = (-HALF_STEPS..=HALF_STEPS)
        .map(|k| {
            let x = step * f64::from(k);
            1.0 - all(x) - all(-x)
        })
        .sum();
    sum * step
}

#[cfg(test)]
mod tests {
    use super::*;

    /// d2 as tabled in ISO 8258:1991 (recalled); here with the digits that Tippett's integral gives for 2 and 3 by hand: 2 /
    /// sqrt(pi), 3 / sqrt(pi).
    #[test]
    fn expected_ranges_are_the_tabled_ones() {
        let of = |n: usize| expected_range(&vec![1.0; n]);
        let root = core::f64::consts::PI.sqrt();
        assert!((of(2) - 2.0 / root).abs() < 1e-9, "{}", of(2));
        assert!((of(3) - 3.0 / root).abs() < 1e-9);
        for (n, d2) in [(4, 2.059), (5, 2.326), (6, 2.534), (9, 2.970), (10, 3.078), (16, 3.532), (25, 3.931)] {
            assert!((of(n) - d2).abs() < 6e-4, "{n}: {}", of(n));
        }
        assert!((expected_range(&[0.02; 9]) - 0.02 * of(9)).abs() < 1e-12);
        assert!(of(1).abs() < 1e-300 && expected_range(&[]).abs() < 1e-300);
    }

    /// The range of two normals is |difference|, whose mean is sqrt(2 / pi) of the difference's standard deviation.
    #[test]
    fn unlike_deviations_count_each_for_itself() {
        let want = (2.0 / core::f64::consts::PI).sqrt() * 0.05;
        assert!((expected_range(&[0.03, 0.04]) - want).abs() < 1e-9);
    }

    /// Two-sided 5 % is 1.959964 (any table); of ten, each has 0.5116 %, 2.799.
    #[test]
    fn limits_grow_with_the_number_of_looks() {
        assert!((passed_by_none(1, 0.05) - 1.959_963_985).abs() < 1e-8);
        assert!((passed_by_none(10, 0.05) - 2.7996).abs() < 2e-3);
        assert!(passed_by_none(50_000, 0.05) < 6.0);
    }
}
