//! Words to moves: the one modal reader of toolpaths.
//!
//! Positions are in mm and in the bed's coordinates: what the words say (the *register*), in mm, plus what G92 has
//! shifted. RS-274/NGC (NISTIR 6556) gives the meaning of the words; the departures are those of the printing trade:
//! homing ends the G92 offset of the axes homed, G92 on an axis whose position is unknown declares it, and E is
//! absolute until the file says otherwise (common practice, no source).

use super::commands::{Action, M_WORDS, MAction, g_word, text_levels, text_moves};
use super::refuse::{At, Fault};
use super::text::hidden_motion;
use super::words::{Doubt, Kind, Line, Word, bits};
use crate::Error;
use crate::number::Shown;

/// X, Y, Z, then the other axis words.
pub const AXES: [u8; 9] = *b"XYZABCUVW";

/// How E words are meant at the start of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum EMode {
    /// As positions (M82).
    #[default]
    Absolute,
    /// As amounts (M83).
    Relative,
}

/// What the reader lets pass although it might move an axis, and how E is meant.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Reading {
    /// How E is meant until M82 or M83 says so.
    pub e_start: EMode,
    /// G90 and G91 set E as well.
    pub g90_sets_e: bool,
    /// Motion that is not understood passes; the axes it names are unknown afterwards.
    pub unknown_motion: bool,
    /// Probing and the machine's own compensation pass.
    pub own_levelling: bool,
}

/// One axis: its register in mm, the shift from register to bed, and whether its place is known.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[expect(clippy::exhaustive_structs, reason = "nothing can be added to it")]
pub struct Axis {
    /// What the words say, mm.
    pub register: f64,
    /// Bed coordinate = register + shift, mm.
    pub shift: f64,
    /// Whether the place is known.
    pub known: bool,
}

impl Axis {
    /// Bed coordinate, mm.
    #[inline]
    #[must_use]
    pub fn place(&self) -> f64 {
        self.register + self.shift
    }
}

/// What is in force.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct State {
    /// X, Y, Z.
    pub axes: [Axis; 3],
    /// A B C U V W.
    pub others: [Axis; 6],
    /// The E register, mm of filament (mm^3 where E is a volume).
    pub e: f64,
    /// mm a unit: 1 or 25.4.
    pub unit: f64,
    /// G90.
    pub absolute: bool,
    /// E words are positions.
    pub e_absolute: bool,
    /// M82 or M83 has been said.
    pub e_said: bool,
    /// G17.
    pub xy_plane: bool,
    /// G90.1.
    pub centres_absolute: bool,
    /// The motion that lines without a G word repeat.
    pub motion: Option<Action>,
    /// The bed's temperature as last set above 0, degrees Celsius.
    pub bed_celsius: Option<f64>,
    /// The nozzle's temperature as last set above 0, degrees Celsius.
    pub nozzle_celsius: Option<f64>,
}

/// An arc in XY, in bed coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Arc {
    /// Centre, mm.
    pub centre: [f64; 2],
    /// Radius at the start and at the end, mm; equal but for the rounding of the words.
    pub radii: [f64; 2],
    /// Angle of the start, radians.
    pub start: f64,
    /// Signed angle swept, radians; anticlockwise is positive.
    pub sweep: f64,
    /// The centre was given by I and J (otherwise by R).
    pub by_centre: bool,
}

impl Arc {
    #[inline]
    pub(crate) fn radius(centre: [f64; 2], at: [f64; 2]) -> f64 {
        let [x, y] = [at[0] - centre[0], at[1] - centre[1]];
        (x * x + y * y).sqrt()
    }

    /// Whether the radii at the two ends are one, but for the rounding of the words.
    #[inline]
    pub(crate) fn may_have(radii: [f64; 2]) -> bool {
        (radii[0] - radii[1]).abs() <= RADIUS_LIMIT.max(radii[0].min(LARGE_ARC) * 1e-3)
    }

