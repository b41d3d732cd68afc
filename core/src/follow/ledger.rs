//! What the machine has been told against what it should have been told: the one place where numbers are rounded.
//!
//! A ledger follows one axis. Its *gap* is the machine's register less the original's, as written so far; its *aim* is
//! what the gap should be. A line's own bytes stay wherever they leave gap and aim within half a unit of the last
//! digit of each other; otherwise the number is written anew, and the next one starts from what was really written.
//! So rounding never piles up, in absolute and relative words alike.

use crate::toolpath::PLACE_LIMIT;
use crate::toolpath::number::{POWERS, TENS};

/// A number to write: `units` of 10^-`decimals`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Decimal {
    pub units: i128,
    pub decimals: u8,
}

/// A [`Decimal`] as rounding gives it: of at most sixteen digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rounded {
    units: i64,
    decimals: u8,
}

impl From<Rounded> for Decimal {
    #[inline]
    fn from(Rounded { units, decimals }: Rounded) -> Self {
        Decimal { units: units.into(), decimals }
    }
}

impl Rounded {
    /// Rounds `value` to `decimals`, half away from zero; to fewer if its digits would pass what an `f64` holds. A number whose digits end
    /// in a half seldom is one as a float: it may go to either neighbour.
    #[inline]
    fn of(value: f64, decimals: u8) -> Self {
        let mut decimals = decimals.min(15);
        while decimals > 0 && value.abs() * POWERS[usize::from(decimals)] > 9e15 {
            decimals -= 1;
        }
        let units = round(value * POWERS[usize::from(decimals)]);
        Rounded { units, decimals }
    }

    #[inline]
    fn value(self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "rounded numbers hold at most 16 digits")]
        let units = self.units as f64;
        units / POWERS[usize::from(self.decimals).min(15)]
    }

    /// Sets it as [`Decimal::write`] writes it, at the start of `text`, and tells its length.
    #[cfg_attr(not(target_family = "wasm"), inline(always))]
    #[cfg_attr(target_family = "wasm", inline)]
    pub(crate) fn spell(self, text: &mut [u8; Rounded::ROOM]) -> usize {
        let (decimals, units) = (usize::from(self.decimals & 15), self.units.unsigned_abs());
        let (whole, part) = (units / TENS[decimals], units % TENS[decimals]);
        *text = [b'0'; Rounded::ROOM];
        let sign = usize::from(self.units < 0);
        if sign > 0 {
            text[0] = b'-';
        }
        let point = sign + count(whole);
        set(text, point, whole);
        if decimals == 0 {
            return point;
        }
        text[point] = b'.';
        let end = point + 1 + decimals;
        set(text, end, part);
        end
    }

    /// It takes no more bytes: 19 digits, a point and a sign.
    pub(crate) const MOST_BYTES: usize = 21;

    /// Room for that, and some more.
    pub(crate) const ROOM: usize = 32;
}

/// Sets the digits of `rest` before `end`; 0 has none.
#[inline(always)]
fn set(text: &mut [u8], mut end: usize, rest: u64) {
    let Ok(mut rest) = u32::try_from(rest) else {
        return set_many(text, end, rest);
    };
    while rest > 9 {
        end -= 2;
        text[end..end + 2].copy_from_slice(&PAIRS[(rest % 100) as usize]);
        rest /= 100;
    }
    if rest > 0 {
        text[end - 1] = PAIRS[(rest % 100) as usize][1];
    }
}

#[cold]
fn set_many(text: &mut [u8], mut end: usize, mut rest: u64) {
    while rest > 0 {
        end -= 1;
        text[end] = PAIRS[(rest % 10) as usize][1];
        rest /= 10;
    }
}

/// How many digits a number has, 1 at least.
#[inline(always)]
fn count(n: u64) -> usize {
    match n {
        0..10 => 1,
        10..100 => 2,
        100..1000 => 3,
        _ => n.ilog10() as usize + 1,
    }
}

impl Decimal {
    /// As a ledger rounds.
    #[inline]
    pub(crate) fn round(value: f64, decimals: u8) -> Self {
        Rounded::of(value, decimals).into()
    }

