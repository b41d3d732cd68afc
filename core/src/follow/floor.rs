//! No move that was not below the floor may come to lie below it: many machines clip such a Z silently.

use crate::number::Shown;
use crate::{Error, ErrorKind};

/// Watches the path; remembers where it first went below, and how far.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Floor {
    /// mm.
    level: f64,
    below: Option<Below>,
}

#[derive(Debug, Clone, Copy)]
struct Below {
    line: u64,
    first_z: f64,
    worst_z: f64,
    worst_line: u64,
    /// How far the bed must come up, mm, so that its own height makes up for it; `None` if no raising helps.
    raise: Option<f64>,
}

/// What a remedy depends on.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Remedy {
    /// mm a turn of the bed's screws, if the card names them.
    pub(crate) pitch: Option<f64>,
    /// The card is relative (`right_at`): its map stays as it is when the whole bed comes up.
    pub(crate) relative: bool,
    /// The shift in force, mm.
    pub(crate) shift: f64,
}

impl Floor {
    pub(crate) fn new(level: f64) -> Self {
        Floor { level, below: None }
    }

    /// mm.
    pub(crate) fn level(&self) -> f64 {
        self.level
    }

    /// The lowest offset at this height that needs no watching.
    pub(crate) fn lowest(&self, z: f64) -> f64 {
        if z < self.level { f64::NEG_INFINITY } else { self.level - z }
    }

    /// Z was `z` in the original, is `told` now; the bed's share in that has the weight `w`. Says whether it is well.
    #[inline]
    pub(crate) fn watch(&mut self, line: u64, z: f64, told: f64, w: f64) -> bool {
        if told >= self.level - 1e-9 || z < self.level {
            return true;
        }
        let lift = (w > 0.0).then(|| (self.level - told) / w);
        let first = Below { line, first_z: told, worst_z: told, worst_line: line, raise: Some(0.0) };
        let below = self.below.get_or_insert(first);
        if told < below.worst_z {
            below.worst_z = told;
            below.worst_line = line;
        }
        below.raise = below.raise.zip(lift).map(|(a, b)| a.max(b));
        false
    }

    /// The refusal, if the path went below.
    pub(crate) fn refusal(&self, remedy: Remedy) -> Option<Error> {
        let b = self.below?;
        let floor = self.level;
        // Rounded up to a hundredth, with room for the rounding of the words.
        let up = |raise: f64| ((raise + 0.001) * 100.0).ceil() / 100.0;
        let turns = |raise: f64| match remedy.pitch {
            Some(pitch) => format!("{:.2} turn of each knob at {} mm a turn", Shown(raise / pitch), Shown(pitch)),
            None => format!("{:.2} turn of each knob if the screws are M4, 0.7 mm a turn", Shown(raise / 0.7)),
        };
        let help = match b.raise {
            _ if remedy.relative => {
                let raise = up(floor - b.worst_z);
                format!(
                    "raise the whole bed by {:.2} mm ({}) and the nozzle with it, by a shift of {:.2} mm, and the file \
                     passes: this card tells the bed's shape only, and its map stays as it is when the bed comes up",
                    Shown(raise),
                    turns(raise),
                    Shown(up(remedy.shift + floor - b.worst_z))
                )
            }
            Some(raise) => {
                let raise = up(raise);
                format!(
                    "raise the whole bed by {:.2} mm ({}), read it again, and the file passes",
                    Shown(raise),
                    turns(raise)
                )
            }
            None => "raising the bed does not help where the taper has ended: choose a smaller shift".to_string(),
        };
        Some(
            Error::new(
            ErrorKind::Floor,
            format!(
                "Z would go to {:.3} mm, below the floor of {} mm, which many machines clip silently (the lowest is \
                 {:.3} mm on line {})",
                Shown(b.first_z),
                Shown(floor),
                Shown(b.worst_z),
                b.worst_line
            ),
        )
        .at(b.line, 1)
        .with_help(help),
        )
    }
}