    /// The arc from `start` to `end` about a centre: all the way round where it is closed.
    #[inline]
    pub(crate) fn about(centre: [f64; 2], start: [f64; 2], end: [f64; 2], clockwise: bool, closed: bool) -> Arc {
        let radii = [start, end].map(|at| Arc::radius(centre, at));
        let [a, b] = [start, end].map(|at| [at[0] - centre[0], at[1] - centre[1]]);
        let turn = if clockwise { -1.0 } else { 1.0 };
        let start_angle = libm::atan2(a[1], a[0]);
        let mut sweep = (libm::atan2(b[1], b[0]) - start_angle) * turn;
        let full = core::f64::consts::TAU;
        if closed {
            sweep = full;
        } else if sweep <= 0.0 {
            sweep += full;
        }
        Arc { centre, radii, start: start_angle, sweep: sweep * turn, by_centre: true }
    }
}

/// One motion. The axes beside X, Y and Z are the reader's to tell ([`Reader::others_before`], [`Reader::state`]).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[non_exhaustive]
pub struct Move {
    /// X, Y and Z before the move.
    pub before: [Axis; 3],
    /// X, Y and Z after the move.
    pub after: [Axis; 3],
    /// `None`: straight.
    pub arc: Option<Arc>,
    /// E register before the move, mm.
    pub e_before: f64,
    /// E register after it, mm.
    pub e_after: f64,
}

impl Move {
    /// Filament pushed, mm.
    #[inline]
    #[must_use]
    pub fn e_delta(&self) -> f64 {
        self.e_after - self.e_before
    }

    /// X, Y and Z are known before and after.
    #[inline]
    #[must_use]
    pub fn known(&self) -> bool {
        (0..3).all(|n| self.before[n].known && self.after[n].known)
    }

    /// Whether the nozzle travels in XY.
    #[inline]
    #[must_use]
    #[expect(clippy::float_cmp, reason = "a register that no word changed is the same bits")]
    pub fn travels(&self) -> bool {
        self.arc.is_some_and(|a| a.radii != [0.0, 0.0])
            || self.before[0].place() != self.after[0].place()
            || self.before[1].place() != self.after[1].place()
    }
}

/// What a line does.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Step {
    /// Nothing that concerns the path.
    Still,
    /// Nothing that could move an axis, but it was not understood.
    NotUnderstood,
    /// The axes named in the mask (bit n: axis n of [`AXES`]) are unknown from here on.
    Lost(u16, Why),
    /// A motion: [`Reader::last_move`] tells it.
    Move,
    /// G92.
    SetPosition {
        /// Z before it.
        z: Axis,
        /// E was named.
        e: bool,
    },
    /// The offsets of G92 end.
    ClearOffsets,
    /// M110: N words start again.
    CountLines,
    /// The machine's own compensation was switched on, and that is allowed.
    OwnLevelling,
    /// The machine shifts its coordinates by an amount that the words do not show.
    Shifted,
}

/// Why axes are no longer known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Why {
    /// They were homed, or the machine went somewhere by itself, as such commands do.
    Sent,
    /// The machine probed, and that is allowed.
    OwnLevelling,
    /// Motion that is not understood passed, and that is allowed.
    UnknownMotion,
}

/// Reads lines one after another and keeps what is in force.
#[derive(Debug, Clone)]
pub struct Reader {
    settings: Reading,
    state: State,
    others_before: [Axis; 6],
    last: Move,
}

/// Arcs whose start and end lie at radii that differ by more than this (mm) are refused: nobody can tell where the
/// machine goes. RS-274/NGC asks for 0.002 mm (NISTIR 6556 section 3.5.3.2); files with three decimals or fewer miss
/// that by their rounding alone, so the limit is wider here and the path between is a spiral that reaches both ends.
pub const RADIUS_LIMIT: f64 = 0.05;
/// Of arcs over 50 mm a thousandth of the radius may be between the two, up to this radius, mm: where it may be much more than the arc is long, the
/// path is no arc.
const LARGE_ARC: f64 = 1000.0;

