//! TOML (1.0, and what 1.1 adds) to a tree.
//!
//! It departs from the language in what no card holds: numbers that are not decimal are not valued, and dates and times only
//! told from the rest.

use super::cursor::{Cursor, escaped};
use super::{Entry, Kind, Lines, MAX_DEPTH, Made, Node};
use crate::Error;

/// Reads TOML.
pub(crate) fn from_toml(text: &str, lines: &Lines) -> Result<Node, Error> {
    let mut toml = Cursor { text, at: 0, lines, not: "the card is not TOML" };
    let mut root = Vec::new();
    // The keys of the table that the last header named.
    let mut path = Vec::new();
    loop {
        toml.blank_lines()?;
        let at = toml.at;
        match toml.peek() {
            None => return Ok(Node { at: 0, kind: Kind::Table(root) }),
            Some(b'[') => {
                path = toml.header()?;
                let is_list = toml.text.as_bytes().get(at + 1) == Some(&b'[');
                toml.open(&mut root, &path, at, is_list)?;
            }
            Some(_) => {
                let mut table = &mut root;
                for key in &path {
                    table = toml.inside(table, key)?;
                }
                toml.pair(table, MAX_DEPTH)?;
            }
        }
        toml.end_of_line()?;
    }
}

/// A key, and where it stands.
struct Key {
    word: String,
    at: usize,
}

