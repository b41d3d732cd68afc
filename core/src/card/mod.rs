//! The probe card: a bed and its readings, from TOML or JSON text.
//!
//! A card is one file. It says what the bed is, how the readings were taken and what was read; where screws are to be
//! turned, also where they are and how they turn.
//!
//! ```
//! let card = evengap::Card::parse(r#"
//! [bed]
//! x = [0, 235]                 # mm, reachable, in the toolpath's coordinates
//! y = [0, 235]
//!
//! [readings]
//! method = "drag"
//! sheet = 0.10
//! bed_celsius = 60
//! points = [                   # x, y, value; a point read twice is listed twice
//!   [ 30,  30, 0.16],
//!   [205,  30, 0.08],
//!   [117, 205, 0.12],
//! ]
//! "#)?;
//! assert_eq!(card.readings.points.len(), 3);
//! assert!((card.spot_heights()[0].height - 0.06).abs() < 1e-12);
//! # Ok::<(), evengap::Error>(())
//! ```
//!
//! # How a reading becomes a height
//!
//! Height is in mm, how far the bed's surface stands above the toolpath's Z = 0; up is positive.
//!
//! | method | what the person does | the card's value | height | needs |
//! | --- | --- | --- | --- | --- |
//! | `drag` | lowers the nozzle until a sheet just drags | the nozzle's Z, mm | value - sheet | `sheet` |
//! | `gauge` | parks the nozzle at Z = `parked`, finds the thickest feeler leaf that slides through | the leaf, mm | parked - value | `parked` |
//! | `patch` | prints a single-layer patch with the nozzle at Z = `parked`, measures it | its thickness, mm | parked - value | `parked` |
//! | `dial` | an indicator on the carriage rides over the bed, plunger up is positive | the indication, mm | value, less the map at `right_at` | `offset`, `right_at` |
//!
//! `dial` heights belong to the plunger's place, which is the nozzle's place plus `offset`. `drag`, `gauge` and `patch` are
//! absolute. `right_at = [x, y]` makes any card relative: the map is shifted to be 0 there.
//!
//! # Keys
//!
//! | section | key | meaning |
//! | --- | --- | --- |
//! | `[bed]` | `x`, `y` | lowest and highest that the nozzle reaches, mm |
//! | | `outline` | `"rectangle"` (default), or `"round"`: the ellipse inscribed in `x` and `y` |
//! | | `keep_out` | list of `[x0, y0, x1, y1]`, mm: clips, clamps |
//! | `[readings]` | `method` | `"drag"`, `"gauge"`, `"patch"` or `"dial"` |
//! | | `sheet`, `parked`, `offset` | see above, mm |
//! | | `bed_celsius`, `nozzle_celsius` | degrees Celsius while reading |
//! | | `spread` | one standard deviation of a reading, mm; without it the surface passes through every reading |
//! | | `right_at` | `[x, y]`, mm: where the first layer is right as it is |
//! | | `points` | list of `[x, y, value]`, mm; a point read twice is listed twice. `[x, y]` is a point that is still to be read; `[x, y, value, spread]` gives a reading a spread of its own |
//! | | `predicted` | `true` where the values were reckoned and not read |
//! | `[screws]` | `thread` or `pitch` | `"M2"` to `"M8"` ([coarse pitch](coarse_pitch)), or mm of height a turn; one of the two |
//! | | `raise` | `"clockwise"` or `"anticlockwise"`, seen from above: the way to turn a knob that raises the bed |
//! | | `at` | table of names and `[x, y]`, mm; two to eight |
//! | | `travel` | `[lowest, highest]`, mm: how far a screw may still move the bed, down negative, up positive; for all, or a table of names |
//! | `[print]` | `filament` | diameter, mm |
//! | | `line_width`, `layer_height` | of the first layer, mm |
//! | | `print_speed`, `travel_speed` | mm/s |
//! | `[machine]` | `z_speed` | fastest that Z may go while the nozzle travels sideways, mm/s |
//! | | `z_speed_step` | by how much the speed of Z may change from one move to the next, mm/s |
//! | | `moves_per_second` | that the machine can take, over a tenth of a second |
//! | | `z_steps_per_mm` | steps of the Z motor |
//!
//! Any other key is an error that points at it.
//!
//! # Limits
//!
//! A card's text is at most [`MAX_CARD_BYTES`] long and holds at most [`MAX_POINTS`] readings; a coordinate lies within
//! [`MAX_COORDINATE`] mm of 0, a reading within [`MAX_READING`] mm. Text that nests deeper than a card can is refused before
//! it can exhaust the stack.

