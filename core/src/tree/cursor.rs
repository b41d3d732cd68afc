//! A place in a text that is being read.

use super::{Entry, Lines, MAX_KEYS, quoted};
use crate::{Error, ErrorKind};

/// The text, and how far it has been read.
pub(super) struct Cursor<'a> {
    pub(super) text: &'a str,
    pub(super) at: usize,
    pub(super) lines: &'a Lines,
    /// What is told of it where it is not in the language: "the card is not TOML".
    pub(super) not: &'static str,
}

impl<'a> Cursor<'a> {
    pub(super) fn rest(&self) -> &'a [u8] {
        self.text.as_bytes().get(self.at..).unwrap_or_default()
    }

    pub(super) fn peek(&self) -> Option<u8> {
        self.rest().first().copied()
    }

    /// Goes past `word` if it stands here.
    pub(super) fn take(&mut self, word: &str) -> bool {
        let here = self.rest().starts_with(word.as_bytes());
        if here {
            self.at += word.len();
        }
        here
    }

    /// Goes past what fits, and gives it.
    pub(super) fn take_while(&mut self, fits: impl Fn(u8) -> bool) -> &'a str {
        let from = self.at;
        let length = self.rest().iter().position(|&b| !fits(b)).unwrap_or(self.rest().len());
        self.at += length;
        self.text.get(from..self.at).unwrap_or_default()
    }

    /// An error of the language here.
    #[cold]
    #[inline(never)]
    pub(super) fn wrong<T>(&self, words: &str) -> Result<T, Error> {
        self.fail(self.at, format!("{} here: {words}", self.not))
    }

    #[cold]
    #[inline(never)]
    pub(super) fn fail<T>(&self, at: usize, message: String) -> Result<T, Error> {
        let (line, column) = self.lines.place(at);
        Err(Error::new(ErrorKind::Card, message).at(line, column))
    }

    /// The nesting has come to its end.
    #[cold]
    pub(super) fn too_deep<T>(&self, at: usize) -> Result<T, Error> {
        self.fail(at, "lists or tables are nested too deep here".to_owned())
    }

    /// Refuses a key that cannot be added.
    pub(super) fn new_key(&self, table: &[Entry], key: &str, at: usize) -> Result<(), Error> {
        if table.len() >= MAX_KEYS {
            return self.fail(at, format!("more than {MAX_KEYS} keys in one table: no card has so many"));
        }
        if table.iter().any(|entry| entry.key == key) {
            return self.twice(key, at);
        }
        Ok(())
    }

    #[cold]
    pub(super) fn twice<T>(&self, key: &str, at: usize) -> Result<T, Error> {
        self.fail(at, format!("duplicate key: the key {} is given twice", quoted(key)))
            .map_err(|e: Error| e.with_help("keep the one that is right"))
    }

    /// The character that so many hexadecimal digits here name.
    pub(super) fn hexadecimal(&mut self, digits: usize) -> Result<u32, Error> {
        let from = self.at;
        let word = self.text.get(from..from + digits).filter(|word| word.bytes().all(|b| b.is_ascii_hexdigit()));
        match word.and_then(|word| u32::from_str_radix(word, 16).ok()) {
            Some(code) => {
                self.at += digits;
                Ok(code)
            }
            None => self.wrong("an escape needs hexadecimal digits, as many as it says"),
        }
    }
}

/// What an escape of one letter means, in both languages.
pub(super) fn escaped(letter: u8) -> Option<char> {
    Some(match letter {
        b'"' => '"',
        b'\\' => '\\',
        b'b' => '\u{8}',
        b'f' => '\u{c}',
        b'n' => '\n',
        b'r' => '\r',
        b't' => '\t',
        _ => return None,
    })
}
