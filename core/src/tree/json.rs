//! JSON (RFC 8259) to a tree.

use super::cursor::{Cursor, escaped};
use super::{Entry, Kind, Lines, MAX_DEPTH, Made, Node};
use crate::Error;

/// Reads JSON; `not` is told of it where it is none: "the card is not JSON".
pub(crate) fn from_json(text: &str, lines: &Lines, not: &'static str) -> Result<Node, Error> {
    let mut json = Cursor { text, at: 0, lines, not };
    let node = json.value(MAX_DEPTH)?;
    json.blank();
    if json.peek().is_some() {
        return json.wrong("it has come to its end, and something follows");
    }
    Ok(node)
}

impl Cursor<'_> {
    fn blank(&mut self) {
        self.take_while(|b| matches!(b, b' ' | b'\t' | b'\r' | b'\n'));
    }

    fn value(&mut self, depth: usize) -> Result<Node, Error> {
        self.blank();
        let at = self.at;
        if depth == 0 {
            return self.too_deep(at);
        }
        let kind = match self.peek() {
            Some(b'{') => Kind::Table(self.table(depth)?),
            Some(b'[') => {
                let mut list = Vec::new();
                self.at += 1;
                self.blank();
                if !self.take("]") {
                    loop {
                        list.push(self.value(depth - 1)?);
                        if !self.goes_on("]", "a comma or `]` is missing")? {
                            break;
                        }
                    }
                }
                Kind::Array(list)
            }
            Some(b'"') => Kind::Text(self.string()?),
            Some(b'-' | b'0'..=b'9') => Kind::Number(self.number()?),
            _ => match self.take_while(|b| b.is_ascii_alphanumeric()) {
                "true" => Kind::Truth(true),
                "false" => Kind::Truth(false),
                "null" => Kind::Other("null"),
                _ => {
                    self.at = at;
                    return self.wrong("a value is missing");
                }
            },
        };
        Ok(Node { at, kind })
    }

    fn table(&mut self, depth: usize) -> Result<Vec<Entry>, Error> {
        let mut entries = Vec::new();
        self.at += 1;
        self.blank();
        if self.take("}") {
            return Ok(entries);
        }
        loop {
            self.blank();
            let at = self.at;
            if self.peek() != Some(b'"') {
                return self.wrong("a key in quotes is missing");
            }
            let key = self.string()?;
            self.blank();
            if !self.take(":") {
                return self.wrong("a colon is missing");
            }
            let value = self.value(depth - 1)?;
            self.new_key(&entries, &key, at)?;
            entries.push(Entry { key, at, value, made: Made::Value });
            if !self.goes_on("}", "a comma or `}` is missing")? {
                return Ok(entries);
            }
        }
    }

    /// Whether another one follows in a list or table that ends with `end`.
    fn goes_on(&mut self, end: &str, missing: &str) -> Result<bool, Error> {
        self.blank();
        if self.take(",") {
            return Ok(true);
        }
        if self.take(end) { Ok(false) } else { self.wrong(missing) }
    }

    fn string(&mut self) -> Result<String, Error> {
        let mut out = String::new();
        self.at += 1;
        loop {
            out.push_str(self.take_while(|b| b >= b' ' && b != b'"' && b != b'\\'));
            if self.take("\"") {
                return Ok(out);
            }
            if !self.take("\\") {
                return self.wrong("text in quotes has no end");
            }
            match self.peek() {
                Some(b'u') => {
                    self.at += 1;
                    let mut code = self.hexadecimal(4)?;
                    // The first of two that make one character.
                    if (0xd800..0xdc00).contains(&code) && self.take("\\u") {
                        let second = self.hexadecimal(4)?;
                        code = match second {
                            0xdc00..0xe000 => 0x1_0000 + ((code - 0xd800) << 10) + (second - 0xdc00),
                            _ => code,
                        };
                    }
                    match char::from_u32(code) {
                        Some(c) => out.push(c),
                        None => return self.wrong("half a character is escaped"),
                    }
                }
                Some(b'/') => {
                    self.at += 1;
                    out.push('/');
                }
                letter => match letter.and_then(escaped) {
                    Some(c) => {
                        self.at += 1;
                        out.push(c);
                    }
                    None => return self.wrong("there is no such escape"),
                },
            }
        }
    }

    fn number(&mut self) -> Result<f64, Error> {
        let from = self.at;
        let word = self.take_while(|b| matches!(b, b'-' | b'+' | b'.' | b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z'));
        let digits = word.strip_prefix('-').unwrap_or(word);
        let rest = digits.trim_start_matches(|c: char| c.is_ascii_digit());
        let whole = digits.strip_suffix(rest).unwrap_or_default();
        let decimals = rest.strip_prefix('.');
        let sound = !whole.is_empty()
            && (whole == "0" || !whole.starts_with('0'))
            && decimals.is_none_or(|rest| rest.starts_with(|c: char| c.is_ascii_digit()));
        match crate::number::parse(word).filter(|_| sound) {
            Some(number) => Ok(number),
            None => {
                self.at = from;
                self.wrong("this is no number")
            }
        }
    }
}
