//! A height map prepared for following: fast to evaluate, and bounded so that whole moves can be judged.
//!
//! [`HeightMap::height`] is the definition. [`Sheet::height`] is within [`Sheet::error`] of it: a thin plate is made polynomials
//! on a grid of squares (`tiles.rs`), at most a thousandth of a micrometre off by a bound that is reckoned for each square, and
//! rounding; a bilinear map is already in patches. The polynomials do not join exactly, but within twice that error.
//!
//! The bounds of slope and bend ([`Sheet::slope_bound`], [`Sheet::bend`], [`Sheet::around`]) and those of the extremes are of
//! the definition itself: they follow from its kernels, not from the polynomials.

mod expansion;
mod tiles;

use super::{Form as Surface, HeightMap};
use ndarray::Array2;
use tiles::{Bounds, Tiles};

/// How well the extremes are bracketed, mm.
const EXTREME_ERROR: f64 = 1e-6;

#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant, reason = "there is one for each sheet; with words of 32 bits it is not so large")]
enum Form {
    Bilinear { xs: Vec<f64>, ys: Vec<f64>, heights: Array2<f64> },
    Tiles { tiles: Tiles, edges: [[f64; 2]; 2] },
}

/// A place on the bed and the height there, mm.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[expect(clippy::exhaustive_structs, reason = "nothing can be added to it")]
pub struct Extreme {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// Height, mm.
    pub height: f64,
}

/// See the module. It is large, up to some megabytes: share it rather than clone it.
///
/// ```
/// use evengap::surface::sheet::Sheet;
/// use evengap::{Card, HeightMap, SurfaceKind};
/// # let text = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n
/// #     points = [[0, 0, 0.2], [200, 0, 0.1], [0, 200, 0.1], [200, 200, 0.3], [100, 100, 0.4]]";
/// let map = HeightMap::fit(&Card::parse(text)?, SurfaceKind::ThinPlate)?;
/// let sheet = Sheet::of(&map);
/// assert!((sheet.height(70.0, 130.0) - map.height(70.0, 130.0)).abs() <= sheet.error());
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Sheet {
    form: Form,
    rect: [f64; 4],
    whole: Bend,
    slope: f64,
    error: f64,
    lowest: Extreme,
    highest: Extreme,
    /// How far the true extremes may be beyond these, mm.
    gap: f64,
}

/// How much a map bends over an area: a bound of its second derivative in any direction, but that a thin plate's grows as the
/// logarithm of the distance to a reading. What counts is how far h may be from its chord, which is bounded:
///
/// Outside the readings' cores, circles of radius q, the second derivative is at most `even`. Within one it is more by at most
/// 2 |w| ln(q / r), w the reading's coefficient. Against the Green's function of a chord over d mm (which is concave, so that
/// the worst is a tent with the reading under its top) that comes to |w| (2 ln(2 q / e) + 3) of its integral over a stretch of
/// e = min(d, 2 q) mm around the reading; on an arc of up to half a turn, where a chord is at least 2 / pi of its arc, to 2 ln(pi / 2)
/// more, so that 3 becomes 4. Any place is in the stretches only of readings within 3 q; the sum of their |w| is at most `core_weight`.
#[derive(Debug, Clone, Copy)]
pub struct Bend {
    even: f64,
    core_weight: f64,
    core: f64,
}

impl Bend {
    /// K such that h along any straight line in the area differs from its chord over a stretch of `d` mm by at most K d^2 / 8, if no
    /// break line ([`Sheet::breaks`]) is crossed inside it; 1/mm. K does not grow with d; K d^2 does.
    #[inline]
    #[must_use]
    pub fn over(&self, d: f64) -> f64 {
        if self.core_weight == 0.0 {
            return self.even;
        }
        let turns = (2.0 * self.core / d.max(1e-9)).max(1.0);
        let ln = if turns > 1.0 { libm::log(turns) } else { 0.0 };
        self.even + self.core_weight * (2.0 * ln + 4.0)
    }
}