/// Arcs whose ends lie nearer to each other than this in X and Y (mm) are full circles.
const CLOSED: f64 = 1e-7;

impl Reader {
    /// A machine that has just been switched on: nothing is known of where it is.
    #[must_use]
    pub fn new(settings: Reading) -> Self {
        let state = State {
            axes: [Axis::default(); 3],
            others: [Axis::default(); 6],
            e: 0.0,
            unit: 1.0,
            absolute: true,
            e_absolute: settings.e_start == EMode::Absolute,
            e_said: false,
            xy_plane: true,
            centres_absolute: false,
            motion: None,
            bed_celsius: None,
            nozzle_celsius: None,
        };
        Reader { settings, state, others_before: [Axis::default(); 6], last: Move::default() }
    }

    /// What is in force after the last line read.
    #[must_use]
    #[inline]
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The motion of the last line that was one.
    #[must_use]
    #[inline]
    pub fn last_move(&self) -> &Move {
        &self.last
    }

    /// A B C U V W as they were before the last move that names one of them.
    #[must_use]
    #[inline]
    pub fn others_before(&self) -> &[Axis; 6] {
        &self.others_before
    }

    /// Axis `n` of [`AXES`].
    #[inline]
    fn axis(&mut self, n: usize) -> &mut Axis {
        if n < 3 { &mut self.state.axes[n] } else { &mut self.state.others[(n - 3).min(5)] }
    }

    /// Reads a line.
    ///
    /// # Errors
    /// [`ErrorKind::Toolpath`](crate::ErrorKind::Toolpath) for a number that cannot be trusted in a word that matters, [`ErrorKind::Refused`](crate::ErrorKind::Refused) for
    /// motion whose meaning is not understood; with `number` as the line and the column in it.
    #[inline]
    pub fn read(&mut self, line: &Line, bytes: &[u8], number: u64) -> Result<Step, Error> {
        let e = self.state.e;
        match self.interpret(line, At { bytes, line: number }) {
            Ok(step) => Ok(step),
            Err(Fault::Motion(_)) if self.settings.unknown_motion => Ok(self.let_pass(line, e)),
            Err(Fault::Motion(error) | Fault::Always(error)) => Err(error),
        }
    }

    /// Moves of this kind were made, whose words are places in mm (or amounts) of axes that are known: to these registers of X, Y and E.
    #[inline]
    pub(crate) fn went(&mut self, motion: Action, [x, y]: [f64; 2], e: f64) {
        self.state.axes[0].register = x;
        self.state.axes[1].register = y;
        self.state.e = e;
        self.state.motion = Some(motion);
    }

    /// A motion that is refused passes: the machine will take its words in some way.
    #[cold]
    fn let_pass(&mut self, line: &Line, e: f64) -> Step {
        if let Some(value) = self.told_e(line) {
            self.state.e = if self.state.e_absolute { value } else { e + value };
        }
        if line.has(b'G') {
            // Axis words on the next lines may belong to it.
            self.state.motion = None;
        }
        let arc = [b'I', b'J', b'R'].iter().any(|l| line.has(*l));
        let mask = named(line) | if arc { 0b011 } else { 0 };
        self.lose(if mask == 0 { 0b111 } else { mask }, Why::UnknownMotion)
    }

    /// What a line's E word says, mm, where it can be read.
    #[inline]
    pub(crate) fn told_e(&self, line: &Line) -> Option<f64> {
        let word = line.get(b'E').and_then(|w| w.number).filter(|n| n.value.abs() <= PLACE_LIMIT);
        word.map(|n| n.value * self.state.unit)
    }

