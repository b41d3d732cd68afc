//! A height map prepared for following: fast to evaluate, with bounds on how much it bends.
//!
//! A thin-plate map is tabulated on a square grid of cells as bicubic Hermite patches (values, both slopes and the
//! mixed derivative at the nodes), which join with continuous slope. The kernels of readings within [`NEAR`] cells of
//! a cell are left out of its patch and added directly, so that the logarithmic singularity of their curvature costs
//! no accuracy. The grid is refined until the error bound of [`far_error`] holds over every cell. A bilinear map is
//! already in patches: its own cells.

use super::{Form as Surface, HeightMap};
use ndarray::Array2;

/// r^2 ln r kernels with weights, a plane, and the place they are relative to; lengths in mm.
#[derive(Debug, Clone)]
pub(crate) struct Kernels {
    /// Subtracted from x and y first.
    pub origin: [f64; 2],
    /// Centres relative to `origin`, mm.
    pub centres: Vec<[f64; 2]>,
    /// Coefficient of r^2 ln r, r in mm.
    pub weights: Vec<f64>,
    /// a + b x + c y, with x and y relative to `origin`.
    pub plane: [f64; 3],
}

/// Cells this near to a reading add its kernel directly.
const NEAR: f64 = 3.0;
/// The error that the patches may have, mm: a ten-thousandth of a micrometre, so that extrusion summed over a whole
/// file is right to the last digit written.
const PATCH_ERROR: f64 = 1e-7;
/// How well the extremes are bracketed, mm.
const EXTREME_ERROR: f64 = 1e-6;
/// The finest grid, cells a side.
const FINEST: usize = 256;

#[derive(Debug, Clone)]
enum Form {
    Bilinear {
        xs: Vec<f64>,
        ys: Vec<f64>,
        heights: Array2<f64>,
    },
    Patches {
        kernels: Kernels,
        /// The readings' rectangle again: beyond its edges h is held.
        edges: [[f64; 2]; 2],
        cells: [usize; 2],
        size: [f64; 2],
        /// 1 / size.
        per: [f64; 2],
        /// f, f_x, f_y, f_xy at each node, slopes scaled by the cell's size; row by row.
        nodes: Vec<[f64; 4]>,
        /// A bit for each cell: whether it is special.
        is_special: Vec<u64>,
        /// For each special cell its index in `special`.
        special_of: Vec<u32>,
        special: Vec<Special>,
    },
}

/// A cell with readings near it: its own corners without their kernels, and which kernels those are.
#[derive(Debug, Clone)]
struct Special {
    corners: [[f64; 4]; 4],
    near: Vec<u32>,
}

/// A place on the bed and the height there, mm.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
pub struct Extreme {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// Height, mm.
    pub height: f64,
}

/// See the module.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    form: Form,
    rect: [f64; 4],
    bend: f64,
    near_weight: f64,
    near_scale: f64,
    slope: f64,
    lowest: Extreme,
    highest: Extreme,
}

impl Sheet {
    /// Prepares a map, the shift of `right_at` included.
    pub(crate) fn of(map: &HeightMap) -> Self {
        match map.form() {
            Surface::Bilinear(grid) => {
                let heights = grid.heights.t().mapv(|h| h + map.shift());
                Sheet::bilinear(grid.xs.clone(), grid.ys.clone(), heights)
            }
            Surface::ThinPlate(spline) => {
                // From scaled coordinates to mm: (r/s)^2 ln(r/s) = (r^2 ln r - r^2 ln s) / s^2, and since the weights
                // and their first moments sum to zero, sum w |p - c|^2 = sum w |c|^2.
                let s = spline.scale();
                let moment: f64 =
                    spline.centres().iter().zip(spline.weights()).map(|(c, w)| w * (c[0] * c[0] + c[1] * c[1])).sum();
                let [a, b, c] = spline.plane();
                let kernels = Kernels {
                    origin: spline.origin(),
                    centres: spline.centres().iter().map(|c| [c[0] * s, c[1] * s]).collect(),
                    weights: spline.weights().iter().map(|w| w / (s * s)).collect(),
                    plane: [a - libm::log(s) * moment + map.shift(), b / s, c / s],
                };
                Sheet::thin_plate(kernels, map.measured())
            }
        }
    }

