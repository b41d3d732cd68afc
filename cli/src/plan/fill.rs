//! Readings that come back as CSV: `number,value` or `x,y,value`, mm.

use super::edit::Draft;
use crate::report::{Failure, Refusal};
use evengap::Place;
use evengap::card::Point;
use evengap::plan::{doubt, value_from_text};

/// A place of the CSV is a point of the card when it is this near, mm: half of what a person would dial in.
const SAME: f64 = 0.05;

/// More points than this are not held against their neighbours.
const MOST_JUDGED: usize = 2000;

/// What was filled in.
pub(super) struct Filled {
    pub(super) count: usize,
    /// Values that look wrong, each with its line and why.
    pub(super) doubts: Vec<String>,
}

/// A reading of the CSV, with where it stands.
struct Entry {
    number: usize,
    value: f64,
    line: u64,
    /// The column of its value, in bytes from 1.
    column: u64,
}

/// Fills the readings of `text` into the card. Nothing is changed unless every line is right.
pub(super) fn fill(draft: &mut Draft, text: &str, name: &str, replace: bool) -> Result<Filled, Failure> {
    let entries = read(draft, text, name, replace)?;
    draft.set_values(&entries.iter().map(|e| (e.number, e.value)).collect::<Vec<_>>())?;
    let mut doubts = Vec::new();
    let points: Vec<Point> = draft.card().readings.all_points().collect();
    // Each is held against all the others; nobody types more by hand, and `map` names what stands out too.
    let judged = if points.len() <= MOST_JUDGED { &entries[..] } else { &[] };
    for entry in judged {
        let Some(at) = points.get(entry.number - 1).map(place) else { continue };
        // Held against the others, not against itself.
        let mut others = draft.card().clone();
        let own = points.iter().take(entry.number).filter(|p| matches!(p, Point::Read(_))).count();
        if own > 0 && own <= others.readings.points.len() {
            others.readings.points.remove(own - 1);
        }
        if let Some(why) = doubt(&others, at, entry.value) {
            doubts.push(format!("{name}:{}:{}: point {}: {why}", entry.line, entry.column, entry.number));
        }
    }
    Ok(Filled { count: entries.len(), doubts })
}

fn place(point: &Point) -> [f64; 2] {
    match point {
        Point::Read(r) => [r.x, r.y],
        Point::Unread(u) => [u.x, u.y],
    }
}

fn read(draft: &Draft, text: &str, name: &str, replace: bool) -> Result<Vec<Entry>, Failure> {
    let points: Vec<Point> = draft.card().readings.all_points().collect();
    let mut entries: Vec<Entry> = Vec::new();
    let mut first = true;
    for (line, number) in text.trim_start_matches('\u{feff}').lines().zip(1_u64..) {
        if line.trim().is_empty() || line.trim_start().starts_with('#') {
            continue;
        }
        let fields = Fields::of(line);
        let header = std::mem::take(&mut first) && fields.are_words();
        if !header {
            let row = Row { fields, line, number, name, draft };
            let entry = row.entry(&points, &entries, replace)?;
            entries.push(entry);
        }
    }
    if entries.is_empty() {
        return Err(Failure::plain(format!(
            "{name} holds no reading: number,value or x,y,value is expected on each line"
        )));
    }
    Ok(entries)
}

/// A line's fields, each with the column (bytes, from 1) where it starts.
struct Fields<'a>(Vec<(&'a str, u64)>);

impl<'a> Fields<'a> {
    fn of(line: &'a str) -> Fields<'a> {
        let mut at = 0;
        let fields = line.split(',').map(|field| {
            let column = 1 + at + (field.len() - field.trim_start().len());
            at += field.len() + 1;
            (field.trim(), u64::try_from(column).unwrap_or(u64::MAX))
        });
        Fields(fields.collect())
    }

    /// No field is a number, and the first begins with a letter: names of columns.
    fn are_words(&self) -> bool {
        let letter = |f: &str| f.trim_matches('"').starts_with(|c: char| c.is_alphabetic());
        self.0.iter().all(|(f, _)| f.parse::<f64>().is_err()) && self.0.first().is_some_and(|(f, _)| letter(f))
    }
}

struct Row<'a> {
    fields: Fields<'a>,
    line: &'a str,
    number: u64,
    name: &'a str,
    draft: &'a Draft,
}

impl Row<'_> {
    fn refuse(&self, column: u64, message: impl Into<String>) -> Failure {
        let place = Place { line: self.number, column };
        Failure::from(Refusal::of_line(message.into(), self.name.to_owned(), place, self.line))
    }

    fn entry(&self, points: &[Point], before: &[Entry], replace: bool) -> Result<Entry, Failure> {
        let (number, (value, column)) = match self.fields.0.as_slice() {
            [(number, at), value] => (self.by_number(number, *at, points, before)?, *value),
            [x, y, value] => (self.by_place([*x, *y], points, before)?, *value),
            fields => {
                let column = fields.get(3).map_or(1, |f| f.1);
                let message = "number,value or x,y,value is expected on each line, with a point for the decimals";
                return Err(self.refuse(column, message));
            }
        };
        let method = self.draft.card().readings.method;
        let value_mm = value_from_text(method, value).map_err(|why| self.refuse(column, why))?;
        if let (Some(Point::Read(old)), false) = (points.get(number - 1), replace) {
            let message =
                format!("point {number} has a reading already, {} mm: add --replace to take the new one", old.value);
            return Err(self.refuse(column, message));
        }
        Ok(Entry { number, value: value_mm, line: self.number, column })
    }

    fn by_number(&self, text: &str, column: u64, points: &[Point], before: &[Entry]) -> Result<usize, Failure> {
        let count = points.len();
        let number = match text.parse::<usize>() {
            Ok(n) if (1..=count).contains(&n) => n,
            Ok(n) => return Err(self.refuse(column, format!("there is no point {n}: the card has 1 to {count}"))),
            Err(_) => return Err(self.refuse(column, format!("\"{text}\" is not a point's number, 1 to {count}"))),
        };
        match before.iter().find(|e| e.number == number) {
            Some(earlier) => Err(self.refuse(column, twice(number, earlier.line))),
            None => Ok(number),
        }
    }

    fn by_place(&self, [x, y]: [(&str, u64); 2], points: &[Point], before: &[Entry]) -> Result<usize, Failure> {
        let mm = |(text, column): (&str, u64)| match text.parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(v),
            _ => Err(self.refuse(column, format!("\"{text}\" is not a number of millimetres"))),
        };
        let [px, py] = [mm(x)?, mm(y)?];
        let near = |p: &Point| {
            let [u, v] = place(p);
            (u - px).abs() <= SAME && (v - py).abs() <= SAME
        };
        // A point that the card lists twice is read twice: each line fills the next of them.
        let mut there = points.iter().zip(1..).filter(|(p, _)| near(p)).map(|(_, n)| n).peekable();
        let Some(&first) = there.peek() else {
            return Err(self.refuse(x.1, format!("the card has no point at X {px} Y {py}")));
        };
        let taken = |n: usize| before.iter().find(|e| e.number == n);
        match there.find(|n| taken(*n).is_none()) {
            Some(number) => Ok(number),
            None => Err(self.refuse(x.1, twice(first, taken(first).map_or(0, |e| e.line)))),
        }
    }
}

fn twice(number: usize, line: u64) -> String {
    format!("point {number} comes twice: line {line} has it already")
}