    #[inline]
    fn interpret(&mut self, line: &Line, place: At<'_>) -> Result<Step, Fault> {
        match line.kind {
            Kind::Blank => return Ok(Step::Still),
            Kind::Text => return self.text(line, place),
            Kind::Words => {}
        }
        if let Some((at, doubt @ Doubt::Checksum)) = line.doubt {
            return Err(place.doubt(at, doubt).into());
        }
        let words = line.words();
        let first = if words[0].letter == b'N' { words.get(1) } else { words.first() };
        let Some(first) = first else { return Ok(Step::Still) };
        if line.has(b'M') {
            let with_g = line.has(b'G');
            if with_g || first.letter == b'M' {
                let step = self.m_words(line, with_g, place)?;
                if !with_g {
                    return Ok(step);
                }
            }
        }
        let said = self.g_words(line, place)?;
        let moves = line.has_any(bits(b"XYZABCUVWE"));
        if let Some((at, doubt)) = line.doubt
            && (moves || !said.bears(doubt))
        {
            return Err(place.doubt(at, doubt).into());
        }
        if said.unknown && said.is_nothing_else() {
            return Ok(Step::NotUnderstood);
        }
        if let Some((action, word)) = said.other {
            if said.motion.is_some() {
                return Err(place.refuse(word.start, "stands beside a motion on one line"));
            }
            return self.act(action, line, place);
        }
        if said.motion.is_some() {
            self.state.motion = said.motion;
        } else if !moves {
            let arc = matches!(self.state.motion, Some(Action::Arc { .. }));
            if let Some(word) = [b'I', b'J', b'R'].iter().find_map(|l| line.get(*l)).filter(|_| arc) {
                return Err(place.refuse(word.start, "stands alone while an arc (G2, G3) is in force"));
            }
            // A wait, a retraction by the machine, a mode, or words that do not concern the path.
            return Ok(Step::Still);
        } else if first.letter != b'G' {
            if line.has(b'M') && m_comes_first(line) {
                return Ok(Step::Still);
            }
            if first.letter == b'T' {
                let at = words.iter().find(|w| AXES.contains(&w.letter) || w.letter == b'E').map_or(0, |w| w.start);
                return Err(place.refuse(at, "stands behind a T word: machines differ in whether that moves"));
            }
        }
        if line.has(b'M')
            && let Some(word) = line.twice()
        {
            return Err(place.doubt(word.start, Doubt::Twice(word.letter)).into());
        }
        match self.state.motion {
            Some(Action::Arc { clockwise }) => self.arc(line, clockwise, place),
            Some(_) => self.straight(line, place),
            None => {
                let at = words.iter().find(|w| AXES.contains(&w.letter) || w.letter == b'E').map_or(0, |w| w.start);
                Err(place.refuse(at, "names an axis or E, but no motion (G0 to G3) is in force"))
            }
        }
    }

    #[cold]
    fn text(&mut self, line: &Line, place: At<'_>) -> Result<Step, Fault> {
        if line.is_noise() {
            return Ok(Step::NotUnderstood);
        }
        if text_levels(place.bytes) {
            if !self.settings.own_levelling {
                return Err(place.own_levelling(0).into());
            }
            return Ok(self.lose(0b111, Why::OwnLevelling));
        }
        if text_moves(place.bytes) {
            if !self.settings.unknown_motion {
                return Err(place.refuse(0, "may move an axis or bring back another state"));
            }
            return Ok(self.lose(0b111, Why::UnknownMotion));
        }
        let Some((at, mask)) = hidden_motion(place.bytes) else { return Ok(Step::NotUnderstood) };
        if self.settings.unknown_motion {
            return Ok(self.lose(if mask == 0 { 0b111 } else { mask }, Why::UnknownMotion));
        }
        Err(place.refuse(at, "may be motion, in a line that does not begin as a command"))
    }

