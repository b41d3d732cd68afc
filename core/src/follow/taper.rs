//! The weight w(z): how much of the bed's shape the path keeps at a height.

use crate::number::Shown;
use crate::surface::sheet::Sheet;
use crate::{Error, ErrorKind};

/// Over which Z the compensation dies out.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[non_exhaustive]
pub enum Taper {
    /// From 0.5 mm to the smallest Z at which no layer's thickness changes by more than 5 % anywhere on the bed.
    #[default]
    Auto,
    /// The whole path follows the bed.
    None,
    /// The whole of it up to `from`, nothing from `to` on, linear between; mm.
    Range {
        /// w = 1 up to here, mm.
        from: f64,
        /// w = 0 from here on, mm.
        to: f64,
    },
}

/// Where `auto` begins, mm.
pub const AUTO_FROM: f64 = 0.5;
/// The largest change of a layer's thickness that `auto` allows.
pub const AUTO_CHANGE: f64 = 0.05;

/// What sums of Z words may be off by, mm: who has come so near to the taper's end is past it.
const ROUNDING: f64 = 1e-9;

/// w(z), with its range settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Weight {
    from: f64,
    to: f64,
}

impl Weight {
    /// Settles the taper for a map whose heights are at most `largest` in size.
    pub(crate) fn new(taper: Taper, sheet: &Sheet) -> Result<Self, Error> {
        let largest = sheet.largest();
        match taper {
            Taper::None => Ok(Weight { from: f64::INFINITY, to: f64::INFINITY }),
            Taper::Auto => {
                // A layer's thickness changes by h w'(z): by at most largest / (to - from). Rounded up to the
                // micrometre, so that the range can be told and typed in again.
                let to = ((AUTO_FROM + largest / AUTO_CHANGE) * 1e3).ceil() / 1e3;
                Ok(Weight { from: AUTO_FROM, to })
            }
            Taper::Range { from, to } => {
                if !(from.is_finite() && to.is_finite()) || to - from <= largest || to <= from {
                    let [end, better] = [from + largest, from + largest / AUTO_CHANGE].map(Shown);
                    let [from, to, largest] = [from, to, largest].map(Shown);
                    return Err(Error::new(
                        ErrorKind::Options,
                        format!(
                            "a taper from {from} to {to} mm is too short for heights of up to {largest:.3} mm: Z would fold"
                        ),
                    )
                    .with_help(format!(
                        "let it end above {end:.3} mm; {better:.2} mm keeps every layer's thickness within 5 %"
                    )));
                }
                Ok(Weight { from, to })
            }
        }
    }

    /// The range, unless the whole path follows the bed.
    #[inline]
    pub(crate) fn range(self) -> Option<[f64; 2]> {
        self.to.is_finite().then_some([self.from, self.to])
    }

    /// w(z).
    #[inline]
    pub(crate) fn at(self, z: f64) -> f64 {
        if z <= self.from {
            1.0
        } else if z >= self.to - ROUNDING {
            0.0
        } else {
            (self.to - z) / (self.to - self.from)
        }
    }

    /// w'(z), 1/mm: 0 at the two ends of the taper.
    #[inline]
    pub(crate) fn slope(self, z: f64) -> f64 {
        if z > self.from && z < self.to - ROUNDING { -1.0 / (self.to - self.from) } else { 0.0 }
    }

    /// Where w has a kink.
    #[inline]
    pub(crate) fn kinks(self) -> [f64; 2] {
        [self.from, self.to]
    }
}
