//! The gap between nozzle and bed along the filament that a toolpath lays, layer by layer.
//!
//! At (x, y) the nozzle's commanded Z less the bed's height h(x, y) is the gap. The slicer meant the gap to be the Z that
//! it wrote, on a bed that is flat at 0. The *deviation* is the one less the other, mm: positive is too far from the bed,
//! negative too near.
//!
//! In a toolpath that was rewritten the slicer's Z is no longer written down. It is found again by undoing the definition
//! Z = z + w(z) h(x, y) + shift, with the taper and the shift that the [marker](Marker) tells or [`GapOptions::followed`]; and is then
//! set to the nearest of [`GapOptions::layers`], where these are given: the layers of the original, or those that a first look told
//! ([`GapReport::sliced`]). So a fault in the rewriting is not undone with it.
//!
//! A *layer* is what is laid within 0.04 mm above one Z, whenever it is laid; the first layer is the lowest. (Thinner layers
//! than 0.05 mm are not usual: common practice, no source.) Only moves that push filament while they travel in XY count,
//! and only where X, Y and Z are known.

use super::marker::Marker;
use super::pace::{Clock, Lengths, Pace};
use super::sliced::Sliced;
use super::way::Way;
use crate::card::{Bed, MAX_READING};
use crate::footprint::{Footprint, holds, pieces, seat};
use crate::number::Shown;
use crate::surface::sheet::Sheet;
use crate::toolpath::lines::{Lines, Piece};
use crate::toolpath::words::{Kind, Line};
use crate::toolpath::{Move, Reader, Reading, Step, long_line, long_move};
use crate::whereabouts::{self, THIRDS};
use crate::{Error, ErrorKind, HeightMap};

/// Within which gaps the first layer sticks, as shares of the gap that the slicer meant.
///
/// Default 0.7 to 1.3: common practice, no source. A tighter window is safer.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Window {
    /// Below this share of the gap meant the nozzle scrapes or plugs.
    pub near: f64,
    /// Above this share the filament does not stick.
    pub far: f64,
}

impl Default for Window {
    fn default() -> Self {
        Window { near: 0.7, far: 1.3 }
    }
}

/// How a file was rewritten: what must be undone to find the slicer's Z.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Followed {
    /// The taper, `[from, to]` mm; `None` where the whole path follows the bed.
    pub taper: Option<[f64; 2]>,
    /// The shift, mm.
    pub shift: f64,
}

/// Which layer's path is kept for drawing.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Keep {
    /// None.
    #[default]
    Nothing,
    /// The lowest.
    Lowest,
    /// The one at this Z, mm.
    At(f64),
}

/// How to look. With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct GapOptions {
    /// How the toolpath is read: see [`Reading`].
    pub reading: Reading,
    /// Where the first layer sticks; 0 <= near < far.
    pub window: Window,
    /// How the file was rewritten; `None` for what its own marker tells, and as sliced before it or without one.
    pub followed: Option<Followed>,
    /// The Z of the original's layers, mm, ascending: see the [module](self).
    pub layers: Vec<f64>,
    /// The layer whose path is kept for drawing.
    pub keep: Keep,
    /// At most so many points of it are kept. Default 0, for 2 million.
    pub most_kept: usize,
}

impl GapOptions {
    /// Numbers with which any gap would be right, or none.
    fn check(&self) -> Result<(), Error> {
        let fault = |message: String| Err(Error::new(ErrorKind::Options, message));
        let Window { near, far } = self.window;
        if !(near >= 0.0 && near < far && far.is_finite()) {
            return fault(format!("{} to {} is no window of gaps", Shown(near), Shown(far)));
        }
        if let Some(Followed { taper, shift }) = self.followed {
            if shift.is_nan() || shift.abs() > MAX_READING {
                return fault(format!("a shift of {} mm is more than {} mm", Shown(shift), Shown(MAX_READING)));
            }
            if let Some([from, to]) = taper
                && !(from.is_finite() && to.is_finite() && from < to)
            {
                return fault(format!("{} to {} mm is no taper", Shown(from), Shown(to)));
            }
        }
        let kept = if let Keep::At(z) = self.keep { Some(z) } else { None };
        match self.layers.iter().chain(&kept).find(|z| !z.is_finite()) {
            Some(z) => fault(format!("{} mm is no layer's Z", Shown(*z))),
            None if !self.layers.is_sorted() => fault("the layers do not ascend".to_owned()),
            None => Ok(()),
        }
    }
}

