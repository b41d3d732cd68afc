//! The last line of a move, held back until the next move is seen: it may end elsewhere within its tolerance.
//!
//! Where a move begins, the one before ends. A long move may need a piece less if it begins a few micrometres off its place, so
//! the line that ends there is handed on only when the next move is known, or when something comes that is no move and depends
//! on where Z is. Comments and the like between the two wait with it.

use super::compose::{Source, Value};
use super::ledger::{Axis, Decimal, Spelling};
use super::rewriter::Work;
use crate::toolpath::words::{Line, Word};

/// At most so many bytes wait, and a line: comments between two moves included.
const MOST_HELD: usize = 1 << 16;

/// Where a move ends: the place, the original's Z there and its line, and the offset, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ending {
    pub(super) place: [f64; 2],
    pub(super) z: f64,
    pub(super) offset: f64,
    pub(super) number: u64,
}

/// An end that is not settled yet, and the line that tells it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Held {
    end: Ending,
    /// Where the line begins in what waits, its length, and that of its ending.
    at: usize,
    length: usize,
    ending: usize,
    written: Written,
    /// The number of the Z word that the original's line has, where that line is all of its move.
    own: Option<f64>,
}

/// How the line's Z was written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Written {
    /// The ledger before it.
    pub(super) z_before: Axis,
    /// The original's register after it, and by how much it went there, mm.
    pub(super) register: f64,
    pub(super) delta: f64,
    pub(super) how: Spelling,
    /// The line differs from the original's.
    pub(super) changed: bool,
}

impl Held {
    /// The offset at the end, mm.
    #[inline]
    pub(super) fn offset(&self) -> f64 {
        self.end.offset
    }

    /// The original's Z at the end, mm.
    #[inline]
    pub(super) fn z(&self) -> f64 {
        self.end.z
    }
}

impl Work {
    /// Whether it may pay to hold a line back: the bed is bent, and followed at this Z.
    #[inline]
    pub(super) fn may_hold(&self, line: &Line, z: f64) -> bool {
        self.bed.is_bent() && self.bed.weight.at(z) > 0.0 && line.checksum.is_none() && !self.output.muted
    }

    /// Holds the line that was just written to the end of `out`. `own` is the original's Z word and its bytes, where the line is all
    /// of its move.
    #[inline]
    pub(super) fn hold(
        &mut self,
        end: Ending,
        written: Written,
        own: Option<(&Word, &[u8])>,
        [length, ending]: [usize; 2],
        out: &[u8],
    ) {
        self.own_z.clear();
        self.own_z.extend_from_slice(own.map_or(&[], |(_, bytes)| bytes));
        let own = own.and_then(|(word, _)| word.number).map(|n| n.value);
        if let Some(at) = out.len().checked_sub(length + ending) {
            self.held = Some(Held { end, at, length, ending, written, own });
        }
    }

    /// The end that is held stays where it is.
    #[inline]
    pub(super) fn settle(&mut self) {
        if let Some(held) = self.held.take() {
            self.account(held.end);
        }
    }

    /// The end that is held is put at another offset, mm; `out` is what waits.
    #[inline]
    pub(super) fn end_elsewhere(&mut self, offset: f64, out: &mut Vec<u8>) {
        let Some(mut held) = self.held.take() else { return };
        let Written { z_before, register, delta, how, changed } = held.written;
        let mut line = Line::default();
        line.read(&out[held.at..held.at + held.length]);
        let mut z = z_before;
        let number = Decimal::from(z.write(register, delta, offset + z.skew, how));
        if number.is_too_far() {
            self.held = Some(held);
            return;
        }
        self.meant = Some(offset);
        held.end.offset = offset;
        if line.get(b'Z').and_then(|w| w.number).is_some_and(|n| (n.value - number.value()).abs() < 1e-12) {
            // Rounded it is the number that stands there.
            self.held = Some(held);
            return;
        }
        self.z = z;
        let tail = out.split_off(held.at + held.length);
        let bytes = out.split_off(held.at);
        let mut text = self.output.text();
        let own = held.own.is_some_and(|own| (own - number.value()).abs() < 1e-12);
        match line.get(b'Z').filter(|_| own) {
            // The original's number: in its own digits.
            Some(word) => {
                text.extend_from_slice(&bytes[..word.from]);
                text.extend_from_slice(&self.own_z);
                text.extend_from_slice(&bytes[word.to..]);
            }
            None => Source { bytes: &bytes, line: &line, survey: None }.first(
                &[(b'Z', Value::New(number))],
                None,
                &mut text,
            ),
        }
        held.length = text.len();
        let (ending, later) = tail.split_at(held.ending.min(tail.len()));
        text.extend_from_slice(ending);
        if changed {
            out.extend_from_slice(&text);
            self.output.give_back(text);
        } else {
            self.output.changed(text, out);
        }
        held.at = out.len() - held.length - held.ending;
        out.extend_from_slice(later);
        held.written.changed = true;
        self.held = Some(held);
    }

    /// More bytes come: what waits goes back to the end of `out`, where it can still be changed.
    #[inline]
    pub(super) fn resume(&mut self, out: &mut Vec<u8>) {
        if let Some(held) = &mut self.held {
            held.at = out.len();
            out.append(&mut self.waiting);
        }
    }

    /// No more bytes for now: the line that is held, and what comes after it, waits.
    #[inline]
    pub(super) fn pause(&mut self, out: &mut Vec<u8>) {
        if let Some(held) = &mut self.held {
            self.waiting.extend_from_slice(out.get(held.at..).unwrap_or_default());
            out.truncate(held.at);
            held.at = 0;
        }
    }

    /// After a line that is no move: a long comment is not waited for.
    #[inline]
    pub(super) fn wait_no_longer(&mut self, out: &[u8]) {
        if self.held.as_ref().is_some_and(|held| out.len() - held.at > MOST_HELD) {
            self.settle();
        }
    }
}
