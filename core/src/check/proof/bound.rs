//! How far a piece's Z can be from its definition anywhere along it: a bound.
//!
//! f(t) is the commanded Z less z(t) + w(z(t)) h(p(t)) + shift. Along a stretch of s mm (at most: the most that |p'| can be, times the share)
//!
//! - h differs from its chord by at most K s^2 / 8, K the [sheet's bend](Sheet::bend), as long as the stretch crosses none of the lines where the
//!   slope of h jumps; by G s / 2 more if it does, G a bound of that slope: two slopes within G make a kink of at most 2 G;
//! - an arc adds G / r to K, r its radius, as it turns; one whose radius grows on its way, G |p''| / |p'|^2;
//! - w h in the taper adds 2 |w'| |dz/ds| G to K (the product's second derivative), and is cut where w has its kinks.
//!
//! So |f| on the stretch is at most the larger of |f| at its ends and that difference. Stretches are halved until the bound tells;
//! where |f| at an end is beyond what is allowed there is a fault, and its place is told.

use crate::HeightMap;
use crate::check::gaps::Followed;
use crate::check::way::Way;
use crate::number::within;
use crate::surface::sheet::Sheet;

/// The definition.
#[derive(Debug)]
pub(super) struct Target {
    /// Heights are the map's own: a table made for speed is not trusted.
    pub(super) map: HeightMap,
    /// For its bounds, which are of the map itself.
    pub(super) sheet: Sheet,
    pub(super) followed: Followed,
}

/// A piece: the shares of the original's way at which it begins and ends, its Z there, and the difference that may fade out from t = 0 to 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) t: [f64; 2],
    pub(super) z: [f64; 2],
    pub(super) fade: f64,
}

/// What was found along a piece.
#[derive(Debug, Clone, Copy)]
pub(super) enum Found {
    /// |f| is at most this, mm.
    Within(f64),
    /// f at a share of the way: beyond what is allowed.
    Beyond { t: f64, f: f64 },
    /// No bound was found in so many stretches.
    Unbounded,
}

/// A piece is not divided into more stretches than this. Where the rewriter made it, each may be longer than a hundred-thousandth of the longest
/// move that it divides: it leaves half a unit of the last digit to spare, ten times what it takes for itself between its own looks.
const MOST_STRETCHES: u32 = 400_000;

/// Stretches of less than this, mm, are not halved: what a bound adds there is less than any digit.
const SHORTEST: f64 = 1e-5;

impl Target {
    /// w(z).
    fn weight(&self, z: f64) -> f64 {
        match self.followed.taper {
            Some([from, to]) => within((to - z) / (to - from), 0.0, 1.0),
            None => 1.0,
        }
    }

    /// w'(z) inside the taper, 1/mm.
    fn fall(&self) -> f64 {
        self.followed.taper.map_or(0.0, |[from, to]| 1.0 / (from - to))
    }

    /// The definition at a place of the original path, mm.
    pub(super) fn height(&self, [x, y]: [f64; 2], z: f64) -> f64 {
        let weight = self.weight(z);
        let h = if weight == 0.0 { 0.0 } else { weight * self.map.height(x, y) };
        z + h + self.followed.shift
    }

    /// Bounds |f| along a piece of the way, whose own Z goes from `z[0]` to `z[1]`.
    pub(super) fn bound(&self, way: &Way, z: [f64; 2], piece: &Piece, allowed: f64) -> Found {
        let Piece { t: [t0, t1], z: told, fade } = *piece;
        let span = t1 - t0;
        let f = |t: f64| {
            let at = if span > 0.0 { (t - t0) / span } else { 1.0 };
            let commanded = told[0] * (1.0 - at) + told[1] * at;
            commanded - self.height(way.at(t), z[0] * (1.0 - t) + z[1] * t) - fade * (1.0 - t)
        };
        // The shares where w has a kink come first.
        let mut cuts = vec![t0];
        if let Some(kinks) = self.followed.taper {
            let mut inner: Vec<f64> =
                kinks.iter().map(|k| (k - z[0]) / (z[1] - z[0])).filter(|t| *t > t0 && *t < t1).collect();
            crate::order::sort_numbers(&mut inner);
            cuts.extend(inner);
        }
        cuts.push(t1);
        let mut worst: f64 = 0.0;
        let mut stack: Vec<([f64; 2], [f64; 2])> = Vec::new();
        let mut left = MOST_STRETCHES;
        for pair in cuts.windows(2) {
            stack.push(([pair[0], pair[1]], [f(pair[0]), f(pair[1])]));
            while let Some(([a, b], [fa, fb])) = stack.pop() {
                for (t, f) in [(a, fa), (b, fb)] {
                    // What is not a number is not within anything.
                    if f.is_nan() || f.abs() > allowed {
                        return Found::Beyond { t, f };
                    }
                }
                let slack = self.slack(way, z, [a, b]);
                let most = fa.abs().max(fb.abs()) + slack;
                if most <= allowed || (b - a) * way.speed() <= SHORTEST {
                    worst = worst.max(most.min(allowed));
                    continue;
                }
                let Some(fewer) = left.checked_sub(1) else { return Found::Unbounded };
                left = fewer;
                let middle = f64::midpoint(a, b);
                let at_middle = f(middle);
                stack.push(([a, middle], [fa, at_middle]));
                stack.push(([middle, b], [at_middle, fb]));
            }
        }
        Found::Within(worst)
    }