/// Lengths of path, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Shares {
    /// All of it.
    pub all: f64,
    /// The gap is within the window.
    pub right: f64,
    /// Nearer to the bed than the window allows.
    pub near: f64,
    /// Further from the bed than the window allows.
    pub far: f64,
    /// Outside the rectangle that the readings bound, where the map holds the height of its edge.
    pub unmeasured: f64,
}

/// One layer.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Layer {
    /// Its Z as sliced, mm.
    pub z: f64,
    /// The first line that lays filament in it, from 1.
    pub line: u64,
    /// Its path by length, mm. The window is that of a first layer: above it only `all` and `unmeasured` tell something.
    pub path: Shares,
    /// The least deviation, mm.
    pub nearest: Deviation,
    /// The largest deviation, mm.
    pub farthest: Deviation,
}

/// What of a layer lies in one of the nine places of the bed, in the order of [`THIRDS`].
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[non_exhaustive]
pub struct Third {
    /// Its path by length, mm.
    pub path: Shares,
    /// The least deviation, mm; `None` where nothing lies.
    pub nearest: Option<Deviation>,
    /// The largest deviation, mm; `None` where nothing lies.
    pub farthest: Option<Deviation>,
}

/// A deviation and where it is.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Deviation {
    /// The gap less the gap meant, mm.
    pub deviation: f64,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// The line, from 1.
    pub line: u64,
}

impl Shares {
    #[inline]
    pub(super) fn add(&mut self, more: &Shares) {
        self.all += more.all;
        self.right += more.right;
        self.near += more.near;
        self.far += more.far;
        self.unmeasured += more.unmeasured;
    }
}

impl Deviation {
    /// Takes its place among the worst.
    #[inline]
    fn note(&self, nearest: &mut Deviation, farthest: &mut Deviation) {
        if self.deviation < nearest.deviation {
            *nearest = *self;
        }
        if self.deviation > farthest.deviation {
            *farthest = *self;
        }
    }
}

/// The path of one layer for drawing.
#[derive(Debug, Clone, PartialEq, Default)]
#[non_exhaustive]
pub struct KeptPath {
    /// x, y and deviation, mm, of each point, one after another.
    pub points: Vec<[f64; 3]>,
    /// Where in `points` each stroke begins.
    pub strokes: Vec<usize>,
    /// Whether there was more than could be kept.
    pub cut: bool,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Default)]
#[non_exhaustive]
pub struct GapReport {
    /// The layers, lowest first.
    pub layers: Vec<Layer>,
    /// Each layer by places of the bed, in the order of [`GapReport::layers`].
    pub thirds: Vec<[Third; THIRDS.len()]>,
    /// What the toolpath asks of the machine.
    pub pace: Pace,
    /// The toolpath's marker, where it was rewritten.
    pub marker: Option<Marker>,
    /// Where it was, and [`GapOptions::layers`] were not given: the Z of the layers that it was sliced with, mm, ascending, as undoing the
    /// rewriting tells them. Meant as those of a second look.
    pub sliced: Vec<f64>,
    /// Moves that lay filament where X, Y or Z is not known: they are in no layer.
    pub unplaced: u64,
    /// Where the first layer lies.
    pub footprint: Footprint,
    /// The kept path.
    pub kept: KeptPath,
    /// Lines read.
    pub lines: u64,
    /// Moves read.
    pub moves: u64,
}

impl GapReport {
    /// The lowest layer, if any filament is laid where the position is known.
    #[must_use]
    pub fn first_layer(&self) -> Option<&Layer> {
        self.layers.first()
    }
}

/// Most layers that a toolpath may have: a printer of 1 m that rises all the while takes 25,000.
pub const MAX_LAYERS: usize = 30_000;
/// Longest stretch that is judged by its middle, mm.
const STRETCH: f64 = 1.0;
/// Points of the kept path lie no further apart than this, mm.
const STRIDE: f64 = 2.0;

