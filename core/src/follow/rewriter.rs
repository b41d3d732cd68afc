//! The rewriter: toolpath bytes in, toolpath bytes that follow the bed out.

use super::compose::{Edits, Source, Value, seal};
use super::ledger::{Decimal, Ledger, Spelling};
use super::options::{HEIGHT_LIMIT, Options};
use super::path::Path;
use super::split::{SAMPLES_LIMIT, Tube, Vertex};
use super::summary::{Offset, Summary, WarningKind};
use super::taper::Weight;
use crate::surface::sheet::Sheet;
use crate::toolpath::lines::{Lines, Piece};
use crate::toolpath::words::{Kind, Line, Word};
use crate::toolpath::{AXES, Move, Reader, Reading, Step};
use crate::{Error, ErrorKind, HeightMap};

/// Decimals of coordinates that are written anew, at the least: a micrometre, or in inches a quarter of one.
const PLACE_DECIMALS: [u8; 2] = [3, 5];
/// Decimals of E, at the least.
const E_DECIMALS: u8 = 5;
/// No word is written with more decimals than this.
const MOST_DECIMALS: u8 = 9;
/// The word that a marker comment begins with.
const MARKER: &[u8] = b"; evengap ";
/// Card and file may differ by this much before it is said, degrees Celsius.
const WARM: f64 = 10.0;

/// Rewrites one toolpath, push-style: bytes go in by chunks of any size, rewritten bytes come out, then
/// [`finish`](Rewriter::finish). Memory does not grow with the toolpath, and the output does not depend on how the
/// input was cut.
///
/// After an error nothing more can be pushed, and what was written so far must be thrown away.
#[derive(Debug, Clone)]
pub struct Rewriter {
    lines: Lines,
    work: Work,
}

/// All but the line cutter.
#[derive(Debug, Clone)]
struct Work {
    sheet: Sheet,
    weight: Weight,
    options: Options,
    reader: Reader,
    line: Line,
    z: Ledger,
    /// How far the machine's Z register stands from where its nozzle is, against the original's: the rounding of G92 Z.
    skew: f64,
    e: Ledger,
    /// What the E gap should be.
    e_aim: f64,
    /// Lines put in since N words last began.
    put_in: i64,
    marker: String,
    marked: bool,
    bom: bool,
    ending: [u8; 2],
    ending_length: usize,
    number: u64,
    long_passes: bool,
    floor: Option<Below>,
    muted: bool,
    summary: Summary,
    card: Temperatures,
    /// The longest straight move at one height that is sure to need one piece, mm.
    plain_length: f64,
    seen: Seen,
    scratch: Scratch,
}

#[derive(Debug, Clone, Copy, Default)]
struct Temperatures {
    bed: Option<f64>,
    nozzle: Option<f64>,
    checked: bool,
    pitch: Option<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Seen {
    at: [f64; 2],
    height: f64,
}

#[derive(Debug, Clone, Default)]
struct Scratch {
    tube: Tube,
    vertices: Vec<Vertex>,
    cuts: Vec<f64>,
    edits: Edits,
    text: Vec<u8>,
}

/// The path below the floor.
#[derive(Debug, Clone, Copy)]
struct Below {
    line: u64,
    first_z: f64,
    worst_z: f64,
    worst_line: u64,
    /// How far the bed must come up, mm; `None` if no raising helps.
    raise: Option<f64>,
}

impl Rewriter {
    /// Prepares to rewrite a toolpath for the bed of `map`.
    ///
    /// # Errors
    /// [`ErrorKind::Options`] if the options make no sense or the taper would fold Z; [`ErrorKind::Refused`] for
    /// heights over [`HEIGHT_LIMIT`] that were not allowed.
    pub fn new(map: &HeightMap, options: Options) -> Result<Self, Error> {
        options.check()?;
        let sheet = Sheet::of(map);
        let largest = sheet.largest();
        if largest > HEIGHT_LIMIT && !options.allow.large_heights {
            return Err(Error::new(
                ErrorKind::Refused,
                format!("the map reaches {largest:.2} mm: more than {HEIGHT_LIMIT} mm is a reading mistyped or a matter for the screws"),
            )
            .with_help("check the card's readings and their sign, tram the bed, or allow `large-heights`"));
        }
        let weight = Weight::new(options.taper, &sheet)?;
        let reading = Reading {
            e_start: options.e_start,
            g90_sets_e: options.g90_sets_e,
            unknown_motion: options.allow.unknown_motion,
            own_levelling: options.allow.own_levelling,
        };
        let card = map.card();
        let taper = match weight.range() {
            Some([from, to]) => format!("{from}..{to}"),
            None => "none".to_string(),
        };
        let surface = match map.kind() {
            crate::SurfaceKind::ThinPlate => "thin-plate",
            crate::SurfaceKind::Bilinear => "bilinear",
        };
        let marker = format!(
            "evengap {} card={} surface={surface} taper={taper} tolerance={} flow={} floor={} shift={}",
            env!("CARGO_PKG_VERSION"),
            card.digest(),
            options.tolerance,
            if options.flow { "on" } else { "off" },
            options.floor,
            options.shift
        );
        let summary = Summary { taper: weight.range(), ..Summary::default() };
        let plain_length = plain_length(&sheet, tube_width(&sheet, options.tolerance));
        let work = Work {
            sheet,
            weight,
            options,
            reader: Reader::new(reading),
            line: Line::default(),
            z: Ledger::default(),
            skew: 0.0,
            e: Ledger::default(),
            e_aim: 0.0,
            put_in: 0,
            marker,
            marked: false,
            bom: false,
            ending: *b"\n\0",
            ending_length: 1,
            number: 0,
            long_passes: false,
            floor: None,
            muted: false,
            summary,
            card: Temperatures {
                bed: card.readings.bed_celsius,
                nozzle: card.readings.nozzle_celsius,
                checked: false,
                pitch: card.screws.as_ref().map(|s| s.pitch),
            },
            plain_length,
            seen: Seen { at: [f64::NAN; 2], height: 0.0 },
            scratch: Scratch::default(),
        };
        Ok(Rewriter { lines: Lines::with_limit(options.line_limit), work })
    }

