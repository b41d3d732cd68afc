//! The rewriter: toolpath bytes in, toolpath bytes that follow the bed out.

use super::ahead::LookAhead;
use super::bed::Bed;
use super::compose::{Edits, Source};
use super::cruise::Desk;
use super::floor::{Floor, Remedy};
use super::held::Held;
use super::ledger::{Axis, Filament, MOST_DECIMALS, PLACE_DECIMALS, Spelling};
use super::looked::{Looked, Plains, Told};
use super::options::{HEIGHT_LIMIT, Options};
use super::output::Output;
use super::split::Vertex;
use super::summary::{Summary, WarningKind};
use crate::number::Shown;
use crate::toolpath::lines::{Lines, Piece, Takes};
use crate::toolpath::words::{Kind, Line, Word};
use crate::toolpath::{Reader, Reading, Step, Why, long_line};
use crate::{Error, ErrorKind, Footprint, HeightMap};

/// Rewrites one toolpath, push-style: bytes go in by chunks of any size, rewritten bytes come out, then
/// [`finish`](Rewriter::finish). Memory does not grow with the toolpath, and the output does not depend on how the
/// input was cut.
///
/// A clone of one that has not been pushed to is as good as new, and shares the prepared map: for many toolpaths, make one.
///
/// After an error nothing more can be pushed, and what was written so far must be thrown away.
///
/// ```
/// use evengap::follow::{Options, Rewriter};
/// use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = r#"
/// # [bed]
/// # x = [0, 200]
/// # y = [0, 200]
/// # [readings]
/// # method = "gauge"
/// # parked = 0.3
/// # points = [[20, 20, 0.3], [180, 20, 0.3], [20, 180, 0.2], [180, 180, 0.2]]
/// # "#;
/// let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
/// let mut rewriter = Rewriter::new(&map, Options::default())?;
/// assert_eq!(rewriter.taper().map(|[from, _to]| from), Some(0.5));
/// let mut out = Vec::new();
/// for chunk in [&b"G1 X100 Y20 Z0.2\nG1 X1"[..], b"00 Y180 E5\n"] {
///     rewriter.push(chunk, &mut out)?;
///     if rewriter.is_refused() {
///         break; // below the floor: `finish` says by how much
///     }
/// }
/// assert_eq!(rewriter.lines_read(), 2);
/// let summary = rewriter.finish(&mut out)?;
/// let text = String::from_utf8_lossy(&out);
/// let lines: Vec<_> = text.lines().collect();
/// assert_eq!(lines[0], "G1 X100 Y20 Z0.2");
/// assert!(lines[1].starts_with("; evengap "));
/// assert_eq!(lines[2], "G1 X100 Y180 Z0.300 E5");
/// assert_eq!(summary.moves_out, 2);
/// // Where the first layer lies on the bed.
/// let part = &summary.footprint;
/// assert_eq!((part.z(), part.length(), part.unmeasured()), (Some(0.2), 160.0, 0.0));
/// assert!((part.places().iter().map(|[_, _, length]| length).sum::<f64>() - part.length()).abs() < 1e-9);
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct Rewriter {
    lines: Lines,
    line: Line,
    desk: Desk,
    pub(super) work: Work,
}

/// All that one line after another needs.
#[derive(Debug, Clone)]
pub(super) struct Work {
    pub(super) bed: Bed,
    pub(super) options: Options,
    pub(super) reader: Reader,
    pub(super) z: Axis,
    pub(super) e: Axis,
    pub(super) filament: Filament,
    pub(super) output: Output,
    pub(super) floor: Floor,
    pub(super) summary: Summary,
    /// The line in hand, from 1.
    pub(super) number: u64,
    /// Plain lines may be taken in the quick way: always, but in a test that compares the two.
    pub(super) quick: bool,
    #[cfg(test)]
    pub(super) cruised: u64,
    #[cfg(test)]
    pub(super) coasted: u64,
    pub(super) card: FromCard,
    pub(super) vertices: Vec<Vertex>,
    pub(super) edits: Edits,
    /// The end that is not settled yet; its line and what came after it wait.
    pub(super) held: Option<Held>,
    /// The offset that was meant where the last move ended; `None` where the place was lost since.
    pub(super) meant: Option<f64>,
    pub(super) waiting: Vec<u8>,
    /// The value of the Z word that the line which is held had in the original.
    pub(super) own_z: Vec<u8>,
}

/// What the card says beside its heights.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct FromCard {
    pub(super) bed_celsius: Option<f64>,
    pub(super) nozzle_celsius: Option<f64>,
    pub(super) compared: bool,
    remedy: Remedy,
}