    pub(crate) fn bilinear(xs: Vec<f64>, ys: Vec<f64>, heights: Array2<f64>) -> Self {
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
        let form = Form::Bilinear { xs, ys, heights };
        Sheet { form, rect, bend, near_weight: 0.0, near_scale: 1.0, slope, lowest, highest }
    }

    pub(crate) fn thin_plate(kernels: Kernels, rect: [f64; 4]) -> Self {
        let [width, depth] = [rect[2] - rect[0], rect[3] - rect[1]];
        let mut across = 32;
        let (cells, size) = loop {
            let edge = width.max(depth) / as_f64(across);
            let cells = [width, depth].map(|side| cells_along(side, edge));
            let size = [width / as_f64(cells[0]), depth / as_f64(cells[1])];
            if across >= FINEST || worst_far_error(&kernels, rect, cells, size) <= PATCH_ERROR {
                break (cells, size);
            }
            across *= 2;
        };
        let [nx, ny] = cells;
        let all: Vec<u32> = (0..).zip(&kernels.centres).map(|(n, _)| n).collect();
        let mut nodes = Vec::with_capacity((nx + 1) * (ny + 1));
        for j in 0..=ny {
            for i in 0..=nx {
                let p = [rect[0] + as_f64(i) * size[0], rect[1] + as_f64(j) * size[1]];
                let [x, y] = [p[0] - kernels.origin[0], p[1] - kernels.origin[1]];
                let [a, b, c] = kernels.plane;
                let mut node = kernels.sum(&all, p, size);
                node[0] += a + b * x + c * y;
                node[1] += b * size[0];
                node[2] += c * size[1];
                nodes.push(node);
            }
        }
        let mut special_of = vec![0u32; nx * ny];
        let mut is_special = vec![0u64; nx * ny / 64 + 1];
        let mut special = Vec::new();
        let reach = NEAR * size[0].max(size[1]);
        for j in 0..ny {
            for i in 0..nx {
                let low = [rect[0] + as_f64(i) * size[0], rect[1] + as_f64(j) * size[1]];
                let near: Vec<u32> = (0..)
                    .zip(&kernels.centres)
                    .filter(|(_, c)| kernels.distance(c, low, size) < reach)
                    .map(|(n, _)| n)
                    .collect();
                if near.is_empty() {
                    continue;
                }
                let corner = |di: usize, dj: usize| {
                    let p = [low[0] + as_f64(di) * size[0], low[1] + as_f64(dj) * size[1]];
                    let mut node = nodes[(j + dj) * (nx + 1) + i + di];
                    for (whole, part) in node.iter_mut().zip(kernels.sum(&near, p, size)) {
                        *whole -= part;
                    }
                    node
                };
                let corners = [corner(0, 0), corner(1, 0), corner(0, 1), corner(1, 1)];
                let cell = j * nx + i;
                is_special[cell / 64] |= 1 << (cell % 64);
                special_of[cell] = u32::try_from(special.len()).unwrap_or(0);
                special.push(Special { corners, near });
            }
        }
        let zero = Extreme { x: rect[0], y: rect[1], height: 0.0 };
        let edges = [[rect[0], rect[2]], [rect[1], rect[3]]];
        let form = Form::Patches {
            kernels,
            edges,
            cells,
            size,
            per: size.map(|s| 1.0 / s),
            nodes,
            is_special,
            special_of,
            special,
        };
        let mut sheet =
            Sheet { form, rect, bend: 0.0, near_weight: 0.0, near_scale: 1.0, slope: 0.0, lowest: zero, highest: zero };
        sheet.measure();
        sheet
    }

