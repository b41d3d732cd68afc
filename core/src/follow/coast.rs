//! Plain lines and arcs where nothing is followed any more: they pass, and only where they lead is kept.
//!
//! A quick way beside [`Work::follow`](super::motion) and beside [`cruise`](super::cruise), never instead of them: bytes and figures are the same
//! (a test holds that). Above the taper no line needs another number once the first of them has been taken, so that each is
//! only looked through for what may stand on it.

use super::cruise::Level;
use super::ledger::Spelling;
use super::looked::Gone;
use super::rewriter::Work;
use crate::toolpath::commands::Action;
use crate::toolpath::plain::{Passed, Passing, PlainLines};
use crate::toolpath::words::{Line, bits};
use crate::toolpath::{Arc, code};

impl Work {
    /// Passes as many plain lines from the start of `bytes` as there are, or as were told, where it [may](Work::may_coast), and tells their length.
    #[inline]
    pub(super) fn coast(
        &mut self,
        told: Option<(&Gone, &[f64])>,
        reader: &mut PlainLines,
        level: &Level,
        bytes: &[u8],
    ) -> usize {
        let state = self.reader.state();
        let (passed, e) = match told {
            // (In WebAssembly nothing is.)
            Some((gone, amounts)) if !cfg!(target_family = "wasm") => {
                (gone.lines, amounts.iter().fold(state.e, |e, amount| e + amount))
            }
            _ => pass(reader, (!level.e_absolute).then_some(state.e), bytes),
        };
        let lines = passed.lines() as u64;
        if lines == 0 {
            return 0;
        }
        let done = passed.bytes();
        let [x, y, e_at] = match told {
            Some((gone, _)) => gone.numbers,
            None => passed.places().map(|place| Passing::number(bytes, place)),
        };
        let [before_x, before_y, _] = state.axes.map(|axis| axis.register);
        let at = [x.unwrap_or(before_x), y.unwrap_or(before_y)];
        let e = match e_at {
            _ if !level.e_absolute => e,
            None => state.e,
            Some(n) => {
                self.e.gap = 0.0;
                n
            }
        };
        #[cfg(test)]
        {
            self.coasted += lines;
        }
        self.number += lines;
        self.output.bom = false;
        self.output.learn_ending(if bytes[..done].ends_with(b"\r\n") { b"\r\n" } else { b"\n" });
        self.reader.went(Action::Straight, at, e);
        self.summary.moves_in += lines;
        self.summary.moves_out += lines;
        done
    }

    /// Passes an arc about a centre beside its start, where plain lines [may](Work::may_coast) pass: whether it did. The line is written by who asks. (In
    /// WebAssembly none: the module is to be small.)
    #[inline]
    pub(super) fn coast_arc(&mut self, line: &Line) -> bool {
        if cfg!(target_family = "wasm") {
            return false;
        }
        let Some(ArcWords { clockwise, x, y, i, j, e }) = ArcWords::of(line) else { return false };
        let state = self.reader.state();
        let plain = state.xy_plane && !state.centres_absolute && self.number > 1;
        let Some(level) = plain.then(|| self.level(line)).flatten().filter(|level| self.may_coast(level)) else {
            return false;
        };
        let state = self.reader.state();
        let [before_x, before_y, _] = state.axes.map(|axis| axis.register);
        let at = [x.unwrap_or(before_x), y.unwrap_or(before_y)];
        let [from, to] = [level.course.place([before_x, before_y]), level.course.place(at)];
        let centre = [from[0] + i, from[1] + j];
        let radii = [from, to].map(|at| Arc::radius(centre, at));
        if !(Arc::may_have(radii) && radii[0] < Passing::LESS_THAN) {
            return false;
        }
        let e_at = match e {
            None => state.e,
            Some(e) if level.e_absolute => {
                self.e.gap = 0.0;
                e
            }
            Some(e) => state.e + e,
        };
        #[cfg(test)]
        {
            self.coasted += 1;
        }
        self.reader.went(Action::Arc { clockwise }, at, e_at);
        self.summary.moves_in += 1;
        self.summary.moves_out += 1;
        true
    }

    /// Whether no plain line at this height can need another number, be told of, or be one for the summary's figures.
    #[inline]
    pub(super) fn may_coast(&self, level: &Level) -> bool {
        let e_how = Spelling::of_e(level.e_absolute, 1.0, 0);
        let drifts = level.e_absolute && self.e.gap.abs() > 1e-9;
        level.course.absolute
            && self.bed.leaves(level.course.weight)
            && self.held.is_none()
            && self.meant.is_some_and(|meant| meant == 0.0)
            && (self.z.gap - self.z.skew).abs() <= level.z_how().half()
            && !drifts
            && self.e.may_stay(self.e.aim, e_how)
            && self.card.compared
            && self.summary.largest_offset.is_some()
            && self.summary.z_range.is_some_and(|[low, high]| low <= level.course.z && level.course.z <= high)
            && !self.summary.footprint.takes(level.course.z)
            && self.reader.state().axes[..2].iter().all(|a| a.register.abs() < Passing::LESS_THAN)
    }
}

/// Lines that pass at the start of `bytes`, and E behind them, where E words are amounts and it was `e`. (Called, its loop has the machine's registers for
/// itself: a quarter quicker.)
#[cfg_attr(not(target_family = "wasm"), inline(never))]
#[cfg_attr(target_family = "wasm", inline)]
fn pass(reader: &mut PlainLines, e: Option<f64>, bytes: &[u8]) -> (Passed, f64) {
    // An amount is added to what went before; of places the last is enough.
    let (amounts, mut e) = (e.is_some(), e.unwrap_or(0.0));
    let passed = reader.pass_all(bytes, amounts.then_some(|amount| e += amount));
    (passed, e)
}

/// What an arc's line says, about a centre beside its start: no more than that (and a feed), each once, in numbers that are all
/// [small](Passing::LESS_THAN).
struct ArcWords {
    clockwise: bool,
    x: Option<f64>,
    y: Option<f64>,
    i: f64,
    j: f64,
    e: Option<f64>,
}

impl ArcWords {
    #[inline]
    fn of(line: &Line) -> Option<ArcWords> {
        if !line.has_any(bits(b"IJ")) || !line.is_bare(bits(b"GXYIJEF")) {
            return None;
        }
        let clockwise = match line.words().first().filter(|w| w.letter == b'G').and_then(code)? {
            20 => true,
            30 => false,
            _ => return None,
        };
        let numbers = [b'X', b'Y', b'I', b'J', b'E'].map(|letter| line.number(letter));
        let [x, y, i, j, e] = numbers;
        let small = numbers.iter().flatten().all(|n| n.abs() < Passing::LESS_THAN);
        small.then_some(ArcWords { clockwise, x, y, i: i.unwrap_or(0.0), j: j.unwrap_or(0.0), e })
    }
}
