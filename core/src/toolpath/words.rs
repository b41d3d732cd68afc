//! One line to words: a letter, optional white space and a number (RS-274, NISTIR 6556 section 3.3).
//!
//! Where this reader departs from the standard, because real files do:
//! - White space inside a number is read only behind a point that no decimal follows: `X +0. 12 34` is X0.1234, as in
//!   the standard's example (section 3.3). Elsewhere (`X1 0`, `X- 5`) it is refused: many machines stop reading the
//!   number at the space, and the two readings may lie far apart.
//! - `;` begins a comment that runs to the end of the line, anywhere in it; `( )` comments may nest, and one that is
//!   never closed takes the rest of its line.
//! - A line that begins with two letters (`THING_END NAME=a`), with no letter, or with a letter and no number is text:
//!   it is no command of RS-274. So is a line of which a third or more is noise.
//! - What follows an M word belongs to it, numbers or not (`M117 Layer 1`, `M204 S500`, `M205 X8 Y8`); text that
//!   follows a T word belongs to that.
//! - Letters may stand without a number (`G28 X Y`, `G28 XY`); two letters together that are no axis letters are prose.
//! - `*` and digits at the end of a line that has an N word (or whose checksum agrees) are its checksum: the
//!   exclusive-or of all bytes before the `*` (common practice, no source).
//! - Expressions (`[ ]`), parameters (`#`) and strings are kept as they are and count as numbers that cannot be read.

use super::number::{DIGITS_LIMIT, Number, scan, scan_here};
use super::text::{has_noise, is_noise, skip_comment};

/// A word of a line: where it stands, and its number if it has one that can be read.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Word {
    /// The letter in upper case.
    pub letter: u8,
    /// The number; `None` if what follows the letter is not one.
    pub number: Option<Number>,
    /// Index of the letter in the line.
    pub start: usize,
    /// The value's bytes in the line: `from..to`.
    pub from: usize,
    /// End of the value.
    pub to: usize,
}

/// What a line is, before anyone asks what it means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// Nothing but white space, comments or a `%`.
    Blank,
    /// Words.
    Words,
    /// A command that is not made of words, or prose, or noise: it cannot move an axis.
    Text,
}

/// Why a line of words cannot be trusted although it could be split into words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Doubt {
    /// Bytes that belong to no word.
    Stray,
    /// Two letters together, not in an M word's text.
    Prose,
    /// An `e` that may be an exponent (`Y3.8e-05`).
    Exponent,
    /// A letter that stands twice.
    Twice(u8),
    /// Control bytes between the words.
    Control,
    /// The line may be skipped by a switch on the machine (`/`).
    Skippable,
    /// The checksum does not agree.
    Checksum,
}

/// A line split into words. Reused from line to line: amid lines of noise a damaged line is noise too.
#[derive(Debug, Clone)]
pub struct Line {
    words: Vec<Word>,
    /// Bit n: letter n of the alphabet is there.
    letters: u32,
    /// For each letter that is there the index of its first word.
    index: [u8; 26],
    /// What the line is.
    pub kind: Kind,
    /// The first thing that makes the line doubtful, and its index in the line.
    pub doubt: Option<(usize, Doubt)>,
    /// Index of the `*` and the end of the checksum's digits.
    pub checksum: Option<(usize, usize)>,
    /// A word has no number that can be read.
    odd: bool,
    /// The line is noise: the text that it is holds nothing that a machine could heed.
    noise: bool,
}

impl Default for Line {
    fn default() -> Self {
        Line {
            words: Vec::with_capacity(16),
            letters: 0,
            index: [0; 26],
            kind: Kind::Blank,
            doubt: None,
            checksum: None,
            odd: false,
            noise: false,
        }
    }
}

/// A letter's bit; none for what is no capital letter.
#[inline]
const fn bit(letter: u8) -> u32 {
    match letter {
        b'A'..=b'Z' => 1 << (letter - b'A'),
        _ => 0,
    }
}

/// The bits of several letters.
#[inline]
pub(crate) const fn bits(letters: &[u8]) -> u32 {
    let mut all = 0;
    let mut n = 0;
    while n < letters.len() {
        all |= bit(letters[n]);
        n += 1;
    }
    all
}

/// Letters whose second word on a line would change what a move means.
const ONCE: u32 = bits(b"XYZABCUVWEIJKRPN");

/// The most words a line may have; what follows makes it doubtful.
const WORDS_LIMIT: usize = 200;