    /// Takes the next bytes of the toolpath and appends what is ready to `out`.
    ///
    /// # Errors
    /// [`ErrorKind::Toolpath`] and [`ErrorKind::Refused`] with line and column; [`ErrorKind::Limit`] for a motion line
    /// or a move beyond the limits.
    pub fn push(&mut self, bytes: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        let work = &mut self.work;
        self.lines.push(bytes, |piece| work.take(piece, out))
    }

    /// The toolpath has ended: appends what is left to `out` and tells what was done.
    ///
    /// # Errors
    /// As [`push`](Rewriter::push), for a last line without its ending; and [`ErrorKind::Floor`] if the path would
    /// have come to lie below the floor: it says how far to raise the bed so that the toolpath passes.
    pub fn finish(mut self, out: &mut Vec<u8>) -> Result<Summary, Error> {
        let work = &mut self.work;
        self.lines.finish(|piece| work.take(piece, out))?;
        if let Some(below) = self.work.floor {
            return Err(self.work.below(below));
        }
        Ok(self.work.summary)
    }

    /// The original's lines read so far.
    #[must_use]
    pub fn lines_read(&self) -> u64 {
        self.work.number
    }
}

impl Work {
    fn take(&mut self, piece: Piece<'_>, out: &mut Vec<u8>) -> Result<(), Error> {
        match piece {
            Piece::Line(bytes, ending) => {
                if !ending.is_empty() {
                    self.ending[..ending.len()].copy_from_slice(ending);
                    self.ending_length = ending.len();
                }
                let mut line = core::mem::take(&mut self.line);
                let done = self.whole_line(&mut line, bytes, ending, out);
                self.line = line;
                done
            }
            Piece::LongStart(bytes) => {
                self.number += 1;
                let mut line = core::mem::take(&mut self.line);
                line.read(bytes);
                let first = line.words().first().map(|w| w.letter);
                // A comment, a text or what follows an M word cannot move an axis, however long it is.
                self.long_passes = line.kind != Kind::Words || (first == Some(b'M') && !line.has(b'G'));
                self.line = line;
                if !self.long_passes {
                    return Err(Error::new(
                        ErrorKind::Limit,
                        format!("a motion line of more than {} bytes", self.options.line_limit),
                    )
                    .at(self.number, 1)
                    .with_help("no machine reads such a line: the file is damaged here"));
                }
                self.summary.lines_in += 1;
                self.summary.lines_out += 1;
                self.summary.pass_not_understood(self.number, bytes);
                self.copy(bytes, out);
                Ok(())
            }
            Piece::LongMore(bytes) | Piece::LongEnd(bytes) => {
                self.copy(bytes, out);
                Ok(())
            }
        }
    }

    #[inline]
    fn copy(&self, bytes: &[u8], out: &mut Vec<u8>) {
        if !self.muted {
            out.extend_from_slice(bytes);
        }
    }

