//! A thin plate as polynomials on a grid of squares.
//!
//! A reading's kernel is smooth away from the reading. A square's polynomial has the kernels of all readings that are not near its
//! middle (within [`FAR`] half sides), by [`Expansion`]s that are gathered from coarse squares to fine ones, so that a card of many
//! readings costs each square no more than a card of few. The kernels of readings near the square are added one by one, exactly.
//! Each expansion is made a polynomial of total degree [`DEGREE`]: higher monomials are replaced by the lower part of the
//! products of Chebyshev polynomials that they lead, each of which is at most 2^(2 - a - b) in size on the square (a, b the
//! degrees, where both are positive).
//!
//! The error is certified: what was cut off the expansions, the sizes of all Chebyshev products that were dropped and a bound of
//! the rounding are summed for each square. A square where the sum is over [`MOST_ERROR`] has no polynomial: all kernels are summed
//! there. So the error is at most [`MOST_ERROR`], whatever the card.

use super::as_f64;
use super::expansion::{Expansion, FAR, MOST, QUARTERS, Shift};
use crate::surface::thin_plate::{ThinPlate, kernel};

/// The largest error of a tile against the direct sum, mm; rounding, which depends on the card, comes on top.
pub(super) const MOST_ERROR: f64 = 1e-5;
/// Total degree of a tile's polynomial.
const DEGREE: usize = 5;
/// Order of the expansions on the finest squares; two more for every coarser level, as their squares are larger.
const ORDER: usize = 8;
/// Radius of a reading's core, in sides of the finest squares.
const CORE: f64 = 0.2;
/// On the finest squares readings nearer to the middle than this, in half sides, are added one by one.
const NEAR: f64 = 2.0;
/// Coefficients of a tile: [`ROWS`] pairs.
const PAIRS: usize = 12;
/// The pairs by powers of u: pair n is of u^(2 n) and u^(2 n + 1), by powers of v from the highest.
const ROWS: [usize; 3] = [DEGREE + 1, DEGREE - 1, DEGREE - 3];
/// Blocks along a side for which bounds are kept.
const BLOCKS: usize = 16;

/// The polynomial of one square, in u and v from -1/2 to 1/2: coefficients of even and odd powers of u side by side, so that two
/// are worked out at once; 192 bytes, three lines of a cache.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
struct Tile {
    pairs: [[f64; 2]; PAIRS],
}

/// A kernel: its reading's place in scaled coordinates, and its coefficient.
type Kernel = [f64; 3];

/// Bounds that hold over some squares.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Bounds {
    /// Of the slope, mm/mm.
    pub(super) slope: f64,
    /// Of the second derivative in any direction, 1/mm, but for the logarithms of kernels nearer than the core.
    pub(super) bend: f64,
    /// Of the sum of the sizes of coefficients of readings whose cores are within reach, 1/mm.
    pub(super) core_weight: f64,
}

impl Bounds {
    fn most(self, other: Bounds) -> Bounds {
        Bounds {
            slope: self.slope.max(other.slope),
            bend: self.bend.max(other.bend),
            core_weight: self.core_weight.max(other.core_weight),
        }
    }
}

/// See the module.
#[derive(Debug, Clone)]
pub(super) struct Tiles {
    /// The rectangle of the readings: low corner, high corner, mm.
    low: [f64; 2],
    high: [f64; 2],
    /// The middle of the first square, mm.
    first: [f64; 2],
    /// Squares to the mm.
    per: f64,
    /// Where the rectangle ends, in squares from the middle of the first: a hair less than where the last ends.
    last: [f64; 2],
    count: [usize; 2],
    tiles: Vec<Tile>,
    /// A bit for each square: whether it has readings near.
    beside: Vec<u64>,
    /// Where each square's own near kernels begin and end in `near`; nothing where it sums all.
    own: Vec<[u32; 2]>,
    near: Vec<Kernel>,
    /// How many squares sum all kernels.
    direct: usize,
    all: Vec<Kernel>,
    /// a + b u + c v in scaled coordinates.
    plane: [f64; 3],
    origin: [f64; 2],
    /// One over the scale.
    unit: f64,
    /// The largest error of a tile against the sum of all kernels, mm.
    error: f64,
    /// Radius of a reading's core, mm.
    core: f64,
    blocks: Vec<Bounds>,
    block_count: [usize; 2],
    block_side: usize,
    whole: Bounds,
}

