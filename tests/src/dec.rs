//! Exact decimal numbers, so that "the same end point" means the same number and not nearly.

use std::fmt;
use std::ops::{Add, AddAssign, Neg, Sub};

/// Decimal places that a [`Dec`] holds.
pub const PLACES: u32 = 20;
const ONE: i128 = 10_i128.pow(PLACES);

/// A decimal number in units of 1e-20: exact for up to 19 places in inches and 20 in millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash)]
pub struct Dec(i128);

impl Dec {
    /// Nought.
    pub const ZERO: Dec = Dec(0);

    /// `units` counted in 10^-`places`; `places` is at most [`PLACES`].
    #[must_use]
    pub fn new(units: i64, places: u32) -> Dec {
        Dec(i128::from(units) * 10_i128.pow(PLACES - places))
    }

    /// Reads `[+-]?digits[.digits]`, at least one digit, nothing else. Places beyond the twentieth are cut.
    /// `None` for anything else, and for a number of ten or more digits before the point.
    #[must_use]
    pub fn parse(text: &str) -> Option<Dec> {
        let (negative, rest) = match text.as_bytes().first()? {
            b'-' => (true, &text[1..]),
            b'+' => (false, &text[1..]),
            _ => (false, text),
        };
        let (whole, part) = rest.split_once('.').unwrap_or((rest, ""));
        if whole.is_empty() && part.is_empty() {
            return None;
        }
        if !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let whole = whole.trim_start_matches('0');
        if whole.len() > 9 {
            return None;
        }
        let mut value: i128 = 0;
        for b in whole.bytes() {
            value = value * 10 + i128::from(b - b'0');
        }
        value *= ONE;
        let mut unit = ONE;
        for b in part.bytes().take(PLACES as usize) {
            unit /= 10;
            value += i128::from(b - b'0') * unit;
        }
        Some(Dec(if negative { -value } else { value }))
    }

    /// This number of inches in millimetres (1 inch = 25.4 mm exactly).
    #[must_use]
    pub fn inches(self) -> Dec {
        Dec(self.0 * 254 / 10)
    }

    /// Half the distance in inches would be this / 25.4, which is seldom a decimal: as a float.
    #[must_use]
    pub fn in_inches(self) -> f64 {
        self.f64() / 25.4
    }

    /// The nearest float.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "the one place where exact numbers become floats")]
    pub fn f64(self) -> f64 {
        // Whole and fraction apart, so that a large value keeps its small digits.
        (self.0 / ONE) as f64 + (self.0 % ONE) as f64 / ONE as f64
    }

    /// The nearest decimal of `places` places, ties away from nought. `None` when it is not finite or too large.
    #[must_use]
    pub fn round(value: f64, places: u32) -> Option<Dec> {
        if !value.is_finite() || value.abs() >= 1e9 {
            return None;
        }
        Dec::parse(&format!("{value:.*}", places as usize))
    }

    /// Whether it is nought.
    #[must_use]
    pub fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// Whether it is above nought.
    #[must_use]
    pub fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// Whether it is a whole number.
    #[must_use]
    pub fn is_whole(self) -> bool {
        self.0 % ONE == 0
    }
}

/// How many decimal places a number's text has.
#[must_use]
pub fn places(text: &str) -> usize {
    text.split_once('.').map_or(0, |(_, part)| part.len())
}

impl fmt::Display for Dec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let whole = (self.0 / ONE).abs();
        let part = (self.0 % ONE).abs();
        if part == 0 {
            return write!(f, "{sign}{whole}");
        }
        let digits = format!("{part:020}");
        write!(f, "{sign}{whole}.{}", digits.trim_end_matches('0'))
    }
}

impl Add for Dec {
    type Output = Dec;
    fn add(self, other: Dec) -> Dec {
        Dec(self.0 + other.0)
    }
}
impl Sub for Dec {
    type Output = Dec;
    fn sub(self, other: Dec) -> Dec {
        Dec(self.0 - other.0)
    }
}
impl Neg for Dec {
    type Output = Dec;
    fn neg(self) -> Dec {
        Dec(-self.0)
    }
}
impl AddAssign for Dec {
    fn add_assign(&mut self, other: Dec) {
        self.0 += other.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_what_the_trade_writes() {
        for (text, shown) in [
            ("1.0", "1"),
            (".6", "0.6"),
            ("-.8", "-0.8"),
            ("+2.1", "2.1"),
            ("-0.000", "0"),
            ("5.", "5"),
            ("196.21949999999998", "196.21949999999998"),
            ("007", "7"),
        ] {
            assert_eq!(Dec::parse(text).map(|d| d.to_string()).as_deref(), Some(shown), "{text}");
        }
        for text in ["", "-", ".", "+.", "1.2.3", "1e5", "nan", "--1", "1-2", " 1", "12345678901"] {
            assert_eq!(Dec::parse(text), None, "{text}");
        }
    }

    #[test]
    fn inches_are_exact() {
        assert_eq!(Dec::parse("1").map(Dec::inches), Dec::parse("25.4"));
        assert_eq!(Dec::parse("-0.12345").map(Dec::inches), Dec::parse("-3.13563"));
    }
}