    fn whole_line(&mut self, line: &mut Line, bytes: &[u8], ending: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        self.number += 1;
        self.summary.lines_in += 1;
        self.summary.lines_out += 1;
        if self.number == 1 {
            self.bom = bytes.starts_with(b"\xEF\xBB\xBF");
            if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
                return Err(Error::new(ErrorKind::Toolpath, "the file is UTF-16 text")
                    .at(1, 1)
                    .with_help("save it as UTF-8 or plain ASCII"));
            }
        }
        line.read(bytes);
        if line.kind == Kind::Blank {
            if !self.options.allow.already_rewritten && bytes.trim_ascii_start().starts_with(MARKER) {
                return Err(self.already_rewritten(bytes));
            }
            self.copy(bytes, out);
            self.copy(ending, out);
            return Ok(());
        }
        let step = self.reader.read(line, bytes, self.number)?;
        let source = Source { bytes, line };
        match step {
            Step::Move => {
                let m = *self.reader.last_move();
                return self.follow(&m, source, ending, out);
            }
            Step::SetPosition { z, e } => {
                if e {
                    // The registers agree from here on; what the machine is ahead or behind stays to be made good.
                    self.e_aim -= self.e.gap;
                    self.e.gap = 0.0;
                }
                if let Some(word) = line.get(b'Z') {
                    return self.set_z(z.known, word, source, ending, out);
                }
            }
            Step::ClearOffsets => {
                self.z.gap -= self.skew;
                self.skew = 0.0;
            }
            Step::Lost(mask) => {
                if mask & 0b100 != 0 {
                    self.z.gap = 0.0;
                    self.skew = 0.0;
                }
                self.warn_of_what_passed(line, bytes);
            }
            Step::NotUnderstood => self.summary.pass_not_understood(self.number, bytes),
            Step::CountLines => {
                self.put_in = 0;
            }
            Step::Still => {}
        }
        self.unchanged(source, ending, out);
        Ok(())
    }

    fn warn_of_what_passed(&mut self, line: &Line, bytes: &[u8]) {
        let home =
            line.words().iter().any(|w| w.letter == b'G' && w.number.is_some_and(|n| (n.value - 28.0).abs() < 0.05));
        if home {
            return;
        }
        let allow = self.options.allow;
        if allow.own_levelling && line.words().iter().any(|w| matches!(w.letter, b'G')) && !allow.unknown_motion {
            self.summary.warn(WarningKind::OwnLevelling, self.number, || {
                "the file's own probing or compensation passed: if the machine heeds it, the bed is followed twice"
                    .into()
            });
        } else {
            self.summary.warn(WarningKind::UnknownMotion, self.number, || {
                "motion that is not understood passed; the axes it names count as unknown after it".into()
            });
        }
        self.summary.pass_not_understood(self.number, bytes);
    }

    /// A line that stays as it is, but for its N word and checksum where lines were put in before it.
    fn unchanged(&mut self, source: Source<'_>, ending: &[u8], out: &mut Vec<u8>) {
        if self.put_in == 0 || source.line.checksum.is_none() {
            self.copy(source.bytes, out);
            self.copy(ending, out);
            return;
        }
        let mut text = core::mem::take(&mut self.scratch.text);
        text.clear();
        self.first_piece(source, &[], None, &mut text);
        text.extend_from_slice(ending);
        self.changed(&text, out);
        self.scratch.text = text;
    }

    /// The line itself with `edits`, its N word and checksum made right.
    fn first_piece(&self, source: Source<'_>, edits: &[(u8, Value)], drop: Option<u8>, text: &mut Vec<u8>) {
        let Some((star, _)) = source.line.checksum else {
            source.first(edits, drop, text);
            return;
        };
        let from = text.len();
        match source.line.get(b'N') {
            Some(n) if self.put_in != 0 => {
                let mut all = edits.to_vec();
                all.push((b'N', Value::New(self.count(source, n))));
                source.first(&all, drop, text);
            }
            _ => source.first(edits, drop, text),
        }
        seal(text, from, &source.bytes[star..]);
    }

    fn count(&self, source: Source<'_>, n: &Word) -> Decimal {
        Decimal { units: source.digits(n).units + i128::from(self.put_in), decimals: 0 }
    }

    /// A line put in after or before `source`, with N word and checksum if it has them; `after` it or before it.
    fn put_in_line(&mut self, source: Source<'_>, after: bool, body: &[u8], text: &mut Vec<u8>) {
        let from = text.len();
        if let Some((_, n)) = source.line.checksum.zip(source.line.get(b'N')) {
            if after {
                self.put_in += 1;
            }
            text.push(source.bytes[n.start]);
            self.count(source, n).write(text);
            text.push(b' ');
            text.extend_from_slice(body);
            seal(text, from, &[]);
            if !after {
                self.put_in += 1;
            }
        } else {
            text.extend_from_slice(body);
        }
        self.summary.lines_out += 1;
    }

    /// Writes text that differs from the original's, after the marker.
    fn changed(&mut self, text: &[u8], out: &mut Vec<u8>) {
        self.summary.lines_changed += 1;
        if self.muted {
            return;
        }
        let mut text = text;
        if !self.marked {
            self.marked = true;
            if self.number == 1 && self.bom {
                let (bom, rest) = text.split_at(3);
                out.extend_from_slice(bom);
                text = rest;
            }
            out.extend_from_slice(b"; ");
            out.extend_from_slice(self.marker.as_bytes());
            out.extend_from_slice(&self.ending[..self.ending_length]);
            self.summary.lines_out += 1;
            self.summary.marker = Some(self.marker.clone());
        }
        out.extend_from_slice(text);
    }