/// What a move's whole length may do, without looking at every place of it:
///
/// ```
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// use evengap::surface::sheet::Sheet;
///
/// let sheet = Sheet::of(&map);
/// assert_eq!(sheet.rect(), map.measured());
/// assert!((sheet.height(60.0, 70.0) - map.height(60.0, 70.0)).abs() <= sheet.error());
/// assert!(sheet.lowest().height <= sheet.height(60.0, 70.0) && sheet.height(60.0, 70.0) <= sheet.highest().height);
/// assert!(sheet.largest() >= sheet.highest().height);
/// assert!(sheet.slope_bound() > 0.0);
/// // A chord of 20 mm differs from the bed by at most bend d^2 / 8: there, and anywhere.
/// let [there, anywhere] = [sheet.around([60.0, 60.0], [80.0, 80.0]).over(20.0), sheet.bend(20.0)];
/// assert!(there <= anywhere && anywhere == sheet.whole().over(20.0));
/// let chord = 0.5 * (sheet.height(60.0, 70.0) + sheet.height(80.0, 70.0));
/// assert!((sheet.height(70.0, 70.0) - chord).abs() <= there * 20.0 * 20.0 / 8.0);
/// // Its slope breaks at the rectangle's sides alone.
/// assert_eq!(sheet.breaks(), [&[20.0, 180.0], &[20.0, 180.0]]);
/// assert_eq!(sheet.room([60.0, 300.0]), [20.0, 180.0, 180.0, f64::INFINITY]);
/// # Ok::<(), evengap::Error>(())
/// ```
impl Sheet {
    /// Prepares a map, the shift of `right_at` included.
    #[must_use]
    pub fn of(map: &HeightMap) -> Self {
        match map.form() {
            Surface::Bilinear(grid) => {
                let heights = grid.heights.t().mapv(|h| h + map.shift());
                Sheet::bilinear(grid.xs.clone(), grid.ys.clone(), heights)
            }
            Surface::ThinPlate(spline) => {
                let rect = map.measured();
                let tiles = Tiles::of(spline, rect, map.shift());
                let whole = tiles.whole();
                let core = tiles.core();
                let corner = Extreme { x: rect[0], y: rect[1], height: map.height(rect[0], rect[1]) };
                let mut sheet = Sheet {
                    rect,
                    whole: Bend { even: whole.bend, core_weight: whole.core_weight, core },
                    slope: whole.slope,
                    error: tiles.error(),
                    lowest: corner,
                    highest: corner,
                    gap: 0.0,
                    form: Form::Tiles { tiles, edges: [[rect[0], rect[2]], [rect[1], rect[3]]] },
                };
                let [(lowest, low_gap), (highest, high_gap)] = [-1.0, 1.0].map(|sign| sheet.extreme(sign));
                let exact = |e: Extreme| Extreme { height: map.height(e.x, e.y), ..e };
                (sheet.lowest, sheet.highest) = (exact(lowest), exact(highest));
                sheet.gap = low_gap.max(high_gap) + sheet.error;
                sheet
            }
        }
    }

    fn bilinear(xs: Vec<f64>, ys: Vec<f64>, heights: Array2<f64>) -> Self {
        let rect = [xs[0], ys[0], xs[xs.len() - 1], ys[ys.len() - 1]];
        let (mut bend, mut slope) = (0.0f64, 0.0f64);
        for i in 0..xs.len() - 1 {
            for j in 0..ys.len() - 1 {
                let [a, b, c, d] = [heights[[i, j]], heights[[i + 1, j]], heights[[i, j + 1]], heights[[i + 1, j + 1]]];
                let [w, v] = [xs[i + 1] - xs[i], ys[j + 1] - ys[j]];
                bend = bend.max(((a - b - c + d) / (w * v)).abs());
                let sx = (b - a).abs().max((d - c).abs()) / w;
                let sy = (c - a).abs().max((d - b).abs()) / v;
                slope = slope.max(libm::hypot(sx, sy));
            }
        }
        // A bilinear surface takes its extremes at nodes.
        let all = heights.indexed_iter().map(|((i, j), h)| Extreme { x: xs[i], y: ys[j], height: *h });
        let first = Extreme { x: xs[0], y: ys[0], height: heights[[0, 0]] };
        let (lowest, highest) = all.fold((first, first), |(lo, hi), e| {
            (if e.height < lo.height { e } else { lo }, if e.height > hi.height { e } else { hi })
        });
        // A dozen operations on numbers of this size, and the same in other order in the map itself.
        let error = 32.0 * f64::EPSILON * lowest.height.abs().max(highest.height.abs());
        let whole = Bend { even: bend, core_weight: 0.0, core: 0.0 };
        let form = Form::Bilinear { xs, ys, heights };
        Sheet { form, rect, whole, slope, error, lowest, highest, gap: 0.0 }
    }

    /// The rectangle that bounds the readings: `[x0, y0, x1, y1]`, mm.
    #[inline]
    #[must_use]
    pub fn rect(&self) -> [f64; 4] {
        self.rect
    }

    /// The lowest point, as [`HeightMap::extremes`] has it.
    #[inline]
    #[must_use]
    pub fn lowest(&self) -> Extreme {
        self.lowest
    }

