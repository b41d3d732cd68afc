//! The walk along both toolpaths, line by line.

use super::bound::{Found, Piece, Target};
use super::feed::{Feed, Row};
use super::rest::{Said, Stands};
use super::{Fault, FaultKind, ProofOptions, Side, Verdict};
use crate::Error;
use crate::check::marker::Marker;
use crate::check::way::Way;
use crate::number::{Shown, within};
use crate::toolpath::words::Line;
use crate::toolpath::{AXES, Axis, Move, State, Step, long_move};

/// How far from a line the end of a piece may lie, mm: half a unit of the third decimal in X and in Y.
const OFF_LINE: f64 = 0.000_71;
/// How far from an arc, mm (RS-274/NGC, NISTIR 6556 section 3.5.3.2).
const OFF_ARC: f64 = 0.002;
/// Decimals that Z and E have at the least, in mm and in inches.
const Z_DECIMALS: [i32; 2] = [3, 5];
const E_DECIMALS: i32 = 5;
/// Words that no rewriting takes away from a move.
const NAMED: [u8; 4] = *b"XYZE";
/// A place told in mm cannot always be told again in inches: less than this, mm, is the same place.
const SAME: f64 = 1e-9;

/// The original's line in hand, and how far its pieces have come.
#[derive(Debug)]
struct Current {
    row: Row,
    line: Line,
    step: Step,
    m: Move,
    way: Way,
    others: [Axis; 6],
    before: State,
    pieces: u64,
    /// Which of [`NAMED`] its pieces have named.
    named: [bool; NAMED.len()],
    /// The share of the way that the pieces have come.
    share: f64,
    /// Exact filament at the start, and of the whole move.
    filament: [f64; 2],
    /// What may fade out, mm; `None` where the start is not known.
    fade: Option<f64>,
}

/// See the module.
#[derive(Debug)]
pub(super) struct Walk {
    target: Target,
    options: ProofOptions,
    digest: String,
    original: Feed,
    rewritten: Feed,
    current: Option<Current>,
    /// The rewritten nozzle is where the definition wants it.
    settled: bool,
    marked: bool,
    /// The marker was the last line: the next must differ.
    due: bool,
    /// A line differed already.
    changed: bool,
    /// Exact filament, and what was pushed, mm.
    exact: f64,
    pushed: f64,
    /// A line that passed pushed what its own E says: the next E makes it good.
    owes: bool,
    /// Lines with N word and checksum that were put in since these began.
    counted_more: f64,
    /// What sums of floats and integrals may be off by, mm of filament.
    loose: f64,
    /// Half a unit of the last E that was written, mm of filament.
    half_e: f64,
    /// Half a unit of the Z that was in force before the line, and of the one after it, mm.
    half_z: [f64; 2],
    lost: bool,
    verdict: Verdict,
}

impl Walk {
    pub(super) fn new(target: Target, options: ProofOptions, digest: String) -> Walk {
        Walk {
            target,
            options,
            digest,
            original: Feed::new(&options),
            rewritten: Feed::new(&options),
            current: None,
            settled: false,
            marked: false,
            due: false,
            changed: false,
            exact: 0.0,
            pushed: 0.0,
            owes: false,
            counted_more: 0.0,
            loose: 1e-7,
            half_e: half([E_DECIMALS; 2], 1.0),
            half_z: [half(Z_DECIMALS, 1.0); 2],
            lost: false,
            verdict: Verdict::default(),
        }
    }

    pub(super) fn push(&mut self, side: Side, bytes: &[u8]) -> Result<(), Error> {
        self.options.check()?;
        match side {
            Side::Original => self.original.push(bytes),
            Side::Rewritten => self.rewritten.push(bytes),
        }
        self.go(false)
    }

    pub(super) fn behind(&self) -> Side {
        if self.original.rows.is_empty() && self.current.is_none() { Side::Original } else { Side::Rewritten }
    }

    pub(super) fn finish(mut self) -> Result<Verdict, Error> {
        self.options.check()?;
        self.original.end();
        self.rewritten.end();
        self.go(true)?;
        if !self.lost {
            if let Some(current) = self.current.take() {
                self.fault(
                    FaultKind::Missing,
                    Some(current.row.number),
                    None,
                    "the rewritten toolpath ends before this line is done".into(),
                );
            } else if let Some(row) = self.original.rows.front() {
                let number = row.number;
                self.fault(
                    FaultKind::Missing,
                    Some(number),
                    None,
                    "the rewritten toolpath ends before this line".into(),
                );
            } else if let Some(row) = self.rewritten.rows.front() {
                let number = row.number;
                self.fault(FaultKind::Extra, None, Some(number), "the original has ended before this line".into());
            }
        }
        let mut verdict = self.verdict;
        (verdict.lines_in, verdict.lines_out) = (self.original.number, self.rewritten.number);
        (verdict.moves_in, verdict.moves_out) = (self.original.moves, self.rewritten.moves);
        Ok(verdict)
    }