    fn end_of_line(&self) -> &[u8] {
        &self.ending[..self.ending_length]
    }

    /// G92 with a Z word: the nozzle stays where it is, and so the register must keep its offset.
    fn set_z(
        &mut self,
        known: bool,
        word: &Word,
        source: Source<'_>,
        ending: &[u8],
        out: &mut Vec<u8>,
    ) -> Result<(), Error> {
        let register = self.reader.state().axes[2].register;
        let offset = if known { self.z.gap - self.skew } else { 0.0 };
        let how = self.place_spelling(true, Some(word));
        if offset.abs() < 1e-9 {
            self.z.gap = 0.0;
            self.skew = -offset;
            self.unchanged(source, ending, out);
            return Ok(());
        }
        let number = self.z.write(register, 0.0, offset, how);
        self.skew = self.z.gap - offset;
        let mut text = core::mem::take(&mut self.scratch.text);
        text.clear();
        self.first_piece(source, &[(b'Z', Value::New(number))], None, &mut text);
        text.extend_from_slice(ending);
        self.changed(&text, out);
        self.scratch.text = text;
        Ok(())
    }

    fn place_spelling(&self, absolute: bool, word: Option<&Word>) -> Spelling {
        let unit = self.reader.state().unit;
        let least = PLACE_DECIMALS[usize::from(unit > 1.0)];
        let decimals = word.and_then(|w| w.number).map_or(0, |n| n.decimals).clamp(least, MOST_DECIMALS);
        Spelling { absolute, unit, decimals, least }
    }