    /// The highest point, as [`HeightMap::extremes`] has it.
    #[inline]
    #[must_use]
    pub fn highest(&self) -> Extreme {
        self.highest
    }

    /// A bound on |h|, mm: the larger extreme, and what it may be off by.
    #[inline]
    #[must_use]
    pub fn largest(&self) -> f64 {
        self.lowest.height.abs().max(self.highest.height.abs()) + self.gap
    }

    /// A bound on |grad h|, mm a mm.
    #[inline]
    #[must_use]
    pub fn slope_bound(&self) -> f64 {
        self.slope
    }

    /// How much h bends anywhere; [`Bend::over`] makes a number of it, 1/mm.
    #[inline]
    #[must_use]
    pub fn whole(&self) -> Bend {
        self.whole
    }

    /// [`Bend::over`] of the whole map, 1/mm, for stretches of `d` mm.
    #[inline]
    #[must_use]
    pub fn bend(&self, d: f64) -> f64 {
        self.whole.over(d)
    }

    /// How much h bends over a rectangle, from its low corner to its high corner, mm; what is outside the readings' rectangle counts
    /// at its nearest edge. A few ns for an area of some cm; the bound of the whole map where the area is large.
    #[inline]
    #[must_use]
    pub fn around(&self, low: [f64; 2], high: [f64; 2]) -> Bend {
        match &self.form {
            Form::Bilinear { .. } => self.whole,
            Form::Tiles { tiles, .. } => {
                let bounds = tiles.within(low, high);
                Bend { even: bounds.bend, core_weight: bounds.core_weight, core: self.whole.core }
            }
        }
    }

    /// The lines x = const and y = const across which the slope of h is not continuous, mm, ascending.
    #[inline]
    #[must_use]
    pub fn breaks(&self) -> [&[f64]; 2] {
        match &self.form {
            Form::Bilinear { xs, ys, .. } => [xs, ys],
            Form::Tiles { edges, .. } => [&edges[0], &edges[1]],
        }
    }

    /// Between which break lines a place lies: low and high x, low and high y, mm; infinite where there is none.
    #[inline]
    #[must_use]
    pub fn room(&self, place: [f64; 2]) -> [f64; 4] {
        let [[x0, x1], [y0, y1]] = [0, 1].map(|axis| {
            let lines = self.breaks()[axis];
            let above = lines.partition_point(|v| *v <= place[axis]);
            let low = above.checked_sub(1).map_or(f64::NEG_INFINITY, |n| lines[n]);
            [low, lines.get(above).copied().unwrap_or(f64::INFINITY)]
        });
        [x0, x1, y0, y1]
    }

    /// A bound of |[`Sheet::height`] - [`HeightMap::height`]|, mm: at most 1e-6 mm, and rounding.
    #[inline]
    #[must_use]
    pub fn error(&self) -> f64 {
        self.error
    }

    /// h(x, y), mm, within [`Sheet::error`]. Outside the readings' rectangle the value at its nearest point, and for what is not
    /// a number the value at some point.
    #[inline]
    #[must_use]
    pub fn height(&self, x: f64, y: f64) -> f64 {
        match &self.form {
            Form::Bilinear { xs, ys, heights } => {
                let x = x.max(self.rect[0]).min(self.rect[2]);
                let y = y.max(self.rect[1]).min(self.rect[3]);
                let (i, u) = seat(xs, x);
                let (j, v) = seat(ys, y);
                let low = heights[[i, j]] * (1.0 - u) + heights[[i + 1, j]] * u;
                let high = heights[[i, j + 1]] * (1.0 - u) + heights[[i + 1, j + 1]] * u;
                low * (1.0 - v) + high * v
            }
            Form::Tiles { tiles, .. } => tiles.height(x, y),
        }
    }

    /// The same for many places, one after another.
    #[inline]
    pub(crate) fn heights(&self, places: &[[f64; 2]], heights: &mut [f64]) {
        match &self.form {
            Form::Bilinear { .. } => {
                for (height, [x, y]) in heights.iter_mut().zip(places) {
                    *height = self.height(*x, *y);
                }
            }
            Form::Tiles { tiles, .. } => tiles.heights(places, heights),
        }
    }