/// Takes the bytes of a toolpath in chunks of any size; [`Gaps::finish`] tells what was found. Memory grows with the number
/// of layers (and the path kept), not with the toolpath.
///
/// ```
/// use evengap::check::{GapOptions, Gaps};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
/// #   points = [[0, 0, 0], [200, 0, 0.2], [0, 200, 0]]\n").unwrap();
/// // This bed rises by 0.2 mm from left to right.
/// let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let mut gaps = Gaps::new(&map, GapOptions::default());
/// gaps.push(b"G1 X0 Y100 Z0.2\nG1 X200 E10\n")?;
/// let report = gaps.finish()?;
/// let first = report.first_layer().unwrap();
/// // Right where the bed is less than 30 % of 0.2 mm high: over the first 60 of 200 mm.
/// assert_eq!((first.path.right, first.path.near), (60.0, 140.0));
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Gaps {
    lines: Lines,
    line: Line,
    look: Look,
}

/// Everything but the cutting into lines.
#[derive(Debug, Clone)]
struct Look {
    reader: Reader,
    sheet: Sheet,
    bed: Bed,
    options: GapOptions,
    /// The options make no sense.
    fault: Option<Error>,
    clock: Clock,
    sliced: Sliced,
    report: GapReport,
    /// Where the last kept stroke ended, and the layer that it was in.
    pen: Option<[f64; 2]>,
    /// Z and number of each layer, lowest first; the report holds them as they came until the end.
    stack: Vec<(f64, usize)>,
    /// The number of the last move's layer.
    last: usize,
}

impl Gaps {
    /// Prepares to look at a toolpath over this bed.
    #[must_use]
    pub fn new(map: &HeightMap, options: GapOptions) -> Self {
        let look = Look {
            reader: Reader::new(options.reading),
            sheet: Sheet::of(map),
            bed: map.card().bed.clone(),
            fault: options.check().err(),
            options,
            clock: Clock::default(),
            sliced: Sliced::default(),
            report: GapReport { footprint: Footprint::of(map), ..GapReport::default() },
            pen: None,
            stack: Vec::new(),
            last: 0,
        };
        Gaps { lines: Lines::default(), line: Line::default(), look }
    }

    /// Takes the next bytes.
    ///
    /// # Errors
    /// [`ErrorKind::Toolpath`] and [`ErrorKind::Refused`], with line and column, as the reader has them; [`ErrorKind::Limit`] beyond
    /// [`MAX_LAYERS`]. [`ErrorKind::Options`] if the options make no sense.
    #[inline]
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.look.sound()?;
        let Gaps { lines, line, look } = self;
        lines.push(bytes, |piece| look.take(piece, line))
    }

    /// The toolpath has ended.
    ///
    /// # Errors
    /// As [`Gaps::push`], for a last line without its ending.
    #[inline]
    pub fn finish(self) -> Result<GapReport, Error> {
        self.look.sound()?;
        let Gaps { mut lines, mut line, mut look } = self;
        lines.finish(|piece| look.take(piece, &mut line))?;
        Ok(look.report())
    }

    /// Lines read so far.
    #[must_use]
    #[inline]
    pub fn lines_read(&self) -> u64 {
        self.look.report.lines
    }
}

impl Look {
    #[inline]
    fn sound(&self) -> Result<(), Error> {
        self.fault.clone().map_or(Ok(()), Err)
    }

    #[inline]
    fn take(&mut self, piece: Piece<'_>, line: &mut Line) -> Result<(), Error> {
        match piece {
            Piece::Line(bytes, _) => {
                self.report.lines += 1;
                line.read(bytes);
                if line.kind == Kind::Blank {
                    self.blank(bytes);
                    return Ok(());
                }
                let e_word = line.has(b'E');
                let step = self.reader.read(line, bytes, self.report.lines)?;
                self.feed(line);
                match step {
                    Step::Move => self.follow(*self.reader.last_move(), e_word)?,
                    Step::Still if line.has(b'F') => {}
                    // Most of what is no move stops the machine or may: a wait, homing, a temperature.
                    _ => self.clock.stop(),
                }
                Ok(())
            }
            Piece::LongStart(bytes) => {
                self.report.lines += 1;
                line.read(bytes);
                long_line(line, bytes, self.report.lines)
            }
            Piece::LongMore(_) | Piece::LongEnd(_) => Ok(()),
        }
    }

