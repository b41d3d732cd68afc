//! Readings that come back as CSV: `number,value` or `x,y,value`, mm.

use super::edit::Draft;
use crate::report::Failure;
use crate::rows::{Field, Row, rows};
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
    for row in rows(text, name) {
        let entry = Filling { row: &row, draft }.entry(&points, &entries, replace)?;
        entries.push(entry);
    }
    if entries.is_empty() {
        return Err(Failure::plain(format!(
            "{name} holds no reading: number,value or x,y,value is expected on each line"
        )));
    }
    Ok(entries)
}

/// A line, and the card that it goes into.
struct Filling<'a> {
    row: &'a Row<'a>,
    draft: &'a Draft,
}

impl Filling<'_> {
    fn refuse(&self, column: u64, message: impl Into<String>) -> Failure {
        self.row.refuse(column, message)
    }

    fn entry(&self, points: &[Point], before: &[Entry], replace: bool) -> Result<Entry, Failure> {
        let (number, (value, column)) = match self.row.fields.as_slice() {
            [number, value] => (self.by_number(*number, points, before)?, (value.text, value.column)),
            [x, y, value] => (self.by_place([*x, *y], points, before)?, (value.text, value.column)),
            fields => {
                let column = fields.get(3).map_or(1, |f| f.column);
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
        Ok(Entry { number, value: value_mm, line: self.row.number, column })
    }

    fn by_number(
        &self,
        Field { text, column }: Field<'_>,
        points: &[Point],
        before: &[Entry],
    ) -> Result<usize, Failure> {
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

    fn by_place(&self, [x, y]: [Field<'_>; 2], points: &[Point], before: &[Entry]) -> Result<usize, Failure> {
        let [px, py] = [self.row.millimetres(x)?, self.row.millimetres(y)?];
        let near = |p: &Point| {
            let [u, v] = place(p);
            (u - px).abs() <= SAME && (v - py).abs() <= SAME
        };
        // A point that the card lists twice is read twice: each line fills the next of them, those first that are still to be read.
        let is_read = |(p, _): &(&Point, usize)| matches!(p, Point::Read(_));
        let all = || points.iter().zip(1..).filter(|(p, _)| near(p));
        let mut there = all().filter(|p| !is_read(p)).chain(all().filter(is_read)).map(|(_, n)| n).peekable();
        let Some(&first) = there.peek() else {
            return Err(self.refuse(x.column, format!("the card has no point at X {px} Y {py}")));
        };
        let taken = |n: usize| before.iter().find(|e| e.number == n);
        match there.find(|n| taken(*n).is_none()) {
            Some(number) => Ok(number),
            None => Err(self.refuse(x.column, twice(first, taken(first).map_or(0, |e| e.line)))),
        }
    }
}

fn twice(number: usize, line: u64) -> String {
    format!("point {number} comes twice: line {line} has it already")
}
