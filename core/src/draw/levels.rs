//! Which contours are drawn, and how numbers are written on the plan.

/// The contours of a plan.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Levels {
    /// mm between neighbouring contours: 1, 2 or 5 times a power of ten.
    pub(super) interval: f64,
    /// The interval in units of the last decimal, for exact multiples.
    step: i64,
    /// Decimals that the interval needs.
    pub(super) decimals: usize,
    first: i64,
    count: usize,
}

/// Most contours between the lowest and the highest place; the 1-2-5 series leaves at least 40 % of them.
/// The palette's tests hold for one tint more than this.
const MOST: f64 = 12.0;

/// Every fifth contour is heavier: an index contour (common practice in surveying, no source).
const EVERY: i64 = 5;

/// No finer than this, mm: readings taken by hand know nothing smaller.
const FINEST: f64 = 0.001;

impl Levels {
    /// Contours for heights from `low` to `high`, mm. None where nothing lies between them.
    pub(super) fn between(low: f64, high: f64) -> Levels {
        let (interval, step, decimals) = nice((high - low) / MOST);
        if !(high - low).is_finite() {
            return Levels { interval, step, decimals, first: 0, count: 0 };
        }
        let multiple = |h: f64| -> i64 {
            let m = crate::number::within(h / interval, -1e9, 1e9);
            #[expect(clippy::cast_possible_truncation, reason = "clamped, and whole after floor")]
            let m = libm::floor(m) as i64;
            m
        };
        let (first, last) = (multiple(low) + 1, multiple(high));
        let count = usize::try_from(last - first + 1).unwrap_or(0);
        let mut levels = Levels { interval, step, decimals, first, count };
        // A contour at the very top is a point, not a line.
        if count > 0 && levels.height(count - 1) >= high {
            levels.count -= 1;
        }
        levels
    }

    /// How many contours there are.
    pub(super) fn len(&self) -> usize {
        self.count
    }

    fn multiple(&self, i: usize) -> i64 {
        self.first + i64::try_from(i).unwrap_or(0)
    }

    /// Height of contour `i`, mm.
    pub(super) fn height(&self, i: usize) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "at most a few thousand")]
        let units = (self.multiple(i) * self.step) as f64;
        units / power_of_ten(self.decimals)
    }

    /// Whether contour `i` is an index contour.
    pub(super) fn is_index(&self, i: usize) -> bool {
        self.multiple(i) % EVERY == 0
    }

    /// Whether contour `i` is height 0.
    pub(super) fn is_zero(&self, i: usize) -> bool {
        self.multiple(i) == 0
    }

    /// Contour `i` as its subject writes a height; 0 without decimals.
    pub(super) fn text(&self, i: usize, figure: impl Fn(f64, usize) -> String) -> String {
        if self.is_zero(i) { "0".to_owned() } else { figure(self.height(i), self.decimals) }
    }
}

/// The smallest of the 1-2-5 series that is not below `wanted`, as (value, units, decimals): value = units / 10^decimals.
pub(super) fn nice(wanted: f64) -> (f64, i64, usize) {
    let wanted = if wanted.is_finite() { wanted.max(FINEST) } else { FINEST };
    for decimals in (0..=3).rev() {
        for units in [1_i64, 2, 5] {
            #[expect(clippy::cast_precision_loss, reason = "1, 2 or 5")]
            let value = units as f64 / power_of_ten(decimals);
            if value >= wanted * (1.0 - 1e-9) {
                return (value, units, decimals);
            }
        }
    }
    let mut units = 10_i64;
    loop {
        for times in [1_i64, 2, 5] {
            #[expect(clippy::cast_precision_loss, reason = "exact up to 2^53, and the loop ends far below i64's end")]
            let value = (units * times) as f64;
            if value >= wanted * (1.0 - 1e-9) || units >= 1_000_000_000_000 {
                return (value, units * times, 0);
            }
        }
        units *= 10;
    }
}

fn power_of_ten(decimals: usize) -> f64 {
    [1.0, 10.0, 100.0, 1000.0][decimals.min(3)]
}

/// `value` with a sign (a true minus), rounded to `decimals`; what rounds to 0 has none.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", crate::number::Shown(value.abs()));
    let zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    match (zero, value < 0.0) {
        (true, _) => text,
        (false, true) => format!("\u{2212}{text}"),
        (false, false) => format!("+{text}"),
    }
}

/// `value` rounded to at most `decimals`, without trailing zeros, with a true minus.
pub(super) fn plain(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        // Only from what was made in code.
        return "?".to_owned();
    }
    let mut text = format!("{:.decimals$}", crate::number::Shown(value.abs()));
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if value < 0.0 && text != "0" { format!("\u{2212}{text}") } else { text }
}

/// `value` with so many decimals.
pub(super) fn plain_fixed(value: f64, decimals: usize) -> String {
    format!("{:.decimals$}", crate::number::Shown(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_of_the_1_2_5_series() {
        for (range, interval) in
            [(0.3, 0.05), (0.24, 0.02), (0.1, 0.01), (0.5, 0.05), (2.0, 0.2), (0.0, 0.001), (47.0, 5.0)]
        {
            let levels = Levels::between(0.0, range);
            assert!((levels.interval - interval).abs() < 1e-12, "{range}: {levels:?}");
            assert!(levels.len() <= 12, "{levels:?}");
        }
    }

    #[test]
    fn levels_lie_strictly_inside_and_are_exact_multiples() {
        let levels = Levels::between(-0.12, 0.181);
        let heights: Vec<f64> = (0..levels.len()).map(|i| levels.height(i)).collect();
        assert_eq!(heights, [-0.1, -0.05, 0.0, 0.05, 0.1, 0.15]);
        assert_eq!(levels.text(0, signed), "\u{2212}0.10");
        assert_eq!(levels.text(2, signed), "0");
        assert!(levels.is_zero(2) && levels.is_index(2) && !levels.is_index(3));
    }

    #[test]
    fn odd_ranges_do_no_harm() {
        assert_eq!(Levels::between(0.1, 0.1).len(), 0);
        assert_eq!(Levels::between(f64::NAN, 1.0).len(), 0);
        assert_eq!(Levels::between(1.0, 0.0).len(), 0);
        assert!(Levels::between(-1e12, 1e12).len() <= 13);
    }

    #[test]
    fn numbers_have_a_sign_only_when_they_need_one() {
        assert_eq!(signed(0.1249, 2), "+0.12");
        assert_eq!(signed(-0.004, 2), "0.00");
        assert_eq!(signed(-0.35, 2), "\u{2212}0.35");
        assert_eq!(plain(-20.0, 1), "\u{2212}20");
        assert_eq!(plain(117.5, 1), "117.5");
        assert_eq!(plain(-0.01, 1), "0");
    }
}
