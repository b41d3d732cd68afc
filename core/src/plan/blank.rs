//! A new card as text, with comments that help a person fill it in.

use super::method::about;
use crate::card::{Bed, Method, Point};
use crate::number::Shown;
use crate::{Card, whereabouts};
use std::fmt::Write as _;

/// The card as TOML with a comment at each key and each point, for a person with a pencil or an editor.
///
/// [`Card::parse`] reads it to the same card. Readings already taken keep their values.
#[must_use]
pub fn card_text(card: &Card) -> String {
    let plain = card.to_toml();
    let mut out = String::from(
        "# A probe card: the bed, how it is read, and the readings. Lengths are mm, temperatures degrees Celsius.\n\n",
    );
    let mut in_points = false;
    for line in plain.lines() {
        if line == "points = [" {
            in_points = true;
            out.push_str(&points_text(card));
        } else if line == "]" && in_points {
            in_points = false;
        } else if !in_points {
            let comment = comment(card, line);
            let _ = match comment {
                Some(comment) => writeln!(out, "{line:<32} # {comment}"),
                None => writeln!(out, "{line}"),
            };
        }
    }
    out
}

/// What a line's key means.
fn comment(card: &Card, line: &str) -> Option<&'static str> {
    let (key, value) = line.split_once(' ')?;
    value.strip_prefix("= ")?;
    Some(match key {
        "x" => "lowest and highest X that the nozzle reaches",
        "y" => "lowest and highest Y",
        "outline" => "the ellipse inscribed in x and y",
        "keep_out" => "x0, y0, x1, y1: clips, clamps",
        "method" => about(card.readings.method).tool,
        "sheet" => "the sheet's thickness: measure yours",
        "parked" if card.readings.method == Method::Patch => "the nozzle's Z while each patch is printed",
        "parked" => "the nozzle's Z at every point",
        "offset" => "the plunger's place from the nozzle, X and Y",
        "bed_celsius" => "of the bed while reading",
        "nozzle_celsius" => "of the nozzle while reading",
        "spread" => "how well a reading repeats: one standard deviation",
        "right_at" => "where the first layer is right as it is",
        _ => return None,
    })
}

/// The key `points` as it stands in a card's `[readings]`: a comment that helps to fill it in, and a line for each point.
#[must_use]
pub fn points_text(card: &Card) -> String {
    let mut out = String::new();
    let about = about(card.readings.method);
    let example = match card.readings.method {
        Method::Drag => "0.16",
        Method::Gauge | Method::Patch => "0.25",
        Method::Dial => "-0.03",
    };
    let _ = write!(
        out,
        "# The points in the order of the visit: [x, y]. When you have read one, add the value as its third number, so that\n\
         # [30, 30] becomes [30, 30, {example}]. The value is {};\n# {}.\n\
         # A point without a third number counts as not read yet. A point read twice is listed twice.\npoints = [\n",
        about.value, about.sign
    );
    out.push_str(&point_lines(&card.bed, card.readings.all_points()));
    out.push_str("]\n");
    out
}

/// A line for each point as it stands in a card's list: numbers in columns, then its number and its place in words.
fn point_lines(bed: &Bed, points: impl Iterator<Item = Point>) -> String {
    let rows: Vec<(Vec<String>, [f64; 2])> = points
        .map(|p| match p {
            Point::Read(r) => ([Some(r.x), Some(r.y), Some(r.value), r.spread], [r.x, r.y]),
            Point::Unread(u) => ([Some(u.x), Some(u.y), None, None], [u.x, u.y]),
        })
        .map(|(numbers, at)| (numbers.into_iter().flatten().map(|n| Shown(n + 0.0).to_string()).collect(), at))
        .collect();
    let width = |k: usize| rows.iter().filter_map(|(row, _)| row.get(k)).map(String::len).max().unwrap_or(0);
    let widths = [width(0), width(1), width(2), width(3)];
    let mut out = String::new();
    for (number, (row, at)) in rows.iter().enumerate() {
        let cells: Vec<String> = row.iter().zip(widths).map(|(cell, width)| format!("{cell:>width$}")).collect();
        let list = format!("[{}],", cells.join(", "));
        let _ = writeln!(out, "  {list:<24} # {} {}", number + 1, whereabouts::place(bed, at[0], at[1]));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blank_card_reads_back_and_explains_itself() {
        for (keys, word) in [
            ("method = 'drag'\nsheet = 0.1\nbed_celsius = 60", "just drags"),
            ("method = 'gauge'\nparked = 0.3", "thickest leaf"),
            ("method = 'patch'\nparked = 0.3\nspread = 0.01", "patch's thickness"),
            ("method = 'dial'\noffset = [-35, 22]\nright_at = [100, 100]", "indicator shows"),
        ] {
            let text = format!(
                "[bed]\nx = [-5, 235]\ny = [0, 235]\nkeep_out = [[0, 0, 5, 5]]\n[readings]\n{keys}\npoints = [[30, 30], [117.5, 30, 0.16], [205, 205, 0.1, 0.02]]\n[screws]\npitch = 0.7\nraise = 'clockwise'\nat = {{ a = [0, 0], b = [10, 0] }}\n"
            );
            let card = Card::parse(&text).unwrap();
            let blank = card_text(&card);
            let again = Card::parse(&blank).unwrap();
            assert_eq!(again.digest(), card.digest(), "{blank}");
            assert!(
                blank.contains(word) && blank.contains("# 1 front left") && blank.contains("# 3 back right"),
                "{blank}"
            );
            assert!(blank.lines().all(|l| l.chars().count() <= 125), "{blank}");
        }
    }
}
