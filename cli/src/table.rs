//! Words laid out as the bed lies: back row on top, front at the bottom, left to right.

/// What stands at one place, mm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cell {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) text: String,
}

/// Places closer than this share of the extent are in one row or column: hand-taken places are seldom exact.
const ALIKE: f64 = 0.02;

/// Widest table, in columns of text; places too close for it take [`USUAL`], and more lines.
const WIDEST: usize = 140;
const USUAL: usize = 66;

/// The table, each line ended. Scattered places stand where they are from left to right; what would overlap goes to a line below.
pub(crate) fn as_the_bed_lies(cells: &[Cell]) -> String {
    let rows = grouped(cells.iter(), |c| c.y);
    let columns = grouped(cells.iter(), |c| c.x);
    let cell = cells.iter().map(|c| c.text.chars().count()).max().unwrap_or(0);
    let span = Span::new(cells, &rows, cell);
    let labels: Vec<String> = rows.iter().map(|row| label(row, |c| c.y)).collect();
    let margin = labels.iter().map(String::len).max().unwrap_or(0);

    let mut out = String::new();
    let indent = " ".repeat(margin + 6);
    out.push_str(&format!("{indent}back\n"));
    for (row, label) in rows.iter().zip(&labels).rev() {
        let mut row = row.clone();
        row.sort_by(|a, b| a.x.total_cmp(&b.x));
        for (k, line) in lines(row.iter().map(|c| (span.at(c.x), right_aligned(&c.text, cell)))).iter().enumerate() {
            let head = if k == 0 { format!("  Y {label:>margin$}") } else { " ".repeat(margin + 4) };
            out.push_str(&format!("{head}  {}\n", line.trim_end()));
        }
    }
    out.push_str(&format!("{indent}front\n"));
    let marks = columns.iter().map(|c| (span.at(middle(c, |c| c.x)), right_aligned(&label(c, |c| c.x), cell)));
    if let Some(line) = lines(marks).first() {
        out.push_str(&format!("  X {}  {line}\n", " ".repeat(margin)));
    }
    out
}

/// Where an X falls in columns of text.
struct Span {
    low: f64,
    scale: f64,
}

impl Span {
    fn new(cells: &[Cell], rows: &[Vec<&Cell>], cell: usize) -> Span {
        let low = cells.iter().map(|c| c.x).fold(f64::INFINITY, f64::min);
        let high = cells.iter().map(|c| c.x).fold(f64::NEG_INFINITY, f64::max);
        let extent = (high - low).max(f64::MIN_POSITIVE);
        let mut closest = extent;
        for row in rows {
            let mut xs: Vec<f64> = row.iter().map(|c| c.x).collect();
            xs.sort_by(f64::total_cmp);
            for pair in xs.windows(2) {
                closest = closest.min(pair[1] - pair[0]);
            }
        }
        let wanted = to_f64(cell + 3) * (extent / closest);
        Span { low, scale: if wanted <= to_f64(WIDEST) { wanted } else { to_f64(USUAL) } / extent }
    }

    fn at(&self, x: f64) -> usize {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a line's width")]
        let at = ((x - self.low) * self.scale).round().clamp(0.0, to_f64(WIDEST)) as usize;
        at
    }
}

#[expect(clippy::cast_precision_loss, reason = "widths of text")]
fn to_f64(n: usize) -> f64 {
    n as f64
}

/// Groups by a coordinate, lowest first.
fn grouped<'a>(cells: impl Iterator<Item = &'a Cell>, of: fn(&Cell) -> f64) -> Vec<Vec<&'a Cell>> {
    let mut cells: Vec<&Cell> = cells.collect();
    cells.sort_by(|a, b| of(a).total_cmp(&of(b)));
    let extent = cells.last().map_or(0.0, |c| of(c)) - cells.first().map_or(0.0, |c| of(c));
    let mut groups: Vec<Vec<&Cell>> = Vec::new();
    for cell in cells {
        match groups.last_mut() {
            Some(group) if of(cell) - of(group[0]) <= ALIKE * extent => group.push(cell),
            _ => groups.push(vec![cell]),
        }
    }
    groups
}

