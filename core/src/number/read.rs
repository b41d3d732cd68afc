//! The `f64` nearest to a decimal number, ties to even, as IEEE 754 has it.

use super::big::Big;
use core::cmp::Ordering;

/// Powers of ten that an `f64` holds exactly.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// Digits that are looked at one by one. Half-way between two `f64` lies no number of more than 768 digits, so of what is
/// behind only matters whether it is all 0.
const DIGITS: usize = 800;

/// A decimal number in the standard library's spelling: sign, digits, point, exponent, or `inf`, `infinity`, `nan` in any
/// case; `None` for all else.
pub(crate) fn parse(text: &str) -> Option<f64> {
    let (negative, bytes) = match text.as_bytes() {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        all => (false, all),
    };
    let name = |name: &str| bytes.eq_ignore_ascii_case(name.as_bytes());
    let value = if name("inf") || name("infinity") {
        f64::INFINITY
    } else if name("nan") {
        f64::NAN
    } else {
        unsigned(bytes)?
    };
    Some(if negative { -value } else { value })
}

fn unsigned(bytes: &[u8]) -> Option<f64> {
    let end = bytes.iter().position(|b| b.eq_ignore_ascii_case(&b'e')).unwrap_or(bytes.len());
    let (number, power) = bytes.split_at(end);
    let power = match power {
        [] => 0,
        [_, power @ ..] => exponent(power)?,
    };
    let point = number.iter().position(|&b| b == b'.');
    let digits = number.len() - usize::from(point.is_some());
    let all_digits = number.iter().enumerate().all(|(i, b)| b.is_ascii_digit() || Some(i) == point);
    if digits == 0 || !all_digits {
        return None;
    }
    let decimals = point.map_or(0, |i| number.len() - i - 1);
    Some(scaled(number, power.saturating_sub_unsigned(decimals as u64)))
}

/// The power of ten behind the `e`; what is beyond all reason is only kept beyond it.
fn exponent(bytes: &[u8]) -> Option<i64> {
    let (negative, digits) = match bytes {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        all => (false, all),
    };
    if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let size = digits.iter().fold(0_i64, |n, b| n.saturating_mul(10).saturating_add(i64::from(b - b'0')));
    Some(if negative { -size } else { size })
}

/// The `f64` nearest to the digits in `text` (what is no digit is passed over), the last so many of them decimals.
pub(crate) fn nearest(text: &[u8], decimals: usize) -> f64 {
    scaled(text, 0_i64.saturating_sub_unsigned(decimals as u64))
}

/// The same times 10^`power`, without decimals.
fn scaled(text: &[u8], power: i64) -> f64 {
    let digits = || text.iter().filter(|b| b.is_ascii_digit()).map(|b| b - b'0').skip_while(|&d| d == 0);
    let count = digits().count();
    if count <= 19 {
        let whole = digits().fold(0_u64, |n, d| n * 10 + u64::from(d));
        if let Some(value) = short(whole, power) {
            return value;
        }
    }
    // What is left out is not 0: a digit of 1 in its place lies on the same side of every number that matters.
    let cut = count.saturating_sub(DIGITS);
    let rest = cut > 0 && digits().skip(DIGITS).any(|d| d > 0);
    let mut number = Big::from(0);
    for digit in digits().take(DIGITS) {
        number.grow(10, u32::from(digit));
    }
    number.grow(10, u32::from(rest));
    long(number, power.saturating_add_unsigned(cut as u64) - 1)
}

/// A number of at most 19 digits whose power is at hand: nearly every one.
fn short(whole: u64, power: i64) -> Option<f64> {
    let size = usize::try_from(power.unsigned_abs()).ok()?;
    if whole < 1 << 53 && size < POWERS.len() {
        // Both are exact, so one operation rounds rightly (Clinger 1990, "How to Read Floating Point Numbers Accurately").
        #[expect(clippy::cast_precision_loss, reason = "below 2^53: exact")]
        let whole = whole as f64;
        return Some(if power < 0 { whole / POWERS[size] } else { whole * POWERS[size] });
    }
    if whole == 0 || !(-19..=0).contains(&power) {
        return None;
    }
    // The quotient has 63 binary digits at least, ten more than are kept; the last tells whether anything is left over.
    let shift = 64 + whole.leading_zeros();
    let divisor = (0..size).fold(1, |power: u128, _| 10 * power);
    let dividend = u128::from(whole) << shift;
    let left_over = !dividend.is_multiple_of(divisor);
    let quotient = (dividend / divisor) | u128::from(left_over);
    // A conversion rounds to even; a power of two changes the exponent only.
    #[expect(clippy::cast_precision_loss, reason = "the one rounding")]
    Some(quotient as f64 * f64::from_bits((1023 - u64::from(shift)) << 52))
}