impl Cursor<'_> {
    fn spaces(&mut self) {
        self.take_while(|b| matches!(b, b' ' | b'\t'));
    }

    /// Goes past a comment, if one stands here.
    fn comment(&mut self) -> Result<(), Error> {
        if self.peek() == Some(b'#') {
            self.take_while(|b| b == b'\t' || (b >= b' ' && b != 0x7f));
            if !matches!(self.rest(), [] | [b'\n', ..] | [b'\r', b'\n', ..]) {
                return self.wrong("a control character stands in a comment");
            }
        }
        Ok(())
    }

    /// Goes past white space, ends of lines and comments.
    fn blank_lines(&mut self) -> Result<(), Error> {
        loop {
            self.spaces();
            self.comment()?;
            if !self.take("\n") && !self.take("\r\n") {
                return Ok(());
            }
        }
    }

    fn end_of_line(&mut self) -> Result<(), Error> {
        self.spaces();
        self.comment()?;
        match self.peek() {
            None => Ok(()),
            Some(_) if self.take("\n") || self.take("\r\n") => Ok(()),
            Some(_) => self.wrong("the line should end, and something follows"),
        }
    }

    /// `[a.b]` or `[[a.b]]`.
    fn header(&mut self) -> Result<Vec<Key>, Error> {
        let end = if self.take("[[") {
            "]]"
        } else {
            self.at += 1;
            "]"
        };
        let path = self.path()?;
        if self.take(end) { Ok(path) } else { self.wrong("the `]` of a header is missing") }
    }

    /// One key or several with points between them.
    fn path(&mut self) -> Result<Vec<Key>, Error> {
        let mut path = Vec::new();
        loop {
            self.spaces();
            let at = self.at;
            if path.len() >= MAX_DEPTH {
                return self.too_deep(at);
            }
            let word = match self.peek() {
                Some(b'"') => self.basic(false)?,
                Some(b'\'') => self.literal(false)?,
                _ => self.take_while(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_')).to_owned(),
            };
            if self.at == at {
                return self.wrong("a key is missing");
            }
            path.push(Key { word, at });
            self.spaces();
            if !self.take(".") {
                return Ok(path);
            }
        }
    }

    /// The table that `key` of `table` is, or the last table of the list.
    fn inside<'t>(&self, table: &'t mut [Entry], key: &Key) -> Result<&'t mut Vec<Entry>, Error> {
        let entry = table.iter_mut().find(|entry| entry.key == key.word && entry.made != Made::Value);
        match entry.map(|entry| &mut entry.value.kind) {
            Some(Kind::Table(inner)) => Ok(inner),
            Some(Kind::Array(list)) => match list.last_mut().map(|last| &mut last.kind) {
                Some(Kind::Table(inner)) => Ok(inner),
                _ => self.twice(&key.word, key.at),
            },
            _ => self.twice(&key.word, key.at),
        }
    }

    /// Adds a table on the way to another, unless it is there.
    fn on_the_way(&self, table: &mut Vec<Entry>, key: &Key, made: Made) -> Result<(), Error> {
        if table.iter().all(|entry| entry.key != key.word) {
            self.add(table, key, Node { at: key.at, kind: Kind::Table(Vec::new()) }, made)?;
        }
        Ok(())
    }

    fn add(&self, table: &mut Vec<Entry>, key: &Key, value: Node, made: Made) -> Result<(), Error> {
        self.new_key(table, &key.word, key.at)?;
        table.push(Entry { key: key.word.clone(), at: key.at, value, made });
        Ok(())
    }

    /// Makes the table that a header at `at` names.
    fn open(&self, mut table: &mut Vec<Entry>, path: &[Key], at: usize, is_list: bool) -> Result<(), Error> {
        let Some((last, before)) = path.split_last() else { return Ok(()) };
        for key in before {
            self.on_the_way(table, key, Made::Implied)?;
            table = self.inside(table, key)?;
        }
        let new = Node { at, kind: Kind::Table(Vec::new()) };
        let Some(entry) = table.iter_mut().find(|entry| entry.key == last.word) else {
            return match is_list {
                true => self.add(table, last, Node { at, kind: Kind::Array(vec![new]) }, Made::List),
                false => self.add(table, last, new, Made::Header),
            };
        };
        match (&mut entry.value.kind, entry.made) {
            (Kind::Array(list), Made::List) if is_list => list.push(new),
            (_, Made::Implied) if !is_list => {
                entry.made = Made::Header;
                entry.at = last.at;
            }
            _ => return self.twice(&last.word, last.at),
        }
        Ok(())
    }

    /// `a.b = value`.
    fn pair(&mut self, mut table: &mut Vec<Entry>, depth: usize) -> Result<(), Error> {
        let path = self.path()?;
        if !self.take("=") {
            return self.wrong("`=` is missing behind the key");
        }
        self.spaces();
        let value = self.toml_value(depth - 1)?;
        let Some((last, before)) = path.split_last() else { return Ok(()) };
        for key in before {
            self.on_the_way(table, key, Made::Dotted)?;
            // What a header made is whole.
            if table.iter().any(|e| e.key == key.word && matches!(e.made, Made::Header | Made::List)) {
                return self.twice(&key.word, key.at);
            }
            table = self.inside(table, key)?;
        }
        self.add(table, last, value, Made::Value)
    }

    fn toml_value(&mut self, depth: usize) -> Result<Node, Error> {
        let at = self.at;
        if depth == 0 {
            return self.too_deep(at);
        }
        let kind = match self.peek() {
            Some(b'"') => Kind::Text(self.basic(true)?),
            Some(b'\'') => Kind::Text(self.literal(true)?),
            Some(b'[') => {
                let mut list = Vec::new();
                self.at += 1;
                loop {
                    self.blank_lines()?;
                    if self.take("]") {
                        break Kind::Array(list);
                    }
                    list.push(self.toml_value(depth - 1)?);
                    if !self.toml_goes_on(b']', "a comma or `]` is missing in a list")? {
                        break Kind::Array(list);
                    }
                }
            }
            Some(b'{') => {
                let mut table = Vec::new();
                self.at += 1;
                loop {
                    self.blank_lines()?;
                    if self.take("}") {
                        break Kind::Table(table);
                    }
                    self.pair(&mut table, depth)?;
                    if !self.toml_goes_on(b'}', "a comma or `}` is missing in a table")? {
                        break Kind::Table(table);
                    }
                }
            }
            _ => self.bare()?,
        };
        Ok(Node { at, kind })
    }

    /// Whether a comma stands here, so that another may follow; else it is the end.
    fn toml_goes_on(&mut self, end: u8, missing: &str) -> Result<bool, Error> {
        self.blank_lines()?;
        match self.peek() {
            Some(b',') => self.at += 1,
            Some(b) if b == end => {
                self.at += 1;
                return Ok(false);
            }
            _ => return self.wrong(missing),
        }
        Ok(true)
    }

    /// A value without quotes or brackets.
    fn bare(&mut self) -> Result<Kind, Error> {
        let from = self.at;
        let word = self.take_while(|b| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'+' | b'-' | b'.' | b':'));
        let digits = |n: usize, then: u8| {
            let bytes = word.as_bytes();
            bytes.iter().take(n).all(u8::is_ascii_digit) && bytes.get(n) == Some(&then)
        };
        if digits(4, b'-') || digits(2, b':') {
            // The time may stand behind a space.
            if matches!(self.rest(), [b' ', b'0'..=b'9', ..]) {
                self.at += 1;
                self.take_while(|b| b.is_ascii_digit() || matches!(b, b'Z' | b'z' | b'+' | b'-' | b'.' | b':'));
            }
            return Ok(Kind::Other("a date or time"));
        }
        let kind = match word {
            "true" => Some(Kind::Truth(true)),
            "false" => Some(Kind::Truth(false)),
            _ => plain_number(word).map(Kind::Number).or_else(|| other_number(word)),
        };
        if let Some(kind) = kind {
            return Ok(kind);
        }
        self.at = from;
        match word.bytes().next() {
            None => self.wrong("a value is missing"),
            Some(b'0'..=b'9' | b'+' | b'-' | b'.') => self.wrong("this is no number"),
            Some(_) => self.wrong("text must stand in quotes"),
        }
    }

    /// Text in `"`, or where that is allowed in `"""`.
    fn basic(&mut self, may_be_long: bool) -> Result<String, Error> {
        let long = self.opening("\"", "\"\"\"", may_be_long);
        let mut out = String::new();
        loop {
            let plain = |b: u8| b == b'\t' || (b >= b' ' && b != 0x7f);
            out.push_str(self.take_while(|b| plain(b) && b != b'"' && b != b'\\'));
            if self.closing(b'"', long, &mut out)? {
                return Ok(out);
            }
            if !self.take("\\") {
                continue;
            }
            let letter = self.peek();
            let code = match letter {
                // The end of the line, and all white space behind it.
                Some(b' ' | b'\t' | b'\r' | b'\n') if long => {
                    self.spaces();
                    if !matches!(self.rest(), [b'\n', ..] | [b'\r', b'\n', ..]) {
                        return self.wrong("there is no such escape");
                    }
                    while self.take("\n") || self.take("\r\n") {
                        self.spaces();
                    }
                    continue;
                }
                Some(b'x') => 2,
                Some(b'u') => 4,
                Some(b'U') => 8,
                _ => 0,
            };
            let character = match letter {
                Some(_) if code > 0 => {
                    self.at += 1;
                    char::from_u32(self.hexadecimal(code)?)
                }
                Some(letter) => {
                    self.at += 1;
                    if letter == b'e' { Some('\u{1b}') } else { escaped(letter) }
                }
                None => None,
            };
            match character {
                Some(c) => out.push(c),
                None => {
                    self.at -= usize::from(letter.is_some_and(|b| !b.is_ascii()));
                    return self.wrong("there is no such escape");
                }
            }
        }
    }

    /// Text in `'`, or where that is allowed in `'''`.
    fn literal(&mut self, may_be_long: bool) -> Result<String, Error> {
        let long = self.opening("'", "'''", may_be_long);
        let mut out = String::new();
        loop {
            out.push_str(self.take_while(|b| b == b'\t' || (b >= b' ' && b != 0x7f && b != b'\'')));
            if self.closing(b'\'', long, &mut out)? {
                return Ok(out);
            }
        }
    }

    /// Goes past the opening quotes and tells whether they are three.
    fn opening(&mut self, one: &str, three: &str, may_be_long: bool) -> bool {
        let long = may_be_long && self.take(three);
        if long {
            // An end of line right behind them does not count.
            let _ = self.take("\n") || self.take("\r\n");
        } else {
            self.take(one);
        }
        long
    }

    /// Whether the text ends here, and the closing quotes are passed; what else a quote or an end of line may mean.
    fn closing(&mut self, quote: u8, long: bool, out: &mut String) -> Result<bool, Error> {
        let quotes = self.rest().iter().take_while(|&&b| b == quote).count();
        if !long {
            self.at += 1;
            return match self.text.as_bytes().get(self.at - 1) {
                Some(&b) if b == quote => Ok(true),
                Some(b'\\') => {
                    self.at -= 1;
                    Ok(false)
                }
                _ => {
                    self.at -= 1;
                    self.wrong("text in quotes has no end on its line")
                }
            };
        }
        // Up to two more quotes belong to the text.
        let ours = if quotes >= 3 { quotes.min(5) - 3 } else { quotes };
        (0..ours).for_each(|_| out.push(char::from(quote)));
        self.at += ours;
        if quotes >= 3 {
            self.at += 3;
            return Ok(true);
        }
        for end in ["\n", "\r\n"] {
            if self.take(end) {
                out.push_str(end);
                return Ok(false);
            }
        }
        if quotes > 0 || self.peek() == Some(b'\\') {
            return Ok(false);
        }
        self.wrong("text in quotes has no end")
    }
}