    /// The nearest `f64`.
    #[inline]
    pub(crate) fn value(self) -> f64 {
        // By way of 64 bits where that will do: a hundred times as quick as from 128.
        #[expect(clippy::cast_precision_loss, reason = "rounded numbers hold at most 16 digits")]
        let units = i64::try_from(self.units).map_or(self.units as f64, |u| u as f64);
        units / POWERS[usize::from(self.decimals).min(22)]
    }

    /// Whether no word may hold it: the reader would refuse it.
    #[inline]
    pub(crate) fn is_too_far(self) -> bool {
        self.value().abs() > PLACE_LIMIT
    }

    /// `self - other`, exactly.
    #[inline]
    pub(crate) fn minus(self, other: Decimal) -> Self {
        let decimals = self.decimals.max(other.decimals);
        let lift = |d: Decimal| d.units.saturating_mul(10i128.saturating_pow(u32::from(decimals - d.decimals)));
        Decimal { units: lift(self).saturating_sub(lift(other)), decimals }
    }

    /// The most bytes that a number takes.
    const MOST_BYTES: usize = 56;

    /// Decimals beyond these are not written: what the reader takes has fewer digits than that.
    const MOST_DECIMALS: usize = 40;

    /// Writes the digits: a sign if negative, at least one digit before the point.
    pub(crate) fn write(self, out: &mut Vec<u8>) {
        let mut text = [b'0'; Decimal::MOST_BYTES];
        let mut n = text.len();
        let mut rest = self.units.unsigned_abs();
        // Small numbers, nearly all of them, need no 128-bit division.
        while rest > u128::from(u64::MAX) {
            n -= 2;
            text[n..n + 2].copy_from_slice(&PAIRS[(rest % 100) as usize]);
            rest /= 100;
        }
        #[expect(clippy::cast_possible_truncation, reason = "not above u64::MAX here")]
        let rest = rest as u64;
        set(&mut text, n, rest);
        if rest > 0 {
            n -= count(rest);
        }
        let decimals = usize::from(self.decimals).min(Decimal::MOST_DECIMALS);
        // A digit at least before the point.
        let point = text.len() - decimals;
        n = n.min(point - 1);
        if self.units < 0 {
            out.push(b'-');
        }
        out.extend_from_slice(&text[n..point]);
        if decimals > 0 {
            out.push(b'.');
            out.extend_from_slice(&text[point..]);
        }
    }
}

/// 00 to 99.
const PAIRS: [[u8; 2]; 100] = {
    let mut pairs = [[b'0'; 2]; 100];
    let mut n = 0u8;
    while n < 100 {
        pairs[n as usize] = [b'0' + n / 10, b'0' + n % 10];
        n += 1;
    }
    pairs
};

/// Half away from zero; of a number of at most 9e15 in size, or saturating for what no reader accepts. (The standard library's
/// is a call on some machines.)
#[inline]
fn round(value: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "towards zero, and saturating")]
    let whole = value as i64;
    #[expect(clippy::cast_precision_loss, reason = "exact below 2^53")]
    let part = value - whole as f64;
    whole.saturating_add(i64::from(part >= 0.5) - i64::from(part <= -0.5))
}

/// How one axis's words are written: absolute or relative, the unit's size, and with how many decimals.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spelling {
    pub absolute: bool,
    /// mm a unit.
    pub unit: f64,
    pub decimals: u8,
    /// The fewest decimals with which this axis is written.
    pub least: u8,
}

impl Spelling {
    /// Of E, where the line has it with so many decimals.
    #[inline]
    pub(crate) fn of_e(absolute: bool, unit: f64, decimals: u8) -> Self {
        Spelling { absolute, unit, decimals: decimals.clamp(E_DECIMALS, MOST_DECIMALS), least: E_DECIMALS }
    }

    /// Half a unit of the last of the fewest digits, mm, and the noise of the arithmetic.
    #[inline]
    pub(crate) fn half(self) -> f64 {
        0.5 * self.unit / POWERS[usize::from(self.least).min(15)] * (1.0 + 1e-6)
    }
}