    /// The highest (`sign` 1) or lowest (-1) point of a tabulated map, and how far the true one may be beyond it, by branch and
    /// bound over squares: within one of side s the surface is at most K s^2 / 4 beyond its highest corner, and at most the slope
    /// times half the diagonal beyond its middle.
    fn extreme(&self, sign: f64) -> (Extreme, f64) {
        let Form::Tiles { tiles, .. } = &self.form else { return (self.lowest, 0.0) };
        let [x0, y0, x1, y1] = self.rect;
        let at = |x: f64, y: f64| {
            let (x, y) = (x.min(x1), y.min(y1));
            Extreme { x, y, height: self.height(x, y) }
        };
        let mut best = at(x0, y0);
        for corner in [[x1, y0], [x0, y1], [x1, y1]] {
            let e = at(corner[0], corner[1]);
            if e.height * sign > best.height * sign {
                best = e;
            }
        }
        let mut squares: Vec<([f64; 2], Bounds, f64)> = Vec::new();
        let mut side = 0.0;
        for (low, s, bounds) in tiles.squares() {
            side = s;
            let middle = at(low[0] + 0.5 * s, low[1] + 0.5 * s);
            if middle.height * sign > best.height * sign {
                best = middle;
            }
            // Where the square stands out over the rectangle its middle may lie on the edge, up to half a side off.
            squares.push((low, bounds, middle.height * sign + bounds.slope * s));
        }
        let mut gap = EXTREME_ERROR;
        for _ in 0..24 {
            let enough = best.height * sign + EXTREME_ERROR;
            squares.retain(|(_, _, most)| *most > enough);
            // A flat map has no single extreme: enough squares have been looked at.
            if squares.is_empty() || squares.len() > 1 << 16 {
                break;
            }
            side *= 0.5;
            let mut next = Vec::with_capacity(4 * squares.len());
            for (low, bounds, _) in &squares {
                let bend =
                    Bend { even: bounds.bend, core_weight: bounds.core_weight, core: self.whole.core }.over(side);
                let mut corners = [[Extreme { x: 0.0, y: 0.0, height: 0.0 }; 3]; 3];
                for (j, row) in (0u8..).zip(&mut corners) {
                    for (i, slot) in (0u8..).zip(row) {
                        *slot = at(low[0] + f64::from(i) * side, low[1] + f64::from(j) * side);
                        if slot.height * sign > best.height * sign {
                            best = *slot;
                        }
                    }
                }
                for (i, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    let [a, b, c, d] = [corners[j][i], corners[j][i + 1], corners[j + 1][i], corners[j + 1][i + 1]]
                        .map(|e| e.height * sign);
                    let most = a.max(b).max(c.max(d)) + bend * side * side / 4.0;
                    next.push(([corners[j][i].x, corners[j][i].y], *bounds, most));
                }
            }
            squares = next;
        }
        for (_, _, most) in squares {
            gap = gap.max(most - best.height * sign);
        }
        (best, gap)
    }
}

fn as_f64(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of squares and readings, far below 2^52")]
    let v = n as f64;
    v
}

/// The interval of sorted `xs` that holds x, and where in it (0 to 1).
#[inline]
fn seat(xs: &[f64], x: f64) -> (usize, f64) {
    let i = xs.partition_point(|v| *v <= x).clamp(1, xs.len() - 1) - 1;
    (i, (x - xs[i]) / (xs[i + 1] - xs[i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bilinear_sheet_is_bilinear() {
        let heights = ndarray::array![[0.0, 0.1, 0.3], [0.2, -0.1, 0.0]];
        let s = Sheet::bilinear(vec![0.0, 10.0], vec![0.0, 10.0, 30.0], heights);
        assert!((s.height(5.0, 5.0) - 0.05).abs() < 1e-15);
        assert!((s.height(10.0, 20.0) + 0.05).abs() < 1e-15);
        assert!((s.height(-50.0, 99.0) - 0.3).abs() < 1e-15);
        assert_eq!((s.highest().x, s.highest().y), (0.0, 30.0));
        assert!((s.largest() - 0.3).abs() < 1e-15);
    }

    #[test]
    fn a_bend_is_that_of_a_kernel_where_nothing_else_bends() {
        // r^2 ln(r / q) has the second derivative 2 ln(r / q) + 3 along a line through its middle: over d = 2 a around it the chord
        // is off by a^2 |ln(a / q)|.
        let bend = Bend { even: 3.0, core_weight: 1.0, core: 2.0 };
        for a in [1e-6, 1e-3, 0.1, 0.5, 1.0] {
            let off = a * a * libm::log(a / 2.0).abs();
            let d = 2.0 * a;
            assert!(off <= bend.over(d) * d * d / 8.0);
            // Not wider than the even part and the allowance for arcs make it.
            assert!(off + 7.0 * d * d / 8.0 >= bend.over(d) * d * d / 8.0);
        }
    }
}