    /// Bounds of slope and bend over all patches, then the extremes.
    fn measure(&mut self) {
        let Form::Patches { kernels, cells, size, special, .. } = &self.form else { return };
        let (mut bend, mut slope, mut near_weight) = (0.0f64, 0.0f64, 0.0f64);
        for j in 0..cells[1] {
            for i in 0..cells[0] {
                let (corners, _) = self.corners(i, j);
                let (b, s) = patch_bounds(&corners, *size);
                bend = bend.max(b);
                slope = slope.max(s);
            }
        }
        let scale = (NEAR + 2.0) * size[0].max(size[1]);
        for cell in special {
            let weight: f64 = cell.near.iter().map(|n| kernels.weights[*n as usize].abs()).sum();
            near_weight = near_weight.max(weight);
        }
        // |grad r^2 ln r| = r |2 ln r + 1| over the near zone.
        slope += near_weight * scale * (2.0 * libm::log(scale).abs() + 1.0).max(1.0);
        self.bend = bend;
        self.slope = slope;
        self.near_weight = near_weight;
        self.near_scale = scale;
        self.lowest = self.extreme(-1.0);
        self.highest = self.extreme(1.0);
    }

    /// The rectangle that bounds the readings.
    #[inline]
    pub(crate) fn rect(&self) -> [f64; 4] {
        self.rect
    }

    #[inline]
    pub(crate) fn lowest(&self) -> Extreme {
        self.lowest
    }

    #[inline]
    pub(crate) fn highest(&self) -> Extreme {
        self.highest
    }

    /// A bound on |h|: the larger extreme, and what it may be off by.
    #[inline]
    pub(crate) fn largest(&self) -> f64 {
        let h = self.lowest.height.abs().max(self.highest.height.abs());
        match self.form {
            Form::Bilinear { .. } => h,
            Form::Patches { .. } if h == 0.0 && self.bend == 0.0 => 0.0,
            Form::Patches { .. } => h + EXTREME_ERROR,
        }
    }

    /// A bound on |grad h|, mm a mm.
    #[inline]
    pub(crate) fn slope_bound(&self) -> f64 {
        self.slope
    }

    /// K such that h along any straight line differs from its chord over a stretch of `d` mm by at most K d^2 / 8,
    /// if no break line ([`Sheet::breaks`]) is crossed inside it; 1/mm.
    ///
    /// The second derivative of w r^2 ln r along a line is at most |w| (2 |ln r| + 3), which has no bound at r = 0 but
    /// has an integral: against the Green's function of the chord over `d` it gives |w| (2 |ln(d/2)| + 6) d^2 / 8 for
    /// a line straight through the reading, and less beside it. Where stretches are longer than the near zone the
    /// logarithm there is bounded by that of the zone's own size.
    #[inline]
    pub(crate) fn bend(&self, d: f64) -> f64 {
        if self.near_weight == 0.0 {
            return self.bend;
        }
        let scale = self.near_scale;
        let log = libm::log(crate::number::within(d / 2.0, 1e-9, scale)).abs().max(libm::log(scale).abs());
        self.bend + self.near_weight * (2.0 * log + 6.0)
    }

    /// The lines x = const and y = const across which the slope of h is not continuous, ascending.
    #[inline]
    pub(crate) fn breaks(&self) -> [&[f64]; 2] {
        match &self.form {
            Form::Bilinear { xs, ys, .. } => [xs, ys],
            Form::Patches { edges, .. } => [&edges[0], &edges[1]],
        }
    }

    /// Between which break lines a place lies: low and high x, low and high y, mm; infinite where there is none.
    #[inline]
    pub(crate) fn room(&self, place: [f64; 2]) -> [f64; 4] {
        let [[x0, x1], [y0, y1]] = [0, 1].map(|axis| {
            let lines = self.breaks()[axis];
            let above = lines.partition_point(|v| *v <= place[axis]);
            let low = above.checked_sub(1).map_or(f64::NEG_INFINITY, |n| lines[n]);
            [low, lines.get(above).copied().unwrap_or(f64::INFINITY)]
        });
        [x0, x1, y0, y1]
    }

