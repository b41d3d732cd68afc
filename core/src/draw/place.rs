//! Where words and figures go: boxes that must not overlap, and straight stretches of a line.

use crate::number;

/// A rectangle on the sheet, turned by an angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub(super) centre: [f64; 2],
    /// Half its width and half its height.
    pub(super) half: [f64; 2],
    /// Cosine and sine of its angle.
    pub(super) turn: [f64; 2],
}

impl Area {
    pub(super) fn upright(centre: [f64; 2], width: f64, height: f64) -> Area {
        Area { centre, half: [0.5 * width, 0.5 * height], turn: [1.0, 0.0] }
    }

    /// The piece of a line from `p` to `q`, which has no height.
    pub(super) fn piece(p: [f64; 2], q: [f64; 2]) -> Area {
        let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
        let length = libm::hypot(dx, dy);
        let turn = if length > 0.0 { [dx / length, dy / length] } else { [1.0, 0.0] };
        Area { centre: [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])], half: [0.5 * length, 0.0], turn }
    }

    /// Its four corners.
    pub(super) fn corners(&self) -> [[f64; 2]; 4] {
        let [u, v] = self.axes();
        [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]]
            .map(|[a, b]| core::array::from_fn(|k| self.centre[k] + a * self.half[0] * u[k] + b * self.half[1] * v[k]))
    }

    fn axes(&self) -> [[f64; 2]; 2] {
        let [c, s] = self.turn;
        [[c, s], [-s, c]]
    }

    /// How far the area reaches from its centre along `axis`.
    fn reach(&self, axis: [f64; 2]) -> f64 {
        let [u, v] = self.axes();
        self.half[0] * dot(u, axis).abs() + self.half[1] * dot(v, axis).abs()
    }

    /// Whether two areas share a point. Separating axes: S. Gottschalk, M. C. Lin and D. Manocha 1996, "OBBTree".
    pub(super) fn meets(&self, other: &Area) -> bool {
        let between = [other.centre[0] - self.centre[0], other.centre[1] - self.centre[1]];
        self.axes()
            .into_iter()
            .chain(other.axes())
            .all(|axis| dot(between, axis).abs() <= self.reach(axis) + other.reach(axis))
    }

    /// Whether the area lies within the rectangle from `low` to `high`.
    fn within(&self, low: [f64; 2], high: [f64; 2]) -> bool {
        (0..2).all(|k| {
            let axis = [[1.0, 0.0], [0.0, 1.0]][k];
            self.centre[k] - self.reach(axis) >= low[k] && self.centre[k] + self.reach(axis) <= high[k]
        })
    }
}

fn dot(p: [f64; 2], q: [f64; 2]) -> f64 {
    p[0] * q[0] + p[1] * q[1]
}

/// The areas that are spoken for, inside a frame.
#[derive(Debug)]
pub(super) struct Taken {
    low: [f64; 2],
    high: [f64; 2],
    areas: Vec<Area>,
}

impl Taken {
    pub(super) fn new(low: [f64; 2], high: [f64; 2]) -> Taken {
        Taken { low, high, areas: Vec::new() }
    }

    pub(super) fn take(&mut self, area: Area) {
        self.areas.push(area);
    }

    pub(super) fn is_free(&self, area: &Area) -> bool {
        area.within(self.low, self.high) && !self.areas.iter().any(|a| a.meets(area))
    }

    /// Takes the free place for a text of `size` beside the point, `gap` away from it, that covers least; its centre, if there is one.
    pub(super) fn beside(
        &mut self,
        point: [f64; 2],
        size: [f64; 2],
        gap: f64,
        covers: &dyn Fn(&Area) -> usize,
    ) -> Option<[f64; 2]> {
        let [dx, dy] = [gap + 0.5 * size[0], gap + 0.5 * size[1]];
        let slant = 0.7 * gap + 0.5 * size[1];
        let places =
            [[dx, -slant], [dx, 0.0], [dx, slant], [-dx, -slant], [-dx, 0.0], [-dx, slant], [0.0, -dy], [0.0, dy]];
        let area = places
            .into_iter()
            .map(|[u, v]| Area::upright([point[0] + u, point[1] + v], size[0], size[1]))
            .filter(|area| self.is_free(area))
            .min_by_key(covers)?;
        self.take(area);
        Some(area.centre)
    }
}

/// A figure on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct OnLine {
    pub(super) area: Area,
    /// The part of the line, in lengths from its start, that makes room for the figure.
    pub(super) gap: [f64; 2],
}

/// Shortest stretch of line between two figures on it.
const APART: f64 = 330.0;

/// Free air on each side of a figure on its line.
const AIR: f64 = 9.0;

