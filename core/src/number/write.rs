//! Decimal text of an `f64`: the same as the standard library's, exact, and small.

use super::big::Big;
use core::cmp::Ordering;
use core::fmt;

/// A number to be shown: `{}` is the shortest decimal that reads back to it, never with an exponent; `{:.3}` is rounded to so
/// many decimals, ties to even. A sign and a width are given as ever.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shown(pub(crate) f64);

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.0.abs();
        if size.is_nan() {
            return f.write_str("NaN");
        }
        let text = if size.is_infinite() {
            "inf".to_owned()
        } else {
            match f.precision() {
                None => shortest(size),
                Some(decimals) => rounded(size, decimals),
            }
        };
        f.pad_integral(self.0.is_sign_positive(), "", &text)
    }
}

/// A place, `(x, y)`.
pub(crate) fn pair(place: [f64; 2]) -> String {
    let [x, y] = place.map(Shown);
    format!("({x}, {y})")
}

/// A number from 0 up as the ratio of two natural ones, and half its distance to the next number above.
struct Ratio {
    number: Big,
    divisor: Big,
    half: Big,
    /// What is below is half as far, as it is below a power of two.
    narrow: bool,
    /// Half-way to a neighbour still reads as this number.
    even: bool,
    /// The number is less than 10^power, and no less than a tenth of that.
    power: i32,
}

impl Ratio {
    fn of(size: f64) -> Ratio {
        let bits = size.to_bits();
        let (fraction, exponent) = (bits & ((1 << 52) - 1), bits >> 52);
        let (mantissa, exponent) = if exponent == 0 { (fraction, 1) } else { (fraction | 1 << 52, exponent) };
        // The number is mantissa times 2^(up - down); all is doubled, so that half a step is whole.
        let (up, down) = (exponent.saturating_sub(1075), 1075_u64.saturating_sub(exponent));
        let narrow = fraction == 0 && exponent > 1;
        let [mut number, mut divisor, mut half] = [mantissa, 1, 1].map(Big::from);
        number.times_two(to_usize(up + 1 + u64::from(narrow)));
        half.times_two(to_usize(up + u64::from(narrow)));
        divisor.times_two(to_usize(down + 1 + u64::from(narrow)));
        Ratio { number, divisor, half, narrow, even: mantissa & 1 == 0, power: 0 }
    }

    /// Finds the power, and makes the number less than the divisor.
    fn scale(&mut self, at_most: impl Fn(&Ratio) -> bool) {
        // 2^twos is less than the ratio, so this power of ten is not too large; a step or two bring it up.
        let twos = self.number.bits().cast_signed() - self.divisor.bits().cast_signed() - 1;
        #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "within 1100")]
        let power = libm::floor(twos as f64 * core::f64::consts::LOG10_2) as i32;
        self.power = power;
        let size = to_usize(power.unsigned_abs().into());
        if power > 0 {
            self.divisor.times_ten(size);
        } else {
            self.number.times_ten(size);
            self.half.times_ten(size);
        }
        while !at_most(self) {
            self.divisor.grow(10, 0);
            self.power += 1;
        }
    }

    /// The next digit; the rest stays.
    fn digit(&mut self) -> u8 {
        self.number.grow(10, 0);
        self.half.grow(10, 0);
        let mut digit = 0;
        while self.number.compare(&self.divisor) != Ordering::Less {
            self.number.less(&self.divisor);
            digit += 1;
        }
        digit
    }

    /// What is left against half of the last digit.
    fn left(&self) -> Ordering {
        self.number.plus(&self.number).compare(&self.divisor)
    }

    /// Whether the next decimal above with the digits so far reads back to the number.
    fn reaches_up(&self) -> bool {
        let above = self.number.plus(&self.half).compare(&self.divisor);
        above == Ordering::Greater || (self.even && above == Ordering::Equal)
    }

    /// Whether the digits so far read back to the number.
    fn reaches_down(&self) -> bool {
        let twice = if self.narrow { self.number.plus(&self.number) } else { self.number.clone() };
        let below = twice.compare(&self.half);
        below == Ordering::Less || (self.even && below == Ordering::Equal)
    }
}