    /// By how much f can differ from its chord over a stretch.
    fn slack(&self, way: &Way, z: [f64; 2], [a, b]: [f64; 2]) -> f64 {
        let (share, speed) = (b - a, way.speed());
        let length = share * speed;
        let weight = self.weight(z[0] * (1.0 - a) + z[1] * a).max(self.weight(z[0] * (1.0 - b) + z[1] * b));
        if weight == 0.0 || length <= 0.0 {
            return 0.0;
        }
        let slope = self.sheet.slope_bound();
        let bend = weight * (self.sheet.bend(length) * speed * speed + slope * way.turning())
            + 2.0 * self.fall().abs() * (z[1] - z[0]).abs() * speed * slope;
        let kink = if self.crosses(way, [a, b]) { 0.5 * weight * slope * length } else { 0.0 };
        kink + bend * share * share / 8.0
    }

    /// Whether the stretch may cross a line on which the slope of h jumps.
    fn crosses(&self, way: &Way, [a, b]: [f64; 2]) -> bool {
        let (p, q) = (way.at(a), way.at(b));
        // An arc lies within its sagitta of its chord, or within its length where it turns far.
        let out = (way.turning() * (b - a) * (b - a) / 8.0).min((b - a) * way.speed());
        let breaks = self.sheet.breaks();
        (0..2).any(|n| {
            let (low, high) = (p[n].min(q[n]) - out, p[n].max(q[n]) + out);
            let first = breaks[n].partition_point(|v| *v <= low);
            breaks[n].get(first).is_some_and(|v| *v < high)
        })
    }

    /// The mean of 1 + h w'(z) along the way: Gauss's rule of three points on stretches of at most 0.5 mm and half a radian, which are halved ten
    /// times around the lines where the slope of h jumps.
    pub(super) fn flow(&self, way: &Way, z: [f64; 2]) -> f64 {
        let Some([from, to]) = self.followed.taper else { return 1.0 };
        if z[0].max(z[1]) <= from || z[0].min(z[1]) >= to || way.length <= 0.0 {
            return 1.0;
        }
        let mut cuts = vec![0.0, 1.0];
        cuts.extend([from, to].iter().map(|k| (k - z[0]) / (z[1] - z[0])).filter(|t| *t > 0.0 && *t < 1.0));
        crate::order::sort_numbers(&mut cuts);
        let fall = self.fall();
        let mut sum = 0.0;
        for pair in cuts.windows(2) {
            let middle = f64::midpoint(pair[0], pair[1]);
            let z = z[0] * (1.0 - middle) + z[1] * middle;
            if z > from && z < to {
                sum += fall * self.mean(way, [pair[0], pair[1]]);
            }
        }
        1.0 + sum
    }

    /// The integral of h over shares of the way.
    fn mean(&self, way: &Way, [a, b]: [f64; 2]) -> f64 {
        /// Nodes and weights on -1 to 1: sqrt(3/5), 5/9 and 8/9 (Gauss-Legendre).
        const NODE: f64 = 0.774_596_669_241_483_4;
        let mut stack = vec![[a, b]];
        let sweep = way.arc.map_or(0.0, |arc| arc.sweep.abs());
        let mut sum = 0.0;
        while let Some([a, b]) = stack.pop() {
            let length = (b - a) * way.speed();
            if length > 0.5 || (b - a) * sweep > 0.5 || (length > 0.5 / 1024.0 && self.crosses(way, [a, b])) {
                let middle = f64::midpoint(a, b);
                stack.extend([[a, middle], [middle, b]]);
                continue;
            }
            let (middle, half) = (f64::midpoint(a, b), 0.5 * (b - a));
            let h = |t: f64| {
                let [x, y] = way.at(t);
                self.map.height(x, y)
            };
            let [low, centre, high] = [h(middle - NODE * half), h(middle), h(middle + NODE * half)];
            sum += half * (5.0 * (low + high) + 8.0 * centre) / 9.0;
        }
        sum
    }
}
