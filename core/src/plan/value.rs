//! A reading as it is typed: a number, and whether it can be right.

use super::method::about;
use crate::card::{Card, MAX_READING, Method};
use crate::number::Shown;

/// Largest difference from its neighbours, mm, that a reading is taken for without asking; also the largest height of a
/// first reading. A bed that is bent by more is not one that the rewriter follows without being told to.
pub const ABSURD: f64 = 2.0;

/// Neighbours that a reading is held against.
const NEIGHBOURS: usize = 4;

/// Reads a typed value, mm.
///
/// # Errors
///
/// In words, what is wrong: not a number, a decimal comma, not finite, out of range, negative where a thickness is read.
pub fn value_from_text(method: Method, text: &str) -> Result<f64, String> {
    let text = text.trim().trim_end_matches("mm").trim_end();
    let text = text.strip_prefix('\u{2212}').map_or_else(|| text.to_owned(), |rest| format!("-{rest}"));
    let value = match crate::number::parse(&text) {
        Some(value) if value.is_finite() => value + 0.0,
        Some(_) => return Err(format!("\"{text}\" is not a number of millimetres")),
        None if text.contains(',') && crate::number::parse(&text.replace(',', ".")).is_some() => {
            return Err(format!("\"{text}\" has a decimal comma: write {}", text.replace(',', ".")));
        }
        None => return Err(format!("\"{text}\" is not a number of millimetres")),
    };
    if value.abs() > MAX_READING {
        return Err(format!("{} mm is beyond what can be read ({} mm)", Shown(value), Shown(MAX_READING)));
    }
    if value < 0.0 && matches!(method, Method::Gauge | Method::Patch) {
        return Err(format!("{} mm is negative, and the value is {}", Shown(value), about(method).value));
    }
    Ok(value)
}

/// Why a value at the nozzle's place (x, y), mm, looks wrong, in words; `None` where it does not.
///
/// It is held against the middle of the four nearest readings on the card; where there are none, against height 0.
/// More than [`ABSURD`] mm off is doubtful.
#[must_use]
pub fn doubt(card: &Card, [x, y]: [f64; 2], value: f64) -> Option<String> {
    let r = &card.readings;
    let mut near: Vec<(f64, f64)> =
        r.points.iter().map(|p| (libm::hypot(p.x - x, p.y - y), r.height_of(p.value))).collect();
    crate::order::sort_by(&mut near, |a, b| a.0.total_cmp(&b.0));
    let mut heights: Vec<f64> = near.iter().take(NEIGHBOURS).map(|n| n.1).collect();
    crate::order::sort_numbers(&mut heights);
    let height = r.height_of(value);
    let Some(middle) = heights.get(heights.len() / 2) else {
        return (height.abs() > ABSURD).then(|| {
            let [shown, off] = [value, height.abs()].map(Shown);
            format!("{shown} mm means that the bed stands {off:.2} mm {} Z = 0 there", above(height))
        });
    };
    let off = height - middle;
    (off.abs() > ABSURD).then(|| {
        let [shown, apart] = [value, off.abs()].map(Shown);
        format!("{shown} mm means that the bed stands {apart:.2} mm {} its neighbours there", above(off))
    })
}

fn above(height: f64) -> &'static str {
    if height > 0.0 { "above" } else { "below" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_values_are_read_or_explained() {
        assert_eq!(value_from_text(Method::Drag, " -0.16 mm\n"), Ok(-0.16));
        assert_eq!(value_from_text(Method::Drag, "\u{2212}0.16"), Ok(-0.16));
        assert_eq!(value_from_text(Method::Gauge, "0.25"), Ok(0.25));
        assert!(value_from_text(Method::Drag, "0,16").unwrap_err().contains("write 0.16"));
        for text in ["", "x", "nan", "inf", "1e999", "0.1 0.2", "1001", "--1"] {
            assert!(value_from_text(Method::Drag, text).is_err(), "{text}");
        }
        assert!(value_from_text(Method::Patch, "-0.1").unwrap_err().contains("thickness"));
    }

    #[test]
    fn what_is_far_from_its_neighbours_is_doubted() {
        let text = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
        let bare = Card::parse_without_points(text).unwrap();
        assert_eq!(doubt(&bare, [10.0, 10.0], 1.6), None);
        assert!(doubt(&bare, [10.0, 10.0], 16.0).unwrap().contains("15.90 mm above Z = 0"));
        let card = Card::parse(&format!("{text}points = [[10, 10, 1.6], [20, 10, 1.7], [10, 20, 1.5]]\n")).unwrap();
        assert_eq!(doubt(&card, [30.0, 10.0], 0.1), None);
        assert!(doubt(&card, [30.0, 10.0], -0.5).unwrap().contains("2.10 mm below its neighbours"));
    }
}