    fn go(&mut self, ended: bool) -> Result<(), Error> {
        while !self.lost {
            if self.current.is_none() {
                if !self.original.ready(ended) {
                    // What is left of the rewritten one may still be an inserted line.
                    return Ok(());
                }
                let Some(row) = self.original.rows.pop_front() else { return Ok(()) };
                self.current = Some(self.begin(row)?);
            }
            if !self.rewritten.ready(ended) {
                return Ok(());
            }
            let (Some(current), Some(row)) = (self.current.take(), self.rewritten.rows.pop_front()) else {
                return Ok(());
            };
            self.current = self.compare(current, row);
        }
        // The rest cannot be compared; it is not held either.
        self.original.rows.clear();
        self.rewritten.rows.clear();
        Ok(())
    }

    fn begin(&mut self, row: Row) -> Result<Current, Error> {
        let before = *self.original.reader.state();
        let step = self.original.read(&row)?;
        let line = self.original.line.clone();
        let mut m = *self.original.reader.last_move();
        let mut filament = [self.exact, 0.0];
        if step == Step::Move {
            let way = Way::of(&m);
            if m.known() {
                long_move(way.length, row.number)?;
            }
            let delta = if line.has(b'E') { m.e_delta() } else { 0.0 };
            let flows = self.options.flow && delta > 0.0 && m.known() && m.travels();
            let factor = if flows { self.target.flow(&way, [m.before[2].place(), m.after[2].place()]) } else { 1.0 };
            filament[1] = delta * factor;
            // Gauss's rule over a kink of the slope is off by less than this.
            self.loose += 1e-15 + if flows { 1e-8 * delta } else { 0.0 };
            self.exact += filament[1];
        } else {
            if matches!(step, Step::Lost(..)) {
                // Motion that is not understood passes, and pushes what its E says.
                filament[1] = self.original.reader.state().e - before.e;
                self.exact += filament[1];
            }
            m = Move::default();
        }
        let fade = (step == Step::Move && m.before.iter().all(|a| a.known)).then(|| {
            let have = self.rewritten.reader.state().axes[2].place();
            let want = self.target.height([m.before[0].place(), m.before[1].place()], m.before[2].place());
            // What is within the tolerance is there, and has nothing to fade out.
            if self.settled || (have - want).abs() <= self.options.tolerance { 0.0 } else { have - want }
        });
        let others = *self.original.reader.others_before();
        Ok(Current {
            way: Way::of(&m),
            row,
            line,
            step,
            m,
            others,
            before,
            pieces: 0,
            named: [false; NAMED.len()],
            share: 0.0,
            filament,
            fade,
        })
    }

    fn fault(&mut self, kind: FaultKind, original: Option<u64>, rewritten: Option<u64>, message: String) {
        if self.verdict.faults.len() < self.options.most_faults.max(1) {
            self.verdict.faults.push(Fault { kind, message, original, rewritten });
        } else {
            self.verdict.more_faults += 1;
        }
    }

    /// The two cannot be laid side by side any more.
    fn lose(&mut self, kind: FaultKind, current: &Current, row: &Row, message: String) -> Option<Current> {
        self.fault(kind, Some(current.row.number), Some(row.number), message);
        self.verdict.lost_at = Some(current.row.number);
        self.lost = true;
        None
    }