impl Tiles {
    /// Prepares a thin plate over the rectangle `rect`, `shift` added.
    pub(super) fn of(spline: &ThinPlate, rect: [f64; 4], shift: f64) -> Tiles {
        // Squares along the longer side: so many that most have no reading near.
        let n = spline.centres().len();
        let mut levels: u32 = match n {
            0 => 2,
            1..=36 => 5,
            37..=150 => 6,
            151..=600 => 7,
            _ => 8,
        };
        loop {
            let grid = Grid::new(spline, rect, shift, levels);
            let tiles = grid.tiles();
            if levels >= 8 || tiles.direct * 50 <= tiles.tiles.len() {
                return tiles;
            }
            levels += 1;
        }
    }

    /// The height at the nearest place of the rectangle.
    #[inline]
    pub(super) fn height(&self, x: f64, y: f64) -> f64 {
        self.look_up(x, y)
    }

    /// The same for many places, one after another.
    #[inline]
    pub(super) fn heights(&self, places: &[[f64; 2]], heights: &mut [f64]) {
        for (height, [x, y]) in heights.iter_mut().zip(places) {
            *height = self.look_up(*x, *y);
        }
    }

    /// (In both of them: where many are looked up, a call of each would cost a tenth.)
    #[inline(always)]
    fn look_up(&self, x: f64, y: f64) -> f64 {
        let (i, u) = seat((x - self.first[0]) * self.per, self.last[0]);
        let (j, v) = seat((y - self.first[1]) * self.per, self.last[1]);
        let n = j * self.count[0] + i;
        let (Some(tile), Some(beside)) = (self.tiles.get(n), self.beside.get(n / 64)) else { return 0.0 };
        let value = tile.value(u, v);
        if beside >> (n % 64) & 1 == 0 { value } else { self.beside_readings(n, value, x, y) }
    }

    /// The height on a square with readings near, whose polynomial has `value`.
    fn beside_readings(&self, n: usize, value: f64, x: f64, y: f64) -> f64 {
        let (x, y) = (between(x, self.low[0], self.high[0]), between(y, self.low[1], self.high[1]));
        let (p, q) = ((x - self.origin[0]) * self.unit, (y - self.origin[1]) * self.unit);
        let sum = |kernels: &[Kernel]| kernels.iter().map(|[cx, cy, w]| w * kernel(p - cx, q - cy)).sum::<f64>();
        match self.own.get(n) {
            Some([first, next]) if first < next => {
                value + sum(self.near.get(*first as usize..*next as usize).unwrap_or_default())
            }
            _ => self.plane[0] + self.plane[1] * p + self.plane[2] * q + sum(&self.all),
        }
    }

    /// A bound of the difference between this and the sum of all kernels, mm.
    pub(super) fn error(&self) -> f64 {
        self.error
    }

    /// The radius of a reading's core, mm.
    pub(super) fn core(&self) -> f64 {
        self.core
    }

    pub(super) fn whole(&self) -> Bounds {
        self.whole
    }

    /// Bounds over a rectangle, mm, as far as it is within the readings' rectangle; outside those at its nearest edge.
    pub(super) fn within(&self, low: [f64; 2], high: [f64; 2]) -> Bounds {
        let block = |p: [f64; 2], n: usize| seat((p[n] - self.first[n]) * self.per, self.last[n]).0 / self.block_side;
        let (i0, i1, j0, j1) = (block(low, 0), block(high, 0), block(low, 1), block(high, 1));
        if i0 > i1 || j0 > j1 || (i1 - i0 + 1) * (j1 - j0 + 1) > 32 {
            return self.whole;
        }
        let mut out = Bounds::default();
        for j in j0..=j1 {
            for block in
                self.blocks.get(j * self.block_count[0] + i0..=j * self.block_count[0] + i1).unwrap_or_default()
            {
                out = out.most(*block);
            }
        }
        out
    }

