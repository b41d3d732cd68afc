//! Readings from CSV text: `x,y,value`, mm.

use super::Reading;
use crate::tree::quoted;
use crate::{Error, ErrorKind, number};

/// Reads the lines. Separators are commas; blanks around numbers are allowed, quotes are not needed for numbers and refused.
pub(super) fn readings(text: &str) -> Result<Vec<Reading>, Error> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut out = Vec::new();
    let mut may_be_header = true;
    for (index, line) in text.split('\n').enumerate() {
        let number = index as u64 + 1;
        let line = line.strip_suffix('\r').unwrap_or(line);
        if line.trim().is_empty() || line.trim_start().starts_with('#') {
            continue;
        }
        let first = std::mem::replace(&mut may_be_header, false);
        let mut fields = [0.0; 3];
        let mut count = 0;
        let mut at = 0;
        let mut bad = None;
        for field in line.split(',') {
            if count < 3 {
                match number::parse(field.trim()) {
                    Some(n) if n.is_finite() => fields[count] = n + 0.0,
                    _ => bad = bad.or(Some((at + (field.len() - field.trim_start().len()), field.trim()))),
                }
            }
            count += 1;
            at += field.len() + 1;
        }
        // A header has no numbers at all in its first field; "x,y,value" in any spelling.
        if first && line.split(',').all(|f| number::parse(f.trim()).is_none()) {
            continue;
        }
        if let Some((column, word)) = bad {
            return Err(Error::new(
                ErrorKind::Card,
                format!("{} is not a number, in the CSV of readings", quoted(word)),
            )
            .at(number, column as u64 + 1)
            .with_help("each line is x,y,value in mm, with a point for the decimals"));
        }
        if count != 3 {
            return Err(Error::new(
                ErrorKind::Card,
                format!("three numbers are needed here and {count} stand, in the CSV of readings"),
            )
            .at(number, 1)
            .with_help("each line is x,y,value in mm, with a point for the decimals"));
        }
        let lead = (line.len() - line.trim_start().len()) as u64;
        out.push(Reading {
            x: fields[0],
            y: fields[1],
            value: fields[2],
            spread: None,
            line: Some(number),
            column: Some(lead + 1),
        });
    }
    Ok(out)
}
