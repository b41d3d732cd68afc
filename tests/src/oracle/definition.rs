//! The definition itself: where a point of the original path has to be, and how much filament a move has to push.

use super::Rules;
use crate::machine::{Motion, Z};
use crate::path::Path;

/// w(z): 1 up to FROM, 0 from TO on, a straight line between; 1 everywhere without a taper.
pub(super) fn weight(z: f64, rules: &Rules) -> f64 {
    match rules.taper {
        None => 1.0,
        Some((from, to)) => {
            if z <= from {
                1.0
            } else if z >= to {
                0.0
            } else {
                (to - z) / (to - from)
            }
        }
    }
}

/// What is added to z at a place: w(z) h(x, y) + shift.
pub(super) fn offset(at: [f64; 3], h: &dyn Fn(f64, f64) -> f64, rules: &Rules) -> f64 {
    let w = weight(at[2], rules);
    // Above the taper the bed is not asked: its height there may be anything, also not a number.
    let bed = if w == 0.0 { 0.0 } else { w * h(at[0], at[1]) };
    bed + rules.shift
}

/// The original's point at a fraction of a move of which all is known.
pub(super) fn point(motion: &Motion, path: &Path, fraction: f64) -> [f64; 3] {
    let [x, y] = path.at(fraction);
    let (z0, z1) = heights(motion);
    [x, y, z0 + fraction * (z1 - z0)]
}

fn heights(motion: &Motion) -> (f64, f64) {
    (motion.start[Z].unwrap_or_default().f64(), motion.end[Z].unwrap_or_default().f64())
}

/// Samples for a length: one every 0.05 mm, at least 64.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small, non-negative count")]
pub(super) fn samples(length: f64) -> usize {
    ((length / 0.05).ceil() as usize).clamp(64, 100_000)
}

/// The flow factor: the mean over the XY path of 1 + h w'(z), with w' = -1/(TO - FROM) strictly between FROM and TO.
pub(super) fn flow(motion: &Motion, h: &dyn Fn(f64, f64) -> f64, rules: &Rules) -> f64 {
    let (Some((from, to)), Some(path)) = (rules.taper, motion.path.as_ref()) else { return 1.0 };
    if !rules.flow || !motion.known() || !motion.travels() || !motion.e.is_positive() {
        return 1.0;
    }
    // Where on the move z lies strictly between, from the two crossings.
    let (z0, z1) = heights(motion);
    let (first, last) = if motion.start[Z] == motion.end[Z] {
        if z0 <= from || z0 >= to {
            return 1.0;
        }
        (0.0, 1.0)
    } else {
        let a = (from - z0) / (z1 - z0);
        let b = (to - z0) / (z1 - z0);
        (a.min(b).clamp(0.0, 1.0), a.max(b).clamp(0.0, 1.0))
    };
    if last <= first {
        return 1.0;
    }
    // Simpson's rule (an even number of equal steps).
    let n = samples(path.length() * (last - first)).next_multiple_of(2);
    let step = (last - first) / count(n);
    let mut sum = 0.0;
    for k in 0..=n {
        let [x, y] = path.at(first + step * count(k));
        let times = if k == 0 || k == n {
            1.0
        } else if k % 2 == 1 {
            4.0
        } else {
            2.0
        };
        sum += times * h(x, y);
    }
    1.0 - sum * step / 3.0 / (to - from)
}

/// A count as a float.
#[expect(clippy::cast_precision_loss, reason = "counts of samples, far below 2^52")]
pub(super) fn count(n: usize) -> f64 {
    n as f64
}
