//! Lines of commands as nearly all are spelt, `G3 X10.5 Y4 I-2 J0.5 E3.1`, read in one go.
//!
//! A quick way beside [`Line::read`] and never instead of it: what is read here reads alike there (a test holds that), and what is spelt in any
//! other way is left to it.

use super::number::Number;
use super::plain::{byte, decimal};
use super::words::{Kind, Line, Word};

/// Letters of such a line, each at most once.
const LETTERS: &[u8] = b"XYZEFIJRSPABCUVWKLOQ";

/// Reads tidy lines, and tries less often where lines are not tidy.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tidy {
    /// So many lines are left to the slow reader before the next one is tried.
    skip: u8,
}

/// After a line that was not tidy.
const SKIP: u8 = 16;

impl Tidy {
    /// Reads the line at the start of `bytes`, which need not end with it. False if it is not tidy, or so near to the end of `bytes` that it cannot be told, or
    /// if the line before was noise: `line` is of no use then. (In WebAssembly none is: the module is to be small.)
    #[inline]
    pub(crate) fn read(&mut self, line: &mut Line, bytes: &[u8]) -> bool {
        if cfg!(target_family = "wasm") || line.is_noise() || !matches!(bytes, [b'G', b'0'..=b'9', ..]) {
            return false;
        }
        if self.skip > 0 {
            self.skip -= 1;
            return false;
        }
        let read = words(line, bytes).is_some();
        self.skip = if read { 0 } else { SKIP };
        read
    }
}

fn words(line: &mut Line, bytes: &[u8]) -> Option<()> {
    line.clear(Kind::Words);
    let mut start = 0;
    loop {
        let (&letter, value) = bytes.get(start..).and_then(<[u8]>::split_first)?;
        let value = value.first_chunk()?;
        if start > 0 && !LETTERS.contains(&letter) || line.has(letter) {
            return None;
        }
        let number = decimal(value)?;
        let (from, to) = (start + 1, start + 1 + number.length);
        let read = Number { value: number.value(), decimals: byte(number.decimals) };
        line.push(Word { letter, number: Some(read), start, from, to });
        start = match value[number.length..] {
            [b'\n' | b'\r' | b';', ..] | [b' ', b';', ..] => return Some(()),
            [b' ', ..] => to + 1,
            _ => return None,
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::toolpath::words::Kind;
    use proptest::prelude::*;

    /// What is read here, the slow reader reads alike.
    fn agrees(text: &str, before: &str) -> bool {
        let [mut quick, mut slow] = [Line::default(), Line::default()];
        quick.read(before.as_bytes());
        slow.read(before.as_bytes());
        let more = "G1 X1 Y2 E3\n".repeat(4);
        if !Tidy::default().read(&mut quick, (text.to_string() + "\n" + &more).as_bytes()) {
            return false;
        }
        let end = text.find(['\n', '\r']).unwrap_or(text.len());
        slow.read(&text.as_bytes()[..end]);
        assert_eq!(format!("{quick:?}"), format!("{slow:?}"), "{text:?}");
        assert!(quick.is_clean() && quick.kind == Kind::Words, "{text:?}");
        true
    }

    #[test]
    fn reads_tidy_lines_and_no_others() {
        for (text, tidy) in [
            ("G3 X10.5 Y4 I-2 J0.5 E3.1", true),
            ("G1 X1 Y2 Z.25 F9000", true),
            ("G92 E0", true),
            ("G28", true),
            ("G1 Z0.2;up", true),
            ("G1 Z0.2 ; up", true),
            ("G1 Z0.2\r", true),
            ("G1 Z0.2 (up)", false),
            ("G1 Z0.2 ", false),
            ("G1 Z0.2  F100", false),
            ("G1Z0.2", false),
            ("g1 Z0.2", false),
            ("G1 z0.2", false),
            ("G1 X Y", false),
            ("G1 X1 X2", false),
            ("G90 G1 X1", false),
            ("G1 X1 M104", false),
            ("G1 X1 N5", false),
            ("G1 X1. Y2", false),
            ("G1 X1*57", false),
            ("M104 S200", false),
            ("N5 G1 X1", false),
            ("GX1", false),
        ] {
            assert_eq!(agrees(text, ""), tidy, "{text:?}");
        }
        // Amid noise, and where not all is there.
        assert!(!agrees("G1 Z0.2", "\u{1}\u{1}\u{1}\u{1}"));
        assert!(!Tidy::default().read(&mut Line::default(), b"G1 Z0.2\n"));
        assert!(!Tidy::default().read(&mut Line::default(), b"G1 Z0.2"));
    }

    proptest! {
        #[test]
        fn any_lines_read_alike(
            words in proptest::collection::vec(("[A-Z]", "-?[0-9]{0,8}", "(\\.[0-9]{0,8})?"), 0..6), end in "( ;x|;|\r| |)",
            before in prop_oneof![4 => Just("G1 X1"), 1 => Just("\u{1}\u{1}\u{1}\u{1}"), 1 => Just("; y")],
        ) {
            let line: String = words.iter().map(|(l, whole, part)| format!(" {l}{whole}{part}")).collect();
            agrees(&format!("G1{line}{end}"), before);
        }

        #[test]
        fn any_bytes_read_alike(text in "G[0-9]{1,2}([XYZEFIJRGMNT;*(. \r\n0-9eE-]{0,20})") {
            agrees(&text, "");
        }
    }
}