    /// Takes one rewritten line against the original's line in hand; gives that back where it is not done yet.
    fn compare(&mut self, mut current: Current, row: Row) -> Option<Current> {
        let (number, at) = (current.row.number, row.number);
        if current.row.long.is_some() || row.long.is_some() {
            let sum = |row: &Row| row.long.clone().map(|hash| hash.finish());
            if sum(&current.row) != sum(&row) || current.row.ending != row.ending {
                return self.lose(FaultKind::Command, &current, &row, "a long line is not the original's".into());
            }
            return None;
        }
        // The marker and an E that is set right stand before a line.
        if current.pieces == 0 && row.bytes != current.row.bytes {
            if let Some(told) = Marker::read(&row.bytes) {
                self.check_marker(&told, &current, at);
                self.rewritten.line.read(&row.bytes);
                return Some(current);
            }
            self.rewritten.line.read(&row.bytes);
            let said = Said { bytes: &row.bytes, ending: &row.ending, line: &self.rewritten.line };
            let own = Said { bytes: &current.row.bytes, ending: &current.row.ending, line: &current.line };
            if said.sets_e_alone() && !own.sets_e_alone() && !said.is_same(&own) {
                if let Some(wrong) = said.number_fault(&own, Stands::Before, &mut self.counted_more) {
                    self.fault(FaultKind::Word, Some(number), Some(at), wrong);
                }
                return self.set_e(current, &row);
            }
        }
        let before = *self.rewritten.reader.state();
        let step = match self.rewritten.read(&row) {
            Ok(step) => step,
            Err(error) => return self.lose(FaultKind::Unreadable, &current, &row, error.message().to_owned()),
        };
        let line = self.rewritten.line.clone();
        let said = Said { bytes: &row.bytes, ending: &row.ending, line: &line };
        let own = Said { bytes: &current.row.bytes, ending: &current.row.ending, line: &current.line };
        self.differs(said.is_same(&own), &current, at);
        if current.step == Step::CountLines {
            self.counted_more = 0.0;
        }
        let stands = if current.pieces == 0 { Stands::First } else { Stands::After };
        if let Some(wrong) = said.number_fault(&own, stands, &mut self.counted_more) {
            self.fault(FaultKind::Word, Some(number), Some(at), wrong);
        }
        if current.step != Step::Move {
            let same = said.is_same(&own)
                || matches!(current.step, Step::SetPosition { .. })
                    && current.line.has(b'Z')
                    && said.is_same_but(b'Z', &own);
            if !same || said.ending != own.ending {
                let [here, there] = [&row.bytes, &current.row.bytes]
                    .map(|bytes| String::from_utf8_lossy(&bytes[..bytes.len().min(60)]).into_owned());
                let message = format!("`{here}` stands where the original has `{there}`");
                return self.lose(FaultKind::Command, &current, &row, message);
            }
            if matches!(step, Step::Lost(..)) {
                self.pushed += self.rewritten.reader.state().e - before.e;
                self.owes |= self.rewritten.reader.told_e(&line).is_some();
            }
            self.passed(&current, at);
            self.modes(&current, at);
            return None;
        }
        if step != Step::Move {
            return self.lose(
                FaultKind::Missing,
                &current,
                &row,
                "a move of the original has no counterpart here".into(),
            );
        }
        let m = *self.rewritten.reader.last_move();
        if line.has(b'E') {
            self.owes = false;
            self.pushed += m.e_delta();
            self.half_e = half([E_DECIMALS; 2], self.rewritten.reader.state().unit);
        }
        self.half_z[0] = self.half_z[1];
        if line.has(b'Z') {
            self.half_z[1] = half(Z_DECIMALS, self.rewritten.reader.state().unit);
        }
        let first = current.pieces == 0;
        current.pieces += 1;
        current.named = core::array::from_fn(|n| current.named[n] || line.has(NAMED[n]));
        let same = said.is_same(&own);
        let alike = [same, same || said.is_same_but(b'E', &own)];
        let Some(done) = self.piece(&mut current, &m, &line, alike, at) else {
            return self.lose(FaultKind::Path, &current, &row, "it leaves the original's path".into());
        };
        let said = Said { bytes: &row.bytes, ending: &row.ending, line: &line };
        let own = Said { bytes: &current.row.bytes, ending: &current.row.ending, line: &current.line };
        if let Some(wrong) =
            said.piece_fault(&own, first, done, current.m.arc.is_some()).filter(|_| !same || said.ending != own.ending)
        {
            self.fault(FaultKind::Word, Some(number), Some(at), wrong);
        }
        let (want, have) = (self.original.reader.state().motion, self.rewritten.reader.state().motion);
        if want != have {
            self.fault(FaultKind::Mode, Some(number), Some(at), "the motion in force is not the original's".into());
        }
        self.floor(&current, &before, at);
        if done {
            if let Some(n) = (0..NAMED.len()).find(|n| current.line.has(NAMED[*n]) && !current.named[*n]) {
                let message = format!("its {} word is lost", char::from(NAMED[n]));
                self.fault(FaultKind::Word, Some(number), Some(at), message);
            }
            self.filament(&current, 1.0, at);
            self.modes(&current, at);
            return None;
        }
        self.filament(&current, current.share, at);
        self.carried(&current, at);
        Some(current)
    }