    /// h(x, y), remembered for the place asked for last: where one move ends the next one begins.
    #[inline]
    fn height(&mut self, [x, y]: [f64; 2]) -> f64 {
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
    fn offset(&mut self, place: [f64; 2], z: f64) -> f64 {
        let w = self.weight.at(z);
        let h = if w == 0.0 { 0.0 } else { w * self.height(place) };
        h + self.options.shift
    }

    /// One motion.
    fn follow(&mut self, m: &Move, source: Source<'_>, ending: &[u8], out: &mut Vec<u8>) -> Result<(), Error> {
        let line = source.line;
        let state = self.reader.state();
        let (absolute, e_absolute, unit, e_said) = (state.absolute, state.e_absolute, state.unit, state.e_said);
        let e_word = line.get(b'E');
        let e_delta = match e_word.and_then(|w| w.number) {
            Some(n) if !e_absolute => n.value * unit,
            Some(_) => m.e_delta(),
            None => 0.0,
        };
        let names_axis = AXES.iter().any(|l| line.has(*l)) || m.arc.is_some();
        if !names_axis && e_word.is_none() {
            self.unchanged(source, ending, out);
            return Ok(());
        }
        self.summary.moves_in += 1;
        self.summary.moves_out += 1;
        self.summary.extrusion_in += e_delta;
        if e_word.is_some() {
            self.first_extrusion(e_said, m, e_delta);
        }
        let known_after = m.after.iter().all(|a| a.known);
        let whole = known_after && m.before.iter().all(|a| a.known);
        let z_word = line.get(b'Z');
        let z_how = self.place_spelling(absolute, z_word);
        let path = Path::of(m);
        let travels = whole && m.travels();
        let [z0, z1] = [m.before[2].place(), m.after[2].place()];

        // Filament first: it looks at the start, which is where the last move ended.
        let pushes = travels && e_delta > 0.0 && self.options.flow;
        let factor = if pushes { self.flow(&path, z0, z1) } else { 1.0 };

        // Where the nozzle should be at the end, and by which vertices it gets there.
        let mut vertices = core::mem::take(&mut self.scratch.vertices);
        vertices.clear();
        let names_place = m.arc.is_some() || [b'X', b'Y', b'Z'].iter().any(|l| line.has(*l));
        let aim = if !names_place {
            // E or another axis alone: the nozzle stays where it is.
            vertices.push((1.0, self.z.gap - self.skew));
            self.z.gap
        } else if known_after {
            let end = self.offset([m.after[0].place(), m.after[1].place()], z1);
            if travels {
                self.split(&path, z0, z1, end, &mut vertices)?;
            } else {
                vertices.push((1.0, end));
            }
            end + self.skew
        } else {
            vertices.push((1.0, 0.0));
            // Not known: the line's own word stays.
            if z_word.is_some() && z_how.absolute { 0.0 } else { self.z.gap }
        };

        let e_how = Spelling { absolute: e_absolute, unit, decimals: e_decimals(e_word), least: E_DECIMALS };
        let mut text = core::mem::take(&mut self.scratch.text);
        text.clear();
        let mut different = false;
        if e_word.is_some() && e_absolute && self.e.gap.abs() > 1e-9 && self.past_taper(m) {
            let mut body = b"G92 E".to_vec();
            exact(m.e_before / unit).write(&mut body);
            self.put_in_line(source, false, &body, &mut text);
            text.extend_from_slice(self.end_of_line());
            self.e_aim -= self.e.gap;
            self.e.gap = 0.0;
            different = true;
        }
        let e_aim_before = self.e_aim;
        if e_word.is_some() {
            self.e_aim += e_delta * (factor - 1.0);
        }

        // Floor, range, largest offset.
        if known_after && names_place {
            self.account(m, &path, whole, &vertices);
        }

        let e_gap_before = self.e.gap;
        let z_stays =
            if z_word.is_some() { self.z.may_stay(aim, z_how) } else { (self.z.gap - aim).abs() <= z_how.half() };
        if vertices.len() == 1 {
            let e_stays = e_word.is_none() || self.e.may_stay(self.e_aim, e_how);
            if z_stays && z_word.is_some() {
                self.z.stay(z_how);
            }
            if e_stays && e_word.is_some() {
                self.e.stay(e_how);
            }
            if z_stays && e_stays {
                self.source_stays(source, ending, &mut text, different, out);
            } else {
                let mut edits = core::mem::take(&mut self.scratch.edits);
                edits.clear();
                if !z_stays {
                    let delta = m.after[2].register - m.before[2].register;
                    edits.push((b'Z', Value::New(self.z.write(m.after[2].register, delta, aim, z_how))));
                }
                if !e_stays {
                    edits.push((b'E', Value::New(self.e.write(m.e_after, e_delta, self.e_aim, e_how))));
                }
                self.first_piece(source, &edits, None, &mut text);
                text.extend_from_slice(ending);
                self.changed(&text, out);
                self.scratch.edits = edits;
            }
        } else {
            self.e_aim = e_aim_before;
            let plan = Plan { m, source, path, vertices: &vertices, z_how, e_how, e_delta, factor, absolute, unit };
            self.pieces(&plan, ending, &mut text);
            self.changed(&text, out);
            self.summary.moves_out += vertices.len() as u64 - 1;
        }
        if e_word.is_some() {
            self.summary.extrusion_out += e_delta + (self.e.gap - e_gap_before);
        }
        self.scratch.text = text;
        self.scratch.vertices = vertices;
        Ok(())
    }

    /// The line stays; what was put in before it (`text`) does not wait.
    fn source_stays(
        &mut self,
        source: Source<'_>,
        ending: &[u8],
        text: &mut Vec<u8>,
        different: bool,
        out: &mut Vec<u8>,
    ) {
        if different {
            self.first_piece(source, &[], None, text);
            text.extend_from_slice(ending);
            self.changed(text, out);
        } else {
            self.unchanged(source, ending, out);
        }
    }

    /// Said once: how E is meant, and whether the file is for the temperatures of the card.
    fn first_extrusion(&mut self, e_said: bool, m: &Move, e_delta: f64) {
        if !e_said && self.summary.warnings.iter().all(|w| w.kind != WarningKind::EModeUnsaid) {
            let how = if self.reader.state().e_absolute { "positions (absolute)" } else { "amounts (relative)" };
            self.summary.warn(WarningKind::EModeUnsaid, self.number, || {
                format!("neither M82 nor M83 has been said: E words are read as {how}")
            });
        }
        if e_delta > 0.0 && m.known() && m.travels() {
            let [x0, y0, x1, y1] = self.sheet.rect();
            let [x, y] = [m.after[0].place(), m.after[1].place()];
            if self.weight.at(m.after[2].place()) > 0.0 && !(x >= x0 && x <= x1 && y >= y0 && y <= y1) {
                self.summary.warn(WarningKind::OutsideReadings, self.number, || {
                    "filament is laid outside the readings' rectangle, where the height at its edge is held".into()
                });
            }
            if !self.card.checked {
                self.card.checked = true;
                let state = self.reader.state();
                let (bed, nozzle) = (state.bed_celsius, state.nozzle_celsius);
                let pairs = [
                    (self.card.bed, bed, WarningKind::BedTemperature, "bed"),
                    (self.card.nozzle, nozzle, WarningKind::NozzleTemperature, "nozzle"),
                ];
                for (card, file, kind, what) in pairs {
                    if let (Some(card), Some(file)) = (card, file) {
                        if (card - file).abs() > WARM {
                            self.summary.warn(kind, self.number, || {
                                format!("the card was read with the {what} at {card} degrees Celsius, the file prints at {file}")
                            });
                        }
                    }
                }
            }
        }
    }

    /// The whole move lies where nothing is compensated any more.
    fn past_taper(&self, m: &Move) -> bool {
        m.before[2].known
            && m.after[2].known
            && self.weight.at(m.before[2].place()) == 0.0
            && self.weight.at(m.after[2].place()) == 0.0
    }

    /// The vertices of a move that travels over the bed.
    fn split(&mut self, path: &Path, z0: f64, z1: f64, end: f64, vertices: &mut Vec<Vertex>) -> Result<(), Error> {
        let length = path.length();
        let [w0, w1] = [self.weight.at(z0), self.weight.at(z1)];
        let tolerance = self.options.tolerance;
        let tau = tube_width(&self.sheet, tolerance);
        if w0 == 0.0 && w1 == 0.0 {
            vertices.push((1.0, end));
            return Ok(());
        }
        let rise = if length > 0.0 { (z1 - z0).abs() / length } else { 0.0 };
        let taper_slope = self.weight.range().map_or(0.0, |[from, to]| 1.0 / (to - from));
        // A bound of the offset's second derivative along the path, for stretches of up to d mm.
        let bend = |d: f64| {
            w0.max(w1) * (self.sheet.bend(d) + self.sheet.slope_bound() * path.curvature())
                + 2.0 * taper_slope * rise * self.sheet.slope_bound()
        };
        let kinks = self.weight.kinks();
        let kinked = kinks.iter().any(|k| (*k > z0.min(z1)) && (*k < z0.max(z1)));
        let mut cuts = core::mem::take(&mut self.scratch.cuts);
        cuts.clear();
        path.crossings(self.sheet.breaks(), &mut cuts);
        let start = self.z.gap - self.skew;
        // Nearly every move is a short straight one at one height, and the answer for those is known beforehand.
        let plain = length <= self.plain_length && rise == 0.0 && path.curvature() == 0.0;
        let short = !kinked && cuts.is_empty() && (plain || bend(length) * length * length / 8.0 <= tau);
        if short {
            vertices.push((1.0, end));
            self.scratch.cuts = cuts;
            return Ok(());
        }
        if kinked {
            cuts.extend(kinks.iter().map(|k| (k - z0) / (z1 - z0)).filter(|t| *t > 0.0 && *t < 1.0));
        }
        // Sample so finely that between samples the offset is straight within a hundredth of the tolerance.
        let fine = tau / 100.0;
        let mut step = length;
        for _ in 0..3 {
            let k = bend(step);
            step = if k > 0.0 { (8.0 * fine / k).sqrt().min(length) } else { length };
        }
        let count = (length / step).ceil();
        if !(count < 1e5) {
            return Err(Error::new(
                ErrorKind::Limit,
                format!("a move of {length:.0} mm would need more than {SAMPLES_LIMIT} looks at the bed"),
            )
            .at(self.number, 1)
            .with_help("no printer is that large: the file is damaged here, or in other units than it says"));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10^5")]
        let count = count.max(1.0) as u32;
        cuts.extend((1..count).map(|i| f64::from(i) / f64::from(count)));
        cuts.sort_unstable_by(f64::total_cmp);
        let first = self.offset(path.at(0.0), z0);
        // A start that is off (the first move after the place became known) is made good evenly over the move.
        let lead = if (start - first).abs() > tolerance { start - first } else { 0.0 };
        let mut tube = core::mem::take(&mut self.scratch.tube);
        tube.samples.clear();
        tube.samples.push((0.0, first + lead));
        let mut last = 0.0;
        for t in &cuts {
            // Two samples at one place add nothing.
            if *t - last > 1e-12 && 1.0 - *t > 1e-12 {
                let offset = self.offset(path.at(*t), z0 + (z1 - z0) * t) + lead * (1.0 - t);
                tube.samples.push((*t, offset));
                last = *t;
            }
        }
        tube.samples.push((1.0, end));
        tube.fewest(start, end, tau - fine, vertices);
        self.scratch.tube = tube;
        self.scratch.cuts = cuts;
        Ok(())
    }

    /// The mean of 1 + h w'(z) along the path: Simpson's rule over stretches of at most 1 mm that no break of the map
    /// and no kink of the taper divides (so that it is exact for bilinear maps at one Z).
    fn flow(&mut self, path: &Path, z0: f64, z1: f64) -> f64 {
        let Some([from, to]) = self.weight.range() else { return 1.0 };
        let (low, high) = (z0.min(z1), z0.max(z1));
        if high <= from || low >= to {
            return 1.0;
        }
        let start = self.height(path.at(0.0));
        let mut cuts = core::mem::take(&mut self.scratch.cuts);
        cuts.clear();
        path.crossings(self.sheet.breaks(), &mut cuts);
        if low < from || high > to {
            cuts.extend([from, to].iter().map(|k| (k - z0) / (z1 - z0)).filter(|t| *t > 0.0 && *t < 1.0));
        }
        if path.length() > 1.0 {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=10^5")]
            let count = path.length().ceil().clamp(1.0, 1e5) as u32;
            cuts.extend((1..count).map(|i| f64::from(i) / f64::from(count)));
        }
        cuts.sort_unstable_by(f64::total_cmp);
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
        self.scratch.cuts = cuts;
        1.0 + sum
    }

    /// Keeps the summary's figures and watches the floor.
    fn account(&mut self, m: &Move, path: &Path, whole: bool, vertices: &[Vertex]) {
        let [z0, z1] = [m.before[2].place(), m.after[2].place()];
        for (t, offset) in vertices {
            let z = if whole { z0 + (z1 - z0) * t } else { z1 };
            let told = z + offset;
            let range = self.summary.z_range.get_or_insert([told, told]);
            range[0] = range[0].min(told);
            range[1] = range[1].max(told);
            if self.summary.largest_offset.is_none_or(|o| offset.abs() > o.offset.abs()) {
                let [x, y] = path.at(*t);
                self.summary.largest_offset = Some(Offset { offset: *offset, x, y, line: self.number });
            }
            if told < self.options.floor - 1e-9 && z >= self.options.floor {
                let w = self.weight.at(z);
                let lift = (w > 0.0).then(|| (self.options.floor - told) / w);
                self.muted = true;
                let below = self.floor.get_or_insert(Below {
                    line: self.number,
                    first_z: told,
                    worst_z: told,
                    worst_line: self.number,
                    raise: Some(0.0),
                });
                if told < below.worst_z {
                    below.worst_z = told;
                    below.worst_line = self.number;
                }
                below.raise = below.raise.zip(lift).map(|(a, b)| a.max(b));
            }
        }
    }

    fn below(&self, b: Below) -> Error {
        let floor = self.options.floor;
        let help = match b.raise {
            // Rounded up to a hundredth, with room for the rounding of the words.
            Some(raise) => {
                let raise = ((raise + 0.001) * 100.0).ceil() / 100.0;
                let turns = match self.card.pitch {
                    Some(pitch) => format!("{:.2} turn of each knob at {pitch} mm a turn", raise / pitch),
                    None => format!("{:.2} turn of each knob if the screws are M4, 0.7 mm a turn", raise / 0.7),
                };
                format!("raise the whole bed by {raise:.2} mm ({turns}), read it again, and the file passes")
            }
            None => "raising the bed does not help where the taper has ended: choose a smaller shift".to_string(),
        };
        Error::new(
            ErrorKind::Floor,
            format!(
                "Z would go to {:.3} mm, below the floor of {floor} mm, which many machines clip silently (the lowest is \
                 {:.3} mm on line {})",
                b.first_z, b.worst_z, b.worst_line
            ),
        )
        .at(b.line, 1)
        .with_help(help)
    }

    fn already_rewritten(&self, bytes: &[u8]) -> Error {
        let text = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]);
        let card = text.split_whitespace().find_map(|w| w.strip_prefix("card=")).unwrap_or("?").to_string();
        let same = if self.marker.contains(&format!("card={card} ")) { ", this very one" } else { "" };
        Error::new(ErrorKind::Refused, format!("the file was already rewritten, with card {card}{same}"))
            .at(self.number, 1)
            .with_help("rewrite the original file, or allow `already-rewritten`")
    }
}

