//! How plain lines are laid out, where one after another is laid out alike: which byte is a digit, and which other character each of the rest
//! is. A line that has these has its words where the others have them, and only its digits are to be read.
//!
//! A quick way beside the long one of [`plain`](super::plain), which finds each word by where the one before it ends, and never instead of
//! it: what is read here reads alike there (a test holds that).

use super::number::{POWERS, TENS};
use super::plain::{E, F, Passing, Plain, Room, Seats, byte, number, place};

/// Lines that are longer, with their endings, have no layout here.
const MOST: usize = 64;

/// So many bytes are compared in one go where the machine has vectors.
const BLOCK: usize = 16;

/// What the bytes of a block may be: the bits in which one differs from its pattern, with `more` added, stay below 0x80.
#[derive(Debug, Clone, Copy)]
struct Block {
    /// '0' for a digit, itself for any other.
    pattern: [u8; BLOCK],
    /// For a digit what makes 0x7f of nine, for any other 0x7f, behind the line nothing.
    more: [u8; BLOCK],
}

/// How a line is laid out.
#[derive(Debug, Clone, Default)]
pub(super) struct Layout {
    blocks: Vec<Block>,
    words: Vec<Word>,
    seats: Seats,
    /// Which of the words is E, if one is.
    e: Option<usize>,
    /// Such lines may [pass](Passing).
    passes: bool,
}

/// How a word's number is read.
#[derive(Debug, Clone, Copy, Default)]
struct Word {
    /// The place of its letter.
    place: u8,
    /// Where its digits begin.
    first: u8,
    /// Of the eight bytes from there on, those before the point; all where it is not among them.
    before: u64,
    /// By so many bits they are moved, the point taken out, so that the last digit is in the last byte.
    shift: u8,
    /// The digits behind the point by themselves, where all are more than eight bytes.
    behind: Option<Behind>,
    /// The power of ten that it is to be divided by, and the bit of its sign.
    power: f64,
    minus: u64,
}

/// Digits behind a point.
#[derive(Debug, Clone, Copy)]
struct Behind {
    from: u8,
    shift: u8,
    decimals: u8,
}

impl Layout {
    /// Becomes that of the plain line of `whole` bytes at the start of `bytes`. False if the line is too long.
    #[inline(never)]
    pub(super) fn learn(&mut self, bytes: &Room, whole: usize) -> bool {
        let Some(line) = bytes.get(..whole).filter(|line| line.len() <= MOST) else { return false };
        self.blocks.clear();
        self.words.clear();
        self.seats = Seats { whole: byte(whole), ..Seats::default() };
        (self.e, self.passes) = (None, true);
        for bytes in line.chunks(BLOCK) {
            let mut block = Block { pattern: [0; BLOCK], more: [0; BLOCK] };
            for ((byte, pattern), more) in bytes.iter().zip(&mut block.pattern).zip(&mut block.more) {
                (*pattern, *more) = if byte.is_ascii_digit() { (b'0', 0x7f - 9) } else { (*byte, 0x7f) };
            }
            self.blocks.push(block);
        }
        // The digit of G0 or G1 itself.
        if let Some(first) = self.blocks.first_mut() {
            (first.pattern[1], first.more[1]) = (line[1], 0x7f);
        }
        let mut word = Word::default();
        let (mut from, mut point) = (0, None);
        for (n, c) in line.iter().enumerate().skip(3) {
            match c {
                b'0'..=b'9' => {}
                b'-' => (word.minus, word.first) = (1 << 63, byte(n + 1)),
                b'.' => point = Some(n),
                b' ' | b'\r' | b'\n' => {
                    self.seats.length = byte(n);
                    self.add(word, [from, point.unwrap_or(n), n]);
                    if *c == b'\r' {
                        break;
                    }
                }
                letter => {
                    (from, point) = (n + 1, None);
                    word = Word { place: place(*letter).map_or(0, byte), first: byte(n + 1), ..Word::default() };
                }
            }
        }
        self.passes &= self.seats.starts[..F] != [0; F];
        true
    }

    /// Adds a word: where its value begins, where its point is, or would be, and where it ends.
    fn add(&mut self, mut word: Word, [from, point, to]: [usize; 3]) {
        let whole = point - usize::from(word.first);
        let decimals = (to - point).saturating_sub(1);
        let shift = |bytes: usize| byte(64 - 8 * bytes);
        if decimals == 0 {
            (word.before, word.shift) = (u64::MAX, shift(whole));
        } else if whole + 1 + decimals <= 8 {
            (word.before, word.shift) = ((1 << (8 * whole)) - 1, shift(whole + decimals));
        } else {
            (word.before, word.shift) = (u64::MAX, shift(whole));
            word.behind = Some(Behind { from: byte(point + 1), shift: shift(decimals), decimals: byte(decimals) });
        }
        word.power = POWERS[decimals];
        let letter = usize::from(word.place);
        (self.seats.starts[letter], self.seats.ends[letter]) = (byte(from), byte(to));
        if letter == E {
            self.seats.e_decimals = byte(decimals);
            self.e = Some(self.words.len());
        }
        self.passes &= whole <= 5 || letter == F;
        self.words.push(word);
    }