    /// One piece of a move, or all of it. Whether the move is done; `None` where the piece is not on its way.
    fn piece(
        &mut self,
        current: &mut Current,
        m: &Move,
        line: &Line,
        [same, same_but_e]: [bool; 2],
        at: u64,
    ) -> Option<bool> {
        let number = current.row.number;
        let (old, way) = (current.m, current.way);
        if !old.after.iter().all(|a| a.known) || !m.after.iter().all(|a| a.known) {
            // Nobody knows where it goes: nothing may be changed but E, which is followed by itself.
            self.verdict.unknown += 1;
            if !same && !same_but_e {
                self.fault(
                    FaultKind::Height,
                    Some(number),
                    Some(at),
                    "it was changed although its place is not known".into(),
                );
            }
            self.settled = false;
            return Some(true);
        }
        // The Z at the start may have been written in other units.
        let allowed = self.options.tolerance + self.half_z[0].max(self.half_z[1]) + 1e-9;
        let z = [old.before[2].place(), old.after[2].place()];
        let end = [m.after[0].place(), m.after[1].place()];
        let there = (0..2).all(|n| (end[n] - way.to[n]).abs() <= SAME);
        let travels = old.known() && old.travels() && m.known();
        if !travels {
            if !there {
                return None;
            }
            return Some(self.stand(current, m, line, same, at, allowed));
        }
        let (from, share) = (current.share, self.share(current, m, there)?);
        current.share = share;
        let piece =
            Piece { t: [from, share], z: [m.before[2].place(), m.after[2].place()], fade: current.fade.unwrap_or(0.0) };
        // Where a move is cut its place is rounded in X and Y: on a steep one that is a difference in Z.
        let rounded =
            if from > 0.0 || share < 1.0 { (z[1] - z[0]).abs() * OFF_LINE / way.length.max(OFF_LINE) } else { 0.0 };
        let allowed = allowed + rounded;
        match self.target.bound(&way, z, &piece, allowed) {
            Found::Within(most) => self.verdict.height.note(most, number),
            Found::Unbounded => {
                let message = "Z is too near to what is allowed, over too long a way, to be proven".into();
                self.fault(FaultKind::Height, Some(number), Some(at), message);
            }
            Found::Beyond { t, f } => {
                let [x, y] = way.at(t);
                self.verdict.height.note(f.abs(), number);
                let side = if f > 0.0 { "above" } else { "below" };
                let [x, y, off, allowed] = [x, y, f.abs(), allowed].map(Shown);
                let message = format!(
                    "at X {x:.3} Y {y:.3} Z is {off:.4} mm {side} its definition, and {allowed:.4} are allowed"
                );
                self.fault(FaultKind::Height, Some(number), Some(at), message);
            }
        }
        let done = share >= 1.0;
        if done {
            self.verdict.bounded += 1;
            // From a fault on, what follows is judged by itself.
            let want = self.target.height(way.to, z[1]);
            self.settled = (m.after[2].place() - want).abs() <= allowed;
        }
        Some(done)
    }

    /// A line that goes nowhere in XY, or comes from where nobody knows.
    fn stand(&mut self, current: &Current, m: &Move, line: &Line, same: bool, at: u64, allowed: f64) -> bool {
        let old = current.m;
        let place = [old.after[0].place(), old.after[1].place()];
        let off = m.after[2].place() - self.target.height(place, old.after[2].place());
        let right = off.abs() <= allowed;
        if !old.known() {
            self.verdict.unknown += 1;
        }
        let commands = b"XYZ".iter().any(|l| line.has(*l));
        if right {
            self.verdict.height.note(off.abs(), current.row.number);
        } else if (commands || self.settled) && !(same && !self.settled && !old.known()) {
            let side = if off > 0.0 { "above" } else { "below" };
            let [off, allowed] = [off.abs(), allowed].map(Shown);
            let message = format!("Z is {off:.4} mm {side} its definition, and {allowed:.4} are allowed");
            self.fault(FaultKind::Height, Some(current.row.number), Some(at), message);
        }
        self.settled = right;
        true
    }

