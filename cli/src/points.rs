//! Points as CSV, and heights written so that they read back to the bit.

use crate::report::{Failure, Refusal};
use evengap::Place;

/// Reads lines of `x,y` in mm. A first line that names the columns is passed over, so are blank lines and a BOM.
pub(crate) fn read(text: &str, name: &str) -> Result<Vec<[f64; 2]>, Failure> {
    let mut points = Vec::new();
    let mut first = true;
    for (line, number) in text.trim_start_matches('\u{feff}').lines().zip(1_u64..) {
        if line.trim().is_empty() {
            continue;
        }
        let header = std::mem::take(&mut first) && is_header(line);
        if !header {
            points.push(point(line, number, name)?);
        }
    }
    Ok(points)
}

fn is_header(line: &str) -> bool {
    let names: Vec<String> = line.split(',').map(|f| f.trim().trim_matches('"').to_ascii_lowercase()).collect();
    matches!(names.as_slice(), [x, y] if x == "x" && y == "y")
}

fn point(line: &str, number: u64, name: &str) -> Result<[f64; 2], Failure> {
    let refuse = |message: String, at: usize| {
        let place = Place { line: number, column: 1 + u64::try_from(at).unwrap_or(0) };
        Failure::from(Refusal::of_line(message, name.to_owned(), place, line))
    };
    let mut values = [0.0; 2];
    let mut at = 0;
    let mut count = 0;
    for field in line.split(',') {
        let start = at + (field.len() - field.trim_start().len());
        if count == values.len() {
            return Err(refuse("there are more than two numbers on the line: x,y is expected".to_owned(), start));
        }
        values[count] = match field.trim().parse::<f64>() {
            Ok(value) if value.is_finite() => value,
            _ => return Err(refuse(format!("\"{}\" is not a number of millimetres", field.trim()), start)),
        };
        count += 1;
        at += field.len() + 1;
    }
    if count < values.len() {
        return Err(refuse("there is one number on the line: x,y is expected".to_owned(), line.len()));
    }
    Ok(values)
}

/// `value` with 17 significant digits, which is enough for any f64 to read back the same (IEEE 754-2008, 5.12.2).
pub(crate) fn exact(value: f64) -> String {
    let scientific = format!("{value:.16e}");
    let exponent = scientific.split_once('e').and_then(|(_, e)| e.parse::<i32>().ok());
    match exponent {
        // Plain digits where they are not mostly zeros.
        Some(e @ -7..=15) => {
            let decimals = usize::try_from(16 - e).unwrap_or(16);
            format!("{value:.decimals$}")
        }
        _ => scientific,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_read_back_to_the_bit() {
        for value in [0.1 + 0.2, -0.123_456_789_012_345_67, 1e-9 / 3.0, 0.0, -0.0, 5e-324, 1.0 / 3.0, 12.0 / 7.0] {
            let text = exact(value);
            assert_eq!(text.parse::<f64>().unwrap().to_bits(), value.to_bits(), "{text}");
        }
        assert_eq!(exact(0.1), "0.10000000000000001");
        assert_eq!(exact(-1.5), "-1.5000000000000000");
    }

    #[test]
    fn points_with_and_without_a_header() {
        let points = [[1.0, 2.0], [-3.5, 4e1]];
        for text in ["x,y\n1,2\n-3.5,4e1\n", "1,2\r\n\r\n -3.5 , 4e1", "\u{feff}X, Y\n1,2\n-3.5,40"] {
            assert_eq!(read(text, "p").unwrap(), points, "{text:?}");
        }
        assert!(read("", "p").unwrap().is_empty());
    }

    #[test]
    fn a_wrong_line_is_refused() {
        for text in ["1,2\nx,y\n", "1;2\n", "1\n", "1,2,3\n", "1,nan\n", "1,inf\n", "1,\n", "x,y,value\n1,2,3\n"] {
            assert!(matches!(read(text, "p"), Err(Failure::Refused(_))), "{text:?}");
        }
    }
}