/// Decimals of coordinates that are written anew, at the least, in mm and in inches: a micrometre, a quarter of one.
pub(crate) const PLACE_DECIMALS: [u8; 2] = [3, 5];
/// Decimals of E that is written anew, at the least.
pub(crate) const E_DECIMALS: u8 = 5;
/// No word is written with more decimals than this.
pub(crate) const MOST_DECIMALS: u8 = 9;

/// See the module. All in mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Axis {
    /// The machine's register less the original's.
    pub gap: f64,
    /// What the gap should be, kept here where it is a sum over the file (E).
    pub aim: f64,
    /// How much of the gap is in the register alone and not in where the machine stands: the rounding of G92.
    pub skew: f64,
}

impl Axis {
    /// How far the machine stands from where the original would have it.
    #[inline]
    pub(crate) fn offset(self) -> f64 {
        self.gap - self.skew
    }

    /// Whether the line's own word may stay: whether it leaves the gap near enough to `aim`.
    #[inline]
    pub(crate) fn may_stay(self, aim: f64, how: Spelling) -> bool {
        let gap = if how.absolute { 0.0 } else { self.gap };
        (gap - aim).abs() <= how.half()
    }

    /// The line's own word stays.
    #[inline]
    pub(crate) fn stay(&mut self, how: Spelling) {
        if how.absolute {
            self.gap = 0.0;
        }
    }

    /// The number to write so that the gap becomes `aim`, where the original's register goes by `delta` to `register`.
    #[inline]
    pub(crate) fn write(&mut self, register: f64, delta: f64, aim: f64, how: Spelling) -> Rounded {
        if how.absolute {
            let d = Rounded::of((register + aim) / how.unit, how.decimals);
            self.gap = d.value() * how.unit - register;
            d
        } else {
            let d = Rounded::of((delta + (aim - self.gap)) / how.unit, how.decimals);
            self.gap += d.value() * how.unit - delta;
            d
        }
    }

    /// G92 names the same value for both registers. What the machine is ahead or behind stays to be made good.
    #[inline]
    pub(crate) fn agree(&mut self) {
        self.aim -= self.gap;
        self.gap = 0.0;
    }

    /// G92 calls the original's place `register`: the value for a machine that stands `offset` away from it, with as
    /// many digits as it takes.
    #[inline]
    pub(crate) fn rename(&mut self, register: f64, offset: f64, unit: f64) -> Decimal {
        let d = exact((register + offset) / unit);
        self.gap = d.value() * unit - register;
        self.skew = self.gap - offset;
        d
    }

    /// The registers tell places again.
    #[inline]
    pub(crate) fn clear_skew(&mut self) {
        self.gap -= self.skew;
        self.skew = 0.0;
    }
}

/// How much filament was pushed, retractions included: what E has gone since it was last told anew, and what it went before that. (From register to
/// register: the sum does not hang on how many moves there were.)
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Filament {
    /// In the original and in what is written, mm: pushed until E was last told anew, and the registers then.
    before: [f64; 2],
    from: [f64; 2],
}

impl Filament {
    /// By the original's register and the gap: in the original, and in what is written, mm.
    #[inline]
    pub(crate) fn sums(&self, [register, gap]: [f64; 2]) -> [f64; 2] {
        let [before, from] = [self.before, self.from];
        [before[0] + (register - from[0]), before[1] + (register + gap - from[1])]
    }

    /// Register and gap were changed, and no filament was pushed for it that counts.
    #[inline]
    pub(crate) fn told_anew(&mut self, was: [f64; 2], is: [f64; 2]) {
        let [register, gap] = is;
        (self.before, self.from) = (self.sums(was), [register, register + gap]);
    }
}