/// M words whose parameter is text to the end of the line (messages and file names; common practice, no source).
const TEXT_M: [u32; 9] = [16, 23, 28, 30, 32, 98, 117, 118, 928];

impl Line {
    /// All words in order.
    #[must_use]
    #[inline]
    pub fn words(&self) -> &[Word] {
        &self.words
    }

    /// The first word with this letter (upper case).
    #[inline]
    #[must_use]
    pub fn get(&self, letter: u8) -> Option<&Word> {
        if !self.has(letter) {
            return None;
        }
        let slot = *self.index.get(usize::from(letter.wrapping_sub(b'A')))?;
        self.words.get(usize::from(slot))
    }

    /// Whether a word with this letter is there.
    #[inline]
    #[must_use]
    pub fn has(&self, letter: u8) -> bool {
        self.has_any(bit(letter))
    }

    /// The number of the first word with this letter, if it is there and has one.
    #[inline]
    pub(crate) fn number(&self, letter: u8) -> Option<f64> {
        self.get(letter).and_then(|word| word.number).map(|number| number.value)
    }

    /// Whether a word with one of the letters of [`bits`] is there.
    #[inline]
    pub(crate) fn has_any(&self, bits: u32) -> bool {
        self.letters & bits != 0
    }

    #[inline]
    fn doubt(&mut self, at: usize, doubt: Doubt) {
        self.doubt.get_or_insert((at, doubt));
    }

    /// The second word of a letter that may stand only once on a motion line. Beside an M word, whose own words may repeat, that is
    /// no [doubt](Line::doubt) until the line turns out to be a motion.
    #[cold]
    pub(crate) fn twice(&self) -> Option<&Word> {
        let once = self.words.iter().enumerate().filter(|(_, w)| bit(w.letter) & ONCE != 0);
        once.filter(|(n, w)| self.words[..*n].iter().any(|v| v.letter == w.letter)).map(|(_, w)| w).next()
    }

    /// Words and nothing else: such a line reads alike after any line that is no noise.
    #[inline]
    pub(crate) fn is_clean(&self) -> bool {
        self.kind == Kind::Words && self.doubt.is_none() && !self.odd && !self.noise
    }

    /// Whether it has words of these [`bits`] and nothing else, each once, with numbers.
    #[inline]
    pub(crate) fn is_bare(&self, bits: u32) -> bool {
        self.is_clean()
            && self.checksum.is_none()
            && self.letters & !bits == 0
            && self.words.len() == self.letters.count_ones() as usize
    }

    /// Whether the line is noise, and so nothing that a machine could heed.
    #[inline]
    pub(crate) fn is_noise(&self) -> bool {
        self.noise
    }

    /// Splits `bytes`, a line without its ending.
    #[inline]
    pub fn read(&mut self, bytes: &[u8]) {
        self.split(bytes);
        if self.noise || self.odd || self.doubt.is_some() || self.kind == Kind::Text {
            self.settle_noise(bytes);
        }
    }

    #[cold]
    fn settle_noise(&mut self, bytes: &[u8]) {
        let amid = self.noise;
        self.noise = match self.kind {
            Kind::Blank => amid && (bytes.is_empty() || has_noise(bytes)),
            Kind::Text => is_noise(bytes) || amid && has_noise(bytes),
            // A line that begins as a command is damaged, not noise, unless it stands amid noise.
            Kind::Words if self.begins_with_g() => amid && has_noise(bytes),
            Kind::Words => is_noise(bytes) || amid && has_noise(bytes),
        };
        if self.noise && self.kind == Kind::Words {
            self.kind = Kind::Text;
        }
    }

    /// Without words.
    #[inline]
    pub(super) fn clear(&mut self, kind: Kind) {
        self.words.clear();
        self.letters = 0;
        self.kind = kind;
        self.doubt = None;
        self.checksum = None;
        self.odd = false;
    }

