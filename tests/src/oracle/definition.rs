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

/// Samples for a length: one every [`Rules::step`], at least 64.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small, non-negative count")]
pub(super) fn samples(length: f64, rules: &Rules) -> usize {
    ((length / rules.step).ceil() as usize).clamp(64, 100_000)
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
    let bed = |t: f64| {
        let [x, y] = path.at(t);
        h(x, y)
    };
    let panels = samples(path.length() * (last - first) / 10.0, rules);
    let edge = |k: usize| first + (last - first) * count(k) / count(panels);
    let sum: f64 = (0..panels).map(|k| simpson(&bed, edge(k), edge(k + 1), 16)).sum();
    1.0 - sum / (to - from)
}

/// Simpson's rule, halving where a panel and its halves do not agree to 1e-13 (a bilinear surface has creases).
fn simpson(f: &dyn Fn(f64) -> f64, a: f64, b: f64, depth: u32) -> f64 {
    let rule = |a: f64, b: f64| (b - a) / 6.0 * (f(a) + 4.0 * f(a.midpoint(b)) + f(b));
    let middle = a.midpoint(b);
    let (whole, left, right) = (rule(a, b), rule(a, middle), rule(middle, b));
    if depth == 0 || (left + right - whole).abs() < 1e-13 {
        left + right
    } else {
        simpson(f, a, middle, depth - 1) + simpson(f, middle, b, depth - 1)
    }
}

/// A count as a float.
#[expect(clippy::cast_precision_loss, reason = "counts of samples, far below 2^52")]
pub(super) fn count(n: usize) -> f64 {
    n as f64
}
