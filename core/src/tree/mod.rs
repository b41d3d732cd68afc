//! Text to a tree that keeps every value's place, the same for TOML and JSON; and plain values to and from JSON.
//!
//! | file | what it does |
//! | --- | --- |
//! | `cursor.rs` | what both languages have: a place in the text, escapes, what is refused |
//! | `toml.rs` | TOML to a tree |
//! | `json.rs` | JSON to a tree |
//!
//! What follows sees only the tree, so a rule about cards is written once. Both readers are our own: libraries for the two
//! languages were a fifth of what a page has to load. They are held against those libraries in `tests.rs`.

mod cursor;
mod json;
mod toml;

pub(crate) use json::from_json;
pub(crate) use toml::from_toml;

use core::fmt::Write as _;

/// Deepest nesting that is followed. A card needs four levels.
const MAX_DEPTH: usize = 16;

/// Most keys of one table. Each new key is held against all before it, and no card comes near.
const MAX_KEYS: usize = 250;

/// A value and the byte where it starts.
#[derive(Debug)]
pub(crate) struct Node {
    pub(crate) at: usize,
    pub(crate) kind: Kind,
}

/// What a value is.
#[derive(Debug)]
pub(crate) enum Kind {
    Table(Vec<Entry>),
    Array(Vec<Node>),
    Text(String),
    /// May be infinite or not a number: TOML can say so, and JSON can write `1e999`.
    Number(f64),
    Truth(bool),
    /// Something that no card holds; the words name it in messages.
    Other(&'static str),
}

/// A key, where it starts, and its value.
#[derive(Debug)]
pub(crate) struct Entry {
    pub(crate) key: String,
    pub(crate) at: usize,
    pub(crate) value: Node,
    /// How it came about: TOML allows to add to some.
    made: Made,
}

/// How TOML made an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Made {
    /// `key = value`: whole as it is.
    Value,
    /// A table named by a header of its own.
    Header,
    /// A table that a longer header named on its way.
    Implied,
    /// A table that a dotted key named on its way.
    Dotted,
    /// A list whose tables have a header each.
    List,
}

impl Kind {
    /// The kind's name for messages.
    pub(crate) fn name(&self) -> &'static str {
        match self {
            Kind::Table(_) => "a table",
            Kind::Array(_) => "a list",
            Kind::Text(_) => "text in quotes",
            Kind::Number(_) => "a number",
            Kind::Truth(_) => "true or false",
            Kind::Other(name) => name,
        }
    }
}

/// Byte offsets to lines and columns, both from 1.
pub(crate) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    pub(crate) fn of(text: &str) -> Self {
        let mut starts = vec![0];
        starts.extend(memchr::memchr_iter(b'\n', text.as_bytes()).map(|i| i + 1));
        Lines { starts }
    }

    /// Line and column (in bytes) of a byte offset.
    pub(crate) fn place(&self, at: usize) -> (u64, u64) {
        let line = self.starts.partition_point(|&s| s <= at).max(1);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        (line as u64, (at.saturating_sub(start) + 1) as u64)
    }
}

/// A key or word as it stands in messages: in back quotes, what does not show escaped, cut when it is very long.
pub(crate) fn quoted(word: &str) -> String {
    let mut shown = String::from("`");
    for c in word.chars().take(40) {
        if is_hidden(c) {
            let _ = write!(shown, "\\u{{{:x}}}", u32::from(c));
        } else {
            shown.push(c);
        }
    }
    shown.push_str(if word.chars().nth(40).is_some() { "...`" } else { "`" });
    shown
}

/// Controls, and what the Unicode Standard (chapter 23, "Special Areas and Format Characters") has no glyph for: spaces without width, marks
/// that turn the direction of a line, separators of lines. (The standard library's own table of such is 2 KB of WebAssembly.)
fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

#[cfg(test)]
mod tests;
