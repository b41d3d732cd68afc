//! What the path should be over this bed: offsets, the vertices of a move, the flow factor. Nothing is written here.

use super::options::Options;
use super::path::Path;
use super::split::{SAMPLES_LIMIT, Tube, Vertex};
use super::survey::Survey;
use super::taper::Weight;
use crate::number::Shown;
use crate::surface::sheet::Sheet;
use crate::{Error, ErrorKind, HeightMap};
use std::sync::Arc;

/// The definition, z + w(z) h(x, y) + shift, and how closely it is to be kept.
#[derive(Debug, Clone)]
pub(crate) struct Bed {
    /// Shared by all that are cloned from one: it is large, and takes longer to make than a small toolpath to follow.
    pub(crate) sheet: Arc<Sheet>,
    pub(crate) weight: Weight,
    shift: f64,
    tolerance: f64,
    /// The longest straight move at one height that is sure to need one piece, mm.
    plain_length: f64,
    /// The last move may have ended off its place, or the place was lost since.
    loose: bool,
    seen: Seen,
    /// The part of the bed between break lines that was looked at last: low and high x, low and high y, mm.
    room: [f64; 4],
    cuts: Vec<f64>,
    tube: Tube,
    /// The tube of the move before, and how that move may end.
    before: Tube,
    end: End,
    /// For [`Bed::better_start`]: how the move before may end, and the offset that the move in hand should end at.
    asked: Option<(End, f64)>,
}

/// An offset that is off is made good by no more than this, mm to the mm of way: at 50 mm/s half a millimetre a second of Z.
const MENDING: f64 = 0.01;

/// No move is plain that is longer than this, mm.
const LONG: f64 = 1000.0;

/// How far a move's end may lie off where it is, with the vertices before it as they are.
#[derive(Debug, Clone, Copy)]
enum End {
    /// Nobody asked, or not at all.
    Fixed,
    /// The move stood still in X and Y, and should end at this offset.
    Standing(f64),
    /// One link: the offset at the end; how far the link may be off along the way when its ends are right, mm, is K d^2 / 8
    /// with d its length, mm, and K the weight times the bend over d, and a part that is known already, mm; and how far its start
    /// lies off, mm.
    Short { end: f64, weight: f64, length: f64, more: f64, off: f64 },
    /// The offset at the end, and the vertex before it in the tube.
    Long(f64, Vertex),
}

/// The place that was looked at last.
#[derive(Debug, Clone, Copy)]
struct Seen {
    at: [f64; 2],
    height: f64,
}

/// A bound of the offset's second derivative along a way, by its parts.
#[derive(Debug, Clone, Copy)]
struct Bends {
    weight: f64,
    /// Of the turning of the way, and of its rising in the taper, 1/mm.
    turns: f64,
    rises: f64,
    /// How much it rises, mm to the mm of way.
    rise: f64,
}

impl Bends {
    /// For stretches of up to `d` mm, 1/mm.
    #[inline]
    fn of(&self, sheet: &Sheet, d: f64) -> f64 {
        self.weight * (sheet.bend(d) + self.turns) + self.rises
    }

    /// How far one link may be off along a way of `length` mm.
    #[inline]
    fn sag(&self, sheet: &Sheet, length: f64) -> f64 {
        self.of(sheet, length) * length * length / 8.0
    }
}

/// A move's way and its Z at the two ends, mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Way {
    pub path: Path,
    pub z: [f64; 2],
}

impl Bed {
    pub(crate) fn new(map: &HeightMap, options: &Options) -> Result<Self, Error> {
        let sheet = Arc::new(Sheet::of(map));
        let weight = Weight::new(options.taper, &sheet)?;
        let plain_length = plain_length(&sheet, tube_width(&sheet, options.tolerance));
        Ok(Bed {
            sheet,
            weight,
            shift: options.shift,
            tolerance: options.tolerance,
            plain_length,
            loose: false,
            seen: Seen { at: [f64::NAN; 2], height: 0.0 },
            room: [f64::NAN; 4],
            cuts: Vec::new(),
            tube: Tube::default(),
            before: Tube::default(),
            end: End::Fixed,
            asked: None,
        })
    }

    /// h(x, y), remembered for the place asked for last: where one move ends the next one begins.
    #[inline]
    pub(crate) fn height(&mut self, [x, y]: [f64; 2]) -> f64 {
        let Seen { at, height } = self.seen;
        if at[0].to_bits() == x.to_bits() && at[1].to_bits() == y.to_bits() {
            return height;
        }
        let height = self.sheet.height(x, y);
        self.seen = Seen { at: [x, y], height };
        height
    }

