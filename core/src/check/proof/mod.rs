//! Proof that a rewritten toolpath is its original, followed over the bed.
//!
//! Both toolpaths are walked side by side. Proven means, for the whole of both:
//!
//! - **Path.** Every piece lies on its original's XY path (within half a unit of the last digit in X and in Y; arcs within the
//!   0.002 mm that RS-274/NGC, NISTIR 6556 section 3.5.3.2, allows the radii of an arc's ends), goes forward along it, and the last ends at the
//!   original's end point.
//! - **Height.** Z is within the tolerance, and half a unit of the last digit written, of z + w(z) h(x, y) + shift everywhere along
//!   the piece; where a steep move is cut, also within what half a unit of X and Y is in Z there. This is a bound and no sampling: see
//!   `bound.rs`. Where the nozzle was not there yet (after homing, or G92 that declares a place) the difference may fade out over one move.
//! - **Filament.** The E that was pushed is, after every line, within half a unit of its last digit of the exact value: the original's
//!   times the flow factor 1 + h w'(z), averaged along the path. Pieces share it by length.
//! - **The rest.** The same feed rates, other axes, other words and comments, other commands in the same order, the same
//!   modes after every line.
//!
//! Nothing here is shared with the rewriter but the [reader](crate::toolpath) and the surface: w(z), lengths, flow and
//! the pairing of lines are done a second time.

mod bound;
mod feed;
mod rest;
mod walk;

use crate::check::gaps::Followed;
use crate::number::Shown;
use crate::surface::sheet::Sheet;
use crate::toolpath::Reading;
use crate::{Error, ErrorKind, HeightMap};
use bound::Target;
use walk::Walk;

/// What is to be proven. With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct ProofOptions {
    /// How both toolpaths are read.
    pub reading: Reading,
    /// The taper and the shift that the toolpath was rewritten with; the shift at most [`MOST_SHIFT`] in size.
    pub followed: Followed,
    /// How far Z may be from its definition, mm; 0 to [`MOST_TOLERANCE`]. Default 0.005.
    pub tolerance: f64,
    /// Whether E follows the layers' thickness in the taper. Default true.
    pub flow: bool,
    /// No Z that was not below this, mm, may come to lie below it. Default 0.
    pub floor: f64,
    /// At most so many faults are told. Default 20.
    pub most_faults: usize,
}

impl Default for ProofOptions {
    fn default() -> Self {
        ProofOptions {
            reading: Reading::default(),
            followed: Followed::default(),
            tolerance: 0.005,
            flow: true,
            floor: 0.0,
            most_faults: 20,
        }
    }
}

/// The largest tolerance that can be proven, mm: with more nothing would be. The rewriter takes no more either.
pub const MOST_TOLERANCE: f64 = 0.1;
/// The largest shift that can be proven, mm.
pub const MOST_SHIFT: f64 = 2.0;

impl ProofOptions {
    /// Numbers that would let anything pass, or nothing.
    fn check(&self) -> Result<(), Error> {
        let fault = |message: String| Err(Error::new(ErrorKind::Options, message));
        if !(0.0..=MOST_TOLERANCE).contains(&self.tolerance) {
            return fault(format!(
                "a tolerance of {} mm is not between 0 and {} mm",
                Shown(self.tolerance),
                Shown(MOST_TOLERANCE)
            ));
        }
        let Followed { taper, shift } = self.followed;
        if shift.is_nan() || shift.abs() > MOST_SHIFT {
            return fault(format!(
                "a shift of {} mm is not between -{most} and {most} mm",
                Shown(shift),
                most = Shown(MOST_SHIFT)
            ));
        }
        if let Some([from, to]) = taper
            && !(from.is_finite() && to.is_finite() && from < to)
        {
            return fault(format!("{} to {} mm is no taper", Shown(from), Shown(to)));
        }
        if !self.floor.is_finite() {
            return fault(format!("a floor of {} mm is no height", Shown(self.floor)));
        }
        Ok(())
    }
}

/// What sort of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum FaultKind {
    /// A line of the original has no counterpart.
    Missing,
    /// A line has no counterpart in the original.
    Extra,
    /// A command, text, comment or line end differs.
    Command,
    /// A piece leaves the original's XY path, goes back along it, or ends elsewhere.
    Path,
    /// Z is not within the tolerance of its definition.
    Height,
    /// The filament pushed so far is not the exact value, or pieces do not share it by length.
    Filament,
    /// A word differs: feed rate, other axis, or one that is none of the path's.
    Word,
    /// Something that stays in force differs after the line.
    Mode,
    /// The marker is doubled or tells of other options.
    Marker,
    /// Z comes to lie below the floor.
    Floor,
    /// The rewritten line cannot be read.
    Unreadable,
}