/// A register as a decimal: what was written, but for noise of the arithmetic below 10^-12.
#[inline]
pub(crate) fn exact(value: f64) -> Decimal {
    let mut d = Decimal::round(value, 12);
    while d.decimals > 0 && d.units % 10 == 0 {
        d.units /= 10;
        d.decimals -= 1;
    }
    d
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// As it is written; and as a run of plain lines spells it, where it can be rounded to.
    fn text(d: Decimal) -> String {
        let mut out = Vec::new();
        d.write(&mut out);
        if let Ok(units) = i64::try_from(d.units)
            && d.decimals <= 15
        {
            let mut text = [b'?'; Rounded::ROOM];
            let length = Rounded { units, decimals: d.decimals }.spell(&mut text);
            assert_eq!(&text[..length], out);
            assert!(length <= Rounded::MOST_BYTES);
        }
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn writes_digits() {
        for (units, decimals, want) in [
            (0, 3, "0.000"),
            (5, 3, "0.005"),
            (-5, 3, "-0.005"),
            (12345, 3, "12.345"),
            (7, 0, "7"),
            (0, 0, "0"),
            (-120, 1, "-12.0"),
            (9_000_000_000_000_000, 0, "9000000000000000"),
            (-9_000_000_000_000_001, 15, "-9.000000000000001"),
            (-1, 15, "-0.000000000000001"),
            (42_949_672_960_000, 5, "429496729.60000"),
            (i128::from(i64::MAX), 5, "92233720368547.75807"),
            (i128::from(i64::MIN), 0, "-9223372036854775808"),
        ] {
            assert_eq!(text(Decimal { units, decimals }), want);
        }
        assert_eq!(text(Decimal { units: i128::from(u64::MAX) * 1000 + 7, decimals: 5 }), "184467440737095516.15007");
    }

    /// Every number of up to six decimals from -200,000 to 200,000 of its units: written as integers are written, rounded to itself, and the
    /// same again from half a unit less a hair to half a unit more.
    #[test]
    fn every_small_number_is_written_and_rounded() {
        for decimals in 0u8..=6 {
            let ten = 10i128.pow(u32::from(decimals));
            for units in -200_000i128..=200_000 {
                let d = Decimal { units, decimals };
                let sign = if units < 0 { "-" } else { "" };
                let (whole, part) = (units.abs() / ten, units.abs() % ten);
                let want = match decimals {
                    0 => format!("{sign}{whole}"),
                    _ => format!("{sign}{whole}.{part:0width$}", width = usize::from(decimals)),
                };
                let told = text(d);
                assert_eq!(told, want);
                // The standard library reads it to the nearest number, and so does a ledger.
                let value: f64 = want.parse().unwrap();
                assert_eq!(d.value().to_bits(), (value + 0.0).to_bits(), "{want}");
                assert_eq!(Decimal::round(value, decimals), d, "{want}");
                for off in [-0.499_999, 0.499_999] {
                    #[expect(clippy::cast_precision_loss, reason = "at most 10^6")]
                    let near = value + off / ten as f64;
                    assert_eq!(Decimal::round(near, decimals), d, "{near}");
                }
            }
        }
        // Ties that an f64 can hold go away from zero.
        for units in -100_000i32..=100_000 {
            let tie = f64::from(units) + 0.5;
            let away = if tie > 0.0 { units + 1 } else { units };
            assert_eq!(Decimal::round(tie, 0).units, i128::from(away), "{tie}");
        }
    }

    /// Of the digits alone: no float, and nothing of the code above.
    fn spelt(units: i64, decimals: usize) -> String {
        let digits = format!("{:0>width$}", units.unsigned_abs(), width = decimals + 1);
        let (whole, part) = digits.split_at(digits.len() - decimals);
        let sign = if units < 0 { "-" } else { "" };
        if decimals == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{part}") }
    }

    /// All units from -200,000 to 200,000 at 0 to 6 decimals: written, read again by the reader, and rounded from what was read.
    #[test]
    fn every_number_of_a_range_is_written_and_read_and_rounded_to_itself() {
        for decimals in 0..=6_u8 {
            for units in -200_000_i64..=200_000 {
                let want = spelt(units, usize::from(decimals));
                let d = Decimal { units: units.into(), decimals };
                assert_eq!(text(d), want);
                let (n, length) = crate::toolpath::number::scan(want.as_bytes()).unwrap();
                assert_eq!((length, n.decimals), (want.len(), decimals));
                assert_eq!(n.value.to_bits(), want.parse::<f64>().unwrap().to_bits(), "{want}");
                assert_eq!(crate::toolpath::number::mantissa(want.as_bytes()), i128::from(units));
                assert_eq!((Decimal::round(n.value, decimals), d.value().to_bits()), (d, n.value.to_bits()), "{want}");
            }
        }
    }

    /// Every number of one decimal more, rounded to 0 to 5 decimals: to the nearest, by integers. A half goes away from 0 where its float
    /// is one (of no decimals, that is); elsewhere the float lies beside it, and it may go to either neighbour.
    #[test]
    fn every_number_of_a_range_is_rounded_to_the_nearest() {
        let mut towards = 0;
        for decimals in 0..=5_u8 {
            for units in -200_000_i64..=200_000 {
                let more = spelt(units, usize::from(decimals) + 1);
                let away = (units.abs() + 5) / 10 * units.signum();
                let d = Decimal::round(more.parse().unwrap(), decimals);
                let half = units % 10 == 5 || units % 10 == -5;
                let other = if half && decimals > 0 { away - units.signum() } else { away };
                assert!(d.units == i128::from(away) || d.units == i128::from(other), "{more}: {}", d.units);
                assert_eq!(d.decimals, decimals);
                towards += u32::from(d.units != i128::from(away));
            }
        }
        // Of the 200,000 halves that have decimals few lie so far off that it shows.
        assert!(towards < 20_000, "{towards}");
        println!("{towards} halves went towards 0");
    }

    /// Numbers that carry through all their nines, and the same in an inch's and a millimetre's words, one after another.
    #[test]
    fn carries_go_through() {
        for (value, decimals, want) in [
            (0.9995, 3, "1.000"),
            (-0.9995, 3, "-1.000"),
            (9.9999, 3, "10.000"),
            (99_999.999_96, 4, "100000.0000"),
            (-0.000_4, 3, "0.000"),
            (-0.000_5, 3, "-0.001"),
            (999_999.5, 0, "1000000"),
            (-0.4, 0, "0"),
        ] {
            assert_eq!(text(Decimal::round(value, decimals)), want);
        }
        for absolute in [true, false] {
            for (unit, decimals) in [(1.0, 3), (25.4, 5)] {
                let how = Spelling { absolute, unit, decimals, least: decimals };
                let mut axis = Axis::default();
                let (mut machine, mut register) = (0.0, 0.0);
                // Steps of a third of the last digit, a hundred thousand of them, both ways.
                let step = unit / POWERS[usize::from(decimals)] / 3.0;
                for n in 0..100_000 {
                    let delta = if n < 50_000 { step } else { -step };
                    register += delta;
                    let d = axis.write(register, delta, 0.0, how);
                    machine = if absolute { d.value() * unit } else { machine + d.value() * unit };
                    assert!((machine - register).abs() <= how.half() + 1e-9, "{n}: {machine} {register}");
                }
            }
        }
    }

    proptest! {
        #[test]
        fn rounds_as_the_standard_library_writes(v in -1e6f64..1e6, decimals in 0u8..8) {
            // Ties aside (the library rounds the exact binary value), the digits are the library's.
            let d = Decimal::round(v, decimals);
            let scaled = v.abs() * POWERS[usize::from(decimals)];
            if (scaled.fract() - 0.5).abs() > 1e-4 {
                let want = format!("{:.*}", usize::from(decimals), v);
                let want = if want.trim_start_matches(['-', '0', '.']).is_empty() { want.replace('-', "") } else { want };
                prop_assert_eq!(text(d), want);
            }
        }

        #[test]
        fn rounding_never_piles_up(steps in proptest::collection::vec((-1.0f64..1.0, -0.3f64..0.3, any::<bool>()), 1..200)) {
            let how = |absolute| Spelling { absolute, unit: 1.0, decimals: 3, least: 3 };
            let mut ledger = Axis::default();
            let (mut register, mut machine) = (0.0, 0.0);
            for (delta, aim, absolute) in steps {
                register += delta;
                let d = ledger.write(register, delta, aim, how(absolute));
                machine = if absolute { d.value() } else { machine + d.value() };
                prop_assert!((machine - register - aim).abs() <= 0.0005 + 1e-9);
            }
        }
    }
}