impl Rewriter {
    /// Prepares to rewrite a toolpath for the bed of `map`.
    ///
    /// # Errors
    /// [`ErrorKind::Options`] if the options make no sense or the taper would fold Z; [`ErrorKind::Refused`] for
    /// heights over [`HEIGHT_LIMIT`] that were not allowed.
    pub fn new(map: &HeightMap, options: Options) -> Result<Self, Error> {
        options.check()?;
        let bed = Bed::new(map, &options)?;
        let largest = bed.sheet.largest();
        if largest > HEIGHT_LIMIT && !options.allow.large_heights {
            return Err(Error::new(
                ErrorKind::Refused,
                format!(
                    "the map reaches {:.2} mm: more than {} mm is a mistyped reading or a matter for the screws",
                    Shown(largest),
                    Shown(HEIGHT_LIMIT)
                ),
            )
            .with_help("check the card's readings and their sign, tram the bed, or allow `large-heights`"));
        }
        let reading = Reading {
            e_start: options.e_start,
            g90_sets_e: options.g90_sets_e,
            unknown_motion: options.allow.unknown_motion,
            own_levelling: options.allow.own_levelling,
        };
        let card = map.card();
        let taper = bed.weight.range();
        let mut summary = Summary { taper, footprint: Footprint::of(map), ..Summary::default() };
        if card.readings.predicted {
            let message = "the card's readings are predictions: read the bed before a file made with them is printed";
            summary.warn_of_all(WarningKind::PredictedCard, message);
        }
        let work = Work {
            output: Output::new(map, &options, taper),
            bed,
            options,
            reader: Reader::new(reading),
            z: Axis::default(),
            e: Axis::default(),
            filament: Filament::default(),
            floor: Floor::new(options.floor),
            summary,
            number: 0,
            quick: true,
            #[cfg(test)]
            cruised: 0,
            #[cfg(test)]
            coasted: 0,
            card: FromCard {
                bed_celsius: card.readings.bed_celsius,
                nozzle_celsius: card.readings.nozzle_celsius,
                compared: false,
                remedy: Remedy {
                    pitch: card.screws.as_ref().map(|s| s.pitch),
                    relative: card.readings.right_at.is_some(),
                    shift: options.shift,
                },
            },
            vertices: Vec::new(),
            edits: Vec::new(),
            held: None,
            meant: None,
            waiting: Vec::new(),
            own_z: Vec::new(),
        };
        let lines = Lines::with_limit(options.line_limit);
        Ok(Rewriter { lines, line: Line::default(), desk: Desk::default(), work })
    }

    /// Takes the next bytes of the toolpath and appends what is ready to `out`.
    ///
    /// # Errors
    /// [`ErrorKind::Toolpath`] and [`ErrorKind::Refused`] with line and column; [`ErrorKind::Limit`] for a motion line
    /// or a move beyond the limits.
    #[inline]
    pub fn push(&mut self, bytes: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        self.push_from(Plains::default(), bytes, out)
    }

    /// As [`push`](Rewriter::push), for a piece that was looked at: the same bytes come out.
    ///
    /// # Errors
    /// As [`push`](Rewriter::push).
    #[inline]
    pub fn push_looked(&mut self, piece: &mut Looked, out: &mut Vec<u8>) -> Result<(), Error> {
        let (bytes, plains) = piece.told(&self.work.bed.sheet);
        self.push_from(plains, bytes, out)
    }

    /// What looks ahead in this toolpath, on another thread perhaps. To be asked for before anything is pushed: it begins without a place.
    #[must_use]
    pub fn look_ahead(&self) -> LookAhead {
        LookAhead::new(self.work.bed.clone(), self.work.options)
    }

    #[inline]
    fn push_from(&mut self, plains: Plains<'_>, bytes: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        let Rewriter { lines, line, desk, work } = self;
        desk.read.forget();
        work.resume(out);
        let done = lines.push_to(bytes, &mut Feed { work, plains, next: Next::Unread, line, desk, out });
        work.pause(out);
        done
    }