mod csv;
mod read;
mod write;

use crate::{Error, ErrorKind};
use serde::ser::{Serialize, SerializeMap, Serializer};

/// Longest card text that is read, bytes.
pub const MAX_CARD_BYTES: usize = 2_000_000;
/// Most readings on a card. A surface may take fewer: see [`crate::surface::MAX_THIN_PLATE_PLACES`].
pub const MAX_POINTS: usize = 50_000;
/// Furthest that a coordinate may lie from 0, mm.
pub const MAX_COORDINATE: f64 = 100_000.0;
/// A card's spread is 0, for readings that are exact, or not less than this, mm: weights are squares of spreads, and vanish far below it.
pub const LEAST_SPREAD: f64 = 1e-6;
/// Smallest and largest height of a screw's turn, mm.
pub const PITCHES: [f64; 2] = [0.01, 25.0];
/// Largest reading, sheet or parked height, mm, in size.
pub const MAX_READING: f64 = 1_000.0;

/// A bed and its readings.
///
/// Its `serde` form is the card's own: what `serde_json` writes is a JSON card that [`Card::parse`] reads.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(rename = "CardJson"))]
#[non_exhaustive]
pub struct Card {
    /// The bed.
    pub bed: Bed,
    /// How the readings were taken, and the readings.
    pub readings: Readings,
    /// The levelling screws, where the card names them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub screws: Option<Screws>,
    /// What a test print needs to know, where the card says.
    #[serde(skip_serializing_if = "Print::is_empty")]
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub print: Print,
    /// What the machine can do, where the card says.
    #[serde(skip_serializing_if = "Machine::is_empty")]
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub machine: Machine,
}

/// The bed's reachable area, mm, in the toolpath's coordinates.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
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
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Outline {
    /// The rectangle of `x` and `y`.
    #[default]
    Rectangle,
    /// The ellipse inscribed in that rectangle.
    Round,
}

/// How a reading was taken; the [module's table](self) has the signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
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
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Readings {
    /// The method.
    pub method: Method,
    /// `drag`: the sheet's thickness, mm.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub sheet: Option<f64>,
    /// `gauge` and `patch`: the nozzle's Z while parked or printing, mm.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub parked: Option<f64>,
    /// `dial`: the plunger's place from the nozzle, mm.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub offset: Option<[f64; 2]>,
    /// Bed temperature while reading, degrees Celsius.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub bed_celsius: Option<f64>,
    /// Nozzle temperature while reading, degrees Celsius.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub nozzle_celsius: Option<f64>,
    /// One standard deviation of a reading, mm.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub spread: Option<f64>,
    /// `[x, y]`, mm: where the first layer is right as it is. The map is shifted to 0 there.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub right_at: Option<[f64; 2]>,
    /// Whether the values were reckoned (what turning the screws should give, say) and not read.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub predicted: bool,
    /// The readings, in the card's order.
    // Written with the others, each a list: x, y, and where it was read the value, and where that has one its spread.
    #[cfg_attr(
        feature = "typescript",
        tsify(type = "([number, number] | [number, number, number] | [number, number, number, number])[]")
    )]
    pub points: Vec<Reading>,
    /// The points that are still to be read, in the card's order.
    #[cfg_attr(feature = "typescript", serde(skip))]
    pub unread: Vec<Unread>,
}

