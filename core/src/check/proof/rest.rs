//! What a line holds besides where it goes: words, comments, ending.

use crate::number::Shown;
use crate::toolpath::words::{Line, Word, bits};

/// A line as bytes, its ending, and its words.
#[derive(Debug, Clone, Copy)]
pub(super) struct Said<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) ending: &'a [u8],
    pub(super) line: &'a Line,
}

/// Where a line of the rewritten toolpath stands to the original's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stands {
    /// It was put in before it.
    Before,
    /// It is that line, or its first piece.
    First,
    /// It is a later piece.
    After,
}

/// Letters whose words a rewriting may change on a motion. N words are looked at by themselves.
const GOES: u32 = bits(b"XYZEN");
/// And on an arc.
const CENTRE: u32 = bits(b"IJR");
/// Letters of axes that are carried along.
const CARRIED: u32 = bits(b"ABCUVW");

impl<'a> Said<'a> {
    fn text(&self, word: &Word) -> &'a [u8] {
        &self.bytes[word.from..word.to]
    }

    /// Where the words end: at the checksum, or the line's end.
    fn end(&self) -> usize {
        self.line.checksum.map_or(self.bytes.len(), |(at, _)| at)
    }

    /// The bytes that belong to no word, white space left out: comments, and what follows an M word.
    fn between(&self) -> Vec<u8> {
        let mut out = Vec::new();
        let mut at = 0;
        for word in self.line.words() {
            out.extend_from_slice(&self.bytes[at..word.start]);
            at = word.to;
        }
        out.extend_from_slice(self.bytes.get(at..self.end()).unwrap_or_default());
        if let Some((_, end)) = self.line.checksum {
            out.extend_from_slice(self.bytes.get(end..).unwrap_or_default());
        }
        out.retain(|b| !b.is_ascii_whitespace());
        out
    }

    /// The words whose letter is none of these, as letter and value's bytes.
    fn words_but(&self, letters: u32) -> Vec<(u8, &'a [u8])> {
        let other = |w: &&Word| bits(&[w.letter]) & letters == 0;
        self.line.words().iter().filter(other).map(|w| (w.letter, self.text(w))).collect()
    }

    fn has_checksum(&self) -> bool {
        self.line.checksum.is_some()
    }

    /// The same line, but for its N word and checksum where it has both.
    pub(super) fn is_same(&self, other: &Said<'_>) -> bool {
        if self.bytes == other.bytes {
            return true;
        }
        let counted = |s: &Said<'_>| s.has_checksum() && s.line.has(b'N');
        if !(counted(self) && counted(other)) {
            return false;
        }
        let but_n = |s: &Said<'_>| {
            let n = s.line.get(b'N').map_or((0, 0), |w| (w.start, w.to));
            let (star, end) = s.line.checksum.unwrap_or((s.bytes.len(), s.bytes.len()));
            [&s.bytes[..n.0], &s.bytes[n.1..star], &s.bytes[end..]].concat()
        };
        but_n(self) == but_n(other)
    }

    /// The same line but for the number of one word that both have.
    pub(super) fn is_same_but(&self, letter: u8, other: &Said<'_>) -> bool {
        let letters = bits(&[letter, b'N']);
        let has = |s: &Said<'_>| s.line.get(letter).is_some_and(|w| w.number.is_some());
        has(self) == has(other)
            && self.words_but(letters) == other.words_but(letters)
            && self.between() == other.between()
    }

    /// Whether this is `G92 E` and a number, and nothing else (but N word and checksum).
    pub(super) fn sets_e_alone(&self) -> bool {
        let words: Vec<&Word> = self.line.words().iter().filter(|w| w.letter != b'N').collect();
        match words.as_slice() {
            [g, e] => g.letter == b'G' && self.text(g) == b"92" && e.letter == b'E' && self.between().is_empty(),
            _ => false,
        }
    }

    /// What is wrong with the N word, if anything. A line without a checksum keeps it, and what is put in beside that has none. A
    /// line with both is counted: N goes up by one for each line that was put in, `more` so far.
    pub(super) fn number_fault(&self, original: &Said<'_>, stands: Stands, more: &mut f64) -> Option<String> {
        let number = |s: &Said<'_>| s.line.get(b'N').map(|word| word.number.map(|n| n.value));
        let text = |s: &Said<'_>| s.line.get(b'N').map(|word| s.text(word).to_vec());
        if self.has_checksum() != original.has_checksum() {
            return Some("it has a checksum and the original none, or the other way round".into());
        }
        let Some(Some(own)) = number(original).filter(|_| original.has_checksum()) else {
            let want = if stands == Stands::First { text(original) } else { None };
            return (text(self) != want).then(|| "its N word is not the original's".into());
        };
        *more += f64::from(u8::from(stands == Stands::After));
        let want = own + *more;
        *more += f64::from(u8::from(stands == Stands::Before));
        match number(self).flatten() {
            Some(n) if (n - want).abs() <= 1e-9 + want.abs() * 1e-15 => None,
            Some(n) => Some(format!("its N word is {} and should be {}", Shown(n), Shown(want))),
            None => Some(format!("its N word is lost, and should be {}", Shown(want))),
        }
    }

    /// What is wrong with a piece's other words, if anything: the first piece keeps them, later ones have none.
    pub(super) fn piece_fault(&self, original: &Said<'_>, first: bool, last: bool, arc: bool) -> Option<String> {
        let centre = if original.line.has(b'I') || original.line.has(b'J') { CENTRE | bits(b"P") } else { CENTRE };
        let letters = GOES | CARRIED | if arc { centre } else { 0 };
        // G0 to G3, with a sign or none, zeros before and none or zeros behind the point.
        let is_motion = |(letter, text): &(u8, &[u8])| {
            let text = text.strip_prefix(b"+").or_else(|| text.strip_prefix(b"-")).unwrap_or(text);
            let digits = &text[text.iter().take_while(|b| **b == b'0').count()..];
            let (whole, rest) = digits.split_at(usize::from(matches!(digits.first(), Some(b'1'..=b'3'))));
            *letter == b'G'
                && whole.len() <= 1
                && rest.iter().all(|b| matches!(b, b'.' | b'0'))
                && !rest.starts_with(b"0")
        };
        let show = |words: &[(u8, &[u8])]| -> String {
            words
                .iter()
                .map(|(l, t)| format!("{}{}", char::from(*l), String::from_utf8_lossy(t)))
                .collect::<Vec<_>>()
                .join(" ")
        };
        let mut want = original.words_but(letters);
        let mut have = self.words_but(letters);
        if !first {
            // The same motion word, or none.
            want.retain(is_motion);
            have.extend(if have.is_empty() { want.clone() } else { Vec::new() });
        }
        if want != have {
            return Some(format!("its other words are `{}` and should be `{}`", show(&have), show(&want)));
        }
        let comment = if first { original.between() } else { Vec::new() };
        if self.between() != comment {
            return Some("its comment is not the original's".into());
        }
        let right = if last { self.ending == original.ending } else { !self.ending.is_empty() };
        (!right).then(|| "its line ending is not the original's".into())
    }
}
