//! The line that files are made of, `G1 X12.3 Y4.56 E0.789 F1200`, read in one go.
//!
//! A quick way beside [`Line`](super::words::Line) and never instead of it: what is read here reads alike there (a test
//! holds that), and what is spelt in any other way is left to it. Digits are read eight at a time.

use super::number::{Number, POWERS};

/// A straight move: a G0 or G1 word, then X, Y, E and F in any order, one at least, each with a single space before it; no
/// comment, and LF or CR LF behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Plain {
    /// Bytes of the line without its ending.
    pub(crate) length: usize,
    /// Bytes of the line with it.
    pub(crate) whole: usize,
    /// Bit n: word n is there.
    there: u8,
    numbers: [Number; 4],
    /// End of the last word that is X or Y; 0 without one.
    pub(crate) anchor: usize,
    /// Where the value of the E word stands.
    pub(crate) e_at: [usize; 2],
}

/// A plain line is not longer than this.
pub(crate) const LONGEST: usize = 96;

const LETTERS: [u8; 4] = *b"XYEF";

impl Plain {
    /// Reads the line at the start of `bytes`, which need not end with it; `None` if it is not plain, or so near to the end
    /// of `bytes` that it cannot be told.
    #[inline]
    pub(crate) fn read(bytes: &[u8]) -> Option<Plain> {
        let [b'G', b'0' | b'1', b' '] = bytes.first_chunk()? else { return None };
        let mut plain =
            Plain { length: 0, whole: 0, there: 0, numbers: [Number::default(); 4], anchor: 0, e_at: [0; 2] };
        let mut at = 3;
        loop {
            let word = match bytes.get(at)? {
                b'X' => 0,
                b'Y' => 1,
                b'E' => 2,
                b'F' => 3,
                _ => return None,
            };
            if plain.there & (1 << word) != 0 {
                return None;
            }
            let (number, to) = decimal(bytes, at + 1)?;
            plain.there |= 1 << word;
            plain.numbers[word] = number;
            if word < 2 {
                plain.anchor = to;
            } else if word == 2 {
                plain.e_at = [at + 1, to];
            }
            let ending = match bytes.get(to)? {
                b' ' => {
                    at = to + 1;
                    continue;
                }
                b'\n' => 1,
                b'\r' if bytes.get(to + 1) == Some(&b'\n') => 2,
                _ => return None,
            };
            plain.length = to;
            plain.whole = to + ending;
            return (to <= LONGEST).then_some(plain);
        }
    }

    /// The number of a word of `XYEF`.
    #[inline]
    pub(crate) fn get(&self, letter: u8) -> Option<Number> {
        let word = LETTERS.iter().position(|l| *l == letter)?;
        (self.there & (1 << word) != 0).then(|| self.numbers[word])
    }
}

/// A number of at most seven digits on each side of its point, and where it ends.
#[inline]
fn decimal(bytes: &[u8], mut at: usize) -> Option<(Number, usize)> {
    let negative = *bytes.get(at)? == b'-';
    at += usize::from(negative);
    let (whole, count) = digits(*bytes.get(at..)?.first_chunk()?);
    at += count;
    let (mantissa, decimals) = if *bytes.get(at)? == b'.' {
        let (part, decimals) = digits(*bytes.get(at + 1..)?.first_chunk()?);
        if decimals == 0 || decimals > 7 {
            return None;
        }
        at += 1 + decimals;
        (whole * TENS[decimals & 7] + part, decimals)
    } else if count > 0 {
        (whole, 0)
    } else {
        return None;
    };
    if count > 7 {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "14 digits: exact")]
    let value = mantissa as f64 / POWERS[decimals & 7];
    #[expect(clippy::cast_possible_truncation, reason = "at most 7")]
    let decimals = decimals as u8;
    Some((Number { value: if negative { -value } else { value }, decimals }, at))
}

const TENS: [u64; 8] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];

/// How many digits eight bytes begin with, and the number that they make.
#[inline]
fn digits(bytes: [u8; 8]) -> (u64, usize) {
    // A digit less '0' is 0 to 9: with 0x76 added it has no high bit, and anything above has. (What carries over lies
    // behind the first byte that is no digit.)
    let less = u64::from_le_bytes(bytes) ^ 0x3030_3030_3030_3030;
    let others = (less.wrapping_add(0x7676_7676_7676_7676) | less) & 0x8080_8080_8080_8080;
    let bits = others.trailing_zeros() & !7;
    if bits == 0 {
        return (0, 0);
    }
    // Leading zeros instead of what follows; then pairs, fours and all eight by one multiplication each.
    let eight = less << (64 - bits);
    let pairs = eight.wrapping_mul(10).wrapping_add(eight >> 8);
    let mask = 0x0000_00ff_0000_00ff;
    let low = (pairs & mask).wrapping_mul(0x000f_4240_0000_0064);
    let high = ((pairs >> 16) & mask).wrapping_mul(0x0000_2710_0000_0001);
    (low.wrapping_add(high) >> 32, bits as usize / 8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::toolpath::words::{Kind, Line};
    use proptest::prelude::*;

    /// What is read here, the slow reader reads alike.
    fn agrees(text: &str) -> bool {
        let Some(plain) = Plain::read(text.as_bytes()) else { return false };
        let bytes = &text.as_bytes()[..plain.length];
        assert!(matches!(&text.as_bytes()[plain.length..plain.whole], b"\n" | b"\r\n"), "{text:?}");
        assert!(!bytes.contains(&b'\n') && !bytes.contains(&b'\r'), "{text:?}");
        let mut line = Line::default();
        line.read(bytes);
        assert_eq!((line.kind, line.doubt, line.checksum), (Kind::Words, None, None), "{text:?}");
        let [g, words @ ..] = line.words() else { panic!("{text:?}") };
        assert_eq!((g.letter, g.number.map(|n| n.decimals)), (b'G', Some(0)), "{text:?}");
        assert!(g.number.is_some_and(|n| n.value < 1.5), "{text:?}");
        for word in words {
            let (slow, quick) = (word.number.unwrap(), plain.get(word.letter).unwrap());
            assert_eq!((slow.value.to_bits(), slow.decimals), (quick.value.to_bits(), quick.decimals), "{text:?}");
        }
        assert_eq!(words.len(), LETTERS.iter().filter(|l| plain.get(**l).is_some()).count(), "{text:?}");
        let last = words.iter().rev().find(|w| matches!(w.letter, b'X' | b'Y'));
        assert_eq!(plain.anchor, last.map_or(0, |w| w.to), "{text:?}");
        assert_eq!(plain.e_at, line.get(b'E').map_or([0; 2], |w| [w.from, w.to]), "{text:?}");
        true
    }

    #[test]
    fn reads_plain_lines_and_no_others() {
        let more = "G1 X1 Y2 E3\n";
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
            agrees(&format!("G1{line}{end}G1 X1 Y1\n"));
        }

        #[test]
        fn any_bytes_read_alike(text in "G[01] ([XYEFZ;. \r\n0-9-]{0,20})\nG1 X1 Y1 E1\n") {
            agrees(&text);
        }

        #[test]
        fn eight_bytes(bytes in any::<[u8; 8]>(), many in 0usize..9, d in any::<[u8; 8]>()) {
            let mut bytes = bytes;
            for n in 0..many {
                bytes[n] = b'0' + d[n] % 10;
            }
            let count = bytes.iter().take_while(|b| b.is_ascii_digit()).count();
            let want = bytes[..count].iter().fold(0u64, |m, b| m * 10 + u64::from(b - b'0'));
            prop_assert_eq!(digits(bytes), (want, count));
        }
    }
}
