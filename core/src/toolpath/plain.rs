//! The line that files are made of, `G1 X12.3 Y4.56 E0.789 F1200`, read in one go.
//!
//! A quick way beside [`Line`](super::words::Line) and never instead of it: what is read here reads alike there (a test
//! holds that), and what is spelt in any other way is left to it. Digits are read eight at a time; what lines that follow
//! one another have in common is [learnt](super::layout) and not looked for again.

use super::layout::Layout;
use super::number::{POWERS, TENS};

/// A straight move: a G0 or G1 word, then X, Y, E and F in any order, one at least, each with a single space before it; no
/// comment, and LF or CR LF behind it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Plain {
    /// The numbers, each in the place of its [letter](place).
    pub(super) numbers: [Apart; 4],
    pub(crate) seats: Seats,
}

/// A number with room beside it: two side by side are fetched as one pair just after they were stored one by one, for which the machine waits
/// (13 nanoseconds a line and not 10).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[repr(align(16))]
pub(super) struct Apart(pub(super) f64);

/// Where what matters of a plain line stands, from its beginning on.
/// (By fours of bytes, so that it is copied without overlaps.)
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[repr(align(4))]
pub(crate) struct Seats {
    /// Bytes of the line without its ending, and with it.
    pub(super) length: u8,
    pub(super) whole: u8,
    /// Where the values begin, and where they end, each in the place of its letter; 0 for what is not there.
    pub(super) starts: [u8; 4],
    pub(super) ends: [u8; 4],
    pub(super) e_decimals: u8,
}

impl Seats {
    /// Bytes of the line with its ending.
    #[inline]
    pub(crate) fn whole(&self) -> usize {
        self.whole.into()
    }

    /// Bytes of its ending.
    #[inline]
    pub(crate) fn ending(&self) -> usize {
        (self.whole - self.length).into()
    }

    /// Whether it has an E word.
    #[inline]
    pub(crate) fn has_e(&self) -> bool {
        self.ends[E] != 0
    }

    /// The decimals of the E word, 0 without one.
    #[inline]
    pub(crate) fn e_decimals(&self) -> u8 {
        self.e_decimals
    }

    /// Where the value of the E word stands.
    #[inline]
    pub(crate) fn e_at(&self) -> [usize; 2] {
        [self.starts[E], self.ends[E]].map(usize::from)
    }

    /// End of the last word that is X or Y; 0 without one.
    #[inline]
    pub(crate) fn anchor(&self) -> usize {
        self.ends[X].max(self.ends[Y]).into()
    }
}

/// A plain line is not longer than this: 76 bytes, for each letter stands once.
pub(crate) const LONGEST: usize = 96;

/// A line that begins so near to the end of the bytes is not read here.
const ROOM: usize = LONGEST + 32;

/// The start of a line and what comes after it.
pub(crate) type Room = [u8; ROOM];

const X: usize = 0;
const Y: usize = 1;
pub(super) const E: usize = 2;
pub(super) const F: usize = 3;

/// The place of a letter among the four of a plain line.
#[inline(always)]
pub(super) fn place(letter: u8) -> Option<usize> {
    match letter {
        b'X' => Some(X),
        b'Y' => Some(Y),
        b'E' => Some(E),
        b'F' => Some(F),
        _ => None,
    }
}

impl Plain {
    #[inline]
    fn word(&self, place: usize) -> Option<f64> {
        (self.seats.ends[place] != 0).then_some(self.numbers[place].0)
    }

    /// The number of the X word.
    #[inline]
    pub(crate) fn x(&self) -> Option<f64> {
        self.word(X)
    }

    /// The number of the Y word.
    #[inline]
    pub(crate) fn y(&self) -> Option<f64> {
        self.word(Y)
    }

    /// The number of the E word.
    #[inline]
    pub(crate) fn e(&self) -> Option<f64> {
        self.word(E)
    }
}