/// `number` times 10^`power`, by long division.
fn long(mut number: Big, power: i64) -> f64 {
    if number.is_zero() || power < -2000 {
        return 0.0;
    }
    if power > 400 {
        return f64::INFINITY;
    }
    let mut divisor = Big::from(1);
    let size = usize::try_from(power.unsigned_abs()).unwrap_or(0);
    if power < 0 {
        divisor.times_ten(size)
    } else {
        number.times_ten(size)
    }
    // number / divisor = 2^exponent times a quotient from 1 up to, not including, 2.
    let (ours, theirs) = (number.bits(), divisor.bits());
    let mut exponent = ours.cast_signed() - theirs.cast_signed();
    number.times_two(theirs.saturating_sub(ours));
    divisor.times_two(ours.saturating_sub(theirs));
    if number.compare(&divisor) == Ordering::Less {
        exponent -= 1;
        number.times_two(1);
    }
    if exponent > 1023 {
        return f64::INFINITY;
    }
    // 53 binary digits, fewer where the number is subnormal.
    let digits = (exponent + 1075).min(53);
    if digits < 0 {
        return 0.0;
    }
    let mut bits: u64 = 0;
    for _ in 0..digits {
        bits <<= 1;
        if number.compare(&divisor) != Ordering::Less {
            number.less(&divisor);
            bits |= 1;
        }
        number.times_two(1);
    }
    // What is left, twice, against the divisor: half of the last digit.
    let up = match number.compare(&divisor) {
        Ordering::Less => false,
        Ordering::Greater => true,
        Ordering::Equal => bits & 1 == 1,
    };
    // Normal: the leading digit, which is not written, adds one to the exponent; so does a carry.
    let before = (exponent + 1022).max(0).cast_unsigned() as u64;
    f64::from_bits((before << 52) + bits + u64::from(up))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn same(text: &str) {
        let (ours, theirs) = (parse(text), text.parse::<f64>().ok());
        assert_eq!(ours.map(f64::to_bits), theirs.map(f64::to_bits), "{text}: {ours:?}, {theirs:?}");
    }

    #[test]
    fn the_hard_ones() {
        for text in [
            "0",
            "-0",
            "0.0e999999999999999999999",
            "1e-999999999999999999999",
            "1e999999999999999999999",
            "1e308",
            "1.8e308",
            "1.7976931348623157e308",
            "1.7976931348623158e308",
            "1.7976931348623159e308",
            "179769313486231580793e289",
            "4.9e-324",
            "2.4703282292062327e-324",
            "2.4703282292062328e-324",
            "2.2250738585072011e-308",
            "2.2250738585072014e-308",
            "2.225073858507201136057409796709131975934819546351645648e-308",
            "9007199254740993",
            "9007199254740992.999999999999999999999",
            "9007199254740993.000000000000000000001",
            "18446744073709551615",
            "18446744073709551616",
            "9999999999999999999",
            "0.1e1",
            "1.e2",
            ".5",
            "5.",
            ".",
            "",
            "+",
            "-",
            "e5",
            "1e",
            "1e+",
            "1e-",
            "1e5.",
            "+1e+5",
            "--1",
            "1_0",
            "inf",
            "-Infinity",
            "NaN",
            "+nan",
            "infinit",
            " 1",
            "1 ",
            "1..2",
            "1.2.3",
            "0x10",
            "1e0000000000000000000000005",
            "00000000000000000000000000000000000000000001",
            "1E5",
            "١",
        ] {
            same(text);
        }
    }

    /// Half-way between two neighbours, and a hair to each side, for powers of two over the whole range.
    #[test]
    fn half_way() {
        for exponent in (0..2046_u64).step_by(3) {
            for fraction in [0, 1, (1 << 52) - 1, 0x5_5555_5555_5555] {
                let low = f64::from_bits((exponent << 52) | fraction);
                // An f64 prints exactly; twice as many digits hold the mean.
                let (a, b) = (exact(low), exact(low.next_up()));
                let mean = mean(&a, &b);
                for more in ["", "0000000000000001", "0"] {
                    same(&format!("{mean}{more}"));
                }
                let mut less = mean.into_bytes();
                let last = less.len() - 1;
                less[last] -= 1;
                less.push(b'9');
                same(&String::from_utf8(less).unwrap());
            }
        }
    }

    fn exact(n: f64) -> String {
        format!("{n:.1080}")
    }

    /// Half the sum of two decimals with as many digits behind the point.
    fn mean(a: &str, b: &str) -> String {
        let width = a.len().max(b.len());
        let digits = |s: &str| -> Vec<u8> { format!("{s:0>width$}0").bytes().collect() };
        let (a, b) = (digits(a), digits(b));
        let mut sum: Vec<u32> =
            a.iter().zip(&b).map(|(x, y)| if *x == b'.' { 99 } else { u32::from(x + y - 2 * b'0') }).collect();
        let mut left = 0;
        let mut carry = 0;
        for d in sum.iter_mut().rev().filter(|d| **d != 99) {
            let n = *d + carry;
            (*d, carry) = (n % 10, n / 10);
        }
        left += carry;
        sum.iter()
            .map(|&d| {
                if d == 99 {
                    return '.';
                }
                let n = left * 10 + d;
                left = n % 2;
                char::from_digit(n / 2, 10).unwrap()
            })
            .collect()
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2000, ..ProptestConfig::default() })]

        #[test]
        fn every_float_reads_back(bits in any::<u64>()) {
            let value = f64::from_bits(bits);
            prop_assume!(!value.is_nan());
            for text in [format!("{value}"), format!("{value:e}"), format!("{value:.17e}"), format!("{value:.25e}")] {
                same(&text);
            }
        }

        #[test]
        fn as_the_standard_library(text in "[+-]?[0-9]{0,40}(\\.[0-9]{0,40})?([eE][+-]?[0-9]{0,4})?") {
            same(&text);
        }

        #[test]
        fn also_what_is_none(text in "[-+.0-9eEinfat_ ]{0,12}") {
            same(&text);
        }

        #[test]
        fn as_toolpaths_write_them(text in "-?[0-9]{1,6}\\.[0-9]{1,19}") {
            same(&text);
        }
    }
}