    /// Looks through the G words: modes come into force, the others are told.
    #[inline]
    fn g_words<'a>(&mut self, line: &'a Line, place: At<'_>) -> Result<Said<'a>, Fault> {
        let mut said = Said::default();
        for word in line.words().iter().filter(|w| w.letter == b'G') {
            let Some(code) = code(word) else { return Err(place.not_a_number(word).into()) };
            // Moves are what files are made of.
            let action = match code {
                0 | 10 => Action::Straight,
                20 | 30 => Action::Arc { clockwise: code == 20 },
                _ => match g_word(code) {
                    Some(row) => row.action,
                    None if line_has_axis(line) || self.circles(line) => {
                        let why = "is not a G word that is understood, and axis words stand beside it";
                        return Err(place.refuse(word.start, why));
                    }
                    None => {
                        said.unknown = true;
                        continue;
                    }
                },
            };
            if matches!(action, Action::Straight | Action::Arc { .. }) {
                if said.motion.replace(action).is_some() {
                    return Err(place.refuse(word.start, "is a second motion on one line"));
                }
            } else {
                self.other_g_word(action, word, line, &mut said, place)?;
            }
        }
        Ok(said)
    }

    /// Whether the line may be a full circle: it names no axis and moves two.
    #[inline]
    fn circles(&self, line: &Line) -> bool {
        let says_arc = |w: &Word| w.letter == b'G' && matches!(code(w), Some(20 | 30));
        line.has_any(bits(b"IJR"))
            && (matches!(self.state.motion, Some(Action::Arc { .. })) || line.words().iter().any(says_arc))
    }