/// A point that is still to be read: `[x, y]` in the card's list.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Unread {
    /// Nozzle X, mm.
    pub x: f64,
    /// Nozzle Y, mm.
    pub y: f64,
    /// Its number in the card's list of points, read ones included, from 1.
    pub number: usize,
    /// The card's line (from 1) that holds it, when the card came from text.
    pub line: Option<u64>,
    /// The column (bytes, from 1) where it starts in that line, when the card came from text.
    pub column: Option<u64>,
}

/// A point of the card's list, read or not.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Point {
    /// With its value.
    Read(Reading),
    /// Still to be read.
    Unread(Unread),
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Reading {
    /// Nozzle X, mm.
    pub x: f64,
    /// Nozzle Y, mm.
    pub y: f64,
    /// What was read, mm.
    pub value: f64,
    /// One standard deviation of this reading, mm, where it has one of its own.
    pub spread: Option<f64>,
    /// The card's line (from 1) that holds it, when the card came from text.
    pub line: Option<u64>,
    /// The column (bytes, from 1) where it starts in that line, when the card came from text.
    pub column: Option<u64>,
}

/// The levelling screws.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Screws {
    /// mm of height a turn.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub pitch: f64,
    /// The thread's name, such as `"M4"`, where the card gives the thread and not the pitch.
    #[cfg_attr(feature = "typescript", tsify(optional))]
    pub thread: Option<String>,
    /// The way to turn a knob, seen from above, that raises the bed.
    pub raise: Turn,
    /// Name, x, y of each, in the card's order.
    // By name; and how far each may still go in a list of its own.
    #[cfg_attr(
        feature = "typescript",
        tsify(type = "Record<string, [number, number]>; travel?: Record<string, [number, number]>")
    )]
    pub at: Vec<Screw>,
}

/// A way of turning, seen from above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[expect(clippy::exhaustive_enums, reason = "who matches it must hear of a new one")]
pub enum Turn {
    /// Clockwise seen from above.
    Clockwise,
    /// Anticlockwise seen from above.
    Anticlockwise,
}

/// One screw.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Screw {
    /// Its name on the card.
    pub name: String,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// How far it may still move the bed, mm: lowest (down, negative or 0) and highest (up, positive or 0).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub travel: Option<[f64; 2]>,
}

/// What a test print needs to know. Every value has a usual one, common practice without a source, for where the card is
/// silent.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Print {
    /// The filament's diameter, mm; usual: 1.75.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub filament: Option<f64>,
    /// Width of a line of the first layer, mm; usual: 0.45, for a nozzle of 0.4.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line_width: Option<f64>,
    /// Height of the first layer, mm; usual: 0.2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer_height: Option<f64>,
    /// Speed of the first layer, mm/s; usual: 20.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub print_speed: Option<f64>,
    /// Speed without printing, mm/s; usual: 80.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub travel_speed: Option<f64>,
}

/// What the card leaves open has its usual value.
///
/// ```
/// use evengap::card::Print;
///
/// let mut print = Print::default();
/// print.line_width = Some(0.6);
/// assert_eq!((print.filament(), print.line_width(), print.layer_height()), (1.75, 0.6, 0.2));
/// assert_eq!((print.print_speed(), print.travel_speed()), (20.0, 80.0));
/// ```
impl Print {
    /// The filament's diameter, mm: the card's or the usual one.
    #[must_use]
    pub fn filament(&self) -> f64 {
        self.filament.unwrap_or(1.75)
    }

    /// Width of a line, mm: the card's or the usual one.
    #[must_use]
    pub fn line_width(&self) -> f64 {
        self.line_width.unwrap_or(0.45)
    }

    /// Height of the first layer, mm: the card's or the usual one.
    #[must_use]
    pub fn layer_height(&self) -> f64 {
        self.layer_height.unwrap_or(0.2)
    }

