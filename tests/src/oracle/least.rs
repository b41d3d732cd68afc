//! How few straight pieces could follow a curve within a tolerance: a bound from below for any rewriter.

/// The least number of straight lines, each free of the others, that pass within `reach` above and below all samples
/// `(t, value)`, in order of t. Pieces that must join end to end can only be more.
pub(super) fn pieces(samples: &[[f64; 2]], reach: f64) -> usize {
    let mut from = 0;
    let mut n = 0;
    while from < samples.len() {
        n += 1;
        // The longest run from here that one line serves: the width only grows with the run, so halve.
        let (mut fits, mut fails) = (1, samples.len() - from + 1);
        while fails - fits > 1 {
            let middle = fits.midpoint(fails);
            if width(&samples[from..from + middle]) <= 2.0 * reach { fits = middle } else { fails = middle }
        }
        from += fits;
    }
    n
}

/// The least height, along the value axis, of a sloping strip that holds all samples. One of its edges lies on an
/// edge of the samples' convex hull.
fn width(samples: &[[f64; 2]]) -> f64 {
    let mut least = f64::INFINITY;
    for sign in [1.0, -1.0] {
        let mut hull: Vec<[f64; 2]> = Vec::new();
        for &[t, v] in samples {
            let p = [t, sign * v];
            while let [.., a, b] = hull[..]
                && (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) <= 0.0
            {
                hull.pop();
            }
            hull.push(p);
        }
        for edge in hull.windows(2) {
            let slope = (edge[1][1] - edge[0][1]) / (edge[1][0] - edge[0][0]);
            let above = |p: &[f64; 2]| sign * p[1] - edge[0][1] - slope * (p[0] - edge[0][0]);
            least = least.min(samples.iter().map(above).fold(0.0, f64::max));
        }
    }
    if samples.len() < 3 { 0.0 } else { least }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_by_hand() {
        // The best line over a chord of length L of t^2 is off by L^2 / 8 to both sides: 1/8 of 1 for the whole, so
        // within 1/32 a line reaches over 1/2, and two serve; within a hair less it takes three.
        let samples: Vec<[f64; 2]> = (0..=1000).map(|k| f64::from(k) / 1000.0).map(|t| [t, t * t]).collect();
        assert!((width(&samples) - 0.25).abs() < 1e-6, "{}", width(&samples));
        assert_eq!(pieces(&samples, 0.126), 1);
        assert_eq!(pieces(&samples, 0.0315), 2);
        assert_eq!(pieces(&samples, 0.031), 3);
        let line: Vec<[f64; 2]> = samples.iter().map(|[t, _]| [*t, 3.0 - 7.0 * t]).collect();
        assert_eq!(pieces(&line, 1e-9), 1);
    }
}