    /// The toolpath has ended: appends what is left to `out` and tells what was done.
    ///
    /// # Errors
    /// As [`push`](Rewriter::push), for a last line without its ending; and [`ErrorKind::Floor`] if the path would
    /// have come to lie below the floor: it says how far to raise the bed so that the toolpath passes.
    #[inline]
    pub fn finish(self, out: &mut Vec<u8>) -> Result<Summary, Error> {
        let Rewriter { mut lines, mut line, mut work, .. } = self;
        work.resume(out);
        lines.finish(|piece| work.take(piece, Next::Unread, &mut line, out))?;
        work.settle();
        if let Some(refusal) = work.floor.refusal(work.card.remedy) {
            return Err(refusal);
        }
        let Work { mut summary, output, number, reader, e, filament, .. } = work;
        [summary.extrusion_in, summary.extrusion_out] = filament.sums([reader.state().e, e.gap]);
        summary.lines_in = number;
        summary.lines_out = number + output.lines_more;
        summary.lines_changed = output.lines_changed;
        summary.marker = output.marked.then_some(output.marker);
        Ok(summary)
    }

    /// The taper that is used, mm; `None` where the whole path follows the bed.
    #[must_use]
    #[inline]
    pub fn taper(&self) -> Option<[f64; 2]> {
        self.work.bed.weight.range()
    }

    /// The original's lines read so far.
    #[must_use]
    #[inline]
    pub fn lines_read(&self) -> u64 {
        self.work.number
    }

    /// Whether the toolpath is going to be refused at the end (the floor was passed): nothing more comes out, and what
    /// came out is of no use.
    #[must_use]
    #[inline]
    pub fn is_refused(&self) -> bool {
        self.work.output.muted
    }
}

/// One push: the work, and where its lines are read and written.
struct Feed<'a> {
    work: &'a mut Work,
    plains: Plains<'a>,
    /// The next line, if it was read already.
    next: Next<'a>,
    line: &'a mut Line,
    desk: &'a mut Desk,
    out: &'a mut Vec<u8>,
}

/// A line that is to be taken.
#[derive(Clone, Copy)]
enum Next<'a> {
    /// Nobody has read it.
    Unread,
    /// It was read ahead.
    Told(&'a Told),
    /// It was read where lines are read.
    Here,
}

impl Takes<Error> for Feed<'_> {
    #[inline]
    fn ahead(&mut self, rest: &[u8]) -> usize {
        let done = self.work.cruise(&mut self.plains, rest, self.line, self.desk, self.out);
        let rest = &rest[done..];
        self.next = match self.plains.other(rest.len()) {
            Some(told) => Next::Told(told),
            None if self.desk.tidy.read(self.line, rest) => Next::Here,
            None => Next::Unread,
        };
        done
    }

    #[inline]
    fn take(&mut self, piece: Piece<'_>) -> Result<(), Error> {
        let next = core::mem::replace(&mut self.next, Next::Unread);
        self.work.take(piece, next, self.line, self.out)
    }
}

impl Work {
    #[inline]
    fn take(&mut self, piece: Piece<'_>, next: Next<'_>, line: &mut Line, out: &mut Vec<u8>) -> Result<(), Error> {
        match piece {
            Piece::Line(bytes, ending) => {
                self.number += 1;
                self.output.learn_ending(ending);
                let (line, survey) = match next {
                    Next::Told(told) if !cfg!(target_family = "wasm") && !line.is_noise() => {
                        (&told.line, Some(&told.survey))
                    }
                    Next::Here => (&*line, None),
                    _ => {
                        line.read(bytes);
                        (&*line, None)
                    }
                };
                self.whole_line(Source { bytes, line, survey }, ending, out)?;
                match self.output.too_far {
                    Some(letter) => Err(too_far(letter).at(self.number, 1)),
                    None => Ok(()),
                }
            }
            Piece::LongStart(bytes) => {
                self.settle();
                self.number += 1;
                line.read(bytes);
                long_line(line, bytes, self.number)?;
                if line.kind == Kind::Text {
                    self.summary.pass_not_understood(self.number, bytes);
                }
                self.output.copy(bytes, out);
                Ok(())
            }
            Piece::LongMore(bytes) | Piece::LongEnd(bytes) => {
                self.output.copy(bytes, out);
                Ok(())
            }
        }
    }