    /// Speed of the first layer, mm/s: the card's or the usual one.
    #[must_use]
    pub fn print_speed(&self) -> f64 {
        self.print_speed.unwrap_or(20.0)
    }

    /// Speed without printing, mm/s: the card's or the usual one.
    #[must_use]
    pub fn travel_speed(&self) -> f64 {
        self.travel_speed.unwrap_or(80.0)
    }

    fn is_empty(&self) -> bool {
        *self == Print::default()
    }

    /// The section's keys with their values: one list for reading, writing and naming.
    fn keys(&self) -> [(&'static str, Option<f64>); 5] {
        [
            ("filament", self.filament),
            ("line_width", self.line_width),
            ("layer_height", self.layer_height),
            ("print_speed", self.print_speed),
            ("travel_speed", self.travel_speed),
        ]
    }
}

/// What the machine can do: limits for [checking](crate::check) a toolpath, none where the card is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Machine {
    /// Fastest that Z may go while the nozzle travels sideways, mm/s; 0.01 to 1000.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z_speed: Option<f64>,
    /// By how much the speed of Z may change from one move to the next, mm/s; 0.001 to 1000.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z_speed_step: Option<f64>,
    /// Moves that the machine takes in a second; 1 to 1,000,000.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moves_per_second: Option<f64>,
    /// Steps of the Z motor to the millimetre, with the driver's microsteps; 1 to 100,000.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z_steps_per_mm: Option<f64>,
}

impl Machine {
    fn is_empty(&self) -> bool {
        *self == Machine::default()
    }

    /// The section's keys with their values: one list for reading, writing and naming.
    fn keys(&self) -> [(&'static str, Option<f64>); 4] {
        [
            ("z_speed", self.z_speed),
            ("z_speed_step", self.z_speed_step),
            ("moves_per_second", self.moves_per_second),
            ("z_steps_per_mm", self.z_steps_per_mm),
        ]
    }
}

/// A height that one reading tells.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct SpotHeight {
    /// X, mm: of the nozzle, or of the plunger for `dial`.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// mm above the toolpath's Z = 0.
    pub height: f64,
    /// The card's line.
    #[serde(skip)]
    pub line: Option<u64>,
}

impl Bed {
    /// A rectangle that the nozzle reaches all over: lowest and highest X and Y, mm.
    #[must_use]
    pub fn new(x: [f64; 2], y: [f64; 2]) -> Bed {
        Bed { x, y, outline: Outline::Rectangle, keep_out: Vec::new() }
    }
}

impl Reading {
    /// What was read with the nozzle at (x, y), all mm.
    #[must_use]
    pub fn new(x: f64, y: f64, value: f64) -> Reading {
        Reading { x, y, value, spread: None, line: None, column: None }
    }
}

impl Screws {
    /// Screws of `pitch` mm of height a turn, whose knobs raise the bed when turned as `raise` says; none yet.
    ///
    /// ```
    /// use evengap::card::{Screw, Screws, Turn};
    ///
    /// let mut screws = Screws::new(0.7, Turn::Clockwise);
    /// screws.at = vec![Screw::new("front left", 30.0, 30.0), Screw::new("front right", 200.0, 30.0), Screw::new("back", 115.0, 200.0)];
    /// assert_eq!(screws.at[2].name, "back");
    /// ```
    #[must_use]
    pub fn new(pitch: f64, raise: Turn) -> Self {
        Self { pitch, thread: None, raise, at: Vec::new() }
    }
}

impl Screw {
    /// A screw at X and Y, mm, that may be turned as far as one likes.
    #[must_use]
    pub fn new(name: impl Into<String>, x: f64, y: f64) -> Self {
        Self { name: name.into(), x, y, travel: None }
    }
}

/// As [`Card::parse`].
impl core::str::FromStr for Card {
    type Err = Error;