    /// h(x, y), mm. Outside the readings' rectangle, and for NaN, the value at a point of the rectangle.
    #[inline]
    pub(crate) fn height(&self, x: f64, y: f64) -> f64 {
        let x = x.max(self.rect[0]).min(self.rect[2]);
        let y = y.max(self.rect[1]).min(self.rect[3]);
        match &self.form {
            Form::Bilinear { xs, ys, heights } => {
                let (i, u) = seat(xs, x);
                let (j, v) = seat(ys, y);
                let low = heights[[i, j]] * (1.0 - u) + heights[[i + 1, j]] * u;
                let high = heights[[i, j + 1]] * (1.0 - u) + heights[[i + 1, j + 1]] * u;
                low * (1.0 - v) + high * v
            }
            Form::Patches { kernels, cells, per, .. } => {
                let (i, u) = cell_of((x - self.rect[0]) * per[0], cells[0]);
                let (j, v) = cell_of((y - self.rect[1]) * per[1], cells[1]);
                let (corners, near) = self.corners(i, j);
                let mut h = hermite(&corners, u, v);
                for n in near {
                    h += kernels.kernel(*n as usize, [x, y]);
                }
                h
            }
        }
    }

    #[inline]
    fn corners(&self, i: usize, j: usize) -> ([[f64; 4]; 4], &[u32]) {
        let Form::Patches { cells, nodes, is_special, special_of, special, .. } = &self.form else {
            return ([[0.0; 4]; 4], &[]);
        };
        let cell = j * cells[0] + i;
        if is_special[cell / 64] >> (cell % 64) & 1 == 1 {
            let cell = &special[special_of[cell] as usize];
            return (cell.corners, &cell.near);
        }
        let n = cell + j;
        let m = n + cells[0] + 1;
        ([nodes[n], nodes[n + 1], nodes[m], nodes[m + 1]], &[])
    }

    /// The highest (`sign` 1) or lowest (-1) point of a tabulated map, by branch and bound over squares: within one of
    /// size s the surface is at most K s^2 / 4 beyond its highest corner.
    #[inline]
    fn extreme(&self, sign: f64) -> Extreme {
        let Form::Patches { cells, size, .. } = &self.form else { return self.lowest };
        let at = |x: f64, y: f64| Extreme { x, y, height: self.height(x, y) };
        let mut best = at(self.rect[0], self.rect[1]);
        let mut squares: Vec<([f64; 2], [f64; 2])> = Vec::new();
        for j in 0..cells[1] {
            for i in 0..cells[0] {
                squares.push(([self.rect[0] + as_f64(i) * size[0], self.rect[1] + as_f64(j) * size[1]], *size));
            }
        }
        for _ in 0..12 {
            let mut tops = Vec::with_capacity(squares.len());
            for (low, side) in &squares {
                let mut top = f64::MIN;
                for corner in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [0.5, 0.5]] {
                    let e = at(low[0] + corner[0] * side[0], low[1] + corner[1] * side[1]);
                    top = top.max(e.height * sign);
                    if e.height * sign > best.height * sign {
                        best = e;
                    }
                }
                tops.push(top);
            }
            let mut next = Vec::new();
            for ((low, side), top) in squares.iter().zip(tops) {
                let s = side[0].max(side[1]);
                if top + self.bend(s) * s * s / 4.0 <= best.height * sign + EXTREME_ERROR {
                    continue;
                }
                let half = side.map(|s| s / 2.0);
                for (a, b) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
                    next.push(([low[0] + a * half[0], low[1] + b * half[1]], half));
                }
            }
            // A flat map has no single extreme: enough squares have been looked at.
            if next.is_empty() || next.len() > 1 << 18 {
                break;
            }
            squares = next;
        }
        best
    }
}

