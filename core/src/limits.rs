//! Every limit in one place: what is larger is refused with an error that says so, never cut off silently.
//!
//! | what | limit | beyond it |
//! | --- | --- | --- |
//! | a card's text | [`MAX_CARD_BYTES`], 2 MB | refused before it is parsed |
//! | a card's nesting | 16 deep | refused |
//! | keys of one table of a card | 250 | refused |
//! | a card's readings | [`MAX_POINTS`], 50,000 | refused |
//! | a card's coordinates | [`MAX_COORDINATE`], 100 m | refused |
//! | a card's readings and heights | [`MAX_READING`], 1 m | refused |
//! | a card's spread, unless it is 0 | not under [`LEAST_SPREAD`], 10^-6 mm | refused |
//! | places of a thin plate (its sums grow with the cube) | [`MAX_THIN_PLATE_PLACES`], 2,500 | refused; a grid can be bilinear |
//! | heights that are followed | [`HEIGHT_LIMIT`], 2 mm | refused unless allowed |
//! | places of a planned grid, to a side | [`MAX_SIDE`], 200 | refused |
//! | points chosen to be read next, and those still to be read beside them | [`MAX_NEXT`], 100 | refused |
//! | stops of a visiting program | [`MAX_STOPS`], 1,000 | refused |
//! | patches of a test print | [`MAX_PATCHES`], 400 | refused |
//! | a toolpath's bytes, lines and moves | none | memory does not grow with them |
//! | a line held in memory | [`LINE_LIMIT`], 1 MiB; [`Options::line_limit`](crate::follow::Options::line_limit) for the rewriter | passes unheld where it can move no axis, else refused |
//! | words on a line | 200 | refused where the line moves an axis |
//! | digits of a number | [`DIGITS_LIMIT`], 36 | refused in a word that matters |
//! | a place, or an amount of filament, in one word | [`PLACE_LIMIT`], 10^9 mm or inches | refused |
//! | a move from a known place | [`MOVE_LIMIT`], 1 km | refused |
//! | looks at the bed along one move, and so its pieces | 100,000 | refused |
//! | stretches into which the proof divides one piece | 400,000 | a fault: not proven |
//! | what may be proven: tolerance and shift | [`MOST_TOLERANCE`], 0.1 mm; [`MOST_SHIFT`], 2 mm | refused |
//! | layers | [`MAX_LAYERS`], 30,000 | refused |
//! | points of a path kept for drawing | 2 million; [`GapOptions::most_kept`](crate::check::GapOptions::most_kept) | the drawing says that it is not all |
//! | faults that are told | 20; [`ProofOptions::most_faults`](crate::check::proof::ProofOptions::most_faults) | counted |
//!
//! Lines with an error have their place, counted from 1.

pub use crate::card::{LEAST_SPREAD, MAX_CARD_BYTES, MAX_COORDINATE, MAX_POINTS, MAX_READING};
pub use crate::check::gaps::MAX_LAYERS;
pub use crate::check::proof::{MOST_SHIFT, MOST_TOLERANCE};
pub use crate::follow::HEIGHT_LIMIT;
pub use crate::known::MAX_NEXT;
pub use crate::plan::{MAX_SIDE, MAX_STOPS};
pub use crate::surface::MAX_THIN_PLATE_PLACES;
pub use crate::toolpath::lines::LINE_LIMIT;
pub use crate::toolpath::number::DIGITS_LIMIT;
pub use crate::toolpath::{MOVE_LIMIT, PLACE_LIMIT};
pub use crate::trial::MAX_PATCHES;