/// A plain line of which nothing matters by itself: whatever of X, Y and E comes last says where they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Passing {
    /// Bytes of the line with its ending.
    pub(crate) whole: u8,
    /// Where the numbers of X, Y, E and F begin; 0 for what is not there.
    pub(crate) starts: [u8; 4],
}

impl Passing {
    /// No number of X, Y or E of such a line is as large, mm.
    pub(crate) const LESS_THAN: f64 = 1e5;

    /// Whether it has an E word.
    #[inline]
    pub(crate) fn has_e(self) -> bool {
        self.starts[E] != 0
    }

    /// The number at an index of `bytes`, which was found there before; none at 0.
    #[inline]
    pub(crate) fn number(bytes: &[u8], at: usize) -> Option<f64> {
        if at == 0 { None } else { super::number::scan(&bytes[at..]).map(|(number, _)| number.value) }
    }
}

/// Lines that passed, one after another.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Passed {
    lines: usize,
    bytes: usize,
    /// The last one, where it begins, and where the numbers begin that came last but since lines have their words in its places.
    last: Passing,
    begins: usize,
    places: [usize; 4],
}

impl Passed {
    #[inline(always)]
    pub(crate) fn add(&mut self, line: Passing) {
        if line.starts != self.last.starts {
            self.places = self.all_places();
        }
        (self.last, self.begins) = (line, self.bytes);
        self.bytes += usize::from(line.whole);
        self.lines += 1;
    }

    /// Their bytes.
    #[inline(always)]
    pub(crate) fn bytes(&self) -> usize {
        self.bytes
    }

    /// How many they are.
    #[inline]
    pub(crate) fn lines(&self) -> usize {
        self.lines
    }

    #[inline]
    fn all_places(&self) -> [usize; 4] {
        let mut places = self.places;
        for (place, start) in places.iter_mut().zip(self.last.starts).filter(|(_, start)| *start != 0) {
            *place = self.begins + usize::from(start);
        }
        places
    }

    /// Where the numbers of X, Y and E that came last begin; 0 where none came.
    #[inline]
    pub(crate) fn places(&self) -> [usize; 3] {
        let [x, y, e, _] = self.all_places();
        [x, y, e]
    }
}

/// Reads plain lines one after another, quicker where each is laid out as the one before.
#[derive(Debug, Clone, Default)]
pub(crate) struct PlainLines {
    layout: Layout,
    /// The plain line before was laid out so.
    known: bool,
    /// Where the values of the line before ended, and how many lines before it had them there too.
    ends: u64,
    steady: u8,
}

/// After so many lines with their words in the same places it is learnt how they are laid out. Learning takes longer than reading does: after
/// three lines already, files whose layout changes every few lines were read a fifth slower.
const STEADY: u8 = 8;

impl PlainLines {
    /// Reads the line at the start of `bytes`, which need not end with it, into `plain`. False if that is not plain, or so near to the end of
    /// `bytes` that it cannot be told; what it is then is of no use.
    #[inline(always)]
    pub(crate) fn next(&mut self, plain: &mut Plain, bytes: &[u8]) -> bool {
        let Some(bytes) = bytes.first_chunk() else { return false };
        if self.known && self.layout.fits(bytes) {
            self.layout.read(plain, bytes);
            return true;
        }
        begins(bytes) && self.find(plain, bytes)
    }

    /// The same for lines with X, Y or E, and numbers of those that are [small](Passing::LESS_THAN).
    #[inline(always)]
    pub(crate) fn pass(&mut self, bytes: &[u8]) -> Option<Passing> {
        let bytes = bytes.first_chunk()?;
        if self.known && self.layout.fits(bytes) {
            return self.layout.passes();
        }
        let mut plain = Plain::default();
        let small = |number: Option<f64>| number.is_none_or(|n| n.abs() < Passing::LESS_THAN);
        let read =
            begins(bytes) && self.find(&mut plain, bytes) && small(plain.x()) && small(plain.y()) && small(plain.e());
        let Seats { whole, starts, .. } = plain.seats;
        (read && starts[..F] != [0; F]).then_some(Passing { whole, starts })
    }