/// All that the pieces of one move need.
struct Plan<'a> {
    m: &'a Move,
    source: Source<'a>,
    path: Path,
    vertices: &'a [Vertex],
    z_how: Spelling,
    e_how: Spelling,
    e_delta: f64,
    factor: f64,
    absolute: bool,
    unit: f64,
}

impl Work {
    /// Writes a move as several pieces.
    fn pieces(&mut self, plan: &Plan<'_>, ending: &[u8], text: &mut Vec<u8>) {
        let Plan { m, source, path, vertices, .. } = plan;
        let line = source.line;
        let is_arc = m.arc.is_some();
        let by_radius = m.arc.is_some_and(|a| !a.by_centre);
        let [z_before, z_after] = [m.before[2].register, m.after[2].register];
        let mut edits = core::mem::take(&mut self.scratch.edits);
        // For each of X, Y and the other axes: where the last piece ended, as written, from the move's start if relative.
        let mut told = [Decimal { units: 0, decimals: 0 }; 9];
        let mut start = [m.before[0].place(), m.before[1].place()];
        let mut share = 0.0;
        let count = vertices.len();
        for (n, (t, offset)) in vertices.iter().enumerate() {
            let last = n + 1 == count;
            edits.clear();
            let place = path.at(*t);
            let mut end = place;
            for axis in [0, 1, 3, 4, 5, 6, 7, 8] {
                let letter = AXES[axis];
                let word = line.get(letter);
                let needed = axis < 2 && is_arc;
                if word.is_none() && !needed {
                    continue;
                }
                let [from, to] = match axis.checked_sub(3) {
                    Some(other) => [self.reader.others_before()[other], self.reader.state().others[other]],
                    None => [m.before[axis], m.after[axis]],
                };
                let [before, after] = [from.register, to.register];
                if axis > 2 && !from.known {
                    // Nobody knows where it starts: its word stays on the first piece.
                    if n == 0 {
                        edits.push((letter, Value::Own));
                    }
                    continue;
                }
                let spelt = PLACE_DECIMALS[usize::from(plan.unit > 1.0)] + u8::from(is_arc);
                let decimals = word.and_then(|w| w.number).map_or(0, |n| n.decimals).clamp(spelt, MOST_DECIMALS);
                let target = match axis {
                    0 | 1 => place[axis] - from.shift,
                    _ => before + (after - before) * t,
                };
                let value = if last {
                    match (word, plan.absolute) {
                        (Some(_), true) => Value::Own,
                        (Some(w), false) => Value::New(source.digits(w).minus(told[axis])),
                        (None, true) => Value::New(exact(after / plan.unit)),
                        (None, false) => Value::New(exact((after - before) / plan.unit).minus(told[axis])),
                    }
                } else {
                    let base = if plan.absolute { 0.0 } else { before };
                    let d = Decimal::round((target - base) / plan.unit, decimals);
                    let step = if plan.absolute { d } else { d.minus(told[axis]) };
                    told[axis] = d;
                    if axis < 2 {
                        end[axis] = d.value() * plan.unit + base + from.shift;
                    }
                    Value::New(step)
                };
                edits.push((letter, value));
            }
            // Z always stands on a piece: between vertices it is what changes.
            let z_from = z_before + (z_after - z_before) * share;
            let z_to = if last { z_after } else { z_before + (z_after - z_before) * t };
            let aim = offset + self.skew;
            let z_may_stay = last && line.has(b'Z') && plan.absolute && self.z.may_stay(aim, plan.z_how);
            if z_may_stay {
                self.z.stay(plan.z_how);
                edits.push((b'Z', Value::Own));
            } else {
                edits.push((b'Z', Value::New(self.z.write(z_to, z_to - z_from, aim, plan.z_how))));
            }
            if let Some(arc) = m.arc {
                if n > 0 || by_radius {
                    let decimals = [b'I', b'J']
                        .map(|l| line.get(l).and_then(|w| w.number).map_or(0, |n| n.decimals))
                        .into_iter()
                        .fold(4, u8::max)
                        .min(MOST_DECIMALS);
                    for axis in 0..2 {
                        let letter = [b'I', b'J'][axis];
                        if self.reader.state().centres_absolute && line.has(letter) {
                            edits.push((letter, Value::Own));
                        } else if self.reader.state().centres_absolute && by_radius {
                            let centre = (arc.centre[axis] - m.before[axis].shift) / plan.unit;
                            edits.push((letter, Value::New(Decimal::round(centre, decimals))));
                        } else {
                            let d = Decimal::round((arc.centre[axis] - start[axis]) / plan.unit, decimals);
                            edits.push((letter, Value::New(d)));
                        }
                    }
                }
            }
            if line.has(b'E') {
                let piece = plan.e_delta * (t - share);
                self.e_aim += piece * (plan.factor - 1.0);
                let register = if last { m.e_after } else { m.e_before + plan.e_delta * t };
                let own = last && plan.e_how.absolute && self.e.may_stay(self.e_aim, plan.e_how);
                if own {
                    self.e.stay(plan.e_how);
                    edits.push((b'E', Value::Own));
                } else {
                    edits.push((b'E', Value::New(self.e.write(register, piece, self.e_aim, plan.e_how))));
                }
            }
            if n == 0 {
                self.first_piece(*source, &edits, by_radius.then_some(b'R'), text);
            } else {
                text.extend_from_slice(self.end_of_line());
                let mut body = Vec::new();
                source.later(&edits, &mut body);
                self.put_in_line(*source, true, &body, text);
            }
            share = *t;
            start = end;
        }
        text.extend_from_slice(ending);
        self.scratch.edits = edits;
    }
}

/// What is left of the tolerance for the vertices of a move after what the table of the map and the rounding of a
/// vertex in XY may add.
fn tube_width(sheet: &Sheet, tolerance: f64) -> f64 {
    (tolerance - 3e-6 - sheet.slope_bound() * 0.001).max(tolerance * 0.5)
}

/// The longest straight way that one piece follows within `tau` anywhere on the map, mm.
fn plain_length(sheet: &Sheet, tau: f64) -> f64 {
    let mut length = 1000.0;
    while sheet.bend(length) * length * length / 8.0 > tau {
        length *= 0.9;
    }
    length
}

fn e_decimals(word: Option<&Word>) -> u8 {
    word.and_then(|w| w.number).map_or(0, |n| n.decimals).clamp(E_DECIMALS, MOST_DECIMALS)
}

/// A register as a decimal: what was written, but for noise of the arithmetic below 10^-9.
fn exact(value: f64) -> Decimal {
    let mut d = Decimal::round(value, MOST_DECIMALS);
    while d.decimals > 0 && d.units % 10 == 0 {
        d.units /= 10;
        d.decimals -= 1;
    }
    d
}
