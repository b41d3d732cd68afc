//! Decimal numbers as toolpaths write them: an optional sign, digits, at most one point, never an exponent
//! (in a toolpath `E` begins a word: RS-274/NGC, NISTIR 6556 section 3.3.2.1).

/// A decimal number that was read: its value and how many decimals it was written with.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[expect(clippy::exhaustive_structs, reason = "nothing can be added to it")]
pub struct Number {
    /// The nearest `f64`.
    pub value: f64,
    /// Digits after the point.
    pub decimals: u8,
}

/// The most digits a number may have: more cannot be kept exactly when a move is split.
pub const DIGITS_LIMIT: usize = 36;

pub(crate) const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// The same as integers, as many as a number of sixteen digits needs.
pub(crate) const TENS: [u64; 16] = {
    let mut tens = [1; 16];
    let mut n = 1;
    while n < tens.len() {
        tens[n] = 10 * tens[n - 1];
        n += 1;
    }
    tens
};

/// Reads a number at the start of `bytes`: the number and its length, or `None` if there is no digit
/// (or more than [`DIGITS_LIMIT`] of them).
///
/// The value is the `f64` nearest to what is written: a mantissa below 2^53 over a power of ten up to 10^22 is one
/// correctly rounded division (Clinger 1990); anything longer takes the longer way of `crate::number`.
///
/// ```
/// use evengap::toolpath::number::scan;
///
/// let (number, length) = scan(b"12.50E3").unwrap();
/// assert_eq!((number.value, number.decimals, length), (12.5, 2, 5)); // E begins a word
/// assert!(scan(b"+.").is_none());
/// ```
#[must_use]
#[inline]
pub fn scan(bytes: &[u8]) -> Option<(Number, usize)> {
    scan_here(bytes)
}

/// [`scan`] for the one place where every number of a file goes by.
#[inline(always)]
pub(crate) fn scan_here(bytes: &[u8]) -> Option<(Number, usize)> {
    let mut i = 0;
    let negative = match bytes.first() {
        Some(b'-') => {
            i = 1;
            true
        }
        Some(b'+') => {
            i = 1;
            false
        }
        _ => false,
    };
    let first = i;
    let mut mantissa: u64 = 0;
    while let Some(d) = bytes.get(i).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
        mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(d));
        i += 1;
    }
    let mut digits = i - first;
    let mut decimals = 0;
    if bytes.get(i) == Some(&b'.') {
        i += 1;
        let point = i;
        while let Some(d) = bytes.get(i).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(d));
            i += 1;
        }
        decimals = i - point;
        digits += decimals;
    }
    if digits == 0 || digits > DIGITS_LIMIT {
        return None;
    }
    let value = if digits <= 18 && mantissa < 1 << 53 {
        #[expect(clippy::cast_precision_loss, reason = "below 2^53: exact")]
        let m = mantissa as f64;
        let v = m / POWERS[decimals];
        if negative { -v } else { v }
    } else {
        let size = crate::number::nearest(&bytes[first..i], decimals);
        if negative { -size } else { size }
    };
    #[expect(clippy::cast_possible_truncation, reason = "at most DIGITS_LIMIT")]
    Some((Number { value, decimals: decimals as u8 }, i))
}

/// The digits of a number that [`scan`] accepted, as an integer of 10^-`decimals`.
#[inline]
pub(crate) fn mantissa(bytes: &[u8]) -> i128 {
    let mut m: i128 = 0;
    for b in bytes {
        if b.is_ascii_digit() {
            // DIGITS_LIMIT digits stay below 10^36 < 2^127.
            m = m * 10 + i128::from(b - b'0');
        }
    }
    if bytes.first() == Some(&b'-') { -m } else { m }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_what_real_files_hold() {
        let cases: [(&[u8], f64, u8, usize); 12] = [
            (b".6", 0.6, 1, 2),
            (b"-.8", -0.8, 1, 3),
            (b"+2.1", 2.1, 1, 4),
            (b"-0.000", 0.0, 3, 6),
            (b"10E0.5", 10.0, 0, 2),
            (b"3.8e-05", 3.8, 1, 3),
            (b"196.21949999999998 E3", 196.219_499_999_999_98, 14, 18),
            (b"3139.50675.7", 3139.50675, 5, 10),
            (b"7.", 7.0, 0, 2),
            (b"00012", 12.0, 0, 5),
            (b"123456789012345678901.5", 123_456_789_012_345_678_901.5, 1, 23),
            (b"0.30000000000000000001", 0.3, 20, 22),
        ];
        for (text, value, decimals, length) in cases {
            let (n, used) = scan(text).unwrap();
            assert_eq!((n.value.abs(), n.decimals, used), (value.abs(), decimals, length), "{}", text.escape_ascii());
        }
        for text in [&b""[..], b"-", b"+.", b".", b"nan", b"[height]", b"e5"] {
            assert!(scan(text).is_none(), "{}", text.escape_ascii());
        }
    }

    proptest! {
        #[test]
        fn agrees_with_the_standard_parser(sign in "[+-]?", whole in "[0-9]{0,17}", part in "[0-9]{1,17}", point in any::<bool>()) {
            let text = if point { format!("{sign}{whole}.{part}") } else { format!("{sign}{whole}{part}") };
            let (n, used) = scan(text.as_bytes()).unwrap();
            prop_assert_eq!(used, text.len());
            prop_assert_eq!(n.value.to_bits(), text.parse::<f64>().unwrap().to_bits());
            let digits: String = text.chars().filter(char::is_ascii_digit).collect();
            prop_assert_eq!(mantissa(text.as_bytes()).unsigned_abs(), digits.parse::<u128>().unwrap());
        }
    }
}