    /// Passes all such lines at the start of `bytes`; where E words are amounts, `amount` is told each.
    #[inline(always)]
    pub(crate) fn pass_all(&mut self, bytes: &[u8], mut amount: Option<impl FnMut(f64)>) -> Passed {
        let mut passed = Passed::default();
        while let Some(line) = self.pass(&bytes[passed.bytes()..]) {
            if let Some(amount) = &mut amount
                && line.has_e()
            {
                amount(self.e_of(line, &bytes[passed.bytes()..]).unwrap_or_default());
            }
            passed.add(line);
        }
        passed
    }

    /// The number of the E word of a line that passed, which is the last that was read and begins at the start of `bytes`.
    #[inline]
    pub(crate) fn e_of(&self, line: Passing, bytes: &[u8]) -> Option<f64> {
        let known = bytes.first_chunk().filter(|_| self.known).and_then(|bytes| self.layout.e(bytes));
        known.or_else(|| Passing::number(bytes, line.starts[E].into()))
    }

    /// Reads a line that [begins] as a plain one the long way. (Called, files of many layouts took a twentieth longer; in WebAssembly, where modules
    /// are to be small, calling it is quicker.)
    #[cfg_attr(not(target_family = "wasm"), inline(always))]
    #[cfg_attr(target_family = "wasm", inline)]
    fn find(&mut self, plain: &mut Plain, bytes: &Room) -> bool {
        plain.seats = Seats::default();
        let mut ends = 0;
        let read = words(bytes, |word, number, [from, to]| {
            if plain.seats.ends[word] != 0 {
                return None;
            }
            plain.numbers[word].0 = number.value();
            (plain.seats.starts[word], plain.seats.ends[word]) = (byte(from), byte(to));
            ends = ends << 8 | to as u64;
            if word == E {
                plain.seats.e_decimals = byte(number.decimals);
            }
            Some(())
        });
        let Some([length, whole]) = read else { return false };
        (plain.seats.length, plain.seats.whole) = (byte(length), byte(whole));
        self.known = false;
        // Where words end as they did it is worth to learn the layout.
        if ends != self.ends {
            (self.ends, self.steady) = (ends, 0);
            return true;
        }
        self.steady += 1;
        if self.steady == STEADY {
            self.steady = 0;
            self.known = self.layout.learn(bytes, whole);
        }
        true
    }
}

/// A place in a line, or a few digits.
#[inline(always)]
#[expect(clippy::cast_possible_truncation, reason = "less than 256")]
pub(super) fn byte(n: usize) -> u8 {
    n as u8
}

/// Whether a plain line may begin with these bytes.
#[inline]
pub(crate) fn begins(bytes: &[u8]) -> bool {
    matches!(bytes, [b'G', b'0' | b'1', b' ', ..])
}

/// Finds the words of the line at the start of `bytes`, which [begins] as a plain one, in order, and hands each to `take`: the place of its
/// letter, its number, and where that begins and ends. The line's length without its ending and with it, unless the line is not plain or `take`
/// will not have a word.
#[inline(always)]
fn words(bytes: &Room, mut take: impl FnMut(usize, Number, [usize; 2]) -> Option<()>) -> Option<[usize; 2]> {
    let mut at = 3;
    while at < LONGEST {
        let word = place(bytes[at])?;
        let value: &[u8; 24] = bytes[at + 1..].first_chunk()?;
        let number = decimal(value)?;
        let to = at + 1 + number.length;
        take(word, number, [at + 1, to])?;
        match value[number.length] {
            b' ' => at = to + 1,
            b'\n' => return Some([to, to + 1]),
            b'\r' if value[number.length + 1] == b'\n' => return Some([to, to + 2]),
            _ => return None,
        }
    }
    None
}