    #[inline]
    fn other_g_word<'a>(
        &mut self,
        action: Action,
        word: &'a Word,
        line: &Line,
        said: &mut Said<'a>,
        place: At<'_>,
    ) -> Result<(), Fault> {
        let (with_axes, circles) = (line_has_axis(line), self.circles(line));
        let mut mode = |group: usize, value: bool| {
            said.modes = true;
            if said.groups[group].replace(value).is_some_and(|earlier| earlier != value) {
                return Err(place.refuse(word.start, "contradicts another G word on its line"));
            }
            Ok(())
        };
        match action {
            Action::Straight | Action::Arc { .. } => {}
            Action::Pass => said.passes = true,
            Action::Plane { xy } => {
                mode(0, xy)?;
                self.state.xy_plane = xy;
            }
            Action::Units { inches } => {
                mode(1, inches)?;
                self.state.unit = if inches { 25.4 } else { 1.0 };
            }
            Action::Centres { absolute } => {
                mode(2, absolute)?;
                self.state.centres_absolute = absolute;
            }
            Action::Distance { absolute } => {
                mode(3, absolute)?;
                self.state.absolute = absolute;
                if self.settings.g90_sets_e {
                    self.state.e_absolute = absolute;
                    self.state.e_said = true;
                }
            }
            Action::NoMotion => {
                said.modes = true;
                self.state.motion = None;
            }
            Action::RefusedWithAxes(_) if !with_axes && !circles => said.passes = true,
            Action::PassAlone(_) if !with_axes && !circles && !line.has(b'E') && !line.has(b'L') => said.passes = true,
            Action::Wait if !with_axes && !line.has(b'E') || has_motion(line) => said.passes = true,
            Action::Refused(why) | Action::RefusedWithAxes(why) => {
                return Err(place.refuse(word.start, &format!("is refused: {why}")));
            }
            Action::PassAlone(why) => return Err(place.refuse(word.start, why)),
            Action::Wait => {
                let why = "is a wait, and axis or E words stand beside it: machines differ in what they then mean";
                return Err(place.refuse(word.start, why));
            }
            Action::OwnLevelling if !self.settings.own_levelling => return Err(place.own_levelling(word.start).into()),
            action => {
                if said.other.is_some_and(|(earlier, _)| earlier != action) {
                    let why = "stands beside another G word that uses the same axis words";
                    return Err(place.refuse(word.start, why));
                }
                said.other = Some((action, word));
            }
        }
        Ok(())
    }

    /// The M words of a line that begins with one or has G words too.
    fn m_words(&mut self, line: &Line, with_g: bool, place: At<'_>) -> Result<Step, Fault> {
        let mut step = Step::Still;
        for word in line.words().iter().filter(|w| w.letter == b'M') {
            let Some(code) = code(word).filter(|c| c % 10 == 0).map(|c| c / 10) else { continue };
            let Some((_, action, _)) = M_WORDS.iter().find(|row| row.0 == code) else { continue };
            let value = |letter: u8| line.number(letter);
            match action {
                MAction::EDistance { absolute } => {
                    if let Some((at, doubt @ (Doubt::Skippable | Doubt::Control))) = line.doubt {
                        return Err(place.doubt(at, doubt).into());
                    }
                    self.state.e_absolute = *absolute;
                    self.state.e_said = true;
                }
                MAction::HeatNozzle => self.state.nozzle_celsius = heat(value).or(self.state.nozzle_celsius),
                MAction::HeatBed => self.state.bed_celsius = heat(value).or(self.state.bed_celsius),
                MAction::CountLines => step = Step::CountLines,
                MAction::Shift => step = Step::Shifted,
                MAction::OwnLevelling => {
                    let off = value(b'S').is_some_and(|s| s.abs() < 0.5);
                    if !off {
                        if !self.settings.own_levelling {
                            return Err(place.own_levelling(word.start).into());
                        }
                        step = Step::OwnLevelling;
                    }
                }
                MAction::Recall if with_g => {
                    return Err(place.refuse(word.start, "stands beside a G word that may use the same axis words"));
                }
                MAction::Recall => {
                    let mask = named(line);
                    step = self.lose(if mask == 0 { 0b111 } else { mask }, Why::Sent);
                }
            }
        }
        Ok(step)
    }

    #[inline]
    fn act(&mut self, action: Action, line: &Line, place: At<'_>) -> Result<Step, Fault> {
        match action {
            Action::Home => {
                let mask = named(line);
                Ok(self.lose(if mask & 0b111 == 0 { 0b111 } else { mask }, Why::Sent))
            }
            Action::Away => Ok(self.lose(0b111, Why::Sent)),
            Action::OwnLevelling => Ok(self.lose(0b111, Why::OwnLevelling)),
            Action::SetPosition => self.set_position(line, place),
            Action::ClearOffsets => {
                for axis in self.state.axes.iter_mut().chain(&mut self.state.others) {
                    axis.register += axis.shift;
                    axis.shift = 0.0;
                }
                Ok(Step::ClearOffsets)
            }
            // Not met: `other_g_word` keeps none of the rest.
            _ => Ok(self.lose(0b111, Why::UnknownMotion)),
        }
    }

    #[inline]
    fn lose(&mut self, mask: u16, why: Why) -> Step {
        for (n, axis) in self.state.axes.iter_mut().chain(&mut self.state.others).enumerate() {
            if mask & (1 << n) != 0 {
                axis.known = false;
                axis.shift = 0.0;
            }
        }
        Step::Lost(mask, why)
    }

    #[inline]
    fn set_position(&mut self, line: &Line, place: At<'_>) -> Result<Step, Fault> {
        let z = self.state.axes[2];
        let mut any = false;
        for (n, letter) in AXES.iter().enumerate() {
            let Some(word) = line.get(*letter) else { continue };
            any = true;
            let value = place.value(word)? * self.state.unit;
            let axis = self.axis(n);
            axis.shift = if axis.known { axis.place() - value } else { 0.0 };
            axis.register = value;
            axis.known = true;
        }
        let e = line.get(b'E');
        if let Some(word) = e {
            self.state.e = place.value(word)? * self.state.unit;
        }
        if !any && e.is_none() {
            let at = line.get(b'G').map_or(0, |w| w.start);
            if line.words().iter().any(|w| !matches!(w.letter, b'G' | b'N')) {
                return Ok(Step::Still);
            }
            return Err(place.refuse(at, "names no axis: machines differ in what that sets to 0"));
        }
        Ok(Step::SetPosition { z, e: e.is_some() })
    }

    /// Takes the axis words and E of a motion.
    #[inline]
    fn take(&mut self, line: &Line, place: At<'_>) -> Result<(), Fault> {
        self.last.before = self.state.axes;
        self.last.e_before = self.state.e;
        for word in line.words() {
            let n = match word.letter {
                b'X' => 0,
                b'Y' => 1,
                b'Z' => 2,
                b'E' => {
                    let value = place.value(word)? * self.state.unit;
                    self.state.e = if self.state.e_absolute { value } else { self.state.e + value };
                    continue;
                }
                b'A' => 3,
                b'B' => 4,
                b'C' => 5,
                b'U' => 6,
                b'V' => 7,
                b'W' => 8,
                _ => continue,
            };
            let value = place.value(word)? * self.state.unit;
            if n > 2 {
                self.others_before[n - 3] = self.state.others[n - 3];
            }
            let absolute = self.state.absolute;
            let axis = self.axis(n);
            if absolute {
                axis.register = value;
                axis.known = true;
            } else if axis.known {
                axis.register += value;
            }
        }
        self.last.after = self.state.axes;
        self.last.e_after = self.state.e;
        self.last.arc = None;
        Ok(())
    }

    #[inline]
    fn straight(&mut self, line: &Line, place: At<'_>) -> Result<Step, Fault> {
        self.take(line, place)?;
        Ok(Step::Move)
    }

    #[inline]
    fn arc(&mut self, line: &Line, clockwise: bool, place: At<'_>) -> Result<Step, Fault> {
        let said = |w: &&Word| w.letter == b'G' && matches!(code(w), Some(20 | 30));
        let g_at = line.words().iter().find(said).or_else(|| line.words().first()).map_or(0, |w| w.start);
        if !self.state.xy_plane {
            return Err(place.refuse(g_at, "is an arc outside the XY plane"));
        }
        if let Some(p) = line.get(b'P')
            && (place.value(p)? - 1.0).abs() > 1e-9
        {
            return Err(place.refuse(p.start, "asks for several turns, or for something else that is not understood"));
        }
        let [i, j, r] = [b'I', b'J', b'R'].map(|l| line.get(l));
        if let Some(k) = line.get(b'K') {
            return Err(place.refuse(k.start, "has no meaning in an arc in XY"));
        }
        self.take(line, place)?;
        let m = &mut self.last;
        if !(m.before[0].known && m.before[1].known && m.after[0].known && m.after[1].known) {
            return Ok(Step::Move);
        }
        let [start, end] = [&m.before, &m.after].map(|a| [a[0].place(), a[1].place()]);
        // A full circle is one whose end words say the start again. Relative words add up with noise in the last bits.
        let closed = (0..2).all(|n| (m.before[n].register - m.after[n].register).abs() < CLOSED);
        let turn = if clockwise { -1.0 } else { 1.0 };
        let centre = match (r, i.is_some() || j.is_some()) {
            (Some(r), false) => {
                if closed {
                    return Err(place.refuse(r.start, "cannot make a full circle: its centre could lie anywhere"));
                }
                let radius = place.value(r)? * self.state.unit;
                centre_by_radius(start, end, radius, turn)
                    .ok_or_else(|| place.refuse(r.start, "is too small a radius for the ends of this arc"))?
            }
            (None, true) => {
                let mut c = [0.0; 2];
                for (n, word) in [i, j].into_iter().enumerate() {
                    let value = word.map_or(Ok(0.0), |w| place.value(w))? * self.state.unit;
                    c[n] = match (self.state.centres_absolute, word) {
                        (true, Some(_)) => value + m.before[n].shift,
                        (true, None) => start[n],
                        (false, _) => start[n] + value,
                    };
                }
                c
            }
            (Some(r), true) => return Err(place.refuse(r.start, "and a centre (I, J) both say where this arc lies")),
            (None, false) => return Err(place.refuse(g_at, "is an arc without a centre (I, J) or radius (R)")),
        };
        let arc = Arc { by_centre: r.is_none(), ..Arc::about(centre, start, end, clockwise, closed) };
        if !Arc::may_have(arc.radii) {
            let off = (arc.radii[0] - arc.radii[1]).abs();
            return Err(place.refuse(g_at, &format!("is an arc whose ends lie {:.3} mm apart in radius", Shown(off))));
        }
        m.arc = Some(arc);
        Ok(Step::Move)
    }
}