    #[inline]
    fn split(&mut self, bytes: &[u8]) {
        self.clear(Kind::Blank);
        let mut i = after_mark(bytes);
        // On a counted line all but the checksum belongs to the words, texts included.
        let bytes = match bytes[i..].trim_ascii_start().first() {
            Some(b'N' | b'n') => self.cut_checksum(bytes, i),
            _ => bytes,
        };
        loop {
            match bytes.get(i) {
                None => break,
                Some(b' ' | b'\t') => i += 1,
                Some(c) if c.is_ascii_alphabetic() => {
                    let word = if !bytes.get(i + 1).is_some_and(|b| b.is_ascii_alphabetic() || *b == b'_') {
                        read_word(bytes, i)
                    } else if self.begins() {
                        self.kind = Kind::Text;
                        return;
                    } else if matches!(self.first_command(), Some(b'M' | b'T')) {
                        // `M1234 say_so : 1`: text belongs to the M word.
                        break;
                    } else {
                        self.glued_word(bytes, i)
                    };
                    if word.number.is_none() {
                        self.odd = true;
                        // `Y1O`: the letter may be a digit mistyped, and the number before it is not to be trusted.
                        let glued = i > 0 && matches!(bytes[i - 1], b'0'..=b'9' | b'.');
                        if glued && !b"XYZABCUVWE".contains(&word.letter) {
                            self.doubt(i, Doubt::Prose);
                        }
                        if self.begins() && !may_be_value(&bytes[word.from..]) {
                            self.kind = Kind::Text;
                            return;
                        }
                    }
                    if word.letter == b'E' && self.is_exponent(bytes, &word) {
                        self.doubt(i, Doubt::Exponent);
                    }
                    i = word.to;
                    self.push(word);
                    if word.letter == b'M' && self.ends_in_text(&word) {
                        // A text may end in a `*` and digits that are no checksum.
                        self.doubt = self.doubt.filter(|(_, d)| *d != Doubt::Checksum);
                        break;
                    }
                }
                Some(b';') => break,
                Some(b'(') => {
                    let end = skip_comment(bytes, i);
                    // `(a; b) X5`: where `;` is looked for first, the line ends inside the brackets.
                    if memchr::memchr(b';', &bytes[i..end]).is_some() && code_follows(&bytes[end..]) {
                        self.doubt(i, Doubt::Stray);
                    }
                    i = end;
                }
                Some(b'%') if self.words.is_empty() => {
                    if code_follows(&bytes[i + 1..]) {
                        self.kind = Kind::Text;
                    }
                    return;
                }
                Some(b'/') if self.words.is_empty() => {
                    self.doubt(i, Doubt::Skippable);
                    i += 1;
                }
                Some(b'*') if !self.words.is_empty() => {
                    let end = checksum_end(bytes, i);
                    if let Some(end) = end.filter(|end| agrees(bytes, i, *end)) {
                        self.checksum = Some((i, end));
                    } else {
                        self.doubt(i, if self.has(b'N') { Doubt::Checksum } else { Doubt::Stray });
                    }
                    i = end.unwrap_or(i + 1);
                }
                Some(c) if c.is_ascii_control() => {
                    self.doubt(i, Doubt::Control);
                    i += 1;
                }
                Some(_) if self.words.is_empty() => {
                    self.kind = Kind::Text;
                    return;
                }
                Some(_) => {
                    self.doubt(i, Doubt::Stray);
                    i += 1;
                    // Letters that follow are words again: it must show whether they name an axis.
                    while bytes.get(i).is_some_and(|b| {
                        !(b.is_ascii_alphabetic() || b.is_ascii_control() || matches!(b, b' ' | b';' | b'(' | b'*'))
                    }) {
                        i += 1;
                    }
                }
            }
        }
        if !self.words.is_empty() {
            self.kind = Kind::Words;
        } else if matches!(self.doubt, Some((_, Doubt::Control))) {
            self.kind = Kind::Text;
        }
    }

    /// A word whose letter another letter follows directly.
    #[inline]
    fn glued_word(&mut self, bytes: &[u8], start: usize) -> Word {
        let letter = bytes[start].to_ascii_uppercase();
        let run = bytes[start..].iter().take_while(|b| b.is_ascii_alphabetic() || **b == b'_');
        if run.clone().all(|b| b"XYZABCUVWE".contains(&b.to_ascii_uppercase())) {
            // `G28 XY`.
            return Word { letter, number: None, start, from: start + 1, to: start + 1 };
        }
        // A letter that matters is at fault itself, for want of a number (`Enan`).
        if !b"XYZABCUVWEIJKR".contains(&letter) {
            self.doubt(start, Doubt::Prose);
        }
        Word { letter, number: None, start, from: start + 1, to: opaque_end(bytes, start + 1) }
    }

    #[inline]
    fn begins_with_g(&self) -> bool {
        self.words.iter().find(|w| w.letter != b'N').is_some_and(|w| w.letter == b'G' && w.number.is_some())
    }

