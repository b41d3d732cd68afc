//! What a toolpath asks of the machine: time, the speed of Z, and how close the moves come.
//!
//! Everything is reckoned at the feed rates that the toolpath commands, as if the machine reached them at once. A real one slows down
//! at corners and on short moves: it takes longer, and asks less of Z. The figures are a bound from above for speeds and from below for time
//! (common practice, no source).
//!
//! F is mm (or inches) of path a minute, the path in X, Y and Z together (RS-274/NGC, NISTIR 6556 section 2.1.2.5); a move of filament
//! alone goes by its length of filament, and G0 goes at F as G1 does (both common practice, no source). Waits, heating and homing take no time here.

use crate::toolpath::Move;
use std::collections::VecDeque;

/// A largest value, and where.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[expect(clippy::exhaustive_structs, reason = "nothing can be added to it")]
pub struct Peak {
    /// In the unit that the field of [`Pace`] says, mm/s or moves a second; never negative, 0 where there was none.
    pub value: f64,
    /// The line, from 1; 0 where there was none.
    pub line: u64,
}

impl Peak {
    #[inline]
    fn note(&mut self, value: f64, line: u64) {
        if value > self.value {
            *self = Peak { value, line };
        }
    }
}

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Pace {
    /// How long the moves take, s.
    pub seconds: f64,
    /// How long they would take with the slicer's Z, s: as [`Pace::seconds`] in a toolpath that was not rewritten.
    pub seconds_flat: f64,
    /// Moves that could not be timed, as no F was in force or a position is not known.
    pub untimed: u64,
    /// Fastest that Z goes while the nozzle travels in XY, mm/s. Moves of Z alone are left out: the machine keeps its own limit there.
    pub z_speed: Peak,
    /// Largest change of the speed of Z from one move that travels in XY to the next, mm/s.
    pub z_speed_step: Peak,
    /// Ten times the most moves that begin within any tenth of a second; the line is that of the last of them.
    pub moves_per_second: Peak,
}

/// Within any time as long as this, s, moves are counted.
const WINDOW: f64 = 0.1;
/// More moves than this within it are not counted.
const MOST: usize = 1 << 16;
/// A move that takes longer than this, s, is not timed: about four months.
const LONGEST: f64 = 1e7;

/// Takes moves one after another.
#[derive(Debug, Clone, Default)]
pub(super) struct Clock {
    pace: Pace,
    /// F, mm/s; 0 before the first.
    feed: f64,
    /// When the last moves began, s.
    begun: VecDeque<f64>,
    /// The speed of Z over the last move, where it travelled and nothing came between.
    z_speed: Option<f64>,
}

/// A move's lengths, mm.
pub(super) struct Lengths {
    /// In XY.
    pub(super) flat: f64,
    /// Change of Z.
    pub(super) rise: f64,
    /// Change of Z as the slicer had it.
    pub(super) sliced_rise: f64,
}

impl Clock {
    /// An F word, in mm a minute.
    #[inline]
    pub(super) fn feed(&mut self, feed: f64) {
        self.feed = if feed > 0.0 && feed.is_finite() { feed / 60.0 } else { 0.0 };
    }

    /// Something stops the machine: a wait, homing, a move that nobody can time.
    #[inline]
    pub(super) fn stop(&mut self) {
        self.z_speed = None;
    }

    /// A move whose ends are known.
    #[inline]
    pub(super) fn take(&mut self, m: &Move, lengths: &Lengths, line: u64) {
        let Lengths { flat, rise, sliced_rise } = *lengths;
        let of = |rise: f64| {
            let path = libm::hypot(flat, rise);
            if path > 0.0 { path } else { m.e_delta().abs() }
        };
        let (path, sliced) = (of(rise), of(sliced_rise));
        if path == 0.0 {
            return;
        }
        let seconds = path / self.feed;
        let flat_seconds = sliced / self.feed;
        if !(seconds <= LONGEST && flat_seconds <= LONGEST) {
            return self.miss();
        }
        let now = self.pace.seconds;
        while self.begun.front().is_some_and(|t| *t <= now - WINDOW) {
            self.begun.pop_front();
        }
        if self.begun.len() < MOST {
            self.begun.push_back(now);
        }
        #[expect(clippy::cast_precision_loss, reason = "at most 2^16")]
        let rate = self.begun.len() as f64 / WINDOW;
        self.pace.moves_per_second.note(rate, line);
        self.pace.seconds += seconds;
        self.pace.seconds_flat += flat_seconds;
        if flat == 0.0 {
            return self.stop();
        }
        let z_speed = rise / seconds;
        if !z_speed.is_finite() {
            return self.stop();
        }
        self.pace.z_speed.note(z_speed.abs(), line);
        if let Some(before) = self.z_speed {
            self.pace.z_speed_step.note((z_speed - before).abs(), line);
        }
        self.z_speed = Some(z_speed);
    }

    /// A move that cannot be timed.
    #[inline]
    pub(super) fn miss(&mut self) {
        self.pace.untimed += 1;
        self.stop();
    }

    #[inline]
    pub(super) fn pace(&self) -> Pace {
        self.pace
    }
}