    /// The share of the way at which a piece ends; `None` where it is not on it.
    fn share(&mut self, current: &Current, m: &Move, there: bool) -> Option<f64> {
        let way = &current.way;
        let end = [m.after[0].place(), m.after[1].place()];
        let (share, off, allowed) = match (way.arc, m.arc) {
            (None, None) => {
                let (share, off) = way.share_on_line(end);
                (share, off, OFF_LINE)
            }
            (Some(whole), Some(part)) => {
                if whole.sweep * part.sweep <= 0.0 && part.radii != [0.0, 0.0] {
                    return None;
                }
                let share = current.share + part.sweep / whole.sweep;
                let [x, y] = way.at(share.min(1.0));
                let off = libm::hypot(end[0] - x, end[1] - y);
                let centre = libm::hypot(part.centre[0] - whole.centre[0], part.centre[1] - whole.centre[1]);
                (share, off.max(centre), OFF_ARC)
            }
            _ => return None,
        };
        // Two neighbouring places may be told as the same.
        let slack = OFF_ARC / way.length.max(OFF_ARC);
        if off > allowed || share < current.share - slack || share > 1.0 + slack {
            return None;
        }
        self.verdict.path.note(off, current.row.number);
        // Pieces of a steep move may end at one place in X and Y, as that is rounded: there the end is only the end if Z is there too.
        let z = [current.m.before[2].place(), current.m.after[2].place()];
        let steep = (z[1] - z[0]).abs() * OFF_ARC > self.options.tolerance * way.length;
        let lost = share <= current.share;
        if lost && !steep {
            return None;
        }
        // Where X and Y do not tell the end, Z does.
        let told = m.after[2].place();
        let by_z = |low: f64, high: f64| {
            let meant = told - (self.target.height(end, told) - told);
            within((meant - z[0]) / (z[1] - z[0]), low, high)
        };
        let before_end = 1.0 - f64::EPSILON;
        if !there || share < 1.0 - slack {
            let share = share.max(current.share).min(before_end);
            return Some(if lost { by_z(share, (share + slack).min(before_end)) } else { share });
        }
        if steep {
            let off = (told - self.target.height(way.to, z[1])).abs();
            if off > self.options.tolerance + 0.001 && off < (z[1] - z[0]).abs() {
                return Some(by_z(current.share, before_end));
            }
        }
        Some(1.0)
    }

    /// The filament pushed so far, at a share of the move in hand.
    fn filament(&mut self, current: &Current, share: f64, at: u64) {
        if self.owes {
            return;
        }
        let whole = current.filament[1];
        let want = current.filament[0] + whole * share;
        let spelt = if current.way.length > 0.0 && share < 1.0 { OFF_LINE / current.way.length } else { 0.0 };
        let allowed = self.half_e + self.loose + whole.abs() * spelt;
        let off = (self.pushed - want).abs();
        self.verdict.filament.note(off, current.row.number);
        if off > allowed {
            let kind = FaultKind::Filament;
            let (have, wanted) = (Shown(self.pushed), Shown(want));
            let message = format!("{have:.6} mm of filament were pushed so far, and {wanted:.6} should be");
            self.fault(kind, Some(current.row.number), Some(at), message);
            // Told once.
            self.pushed = want;
        }
    }

    /// At the end of a piece: the other axes are carried along in proportion.
    fn carried(&mut self, current: &Current, at: u64) {
        let (ends, here) = (self.original.reader.state().others, self.rewritten.reader.state().others);
        let spelt = OFF_LINE / current.way.length.max(OFF_LINE);
        for (n, ((from, to), here)) in current.others.iter().zip(&ends).zip(&here).enumerate() {
            // An axis whose start is not known goes with the first piece.
            if !current.line.has(AXES[n + 3]) || !from.known || !to.known {
                continue;
            }
            let way = to.place() - from.place();
            let want = from.place() + way * current.share;
            if (here.place() - want).abs() > 0.000_5 + way.abs() * spelt + SAME {
                let [here, want] = [here.place(), want].map(Shown);
                let message = format!("another axis is at {here:.4} and should be at {want:.4}");
                self.fault(FaultKind::Word, Some(current.row.number), Some(at), message);
            }
        }
    }

    fn floor(&mut self, current: &Current, before: &State, at: u64) {
        let (old, new) = (self.original.reader.state().axes[2], self.rewritten.reader.state().axes[2]);
        if !old.known || !new.known || !before.axes[2].known {
            return;
        }
        let floor = self.options.floor;
        let was = old.place().min(current.m.before[2].place());
        if was >= floor && new.place() < floor - SAME {
            let message = format!("Z {:.4} lies below the floor, {}", Shown(new.place()), Shown(floor));
            self.fault(FaultKind::Floor, Some(current.row.number), Some(at), message);
        }
    }