/// The centre of an arc given by its radius: the shorter arc for a positive radius, the longer for a negative one
/// (NISTIR 6556 section 3.5.3.1). `None` if the ends are farther apart than the diameter by more than [`RADIUS_LIMIT`].
#[inline]
fn centre_by_radius(start: [f64; 2], end: [f64; 2], radius: f64, turn: f64) -> Option<[f64; 2]> {
    let d = [end[0] - start[0], end[1] - start[1]];
    let half = libm::hypot(d[0], d[1]) / 2.0;
    if half == 0.0 || half - radius.abs() > RADIUS_LIMIT / 2.0 {
        return None;
    }
    let rise = (radius * radius - half * half).max(0.0).sqrt() * turn * radius.signum();
    let along = [d[0] / (2.0 * half), d[1] / (2.0 * half)];
    let middle = [start[0] + d[0] / 2.0, start[1] + d[1] / 2.0];
    Some([middle[0] - along[1] * rise, middle[1] + along[0] * rise])
}

#[inline]
fn heat(value: impl Fn(u8) -> Option<f64>) -> Option<f64> {
    value(b'S').or_else(|| value(b'R')).filter(|t| *t > 0.0)
}

/// The code of a G or M word times ten.
#[inline]
pub(crate) fn code(word: &Word) -> Option<u32> {
    let n = word.number.filter(|n| n.value >= 0.0 && n.value < 100_000.0)?;
    let tenths = n.value * 10.0;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 10^6")]
    let whole = (tenths + 0.5) as u32;
    ((tenths - f64::from(whole)).abs() < 1e-6).then_some(whole)
}