/// Places figures of `size` on the straightest free stretches of a line, and takes them.
pub(super) fn along(line: &[[f64; 2]], size: [f64; 2], taken: &mut Taken) -> Vec<OnLine> {
    let track = Track::new(line);
    let half = 0.5 * size[0] + AIR;
    // A shorter line would be all figure and no line.
    if track.length() < 3.4 * half {
        return Vec::new();
    }
    let mut candidates: Vec<(f64, f64, Area)> = Vec::new();
    let mut s = half + AIR;
    while s <= track.length() - half - AIR {
        if let Some((bend, area)) = track.straight(s, size) {
            let off_middle = (s / track.length() - 0.5).abs();
            candidates.push((bend + 1.5 * off_middle, s, area));
        }
        s += 5.0;
    }
    crate::order::sort_by(&mut candidates, |p, q| p.0.total_cmp(&q.0).then(p.1.total_cmp(&q.1)));
    let mut chosen: Vec<OnLine> = Vec::new();
    for (_, s, area) in candidates {
        let far = chosen.iter().all(|o| track.between(0.5 * (o.gap[0] + o.gap[1]), s) > APART);
        if far && taken.is_free(&area) {
            taken.take(area);
            chosen.push(OnLine { area, gap: [s - half, s + half] });
        }
    }
    crate::order::sort_by(&mut chosen, |p, q| p.gap[0].total_cmp(&q.gap[0]));
    chosen
}

/// What is left of a line when the gaps (in order) are cut out of it.
pub(super) fn with_gaps(line: &[[f64; 2]], gaps: &[OnLine]) -> Vec<Vec<[f64; 2]>> {
    let track = Track::new(line);
    let mut parts = Vec::new();
    let mut from = 0.0;
    for [end, next] in gaps.iter().map(|g| g.gap).chain([[track.length(); 2]]) {
        if end > from {
            parts.push(track.part(from, end));
        }
        from = next;
    }
    parts
}

/// A line measured by its own length.
struct Track<'a> {
    points: &'a [[f64; 2]],
    at: Vec<f64>,
}

