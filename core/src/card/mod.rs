//! The probe card: a bed and its readings, from TOML or JSON text. (skeleton: signatures only)
use crate::Error;

/// A bed and its readings.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Card {
    /// The bed.
    pub bed: Bed,
    /// How the readings were taken, and the readings.
    pub readings: Readings,
    /// The levelling screws, where the card names them.
    pub screws: Option<Screws>,
}
/// The bed's reachable area, mm, in the toolpath's coordinates.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Bed {
    /// Lowest and highest reachable X, mm.
    pub x: [f64; 2],
    /// Lowest and highest reachable Y, mm.
    pub y: [f64; 2],
    /// The plate's outline.
    pub outline: Outline,
    /// Clips and clamps: rectangles `[x0, y0, x1, y1]`, mm.
    pub keep_out: Vec<[f64; 4]>,
}
/// The plate's outline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outline {
    /// The rectangle of `x` and `y`.
    #[default]
    Rectangle,
    /// The ellipse inscribed in that rectangle.
    Round,
}
/// How a reading was taken; see the table in the crate's docs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// A sheet drags between nozzle and bed; the value is the nozzle's Z, mm.
    Drag,
    /// The thickest feeler leaf that slides through at Z = `parked`, mm.
    Gauge,
    /// The thickness of a single-layer patch printed at Z = `parked`, mm.
    Patch,
    /// An indicator on the carriage, plunger up positive, mm.
    Dial,
}
/// The readings and how they were taken.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Readings {
    /// The method.
    pub method: Method,
    /// `drag`: the sheet's thickness, mm.
    pub sheet: Option<f64>,
    /// `gauge` and `patch`: the nozzle's Z while parked or printing, mm.
    pub parked: Option<f64>,
    /// `dial`: the plunger's place from the nozzle, mm.
    pub offset: Option<[f64; 2]>,
    /// Bed temperature while reading, degrees Celsius.
    pub bed_celsius: Option<f64>,
    /// Nozzle temperature while reading, degrees Celsius.
    pub nozzle_celsius: Option<f64>,
    /// One standard deviation of a reading, mm.
    pub spread: Option<f64>,
    /// Where the first layer is right as it is: the map is shifted to 0 there.
    pub right_at: Option<[f64; 2]>,
    /// The readings, in the card's order.
    pub points: Vec<Reading>,
}
/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Reading {
    /// Nozzle X, mm.
    pub x: f64,
    /// Nozzle Y, mm.
    pub y: f64,
    /// What was read, mm.
    pub value: f64,
    /// The card's line (from 1) that holds it, when the card came from text.
    #[serde(skip)]
    pub line: Option<u64>,
}
/// The levelling screws.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Screws {
    /// mm of height a turn.
    pub pitch: f64,
    /// The way to turn a knob, seen from above, that raises the bed.
    pub raise: Turn,
    /// Name, x, y of each.
    pub at: Vec<Screw>,
}
/// A way of turning, seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Turn {
    /// Clockwise seen from above.
    Clockwise,
    /// Anticlockwise seen from above.
    Anticlockwise,
}
/// One screw.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Screw {
    /// Its name on the card.
    pub name: String,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
}
/// A height that one reading tells.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct SpotHeight {
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// mm above the toolpath's Z = 0.
    pub height: f64,
    /// The card's line.
    #[serde(skip)]
    pub line: Option<u64>,
}
impl Card {
    /// Reads a card: TOML, or JSON when the first character that is not white space is `{`.
    pub fn parse(_text: &str) -> Result<Card, Error> {
        todo!()
    }
    /// Twelve hex digits that name what the card says, however it is spelt.
    pub fn digest(&self) -> String {
        todo!()
    }
    /// Each reading as a height, in the card's order (before any `right_at` shift).
    pub fn spot_heights(&self) -> Vec<SpotHeight> {
        todo!()
    }
}
