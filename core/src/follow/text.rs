//! Lines that are put together one after another: they go out together, where there is no more room.
//!
//! Nearly all that is copied here is short. It is copied by blocks of one length, also where some of a block is not wanted: what comes next is
//! written over that.

use super::ledger::Rounded;
use crate::toolpath::plain::{LONGEST, Room, Seats};

/// Bytes that are copied at once.
const BLOCK: usize = Rounded::ROOM;

/// A line is begun where fewer bytes than these stand.
const FULL: usize = 1 << 12;

/// Room for what stands, for a line that stays or a plain line and two numbers, and for a block more.
const MOST: usize = FULL + LONGEST + 2 + 2 * Rounded::MOST_BYTES + BLOCK;

/// See the module.
#[derive(Debug, Clone)]
pub(super) struct Text {
    bytes: Box<[u8; MOST]>,
    length: usize,
}

impl Default for Text {
    fn default() -> Self {
        Text { bytes: Box::new([0; MOST]), length: 0 }
    }
}

impl Text {
    /// Puts a line together with a Z word behind X and Y, and another number for E; its length.
    #[inline(always)]
    pub(super) fn spell(&mut self, seats: &Seats, room: &Room, z: Option<Rounded>, e: Option<Rounded>) -> usize {
        let from = self.length;
        let mut done = 0;
        let anchor = seats.anchor();
        let [e_from, e_to] = seats.e_at();
        if let Some(e) = e.filter(|_| e_from < anchor) {
            self.copy(room, done, e_from);
            self.block(|block| e.spell(block));
            done = e_to;
        }
        if let Some(z) = z {
            self.copy(room, done, anchor);
            self.block(|block| {
                [block[0], block[1]] = *b" Z";
                2
            });
            self.block(|block| z.spell(block));
            done = anchor;
        }
        if let Some(e) = e.filter(|_| e_from > anchor) {
            self.copy(room, done, e_from);
            self.block(|block| e.spell(block));
            done = e_to;
        }
        self.copy(room, done, seats.whole());
        self.length - from
    }

    /// Lines that stay come next, and then another that is put together; what there is no room for goes out.
    #[inline(always)]
    pub(super) fn stay(&mut self, lines: &[u8], out: &mut Vec<u8>) {
        if self.length + lines.len() > FULL {
            self.append_to(out);
            out.extend_from_slice(lines);
        } else if !lines.is_empty() {
            self.bytes[self.length..self.length + lines.len()].copy_from_slice(lines);
            self.length += lines.len();
        }
    }

    /// All goes out.
    #[inline]
    pub(super) fn append_to(&mut self, out: &mut Vec<u8>) {
        out.extend_from_slice(&self.bytes[..self.length]);
        self.length = 0;
    }

    /// Adds `room[from..to]`.
    #[inline(always)]
    fn copy(&mut self, room: &Room, mut from: usize, to: usize) {
        while from < to
            && let Some(bytes) = room.get(from..).and_then(|rest| rest.first_chunk::<BLOCK>())
        {
            self.block(|block| {
                *block = *bytes;
                (to - from).min(BLOCK)
            });
            from += BLOCK;
        }
    }

    /// Adds what `set` sets, of which it tells the length.
    #[inline(always)]
    fn block(&mut self, set: impl FnOnce(&mut [u8; BLOCK]) -> usize) {
        debug_assert!(self.length + BLOCK <= MOST, "a line is longer than plain ones are");
        if let Some(block) = self.bytes.get_mut(self.length..).and_then(|rest| rest.first_chunk_mut()) {
            self.length += set(block);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::follow::ledger::Axis;
    use crate::follow::ledger::Spelling;
    use crate::toolpath::plain::{Plain, PlainLines};

    /// The longest line that is plain, between others, as often as there is no room for it any more.
    #[test]
    fn the_longest_lines_are_put_together() {
        let number = |value: f64, decimals| {
            let how = Spelling { absolute: true, unit: 1.0, decimals, least: decimals };
            Axis::default().write(value, 0.0, 0.0, how)
        };
        let long = "G1 X-1234567.1234567 Y-1234567.1234567 E-1234567.1234567 F-1234567.1234567\r\n";
        for (line, z_first) in
            [(long.to_string(), true), (long.replace(" E", " #").replace(" X", " E").replace(" #", " X"), false)]
        {
            let bytes = line.clone() + &"G1 X1\n".repeat(30);
            let mut plain = Plain::default();
            assert!(PlainLines::default().next(&mut plain, bytes.as_bytes()));
            let room = bytes.as_bytes().first_chunk().unwrap();
            let want = line.replace("E-1234567.1234567", "E-7654321.765432100");
            let at = want.rfind(if z_first { " E" } else { " F" }).unwrap();
            let want = format!("{} Z-123456.123456789{}", &want[..at], &want[at..]);
            let (mut text, mut out, mut all) = (Text::default(), Vec::new(), String::new());
            for n in 0..300 {
                let stay = "G1 X1\n".repeat(n % 40);
                text.stay(stay.as_bytes(), &mut out);
                let (z, e) = (number(-123_456.123_456_789, 9), number(-7_654_321.765_432_1, 9));
                assert_eq!(text.spell(&plain.seats, room, Some(z), Some(e)), want.len());
                all += &(stay + &want);
            }
            text.append_to(&mut out);
            assert_eq!(String::from_utf8(out).unwrap(), all);
        }
    }
}
