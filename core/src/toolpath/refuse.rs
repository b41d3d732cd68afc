//! What the reader says where it refuses a line.

use super::reader::PLACE_LIMIT;
use super::words::{Doubt, Word};
use crate::{Error, ErrorKind};

/// Why a line is refused.
#[derive(Debug)]
pub(super) enum Fault {
    /// Motion that is not understood: it passes where unknown motion is allowed.
    Motion(Error),
    /// Whatever is allowed.
    Always(Error),
}

impl From<Error> for Fault {
    fn from(error: Error) -> Self {
        Fault::Always(error)
    }
}

/// A line and its number, for errors.
#[derive(Debug, Clone, Copy)]
pub(super) struct At<'a> {
    pub bytes: &'a [u8],
    pub line: u64,
}

impl At<'_> {
    fn error(self, kind: ErrorKind, at: usize, message: String) -> Error {
        Error::new(kind, message).at(self.line, at as u64 + 1)
    }

    fn word(self, from: usize) -> String {
        let rest = &self.bytes[from.min(self.bytes.len())..];
        let end = rest.iter().skip(1).position(|b| b.is_ascii_whitespace() || *b == b';').map_or(rest.len(), |n| n + 1);
        let mut text = String::from_utf8_lossy(&rest[..end.min(40)]).into_owned();
        if end > 40 {
            text.push('…');
        }
        text
    }

    #[inline]
    pub(super) fn value(self, word: &Word) -> Result<f64, Error> {
        match word.number {
            Some(n) if n.value.abs() <= PLACE_LIMIT => Ok(n.value),
            _ => Err(self.not_a_number(word)),
        }
    }

    pub(super) fn not_a_number(self, word: &Word) -> Error {
        let text = self.word(word.start);
        let message = if word.number.is_some() {
            format!("`{text}` is farther than any machine goes")
        } else {
            format!("`{text}` holds no number that can be trusted")
        };
        self.error(ErrorKind::Toolpath, word.start, message)
            .with_help("slice the file again, or mend this line by hand: a machine might go anywhere from it")
    }

    #[cold]
    pub(super) fn refuse(self, at: usize, why: &str) -> Fault {
        let text = self.word(at);
        Fault::Motion(self.error(ErrorKind::Refused, at, format!("`{text}` {why}")).with_help(
            "if you know that the line is harmless, allow `unknown-motion`: it then passes as it is, and the axes it \
             names count as unknown until the file says where they are",
        ))
    }

    pub(super) fn own_levelling(self, at: usize) -> Error {
        let text = self.word(at);
        self.error(
            ErrorKind::Refused,
            at,
            format!(
                "`{text}` probes the bed or switches on the machine's own compensation: the bed would be followed twice"
            ),
        )
        .with_help("take the line out of the file, or allow `own-levelling` if the machine ignores it")
    }

    pub(super) fn doubt(self, at: usize, doubt: Doubt) -> Error {
        let text = self.word(at);
        let (message, help) = match doubt {
            Doubt::Stray => {
                (format!("`{text}` belongs to no word"), "mend or remove it: a machine might read it in its own way")
            }
            Doubt::Prose => (
                format!("`{text}` is no word, and machines differ in what they take from such text"),
                "put a `;` before it if it is a comment",
            ),
            Doubt::Exponent => (
                format!("`{text}` may be an exponent or an E word: the number cannot be trusted"),
                "write the number without an exponent, or put a space before the E word",
            ),
            Doubt::Twice(letter) => (
                format!("`{}` stands twice on this line", letter as char),
                "remove one of them: machines differ in which they take",
            ),
            Doubt::Control => (
                "control bytes stand inside a line that moves an axis".to_string(),
                "the file is damaged here: copy it again",
            ),
            Doubt::Skippable => (
                "`/` lets a switch on the machine skip this motion, so that the path is not certain".to_string(),
                "remove the `/`, or the line",
            ),
            Doubt::Checksum => (
                format!("the checksum `{text}` does not agree with the line"),
                "the file is damaged here: copy or slice it again",
            ),
        };
        self.error(ErrorKind::Toolpath, at, message).with_help(help)
    }
}