    fn from_str(text: &str) -> Result<Self, Error> {
        Card::parse(text)
    }
}

impl Unread {
    /// A point to read at nozzle X and Y, mm; its number is that of its place in the list that it is put into.
    #[must_use]
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y, number: 0, line: None, column: None }
    }
}

impl Card {
    /// A card without screws, print and machine: all that a map needs.
    ///
    /// ```
    /// use evengap::card::{Bed, Card, Method, Reading, Readings};
    ///
    /// let mut readings = Readings::new(Method::Drag);
    /// readings.sheet = Some(0.1);
    /// readings.points = vec![Reading::new(20.0, 20.0, 0.16), Reading::new(180.0, 20.0, 0.12), Reading::new(100.0, 180.0, 0.1)];
    /// let card = Card::new(Bed::new([0.0, 200.0], [0.0, 200.0]), readings);
    /// assert_eq!(Card::parse(&card.to_toml())?.digest(), card.digest());
    /// # Ok::<(), evengap::Error>(())
    /// ```
    #[must_use]
    pub fn new(bed: Bed, readings: Readings) -> Card {
        Card { bed, readings, screws: None, print: Print::default(), machine: Machine::default() }
    }

    /// Reads a card: TOML, or JSON when the first character that is not white space is `{`.
    ///
    /// # Errors
    ///
    /// [`ErrorKind::Card`] with line and column: text that is neither language, a key that is
    /// unknown, doubled, missing or another method's, a value of the wrong type or out of range, a reading that the nozzle
    /// cannot reach or that lies in a keep-out area. [`ErrorKind::Limit`] beyond the
    /// [limits](self#limits).
    pub fn parse(text: &str) -> Result<Card, Error> {
        read::card(text, read::Points::Must)
    }

    /// Reads a card that may have no points yet: what [`Card::parse`] reads, and also a card without `points` or with an empty list.
    ///
    /// # Errors
    ///
    /// As [`Card::parse`], but for the missing points.
    pub fn parse_without_points(text: &str) -> Result<Card, Error> {
        read::card(text, read::Points::May)
    }

    /// Reads a card whose readings stand in a CSV text of their own: `x,y,value` in mm, a header line or none.
    ///
    /// Blank lines and lines that start with `#` are passed over. The card must have no `points`. Lines and columns
    /// of the readings, and of errors in them, are the CSV's.
    ///
    /// ```
    /// # let card = "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n";
    /// let card = evengap::Card::parse_with_csv(card, "x,y,value\n10,10,0.12\n190,10,0.08\n100,190,0.15\n")?;
    /// assert_eq!(card.readings.points[2].line, Some(4));
    /// # Ok::<(), evengap::Error>(())
    /// ```
    ///
    /// # Errors
    ///
    /// As [`Card::parse`]; also a CSV line that does not hold three numbers.
    pub fn parse_with_csv(text: &str, csv: &str) -> Result<Card, Error> {
        read::card(text, read::Points::Csv(csv))
    }

    /// Twelve hex digits that name what the card says, however it is spelt.
    ///
    /// The first 48 bits of SHA-256 (FIPS 180-4) over a canonical list of the card's values. TOML and JSON spellings,
    /// comments, white space, the order of keys and `0.1` against `0.10` make no difference; the order of readings does.
    /// `[machine]` is left out: its limits say nothing of the bed, and a file that was rewritten before they were noted stays
    /// this card's.
    #[must_use]
    pub fn digest(&self) -> String {
        write::digest(self)
    }

    /// The card as TOML text that [`Card::parse`] reads to the same card.
    ///
    /// Comments are not kept: a card does not hold them.
    #[must_use]
    pub fn to_toml(&self) -> String {
        write::toml(self)
    }