/// A decimal number, `inf` or `nan`.
fn plain_number(word: &str) -> Option<f64> {
    let unsigned = word.strip_prefix(['+', '-']).unwrap_or(word);
    if matches!(unsigned, "inf" | "nan") {
        return crate::number::parse(word);
    }
    let bytes = unsigned.as_bytes();
    let digit = |i: usize| bytes.get(i).is_some_and(u8::is_ascii_digit);
    // A digit stands first; points and underscores stand between digits; no number but 0 begins with 0.
    let between = bytes.iter().enumerate().all(|(i, &b)| match b {
        b'.' | b'_' => i > 0 && digit(i - 1) && digit(i + 1),
        b'0'..=b'9' | b'e' | b'E' | b'+' | b'-' => true,
        _ => false,
    });
    let leading_zero = bytes.first() == Some(&b'0') && bytes.get(1).is_some_and(|b| b.is_ascii_digit() || *b == b'_');
    if !digit(0) || !between || leading_zero {
        return None;
    }
    crate::number::parse(&word.replace('_', ""))
}

/// A number that is not decimal.
fn other_number(word: &str) -> Option<Kind> {
    let (base, digits) = word.split_at_checked(2)?;
    let radix = match base {
        "0x" => 16,
        "0o" => 8,
        "0b" => 2,
        _ => return None,
    };
    let sound = |part: &str| !part.is_empty() && part.chars().all(|c| c.is_digit(radix));
    digits.split('_').all(sound).then_some(Kind::Other("a number that is not decimal"))
}