    /// Whether the line at the start of `bytes` is laid out so.
    #[inline(always)]
    pub(super) fn fits(&self, bytes: &Room) -> bool {
        let mut blocks = self.blocks.iter().zip(bytes.as_chunks().0);
        if cfg!(any(target_arch = "x86_64", target_arch = "aarch64")) {
            blocks.all(|(block, bytes)| block.takes(bytes))
        } else {
            blocks.fold(0, |all, (block, bytes)| all | block.strays(bytes)) == 0
        }
    }

    /// Reads the line, which is laid out so.
    #[inline(always)]
    pub(super) fn read(&self, plain: &mut Plain, bytes: &Room) {
        for word in &self.words {
            plain.numbers[usize::from(word.place & 3)].0 = word.value(bytes);
        }
        plain.seats = self.seats;
    }

    /// What there is to say of the line if it [passes](Passing).
    #[inline(always)]
    pub(super) fn passes(&self) -> Option<Passing> {
        self.passes.then_some(Passing { whole: self.seats.whole, starts: self.seats.starts })
    }

    /// The number of its E word, if it has one.
    #[inline(always)]
    pub(super) fn e(&self, bytes: &Room) -> Option<f64> {
        self.e.and_then(|e| self.words.get(e)).map(|word| word.value(bytes))
    }
}

impl Block {
    /// Whether these bytes may be here: all at once, where a compiler makes vectors of it.
    #[inline(always)]
    fn takes(&self, bytes: &[u8; BLOCK]) -> bool {
        let strays = bytes.iter().zip(&self.pattern).zip(&self.more);
        let strays = strays.map(|((is, pattern), more)| (is ^ pattern).saturating_add(*more));
        strays.fold(0, |all, stray| all | stray) < 0x80
    }

    /// The same by eights, each in a machine's word: nothing, if they may.
    #[inline(always)]
    fn strays(&self, bytes: &[u8; BLOCK]) -> u64 {
        let eight = |all: &[u8; BLOCK], n: usize| all[n..].first_chunk().map_or(0, |b| u64::from_ne_bytes(*b));
        let strays = |n: usize| {
            let differ = eight(bytes, n) ^ eight(&self.pattern, n);
            // Without its high bit none of them carries over into the next.
            ((differ & 0x7f7f_7f7f_7f7f_7f7f) + eight(&self.more, n)) | differ
        };
        (strays(0) | strays(8)) & 0x8080_8080_8080_8080
    }
}

impl Word {
    #[inline(always)]
    fn value(&self, bytes: &Room) -> f64 {
        let less = digits(bytes, self.first);
        let mut mantissa = number(((less & self.before) | ((less >> 8) & !self.before)) << (self.shift & 63));
        if let Some(behind) = self.behind {
            mantissa = behind.append_to(mantissa, bytes);
        }
        #[expect(clippy::cast_precision_loss, clippy::cast_possible_wrap, reason = "14 digits: exact")]
        let value = mantissa as i64 as f64 / self.power;
        f64::from_bits(value.to_bits() ^ self.minus)
    }
}

impl Behind {
    /// The number with these digits after those.
    #[inline(never)]
    fn append_to(self, mantissa: u64, bytes: &Room) -> u64 {
        mantissa * TENS[usize::from(self.decimals & 7)] + number(digits(bytes, self.from) << (self.shift & 63))
    }
}

/// Eight bytes from there on, less '0'.
#[inline(always)]
fn digits(bytes: &Room, from: u8) -> u64 {
    let eight = bytes[usize::from(from) % MOST..].first_chunk().map_or(0, |b| u64::from_le_bytes(*b));
    eight ^ 0x3030_3030_3030_3030
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn by_eights_the_same_is_taken(
            text in any::<[u8; BLOCK]>(), kinds in any::<[u8; BLOCK]>(), by in any::<[u8; BLOCK]>(), wild in 0usize..64, byte in any::<u8>(),
        ) {
            let mut block = Block { pattern: [0; BLOCK], more: [0; BLOCK] };
            let mut bytes = by;
            for n in 0..BLOCK {
                (block.pattern[n], block.more[n], bytes[n]) = match kinds[n] % 3 {
                    0 => (b'0', 0x7f - 9, b'0' + by[n] % 10),
                    1 => (text[n] % 0x80, 0x7f, text[n] % 0x80),
                    _ => (0, 0, by[n] % 0x80),
                };
            }
            prop_assert!(block.takes(&bytes) && block.strays(&bytes) == 0);
            if let Some(b) = bytes.get_mut(wild) {
                *b = byte;
                let taken = match kinds[wild] % 3 {
                    0 => byte.is_ascii_digit(),
                    1 => byte == text[wild] % 0x80,
                    _ => byte.is_ascii(),
                };
                prop_assert_eq!(block.takes(&bytes), taken);
                prop_assert_eq!(block.strays(&bytes) == 0, taken);
            }
            prop_assert_eq!(block.takes(&by), block.strays(&by) == 0);
        }
    }
}