/// A number of at most seven digits on each side of its point: as found, not yet made.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number {
    minus: bool,
    /// All its digits, as [`number`] takes them, or those behind the point where there are more than eight; the others then.
    digits: u64,
    rest: u64,
    /// Digits behind the point, and bytes in all.
    pub(super) decimals: usize,
    pub(super) length: usize,
}

impl Number {
    #[inline]
    pub(super) fn value(&self) -> f64 {
        let decimals = self.decimals & 7;
        let mantissa = number(self.digits);
        let mantissa = if self.rest == 0 { mantissa } else { number(self.rest) * TENS[decimals] + mantissa };
        // By way of a signed number, which is a single step on most machines.
        #[expect(clippy::cast_precision_loss, clippy::cast_possible_wrap, reason = "14 digits: exact")]
        let value = mantissa as i64 as f64 / POWERS[decimals];
        // No question of it: signs come as they like, and a machine guesses wrong.
        f64::from_bits(value.to_bits() ^ (u64::from(self.minus) << 63))
    }
}

/// Finds the number at the start of `bytes`.
#[cfg_attr(not(target_family = "wasm"), inline(always))]
#[cfg_attr(target_family = "wasm", inline)]
pub(super) fn decimal(bytes: &[u8; 24]) -> Option<Number> {
    let minus = bytes[0] == b'-';
    let sign = usize::from(minus);
    let (less, others) = look(*bytes[sign..].first_chunk()?);
    let bits = others.trailing_zeros() & !7;
    let whole = bits as usize / 8;
    let point = sign + whole;
    if others == 0 || bytes[point] != b'.' {
        // No point, and so all of it is before one.
        return (whole > 0 && whole <= 7).then(|| {
            let digits = less << (64 - bits);
            Number { minus, digits, rest: 0, decimals: 0, length: point }
        });
    }
    let behind = others & others.wrapping_sub(1);
    if behind != 0 {
        // All of it lies in these eight bytes: at most six digits, once the point between them is taken out.
        let end = behind.trailing_zeros() & !7;
        let length = sign + end as usize / 8;
        let decimals = length - point - 1;
        return (decimals > 0).then(|| {
            let before = (1 << bits) - 1;
            let digits = ((less & before) | ((less >> 8) & !before)) << (72 - end);
            Number { minus, digits, rest: 0, decimals, length }
        });
    }
    let (part, others) = look(*bytes[point + 1..].first_chunk()?);
    let end = others.trailing_zeros() & !7;
    let decimals = end as usize / 8;
    if decimals == 0 || decimals > 7 {
        return None;
    }
    let part = part << (64 - end);
    let before = if bits == 0 { 0 } else { less << (64 - bits) };
    // Side by side they are one number, if that has no more than eight digits.
    let (digits, rest) = if whole + decimals <= 8 { (part | (before >> end), 0) } else { (part, before) };
    Some(Number { minus, digits, rest, decimals, length: point + 1 + decimals })
}

/// Eight bytes less '0', the first in the lowest byte, and the high bit of each that is no digit.
#[inline]
fn look(bytes: [u8; 8]) -> (u64, u64) {
    // A digit less '0' is 0 to 9: with 0x76 added it has no high bit, and anything above has.
    let less = u64::from_le_bytes(bytes) ^ 0x3030_3030_3030_3030;
    let raised = (less & 0x7f7f_7f7f_7f7f_7f7f) + 0x7676_7676_7676_7676;
    (less, (raised | less) & 0x8080_8080_8080_8080)
}