    /// The bytes before the checksum of a counted line: before the first `*` whose digits agree. Where none does, a
    /// `*` with digits at the end makes the line doubtful.
    #[inline]
    fn cut_checksum<'a>(&mut self, bytes: &'a [u8], from: usize) -> &'a [u8] {
        for star in memchr::memchr_iter(b'*', &bytes[from..]).map(|n| n + from) {
            let Some(end) = checksum_end(bytes, star) else { continue };
            if agrees(bytes, star, end) {
                self.checksum = Some((star, end));
                self.doubt = None;
                return &bytes[..star];
            }
            self.doubt(star, Doubt::Checksum);
        }
        bytes
    }

    #[inline]
    pub(super) fn push(&mut self, word: Word) {
        if self.words.len() >= WORDS_LIMIT {
            self.doubt(word.start, Doubt::Stray);
            return;
        }
        let bit = bit(word.letter);
        if self.letters & bit == 0 {
            self.letters |= bit;
            // WORDS_LIMIT is below 255.
            self.index[usize::from(word.letter - b'A')] = u8::try_from(self.words.len()).unwrap_or(u8::MAX);
        } else if bit & ONCE != 0 && !self.has(b'M') {
            self.doubt(word.start, Doubt::Twice(word.letter));
        }
        self.words.push(word);
    }

    /// Whether the next word is the first, an N word aside.
    #[inline]
    fn begins(&self) -> bool {
        self.words.is_empty() || (self.words.len() == 1 && self.words[0].letter == b'N')
    }

    #[inline]
    fn first_command(&self) -> Option<u8> {
        self.words.iter().map(|w| w.letter).find(|l| *l != b'N')
    }

    #[inline]
    pub(crate) fn ends_in_text(&self, m: &Word) -> bool {
        m.number.is_none_or(|n| n.decimals == 0 && TEXT_M.iter().any(|t| (f64::from(*t) - n.value).abs() < 0.5))
    }

    /// Whether an `e` that touches the word before it reads more like an exponent than like a word.
    #[inline]
    fn is_exponent(&self, bytes: &[u8], word: &Word) -> bool {
        self.words.last().is_some_and(|before| before.to == word.start) && self.looks_like_exponent(bytes, word)
    }

    #[inline]
    fn looks_like_exponent(&self, bytes: &[u8], word: &Word) -> bool {
        let Some(before) = self.words.last().filter(|w| !matches!(w.letter, b'G' | b'M' | b'N' | b'T')) else {
            return false;
        };
        if word.from != word.start + 1 || word.number.is_none_or(|n| n.decimals > 0) {
            return false;
        }
        let value = &bytes[word.from..word.to];
        if value.contains(&b'.') {
            return false;
        }
        let digits = value.strip_prefix(b"-").or_else(|| value.strip_prefix(b"+")).unwrap_or(value);
        let odd_case = bytes[word.start].is_ascii_lowercase() && bytes[before.start].is_ascii_uppercase();
        let spaced = self.words.windows(2).any(|w| w[0].to != w[1].start);
        let signed = digits.len() < value.len();
        odd_case || (spaced && signed) || (digits.len() > 1 && digits[0] == b'0')
    }
}

/// Where the line begins after a byte order mark.
#[inline]
fn after_mark(bytes: &[u8]) -> usize {
    if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 }
}

/// Whether the checksum at `star` agrees with the line.
#[inline]
fn agrees(bytes: &[u8], star: usize, end: usize) -> bool {
    let given = bytes[star + 1..end].iter().fold(0u32, |v, b| v.saturating_mul(10).saturating_add(u32::from(b - b'0')));
    u32::from(xor(&bytes[after_mark(bytes)..star])) == given
}

/// The exclusive-or of all bytes: a line's checksum.
#[inline]
pub(crate) fn xor(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |x, b| x ^ b)
}

#[inline]
fn read_word(bytes: &[u8], start: usize) -> Word {
    let letter = bytes[start].to_ascii_uppercase();
    let mut from = start + 1;
    while matches!(bytes.get(from), Some(b' ' | b'\t')) {
        from += 1;
    }
    if let Some((number, used)) = scan_here(&bytes[from..]) {
        let to = from + used;
        if bytes[to - 1] == b'.' && matches!(bytes.get(to), Some(b' ' | b'\t')) {
            return spaced_word(bytes, Word { letter, number: Some(number), start, from, to });
        }
        if ends_number(bytes, to) {
            return Word { letter, number: Some(number), start, from, to };
        }
        return Word { letter, number: None, start, from, to: opaque_end(bytes, to) };
    }
    if from > start + 1 && bytes.get(from).is_some_and(u8::is_ascii_alphabetic) {
        // `G28 X Y`: the next word, not this one's value.
        return Word { letter, number: None, start, from: start + 1, to: start + 1 };
    }
    let to = opaque_end(bytes, from);
    Word { letter, number: None, start, from, to }
}

