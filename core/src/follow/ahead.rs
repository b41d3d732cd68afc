//! Looking ahead: what can be told of a piece of the toolpath before all that comes before it has been followed, so that another
//! thread may do it.
//!
//! That is how lines read, which of them pass where nothing is followed, and, if it is guessed right where plain ones begin, where these lead and the heights
//! that following them asks for. What was told is taken only where the place is the one that following came to, to the last bit: a wrong guess costs
//! time and changes nothing.
//!
//! How lines read and where they lead is told of one piece after another ([`LookAhead::place`]), for each begins where the one before it ended; the
//! heights of any piece at any time then ([`Teller`]).

use super::bed::Bed;
use super::legs::{Course, Legs, Read, Room};
use super::looked::{Gone, Looked, Told};
use super::options::Options;
use crate::toolpath::plain::{Passing, PlainLines, begins};
use crate::toolpath::tidy::Tidy;
use crate::toolpath::words::Line;
use crate::toolpath::{EMode, code};

/// Looks ahead in a toolpath: the pieces are handed to it in their order, each before it is pushed. [`Rewriter::look_ahead`](super::Rewriter::look_ahead) makes it.
///
/// [`Together`](super::Together) does so on any number of threads; this is for who has a way of its own. The bytes that come out do not depend on what
/// was looked at, or how far.
///
/// ```
/// use evengap::follow::{Looked, Options, Rewriter};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = r#"
/// # [bed]
/// # x = [0, 200]
/// # y = [0, 200]
/// # [readings]
/// # method = "patch"
/// # parked = 0.3
/// # points = [[20, 20, 0.3], [180, 20, 0.3], [20, 180, 0.2], [180, 180, 0.2]]
/// # "#;
/// # let map = HeightMap::fit(&Card::parse(card)?, SurfaceKind::ThinPlate)?;
/// # let toolpath = "G1 X100 Y100 Z0.2\nG1 X101 Y100 E0.1\n".repeat(500);
/// let mut rewriter = Rewriter::new(&map, Options::default())?;
/// let mut ahead = rewriter.look_ahead();
/// let mut out = Vec::new();
/// let mut piece = Looked::default();
/// for bytes in toolpath.as_bytes().chunks(4096) {
///     piece.refill().extend_from_slice(bytes);
///     assert_eq!(piece.bytes(), bytes);
///     // As far as it can; on another thread this would be asked whether somebody waits.
///     ahead.look(&mut piece, || true);
///     rewriter.push_looked(&mut piece, &mut out)?;
/// }
/// let summary = rewriter.finish(&mut out)?;
/// # assert_eq!(summary.lines_in, 1000);
/// # let mut plain = Vec::new();
/// # let mut rewriter = Rewriter::new(&map, Options::default())?;
/// # rewriter.push(toolpath.as_bytes(), &mut plain)?;
/// # rewriter.finish(&mut plain)?;
/// # assert!(out == plain);
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone)]
pub struct LookAhead {
    teller: Teller,
    options: Options,
    read: Read,
    tidy: Tidy,
    /// X, Y and Z as far as they are guessed, mm.
    at: [Option<f64>; 3],
    /// X, Y and Z are coordinates, and E words are amounts, as far as it is guessed.
    absolute: bool,
    amounts: bool,
    /// How E words are meant was said.
    said: bool,
    /// The line that the last piece was cut in, as far as it went.
    cut: Vec<u8>,
}

/// After so many lines, or runs of lines that pass, it is asked whether to go on.
const PATIENCE: usize = 64;
/// Of a longer line that a piece was cut in nothing is kept.
const MOST_CUT: usize = 1 << 12;
/// At most so many lines of a piece that are not plain are read ahead, each takes 1 KB, and so many runs of plain ones, and hardly more: the rest is not looked at.
const MOST: usize = 1024;
/// At most so many looks along ways are kept of a piece, or those of one move more.
const MOST_SAMPLES: usize = 1 << 15;
/// A line of more words, of which no file is full, is not kept: its memory would be.
const MOST_WORDS: usize = 16;

