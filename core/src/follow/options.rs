//! What a caller may ask of the rewriter.

use super::Taper;
use crate::number::Shown;
use crate::toolpath::EMode;
use crate::{Error, ErrorKind};

/// How to rewrite. [`Default`] is the brief's contract: taper `auto`, 0.005 mm, flow on, floor 0.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Options {
    /// Over which Z the compensation dies out.
    pub taper: Taper,
    /// How far Z may be from its definition along the path, mm; 0.0005 to 0.1. Default 0.005.
    pub tolerance: f64,
    /// Whether E follows the layers' thickness in the taper. Default true.
    pub flow: bool,
    /// No move that was not below this Z (mm) may come to lie below it. Default 0.
    pub floor: f64,
    /// The nozzle a little higher (or lower) everywhere, mm. Default 0; at most 2 in size.
    pub shift: f64,
    /// G90 and G91 set E as well. Default false.
    pub g90_sets_e: bool,
    /// How E words are meant until M82 or M83 says so. Default absolute.
    pub e_start: EMode,
    /// What is refused unless it is allowed by name. Default: nothing allowed.
    pub allow: Allow,
    /// Longest line held in memory, bytes. Default 1 MiB. A longer line that cannot move an axis still passes.
    pub line_limit: usize,
}

/// What the brief refuses unless told otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Allow {
    /// Motion that is not understood passes as it is; the axes it names are unknown afterwards.
    pub unknown_motion: bool,
    /// The file probes or switches on the machine's own compensation.
    pub own_levelling: bool,
    /// The file bears the marker of an earlier rewriting.
    pub already_rewritten: bool,
    /// Heights over 2 mm.
    pub large_heights: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            taper: Taper::Auto,
            tolerance: 0.005,
            flow: true,
            floor: 0.0,
            shift: 0.0,
            g90_sets_e: false,
            e_start: EMode::Absolute,
            allow: Allow::default(),
            line_limit: crate::toolpath::lines::LINE_LIMIT,
        }
    }
}

/// Heights beyond this, mm, are refused unless allowed: a screw, not a toolpath, mends them.
pub const HEIGHT_LIMIT: f64 = 2.0;

impl Options {
    pub(crate) fn check(&self) -> Result<(), Error> {
        let fault = |message: String| Err(Error::new(ErrorKind::Options, message));
        if !(0.0005..=0.1).contains(&self.tolerance) {
            return fault(format!("a tolerance of {} mm is not between 0.0005 and 0.1 mm", Shown(self.tolerance)));
        }
        if self.shift.is_nan() || self.shift.abs() > HEIGHT_LIMIT {
            let limit = Shown(HEIGHT_LIMIT);
            return fault(format!("a shift of {} mm is not between -{limit} and {limit} mm", Shown(self.shift)));
        }
        if !self.floor.is_finite() {
            return fault(format!("a floor of {} mm is no height", Shown(self.floor)));
        }
        Ok(())
    }
}