    /// w(z) h(x, y) + shift.
    #[inline]
    pub(crate) fn offset(&mut self, place: [f64; 2], z: f64) -> f64 {
        self.offset_of(place, self.weight.at(z))
    }

    /// The same where the weight is known.
    #[inline]
    pub(crate) fn offset_of(&mut self, place: [f64; 2], weight: f64) -> f64 {
        let height = if weight == 0.0 { 0.0 } else { self.height(place) };
        self.offset_at(height, weight)
    }

    /// The same where the height is known, or any number where the weight is 0.
    #[inline]
    pub(crate) fn offset_at(&self, height: f64, weight: f64) -> f64 {
        let h = if weight == 0.0 { 0.0 } else { weight * height };
        h + self.shift
    }

    /// Whether a straight move can need more than one piece: the bed is not level all over. (A plane has kinks where the readings end.)
    #[inline]
    pub(crate) fn is_bent(&self) -> bool {
        self.sheet.slope_bound() > 0.0
    }

    /// Up to which length, mm, a straight move at one height that crosses no break line is sure to need one piece, where the weight
    /// is `weight`: what [`vertices`](Bed::vertices) would find, told beforehand. `None` where the next move must be looked at.
    #[inline]
    pub(crate) fn plain_length(&self, weight: f64) -> Option<f64> {
        (!self.loose).then_some(if weight == 0.0 { LONG } else { self.plain_length })
    }

    /// Whether E may be scaled at this height.
    #[inline]
    pub(crate) fn scales(&self, z: f64) -> bool {
        self.weight.range().is_some_and(|[from, to]| z > from && z < to)
    }

    /// Whether the path is left where it is, where the weight is `weight`.
    #[inline]
    pub(crate) fn leaves(&self, weight: f64) -> bool {
        weight == 0.0 && self.shift == 0.0
    }

    /// Such a move was made, to offset `end`.
    #[inline]
    pub(crate) fn went_plainly(&mut self, weight: f64, end: f64, length: f64) {
        self.asked = None;
        self.end = if weight == 0.0 { End::Fixed } else { End::Short { end, weight, length, more: 0.0, off: 0.0 } };
    }

    /// Whether a place lies in the rectangle that bounds the readings.
    #[inline]
    pub(crate) fn is_within(&self, [x, y]: [f64; 2]) -> bool {
        let [x0, y0, x1, y1] = self.sheet.rect();
        x >= x0 && x <= x1 && y >= y0 && y <= y1
    }

    /// Whether no break line of the map is crossed between two places. (Of a place on such a line it hangs on the part that was looked at last; either
    /// way the same is written.)
    #[inline(always)]
    pub(crate) fn no_break(&mut self, from: [f64; 2], to: [f64; 2]) -> bool {
        if !holds(&self.room, to) {
            self.room = self.sheet.room(to);
        }
        holds(&self.room, from)
    }

    /// The widest that an end may lie off, mm: the next move must start within its tube.
    #[inline]
    fn reach(&self, tau: f64) -> f64 {
        0.98 * tau
    }

    /// A move that stands still in X and Y ends at offset `end`.
    #[inline]
    pub(crate) fn stands(&mut self, end: f64) {
        self.end = End::Standing(end);
    }

    /// The offsets, lowest and highest, at which the move before may as well end.
    #[inline]
    fn window(&mut self, end: End, tau: f64) -> Option<[f64; 2]> {
        let reach = self.reach(tau);
        let [low, high] = match end {
            End::Fixed => return None,
            End::Standing(end) => [end - reach, end + reach],
            End::Short { end, weight, length, more, off } => {
                let sag = weight * self.sheet.bend(length) * length * length / 8.0 + more;
                // A chord between two ends that are off by no more than this keeps within the tolerance.
                let reach = reach.min(tau - sag);
                if off > reach {
                    return None;
                }
                // Gently here too.
                let reach = reach.min(MENDING * length);
                [end - reach, end + reach]
            }
            End::Long(end, from) => {
                let [low, high] = self.before.seen_from(from, tau - tau / 100.0);
                [low.max(end - reach), high.min(end + reach)]
            }
        };
        (low < high).then_some([low, high])
    }

