//! Text to a tree that keeps every value's place, the same for TOML and JSON.
//!
//! Two libraries read the two languages; what follows them sees only this tree, so a rule about cards is written once.

use crate::{Error, ErrorKind};
use serde::de::{Deserializer as _, MapAccess, Visitor};
use serde_json::value::RawValue;
use toml::de::{DeTable, DeValue};

/// Deepest nesting that is followed. A card needs four levels.
const MAX_DEPTH: usize = 16;

/// A value and the byte where it starts.
#[derive(Debug)]
pub(super) struct Node {
    pub(super) at: usize,
    pub(super) kind: Kind,
}

/// What a value is.
#[derive(Debug)]
pub(super) enum Kind {
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
pub(super) struct Entry {
    pub(super) key: String,
    pub(super) at: usize,
    pub(super) value: Node,
}

impl Kind {
    /// The kind's name for messages.
    pub(super) fn name(&self) -> &'static str {
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
pub(super) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    pub(super) fn of(text: &str) -> Self {
        let mut starts = vec![0];
        starts.extend(memchr::memchr_iter(b'\n', text.as_bytes()).map(|i| i + 1));
        Lines { starts }
    }

    /// Line and column (in bytes) of a byte offset.
    pub(super) fn place(&self, at: usize) -> (u64, u64) {
        let line = self.starts.partition_point(|&s| s <= at).max(1);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        (line as u64, (at.saturating_sub(start) + 1) as u64)
    }
}

/// Reads TOML.
pub(super) fn from_toml(text: &str, lines: &Lines) -> Result<Node, Error> {
    let table = DeTable::parse(text).map_err(|e| {
        // An error at the very end of the text has no span, or one past the end.
        let at = e.span().map_or(0, |s| s.start).min(text.len());
        let (line, column) = lines.place(at);
        Error::new(ErrorKind::Card, format!("the card is not TOML here: {}", e.message().replace('\n', " ")))
            .at(line, column)
    })?;
    let at = table.span().start;
    Ok(Node { at, kind: toml_table(table.into_inner()) })
}

fn toml_table(table: DeTable<'_>) -> Kind {
    let mut entries: Vec<Entry> = table
        .into_iter()
        .map(|(key, value)| Entry {
            at: key.span().start,
            key: key.into_inner().into_owned(),
            value: toml_value(value),
        })
        .collect();
    // The library sorts keys by name; the card's order is the order of their places.
    crate::order::sort_by_key(&mut entries, |e| e.at);
    Kind::Table(entries)
}

// Recursion ends: the library refuses nesting deeper than 80, in brackets and in dotted keys alike.
fn toml_value(value: toml::Spanned<DeValue<'_>>) -> Node {
    let at = value.span().start;
    let kind = match value.into_inner() {
        DeValue::String(s) => Kind::Text(s.into_owned()),
        DeValue::Integer(i) => match i.radix() {
            10 => Kind::Number(i.as_str().parse().unwrap_or(f64::NAN)),
            _ => Kind::Other("a number that is not decimal"),
        },
        DeValue::Float(f) => Kind::Number(f.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(truth) => Kind::Truth(truth),
        DeValue::Datetime(_) => Kind::Other("a date or time"),
        DeValue::Array(list) => Kind::Array(list.into_iter().map(toml_value).collect()),
        DeValue::Table(table) => toml_table(table),
    };
    Node { at, kind }
}

/// Reads JSON.
pub(super) fn from_json(text: &str, lines: &Lines) -> Result<Node, Error> {
    let raw: &RawValue = serde_json::from_str(text).map_err(|e| json_error(&e))?;
    json_value(raw.get(), text, lines, MAX_DEPTH)
}

fn json_error(e: &serde_json::Error) -> Error {
    let mut words = e.to_string();
    if let Some(cut) = words.rfind(" at line ") {
        words.truncate(cut);
    }
    Error::new(ErrorKind::Card, format!("the card is not JSON here: {words}"))
        .at(e.line().max(1) as u64, e.column().max(1) as u64)
}

/// `part` is a piece of `whole` and valid JSON, so its address tells its place.
fn json_value(part: &str, whole: &str, lines: &Lines, depth: usize) -> Result<Node, Error> {
    let part = part.trim_start_matches([' ', '\t', '\r', '\n']);
    let at = part.as_ptr().addr() - whole.as_ptr().addr();
    let here = |words: String| {
        let (line, column) = lines.place(at);
        Error::new(ErrorKind::Card, words).at(line, column)
    };
    if depth == 0 {
        return Err(here("lists or tables are nested too deep here".into()));
    }
    let kind = match part.as_bytes().first() {
        Some(b'{') => {
            let pairs =
                serde_json::Deserializer::from_str(part).deserialize_map(Pairs).map_err(|e| here(e.to_string()))?;
            let mut entries: Vec<Entry> = Vec::with_capacity(pairs.len());
            let mut seen = std::collections::BTreeSet::new();
            let mut after = at + 1;
            for (key, raw) in pairs {
                // The key's opening quote is the first one after the value before it.
                let key_at = whole.get(after..).and_then(|rest| rest.find('"')).map_or(after, |i| after + i);
                let value = json_value(raw.get(), whole, lines, depth - 1)?;
                after = value.at + raw.get().trim_start_matches([' ', '\t', '\r', '\n']).len();
                if !seen.insert(key.clone()) {
                    let (line, column) = lines.place(key_at);
                    return Err(Error::new(ErrorKind::Card, format!("the key {} is given twice", quoted(&key)))
                        .at(line, column)
                        .with_help("keep the one that is right"));
                }
                entries.push(Entry { key, at: key_at, value });
            }
            Kind::Table(entries)
        }
        Some(b'[') => {
            let parts: Vec<&RawValue> = serde_json::from_str(part).map_err(|e| here(e.to_string()))?;
            Kind::Array(
                parts
                    .into_iter()
                    .map(|raw| json_value(raw.get(), whole, lines, depth - 1))
                    .collect::<Result<_, _>>()?,
            )
        }
        Some(b'"') => Kind::Text(serde_json::from_str(part).map_err(|e| here(e.to_string()))?),
        Some(first @ (b't' | b'f')) => Kind::Truth(*first == b't'),
        Some(b'n') => Kind::Other("null"),
        _ => Kind::Number(part.trim_end().parse().unwrap_or(f64::NAN)),
    };
    Ok(Node { at, kind })
}

/// Keeps a JSON table's pairs in order, doubles too: the library's own map would drop them silently.
struct Pairs;

impl<'de> Visitor<'de> for Pairs {
    type Value = Vec<(String, &'de RawValue)>;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a table")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
        let mut pairs = Vec::new();
        while let Some(pair) = map.next_entry::<String, &RawValue>()? {
            pairs.push(pair);
        }
        Ok(pairs)
    }
}

/// A key or word as it stands in messages: in back quotes, control characters escaped, cut when it is very long.
pub(super) fn quoted(word: &str) -> String {
    let mut shown: String = word.chars().take(40).flat_map(char::escape_debug).collect();
    if word.chars().nth(40).is_some() {
        shown.push_str("...");
    }
    format!("`{shown}`")
}