fn middle(group: &[&Cell], of: fn(&Cell) -> f64) -> f64 {
    group.iter().map(|c| of(c)).sum::<f64>() / to_f64(group.len().max(1))
}

/// The coordinate of a row or column, rounded to 0.1 mm; with a "~" where its places differ.
fn label(group: &[&Cell], of: fn(&Cell) -> f64) -> String {
    let same = group.iter().all(|c| (of(c) - of(group[0])).abs() < 0.05);
    let text = format!("{:.1}", middle(group, of));
    let text = text.strip_suffix(".0").unwrap_or(&text);
    let text = if text == "-0" { "0" } else { text };
    if same { text.to_owned() } else { format!("~{text}") }
}

fn right_aligned(text: &str, width: usize) -> String {
    format!("{text:>width$}")
}

/// Lays texts out at their columns; one that would touch the text before it goes to the next line.
fn lines(texts: impl Iterator<Item = (usize, String)>) -> Vec<String> {
    let mut lines: Vec<(String, usize)> = Vec::new();
    for (at, text) in texts {
        let fits = |(_, end): &&mut (String, usize)| *end == 0 || *end < at;
        let line = match lines.iter_mut().find(fits) {
            Some(line) => line,
            None => {
                lines.push((String::new(), 0));
                let last = lines.len() - 1;
                &mut lines[last]
            }
        };
        line.0.push_str(&" ".repeat(at - line.1.min(at)));
        line.0.push_str(&text);
        line.1 = at.max(line.1) + text.chars().count();
    }
    lines.into_iter().map(|(line, _)| line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(list: &[(f64, f64, &str)]) -> Vec<Cell> {
        list.iter().map(|(x, y, t)| Cell { x: *x, y: *y, text: (*t).to_owned() }).collect()
    }

    #[test]
    fn a_grid_is_a_table_with_the_back_on_top() {
        let table = as_the_bed_lies(&cells(&[
            (30.0, 30.0, "+0.01"),
            (117.5, 30.0, "-0.02"),
            (205.0, 30.0, "+0.03"),
            (30.0, 205.0, "+0.04"),
            (117.5, 205.0, "+0.05"),
            (205.0, 205.0, "+0.06"),
        ]));
        let lines: Vec<&str> = table.lines().collect();
        assert_eq!(lines.len(), 5, "{table}");
        assert_eq!(lines[0].trim(), "back");
        assert_eq!(lines[1].split_whitespace().collect::<Vec<_>>(), ["Y", "205", "+0.04", "+0.05", "+0.06"]);
        assert_eq!(lines[2].split_whitespace().collect::<Vec<_>>(), ["Y", "30", "+0.01", "-0.02", "+0.03"]);
        assert_eq!(lines[3].trim(), "front");
        assert_eq!(lines[4].split_whitespace().collect::<Vec<_>>(), ["X", "30", "117.5", "205"]);
        // The figures of a column stand under one another.
        assert_eq!(lines[1].find("+0.05"), lines[2].find("-0.02"));
    }

    #[test]
    fn scattered_places_keep_their_side_and_never_overlap() {
        let scatter: Vec<(f64, f64, &str)> =
            (0..60).map(|i| (f64::from(i * 37 % 101) * 2.3, f64::from(i * 61 % 97) * 2.1, "+0.12")).collect();
        let table = as_the_bed_lies(&cells(&scatter));
        assert_eq!(table.matches("+0.12").count(), 60);
        assert!(!table.contains("2+"), "{table}");
        assert!(table.lines().all(|l| l.len() < 165), "{table}");
    }

    #[test]
    fn rows_that_are_nearly_alike_are_one() {
        let table = as_the_bed_lies(&cells(&[(0.0, 0.0, "a"), (100.0, 1.5, "b"), (50.0, 100.0, "c")]));
        assert!(table.lines().any(|l| l.contains("~0.8") && l.contains('a') && l.contains('b')), "{table}");
    }

    #[test]
    fn one_place_and_none_are_no_trouble() {
        assert!(as_the_bed_lies(&cells(&[(5.0, 5.0, "x")])).contains('x'));
        assert!(as_the_bed_lies(&[]).contains("front"));
    }
}