    /// Each reading as a height, mm, in the card's order, before any `right_at` shift.
    ///
    /// A value that the method needs and that a card built in code lacks counts as 0; a card from text always has it.
    #[must_use]
    pub fn spot_heights(&self) -> Vec<SpotHeight> {
        let r = &self.readings;
        let [dx, dy] = match r.method {
            Method::Dial => r.offset.unwrap_or([0.0, 0.0]),
            Method::Drag | Method::Gauge | Method::Patch => [0.0, 0.0],
        };
        r.points
            .iter()
            .map(|p| SpotHeight { x: p.x + dx, y: p.y + dy, height: r.height_of(p.value), line: p.line })
            .collect()
    }
}

/// ```
/// use evengap::card::{Method, Reading, Readings, Unread};
///
/// let mut readings = Readings::new(Method::Drag);
/// readings.sheet = Some(0.1);
/// readings.points = vec![Reading::new(20.0, 20.0, 0.16), Reading::new(180.0, 20.0, 0.12)];
/// readings.unread = vec![Unread::new(100.0, 180.0)];
/// assert_eq!(readings.all_points().count(), 3);
/// // Where a sheet of 0.1 mm drags at 0.16, the bed stands at 0.06.
/// assert!((readings.height_of(0.16) - 0.06).abs() < 1e-12);
/// assert!((readings.value_of(0.06) - 0.16).abs() < 1e-12);
/// // No spread is given: a surface passes through every reading.
/// assert_eq!((readings.noise(), readings.spread_or_usual()), (None, 0.02));
/// // A reading that is half as sure weighs a quarter.
/// readings.points[0].spread = Some(0.04);
/// assert_eq!(readings.noise(), Some(0.02));
/// assert_eq!(readings.weights(), Some(vec![0.25, 1.0]));
/// ```
impl Readings {
    /// None yet, by this method; all else is unsaid. For a card that is built in code.
    #[must_use]
    pub fn new(method: Method) -> Readings {
        Readings {
            method,
            sheet: None,
            parked: None,
            offset: None,
            bed_celsius: None,
            nozzle_celsius: None,
            spread: None,
            right_at: None,
            predicted: false,
            points: Vec::new(),
            unread: Vec::new(),
        }
    }

    /// The height, mm, that a value on this card means, before any `right_at` shift.
    #[must_use]
    pub fn height_of(&self, value: f64) -> f64 {
        match self.method {
            Method::Drag => value - self.sheet.unwrap_or(0.0),
            Method::Gauge | Method::Patch => self.parked.unwrap_or(0.0) - value,
            Method::Dial => value,
        }
    }

    /// The value, mm, that a reading of this height would have had on this card: [`Readings::height_of`] backwards.
    #[must_use]
    pub fn value_of(&self, height: f64) -> f64 {
        match self.method {
            Method::Drag => height + self.sheet.unwrap_or(0.0),
            Method::Gauge | Method::Patch => self.parked.unwrap_or(0.0) - height,
            Method::Dial => height,
        }
    }

    /// The card's spread, mm, or the method's [usual one](Method::usual_spread) where the card gives none.
    #[must_use]
    pub fn spread_or_usual(&self) -> f64 {
        self.spread.unwrap_or_else(|| self.method.usual_spread())
    }

    /// The noise that a surface may count on, mm: the spread of a reading that has none of its own. `None` where the card gives no
    /// spread at all, and the surface is to pass through every reading.
    #[must_use]
    pub fn noise(&self) -> Option<f64> {
        let own = || self.points.iter().any(|p| p.spread.is_some());
        self.spread.or_else(|| own().then(|| self.method.usual_spread()))
    }

    /// Each reading's weight where some have a spread of their own: (noise / spread)^2. `None` where all weigh alike.
    #[must_use]
    pub fn weights(&self) -> Option<Vec<f64>> {
        let noise = self.noise().filter(|n| *n > 0.0)?;
        let weight = |p: &Reading| p.spread.map_or(1.0, |s| (noise / s) * (noise / s));
        self.points.iter().any(|p| p.spread.is_some()).then(|| self.points.iter().map(weight).collect())
    }

