//! Writing a line anew: only the words that changed, in the line's own spelling.

use super::ledger::Decimal;
use super::survey::Survey;
use crate::toolpath::number;
use crate::toolpath::words::{Line, Word, xor};

/// A number for a word: rounded here, or the line's own bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Value {
    Own,
    New(Decimal),
}

/// The words that a piece says anew, in the order in which those without a word on the line are put in.
pub(crate) type Edits = Vec<(u8, Value)>;

/// A line as it was read, with what is needed to spell like it, and what was told of its way beforehand.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Source<'a> {
    pub bytes: &'a [u8],
    pub line: &'a Line,
    pub survey: Option<&'a Survey>,
}

impl Source<'_> {
    /// How the line sets its words apart.
    #[inline]
    fn gap(&self) -> &'static [u8] {
        let mut words = self.line.words().windows(2);
        let tight = self.line.words().len() > 1 && words.all(|w| w[0].to == w[1].start);
        if tight { b"" } else { b" " }
    }

    /// A letter in the line's case: that of the word which it comes after, for an `e` that touches a word of the other case may be an exponent.
    #[inline]
    fn letter(&self, letter: u8) -> u8 {
        let is_lower = |w: &Word| self.bytes[w.start].is_ascii_lowercase();
        let lower = self.anchor().map_or_else(|| self.line.words().iter().all(is_lower), is_lower);
        if lower { letter.to_ascii_lowercase() } else { letter }
    }

    #[inline]
    fn motion_word(&self) -> Option<&Word> {
        let motion = |w: &&Word| w.letter == b'G' && w.number.is_some_and(|n| n.value < 3.5);
        self.line.words().iter().find(motion)
    }

    /// The word after which words that the line lacks are put in.
    #[inline]
    fn anchor(&self) -> Option<&Word> {
        let place = self.line.words().iter().rev().find(|w| matches!(w.letter, b'X' | b'Y'));
        place.or_else(|| self.motion_word())
    }

    /// The line with some words said anew; `drop` names a letter whose word is left out.
    #[inline]
    pub(crate) fn first(&self, edits: &[(u8, Value)], drop: Option<u8>, out: &mut Vec<u8>) {
        let missing = || edits.iter().filter(|(l, v)| !self.line.has(*l) && matches!(v, Value::New(_)));
        let put_in = |out: &mut Vec<u8>, after: bool| {
            for (letter, value) in missing() {
                if let Value::New(d) = value {
                    if after {
                        out.extend_from_slice(self.gap());
                    }
                    out.push(self.letter(*letter));
                    d.write(out);
                    if !after {
                        out.extend_from_slice(self.gap());
                    }
                }
            }
        };
        let anchor = self.anchor().map(|w| w.start);
        let mut done = 0;
        let mut begun = false;
        for word in self.line.words() {
            if anchor.is_none() && !begun && word.letter != b'N' {
                out.extend_from_slice(&self.bytes[done..word.start]);
                done = word.start;
                put_in(out, false);
                begun = true;
            }
            if drop == Some(word.letter) {
                // The gap before it goes with it.
                let gap = self.bytes[done..word.start].iter().rev().take_while(|b| b.is_ascii_whitespace()).count();
                out.extend_from_slice(&self.bytes[done..word.start - gap]);
                done = word.to;
            } else if let Some((_, Value::New(d))) = edits.iter().find(|(l, _)| *l == word.letter) {
                out.extend_from_slice(&self.bytes[done..word.from]);
                d.write(out);
                done = word.to;
            }
            if anchor == Some(word.start) {
                out.extend_from_slice(&self.bytes[done..word.to]);
                done = word.to;
                put_in(out, true);
            }
        }
        out.extend_from_slice(&self.bytes[done..]);
    }

    /// A line for a later piece of the move: the motion word if the line has one, then the words of `edits` in the
    /// line's order, those that it lacks after X and Y.
    #[inline]
    pub(crate) fn later(&self, edits: &[(u8, Value)], out: &mut Vec<u8>) {
        let lead = self.bytes.iter().take_while(|b| b.is_ascii_whitespace()).count();
        out.extend_from_slice(&self.bytes[..lead]);
        let mut first = true;
        let mut gap = |out: &mut Vec<u8>| {
            if !first {
                out.extend_from_slice(self.gap());
            }
            first = false;
        };
        let motion = self.motion_word();
        if let Some(g) = motion {
            gap(out);
            out.extend_from_slice(&self.bytes[g.start..g.to]);
        }
        let mut say = |out: &mut Vec<u8>, letter: u8, value: Value| {
            let word = self.line.get(letter);
            match (value, word) {
                (Value::New(d), _) => {
                    gap(out);
                    out.push(word.map_or_else(|| self.letter(letter), |w| self.bytes[w.start]));
                    d.write(out);
                }
                (Value::Own, Some(w)) => {
                    gap(out);
                    let number = &self.bytes[w.from..w.to];
                    // It may have stood apart, or after a word that has no exponent, and touch another one now.
                    if letter == b'E'
                        && out.last().is_some_and(|b| b.is_ascii_digit() || *b == b'.')
                        && !number.contains(&b'.')
                    {
                        let like_exponent = matches!(number.first(), Some(b'+' | b'-' | b'0'));
                        if like_exponent || self.bytes[w.start].is_ascii_lowercase() {
                            out.push(b' ');
                        }
                    }
                    out.push(self.bytes[w.start]);
                    out.extend_from_slice(number);
                }
                (Value::Own, None) => {}
            }
        };
        let lacking = |letter: u8| !self.line.has(letter);
        let anchor = self.anchor().filter(|w| w.letter != b'G').map(|w| w.start);
        if anchor.is_none() {
            for (letter, value) in edits.iter().filter(|(l, _)| lacking(*l)) {
                say(out, *letter, *value);
            }
        }
        for word in self.line.words() {
            if let Some((letter, value)) = edits.iter().find(|(l, _)| *l == word.letter) {
                say(out, *letter, *value);
            }
            if anchor == Some(word.start) {
                for (letter, value) in edits.iter().filter(|(l, _)| lacking(*l)) {
                    say(out, *letter, *value);
                }
            }
        }
    }

    /// The exact digits of a word.
    #[inline]
    pub(crate) fn digits(&self, word: &Word) -> Decimal {
        Decimal {
            units: number::mantissa(&self.bytes[word.from..word.to]),
            decimals: word.number.map_or(0, |n| n.decimals),
        }
    }
}

