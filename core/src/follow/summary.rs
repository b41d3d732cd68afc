//! What the rewriter did.

use crate::Footprint;
use serde::Serialize;

/// The summary that [`Rewriter::finish`](super::Rewriter::finish) returns.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Summary {
    /// Lines read.
    pub lines_in: u64,
    /// Lines written.
    pub lines_out: u64,
    /// Moves read: motion lines that name an axis or E.
    pub moves_in: u64,
    /// Moves written.
    pub moves_out: u64,
    /// Lines whose bytes changed (lines that were put in are not counted).
    pub lines_changed: u64,
    /// The largest offset in size, and where.
    pub largest_offset: Option<Offset>,
    /// The taper used, mm; `None` when the whole path follows the bed.
    pub taper: Option<[f64; 2]>,
    /// Filament in the original, mm (mm^3 where E is a volume): the sum of all E, retractions included, told by how far E went from one line that tells it
    /// anew to the next.
    pub extrusion_in: f64,
    /// Filament in what was written.
    pub extrusion_out: f64,
    /// Lowest and highest Z commanded where the position was known, mm.
    pub z_range: Option<[f64; 2]>,
    /// Lines that passed although they were not understood.
    pub not_understood: NotUnderstood,
    /// Warnings, each with its lines.
    pub warnings: Vec<Warning>,
    /// The marker that was written, without its `; `.
    pub marker: Option<String>,
    /// Where the first layer lies; not in JSON.
    #[serde(skip)]
    pub footprint: Footprint,
}

/// An offset and where it was commanded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Offset {
    /// mm, up positive.
    pub offset: f64,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// The original's line, from 1.
    pub line: u64,
}

/// Lines that passed although they were not understood.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct NotUnderstood {
    /// How many.
    pub count: u64,
    /// The first few: line and text (at most 60 bytes of it).
    pub first: Vec<(u64, String)>,
}

/// Something that a person should know.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Warning {
    /// What.
    pub kind: WarningKind,
    /// In one line.
    pub message: String,
    /// How many lines it concerns.
    pub count: u64,
    /// The first few of them.
    pub lines: Vec<u64>,
}

/// What a warning is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum WarningKind {
    /// The file never says how E is meant.
    EModeUnsaid,
    /// The card's values are predictions: nobody read them. (No line of the file has to do with it.)
    PredictedCard,
    /// The card was read at another bed temperature.
    BedTemperature,
    /// The card was read at another nozzle temperature.
    NozzleTemperature,
    /// Filament is laid outside the rectangle that the readings bound.
    OutsideReadings,
    /// Motion that is not understood was allowed to pass.
    UnknownMotion,
    /// The machine's own levelling was allowed to pass.
    OwnLevelling,
    /// The machine shifts its coordinates by an M word.
    Shifted,
}

const KEPT: usize = 5;

impl Summary {
    pub(crate) fn warn(&mut self, kind: WarningKind, line: u64, message: impl FnOnce() -> String) {
        let warning = match self.warnings.iter().position(|w| w.kind == kind) {
            Some(n) => &mut self.warnings[n],
            None => {
                self.warnings.push(Warning { kind, message: message(), count: 0, lines: Vec::new() });
                let last = self.warnings.len() - 1;
                &mut self.warnings[last]
            }
        };
        warning.count += 1;
        if warning.lines.len() < KEPT {
            warning.lines.push(line);
        }
    }

    /// Z was commanded between these, mm.
    #[inline]
    pub(crate) fn goes_between(&mut self, [low, high]: [f64; 2]) {
        let range = self.z_range.get_or_insert([low, high]);
        *range = [range[0].min(low), range[1].max(high)];
    }

    /// An offset was commanded.
    #[inline]
    pub(crate) fn goes_off(&mut self, one: Offset) {
        if self.largest_offset.is_none_or(|o| one.offset.abs() > o.offset.abs()) {
            self.largest_offset = Some(one);
        }
    }

    /// A warning that concerns no line.
    pub(crate) fn warn_of_all(&mut self, kind: WarningKind, message: impl Into<String>) {
        self.warnings.push(Warning { kind, message: message.into(), count: 0, lines: Vec::new() });
    }

    pub(crate) fn pass_not_understood(&mut self, line: u64, bytes: &[u8]) {
        self.not_understood.count += 1;
        if self.not_understood.first.len() < KEPT {
            let text = String::from_utf8_lossy(&bytes[..bytes.len().min(60)]);
            let text = text.chars().map(|c| if c.is_control() { '\u{FFFD}' } else { c }).collect();
            self.not_understood.first.push((line, text));
        }
    }
}