    /// The keys that hold one number.
    pub(crate) fn single_numbers(&self) -> [(&'static str, Option<f64>); 5] {
        [
            ("sheet", self.sheet),
            ("parked", self.parked),
            ("bed_celsius", self.bed_celsius),
            ("nozzle_celsius", self.nozzle_celsius),
            ("spread", self.spread),
        ]
    }

    /// All points, read or not, in the card's order.
    pub fn all_points(&self) -> impl Iterator<Item = Point> {
        let mut read = self.points.iter();
        let mut unread = self.unread.iter().peekable();
        (1..=self.points.len() + self.unread.len()).filter_map(move |number| {
            // A number that does not fit (in a card built by code) comes when the readings have run out.
            let due = unread.peek().is_some_and(|u| u.number <= number);
            let next_read = if due { None } else { read.next().map(|p| Point::Read(*p)) };
            next_read.or_else(|| unread.next().map(|u| Point::Unread(*u)))
        })
    }
}

/// ```
/// use evengap::card::Method;
///
/// assert_eq!((Method::Dial.word(), Method::Dial.usual_spread()), ("dial", 0.01));
/// ```
impl Method {
    /// One standard deviation of a reading, mm, as the method usually gives it.
    ///
    /// Common practice, no source: `drag` 0.02; `gauge` 0.015, for leaves 0.05 apart (a uniform half-step is
    /// step / sqrt(12)); `patch` 0.015, the middle of 0.01 to 0.02; `dial` 0.01.
    #[must_use]
    pub fn usual_spread(self) -> f64 {
        match self {
            Method::Drag => 0.02,
            Method::Gauge | Method::Patch => 0.015,
            Method::Dial => 0.01,
        }
    }

    /// The method's word on a card.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Method::Drag => "drag",
            Method::Gauge => "gauge",
            Method::Patch => "patch",
            Method::Dial => "dial",
        }
    }
}

/// ```
/// assert_eq!(evengap::card::Turn::Anticlockwise.word(), "anticlockwise");
/// ```
impl Turn {
    /// The word on a card.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Turn::Clockwise => "clockwise",
            Turn::Anticlockwise => "anticlockwise",
        }
    }
}

/// ```
/// use evengap::card::{Bed, Outline};
///
/// let mut bed = Bed::new([0.0, 200.0], [0.0, 200.0]);
/// bed.keep_out = vec![[0.0, 90.0, 10.0, 110.0]]; // a clip
/// assert_eq!(bed.keep_out_at(5.0, 100.0), Some([0.0, 90.0, 10.0, 110.0]));
/// assert!(bed.reaches(1.0, 1.0));
/// bed.outline = Outline::Round;
/// assert!(!bed.reaches(1.0, 1.0));
/// ```
impl Bed {
    /// Whether the nozzle reaches (x, y), mm: within `x` and `y`, and within the ellipse where the plate is round.
    ///
    /// The edge counts; a millionth of a millimetre beyond it is forgiven. Keep-out areas are not looked at.
    #[must_use]
    pub fn reaches(&self, x: f64, y: f64) -> bool {
        const SLACK: f64 = 1e-6;
        match self.outline {
            Outline::Rectangle => {
                x >= self.x[0] - SLACK && x <= self.x[1] + SLACK && y >= self.y[0] - SLACK && y <= self.y[1] + SLACK
            }
            Outline::Round => {
                let (rx, ry) = (0.5 * (self.x[1] - self.x[0]) + SLACK, 0.5 * (self.y[1] - self.y[0]) + SLACK);
                let (u, v) = ((x - 0.5 * (self.x[0] + self.x[1])) / rx, (y - 0.5 * (self.y[0] + self.y[1])) / ry);
                u * u + v * v <= 1.0
            }
        }
    }