#[inline]
fn ends_number(bytes: &[u8], to: usize) -> bool {
    bytes
        .get(to)
        .is_none_or(|b| matches!(b, b' ' | b';' | b'(' | b'*') || b.is_ascii_alphabetic() || b.is_ascii_control())
}

/// A number that ends in its point, and perhaps decimals with white space among them.
#[cold]
fn spaced_word(bytes: &[u8], plain: Word) -> Word {
    let mut digits = [0; DIGITS_LIMIT + 2];
    let mut length = plain.to - plain.from;
    if length > digits.len() {
        return Word { number: None, ..plain };
    }
    digits[..length].copy_from_slice(&bytes[plain.from..plain.to]);
    let mut to = plain.to;
    let mut i = to;
    while let Some(b @ (b' ' | b'\t' | b'0'..=b'9')) = bytes.get(i) {
        i += 1;
        if b.is_ascii_digit() {
            if length == digits.len() {
                return Word { number: None, to: opaque_end(bytes, i), ..plain };
            }
            digits[length] = *b;
            length += 1;
            to = i;
        }
    }
    match scan(&digits[..length]) {
        Some((number, _)) if ends_number(bytes, to) => Word { number: Some(number), to, ..plain },
        _ => Word { number: None, to: opaque_end(bytes, to), ..plain },
    }
}

/// Whether something that is no number may still be taken for one: a line that begins so is no prose.
#[inline]
fn may_be_value(bytes: &[u8]) -> bool {
    let signed = bytes.strip_prefix(b"-").or_else(|| bytes.strip_prefix(b"+")).unwrap_or(bytes);
    match signed.trim_ascii_start() {
        [b'.', rest @ ..] => rest.first().is_some_and(u8::is_ascii_digit),
        [b, ..] => b.is_ascii_digit() || b"[{#=<\"".contains(b),
        [] => false,
    }
}

/// Whether anything but white space and comments stands here.
#[inline]
fn code_follows(mut bytes: &[u8]) -> bool {
    loop {
        bytes = bytes.trim_ascii_start();
        match bytes.first() {
            None | Some(b';') => return false,
            Some(b'(') => bytes = &bytes[skip_comment(bytes, 0)..],
            Some(_) => return true,
        }
    }
}

/// The end of something that is not a number: the next white space or comment, brackets and quotes kept whole.
#[inline]
fn opaque_end(bytes: &[u8], mut i: usize) -> usize {
    while let Some(b) = bytes.get(i) {
        match b {
            b' ' | b';' | b'(' => break,
            b if b.is_ascii_control() => break,
            b'[' | b'{' | b'"' => {
                let close = match b {
                    b'[' => b']',
                    b'{' => b'}',
                    _ => b'"',
                };
                match memchr::memchr(close, &bytes[i + 1..]) {
                    Some(n) => i += n + 2,
                    None => return bytes.len(),
                }
            }
            _ => i += 1,
        }
    }
    i
}