/// One fault with its places.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(rename = "ProofFault", missing_as_null))]
#[non_exhaustive]
pub struct Fault {
    /// What sort.
    pub kind: FaultKind,
    /// What is wrong, in one line.
    pub message: String,
    /// The original's line, from 1; `None` past its end.
    pub original: Option<u64>,
    /// The rewritten toolpath's line, from 1; `None` past its end.
    pub rewritten: Option<u64>,
}

/// A bound and the original's line that it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(rename = "WorstBound"))]
#[non_exhaustive]
pub struct Worst {
    /// mm.
    pub by: f64,
    /// The original's line, from 1; 0 where there was none.
    pub line: u64,
}

impl Worst {
    fn note(&mut self, by: f64, line: u64) {
        if by > self.by {
            *self = Worst { by, line };
        }
    }
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(rename = "ProofVerdict", missing_as_null))]
#[non_exhaustive]
pub struct Verdict {
    /// The faults, in the order of the lines; empty: proven.
    #[cfg_attr(feature = "typescript", tsify(type = "ProofFault[]"))]
    pub faults: Vec<Fault>,
    /// Faults beyond those.
    pub more_faults: u64,
    /// From here on, the original's line, the two could not be laid side by side any more.
    pub lost_at: Option<u64>,
    /// Lines of the original.
    pub lines_in: u64,
    /// Lines of the rewritten toolpath.
    pub lines_out: u64,
    /// Moves of the original.
    pub moves_in: u64,
    /// Moves of the rewritten toolpath.
    pub moves_out: u64,
    /// Moves of the original whose whole height is bounded.
    pub bounded: u64,
    /// Moves that passed as they were, as nobody knows where they begin or end.
    pub unknown: u64,
    /// Z is nowhere further from its definition than this.
    #[cfg_attr(feature = "typescript", tsify(type = "WorstBound"))]
    pub height: Worst,
    /// No piece's end is further from the XY path than this.
    #[cfg_attr(feature = "typescript", tsify(type = "WorstBound"))]
    pub path: Worst,
    /// The filament is nowhere further from the exact value than this.
    #[cfg_attr(feature = "typescript", tsify(type = "WorstBound"))]
    pub filament: Worst,
}

impl Verdict {
    /// Whether the rewritten toolpath is proven to be the original followed over the bed.
    #[must_use]
    pub fn is_proven(&self) -> bool {
        self.faults.is_empty() && self.more_faults == 0 && self.lost_at.is_none()
    }
}

/// Walks two toolpaths side by side. Both are pushed in chunks of any size, in any order; memory grows with how far one is ahead of
/// the other, so push the one that is [behind](Proof::behind).
///
/// ```
/// use evengap::check::proof::{Proof, ProofOptions, Side};
/// use evengap::follow::{Options, Taper, rewrite};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
/// #   points = [[0, 0, 0], [200, 0, 0.2], [0, 200, 0]]\n").unwrap();
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let original = b"G1 X0 Y100 Z0.2\nG1 X200 E10\n";
/// let mut options = Options::default();
/// options.taper = Taper::None;
/// let (rewritten, _) = rewrite(original, &map, options)?;
///
/// let mut proof = Proof::new(&map, ProofOptions::default());
/// proof.push_original(original)?;
/// assert_eq!(proof.behind(), Side::Rewritten);
/// proof.push_rewritten(&rewritten)?;
/// assert!(proof.finish()?.is_proven());
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug)]
pub struct Proof {
    walk: Walk,
}

/// One of the two toolpaths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Side {
    /// The original.
    Original,
    /// The rewritten one.
    Rewritten,
}

impl Proof {
    /// Prepares to walk.
    #[must_use]
    pub fn new(map: &HeightMap, options: ProofOptions) -> Self {
        let target = Target { map: map.clone(), sheet: Sheet::of(map), followed: options.followed };
        Proof { walk: Walk::new(target, options, map.card().digest()) }
    }

    /// Takes the original's next bytes.
    ///
    /// # Errors
    /// [`ErrorKind::Toolpath`], [`ErrorKind::Refused`] or
    /// [`ErrorKind::Limit`] where the original cannot be read; with line and column.
    /// [`ErrorKind::Options`] if the options make no sense.
    pub fn push_original(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.walk.push(Side::Original, bytes)
    }

    /// Takes the rewritten toolpath's next bytes.
    ///
    /// # Errors
    /// As [`Proof::push_original`], of the original. What cannot be read in the rewritten toolpath is a fault.
    pub fn push_rewritten(&mut self, bytes: &[u8]) -> Result<(), Error> {
        self.walk.push(Side::Rewritten, bytes)
    }

    /// The side that is to be pushed next, so that little is held.
    #[must_use]
    pub fn behind(&self) -> Side {
        self.walk.behind()
    }

    /// Both have ended.
    ///
    /// # Errors
    /// As [`Proof::push_original`].
    pub fn finish(self) -> Result<Verdict, Error> {
        self.walk.finish()
    }
}