    /// Whether the move would need fewer vertices if the one before ended elsewhere: at which offset it had better start, of those
    /// not below `lowest` the one nearest to `start`.
    ///
    /// To be asked after [`vertices`](Bed::vertices) of the same move, which found `count`.
    #[inline]
    pub(crate) fn better_start(&mut self, start: f64, count: usize, lowest: f64) -> Option<f64> {
        let (end, goal) = self.asked.take()?;
        let tau = tube_width(&self.sheet, self.tolerance);
        let [low, high] = self.window(end, tau)?;
        let low = low.max(lowest);
        let (narrow, reach) = (tau - tau / 100.0, self.reach(tau));
        let mut tube = core::mem::take(&mut self.tube);
        let mut vertices = Vec::new();
        let mut needs = |s: f64| {
            tube.fewest_to_about(s, goal, narrow, reach, &mut vertices);
            vertices.len()
        };
        let mut best: Option<(usize, f64)> = None;
        for s in [low, high] {
            let n = if low <= high { needs(s) } else { count };
            if n < best.map_or(count, |(n, _)| n) {
                best = Some((n, s));
            }
        }
        let better = best.map(|(n, far)| {
            // As near to where the move would start as does it.
            let (mut near, mut far) = (start, far);
            for _ in 0..5 {
                let middle = f64::midpoint(near, far);
                if needs(middle) <= n {
                    far = middle;
                } else {
                    near = middle;
                }
            }
            far
        });
        self.tube = tube;
        better
    }

    /// The next move does not begin where the last one should have ended: that was put elsewhere, or the place was lost since.
    #[inline]
    pub(crate) fn moved(&mut self) {
        self.loose = true;
    }

    /// Whether anything is followed between two heights.
    #[inline]
    pub(crate) fn is_followed(&self, z: [f64; 2]) -> bool {
        z.iter().any(|z| self.weight.at(*z) != 0.0)
    }

    /// How much the offset bends along a way.
    #[inline]
    fn bends(&self, Way { path, z: [z0, z1] }: &Way) -> Bends {
        let length = path.speed();
        let rise = if length > 0.0 { (z1 - z0).abs() / length } else { 0.0 };
        let taper_slope = self.weight.range().map_or(0.0, |[from, to]| 1.0 / (to - from));
        Bends {
            weight: self.weight.at(*z0).max(self.weight.at(*z1)),
            turns: self.sheet.slope_bound() * path.curvature(),
            rises: 2.0 * taper_slope * rise * self.sheet.slope_bound(),
            rise,
        }
    }

    /// Sets `cuts` to where something breaks along a way: the map or the taper. Whether nothing does.
    #[inline]
    fn cut(&mut self, Way { path, z: [z0, z1] }: &Way) -> bool {
        self.cuts.clear();
        path.crossings(self.sheet.breaks(), &mut self.cuts);
        let whole = self.cuts.is_empty();
        let kinks = self.weight.kinks();
        let kinked = kinks.iter().any(|k| (*k > z0.min(*z1)) && (*k < z0.max(*z1)));
        if kinked {
            self.cuts.extend(kinks.iter().map(|k| (k - z0) / (z1 - z0)).filter(|t| *t > 0.0 && *t < 1.0));
        }
        whole && !kinked
    }

    /// Looks at the offsets along a way, if more than its ends must be looked at where its start is not off.
    ///
    /// # Errors
    /// As [`vertices`](Bed::vertices).
    pub(crate) fn look_along(&mut self, way: &Way, samples: &mut Vec<Vertex>) -> Result<(), Error> {
        let whole = self.cut(way);
        let bends = self.bends(way);
        let tau = tube_width(&self.sheet, self.tolerance);
        let short = self.is_plain(way, &bends) || bends.sag(&self.sheet, way.path.speed()) <= tau;
        if whole && short { Ok(()) } else { self.sample(way, samples) }
    }

    /// Whether a way is short, straight and level: nearly every one is, and for those it is known beforehand that one link will do where nothing breaks.
    #[inline]
    fn is_plain(&self, Way { path, .. }: &Way, bends: &Bends) -> bool {
        path.speed() <= self.plain_length && bends.rise == 0.0 && path.curvature() == 0.0
    }

