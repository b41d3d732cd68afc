//! Before the readings: where to read, in which order, and what a person does there.
//!
//! A [`grid`] (or [`given`] places), sorted by [`visiting_order`], becomes a card with points that are still to be read:
//! [`card_text`]. [`steps`] and [`about`] say in plain words how each method is done; the sheet to print
//! ([`crate::draw::reading_sheet`]), the help and the prompts all take their words from there.
//! [`visit`] writes a program that carries the nozzle to the points.
//!
//! ```
//! use evengap::plan;
//!
//! let card = evengap::Card::parse_without_points(r#"
//! [bed]
//! x = [0, 235]
//! y = [0, 235]
//! keep_out = [[0, 100, 12, 130]]
//! [readings]
//! method = "drag"
//! sheet = 0.1
//! "#)?;
//! let planned = plan::planned(&card, plan::Layout::Grid { columns: 5, rows: 5 }, plan::Room::default())?;
//! assert_eq!(planned.card.readings.unread.len(), 24);
//! assert_eq!(planned.left_out.len(), 1);
//! println!("left out: {}", planned.left_out[0].why.words());
//! assert!(evengap::Card::parse(&plan::card_text(&planned.card)).is_ok());
//!
//! // What the person is told, and the points as a card lists them.
//! assert_eq!(plan::about(card.readings.method).height, "value - sheet");
//! assert!(plan::steps(&card.readings)[0].starts_with("Home the printer."));
//! assert!(plan::points_text(&planned.card).contains("points = ["));
//! assert_eq!(plan::plunger(&card), None);
//!
//! // Points of one's own, and the way past them.
//! let own = plan::given(&card.bed, None, &[[30.0, 30.0], [170.0, 170.0], [170.0, 30.0]], plan::Room::default())?;
//! let order = plan::visiting_order(&own.points, plan::start(&card));
//! assert_eq!(order, [0, 2, 1]);
//! assert!(plan::travel_length(&own.points, &order, [30.0, 30.0]) < 280.1);
//!
//! // What the person types.
//! assert_eq!(plan::value_from_text(card.readings.method, "0.16 mm"), Ok(0.16));
//! assert!(plan::doubt(&card, [30.0, 30.0], 0.16).is_none());
//! assert!(plan::doubt(&card, [30.0, 30.0], 16.0).is_some());
//! # Ok::<(), evengap::Error>(())
//! ```

mod blank;
mod method;
mod order;
mod points;
mod value;
mod visit;

pub use blank::{card_text, points_text};
pub use method::{About, METHODS, about, steps};
pub use order::{travel_length, visiting_order};
pub use points::{Choice, LeftOut, MAX_SIDE, Room, USUAL_CLEARANCE, USUAL_MARGIN, Why, given, grid, left_out};
pub use value::{ABSURD, doubt, value_from_text};
pub use visit::{MAX_STOPS, Stop, VisitOptions, Wait, visit};

use crate::Error;
use crate::card::{Card, Method, Unread};

/// Which points to plan.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Layout<'a> {
    /// Rows and columns that fill the bed.
    Grid {
        /// Points from left to right.
        columns: usize,
        /// Points from front to back.
        rows: usize,
    },
    /// The nozzle's places, mm.
    Given(&'a [[f64; 2]]),
}

/// A card with points to read, and what is to be known of them.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Planned {
    /// The card: the points in visiting order, none of them read.
    pub card: Card,
    /// Points that cannot be read, with the reason.
    pub left_out: Vec<LeftOut>,
    /// From the bed's front left corner over all points in their order, mm.
    pub travel: f64,
}

/// The plunger's place from the nozzle, mm, where the card's method has one.
#[must_use]
pub fn plunger(card: &Card) -> Option<[f64; 2]> {
    card.readings.offset.filter(|_| card.readings.method == Method::Dial)
}

/// Where a visit starts, the nozzle's `[x, y]`, mm: the bed's front left corner, where most printers home (common practice, no
/// source).
#[must_use]
pub fn start(card: &Card) -> [f64; 2] {
    [card.bed.x[0], card.bed.y[0]]
}

/// The card with points to read in place of its own: laid out, sorted out and in visiting order.
///
/// # Errors
///
/// As [`grid`] and [`given`].
pub fn planned(card: &Card, layout: Layout<'_>, room: Room) -> Result<Planned, Error> {
    let choice = match layout {
        Layout::Grid { columns, rows } => grid(&card.bed, plunger(card), columns, rows, room)?,
        Layout::Given(points) => given(&card.bed, plunger(card), points, room)?,
    };
    let order = visiting_order(&choice.points, start(card));
    let travel = travel_length(&choice.points, &order, start(card));
    let mut card = card.clone();
    card.readings.points.clear();
    card.readings.unread = order
        .iter()
        .filter_map(|&i| choice.points.get(i))
        .zip(1..)
        .map(|(&[x, y], number)| Unread { x, y, number, line: None, column: None })
        .collect();
    Ok(Planned { card, left_out: choice.left_out, travel })
}