/// The number that eight digits make, one in a byte, the last in the highest: pairs, fours and all eight by one multiplication each.
#[inline]
pub(super) fn number(eight: u64) -> u64 {
    let pairs = eight.wrapping_mul(10).wrapping_add(eight >> 8);
    let mask = 0x0000_00ff_0000_00ff;
    let low = (pairs & mask).wrapping_mul(0x000f_4240_0000_0064);
    let high = ((pairs >> 16) & mask).wrapping_mul(0x0000_2710_0000_0001);
    low.wrapping_add(high) >> 32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::toolpath::words::{Kind, Line};
    use proptest::prelude::*;

    /// What is read here, the slow reader reads alike.
    fn agrees(text: &str) -> bool {
        let mut plain = Plain::default();
        if !PlainLines::default().next(&mut plain, text.as_bytes()) {
            return false;
        }
        let bytes = &text.as_bytes()[..plain.seats.length.into()];
        assert!(
            matches!(&text.as_bytes()[plain.seats.length.into()..plain.seats.whole()], b"\n" | b"\r\n"),
            "{text:?}"
        );
        assert!(!bytes.contains(&b'\n') && !bytes.contains(&b'\r'), "{text:?}");
        let mut line = Line::default();
        line.read(bytes);
        assert_eq!((line.kind, line.doubt, line.checksum), (Kind::Words, None, None), "{text:?}");
        let [g, words @ ..] = line.words() else { panic!("{text:?}") };
        assert_eq!((g.letter, g.number.map(|n| n.decimals)), (b'G', Some(0)), "{text:?}");
        assert!(g.number.is_some_and(|n| n.value < 1.5), "{text:?}");
        for (letter, quick) in [(b'X', plain.x()), (b'Y', plain.y()), (b'E', plain.e())] {
            let slow = line.get(letter).map(|w| w.number.unwrap().value.to_bits());
            assert_eq!(slow, quick.map(f64::to_bits), "{text:?}");
        }
        assert!(words.iter().all(|w| b"XYEF".contains(&w.letter) && w.number.is_some()), "{text:?}");
        let last = words.iter().rev().find(|w| matches!(w.letter, b'X' | b'Y'));
        assert_eq!(plain.seats.anchor(), last.map_or(0, |w| w.to), "{text:?}");
        let e = line.get(b'E');
        assert_eq!(plain.seats.e_at(), e.map_or([0; 2], |w| [w.from, w.to]), "{text:?}");
        assert_eq!(plain.seats.e_decimals(), e.map_or(0, |w| w.number.unwrap().decimals), "{text:?}");
        true
    }

    #[test]
    fn reads_plain_lines_and_no_others() {
        let more = "G1 X1 Y2 E3\n".repeat(20);
        for (text, plain) in [
            ("G1 X1.5 Y-2.25 E.125\n", true),
            ("G0 F7200 X100 Y0.001\r\n", true),
            ("G1 E-0.80000 F2400\n", true),
            ("G1 X1234567.1234567 Y0\n", true),
            ("G1 X-0 Y-0.0\n", true),
            ("G1 X12345678 Y0\n", false),
            ("G1 X1.12345678\n", false),
            ("G1 X1 Y2 Z3\n", false),
            ("G1 X1 X2\n", false),
            ("G1 X1. Y2\n", false),
            ("G1 X+1 Y2\n", false),
            ("G1 X- Y2\n", false),
            ("G1 X. Y2\n", false),
            ("G1  X1 Y2\n", false),
            ("G1 X1 Y2 \n", false),
            ("G1 X1 Y2 ; over\n", false),
            ("G1 X1Y2\n", false),
            ("G1 X1E5\n", false),
            ("G1 X1.2.3\n", false),
            ("G1 x1\n", false),
            ("g1 X1\n", false),
            ("G1\n", false),
            ("G1 \n", false),
            ("G2 X1 Y1\n", false),
            ("G10 X1\n", false),
            ("G1 X1\rG1 X2\n", false),
            ("G1 X\u{663}\n", false),
        ] {
            assert_eq!(agrees(&format!("{text}{more}")), plain, "{text:?}");
        }
        // Too near to the end of the bytes, or not all there.
        assert!(!agrees("G1 X1 Y2\n"));
        assert!(!agrees("G1 X1 Y2"));
    }

    proptest! {
        #[test]
        fn any_numbers_read_alike(words in proptest::collection::vec(("[XYEF]", "-?[0-9]{0,8}", "(\\.[0-9]{0,8})?"), 1..5), end in "\r?\n") {
            let line: String = words.iter().map(|(l, whole, part)| format!(" {l}{whole}{part}")).collect();
            agrees(&format!("G1{line}{end}{}", "G1 X1 Y1\n".repeat(20)));
        }

        #[test]
        fn any_bytes_read_alike(text in "G[01] ([XYEFZ;. \r\n0-9-]{0,20})\n") {
            agrees(&format!("{text}{}", "G1 X1 Y1\n".repeat(20)));
        }

        /// After lines that were laid out alike, any line reads as by one who has seen none.
        #[test]
        fn lines_read_alike_whatever_came_before(
            shape in "G[01]( [XYEF]-?[0-9]{0,7}(\\.[0-9]{0,7})?){1,4}\r?\n", digits in any::<[u8; 96]>(),
            (at, other) in (0usize..96, prop_oneof![proptest::sample::select(&b"/:09.- \r\n\0XYEFGZ;\xb0"[..]), any::<u8>()]), spoilt in any::<bool>(),
        ) {
            let more = "G1 X1 Y1\n".repeat(20);
            let mut lines = PlainLines::default();
            let mut plain = Plain::default();
            for _ in 0..=STEADY {
                lines.next(&mut plain, (shape.clone() + &more).as_bytes());
            }
            let long = shape.len() > 64;
            let mut next: Vec<u8> = shape.bytes().zip(digits).map(|(b, d)| if b.is_ascii_digit() { b'0' + d % 10 } else { b }).collect();
            next[1] = shape.as_bytes()[1];
            let length = next.len();
            if spoilt {
                next[at % length] = other;
            }
            next.extend(more.bytes());
            let mut fresh = Plain::default();
            let reads = PlainLines::default().next(&mut fresh, &next);
            let passes = PlainLines::default().pass(&next);
            prop_assert_eq!(lines.known, PlainLines::default().next(&mut plain, (shape.clone() + &more).as_bytes()) && !long);
            if let Some(room) = next.first_chunk() {
                prop_assert!(!lines.known || spoilt || lines.layout.fits(room));
            }
            // Six digits before the point, but those of F, do not pass where the layout has them, whatever they are.
            if let Some(known) = lines.clone().pass(&next) {
                prop_assert_eq!(Some(known), passes);
            } else {
                prop_assert!(passes.is_none() || next.split(|b| !b.is_ascii_digit()).any(|digits| digits.len() > 5));
            }
            prop_assert_eq!(lines.next(&mut plain, &next), reads);
            if reads {
                prop_assert_eq!(plain.seats, fresh.seats);
                for place in [X, Y, E, F] {
                    prop_assert_eq!(plain.word(place).map(f64::to_bits), fresh.word(place).map(f64::to_bits));
                }
            }
        }

        #[test]
        fn eight_bytes(bytes in any::<[u8; 8]>(), many in 0usize..9, d in any::<[u8; 8]>()) {
            let mut bytes = bytes;
            for n in 0..many {
                bytes[n] = b'0' + d[n] % 10;
            }
            let (less, others) = look(bytes);
            for (n, b) in bytes.iter().enumerate() {
                prop_assert_eq!((others >> (8 * n)) & 0xff, if b.is_ascii_digit() { 0 } else { 0x80 });
            }
            let count = bytes.iter().take_while(|b| b.is_ascii_digit()).count();
            let want = bytes[..count].iter().fold(0u64, |m, b| m * 10 + u64::from(b - b'0'));
            let shown = if count == 0 { 0 } else { less << (64 - 8 * count) };
            prop_assert_eq!(number(shown), want);
        }
    }
}