/// How lines pass, as far as it is guessed: of others than these nothing is told before it is known where they begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Glance {
    /// E words are places.
    Places,
    /// E words are amounts.
    Amounts,
}

/// Tells what needs no turn: which lines pass, where it is guessed that lines do; and heights, where it is told already how lines lead.
#[derive(Debug, Clone)]
pub(super) struct Teller {
    bed: Bed,
    room: Room,
    reader: PlainLines,
}

impl Teller {
    /// Glances at a piece of which it is not known yet where it begins.
    pub(super) fn glance(&mut self, piece: &mut Looked, glance: Glance) {
        let bytes = &piece.bytes[..];
        let end = |rest: &[u8]| memchr::memchr2(b'\n', b'\r', rest).map_or(rest.len(), |end| end + 1);
        // What begins before it is told of there.
        let mut done = end(bytes);
        while done < bytes.len() && piece.glanced.len() < MOST {
            let amounts = Some(&mut piece.amounts).filter(|_| glance == Glance::Amounts);
            match Gone::at(&bytes[done..], &mut self.reader, amounts) {
                Some(gone) => {
                    done += gone.lines.bytes();
                    piece.glanced.push(gone);
                }
                None => done += end(&bytes[done..]),
            }
        }
        piece.glanced.reverse();
    }

    /// Looks up the heights of a piece, and looks along the ways of other moves: all of them, or as far as `goes_on` says.
    pub(super) fn tell(&mut self, piece: &mut Looked, mut goes_on: impl FnMut() -> bool) {
        for legs in &mut piece.legs[..piece.runs] {
            if !goes_on() {
                break;
            }
            legs.look_up(&mut self.bed, &mut self.room);
        }
        let mut room = MOST_SAMPLES;
        for told in &mut piece.others[..piece.many] {
            if !goes_on() {
                break;
            }
            if let Some(way) = told.way(&self.bed).filter(|_| room > 0) {
                told.survey.tell(way, told.line.has(b'E'), &mut self.bed);
                room = room.saturating_sub(told.survey.size());
            }
        }
    }
}

impl LookAhead {
    pub(super) fn new(bed: Bed, options: Options) -> Self {
        LookAhead {
            teller: Teller { bed, room: Room::default(), reader: PlainLines::default() },
            options,
            read: Read::default(),
            tidy: Tidy::default(),
            at: [None; 3],
            absolute: true,
            amounts: options.e_start == EMode::Relative,
            said: false,
            cut: Vec::new(),
        }
    }

    /// Who looks up the heights on one thread of several.
    pub(super) fn teller(&self) -> Teller {
        self.teller.clone()
    }

    /// Looks at a piece: the whole of it, or as far as `goes_on` says, which is asked now and then (not where nothing is followed: there it is but a glance;
    /// and not where moves are relative: who has not read them all does not know where the next piece begins).
    pub fn look(&mut self, piece: &mut Looked, mut goes_on: impl FnMut() -> bool) {
        piece.forget();
        self.place(piece, &mut goes_on);
        self.teller.tell(piece, goes_on);
    }

    /// How lines pass where it has come to, if it guesses that they do.
    pub(super) fn glance(&self) -> Option<Glance> {
        let passes = self.absolute && self.course().is_some_and(|c| c.weight == 0.0);
        passes.then_some(if self.amounts { Glance::Amounts } else { Glance::Places })
    }