    /// A line that moves nothing; the marker is one.
    #[inline]
    fn blank(&mut self, bytes: &[u8]) {
        if self.report.marker.is_none()
            && let Some(marker) = Marker::read(bytes)
        {
            self.options.followed.get_or_insert(marker.followed);
            self.report.marker = Some(marker);
        }
    }

    /// F comes into force, unless it belongs to an M word.
    #[inline]
    fn feed(&mut self, line: &Line) {
        let first = line.words().iter().find(|w| w.letter != b'N');
        if line.kind == Kind::Words
            && first.is_some_and(|w| w.letter != b'M')
            && let Some(feed) = line.get(b'F').and_then(|w| w.number)
        {
            self.clock.feed(feed.value * self.reader.state().unit);
        }
    }

    /// A move, whose line has an E word or not.
    #[inline]
    fn follow(&mut self, m: Move, e_word: bool) -> Result<(), Error> {
        self.report.moves += 1;
        let line = self.report.lines;
        let lays = e_word && m.e_delta() > 0.0 && m.travels();
        if m.known() {
            let laid = Laid::of(&m);
            let rise = laid.z[1] - laid.z[0];
            let sliced_rise = if self.options.followed.is_some() && m.travels() {
                let undone = |t: f64| {
                    let ([x, y], z) = laid.at(t);
                    self.undone(z, self.sheet.height(x, y))
                };
                undone(1.0) - undone(0.0)
            } else {
                rise
            };
            self.clock.take(&m, &Lengths { flat: laid.way.length, rise, sliced_rise }, line);
            if lays {
                return self.lay(&laid);
            }
        } else if m.before[2] == m.after[2] && !m.travels() {
            // Filament alone.
            self.clock.take(&m, &Lengths { flat: 0.0, rise: 0.0, sliced_rise: 0.0 }, line);
        } else {
            self.report.unplaced += u64::from(lays);
            self.clock.miss();
        }
        if m.travels() {
            self.pen = None;
        }
        Ok(())
    }

    /// The slicer's Z behind a commanded one over a bed of height `h`: undone, and set to a layer.
    #[inline]
    fn sliced(&self, z: f64, h: f64) -> f64 {
        if self.options.followed.is_none() {
            return z;
        }
        let z = self.undone(z, h);
        let layers = &self.options.layers;
        let after = layers.partition_point(|l| *l < z);
        let near = [after.wrapping_sub(1), after].into_iter().filter_map(|i| layers.get(i).copied());
        near.min_by(|a, b| (a - z).abs().total_cmp(&(b - z).abs())).unwrap_or(z)
    }

    /// The definition undone.
    #[inline]
    fn undone(&self, z: f64, h: f64) -> f64 {
        let Some(Followed { taper, shift }) = self.options.followed else { return z };
        let whole = z - h - shift;
        match taper {
            Some([from, to]) if whole > from => {
                // z' = z + h (to - z) / (to - from) + shift, solved for z; a taper's slope is less than 1.
                let share = h / (to - from);
                if share >= 1.0 {
                    // No rewriter folds Z: whoever wrote the marker did not.
                    return whole;
                }
                let inner = (z - shift - share * to) / (1.0 - share);
                if inner < to { inner } else { z - shift }
            }
            _ => whole,
        }
    }

    /// Filament is laid.
    #[inline]
    fn lay(&mut self, laid: &Laid) -> Result<(), Error> {
        let line = self.report.lines;
        long_move(laid.way.length, line)?;
        let pieces = pieces(laid.way.length, STRETCH);
        let piece = laid.way.length / f64::from(pieces);
        let [x0, y0, x1, y1] = self.sheet.rect();
        let tell = self.options.followed.is_some() && self.options.layers.is_empty();
        let mut keep = false;
        for i in 0..pieces {
            let t = (f64::from(i) + 0.5) / f64::from(pieces);
            let ([x, y], z) = laid.at(t);
            let h = self.sheet.height(x, y);
            let meant = self.sliced(z, h);
            if tell {
                self.sliced.note(meant, piece);
            }
            let deviation = z - h - meant;
            let index = self.layer(meant, line)?;
            self.report.footprint.put(meant, [x, y], piece);
            let window = self.options.window;
            let mut part = Shares { all: piece, ..Shares::default() };
            let gap = meant + deviation;
            let share = if gap < window.near * meant {
                &mut part.near
            } else if gap > window.far * meant {
                &mut part.far
            } else {
                &mut part.right
            };
            *share = piece;
            if x < x0 || x > x1 || y < y0 || y > y1 {
                part.unmeasured = piece;
            }
            let here = Deviation { deviation, x, y, line };
            let layer = &mut self.report.layers[index];
            layer.path.add(&part);
            here.note(&mut layer.nearest, &mut layer.farthest);
            let third = &mut self.report.thirds[index][whereabouts::third(&self.bed, x, y)];
            third.path.add(&part);
            here.note(third.nearest.get_or_insert(here), third.farthest.get_or_insert(here));
            keep |= match self.options.keep {
                Keep::Nothing => false,
                Keep::Lowest => self.stack.first().is_some_and(|(z, _)| holds(*z, meant)),
                Keep::At(base) => holds(base, meant),
            };
        }
        if keep {
            self.draw(laid)
        } else {
            self.pen = None
        }
        Ok(())
    }

