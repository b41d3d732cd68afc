//! What the reader says where it refuses a line.

use super::commands::{text_levels, text_moves};
use super::reader::MOVE_LIMIT;
use super::reader::PLACE_LIMIT;
use super::text::{hidden_motion, skip_comment};
use super::words::{Doubt, Kind, Line, Word};
use crate::number::Shown;
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

/// A move that is longer than [`MOVE_LIMIT`] is refused, whatever is allowed.
///
/// # Errors
/// [`ErrorKind::Limit`], with the line.
#[inline]
pub(crate) fn long_move(length: f64, number: u64) -> Result<(), Error> {
    if length <= MOVE_LIMIT {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::Limit,
        format!("a move of {:.0} mm is longer than {} mm", Shown(length), Shown(MOVE_LIMIT)),
    )
    .at(number, 1)
    .with_help("no printer is that large: the file is damaged here, or in other units than it says"))
}

/// A line that is longer than can be held, by its first bytes, split into `line`. What is not held is not looked at, and so the line passes only
/// where that can be no code: behind a `;`, in the text of an M word, in a text or noise without motion in sight. Anything else is refused,
/// whatever is allowed.
///
/// # Errors
/// [`ErrorKind::Limit`], with the line.
#[cold]
pub(crate) fn long_line(line: &Line, bytes: &[u8], number: u64) -> Result<(), Error> {
    let passes = match line.kind {
        Kind::Blank => ends_in_comment(bytes),
        Kind::Text => line.is_noise() || !(text_levels(bytes) || text_moves(bytes) || hidden_motion(bytes).is_some()),
        Kind::Words => {
            !line.has(b'G') && line.words().first().is_some_and(|w| w.letter == b'M' && line.ends_in_text(w))
        }
    };
    if passes {
        return Ok(());
    }
    Err(Error::new(ErrorKind::Limit, format!("a line of more than {} bytes, which may move an axis", bytes.len()))
        .at(number, 1)
        .with_help("no machine reads such a line: the file is damaged here"))
}

/// Whether a `;` comment is all that stands at the end of a blank line's first bytes.
#[inline]
fn ends_in_comment(bytes: &[u8]) -> bool {
    let mut i = if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 };
    while let Some(b) = bytes.get(i) {
        i = match b {
            b';' => return true,
            b'(' => skip_comment(bytes, i),
            _ => i + 1,
        };
    }
    false
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