    /// Tells how the lines of a piece read, and where they lead.
    pub(super) fn place(&mut self, piece: &mut Looked, mut goes_on: impl FnMut() -> bool) {
        self.read.forget();
        piece.sheet = Some(self.teller.bed.sheet.clone());
        let mut done = self.end_line(&piece.bytes);
        let last = memchr::memrchr2(b'\n', b'\r', &piece.bytes).map_or(0, |n| n + 1);
        let (bytes, cut) = (&piece.bytes[..], &piece.bytes[last.max(done)..]);
        if cut.len() <= MOST_CUT {
            self.cut.extend_from_slice(cut);
        }
        let mut course = self.course();
        loop {
            let mut lines = 0;
            while lines < PATIENCE && piece.runs.max(piece.many).max(piece.passed.len()) < MOST {
                let rest = &bytes[done..];
                let left = rest.len();
                lines += 1;
                // Where nothing is followed, as far as it is guessed.
                if self.absolute && course.is_some_and(|c| c.weight == 0.0) {
                    let glanced = loop {
                        match piece.glanced.last() {
                            Some(gone) if gone.left > left => drop(piece.glanced.pop()),
                            Some(gone) if gone.left == left && gone.amounts.is_some() == self.amounts => {
                                break piece.glanced.pop();
                            }
                            _ => break None,
                        }
                    };
                    let amounts = Some(&mut piece.amounts).filter(|_| self.amounts);
                    if let Some(gone) = glanced.or_else(|| Gone::at(rest, &mut self.read.reader, amounts)) {
                        for (at, number) in self.at.iter_mut().zip(gone.numbers).take(2) {
                            *at = number.or(*at);
                        }
                        done += gone.lines.bytes();
                        piece.passed.push(gone);
                        continue;
                    }
                }
                if let (Some(course), [Some(x), Some(y), _], true) = (course, self.at, begins(rest)) {
                    if piece.runs == piece.legs.len() {
                        piece.legs.push(Legs::default());
                    }
                    let legs = &mut piece.legs[piece.runs];
                    legs.place(course, [x, y], &mut self.teller.bed, &mut self.read, rest);
                    if let Some(last) = legs.all().last() {
                        [self.at[0], self.at[1]] = last.at.map(Some);
                        piece.runs += 1;
                        lines += legs.all().len();
                        done += legs.bytes();
                        continue;
                    }
                }
                let Some(end) = memchr::memchr2(b'\n', b'\r', rest) else { return };
                if rest[..end].first().is_some_and(|b| b"Gg".contains(b)) {
                    if piece.many == piece.others.len() {
                        piece.others.push(Told::default());
                    }
                    let told = &mut piece.others[piece.many];
                    told.left = left;
                    told.survey.forget();
                    if !self.tidy.read(&mut told.line, rest) {
                        told.line.read(&rest[..end]);
                    }
                    told.at[0] = self.at;
                    self.follow(&told.line);
                    told.at[1] = self.at;
                    course = self.course();
                    if told.line.is_clean() && told.line.words().len() <= MOST_WORDS {
                        piece.many += 1;
                    } else {
                        *told = Told::default();
                    }
                } else if let Some(amounts) = says_amounts(rest) {
                    (self.amounts, self.said) = (amounts, true);
                }
                done += end + 1;
            }
            if lines < PATIENCE || self.absolute && !goes_on() {
                break;
            }
        }
        self.pass(&bytes[done..last.max(done)]);
        // What was glanced at there is told as it is.
        let left = bytes.len() - done;
        let rest = piece.glanced.drain(..).rev().filter(|gone| gone.left <= left);
        piece.passed.extend(rest);
    }

    /// The line that was cut ends here: goes where it leads, and tells how much of the bytes is its.
    fn end_line(&mut self, bytes: &[u8]) -> usize {
        if self.cut.is_empty() {
            return 0;
        }
        let mut cut = core::mem::take(&mut self.cut);
        // A line of more than a piece leads nowhere that is guessed.
        let Some(end) = memchr::memchr2(b'\n', b'\r', bytes) else { return 0 };
        cut.extend_from_slice(&bytes[..end]);
        if matches!(cut.first(), Some(b'G' | b'g')) {
            let mut line = Line::default();
            line.read(&cut);
            self.follow(&line);
        }
        cut.clear();
        self.cut = cut;
        end + 1
    }

    /// How plain moves go here, as far as it is guessed.
    fn course(&self) -> Option<Course> {
        Course::at(&self.teller.bed, self.at[2]?, [0.0; 2], self.absolute, self.options.flow)
    }