    /// The layer of a Z, made when it is new: its number as they came.
    #[inline]
    fn layer(&mut self, z: f64, line: u64) -> Result<usize, Error> {
        if self.report.layers.get(self.last).is_some_and(|l| holds(l.z, z)) {
            return Ok(self.last);
        }
        let after = match seat(&self.stack, |(base, _)| *base, z) {
            Ok(found) => {
                self.last = self.stack[found].1;
                return Ok(self.last);
            }
            Err(after) => after,
        };
        let number = self.report.layers.len();
        if number >= MAX_LAYERS {
            return Err(Error::new(
                ErrorKind::Limit,
                format!("this would be layer {} of the toolpath", MAX_LAYERS + 1),
            )
            .at(line, 1)
            .with_help("no printer makes so many: the file is damaged here, or in other units than it says"));
        }
        // Whoever asks for a layer lays something in it.
        let none = |deviation| Deviation { deviation, x: f64::NAN, y: f64::NAN, line };
        let [nearest, farthest] = [none(f64::INFINITY), none(f64::NEG_INFINITY)];
        if after == 0 && self.options.keep == Keep::Lowest {
            // What was thought the lowest is not: its path goes.
            self.report.kept = KeptPath::default();
            self.pen = None;
        }
        self.report.layers.push(Layer { z, line, path: Shares::default(), nearest, farthest });
        self.report.thirds.push([Third::default(); THIRDS.len()]);
        self.stack.insert(after, (z, number));
        self.last = number;
        Ok(number)
    }

    /// What was found, the layers lowest first.
    fn report(mut self) -> GapReport {
        let mut report = self.report;
        report.layers = self.stack.iter().map(|(_, n)| report.layers[*n]).collect();
        report.thirds = self.stack.iter().map(|(_, n)| report.thirds[*n]).collect();
        report.pace = self.clock.pace();
        report.sliced = self.sliced.layers();
        report
    }

    #[inline]
    fn draw(&mut self, laid: &Laid) {
        let most = if self.options.most_kept == 0 { 2_000_000 } else { self.options.most_kept };
        let from = laid.way.from;
        let joins = self.pen.is_some_and(|[x, y]| (x - from[0]).abs() < 1e-6 && (y - from[1]).abs() < 1e-6);
        let pieces = pieces(laid.way.length, STRIDE);
        let kept = &self.report.kept;
        if kept.points.len() + pieces as usize + 1 > most {
            self.report.kept.cut = true;
            self.pen = None;
            return;
        }
        if !joins {
            let start = self.report.kept.points.len();
            self.report.kept.strokes.push(start);
        }
        for i in u32::from(joins)..=pieces {
            let ([x, y], z) = laid.at(f64::from(i) / f64::from(pieces));
            let h = self.sheet.height(x, y);
            self.report.kept.points.push([x, y, z - h - self.sliced(z, h)]);
        }
        self.pen = Some(laid.way.to);
    }
}

/// What a move lays: its way, and its Z at the two ends, mm.
struct Laid {
    way: Way,
    z: [f64; 2],
}

impl Laid {
    #[inline]
    fn of(m: &Move) -> Laid {
        Laid { way: Way::of(m), z: [m.before[2].place(), m.after[2].place()] }
    }

    #[inline]
    fn at(&self, t: f64) -> ([f64; 2], f64) {
        (self.way.at(t), self.z[0] + (self.z[1] - self.z[0]) * t)
    }
}