    /// Looks at the offsets along a way, from its start on, but for its end: so finely that between them the offset is straight within a hundredth of
    /// the tolerance. To be asked after [`cut`](Bed::cut) of the same way.
    ///
    /// # Errors
    /// [`ErrorKind::Limit`], without its line, for a move that no printer makes.
    #[inline]
    fn sample(&mut self, way: &Way, samples: &mut Vec<Vertex>) -> Result<(), Error> {
        let Way { path, z: [z0, z1] } = *way;
        let length = path.speed();
        let fine = tube_width(&self.sheet, self.tolerance) / 100.0;
        let bends = self.bends(way);
        let mut step = length;
        for _ in 0..3 {
            let k = bends.of(&self.sheet, step);
            step = if k > 0.0 { (8.0 * fine / k).sqrt().min(length) } else { length };
        }
        let count = (length / step).ceil();
        if count.is_nan() || count >= f64::from(SAMPLES_LIMIT) {
            return Err(Error::new(
                ErrorKind::Limit,
                format!("a move of {:.0} mm would need more than {SAMPLES_LIMIT} looks at the bed", Shown(length)),
            )
            .with_help("no printer is that large: the file is damaged here, or in other units than it says"));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10^5")]
        let count = count.max(1.0) as u32;
        let mut cuts = core::mem::take(&mut self.cuts);
        cuts.extend((1..count).map(|i| f64::from(i) / f64::from(count)));
        crate::order::sort_numbers(&mut cuts);
        samples.clear();
        samples.push((0.0, self.offset(path.at(0.0), z0)));
        let mut last = 0.0;
        for t in &cuts {
            // Two samples at one place add nothing.
            if *t - last > 1e-12 && 1.0 - *t > 1e-12 {
                samples.push((*t, self.offset(path.at(*t), z0 + (z1 - z0) * t)));
                last = *t;
            }
        }
        self.cuts = cuts;
        Ok(())
    }

    /// The vertices of a move that travels over the bed, from offset `start` to about offset `end`: as few as keep the
    /// tolerance. `survey` is what was told of its way beforehand, if it is of its way.
    ///
    /// # Errors
    /// [`ErrorKind::Limit`], without its line, for a move that no printer makes.
    #[inline]
    pub(crate) fn vertices(
        &mut self,
        way: &Way,
        survey: Option<&Survey>,
        start: f64,
        end: f64,
        vertices: &mut Vec<Vertex>,
    ) -> Result<(), Error> {
        let end_before = core::mem::replace(&mut self.end, End::Fixed);
        self.asked = None;
        let Way { path, z: [z0, z1] } = *way;
        let length = path.speed();
        let tolerance = self.tolerance;
        let tau = tube_width(&self.sheet, tolerance);
        // A start that is off by up to tau leaves tau t of the tube at t, and a chord of sag s takes at most 4 s t (1 - t) of
        // it: no more than that where s is a quarter of tau.
        let off_by = if core::mem::take(&mut self.loose) { start - self.offset(path.at(0.0), z0) } else { 0.0 };
        // No end is put that far off: the place was told anew since.
        let off_by = if off_by.abs() <= tolerance { off_by } else { 0.0 };
        let off = off_by.abs() > 1e-3 * tau;
        let bends = self.bends(way);
        if bends.weight == 0.0 {
            vertices.push((1.0, end));
            return Ok(());
        }
        let whole = self.cut(way);
        let (sag, plain) = (bends.sag(&self.sheet, length), self.is_plain(way, &bends));
        let short = whole && if off { sag <= tau / 4.0 } else { plain || sag <= tau };
        // A start that is off is made good gently: a move of a thousandth of a millimetre must not make Z jump.
        let left = off_by - crate::number::within(off_by, -MENDING * length, MENDING * length);
        let goal = if left != 0.0 && sag <= tau - self.reach(tau) { end + left } else { end };
        if short {
            vertices.push((1.0, goal));
            self.loose = goal.to_bits() != end.to_bits();
            let more = (bends.of(&self.sheet, length) - bends.weight * self.sheet.bend(length)) * length * length / 8.0;
            let more = if plain { 0.0 } else { more };
            self.end = End::Short { end, weight: bends.weight, length, more, off: off_by.abs() };
            return Ok(());
        }
        if matches!(end_before, End::Long(..)) {
            core::mem::swap(&mut self.tube, &mut self.before);
        }
        let mut tube = core::mem::take(&mut self.tube);
        match survey.and_then(|survey| survey.samples(way)) {
            Some(told) => told.clone_into(&mut tube.samples),
            None => self.sample(way, &mut tube.samples)?,
        }
        let [(_, first), ..] = tube.samples[..] else { return Ok(()) };
        // A start that is off (the first move after the place became known) is made good evenly over the move.
        let lead = if (start - first).abs() > tolerance { start - first } else { 0.0 };
        for (t, offset) in &mut tube.samples {
            *offset += lead * (1.0 - *t);
        }
        tube.samples.push((1.0, end));
        let fine = tau / 100.0;
        // After the taper the end is what it was.
        if self.weight.at(z1) > 0.0 {
            tube.fewest_to_about(start, goal, tau - fine, self.reach(tau), vertices);
            let from = vertices.len().checked_sub(2).map_or((0.0, start), |n| vertices[n]);
            self.end = End::Long(end, from);
            if lead == 0.0 && vertices.len() > 1 {
                self.asked = Some((end_before, goal));
            }
        } else {
            tube.fewest(start, end, tau - fine, vertices);
        }
        self.loose = vertices.last().is_some_and(|(_, v)| v.to_bits() != end.to_bits());
        self.tube = tube;
        Ok(())
    }

    /// The height in the middle between two places.
    #[inline]
    pub(crate) fn middle(&self, from: [f64; 2], to: [f64; 2]) -> f64 {
        let [x, y] = halfway(from, to);
        self.sheet.height(x, y)
    }

    /// The height at a place, as it was looked up elsewhere.
    #[inline]
    pub(crate) fn is_told(&mut self, at: [f64; 2], height: f64) {
        self.seen = Seen { at, height };
    }

    /// The mean of 1 + h w'(z) along the path: Simpson's rule over stretches of at most 1 mm, and of an arc at most an eighth of half a turn,
    /// that no break of the map and no kink of the taper divides (so that it is exact for straight moves over bilinear maps at one Z).
    #[inline]
    pub(crate) fn flow(&mut self, way: &Way) -> f64 {
        let Way { path, z: [z0, z1] } = *way;
        let Some([from, to]) = self.weight.range() else { return 1.0 };
        let (low, high) = (z0.min(z1), z0.max(z1));
        if high <= from || low >= to {
            return 1.0;
        }
        if let Path::Straight { from, to, length } = path
            && length <= 1.0
            && low.to_bits() == high.to_bits()
            && self.no_break(from, to)
        {
            let heights = [self.height(from), self.middle(from, to), self.height(to)];
            return flow_between(heights, self.weight.slope(z0));
        }
        let start = self.height(path.at(0.0));
        let mut cuts = core::mem::take(&mut self.cuts);
        cuts.clear();
        path.crossings(self.sheet.breaks(), &mut cuts);
        if low < from || high > to {
            cuts.extend([from, to].iter().map(|k| (k - z0) / (z1 - z0)).filter(|t| *t > 0.0 && *t < 1.0));
        }
        let stretches = path.length().max(path.half_turns() * 8.0);
        if stretches > 1.0 {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=10^5")]
            let count = crate::number::within(stretches.ceil(), 1.0, 1e5) as u32;
            cuts.extend((1..count).map(|i| f64::from(i) / f64::from(count)));
        }
        crate::order::sort_numbers(&mut cuts);
        cuts.push(1.0);
        let mut sum = 0.0;
        let (mut a, mut left) = (0.0, start);
        for b in &cuts {
            let t = f64::midpoint(a, *b);
            let middle = self.height(path.at(t));
            let right = self.height(path.at(*b));
            // w' is the same all over the stretch.
            sum += self.weight.slope(z0 + (z1 - z0) * t) * (b - a) * (left + 4.0 * middle + right) / 6.0;
            (a, left) = (*b, right);
        }
        self.cuts = cuts;
        1.0 + sum
    }
}

/// [`flow`](Bed::flow) for nearly every move: at most 1 mm, straight, at one height in the taper, and across no break. The heights are those
/// at its start, its middle and its end.
#[inline]
pub(super) fn flow_between([left, middle, right]: [f64; 3], slope: f64) -> f64 {
    1.0 + slope * (left + 4.0 * middle + right) / 6.0
}

/// The middle between two places.
#[inline]
pub(super) fn halfway(from: [f64; 2], to: [f64; 2]) -> [f64; 2] {
    [from[0] + (to[0] - from[0]) * 0.5, from[1] + (to[1] - from[1]) * 0.5]
}

/// Whether a place lies in a part of the bed, its edges included.
#[inline]
fn holds([x0, x1, y0, y1]: &[f64; 4], [x, y]: [f64; 2]) -> bool {
    x >= *x0 && x <= *x1 && y >= *y0 && y <= *y1
}

/// What is left of the tolerance for the vertices of a move after what the table of the map and the rounding of a
/// vertex in XY may add.
#[inline]
fn tube_width(sheet: &Sheet, tolerance: f64) -> f64 {
    (tolerance - 3e-6 - sheet.error() - sheet.slope_bound() * 0.001).max(tolerance * 0.5)
}

/// The longest straight way that one piece follows within `tau` anywhere on the map, mm.
#[inline]
fn plain_length(sheet: &Sheet, tau: f64) -> f64 {
    let mut length = LONG;
    while sheet.bend(length) * length * length / 8.0 > tau {
        length *= 0.9;
    }
    length
}