/// Free-format printing: Burger and Dybvig 1996, "Printing Floating-Point Numbers Quickly and Accurately", figure 1.
fn shortest(size: f64) -> String {
    if size == 0.0 {
        return "0".to_owned();
    }
    let mut ratio = Ratio::of(size);
    ratio.scale(|ratio| !ratio.reaches_up());
    let mut digits = Vec::new();
    loop {
        let digit = ratio.digit();
        digits.push(digit);
        let (down, up) = (ratio.reaches_down(), ratio.reaches_up());
        if !down && !up {
            continue;
        }
        if up && (!down || ratio.left() != Ordering::Less) {
            one_more(&mut digits, &mut ratio.power);
        }
        break;
    }
    while digits.last() == Some(&0) {
        digits.pop();
    }
    let decimals = usize::try_from(i32::try_from(digits.len()).unwrap_or(i32::MAX) - ratio.power).unwrap_or(0);
    let zeros = usize::try_from(ratio.power).unwrap_or(0).saturating_sub(digits.len());
    digits.resize(digits.len() + zeros, 0);
    with_point(digits, decimals)
}

/// To so many decimals, ties to even.
fn rounded(size: f64, decimals: usize) -> String {
    let mut ratio = Ratio::of(size);
    let mut digits = Vec::new();
    if size > 0.0 {
        ratio.scale(|ratio| ratio.number.compare(&ratio.divisor) == Ordering::Less);
        let count = i64::from(ratio.power).saturating_add_unsigned(decimals as u64);
        for _ in 0..count {
            digits.push(ratio.digit());
        }
        let odd = digits.last().is_some_and(|digit| digit & 1 == 1);
        let left = ratio.left();
        if count >= 0 && (left == Ordering::Greater || (left == Ordering::Equal && odd)) {
            one_more(&mut digits, &mut ratio.power);
        }
    }
    with_point(digits, decimals)
}

/// Adds one to the last digit.
fn one_more(digits: &mut Vec<u8>, power: &mut i32) {
    for digit in digits.iter_mut().rev() {
        *digit = (*digit + 1) % 10;
        if *digit != 0 {
            return;
        }
    }
    digits.insert(0, 1);
    *power += 1;
}

/// The digits with a point before the last so many.
fn with_point(digits: Vec<u8>, decimals: usize) -> String {
    let zeros = (decimals + 1).saturating_sub(digits.len());
    let mut text: String = core::iter::repeat_n(0, zeros).chain(digits).map(|digit| char::from(b'0' + digit)).collect();
    if decimals > 0 {
        text.insert(text.len() - decimals, '.');
    }
    text
}

#[expect(clippy::cast_possible_truncation, reason = "at most 1100")]
fn to_usize(n: u64) -> usize {
    n as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn same(n: f64) {
        if n.is_nan() {
            assert_eq!(format!("{} {:.2}", Shown(n), Shown(n)), "NaN NaN");
            return;
        }
        assert_eq!(format!("{}", Shown(n)), format!("{n}"));
        assert_eq!(format!("{:.0} {:.1} {:.2}", Shown(n), Shown(n), Shown(n)), format!("{n:.0} {n:.1} {n:.2}"));
        assert_eq!(format!("{:.3} {:+.5} {:8.4}", Shown(n), Shown(n), Shown(n)), format!("{n:.3} {n:+.5} {n:8.4}"));
        assert_eq!(format!("{:.20} {:+} {:08.2}", Shown(n), Shown(n), Shown(n)), format!("{n:.20} {n:+} {n:08.2}"));
    }

    #[test]
    fn as_the_standard_library() {
        for n in [
            0.0,
            0.1,
            0.5,
            1.5,
            2.5,
            0.25,
            0.35,
            0.125,
            0.375,
            9.5,
            9.95,
            9.995,
            99.5,
            0.05,
            0.005,
            0.0005,
            0.95,
            0.995,
            1.0,
            10.0,
            1e15,
            1e16,
            1e21,
            1e22,
            1e23,
            1e300,
            f64::MAX,
            f64::MIN_POSITIVE,
            5e-324,
            2.225_073_858_507_201e-308,
            9_007_199_254_740_993.0,
            f64::NAN,
            f64::INFINITY,
            0.3,
            1.0 / 3.0,
            123_456.789,
            0.1 + 0.2,
            4.35,
            2.675,
            1.005,
        ] {
            same(n);
            same(-n);
        }
        for exponent in 0..2047_u64 {
            for fraction in [0, 1, 2, (1 << 52) - 1, (1 << 52) - 2, 1 << 51] {
                same(f64::from_bits((exponent << 52) | fraction));
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 5000, ..ProptestConfig::default() })]

        #[test]
        fn any_bits(bits in any::<u64>()) {
            same(f64::from_bits(bits));
        }

        #[test]
        fn lengths(whole in -1_000_000..1_000_000_i32, decimals in 0..7_i32, half in any::<bool>()) {
            let n = f64::from(whole) + if half { 0.5 } else { 0.0 };
            same(n / libm::pow(10.0, f64::from(decimals)));
            same(n / libm::pow(2.0, f64::from(decimals)));
        }
    }
}