    /// The squares: their low corner and side, mm, and bounds that hold on each.
    pub(super) fn squares(&self) -> impl Iterator<Item = ([f64; 2], f64, Bounds)> {
        let side = 1.0 / self.per;
        (0..self.count[1]).flat_map(move |j| {
            (0..self.count[0]).map(move |i| {
                let block = j / self.block_side * self.block_count[0] + i / self.block_side;
                let low = [self.low[0] + as_f64(i) * side, self.low[1] + as_f64(j) * side];
                (low, side, self.blocks.get(block).copied().unwrap_or(self.whole))
            })
        })
    }
}

impl Tile {
    #[inline]
    fn value(&self, u: f64, v: f64) -> f64 {
        let p = &self.pairs;
        let step = |sum: [f64; 2], by: f64, next: [f64; 2]| [sum[0] * by + next[0], sum[1] * by + next[1]];
        // By pairs of neighbours first, which do not wait for one another (Estrin's scheme).
        let (u2, v2) = (u * u, v * v);
        let first = step(step(step(p[0], v, p[1]), v2, step(p[2], v, p[3])), v2, step(p[4], v, p[5]));
        let second = step(step(p[6], v, p[7]), v2, step(p[8], v, p[9]));
        let third = step(p[10], v, p[11]);
        let [even, odd] = step(step(third, u2, second), u2, first);
        even + u * odd
    }
}

/// The square that holds `t`, counted in squares from the middle of the first, and where in it, from its middle. By the addition
/// of 3 * 2^51, after which the last binary place of a number is 1: its lowest bits are the nearest whole number.
#[inline]
fn seat(t: f64, last: f64) -> (usize, f64) {
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let t = between(t, -0.5, last);
    let shifted = t + WHOLE;
    #[expect(clippy::cast_possible_truncation, reason = "the low bits are what is wanted; from 0 to 256")]
    let i = shifted.to_bits() as u32 as usize;
    (i, t - (shifted - WHOLE))
}

/// The nearest number from `low` to `high`; `low` for what is not a number.
#[inline]
fn between(v: f64, low: f64, high: f64) -> f64 {
    let v = if v > low { v } else { low };
    if v < high { v } else { high }
}

/// The squares while they are made. Lengths are in scaled coordinates.
struct Grid<'a> {
    spline: &'a ThinPlate,
    rect: [f64; 4],
    low: [f64; 2],
    sides: [f64; 2],
    levels: u32,
    plane: [f64; 3],
    /// What sums may lose to rounding, mm.
    rounding: f64,
}

/// An expansion for each square of a level.
struct Level {
    count: [usize; 2],
    side: f64,
    of: Vec<Expansion>,
}

impl Level {
    /// Where the quarters of a square stand on the next level, if they do.
    fn quarters_of(&self, n: usize, count: [usize; 2]) -> [Option<[usize; 2]>; 4] {
        let [i, j] = [n % self.count[0], n / self.count[0]];
        QUARTERS
            .map(|[right, behind]| [2 * i + right, 2 * j + behind])
            .map(|place| (place[0] < count[0] && place[1] < count[1]).then_some(place))
    }
}

