//! CSV that people type: lines to fields, each with its place.

use crate::report::{Failure, Refusal};
use evengap::Place;

/// A field without the white space around it, and the column (bytes, from 1) where it starts.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Field<'a> {
    pub(crate) text: &'a str,
    pub(crate) column: u64,
}

/// A line that holds something.
#[derive(Debug)]
pub(crate) struct Row<'a> {
    pub(crate) fields: Vec<Field<'a>>,
    /// Its number, from 1.
    pub(crate) number: u64,
    line: &'a str,
    name: &'a str,
}

/// The lines of `text`, which messages call `name`: but for blank ones, those that begin with `#`, a BOM, and a first one that names
/// the columns.
pub(crate) fn rows<'a>(text: &'a str, name: &'a str) -> impl Iterator<Item = Row<'a>> {
    let mut first = true;
    text.trim_start_matches('\u{feff}')
        .lines()
        .zip(1..)
        .filter(|(line, _)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
        .map(move |(line, number)| Row { fields: fields(line), number, line, name })
        .filter(move |row| !(std::mem::take(&mut first) && row.names_columns()))
}

fn fields(line: &str) -> Vec<Field<'_>> {
    let mut at = 0;
    let place = |field: &str, at: usize| 1 + at + (field.len() - field.trim_start().len());
    line.split(',')
        .map(|field| {
            let column = u64::try_from(place(field, at)).unwrap_or(u64::MAX);
            at += field.len() + 1;
            Field { text: field.trim(), column }
        })
        .collect()
}

impl Row<'_> {
    /// No field is a number, and the first begins with a letter.
    fn names_columns(&self) -> bool {
        let letter = |text: &str| text.trim_matches('"').starts_with(char::is_alphabetic);
        self.fields.iter().all(|f| f.text.parse::<f64>().is_err())
            && self.fields.first().is_some_and(|f| letter(f.text))
    }

    /// What is wrong at a column of this line.
    pub(crate) fn refuse(&self, column: u64, message: impl Into<String>) -> Failure {
        let place = Place { line: self.number, column };
        Refusal::of_line(message.into(), self.name.to_owned(), place, self.line).into()
    }

    /// A field's number of millimetres.
    pub(crate) fn millimetres(&self, field: Field<'_>) -> Result<f64, Failure> {
        match field.text.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(value),
            _ => Err(self.refuse(field.column, format!("\"{}\" is not a number of millimetres", field.text))),
        }
    }
}
