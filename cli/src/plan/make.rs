//! A card made from options alone.

use super::edit::Draft;
use crate::report::Failure;
use clap::ValueEnum;
use evengap::Card;
use evengap::card::{Bed, Outline, Readings};
use evengap::plan::card_text;

/// What a new card says; the points come after.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "A new card")]
pub(super) struct New {
    /// Lowest and highest X that the nozzle reaches, in mm
    #[arg(long, value_name = "FROM..TO", value_parser = range, allow_hyphen_values = true, conflicts_with = "card", required_unless_present = "card")]
    bed_x: Option<[f64; 2]>,
    /// Lowest and highest Y, in mm
    #[arg(long, value_name = "FROM..TO", value_parser = range, allow_hyphen_values = true, conflicts_with = "card", required_unless_present = "card")]
    bed_y: Option<[f64; 2]>,
    /// The bed is round: the ellipse that fits X and Y
    #[arg(long, conflicts_with = "card")]
    round: bool,
    /// A clip or clamp to stay away from, in mm; may be given more than once
    #[arg(long, value_name = "X0,Y0,X1,Y1", value_parser = numbers::<4>, allow_hyphen_values = true, conflicts_with = "card")]
    keep_out: Vec<[f64; 4]>,
    /// How you read: see below
    #[arg(long, value_enum, conflicts_with = "card", required_unless_present = "card")]
    method: Option<Method>,
    /// drag: the sheet's thickness, in mm; office paper is about 0.1, measure yours
    #[arg(long, value_name = "MM", conflicts_with = "card", required_if_eq("method", "drag"))]
    sheet: Option<f64>,
    /// gauge, patch: the nozzle's Z while reading or printing, in mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true, conflicts_with = "card", required_if_eq_any([("method", "gauge"), ("method", "patch")]))]
    parked: Option<f64>,
    /// dial: the plunger's place from the nozzle, in mm
    #[arg(long, value_name = "X,Y", value_parser = numbers::<2>, allow_hyphen_values = true, conflicts_with = "card", required_if_eq("method", "dial"))]
    offset: Option<[f64; 2]>,
    /// Where the first layer is right as it is, in mm: the map is 0 there. dial needs it
    #[arg(long, value_name = "X,Y", value_parser = numbers::<2>, allow_hyphen_values = true, conflicts_with = "card", required_if_eq("method", "dial"))]
    right_at: Option<[f64; 2]>,
    /// Of the bed while reading, in degrees Celsius
    #[arg(long, value_name = "DEGREES", conflicts_with = "card")]
    bed_celsius: Option<f64>,
    /// Of the nozzle while reading, in degrees Celsius
    #[arg(long, value_name = "DEGREES", conflicts_with = "card")]
    nozzle_celsius: Option<f64>,
    /// How well a reading repeats, one standard deviation, in mm
    #[arg(long, value_name = "MM", conflicts_with = "card")]
    spread: Option<f64>,
}

/// How readings are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Method {
    Drag,
    Gauge,
    Patch,
    Dial,
}

impl From<Method> for evengap::card::Method {
    fn from(method: Method) -> Self {
        match method {
            Method::Drag => evengap::card::Method::Drag,
            Method::Gauge => evengap::card::Method::Gauge,
            Method::Patch => evengap::card::Method::Patch,
            Method::Dial => evengap::card::Method::Dial,
        }
    }
}

impl New {
    /// The card with comments, without points. What it says is checked as any card is.
    pub(super) fn draft(&self) -> Result<Draft, Failure> {
        let (Some(x), Some(y), Some(method)) = (self.bed_x, self.bed_y, self.method) else {
            return Err(Failure::wrong_usage("a new card needs --bed-x, --bed-y and --method"));
        };
        let mut bed = Bed::new(x, y);
        bed.outline = if self.round { Outline::Round } else { Outline::Rectangle };
        bed.keep_out.clone_from(&self.keep_out);
        let mut readings = Readings::new(method.into());
        readings.sheet = self.sheet;
        readings.parked = self.parked;
        readings.offset = self.offset;
        readings.bed_celsius = self.bed_celsius;
        readings.nozzle_celsius = self.nozzle_celsius;
        readings.spread = self.spread;
        readings.right_at = self.right_at;
        let card = Card::new(bed, readings);
        Draft::read(card_text(&card), "the card made from the options".to_owned())
    }
}

/// For clap: `5x5`.
pub(super) fn grid(text: &str) -> Result<(usize, usize), String> {
    let wrong = || "write columns x rows, as in 5x5".to_owned();
    let (columns, rows) = text.split_once(['x', 'X']).ok_or_else(wrong)?;
    match (columns.trim().parse(), rows.trim().parse()) {
        (Ok(columns), Ok(rows)) => Ok((columns, rows)),
        _ => Err(wrong()),
    }
}

/// For clap: `0..235`.
fn range(text: &str) -> Result<[f64; 2], String> {
    let (from, to) = text.split_once("..").ok_or_else(|| "write FROM..TO, as in 0..235".to_owned())?;
    Ok([number(from)?, number(to)?])
}

/// For clap: numbers with commas between them.
fn numbers<const N: usize>(text: &str) -> Result<[f64; N], String> {
    let list: Vec<f64> = text.split(',').map(number).collect::<Result<_, _>>()?;
    list.try_into().map_err(|list: Vec<f64>| format!("{N} numbers are needed, and {} stand here", list.len()))
}

fn number(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(n) if n.is_finite() => Ok(n),
        _ => Err(format!("\"{text}\" is not a number of millimetres")),
    }
}