impl Kernels {
    #[inline]
    fn kernel(&self, n: usize, p: [f64; 2]) -> f64 {
        let dx = p[0] - self.origin[0] - self.centres[n][0];
        let dy = p[1] - self.origin[1] - self.centres[n][1];
        let r2 = dx * dx + dy * dy;
        if r2 > 0.0 { self.weights[n] * 0.5 * r2 * libm::log(r2) } else { 0.0 }
    }

    /// Value, slopes and mixed derivative at a node, scaled by the cell's size, of some kernels.
    #[inline]
    fn sum(&self, which: &[u32], p: [f64; 2], size: [f64; 2]) -> [f64; 4] {
        let [x, y] = [p[0] - self.origin[0], p[1] - self.origin[1]];
        let [mut f, mut fx, mut fy, mut fxy] = [0.0; 4];
        for n in which {
            let (c, w) = (self.centres[*n as usize], self.weights[*n as usize]);
            let [dx, dy] = [x - c[0], y - c[1]];
            let r2 = dx * dx + dy * dy;
            if r2 > 0.0 {
                let ln = libm::log(r2);
                f += w * 0.5 * r2 * ln;
                fx += w * dx * (ln + 1.0);
                fy += w * dy * (ln + 1.0);
                fxy += w * 2.0 * dx * dy / r2;
            }
        }
        [f, fx * size[0], fy * size[1], fxy * size[0] * size[1]]
    }

    /// Distance from a centre to a cell, mm.
    #[inline]
    fn distance(&self, centre: &[f64; 2], low: [f64; 2], size: [f64; 2]) -> f64 {
        let gap = |n: usize| {
            let c = centre[n] + self.origin[n];
            (low[n] - c).max(c - low[n] - size[n]).max(0.0)
        };
        let [a, b] = [gap(0), gap(1)];
        (a * a + b * b).sqrt()
    }
}

/// Error of a bicubic Hermite patch of side `s` for a unit kernel at distance `r`, mm.
///
/// With P the one-dimensional cubic Hermite interpolation, |f - P f| <= s^4/384 max |f''''| and
/// |P g| <= max |g| + s/4 max |g'|, so that the patch is off by at most
/// s^4/384 (|f_xxxx| + |f_yyyy| + s/4 |f_xyyyy|). For f = r^2 ln r, written as Re(z' z ln z), these are at most
/// 6/r^2, 6/r^2 and 12/r^3.
fn far_error(s: f64, r: f64) -> f64 {
    let s4 = s * s * s * s;
    s4 / 384.0 * (12.0 / (r * r) + 3.0 * s / (r * r * r))
}

fn worst_far_error(kernels: &Kernels, rect: [f64; 4], cells: [usize; 2], size: [f64; 2]) -> f64 {
    let s = size[0].max(size[1]);
    let mut worst = 0.0f64;
    for j in 0..cells[1] {
        for i in 0..cells[0] {
            let low = [rect[0] + as_f64(i) * size[0], rect[1] + as_f64(j) * size[1]];
            let mut error = 0.0;
            for (c, w) in kernels.centres.iter().zip(&kernels.weights) {
                let r = kernels.distance(c, low, size);
                if r >= NEAR * s {
                    error += w.abs() * far_error(s, r);
                }
            }
            worst = worst.max(error);
        }
    }
    worst
}

fn cells_along(side: f64, edge: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=FINEST first")]
    let n = crate::number::within((side / edge).ceil(), 1.0, 4096.0) as usize;
    n.min(FINEST)
}

#[inline]
fn as_f64(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of cells, far below 2^52")]
    let v = n as f64;
    v
}

/// The cell that holds `t`, in cells, and where in it.
#[inline]
fn cell_of(t: f64, cells: usize) -> (usize, f64) {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "t was clamped to the rectangle")]
    let i = (t as i32 as usize).min(cells - 1);
    (i, t - as_f64(i))
}

/// The interval of sorted `xs` that holds x, and where in it (0 to 1).
#[inline]
fn seat(xs: &[f64], x: f64) -> (usize, f64) {
    let i = xs.partition_point(|v| *v <= x).clamp(1, xs.len() - 1) - 1;
    (i, (x - xs[i]) / (xs[i + 1] - xs[i]))
}