impl Track<'_> {
    fn new(points: &[[f64; 2]]) -> Track<'_> {
        let mut at = Vec::with_capacity(points.len());
        let mut sum = 0.0;
        for (i, p) in points.iter().enumerate() {
            if i > 0 {
                sum += libm::hypot(p[0] - points[i - 1][0], p[1] - points[i - 1][1]);
            }
            at.push(sum);
        }
        Track { points, at }
    }

    fn length(&self) -> f64 {
        self.at.last().copied().unwrap_or(0.0)
    }

    /// The way along the line between two places on it; the shorter one where it is closed.
    fn between(&self, s: f64, t: f64) -> f64 {
        let way = (s - t).abs();
        if self.points.first() == self.points.last() { way.min(self.length() - way) } else { way }
    }

    fn point(&self, s: f64) -> [f64; 2] {
        let i = self.at.partition_point(|a| *a < s).clamp(1, self.points.len() - 1);
        let (p, q) = (self.points[i - 1], self.points[i]);
        let span = self.at[i] - self.at[i - 1];
        let t = if span > 0.0 { number::within((s - self.at[i - 1]) / span, 0.0, 1.0) } else { 0.0 };
        [p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])]
    }

    fn part(&self, from: f64, to: f64) -> Vec<[f64; 2]> {
        let mut part = vec![self.point(from)];
        let inner = self.at.iter().zip(self.points).filter(|(a, _)| **a > from && **a < to);
        part.extend(inner.map(|(_, p)| *p));
        part.push(self.point(to));
        part
    }

    /// How much the line bends under a figure centred at `s`, and the figure's area, upright to the reader; none where it bends too much.
    fn straight(&self, s: f64, size: [f64; 2]) -> Option<(f64, Area)> {
        let half = 0.5 * size[0];
        let (p, q) = (self.point(s - half), self.point(s + half));
        let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
        let chord = libm::hypot(dx, dy);
        if chord < 0.9 * size[0] {
            return None;
        }
        let [mut c, mut sn] = [dx / chord, dy / chord];
        let bend = self
            .part(s - half, s + half)
            .iter()
            .map(|r| ((r[0] - p[0]) * -sn + (r[1] - p[1]) * c).abs())
            .fold(0.0, f64::max);
        if bend > 0.3 * size[1] {
            return None;
        }
        // Never upside down, and a line straight up is read from the right-hand side of the sheet.
        if c < -1e-9 || (c.abs() <= 1e-9 && sn > 0.0) {
            (c, sn) = (-c, -sn);
        }
        let middle = self.point(s);
        let chord_middle = [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])];
        let centre = [0.5 * (middle[0] + chord_middle[0]), 0.5 * (middle[1] + chord_middle[1])];
        Some((bend, Area { centre, half: [0.5 * size[0], 0.5 * size[1]], turn: [c, sn] }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Taken {
        Taken::new([0.0, 0.0], [1000.0, 1000.0])
    }

    #[test]
    fn turned_areas_meet_only_where_they_overlap() {
        let flat = Area::upright([0.0, 0.0], 100.0, 10.0);
        let h = core::f64::consts::FRAC_1_SQRT_2;
        let turned = |centre| Area { centre, half: [50.0, 5.0], turn: [h, h] };
        assert!(flat.meets(&turned([40.0, 0.0])));
        // Their upright boxes overlap, they do not.
        assert!(!flat.meets(&turned([70.0, 45.0])) && !flat.meets(&turned([30.0, 48.0])));
    }

    #[test]
    fn a_second_word_goes_to_another_side_and_none_leaves_the_sheet() {
        let mut taken = sheet();
        let size = [60.0, 20.0];
        let first = taken.beside([500.0, 500.0], size, 6.0, &|_| 0).unwrap();
        let second = taken.beside([500.0, 500.0], size, 6.0, &|_| 0).unwrap();
        assert!(first[0] > 500.0 && libm::hypot(first[0] - second[0], first[1] - second[1]) > 10.0);
        let at_edge = taken.beside([990.0, 300.0], size, 6.0, &|_| 0).unwrap();
        assert!(at_edge[0] < 990.0);
        assert_eq!(Taken::new([0.0, 0.0], [30.0, 30.0]).beside([15.0, 15.0], size, 6.0, &|_| 0), None);
    }

    #[test]
    fn a_word_goes_where_it_covers_least() {
        let line = Area::piece([400.0, 480.0], [600.0, 485.0]);
        let covers = |area: &Area| usize::from(area.meets(&line));
        let at = sheet().beside([500.0, 500.0], [60.0, 20.0], 6.0, &covers).unwrap();
        assert!(at[1] >= 500.0, "{at:?}");
    }

    #[test]
    fn figures_sit_on_straight_stretches_the_right_way_up() {
        let mut taken = sheet();
        // An L: right to left, then straight up the sheet.
        let line = [[900.0, 800.0], [100.0, 800.0], [100.0, 100.0]];
        let found = along(&line, [40.0, 14.0], &mut taken);
        assert!(found.len() >= 3, "{found:?}");
        for f in &found {
            assert!(f.area.turn[0] >= 0.0);
            let on = (f.area.centre[1] - 800.0).abs() < 1e-9 || (f.area.centre[0] - 100.0).abs() < 1e-9;
            assert!(on, "{f:?}");
        }
        for (i, f) in found.iter().enumerate() {
            assert!(found[..i].iter().all(|g| !g.area.meets(&f.area)));
        }
    }

    #[test]
    fn figures_on_a_ring_keep_apart_across_its_seam() {
        let ring: Vec<[f64; 2]> = (0..=90)
            .map(|i| core::f64::consts::TAU * f64::from(i % 90) / 90.0)
            .map(|a| [500.0 + 120.0 * libm::cos(a), 500.0 + 120.0 * libm::sin(a)])
            .collect();
        let found = along(&ring, [34.0, 13.0], &mut sheet());
        assert_eq!(found.len(), 2, "{found:?}");
        let [p, q] = [found[0].area.centre, found[1].area.centre];
        assert!(libm::hypot(p[0] - q[0], p[1] - q[1]) > 200.0);
    }

    #[test]
    fn gaps_are_cut_out_and_nothing_else() {
        let line = [[0.0, 0.0], [1000.0, 0.0]];
        let mut taken = Taken::new([0.0, -50.0], [1000.0, 50.0]);
        let found = along(&line, [40.0, 14.0], &mut taken);
        let parts = with_gaps(&line, &found);
        assert_eq!(parts.len(), found.len() + 1);
        let drawn: f64 = parts.iter().map(|p| p[p.len() - 1][0] - p[0][0]).sum();
        let cut: f64 = found.iter().map(|f| f.gap[1] - f.gap[0]).sum();
        assert!((drawn + cut - 1000.0).abs() < 1e-9);
        assert_eq!(with_gaps(&line, &[]), vec![line.to_vec()]);
    }

    #[test]
    fn a_short_or_crooked_line_has_no_figure() {
        let mut taken = sheet();
        assert!(along(&[[0.0, 500.0], [60.0, 500.0]], [40.0, 14.0], &mut taken).is_empty());
        let zigzag: Vec<[f64; 2]> =
            (0..40).map(|i| [500.0 + f64::from(i % 2) * 15.0, 100.0 + f64::from(i) * 12.0]).collect();
        assert!(along(&zigzag, [40.0, 14.0], &mut taken).is_empty());
        assert!(along(&[], [40.0, 14.0], &mut taken).is_empty());
    }
}
