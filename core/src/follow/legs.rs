//! Plain moves told beforehand: where each leads, how high the bed is there, and by how much it would scale E. All of that hangs on where the
//! first of them begins and on nothing else, so that it can be told of many in one go, and while another thread still follows what is before them.

use super::bed::{Bed, Way, flow_between, halfway};
use super::path::Path;
use crate::toolpath::plain::{Plain, PlainLines, Seats};

/// At most so many lines are read in one go, and told.
const MOST: usize = 32;

/// What plain moves one after another have in common.
#[derive(Debug, Clone, Copy)]
pub(super) struct Course {
    /// The original's Z, mm, and the weight there.
    pub(super) z: f64,
    pub(super) weight: f64,
    /// How the weight changes with Z, 1/mm, where E may be scaled.
    slope: Option<f64>,
    /// Between coordinates and registers of X and Y, mm.
    pub(super) shift: [f64; 2],
    /// X and Y are coordinates.
    pub(super) absolute: bool,
    /// The longest move that is sure to need one piece, mm.
    longest: f64,
}

impl Course {
    /// At this Z, mm. `None` where the next move must be looked at by itself.
    #[inline]
    pub(super) fn at(bed: &Bed, z: f64, shift: [f64; 2], absolute: bool, flow: bool) -> Option<Course> {
        let weight = bed.weight.at(z);
        let slope = (flow && bed.scales(z)).then(|| bed.weight.slope(z));
        Some(Course { z, weight, slope, shift, absolute, longest: bed.plain_length(weight)? })
    }

    /// Where X and Y are by their registers, mm.
    #[inline]
    pub(super) fn place(&self, at: [f64; 2]) -> [f64; 2] {
        [at[0] + self.shift[0], at[1] + self.shift[1]]
    }

    /// Whether it is the same, over the same bed and with the same options: a rewriter, its clones and who looks ahead for it have these in common.
    #[inline]
    fn is(&self, other: &Course) -> bool {
        let bits = |of: &Course| [of.z, of.shift[0], of.shift[1]].map(f64::to_bits);
        bits(self) == bits(other) && self.absolute == other.absolute
    }
}

/// A plain move that is sure to need one piece, crosses no break line and lays no filament outside the readings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leg {
    /// Registers of X and Y where it ends, mm.
    pub(super) at: [f64; 2],
    /// Its length, mm.
    pub(super) length: f64,
    /// The height where it ends, mm; 0 where nothing is followed.
    pub(super) height: f64,
    /// By what E would be multiplied.
    pub(super) factor: f64,
    /// The number of its E word.
    pub(super) e: f64,
    /// How its line is laid out.
    pub(super) seats: Seats,
}

/// Plain lines that are read one after another before any is looked at: by itself each of these steps takes less time, for the machine has many
/// lines in hand at once.
#[derive(Debug, Clone)]
pub(super) struct Read {
    pub(super) reader: PlainLines,
    lines: [Plain; MOST],
    /// Of these, those from `at` to `read` are still to be told: so many bytes are left from the first of them on.
    at: usize,
    read: usize,
    left: usize,
    /// At most so many are told in one go.
    most: usize,
}

/// Room for where legs end, and then for where their middles are, and for the heights there.
#[derive(Debug, Clone)]
pub(super) struct Room {
    places: [[f64; 2]; 2 * MOST],
    heights: [f64; 2 * MOST],
}

impl Default for Room {
    fn default() -> Self {
        Room { places: [[0.0; 2]; 2 * MOST], heights: [0.0; 2 * MOST] }
    }
}

impl Default for Read {
    fn default() -> Self {
        Read { reader: PlainLines::default(), lines: [Plain::default(); MOST], at: 0, read: 0, left: 0, most: MOST }
    }
}

impl Read {
    /// Other bytes come: what was read of these is forgotten.
    pub(super) fn forget(&mut self) {
        (self.at, self.read) = (0, 0);
    }

    /// Those at the start of `rest`.
    #[inline]
    fn next(&mut self, rest: &[u8]) -> &[Plain] {
        let left = rest.len();
        while let Some(line) = self.lines.get(self.at).filter(|_| self.at < self.read && self.left > left) {
            self.left -= line.seats.whole();
            self.at += 1;
        }
        if self.at == self.read || self.left != left {
            (self.at, self.left) = (0, left);
            let (mut read, mut bytes) = (0, 0);
            for line in &mut self.lines {
                if !self.reader.next(line, &rest[bytes..]) {
                    break;
                }
                bytes += line.seats.whole();
                read += 1;
            }
            self.read = read;
        }
        let told = &self.lines[self.at..self.read];
        &told[..told.len().min(self.most)]
    }

    /// Some were not taken: fewer are told the next time.
    #[inline]
    pub(super) fn tell_fewer(&mut self) {
        self.most = 1;
    }

