//! The surface that a command is asked for, and the map of a card with it.

use crate::files::{self, Name};
use crate::report::Failure;
use clap::ValueEnum;
use evengap::surface::Choice;
use evengap::{Card, HeightMap, SurfaceKind};

/// The surface through the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Surface {
    /// Smooth, for any scatter of three or more readings
    ThinPlate,
    /// Straight between neighbours, for a full grid
    Bilinear,
    /// The one that better predicts rows and columns of readings left out; it is told which, and why
    Auto,
}

impl Surface {
    pub(crate) fn of(kind: SurfaceKind) -> Surface {
        match kind {
            SurfaceKind::ThinPlate => Surface::ThinPlate,
            SurfaceKind::Bilinear => Surface::Bilinear,
        }
    }

    /// The map of a card, and why it has this surface where that was to be chosen.
    pub(crate) fn map(self, card: &Card) -> Result<(HeightMap, Option<Choice>), evengap::Error> {
        let kind = match self {
            Surface::ThinPlate => SurfaceKind::ThinPlate,
            Surface::Bilinear => SurfaceKind::Bilinear,
            Surface::Auto => return HeightMap::fit_chosen(card).map(|(map, choice)| (map, Some(choice))),
        };
        HeightMap::fit(card, kind).map(|map| (map, None))
    }
}

/// Reads a card and fits its map; errors show the card's line. What surface was chosen is said, if it was.
pub(crate) fn read_map(name: &Name, surface: Surface) -> Result<HeightMap, Failure> {
    map_of_text(&name.text(LARGEST)?, name, surface)
}

/// Fits the map of a card that was read from `name`; errors show the card's line. What surface was chosen is said, if it was.
pub(crate) fn map_of_text(text: &str, name: &Name, surface: Surface) -> Result<HeightMap, Failure> {
    let (map, choice) = chosen_map(text, name, surface)?;
    say_choice(choice);
    Ok(map)
}

/// As [`map_of_text`], and nothing is said.
pub(crate) fn chosen_map(text: &str, name: &Name, surface: Surface) -> Result<(HeightMap, Option<Choice>), Failure> {
    let refuse = |error| Failure::card(&error, name.shown(), text);
    let card = Card::parse(text).map_err(refuse)?;
    surface.map(&card).map_err(refuse)
}

/// Which surface was chosen, and why.
pub(crate) fn say_choice(choice: Option<Choice>) {
    if let Some(choice) = choice {
        files::say(&format!("Surface: {choice}.\n"));
    }
}

/// The core refuses what is larger than its own limit; this only bounds what is read.
pub(crate) const LARGEST: u64 = 16 << 20;