#[inline]
fn hermite(c: &[[f64; 4]; 4], u: f64, v: f64) -> f64 {
    let basis = |t: f64| {
        let t2 = t * t;
        let t3 = t2 * t;
        // value at 0, slope at 0, value at 1, slope at 1
        [2.0 * t3 - 3.0 * t2 + 1.0, t3 - 2.0 * t2 + t, 3.0 * t2 - 2.0 * t3, t3 - t2]
    };
    let a = basis(u);
    let b = basis(v);
    let value = |p: &[f64; 4], q: &[f64; 4]| a[0] * p[0] + a[1] * p[1] + a[2] * q[0] + a[3] * q[1];
    let slope = |p: &[f64; 4], q: &[f64; 4]| a[0] * p[2] + a[1] * p[3] + a[2] * q[2] + a[3] * q[3];
    b[0] * value(&c[0], &c[1]) + b[1] * slope(&c[0], &c[1]) + b[2] * value(&c[2], &c[3]) + b[3] * slope(&c[2], &c[3])
}

/// Bounds of the second derivative in any direction and of the slope of a patch, from its Bezier net.
#[inline]
fn patch_bounds(c: &[[f64; 4]; 4], size: [f64; 2]) -> (f64, f64) {
    // Bezier ordinates of the Hermite data: node (i, j) is column i, row j.
    let mut net = [[0.0f64; 4]; 4];
    for (n, p) in c.iter().enumerate() {
        let (i, j) = (n % 2, n / 2);
        let (si, sj) = (if i == 0 { 1.0 } else { -1.0 }, if j == 0 { 1.0 } else { -1.0 });
        let (i0, i1) = if i == 0 { (0, 1) } else { (3, 2) };
        let (j0, j1) = if j == 0 { (0, 1) } else { (3, 2) };
        net[i0][j0] = p[0];
        net[i1][j0] = p[0] + si * p[1] / 3.0;
        net[i0][j1] = p[0] + sj * p[2] / 3.0;
        net[i1][j1] = p[0] + si * p[1] / 3.0 + sj * p[2] / 3.0 + si * sj * p[3] / 9.0;
    }
    let [w, d] = size;
    let [mut xx, mut yy, mut xy, mut sx, mut sy] = [0.0f64; 5];
    for i in 0..4 {
        for j in 0..4 {
            if i < 2 {
                xx = xx.max((net[i + 2][j] - 2.0 * net[i + 1][j] + net[i][j]).abs() * 6.0 / (w * w));
            }
            if j < 2 {
                yy = yy.max((net[i][j + 2] - 2.0 * net[i][j + 1] + net[i][j]).abs() * 6.0 / (d * d));
            }
            if i < 3 && j < 3 {
                let m = net[i + 1][j + 1] - net[i + 1][j] - net[i][j + 1] + net[i][j];
                xy = xy.max(m.abs() * 9.0 / (w * d));
            }
            if i < 3 {
                sx = sx.max((net[i + 1][j] - net[i][j]).abs() * 3.0 / w);
            }
            if j < 3 {
                sy = sy.max((net[i][j + 1] - net[i][j]).abs() * 3.0 / d);
            }
        }
    }
    (xx.max(yy) + xy, libm::hypot(sx, sy))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Readings of a bent bed and their spline by brute force would need the fit; any kernels will do here.
    fn kernels(seed: u64, n: usize) -> (Kernels, [f64; 4]) {
        let mut s = seed;
        let mut next = || {
            s = s.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            #[expect(clippy::cast_precision_loss, reason = "53 bits")]
            let share = (s >> 11) as f64 / (1u64 << 53) as f64;
            share
        };
        let centres: Vec<_> = (0..n).map(|_| [next() * 200.0 - 100.0, next() * 200.0 - 100.0]).collect();
        let weights = (0..n).map(|_| (next() - 0.5) * 2e-5).collect();
        let k = Kernels { origin: [110.0, 120.0], centres, weights, plane: [0.1, 1e-3, -2e-3] };
        (k, [10.0, 20.0, 210.0, 220.0])
    }

    fn direct(k: &Kernels, p: [f64; 2]) -> f64 {
        (0..k.centres.len()).map(|n| k.kernel(n, p)).sum::<f64>()
            + k.plane[0]
            + k.plane[1] * (p[0] - k.origin[0])
            + k.plane[2] * (p[1] - k.origin[1])
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]
        #[test]
        fn patches_keep_their_bounds(seed in any::<u64>(), n in 4usize..30, ps in proptest::collection::vec((0.0f64..1.0, 0.0f64..1.0, 0.0f64..6.3, -6.0f64..2.0), 60)) {
            let (k, rect) = kernels(seed, n);
            let sheet = Sheet::thin_plate(k.clone(), rect);
            for (a, b, angle, exp) in ps {
                let p = [rect[0] + a * 200.0, rect[1] + b * 200.0];
                prop_assert!((sheet.height(p[0], p[1]) - direct(&k, p)).abs() <= PATCH_ERROR);
                // Chord bound, also straight through a reading.
                for start in [p, [k.centres[0][0] + k.origin[0], k.centres[0][1] + k.origin[1]]] {
                    let d = libm::exp(exp);
                    let dir = [libm::cos(angle), libm::sin(angle)];
                    let q = |t: f64| [start[0] + (t - 0.5) * d * dir[0], start[1] + (t - 0.5) * d * dir[1]];
                    if [q(0.0), q(1.0)].iter().all(|p| p[0] > rect[0] && p[0] < rect[2] && p[1] > rect[1] && p[1] < rect[3]) {
                        let (f0, f1) = (direct(&k, q(0.0)), direct(&k, q(1.0)));
                        for t in [0.1, 0.25, 0.5, 0.6, 0.9] {
                            let off = (direct(&k, q(t)) - f0 - (f1 - f0) * t).abs();
                            prop_assert!(off <= sheet.bend(d) * d * d / 8.0 + 1e-12, "{off} over {d}");
                        }
                        prop_assert!((f1 - f0).abs() <= sheet.slope_bound() * d + 1e-12);
                    }
                }
                prop_assert!(direct(&k, p) <= sheet.highest().height + EXTREME_ERROR + PATCH_ERROR);
                prop_assert!(direct(&k, p) >= sheet.lowest().height - EXTREME_ERROR - PATCH_ERROR);
            }
        }
    }

    #[test]
    fn a_sheet_is_its_map() {
        for kind in [crate::SurfaceKind::ThinPlate, crate::SurfaceKind::Bilinear] {
            for more in ["", "spread = 0.02", "right_at = [100, 120]"] {
                let mut points = String::new();
                for (i, x) in [20.0f64, 70.0, 130.0, 215.0].into_iter().enumerate() {
                    for (j, y) in [15.0f64, 90.0, 160.0, 220.0].into_iter().enumerate() {
                        let z = 0.1 + 2e-5 * (x - 110.0) * (x - 110.0) - 1e-3 * y + 0.02 * as_f64((i * 7 + j * 5) % 3);
                        points += &format!("[{x}, {y}, {z}],\n");
                    }
                }
                let card = format!(
                    "[bed]\nx = [0, 235]\ny = [0, 235]\n[readings]\nmethod = \"drag\"\nsheet = 0.1\n{more}\npoints = [{points}]\n"
                );
                let map = HeightMap::fit(&crate::Card::parse(&card).unwrap(), kind).unwrap();
                let sheet = Sheet::of(&map);
                for n in 0..40 {
                    for m in 0..40 {
                        let (x, y) = (f64::from(n) * 6.1, f64::from(m) * 6.3 - 4.0);
                        assert!(
                            (sheet.height(x, y) - map.height(x, y)).abs() < PATCH_ERROR,
                            "{kind:?} {more} at {x} {y}"
                        );
                    }
                }
            }
        }
    }

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
}
