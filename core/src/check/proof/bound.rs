//! How far a piece's Z can be from its definition anywhere along it: a bound.
//!
//! f(t) is the commanded Z less z(t) + w(z(t)) h(p(t)) + shift. Along a stretch of s mm (at most: the most that |p'| can be, times the share)
//!
//! - h differs from its chord by at most K s^2 / 8, K the [sheet's bend](Sheet::bend), as long as the stretch crosses none of the lines where the
//!   slope of h jumps; by G s / 2 more if it does, G a bound of that slope: two slopes within G make a kink of at most 2 G;
//! - an arc adds G / r to K, r its radius, as it turns; one whose radius grows on its way, G |p''| / |p'|^2;
//! - w h in the taper adds 2 |w'| |dz/ds| G to K (the product's second derivative), and is cut where w has its kinks.
//!
//! Over a bilinear map, straight and at one weight, f is a parabola between the lines where the slope jumps: there its extreme is known, not
//! bounded. Else |f| on the stretch is at most the larger of |f| at its ends and that difference. Stretches are halved until the bound tells;
//! where |f| at an end is beyond what is allowed there is a fault, and its place is told.

use crate::check::gaps::Followed;
use crate::check::way::Way;
use crate::number::within;
use crate::surface::sheet::Sheet;
use crate::{HeightMap, SurfaceKind};

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
        if self.map.kind() == SurfaceKind::Bilinear && way.arc.is_none() {
            self.cut_at_breaks(way, &mut cuts);
        }
        let mut worst: f64 = 0.0;
        let mut stack: Vec<([f64; 2], [f64; 2])> = Vec::new();
        let mut left = MOST_STRETCHES;
        for pair in cuts.windows(2) {
            if self.is_parabola(way, z, [pair[0], pair[1]]) {
                let (t, f) = extreme([pair[0], pair[1]], &f);
                if f.is_nan() || f.abs() > allowed {
                    return Found::Beyond { t, f };
                }
                worst = worst.max(f.abs());
                continue;
            }
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

    /// Adds the shares at which a straight way crosses a line where the slope of h jumps.
    fn cut_at_breaks(&self, way: &Way, cuts: &mut Vec<f64>) {
        let [t0, t1] = [cuts[0], cuts[cuts.len() - 1]];
        for (n, lines) in self.sheet.breaks().iter().enumerate() {
            let shares = lines.iter().map(|line| (line - way.from[n]) / (way.to[n] - way.from[n]));
            cuts.extend(shares.filter(|t| *t > t0 && *t < t1));
        }
        crate::order::sort_numbers(cuts);
    }

    /// Whether f is a parabola over a stretch that no break line cuts.
    fn is_parabola(&self, way: &Way, z: [f64; 2], stretch: [f64; 2]) -> bool {
        let [a, b] = stretch.map(|t| self.weight(z[0] * (1.0 - t) + z[1] * t));
        self.map.kind() == SurfaceKind::Bilinear && way.arc.is_none() && (a - b).abs() <= 1e-12
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

/// Where a parabola is farthest from zero over a stretch, and how far: at an end or at its vertex.
fn extreme([a, b]: [f64; 2], f: &dyn Fn(f64) -> f64) -> (f64, f64) {
    let [low, middle, high] = [f(a), f(f64::midpoint(a, b)), f(b)];
    let (slope, bend) = (4.0 * middle - 3.0 * low - high, 2.0 * (low - 2.0 * middle + high));
    let vertex = a + (b - a) * within(-0.5 * slope / bend, 0.0, 1.0);
    let mut worst = (a, low);
    for (t, f) in [(b, high), (vertex, if vertex > a && vertex < b { f(vertex) } else { low })] {
        if f.is_nan() || f.abs() > worst.1.abs() {
            worst = (t, f);
        }
    }
    worst
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::toolpath::Arc;
    use proptest::prelude::*;

    fn target() -> Target {
        let card = crate::Card::parse(
            "[bed]\nx = [0, 100]\ny = [0, 100]\n[readings]\nmethod = 'drag'\nsheet = 0\npoints = [[0, 0, 0], [50, 0, 0.2], [100, 0, 0], \
             [0, 50, 0.1], [50, 50, -0.2], [100, 50, 0.3], [0, 100, 0], [50, 100, 0.1], [100, 100, -0.1]]\n",
        );
        let map = HeightMap::fit(&card.unwrap(), SurfaceKind::Bilinear).unwrap();
        Target { sheet: Sheet::of(&map), map, followed: Followed { taper: Some([0.5, 2.0]), shift: 0.0 } }
    }

    proptest! {
        /// What is told of a straight piece over a bilinear map is what looking at 20,000 places finds; of an arc, or in the taper, no less.
        #[test]
        fn the_extreme_is_the_extreme(
            from in [-10.0f64..110.0, -10.0f64..110.0], to in [-10.0f64..110.0, -10.0f64..110.0],
            z in [0.0f64..3.0, 0.0f64..3.0], level in any::<bool>(), told in [-0.5f64..0.5, -0.5f64..0.5], fade in -0.1f64..0.1, sweep in -6.0f64..6.0, round in any::<bool>(),
        ) {
            let target = target();
            let z = if level { [z[0]; 2] } else { z };
            let radius = 30.0;
            let arc = round.then_some(Arc { centre: [50.0, 50.0], radii: [radius; 2], start: 0.3, sweep, by_centre: true });
            let length = arc.map_or(libm::hypot(to[0] - from[0], to[1] - from[1]), |a| radius * a.sweep.abs());
            let mut way = Way { from, to, arc, length };
            if round {
                let at = |t: f64| [50.0 + radius * libm::cos(0.3 + sweep * t), 50.0 + radius * libm::sin(0.3 + sweep * t)];
                (way.from, way.to) = (at(0.0), at(1.0));
            }
            let piece = Piece { t: [0.1, 0.9], z: [z[0] + told[0], z[1] + told[1]], fade };
            let f = |t: f64| {
                let at = (t - 0.1) / 0.8;
                piece.z[0] * (1.0 - at) + piece.z[1] * at - target.height(way.at(t), z[0] * (1.0 - t) + z[1] * t) - fade * (1.0 - t)
            };
            let seen = (0..=20_000).map(|n| f(0.1 + 0.8 * f64::from(n) / 2e4).abs()).fold(0.0, f64::max);
            match target.bound(&way, z, &piece, 10.0) {
                Found::Within(most) => {
                    prop_assert!(most >= seen - 1e-12, "{most} {seen}");
                    // Between two looks it can change by no more than this.
                    let change = way.length * target.sheet.slope_bound() + (told[1] - told[0]).abs() / 0.8 + fade.abs();
                    prop_assert!(round || !level || most <= seen + change * 0.4 / 2e4 + 1e-12, "{most} {seen}");
                }
                other => prop_assert!(false, "{other:?}"),
            }
        }
    }
}