    /// The first line that differs has the marker before it.
    fn differs(&mut self, same: bool, current: &Current, at: u64) {
        if core::mem::take(&mut self.due) && same {
            let message = "the marker stands before a line that does not differ".into();
            self.fault(FaultKind::Marker, Some(current.row.number), Some(at), message);
        }
        if !same && !self.changed {
            self.changed = true;
            if !self.marked {
                let message = "a line differs and no marker stands before it".into();
                self.fault(FaultKind::Marker, Some(current.row.number), Some(at), message);
            }
        }
    }

    /// After a line that is no motion: whether the nozzle's place is still known; and a G92 of Z has named the old and the new place
    /// by numbers that lie as far apart as they do.
    fn passed(&mut self, current: &Current, at: u64) {
        let state = *self.original.reader.state();
        let (old, new) = (state.axes[2], self.rewritten.reader.state().axes[2]);
        let shifts = old.shift - new.shift;
        if matches!(current.step, Step::SetPosition { .. })
            && shifts.abs() > half(Z_DECIMALS, self.rewritten.reader.state().unit)
        {
            let message = format!("G92 calls Z {:.4} mm more than it is: the compensation is lost", Shown(-shifts));
            self.fault(FaultKind::Height, Some(current.row.number), Some(at), message);
        }
        let known = |s: &State| s.axes.iter().all(|a| a.known);
        self.settled &= known(&current.before) && known(&state);
    }

    /// Whatever stays in force must be the same after the line.
    fn modes(&mut self, current: &Current, at: u64) {
        let (a, b) = (self.original.reader.state(), self.rewritten.reader.state());
        let near = |a: &Axis, b: &Axis| a.known == b.known && (!a.known || (a.place() - b.place()).abs() <= SAME);
        let wrong = if a.axes[..2].iter().zip(&b.axes[..2]).any(|(a, b)| !near(a, b)) {
            "X or Y is not where the original is"
        } else if a.axes[2].known != b.axes[2].known {
            "Z is known in one and not in the other"
        } else if a.others.iter().zip(&b.others).any(|(a, b)| !near(a, b)) {
            "another axis is not where the original's is"
        } else if (State { axes: a.axes, others: a.others, e: a.e, ..*b }) != *a {
            "a mode in force is not the original's"
        } else {
            return;
        };
        self.fault(FaultKind::Mode, Some(current.row.number), Some(at), wrong.into());
    }

    /// A line `G92 E` that was put in: both registers must agree after it.
    fn set_e(&mut self, current: Current, row: &Row) -> Option<Current> {
        self.differs(false, &current, row.number);
        if let Err(error) = self.rewritten.read(row) {
            return self.lose(FaultKind::Unreadable, &current, row, error.message().to_owned());
        }
        let (want, have) = (current.before.e, self.rewritten.reader.state().e);
        if (want - have).abs() > self.half_e {
            let message = format!("it sets E to {}, and the original's is {}", Shown(have), Shown(want));
            self.fault(FaultKind::Filament, Some(current.row.number), Some(row.number), message);
        }
        Some(current)
    }

    fn check_marker(&mut self, told: &Marker, current: &Current, at: u64) {
        let number = Some(current.row.number);
        if self.marked || self.changed {
            let wrong = if self.marked {
                "the marker stands a second time"
            } else {
                "the marker stands behind the first line that changed"
            };
            self.fault(FaultKind::Marker, number, Some(at), wrong.into());
        }
        self.marked = true;
        self.due = true;
        let options = &self.options;
        let wrong = if told.card != self.digest {
            Some(format!("the toolpath was rewritten with card {}, and this card is {}", told.card, self.digest))
        } else if told.followed != options.followed || told.flow != options.flow {
            Some("the toolpath was rewritten with another taper, shift or flow".to_owned())
        } else if told.tolerance > options.tolerance {
            let [told, asked] = [told.tolerance, options.tolerance].map(Shown);
            Some(format!("the toolpath was rewritten to {told} mm, and is to be proven to {asked} mm"))
        } else {
            None
        };
        if let Some(wrong) = wrong {
            self.fault(FaultKind::Marker, number, Some(at), wrong);
        }
    }
}

/// Half a unit of the last digit, in mm and in inches, mm.
fn half(decimals: [i32; 2], unit: f64) -> f64 {
    0.5 * unit * libm::pow(10.0, -f64::from(decimals[usize::from(unit > 1.0)])) * (1.0 + 1e-6)
}