    /// Where an axis goes by a word, if it has one.
    #[inline]
    fn goes(&self, from: Option<f64>, word: Option<f64>) -> Option<f64> {
        match word {
            None => from,
            Some(number) if self.absolute => Some(number),
            Some(number) => from.map(|from| from + number),
        }
    }

    /// Goes where a line leads that is not plain.
    fn follow(&mut self, line: &Line) {
        let g = |number: u32| line.words().iter().any(|w| w.letter == b'G' && code(w) == Some(number));
        let absolute = (self.absolute || g(900)) && !g(910);
        if self.options.g90_sets_e && (g(900) || g(910)) {
            self.amounts = !absolute;
        }
        self.absolute = absolute;
        for (axis, letter) in b"XYZ".iter().enumerate() {
            self.at[axis] = self.goes(self.at[axis], line.number(*letter));
        }
    }

    /// Lines that are not looked at: the last words that may say a place are taken for it.
    fn pass(&mut self, bytes: &[u8]) {
        if !self.absolute {
            self.at = [None; 3];
        }
        for (place, letter) in self.at.iter_mut().zip(*b"XYZ").filter(|_| self.absolute) {
            let found = memchr::memrchr(letter, bytes).filter(|n| *n > 0 && bytes[n - 1] == b' ');
            if let Some(number) = found.and_then(|n| Passing::number(bytes, n + 1)) {
                *place = Some(number);
            }
        }
        // Nearly all files say it once.
        if !self.said
            && let Some(amounts) = memchr::memrchr_iter(b'M', bytes).find_map(|n| says_amounts(&bytes[n..]))
        {
            (self.amounts, self.said) = (amounts, true);
        }
    }
}

/// Whether E words are amounts after these bytes, if they say so at their start.
fn says_amounts(bytes: &[u8]) -> Option<bool> {
    match bytes.first_chunk() {
        Some(b"M83") => Some(true),
        Some(b"M82") => Some(false),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::follow::{Looked, Options, Rewriter};
    use crate::{Card, HeightMap, SurfaceKind};

    /// What is guessed is where the rewriter comes to, whatever a piece is cut in.
    #[test]
    fn guesses_right() {
        let card = "[bed]\nx = [0, 200]\ny = [0, 100]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
                    points = [[20, 20, 0], [180, 20, 0.1], [20, 80, 0.1], [180, 80, 0.05]]\n";
        let map = HeightMap::fit(&Card::parse(card).unwrap(), SurfaceKind::ThinPlate).unwrap();
        for relative in [false, true] {
            let mut text = String::from("M83\nG28\nG1 X0 Y0 Z0 F3000\n");
            for layer in 1..9 {
                text += &format!("G90\nG1 Z{layer}\nG1 X{layer}0.000 Y20.000\n");
                text += if relative { "G91\n" } else { "" };
                for n in 0..50 {
                    let x = if relative { 0.31 } else { 30.0 + 0.31 * f64::from(n) };
                    text += &format!("G1 X{x:.2} Y{:.2} E0.02\n", if n % 7 == 3 { 12.5 } else { 0.1 });
                    text += if n % 10 == 0 { "G1 F9000 X20.0 ; on\n; by hand\n" } else { "" };
                }
            }
            for size in [97, 1000, 4096] {
                let mut rewriter = Rewriter::new(&map, Options::default()).unwrap();
                let (mut ahead, mut piece) = (rewriter.look_ahead(), Looked::default());
                let mut out = Vec::new();
                for bytes in text.as_bytes().chunks(size) {
                    piece.refill().extend_from_slice(bytes);
                    ahead.look(&mut piece, || true);
                    rewriter.push_looked(&mut piece, &mut out).unwrap();
                    let [x, y, z] = rewriter.work.reader.state().axes.map(|a| a.known.then_some(a.register));
                    if x.is_some() {
                        assert_eq!(ahead.at, [x, y, z], "{relative} {size}");
                    }
                }
            }
        }
    }
}