impl<'a> Grid<'a> {
    fn new(spline: &'a ThinPlate, rect: [f64; 4], shift: f64, levels: u32) -> Grid<'a> {
        let (o, s) = (spline.origin(), spline.scale());
        let low = [(rect[0] - o[0]) / s, (rect[1] - o[1]) / s];
        let sides = [(rect[2] - rect[0]) / s, (rect[3] - rect[1]) / s];
        let [a, b, c] = spline.plane();
        // The sum of the sizes of all that is added: r is at most the diagonal, and |r^2 ln r| at most this or 1 / (2 e).
        let r2 = sides[0] * sides[0] + sides[1] * sides[1];
        let largest = (0.5 * r2 * libm::log(r2).abs()).max(0.2);
        let sizes =
            spline.weights().iter().map(|w| w.abs()).sum::<f64>() * largest + a.abs() + b.abs() + c.abs() + shift.abs();
        // No value passes through more additions than one for each reading and some hundreds on its way through the levels, in
        // either sum; powers of d are at most 2 on the way.
        let rounding = 4.0 * (as_f64(spline.centres().len()) + 400.0) * 0.5 * f64::EPSILON * sizes;
        Grid { spline, rect, low, sides, levels, plane: [a + shift, b, c], rounding }
    }

    fn side(&self, level: u32) -> f64 {
        self.sides[0].max(self.sides[1]) / f64::from(1_u32 << level)
    }

    fn count(&self, level: u32) -> [usize; 2] {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 256")]
        let finest =
            self.sides.map(|s| crate::number::within((s / self.side(self.levels)).ceil(), 1.0, 4096.0) as usize);
        finest.map(|n| n.div_ceil(1 << (self.levels - level)))
    }

    fn order(&self, level: u32) -> usize {
        (ORDER + 2 * (self.levels - level) as usize).min(MOST)
    }

    /// Where a centre is from the middle of a square, in half sides.
    fn place_in(&self, side: f64, [i, j]: [usize; 2], centre: &[f64; 2]) -> [f64; 2] {
        let half = 0.5 * side;
        [
            (centre[0] - (self.low[0] + (as_f64(i) + 0.5) * side)) / half,
            (centre[1] - (self.low[1] + (as_f64(j) + 0.5) * side)) / half,
        ]
    }

    /// Adds to each square the kernels that are far from it and were not far from the square that it is a quarter of.
    fn gather(&self, level: &mut Level, first: bool) {
        let half = 0.5 * level.side;
        let ln = libm::log(half);
        for (centre, w) in self.spline.centres().iter().zip(self.spline.weights()) {
            // Squares whose parent's middle may be near: within 3 sides along either axis, and half a side of their own.
            let range = |n: usize| {
                let at = (centre[n] - self.low[n]) / level.side;
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
                let edge = |t: f64| crate::number::within(t, 0.0, as_f64(level.count[n])) as usize;
                if first { 0..level.count[n] } else { edge(at - 4.0)..edge(at + 4.0) }
            };
            for j in range(1) {
                for i in range(0) {
                    let c = self.place_in(level.side, [i, j], centre);
                    if !is_far(c, FAR) {
                        continue;
                    }
                    // What was far from the square that this is a quarter of came from there.
                    if !first && is_far(self.place_in(2.0 * level.side, [i / 2, j / 2], centre), FAR) {
                        continue;
                    }
                    if let Some(e) = level.of.get_mut(j * level.count[0] + i) {
                        e.add(c, w * half * half, ln);
                    }
                }
            }
        }
    }

    /// The expansions of the finest squares but one, from which the last are made one by one.
    fn coarse(&self, shift: &Shift) -> Level {
        let mut at = 2.min(self.levels - 1);
        let mut level = Level { count: self.count(at), side: self.side(at), of: Vec::new() };
        level.of = vec![Expansion::new(self.order(at)); level.count[0] * level.count[1]];
        self.gather(&mut level, true);
        let mut quarters = [0, 1, 2, 3].map(|_| Expansion::new(MOST));
        while at + 1 < self.levels {
            at += 1;
            let order = self.order(at);
            let mut next = Level { count: self.count(at), side: self.side(at), of: Vec::new() };
            next.of = vec![Expansion::new(order); next.count[0] * next.count[1]];
            for (n, parent) in level.of.iter().enumerate() {
                parent.quarters(shift, order, &mut quarters);
                for (quarter, place) in quarters.iter().zip(level.quarters_of(n, next.count)) {
                    if let Some(slot) = place.and_then(|[i, j]| next.of.get_mut(j * next.count[0] + i)) {
                        slot.clone_from(quarter);
                    }
                }
            }
            self.gather(&mut next, false);
            level = next;
        }
        level
    }

    fn tiles(&self) -> Tiles {
        let shift = Shift::new();
        let spline = self.spline;
        let s = spline.scale();
        let (count, side) = (self.count(self.levels), self.side(self.levels));
        let parents = self.coarse(&shift);
        let (starts, list) = self.near(parents.count, parents.side);
        let mut quarters = [0, 1, 2, 3].map(|_| Expansion::new(MOST));
        let ln = libm::log(0.5 * side);
        let economy = Economy::new();
        let half = 0.5 * side;
        let squares = count[0] * count[1];
        let mut tiles = vec![Tile { pairs: [[0.0; 2]; PAIRS] }; squares];
        let mut beside = vec![0_u64; squares / 64 + 1];
        let mut own = vec![[0_u32; 2]; squares];
        let (mut near, mut direct) = (Vec::<Kernel>::new(), 0);
        let block_side = count[0].max(count[1]).div_ceil(BLOCKS);
        let block_count = count.map(|n| n.div_ceil(block_side));
        let mut blocks = vec![Bounds::default(); block_count[0] * block_count[1]];
        let mut worst = 0.0f64;
        let core = CORE * side;
        let mut mine: Vec<([f64; 2], Kernel)> = Vec::new();
        for (parent, whole) in parents.of.iter().enumerate() {
            whole.quarters(&shift, ORDER, &mut quarters);
            for (expansion, place) in quarters.iter_mut().zip(parents.quarters_of(parent, count)) {
                let Some([i, j]) = place else { continue };
                let n = j * count[0] + i;
                mine.clear();
                for k in &list[starts[parent]..starts[parent + 1]] {
                    let (centre, w) = (spline.centres()[*k], spline.weights()[*k]);
                    let c = self.place_in(side, [i, j], &centre);
                    if is_far(c, NEAR) {
                        expansion.add(c, w * half * half, ln);
                    } else {
                        mine.push((c, [centre[0], centre[1], w]));
                    }
                }
                let [x, y] = [(as_f64(i) + 0.5) * side + self.low[0], (as_f64(j) + 0.5) * side + self.low[1]];
                let [a, b, c] = self.plane;
                expansion.add_plane([a + b * x + c * y, b * half, c * half]);
                let error = expansion.cut() + economy.polynomial(expansion, &mut tiles[n]);
                if error > MOST_ERROR {
                    direct += 1;
                } else {
                    worst = worst.max(error);
                    let first = near.len();
                    near.extend(mine.iter().map(|(_, kernel)| kernel));
                    own[n] = [first, near.len()].map(|n| u32::try_from(n).unwrap_or(0));
                }
                if error > MOST_ERROR || !mine.is_empty() {
                    beside[n / 64] |= 1 << (n % 64);
                }
                let block = &mut blocks[j / block_side * block_count[0] + i / block_side];
                *block = block.most(self.bounds(expansion, &mine, side));
            }
        }
        let whole = blocks.iter().fold(Bounds::default(), |a, b| a.most(*b));
        let all = spline.centres().iter().zip(spline.weights()).map(|(c, w)| [c[0], c[1], *w]).collect();
        Tiles {
            low: [self.rect[0], self.rect[1]],
            high: [self.rect[2], self.rect[3]],
            first: [self.rect[0] + half * s, self.rect[1] + half * s],
            per: 1.0 / (side * s),
            last: [0, 1].map(|n| (self.sides[n] / side - 0.5).min(as_f64(count[n]) - 0.5).next_down()),
            count,
            tiles,
            beside,
            own,
            near,
            direct,
            all,
            plane: self.plane,
            origin: spline.origin(),
            unit: 1.0 / s,
            error: worst + self.rounding,
            core: core * s,
            blocks,
            block_count,
            block_side,
            whole,
        }
    }

    /// Bounds over one of the finest squares: near kernels in logarithms of r over the side, the square that this leaves with the
    /// rest.
    fn bounds(&self, expansion: &mut Expansion, mine: &[([f64; 2], Kernel)], side: f64) -> Bounds {
        let (half, s) = (0.5 * side, self.spline.scale());
        let (mut near_slope, mut near_bend, mut core_weight) = (0.0, 0.0, 0.0);
        for (at, [_, _, w]) in mine {
            expansion.add_square(*at, w * half * half, libm::log(side));
            // r over the side, at most and at least on the square, but not within the core.
            let most = 0.5 * ((at[0] * at[0] + at[1] * at[1]).sqrt() + core::f64::consts::SQRT_2);
            let gap = at.map(|v| (v.abs() - 1.0).max(0.0));
            let distance = 0.5 * (gap[0] * gap[0] + gap[1] * gap[1]).sqrt();
            let log = libm::log(distance.max(CORE)).abs().max(libm::log(most).abs());
            near_bend += w.abs() * (2.0 * log + 3.0);
            // r |2 ln r + 1| is at most 2 e^-1.5 where r is below e^-0.5, and rises after.
            near_slope += w.abs() * side * (most * (2.0 * libm::log(most) + 1.0)).max(0.45);
            if distance <= 3.0 * CORE {
                core_weight += w.abs();
            }
        }
        let [slope, bend] = expansion.slope_and_bend();
        Bounds {
            slope: (slope / half + near_slope) / s,
            bend: (bend / (half * half) + near_bend) / (s * s),
            core_weight: core_weight / (s * s),
        }
    }

    /// For each square of a level the readings that are not far from it: where they begin in the list, and the list.
    fn near(&self, count: [usize; 2], side: f64) -> (Vec<usize>, Vec<usize>) {
        let mut pairs: Vec<(usize, usize)> = Vec::new();
        for (k, centre) in self.spline.centres().iter().enumerate() {
            let range = |n: usize| {
                let at = (centre[n] - self.low[n]) / side;
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the grid")]
                let edge = |t: f64| crate::number::within(t, 0.0, as_f64(count[n])) as usize;
                edge(at - 3.0)..edge(at + 4.0)
            };
            for j in range(1) {
                for i in range(0) {
                    if !is_far(self.place_in(side, [i, j], centre), FAR) {
                        pairs.push((j * count[0] + i, k));
                    }
                }
            }
        }
        let mut starts = vec![0; count[0] * count[1] + 1];
        for (square, _) in &pairs {
            starts[square + 1] += 1;
        }
        for n in 1..starts.len() {
            starts[n] += starts[n - 1];
        }
        let mut next = starts.clone();
        let mut list = vec![0; pairs.len()];
        for (square, k) in pairs {
            list[next[square]] = k;
            next[square] += 1;
        }
        (starts, list)
    }
}

/// Whether a reading is far from the middle of a square, in half sides.
fn is_far(c: [f64; 2], from: f64) -> bool {
    c[0] * c[0] + c[1] * c[1] >= from * from
}

/// Coefficients of a polynomial of two coordinates: `net[k][j]` is that of u^(k - j) v^j.
type Net = [[f64; ORDER + 1]; ORDER + 1];

/// Makes an expansion of order [`ORDER`] a polynomial of total degree [`DEGREE`].
///
/// The polynomial is linear in the expansion's real numbers. So what each of them becomes is worked out once, and with it the size
/// of what is dropped.
struct Economy {
    /// By A and B, and for each by its real numbers: what is dropped of one of size 1.
    dropped: [[f64; 2 * ORDER + 2]; 2],
    /// Likewise: where it goes, in the tile's numbers, and by what factor.
    terms: [Vec<(usize, u8, f64)>; 2],
}

impl Economy {
    fn new() -> Economy {
        let mut binomials = [[0.0; ORDER + 1]; ORDER + 1];
        // Chebyshev polynomials with leading coefficient 1: T_n+1 = 2 x T_n - T_n-1, so that M_2 = x M_1 - 1/2 and after it
        // M_n+1 = x M_n - M_n-1 / 4.
        let mut monic = binomials;
        (monic[0][0], monic[1][1]) = (1.0, 1.0);
        for n in 0..=ORDER {
            for k in 0..=n {
                binomials[n][k] = if k == 0 { 1.0 } else { binomials[n - 1][k - 1] + binomials[n - 1][k] };
                if n >= 2 {
                    let before = if k > 0 { monic[n - 1][k - 1] } else { 0.0 };
                    monic[n][k] = before - if n == 2 { 0.5 } else { 0.25 } * monic[n - 2][k];
                }
            }
        }
        let mut out = Economy { dropped: [[0.0; 2 * ORDER + 2]; 2], terms: [Vec::new(), Vec::new()] };
        for which in [0, 1] {
            for k in 0..=ORDER - 2 * which {
                for part in [0, 1] {
                    // Re(z d^k) for z = 1 and z = i: the parts of i^j, turned.
                    let mut net: Net = [[0.0; ORDER + 1]; ORDER + 1];
                    for j in 0..=k {
                        let v = binomials[k][j] * [1.0, 0.0, -1.0, 0.0][(j + part) % 4];
                        if which == 0 {
                            net[k][j] += v;
                        } else {
                            net[k + 2][j] += v;
                            net[k + 2][j + 2] += v;
                        }
                    }
                    out.dropped[which][2 * k + part] = lower(&mut net, &monic);
                    let mut slot = 0_u8;
                    for (pair, rows) in ROWS.into_iter().enumerate() {
                        for b in (0..rows).rev() {
                            for a in [2 * pair, 2 * pair + 1] {
                                if a + b <= DEGREE && net[a + b][b] != 0.0 {
                                    // A tile counts in whole sides.
                                    let factor = net[a + b][b] * f64::from(1_u32 << (a + b));
                                    out.terms[which].push((2 * k + part, slot, factor));
                                }
                                slot += 1;
                            }
                        }
                    }
                }
            }
        }
        out
    }