/// Ends the line that `text` holds from index `from` on with its checksum. `tail` is what the original line had from
/// its `*` on, if the text still ends with it (a comment after the checksum stays).
#[inline]
pub(crate) fn seal(text: &mut Vec<u8>, from: usize, tail: &[u8]) {
    text.truncate(text.len() - tail.len());
    let mark = if text[from..].starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
    let sum = xor(&text[from + mark..]);
    text.push(b'*');
    text.extend_from_slice(sum.to_string().as_bytes());
    let digits = tail.iter().skip(1).take_while(|b| b.is_ascii_digit()).count();
    text.extend_from_slice(tail.get(1 + digits..).unwrap_or(&[]));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(text: &str, edits: &[(u8, Value)], drop: Option<u8>) -> (String, String) {
        let mut line = Line::default();
        line.read(text.as_bytes());
        let source = Source { bytes: text.as_bytes(), line: &line, survey: None };
        let (mut a, mut b) = (Vec::new(), Vec::new());
        source.first(edits, drop, &mut a);
        source.later(edits, &mut b);
        (String::from_utf8(a).unwrap(), String::from_utf8(b).unwrap())
    }

    #[test]
    fn spells_like_the_line() {
        let new = |units, decimals| Value::New(Decimal { units, decimals });
        let z = (b'Z', new(287, 3));
        let cases = [
            ("G1 X10 Y20 E1 ; c", vec![z], "G1 X10 Y20 Z0.287 E1 ; c", "G1 Z0.287"),
            (
                "G1X10Y20E1",
                vec![(b'X', new(5000, 3)), (b'Y', new(10000, 3)), z],
                "G1X5.000Y10.000Z0.287E1",
                "G1X5.000Y10.000Z0.287",
            ),
            ("g1 f1200 x10", vec![(b'X', Value::Own), z], "g1 f1200 x10 z0.287", "g1 x10 z0.287"),
            (" x10 y2", vec![(b'X', new(5, 0)), (b'Y', Value::Own), z], " x5 y2 z0.287", " x5 y2 z0.287"),
            ("G1 Z.6F300", vec![z], "G1 Z0.287F300", "G1 Z0.287"),
            (
                "G3 Z.8 I-1 J-.6 P1",
                vec![(b'X', new(1, 0)), (b'Y', new(2, 0)), z, (b'I', new(3, 0)), (b'J', Value::Own)],
                "G3 X1 Y2 Z0.287 I3 J-.6 P1",
                "G3 X1 Y2 Z0.287 I3 J-.6",
            ),
            (
                "N12 G1 X 10.5 Y 3 (a) E.5",
                vec![z, (b'E', new(1, 1))],
                "N12 G1 X 10.5 Y 3 Z0.287 (a) E0.1",
                "G1 Z0.287 E0.1",
            ),
        ];
        for (text, edits, first, later) in cases {
            assert_eq!(run(text, &edits, None), (first.to_string(), later.to_string()), "{text}");
        }
        let (first, _) = run("G2 X1 Y0 R5 E1", &[(b'I', new(1, 0)), (b'J', new(0, 0))], Some(b'R'));
        assert_eq!(first, "G2 X1 Y0 I1 J0 E1");
    }

    #[test]
    fn seals() {
        let mut text = b"N4 T0*57 ; tool * 5".to_vec();
        seal(&mut text, 0, b"*57 ; tool * 5");
        let want = xor(b"N4 T0");
        assert_eq!(String::from_utf8(text).unwrap(), format!("N4 T0*{want} ; tool * 5"));
    }
}