    #[inline]
    fn whole_line(&mut self, source: Source<'_>, ending: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        let Source { bytes, line, .. } = source;
        if self.number <= 1 {
            self.first_line(bytes)?;
        } else {
            self.output.bom = false;
        }
        if line.kind == Kind::Blank {
            if !self.options.allow.already_rewritten
                && let Some(refusal) = self.output.already_rewritten(bytes)
            {
                return Err(refusal.at(self.number, 1));
            }
            self.output.copy(bytes, out);
            self.output.copy(ending, out);
            self.wait_no_longer(out);
            return Ok(());
        }
        if self.coast_arc(line) {
            self.output.copy(bytes, out);
            self.output.copy(ending, out);
            return Ok(());
        }
        let e_before = [self.reader.state().e, self.e.gap];
        match self.reader.read(line, bytes, self.number)? {
            Step::Move => {
                let m = *self.reader.last_move();
                return self.follow(&m, source, ending, out);
            }
            Step::SetPosition { z, e } => {
                if line.has(b'Z') {
                    self.settle();
                }
                if e {
                    self.e.agree();
                    self.filament.told_anew(e_before, [self.reader.state().e, self.e.gap]);
                }
                if line.has(b'Z') {
                    self.set_z(z.known, source, ending, out);
                    return Ok(());
                }
            }
            Step::ClearOffsets => {
                self.settle();
                self.z.clear_skew();
            }
            Step::Lost(mask, why) => {
                self.settle();
                self.bed.moved();
                self.meant = None;
                if mask & 0b100 != 0 {
                    self.z = Axis::default();
                }
                let told = why == Why::UnknownMotion && self.reader.told_e(line).is_some();
                if told && self.reader.state().e_absolute {
                    // It passed with its own E: what that is off by is made good on the next line.
                    self.e.gap = 0.0;
                }
                self.filament.told_anew(e_before, [self.reader.state().e, self.e.gap]);
                self.warn_of_what_passed(source, why);
            }
            Step::Shifted => self.summary.warn(WarningKind::Shifted, self.number, || {
                "the machine shifts its coordinates here; heights and floor are kept as if it did not".into()
            }),
            Step::OwnLevelling => self.warn_of_what_passed(source, Why::OwnLevelling),
            Step::NotUnderstood => self.summary.pass_not_understood(self.number, bytes),
            Step::CountLines => self.output.put_in = 0,
            Step::Still => {}
        }
        self.output.unchanged(source, ending, out);
        self.wait_no_longer(out);
        Ok(())
    }

    fn first_line(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.output.bom = bytes.starts_with(b"\xEF\xBB\xBF");
        if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
            return Err(Error::new(ErrorKind::Toolpath, "the file is UTF-16 text")
                .at(1, 1)
                .with_help("save it as UTF-8 or plain ASCII"));
        }
        Ok(())
    }

    /// After a line that passed because it was allowed to.
    fn warn_of_what_passed(&mut self, source: Source<'_>, why: Why) {
        let (kind, message) = match why {
            Why::Sent => return,
            Why::OwnLevelling => (
                WarningKind::OwnLevelling,
                "the file's own probing or compensation passed: if the machine heeds it, the bed is followed twice",
            ),
            Why::UnknownMotion => (
                WarningKind::UnknownMotion,
                "motion that is not understood passed; the axes it names count as unknown after it",
            ),
        };
        self.summary.warn(kind, self.number, || message.into());
        self.summary.pass_not_understood(self.number, source.bytes);
    }

    /// G92 with a Z word: the nozzle stays where it is, and so the register must keep its offset.
    #[inline]
    fn set_z(&mut self, known: bool, source: Source<'_>, ending: &[u8], out: &mut Vec<u8>) {
        let offset = if known { self.z.offset() } else { 0.0 };
        if offset.abs() <= self.place_spelling(true, None).half() {
            self.z = Axis { gap: 0.0, skew: -offset, ..self.z };
            self.output.unchanged(source, ending, out);
            return;
        }
        let state = self.reader.state();
        let number = self.z.rename(state.axes[2].register, offset, state.unit);
        self.output.said_anew(source, &[(b'Z', number)], ending, out);
    }

    #[inline]
    pub(super) fn place_spelling(&self, absolute: bool, word: Option<&Word>) -> Spelling {
        let unit = self.reader.state().unit;
        let least = PLACE_DECIMALS[usize::from(unit > 1.0)];
        let decimals = word.and_then(|w| w.number).map_or(0, |n| n.decimals).clamp(least, MOST_DECIMALS);
        Spelling { absolute, unit, decimals, least }
    }

    #[inline]
    pub(super) fn e_spelling(&self, word: Option<&Word>) -> Spelling {
        let state = self.reader.state();
        Spelling::of_e(state.e_absolute, state.unit, word.and_then(|w| w.number).map_or(0, |n| n.decimals))
    }
}

/// The refusal of a line of which a word would have to be written too far.
#[cold]
fn too_far(letter: u8) -> Error {
    let letter = char::from(letter);
    Error::new(ErrorKind::Limit, format!("following the bed, {letter} would go farther than any machine does"))
        .with_help("slice the file again, or mend this line by hand: a machine might go anywhere from it")
}