    /// A card from text cannot fail this; one built by code can.
    pub(crate) fn check(&self) -> Result<(), Error> {
        let sound = |v: &f64| v.is_finite() && v.abs() <= MAX_COORDINATE;
        let all = self.x.iter().chain(&self.y).chain(self.keep_out.as_flattened()).all(sound);
        if all && self.x[1] - self.x[0] >= 1.0 && self.y[1] - self.y[0] >= 1.0 {
            return Ok(());
        }
        Err(Error::new(ErrorKind::Card, "the bed's reach or its keep-out areas are no usable numbers"))
    }

    /// The keep-out area, if any, that (x, y), mm, lies inside. Its edge is outside.
    #[must_use]
    pub fn keep_out_at(&self, x: f64, y: f64) -> Option<[f64; 4]> {
        self.keep_out.iter().copied().find(|k| x > k[0] && x < k[2] && y > k[1] && y < k[3])
    }
}

/// mm a turn of the coarse metric thread of that name, `None` for a name that is not in the table.
///
/// Source: ISO 261:1998 and ISO 262:1998, coarse pitches: M2 0.4, M2.5 0.45, M3 0.5, M3.5 0.6, M4 0.7, M5 0.8, M6 1, M7 1,
/// M8 1.25.
///
/// ```
/// assert_eq!(evengap::card::coarse_pitch("M4"), Some(0.7));
/// ```
#[must_use]
pub fn coarse_pitch(thread: &str) -> Option<f64> {
    COARSE.iter().find(|(name, _)| *name == thread).map(|&(_, pitch)| pitch)
}

const COARSE: [(&str, f64); 9] = [
    ("M2", 0.4),
    ("M2.5", 0.45),
    ("M3", 0.5),
    ("M3.5", 0.6),
    ("M4", 0.7),
    ("M5", 0.8),
    ("M6", 1.0),
    ("M7", 1.0),
    ("M8", 1.25),
];

impl Serialize for Reading {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.spread {
            Some(spread) => [self.x, self.y, self.value, spread].serialize(serializer),
            None => [self.x, self.y, self.value].serialize(serializer),
        }
    }
}

impl Serialize for Point {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Point::Read(reading) => reading.serialize(serializer),
            Point::Unread(unread) => [unread.x, unread.y].serialize(serializer),
        }
    }
}

impl Serialize for Readings {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        struct Points<'a>(&'a Readings);
        impl Serialize for Points<'_> {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_seq(self.0.all_points())
            }
        }
        let mut out = serializer.serialize_map(None)?;
        out.serialize_entry("method", &self.method)?;
        for (key, value) in self.single_numbers() {
            if let Some(value) = value {
                out.serialize_entry(key, &value)?;
            }
        }
        for (key, value) in [("offset", self.offset), ("right_at", self.right_at)] {
            if let Some(value) = value {
                out.serialize_entry(key, &value)?;
            }
        }
        if self.predicted {
            out.serialize_entry("predicted", &true)?;
        }
        out.serialize_entry("points", &Points(self))?;
        out.end()
    }
}

impl Serialize for Screws {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        struct Places<'a>(&'a [Screw], fn(&Screw) -> Option<[f64; 2]>);
        impl Serialize for Places<'_> {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                let mut map = serializer.serialize_map(None)?;
                for screw in self.0 {
                    if let Some(two) = self.1(screw) {
                        map.serialize_entry(&screw.name, &two)?;
                    }
                }
                map.end()
            }
        }
        let mut out = serializer.serialize_map(None)?;
        match &self.thread {
            Some(thread) => out.serialize_entry("thread", thread)?,
            None => out.serialize_entry("pitch", &self.pitch)?,
        }
        out.serialize_entry("raise", &self.raise)?;
        out.serialize_entry("at", &Places(&self.at, |s| Some([s.x, s.y])))?;
        if self.at.iter().any(|s| s.travel.is_some()) {
            out.serialize_entry("travel", &Places(&self.at, |s| s.travel))?;
        }
        out.end()
    }
}
