//! A map in figures: what `evengap map --json` prints, and what other programs are told.

use crate::cautions::{BRIEF, paragraph};
use crate::known::{HowWell, Known};
use crate::shape::{Shape, describe};
use crate::surface::{Because, Choice, Smoothed};
use crate::{HeightMap, SurfaceKind};

/// All that a card's map tells in figures. In JSON the keys of `shape` stand among the others.
///
/// ```
/// use evengap::{Card, HeightMap, SurfaceKind, figures::Figures, known::Known};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [[20, 20, 0.16], [180, 20, 0.12], [20, 180, 0.15], [180, 180, 0.05]]")?;
/// let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let figures = Figures::of(&map, None, Known::of(&map).as_ref());
/// assert!(evengap::json::write(&figures).contains("\"tilt\":{"));
/// # Ok::<(), evengap::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Figures {
    /// The card's [digest](crate::Card::digest).
    pub card: String,
    /// The surface.
    pub surface: SurfaceKind,
    /// Why it is this one, where it was to be chosen.
    pub chosen: Option<Because>,
    /// The rectangle that bounds the readings, `[x0, y0, x1, y1]`, mm.
    pub measured: [f64; 4],
    /// What `right_at` added to every height, mm.
    pub shift: f64,
    /// Whether the readings were reckoned and not taken.
    pub predicted: bool,
    /// Points that are still to be read.
    pub unread: usize,
    /// How the plate lies.
    #[serde(flatten)]
    pub shape: Shape,
    /// How the map smooths, where it does.
    pub smoothed: Option<Smoothed>,
    /// How well the bed is known, where anything can be said.
    pub known: Option<HowWell>,
    /// What whoever works at the printer must know.
    pub caution: String,
}

impl Figures {
    /// The figures of a map.
    #[must_use]
    pub fn of(map: &HeightMap, choice: Option<Choice>, known: Option<&Known>) -> Figures {
        let readings = &map.card().readings;
        Figures {
            card: map.card().digest(),
            surface: map.kind(),
            chosen: choice.map(|c| c.because),
            measured: map.measured(),
            shift: map.shift(),
            predicted: readings.predicted,
            unread: readings.unread.len(),
            shape: describe(map),
            smoothed: map.smoothed(),
            known: known.map(Known::how_well),
            caution: paragraph(&BRIEF),
        }
    }
}
