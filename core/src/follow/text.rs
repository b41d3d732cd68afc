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
        if let Some(block) = self.bytes.get_mut(self.length..).and_then(|rest| rest.first_chunk_mut()) {
            self.length += set(block);
        }
    }
}