    /// So many of them were legs. Whether the line behind those is none, or cannot be told here.
    #[inline]
    fn took(&mut self, legs: usize) -> bool {
        let told = (self.read - self.at).min(self.most);
        let end = legs < told || self.at + legs == self.read && self.read < MOST;
        if !end {
            self.most = (2 * self.most).min(MOST);
        }
        end
    }
}

/// Legs one after another, and where they begin.
#[derive(Debug, Clone, Default)]
pub(super) struct Legs {
    course: Option<Course>,
    /// Registers of X and Y at their start, mm.
    from: [f64; 2],
    /// Bytes left, counted from their first line on, and bytes of their lines.
    left: usize,
    bytes: usize,
    legs: Vec<Leg>,
    /// The line behind them is no leg.
    end: bool,
    /// The heights were looked up, where the bed is followed.
    known: bool,
}

impl Legs {
    /// Tells where the plain moves at the start of `rest` lead, as far as each is a [`Leg`]: the heights are to be looked up then.
    #[inline]
    pub(super) fn place(&mut self, course: Course, from: [f64; 2], bed: &mut Bed, lines: &mut Read, rest: &[u8]) {
        (self.course, self.from, self.left, self.bytes) = (Some(course), from, rest.len(), 0);
        self.legs.clear();
        let follows = course.weight > 0.0;
        let read = lines.next(rest);
        let mut at = from;
        self.legs.reserve(read.len());
        for plain in read {
            let go = |word: Option<f64>, at: f64| word.map_or(at, |n| if course.absolute { n } else { at + n });
            let next = [go(plain.x(), at[0]), go(plain.y(), at[1])];
            let (here, there) = (course.place(at), course.place(next));
            let [dx, dy] = [there[0] - here[0], there[1] - here[1]];
            let length = (dx * dx + dy * dy).sqrt();
            // Filament outside the readings is to be told of.
            let strays = || plain.seats.has_e() && !bed.is_within(there);
            if !(length > 0.0 && length <= course.longest) || follows && (strays() || !bed.no_break(here, there)) {
                break;
            }
            at = next;
            self.bytes += plain.seats.whole();
            let e = plain.e().unwrap_or(0.0);
            self.legs.push(Leg { at, length, height: 0.0, factor: 1.0, e, seats: plain.seats });
        }
        self.end = lines.took(self.legs.len());
        self.known = !follows;
    }

    /// Looks up the heights, and what follows from them, if nobody has yet.
    #[inline]
    pub(super) fn look_up(&mut self, bed: &mut Bed, room: &mut Room) {
        let Legs { course: Some(course), known: known @ false, from, legs, .. } = self else { return };
        *known = true;
        let from = course.place(*from);
        let many = legs.len().min(MOST);
        let (ends, middles) = room.places.split_at_mut(many);
        let mut here = from;
        for ((leg, end), middle) in legs.iter().zip(&mut *ends).zip(middles) {
            *end = course.place(leg.at);
            *middle = halfway(here, *end);
            here = *end;
        }
        let looked = if course.slope.is_some() { 2 * many } else { many };
        bed.sheet.heights(&room.places[..looked], &mut room.heights);
        let (ends, (heights, middles)) = (&room.places, room.heights.split_at(many));
        for (leg, height) in legs.iter_mut().zip(heights) {
            leg.height = *height;
        }
        let Some(slope) = course.slope else { return };
        let (mut here, mut height) = (from, bed.height(from));
        for ((leg, there), middle) in legs.iter_mut().zip(ends).zip(middles) {
            leg.factor = if leg.length <= 1.0 {
                flow_between([height, *middle, leg.height], slope)
            } else {
                bed.is_told(here, height);
                bed.flow(&Way { path: Path::Straight { from: here, to: *there, length: leg.length }, z: [course.z; 2] })
            };
            (here, height) = (*there, leg.height);
        }
    }

    /// Which of them is that of the line which begins so many bytes from the end, if it was told of this course and from this place.
    #[inline]
    pub(super) fn find(&self, left: usize, course: &Course, from: [f64; 2]) -> Option<usize> {
        let (mut here, mut at, mut n) = (self.left, self.from, 0);
        while here > left
            && let Some(leg) = self.all().get(n)
        {
            (here, at, n) = (here - leg.seats.whole(), leg.at, n + 1);
        }
        let same = here == left
            && n < self.legs.len()
            && self.course.is_some_and(|own| own.is(course))
            && at.map(f64::to_bits) == from.map(f64::to_bits);
        same.then_some(n)
    }

    /// Those from the nth on, and whether the line behind them is no leg.
    #[inline]
    pub(super) fn rest(&self, n: usize) -> (&[Leg], bool) {
        (self.all().get(n..).unwrap_or_default(), self.end)
    }

    /// All of them.
    #[inline]
    pub(super) fn all(&self) -> &[Leg] {
        &self.legs
    }

    /// Whether the line that begins so many bytes from the end lies behind them.
    #[inline]
    pub(super) fn lie_before(&self, left: usize) -> bool {
        self.left - self.bytes >= left
    }

    /// Bytes of their lines.
    pub(super) fn bytes(&self) -> usize {
        self.bytes
    }
}