/// The end of `*ddd` if nothing but white space or a comment follows it.
#[inline]
fn checksum_end(bytes: &[u8], star: usize) -> Option<usize> {
    let digits = bytes[star + 1..].iter().take_while(|b| b.is_ascii_digit()).count();
    let end = star + 1 + digits;
    let rest = bytes[end..].iter().find(|b| !matches!(b, b' ' | b'\t'));
    (digits > 0 && digits <= 3 && rest.is_none_or(|b| matches!(b, b';' | b'('))).then_some(end)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> String {
        let mut line = Line::default();
        line.read(text.as_bytes());
        let mut out = match line.kind {
            Kind::Blank => "blank".to_string(),
            Kind::Text => "text".to_string(),
            Kind::Words => line
                .words()
                .iter()
                .map(|w| match w.number {
                    Some(n) => format!("{}{}", w.letter as char, n.value),
                    None => format!("{}?{}", w.letter as char, &text[w.from..w.to]),
                })
                .collect::<Vec<_>>()
                .join(" "),
        };
        if let Some((at, doubt)) = line.doubt {
            out += &format!(" !{doubt:?}@{}", at + 1);
        }
        if line.checksum.is_some() {
            out += " *";
        }
        out
    }

    #[test]
    fn splits_lines_as_real_files_write_them() {
        let cases = [
            ("G1E-1.5F1200", "G1 E-1.5 F1200"),
            ("X1.0Y2.0", "X1 Y2"),
            ("X 145.2402 Y 7.1388", "X145.2402 Y7.1388"),
            ("g01 x.6 e-.8 z+2.1 y-0.000", "G1 X0.6 E-0.8 Z2.1 Y-0"),
            ("G3 Z.8 I-1.033 J-.643 P1", "G3 Z0.8 I-1.033 J-0.643 P1"),
            ("G90 G1 X1", "G90 G1 X1"),
            ("G28 W", "G28 W?"),
            ("M117 Layer 1; Z=0.18", "M117"),
            ("M118 X19 Y15 Z17 T0", "M118"),
            ("THING_END NAME=part.stl_id_0", "text"),
            ("M624 AQAAAAAAAAA=", "M624"),
            ("M1234 goal_is : 1", "M1234"),
            ("; G1 X1", "blank"),
            (";", "blank"),
            ("", "blank"),
            ("%", "blank"),
            ("(a (nested) one) G1 X1 (and (another)) Y2", "G1 X1 Y2"),
            ("(never closed G1 X1", "blank"),
            (": 56.0 </value>)", "text"),
            ("*)", "text"),
            ("<<<<<<< HEAD", "text"),
            ("x of the whole", "text"),
            ("Enan", "text"),
            ("G1 X1 Enan", "G1 X1 E?nan"),
            ("G1 Z[height]", "G1 Z?[height]"),
            ("Z[height + 2] X1", "Z?[height + 2] X1"),
            ("G0 F3139.50675.7 X93.034", "G0 F?3139.50675.7 X93.034"),
            ("G1 X1 Y3.8e-05", "G1 X1 Y3.8 E-5 !Exponent@11"),
            ("G1X1Y3.8e-05", "G1 X1 Y3.8 E-5 !Exponent@9"),
            ("g1x1y3.8e-05", "G1 X1 Y3.8 E-5 !Exponent@9"),
            ("g1x1y3.8e-2", "G1 X1 Y3.8 E-2"),
            ("G1X10E0.5", "G1 X10 E0.5"),
            ("G1 X10E0.5", "G1 X10 E0.5"),
            ("G1 X1 X2", "G1 X1 X2 !Twice(88)@7"),
            ("G1 X1 ~ Y2", "G1 X1 Y2 !Stray@7"),
            ("/G1 X1", "G1 X1 !Skippable@1"),
            ("N3 T0*57", "N3 T0 *"),
            ("N7 M117 go*here*59", "N7 M117 *"),
            ("N8 G28 X*99", "N8 G28 X? *"),
            ("G1 X15E0", "G1 X15 E0"),
            ("N3 T0*58", "N3 T0 !Checksum@6"),
            ("N3 T0*57 ; tool", "N3 T0 *"),
            ("M117 *abc-abc*", "M117"),
            ("G1 X1\u{1}", "G1 X1 !Control@6"),
            ("\u{0}\u{0}", "text !Control@1"),
            ("\u{FEFF}G1 X1", "G1 X1"),
            ("G28 X Y", "G28 X? Y?"),
            ("G28 XYZ", "G28 X? Y? Z?"),
            ("G X5", "text"),
            ("G1\u{a0}X5", "G?1\u{a0}X5"),
            ("X1-Carbon", "X?1-Carbon"),
            ("X - 5", "X?- !Stray@5"),
            ("a - b", "text"),
            ("G-code", "text"),
            ("x +0. 12 34y 7", "X0.1234 Y7"),
            ("X10. Y20. ", "X10 Y20"),
            ("X0. 12.5", "X?0. 12.5"),
            ("X1 0", "X1 !Stray@4"),
            ("G1 X10 Y20 some text", "G1 X10 Y20 S?ome T?ext !Prose@12"),
            ("T0 tool one", "T0"),
            ("% G1 X5", "text"),
            ("% (part 5) ; x", "blank"),
            ("F100 ~X5", "F100 X5 !Stray@6"),
            ("(a; b) X5", "X5 !Stray@1"),
            ("(a; b) ; c", "blank"),
            ("G1 X1 F2 F3", "G1 X1 F2 F3"),
            ("N3 T0* 57", "N3 T0 !Checksum@6"),
            ("N3 M117 Hi*38", "N3 M117 *"),
            ("N3 M117 Hi*39", "N3 M117"),
        ];
        for (text, want) in cases {
            assert_eq!(words(text), want, "{text:?}");
        }
    }
}
