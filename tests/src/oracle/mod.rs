//! Judges a rewritten toolpath against its original, by dense sampling and direct evaluation.
//!
//! The definition: an original path point (x, y, z) becomes (x, y, z + w(z) h(x, y) + shift), with w = 1 up to the
//! taper's FROM, 0 from its TO on, and a straight line between. [`judge`] executes both files on the little machine
//! and compares them move by move; it knows nothing of how the rewriter works.
//!
//! What it holds a rewriter to, beyond the definition:
//! - an original move becomes one or more moves in a row, of the same G number, on the same XY path, going forward,
//!   that end at the original's end to the digit; a move without XY travel stays one move;
//! - a piece that begins where the position was not known before, or was passed as it stood, is judged at its end, and
//!   what was missing at its start may fade out evenly over the move;
//! - a line that makes the position known may pass as it is or have its Z set, and nothing else;
//! - text, comments, line ends, order, numbers, checksums, modes and feed rate stay;
//! - where nothing needs changing the bytes are the same.

mod definition;
mod fewest;
mod least;
mod needless;
mod numbering;
mod walk;

use std::fmt;

use crate::machine::Setup;

/// What the rewriter was asked to do, and how closely it is to be judged.
#[derive(Debug, Clone)]
pub struct Rules {
    /// How the machine wakes.
    pub setup: Setup,
    /// FROM and TO of the taper, mm; `None` for no taper.
    pub taper: Option<(f64, f64)>,
    /// Largest distance of Z from the definition along a piece, mm.
    pub tolerance: f64,
    /// A sample every so many mm, and at least 64 on every move and every piece.
    pub step: f64,
    /// Whether E follows the layer's thickness in the taper.
    pub flow: bool,
    /// mm added to every Z.
    pub shift: f64,
    /// Half a unit of the last digit of Z, mm.
    pub z_half_unit: f64,
    /// How far a piece's ends may lie from the original's XY path, mm: half a unit of the last digit in X and in Y.
    pub xy_slack: f64,
    /// Half a unit of the last digit of E, in the file's unit of length.
    pub e_half_unit: f64,
    /// Where set, no Z may come to lie below this that was not below it, mm.
    pub floor: Option<f64>,
    /// Whether two neighbouring pieces that one piece could replace are a fault (else they are counted).
    pub fewest: bool,
    /// Stop after so many faults.
    pub most_faults: usize,
}

impl Default for Rules {
    fn default() -> Rules {
        Rules {
            setup: Setup::default(),
            taper: None,
            tolerance: 0.005,
            step: 0.05,
            flow: true,
            shift: 0.0,
            z_half_unit: 0.000_5,
            xy_slack: 0.000_75,
            e_half_unit: 0.000_005,
            floor: None,
            fewest: false,
            most_faults: 40,
        }
    }
}

/// What kind of fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum What {
    /// A line of the original has no counterpart.
    Missing,
    /// A line has no counterpart in the original.
    Extra,
    /// A command, a text or a comment differs.
    Command,
    /// A piece leaves the original's XY path.
    OffPath,
    /// A piece goes back along the path.
    Backwards,
    /// A move ends elsewhere in X or Y.
    WrongEnd,
    /// Z is not where the definition puts it.
    Z,
    /// Something changed while the position was not known.
    Unknown,
    /// The filament pushed so far is not the exact value.
    E,
    /// The pieces do not share the filament by their length.
    EShare,
    /// The feed rate in force differs.
    Feed,
    /// Another axis is not carried along.
    Axis,
    /// Another word was lost, doubled or moved.
    Word,
    /// G0, G1, G2 or G3 became another.
    G,
    /// A mode differs after the line.
    Mode,
    /// G92 does not keep the compensation, or an inserted one does not set the register right.
    G92,
    /// N words do not follow each other.
    Number,
    /// A checksum is wrong or lost.
    Checksum,
    /// The bytes differ where nothing needed changing.
    Bytes,
    /// Two pieces that could be one.
    Split,
    /// The marker comment is missing, doubled or not before the first change.
    Marker,
    /// Z lies below the floor.
    Floor,
    /// Another line end.
    LineEnd,
}

/// One fault, with its place in both files.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// What kind.
    pub what: What,
    /// The original's line, from 1.
    pub original: usize,
    /// The rewritten file's line, from 1.
    pub rewritten: Option<usize>,
    /// What should be there.
    pub expected: String,
    /// What is there.
    pub found: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}: original line {}", self.what, self.original)?;
        match self.rewritten {
            Some(line) => write!(f, ", rewritten line {line}")?,
            None => write!(f, ", nowhere in the rewritten file")?,
        }
        write!(f, ": expected {}, found {}", self.expected, self.found)
    }
}

/// What a judged file did, where there was no fault.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Motions in the original.
    pub moves_in: usize,
    /// Motions in the rewritten file.
    pub moves_out: usize,
    /// A bound from below: no rewriter could do with fewer motions within tolerance and rounding.
    pub moves_least: usize,
    /// Pieces of the moves that are several.
    pub pieces: usize,
    /// The fewest that these moves could be, each by itself, within the tolerance, from its start to its end.
    pub pieces_fewest: usize,
    /// Motions whose whole path was judged against the definition.
    pub judged: usize,
    /// Motions that passed while the position was not known.
    pub passed_unknown: usize,
    /// Lines with the same bytes (but for their number).
    pub same_lines: usize,
    /// Lines that differ.
    pub changed_lines: usize,
    /// Lines that may move an axis in a way that is not understood.
    pub doubts: usize,
    /// G92 E lines put in.
    pub inserted_g92: usize,
    /// The marker's line in the rewritten file.
    pub marker: Option<usize>,
    /// Neighbouring pieces that one piece could replace.
    pub mergeable: usize,
    /// Largest distance of Z from the definition, mm.
    pub worst_z: f64,
    /// Largest distance from the XY path, mm.
    pub worst_xy: f64,
    /// Largest distance of the filament from the exact value, mm.
    pub worst_e: f64,
    /// Largest |w h + shift| on the way, mm.
    pub largest_offset: f64,
    /// Filament in the original, mm.
    pub filament_in: f64,
    /// Filament in the rewritten file, mm.
    pub filament_out: f64,
}

impl Report {
    /// By how many per cent the number of moves grew.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "counts of lines, far below 2^52")]
    pub fn growth_percent(&self) -> f64 {
        if self.moves_in == 0 {
            return 0.0;
        }
        (self.moves_out as f64 / self.moves_in as f64 - 1.0) * 100.0
    }
}

/// Judges `rewritten` against `original` over a bed of height `h(x, y)`, mm.
///
/// # Errors
/// Every fault found, up to [`Rules::most_faults`]. A fault after which the two files cannot be laid side by side any
/// more is the last.
pub fn judge(
    original: &[u8],
    rewritten: &[u8],
    h: &dyn Fn(f64, f64) -> f64,
    rules: &Rules,
) -> Result<Report, Vec<Fault>> {
    walk::Walk::new(original, rewritten, h, rules).judge(original, rewritten)
}

/// The faults as lines of text, for a test's message.
#[must_use]
pub fn tell(faults: &[Fault]) -> String {
    faults.iter().map(|f| format!("{f}\n")).collect()
}
