//! The crate's plain types as JSON text, small: what crosses to JavaScript. Any `serde` library does the same natively.
//!
//! ```
//! use evengap::follow::Options;
//!
//! let options: Options = evengap::json::read(r#"{ "tolerance": 0.01 }"#)?;
//! assert_eq!(options.tolerance, 0.01);
//! assert!(evengap::json::write(&options).contains(r#""tolerance":0.01"#));
//! # Ok::<(), String>(())
//! ```

mod reader;
mod writer;

use crate::tree::{self, Lines, Node};
use core::fmt;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Reads a value: options, say. Numbers are decimal, keys come once.
///
/// # Errors
///
/// In words, what is wrong: no JSON, nested deeper than 16, an unknown key, a value of another kind.
pub fn read<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    T::deserialize(&parsed(text)?).map_err(|Refused(words)| words.into())
}

/// What is the same for every type.
fn parsed(text: &str) -> Result<Node, String> {
    tree::from_json(text, &Lines::of(""), "this is not JSON").map_err(|e| e.message().to_owned())
}

/// Writes a value without white space: the text that [`read`] and every JSON reader takes.
///
/// A number is the shortest decimal that reads back to the same `f64`; what is not finite is `null`.
#[must_use]
pub fn write<T: Serialize + ?Sized>(value: &T) -> String {
    let mut writer = writer::Writer::default();
    // None of the crate's types refuses to be written.
    let _ = value.serialize(&mut writer);
    writer.out
}

/// What is refused, in words. Boxed, for every result of reading carries it.
#[derive(Debug)]
pub(crate) struct Refused(Box<str>);

impl Refused {
    fn new(words: &str) -> Refused {
        Refused(words.into())
    }

    /// Says where, too.
    #[cold]
    fn within(&self, key: &str) -> Refused {
        Refused::new(&format!("`{key}`: {}", self.0))
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl core::error::Error for Refused {}

#[cfg(test)]
mod tests;