    /// Fills in the tile; returns a bound of what it leaves out of the expansion.
    fn polynomial(&self, expansion: &Expansion, tile: &mut Tile) -> f64 {
        let mut dropped = 0.0;
        let slots = tile.pairs.as_flattened_mut();
        slots.fill(0.0);
        for ((part, terms), sizes) in expansion.parts().into_iter().zip(&self.terms).zip(&self.dropped) {
            let numbers = part.as_flattened();
            for (from, to, factor) in terms {
                slots[usize::from(*to)] += factor * numbers[*from];
            }
            dropped += numbers.iter().zip(sizes).map(|(v, size)| v.abs() * size).sum::<f64>();
        }
        dropped
    }
}

/// Replaces the monomials over [`DEGREE`]; what this changes on the square, |u| and |v| up to 1, is at most what it returns.
fn lower(net: &mut Net, monic: &Net) -> f64 {
    let mut dropped = 0.0;
    for k in (DEGREE + 1..=ORDER).rev() {
        for b in 0..=k {
            let (a, c) = (k - b, net[k][b]);
            let halves = a.saturating_sub(1) + b.saturating_sub(1);
            dropped += c.abs() * (0..halves).fold(1.0, |p, _| 0.5 * p);
            for i in (0..=a).rev().step_by(2) {
                for j in (0..=b).rev().step_by(2) {
                    net[i + j][j] -= c * monic[a][i] * monic[b][j];
                }
            }
        }
    }
    dropped
}
