//! Plain lines where nothing is followed any more: they pass, and only where they lead is kept.
//!
//! A quick way beside [`Work::follow`](super::motion) and beside [`cruise`](super::cruise), never instead of them: bytes and figures are the same
//! (a test holds that). Above the taper no line needs another number once the first of them has been taken, so that each is
//! only looked through for what may stand on it.

use super::cruise::Level;
use super::ledger::Spelling;
use super::rewriter::Work;
use crate::toolpath::plain::{Passed, Passing, PlainLines};

impl Work {
    /// Passes as many plain lines from the start of `bytes` as there are, or as were told, where it [may](Work::may_coast), and tells their length. (Called, its loop
    /// has the machine's registers for itself: a quarter quicker.)
    #[cfg_attr(not(target_family = "wasm"), inline(never))]
    #[cfg_attr(target_family = "wasm", inline)]
    pub(super) fn coast(
        &mut self,
        told: Option<(Passed, &[f64])>,
        reader: &mut PlainLines,
        level: &Level,
        bytes: &[u8],
    ) -> usize {
        let state = self.reader.state();
        let mut e = state.e;
        let mut passed = Passed::default();
        if let Some((lines, amounts)) = told {
            passed = lines;
            e = amounts.iter().fold(e, |e, amount| e + amount);
        } else {
            while let Some(line) = reader.pass(&bytes[passed.bytes()..]) {
                // An amount is added to what went before; of places the last is enough.
                if !level.e_absolute && line.has_e() {
                    e += reader.e_of(line, &bytes[passed.bytes()..]).unwrap_or_default();
                }
                passed.add(line);
            }
        }
        let lines = passed.lines() as u64;
        if lines == 0 {
            return 0;
        }
        let (done, [x, y, e_at]) = (passed.bytes(), passed.places());
        let [before_x, before_y, _] = state.axes.map(|axis| axis.register);
        let at = [Passing::number(bytes, x).unwrap_or(before_x), Passing::number(bytes, y).unwrap_or(before_y)];
        if level.e_absolute
            && let Some(n) = Passing::number(bytes, e_at)
        {
            (e, self.e.gap) = (n, 0.0);
        }
        #[cfg(test)]
        {
            self.coasted += lines;
        }
        self.number += lines;
        self.output.bom = false;
        self.output.learn_ending(if bytes[..done].ends_with(b"\r\n") { b"\r\n" } else { b"\n" });
        self.reader.went_straight(at, e);
        self.summary.moves_in += lines;
        self.summary.moves_out += lines;
        done
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
