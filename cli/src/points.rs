//! Points as CSV, and heights written so that they read back to the bit.

use crate::report::Failure;
use crate::rows::{Row, rows};

/// Reads lines of `x,y` in mm; see [`rows`] for what is passed over.
pub(crate) fn read(text: &str, name: &str) -> Result<Vec<[f64; 2]>, Failure> {
    rows(text, name).map(|row| point(&row)).collect()
}

fn point(row: &Row<'_>) -> Result<[f64; 2], Failure> {
    match row.fields.as_slice() {
        [x, y] => Ok([row.millimetres(*x)?, row.millimetres(*y)?]),
        [one] => Err(row.refuse(one.column, "there is one field on the line: x,y is expected")),
        fields => {
            let column = fields.get(2).map_or(1, |f| f.column);
            Err(row.refuse(column, "there are more than two fields on the line: x,y is expected"))
        }
    }
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