#[inline]
fn line_has_axis(line: &Line) -> bool {
    line.has_any(bits(&AXES))
}

/// The axes named on a line, as a mask.
#[inline]
fn named(line: &Line) -> u16 {
    AXES.iter().enumerate().filter(|(_, l)| line.has(**l)).fold(0, |mask, (n, _)| mask | (1 << n))
}

#[inline]
fn m_comes_first(line: &Line) -> bool {
    let place = |letter| line.get(letter).map_or(usize::MAX, |w: &Word| w.start);
    AXES.iter().chain(b"E").all(|l| place(*l) > place(b'M'))
}

/// Whether a G word of motion stands on the line.
#[inline]
fn has_motion(line: &Line) -> bool {
    line.words().iter().any(|w| w.letter == b'G' && code(w).is_some_and(|c| matches!(c, 0 | 10 | 20 | 30)))
}

/// What a line's G words say, modes aside.
#[derive(Debug, Default)]
struct Said<'a> {
    motion: Option<Action>,
    /// What uses the axis words in another way than a motion.
    other: Option<(Action, &'a Word)>,
    unknown: bool,
    /// Modes were set.
    modes: bool,
    /// A G word that does not concern the path.
    passes: bool,
    /// Plane, units, centres and distance, as said on this line.
    groups: [Option<bool>; 4],
}

impl Said<'_> {
    #[inline]
    fn is_nothing_else(&self) -> bool {
        self.motion.is_none() && self.other.is_none()
    }

    /// Whether a line without axis words or E may pass in spite of a doubt.
    #[cold]
    fn bears(&self, doubt: Doubt) -> bool {
        if !self.is_nothing_else() || self.unknown {
            return false;
        }
        match doubt {
            // The G words are beyond doubt.
            Doubt::Prose => true,
            Doubt::Skippable | Doubt::Twice(_) => !self.modes,
            _ => !self.modes && !self.passes,
        }
    }
}

/// Coordinates beyond this (mm or inches as written) are errors: no printer is a hundred metres wide, and E counts
/// well below 10^9 mm.
pub const PLACE_LIMIT: f64 = 1e9;
/// No move from a known place may be longer than this, mm: a kilometre. It would be looked at, or split, without end.
pub const MOVE_LIMIT: f64 = 1e6;
