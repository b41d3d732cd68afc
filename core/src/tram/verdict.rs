//! Whether to turn again, or to stop.

use super::ScrewTurn;
use crate::card::Readings;
use crate::normal::expected_range;

/// Whether to turn the screws once more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Verdict {
    /// Turn: at least one screw has more to mend than the readings' spread.
    Turn,
    /// Stop: range and moves are within the limit that was asked for.
    WithinLimit,
    /// Stop: a bed that is perfectly even reads no better with this spread.
    Even,
    /// Stop: what is left is not tilt, and no screw mends it.
    BendOnly,
    /// Stop: the readings can tell more, but no knob has as much as a thirty-second of a turn to go, and a hand turns by sixteenths
    /// (common practice, no source). Not told where a range was asked for.
    TooFine,
}

impl Verdict {
    /// Whether to stop.
    #[must_use]
    pub fn stop(self) -> bool {
        self != Verdict::Turn
    }
}

/// A move of no more standard deviations than this may be the readings' spread alone: by chance, 5 in 100 moves of
/// nothing are larger.
pub const MAY_BE_SPREAD: f64 = 2.0;

/// See [`super::Tram::told_mm`].
pub(super) fn told(readings: &Readings, noise: f64) -> f64 {
    let spreads: Vec<f64> = readings.points.iter().map(|p| p.spread.unwrap_or(noise)).collect();
    expected_range(&spreads)
}

pub(super) fn judge(screws: &[ScrewTurn], range_before: f64, told: f64, stop_below: Option<f64>) -> Verdict {
    if stop_below.is_some_and(|limit| range_before <= limit && screws.iter().all(|s| s.raise_mm.abs() <= limit)) {
        return Verdict::WithinLimit;
    }
    // A millionth of a millimetre more is rounding: a screw that is held has no spread.
    if !screws.iter().all(|s| s.raise_mm.abs() <= MAY_BE_SPREAD * s.spread_mm + 1e-6) {
        let fine = stop_below.is_none() && screws.iter().all(|s| s.sixteenths == 0);
        return if fine { Verdict::TooFine } else { Verdict::Turn };
    }
    if range_before <= told { Verdict::Even } else { Verdict::BendOnly }
}
