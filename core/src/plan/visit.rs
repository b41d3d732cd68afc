//! The visiting program: carries the nozzle to the points of a card, one after another, and waits at each.

use crate::card::{Card, Method, Unread};
use crate::cautions::RUNNING;
use crate::number::Shown;
use crate::program::{Program, Speeds, corner, grained, out_of_range, place};
use crate::{Error, ErrorKind};

/// Most points of a visiting program.
pub const MAX_STOPS: usize = 1_000;

/// How far below the safe height the nozzle's height for reading must lie, mm, so that rising clears what lies on the bed.
const LEAST_RISE: f64 = 1.0;

/// The least time to fix an indicator to the carriage, s, where the program does not wait for the person (a guess, no source).
const FIXING: f64 = 180.0;

/// A point to stop at.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(clippy::exhaustive_structs, reason = "a program writes it down whole")]
pub struct Stop {
    /// Its number, as the card and the sheet of paper have it.
    pub number: usize,
    /// Nozzle X, mm.
    pub x: f64,
    /// Nozzle Y, mm.
    pub y: f64,
}

impl From<&Unread> for Stop {
    fn from(point: &Unread) -> Stop {
        Stop { number: point.number, x: point.x, y: point.y }
    }
}

/// What the program waits for at a point.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Wait {
    /// Until the person resumes at the machine (M0).
    #[default]
    Person,
    /// So many seconds (G4 S): 1 to 3600.
    Seconds(f64),
}

/// How to visit. [`Default`]: safe height 10 mm, waiting for the person, speeds as the card's `[print]`, motors off at the end.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct VisitOptions {
    /// Z of all travel, mm: above clips and whatever else stands on the bed. 1 to 500, and at least 1 mm above the height for reading.
    /// Default 10.
    pub safe_height: f64,
    /// `dial`: Z of the nozzle while the indicator is read, mm: the same at all points. Needed for `dial`, of no use otherwise.
    pub dial_height: Option<f64>,
    /// What to wait for at each point.
    pub wait: Wait,
    /// Seconds to let the bed settle when it has reached its temperature, 0 to 3600. Default 0.
    pub settle: f64,
    /// Where homing leaves the nozzle, mm. Default: the front left corner, or another where that is kept out of; the middle of a
    /// round bed. The first travel goes there.
    pub home: Option<[f64; 2]>,
    /// Where the nozzle waits at the end, mm. Default: the back left corner, or another; the middle of a round bed.
    pub park: Option<[f64; 2]>,
    /// Speed of travel in X and Y, mm/s, 1 to 1000. Default: the card's `travel_speed`, or the usual one.
    pub travel_speed: Option<f64>,
    /// Speed of rising, mm/s, 0.1 to 100. Default 10.
    pub up_speed: f64,
    /// Speed of coming down, mm/s, 0.1 to 100. Default 5.
    pub down_speed: f64,
    /// Whether the motors are switched off at the end. Default true.
    pub motors_off: bool,
}

impl Default for VisitOptions {
    fn default() -> Self {
        VisitOptions {
            safe_height: 10.0,
            dial_height: None,
            wait: Wait::Person,
            settle: 0.0,
            home: None,
            park: None,
            travel_speed: None,
            up_speed: 10.0,
            down_speed: 5.0,
            motors_off: true,
        }
    }
}

/// A program that visits `stops` in their order, for the card's method.
///
/// It heats to the card's temperatures and waits (a temperature that the card does not give is left alone), homes, rises, and for each
/// stop: travels at the safe height, comes down, waits, rises. At the end it parks at the safe height and switches the heaters off.
///
/// | method | comes down to |
/// | --- | --- |
/// | `drag` | stays at the safe height: the person lowers the nozzle by hand |
/// | `gauge`, `patch` | the card's `parked` |
/// | `dial` | [`VisitOptions::dial_height`]; places are the nozzle's |
///
/// For `dial` it waits at the home place for the indicator to be fixed (at least 180 s where it goes by the clock): a plunger that hangs
/// below the nozzle while the printer homes is driven into the bed. After each wait for the person G90 comes again, since nozzles are
/// often lowered by relative moves.
///
/// What holds for every program, for places rounded to 0.001 mm as they are written:
///
/// - From homing on X and Y change only at the safe height, and Z never goes below the height for reading.
/// - No travel between two places that are named goes through a keep-out area; it goes round. For `dial` that holds of the plunger,
///   at its offset from the nozzle, as well. The one travel that nobody can vouch for is the first, from where homing left the nozzle
///   to [`VisitOptions::home`]: it is at the safe height too, and none at all where `home` is right.
///
/// Places and heights are mm, temperatures degrees Celsius. Words are those of RS-274/NGC (NISTIR 6556) or common practice; `G4 S` is
/// seconds, as the trade has it.
///
/// ```
/// use evengap::Card;
/// use evengap::plan::{Stop, VisitOptions, visit};
/// let card = Card::parse(r#"
/// [bed]
/// x = [0, 200]
/// y = [0, 200]
/// [readings]
/// method = "gauge"
/// parked = 0.3
/// bed_celsius = 60
/// nozzle_celsius = 200
/// points = [[30, 30], [170, 30], [100, 170]]
/// "#)?;
/// let stops: Vec<Stop> = card.readings.unread.iter().map(Stop::from).collect();
/// let program = visit(&card, &stops, &VisitOptions::default())?;
/// assert!(program.contains("G0 X30 Y30 F4800\nG0 Z0.3 F300\nM117 Point 1 of 3: X30 Y30\nM0\nG90\nG0 Z10 F600\n"));
/// # Ok::<(), evengap::Error>(())
/// ```
///
/// # Errors
///
/// [`ErrorKind::Options`]: no stops; a stop, `home` or `park` that is off the bed or in a keep-out area (for `dial`, also where the
/// plunger would be); no way between two stops; a height, speed or time out of its range; a bed above 200 or a nozzle above 500 degrees; a missing `dial_height`.
/// [`ErrorKind::Limit`]: more than [`MAX_STOPS`] stops, or too many keep-out areas to find ways round.
pub fn visit(card: &Card, stops: &[Stop], options: &VisitOptions) -> Result<String, Error> {
    card.bed.check()?;
    let low = reading_height(card, options)?;
    let travel = options.travel_speed.unwrap_or_else(|| card.print.travel_speed());
    check_options(options, travel)?;
    if stops.is_empty() {
        return Err(
            fault("there is no point to visit").with_help("a point to read stands in the card's list as [x, y]")
        );
    }
    if stops.len() > MAX_STOPS {
        let message = format!("{} points are too many to visit; {MAX_STOPS} is the most", stops.len());
        return Err(Error::new(ErrorKind::Limit, message));
    }
    let offset = card.readings.offset.filter(|_| card.readings.method == Method::Dial);
    let speeds = Speeds { travel, up: options.up_speed, down: options.down_speed };
    let mut program = Program::new(card, offset, options.safe_height, speeds)?;
    let places: Vec<[f64; 2]> = stops.iter().map(|s| [grained(s.x), grained(s.y)]).collect();
    for (stop, at) in stops.iter().zip(&places) {
        check_place(card, &program, offset, *at, &format!("point {}", stop.number), card_place(card, stop))?;
    }
    for (at, name) in [(options.home, "the home place"), (options.park, "the parking place")] {
        if let Some(at) = at {
            check_place(card, &program, offset, at.map(grained), name, None)?;
        }
    }
    let home =
        options.home.unwrap_or_else(|| corner(card, program.ways(), [[0, 0], [1, 0], [0, 1], [1, 1]], places[0]));
    let last = places[places.len() - 1];
    let park = options.park.unwrap_or_else(|| corner(card, program.ways(), [[0, 1], [1, 1], [0, 0], [1, 0]], last));

    head(&mut program, card, stops.len(), low, options);
    let warm = |celsius: Option<f64>| celsius.filter(|c| *c > 0.0);
    program.start(warm(card.readings.bed_celsius), warm(card.readings.nozzle_celsius))?;
    if options.settle > 0.0 {
        program.comment("The bed takes its shape.");
        program.wait(options.settle);
    }
    program.travel(home)?;
    if card.readings.method == Method::Dial {
        program.comment("Fix the indicator now. It was not there while the printer homed.");
        program.display("Fix the indicator now");
        wait(&mut program, options.wait, FIXING);
        program.rise();
    }
    let total = stops.len();
    for (n, (stop, at)) in stops.iter().zip(&places).enumerate() {
        let (x, y) = (place(at[0]), place(at[1]));
        let number = stop.number;
        let order = if number == n + 1 { String::new() } else { format!(" (number {} of this round)", n + 1) };
        program.comment(&format!("point {number}{order}: X {x} Y {y}"));
        program.travel(*at)?;
        if let Some(z) = low {
            program.come_down(z);
        }
        let of = if number == n + 1 { format!("of {total}") } else { format!("({} of {total})", n + 1) };
        program.display(&format!("Point {number} {of}: X{x} Y{y}"));
        wait(&mut program, options.wait, 0.0);
        program.rise();
    }
    program.comment("The end: park, then the heaters go off. Nozzle and bed stay hot for a while.");
    program.finish(park.map(grained), options.motors_off)
}

/// Waits as asked for, by the clock at least `least` s.
fn wait(program: &mut Program, how: Wait, least: f64) {
    match how {
        Wait::Person => program.wait_for_person(),
        Wait::Seconds(seconds) => program.wait(seconds.max(least)),
    }
}

fn fault(message: impl Into<String>) -> Error {
    Error::new(ErrorKind::Options, message)
}

/// Z while reading, mm; `None` where the nozzle stays up.
fn reading_height(card: &Card, options: &VisitOptions) -> Result<Option<f64>, Error> {
    let (low, name) = match card.readings.method {
        Method::Drag => return Ok(None),
        Method::Gauge | Method::Patch => (card.readings.parked, "the card's `parked`"),
        Method::Dial => (options.dial_height, "the nozzle's height while the dial is read"),
    };
    let Some(low) = low else {
        return Err(
            fault(format!("{name} is missing")).with_help("give the nozzle's Z at which each point is read, in mm")
        );
    };
    // As it is written.
    let written = grained(low);
    if written.is_nan() || written <= 0.0 {
        return Err(fault(format!("{name} is {} mm, and the nozzle must stay above Z = 0", Shown(low)))
            .with_help("a feeler gauge or a patch wants a few tenths of a millimetre under the nozzle"));
    }
    if options.safe_height.is_nan() || low + LEAST_RISE > options.safe_height {
        return Err(fault(format!(
            "the safe height, {} mm, is not {} mm above {name}, {} mm",
            Shown(options.safe_height),
            Shown(LEAST_RISE),
            Shown(low)
        )));
    }
    Ok(Some(written))
}

fn check_options(o: &VisitOptions, travel: f64) -> Result<(), Error> {
    let seconds = match o.wait {
        Wait::Person => 1.0,
        Wait::Seconds(seconds) => seconds,
    };
    for (value, low, high, name, unit) in [
        (o.safe_height, 1.0, 500.0, "a safe height", "mm"),
        (seconds, 1.0, 3600.0, "a wait", "seconds"),
        (o.settle, 0.0, 3600.0, "a time to settle", "seconds"),
        (travel, 1.0, 1000.0, "a travel speed", "mm/s"),
        (o.up_speed, 0.1, 100.0, "a speed of rising", "mm/s"),
        (o.down_speed, 0.1, 100.0, "a speed of coming down", "mm/s"),
    ] {
        if !(low..=high).contains(&value) {
            return Err(fault(out_of_range(name, value, [low, high], unit)));
        }
    }
    Ok(())
}

/// Line and column of a stop that stands on the card.
fn card_place(card: &Card, stop: &Stop) -> Option<(u64, u64)> {
    #[expect(clippy::float_cmp, reason = "the same point has the same bits")]
    let same = |x: f64, y: f64| x == stop.x && y == stop.y;
    let unread = card.readings.unread.iter().find(|u| same(u.x, u.y)).map(|u| (u.line, u.column));
    let read = || card.readings.points.iter().find(|p| same(p.x, p.y)).map(|p| (p.line, p.column));
    let (line, column) = unread.or_else(read)?;
    Some((line?, column.unwrap_or(1)))
}

fn check_place(
    card: &Card,
    program: &Program,
    offset: Option<[f64; 2]>,
    at: [f64; 2],
    name: &str,
    on_card: Option<(u64, u64)>,
) -> Result<(), Error> {
    if program.ways().allows(at) {
        return Ok(());
    }
    let (x, y) = (place(at[0]), place(at[1]));
    let area = |k: [f64; 4]| format!("the keep-out area [{}]", k.map(|n| Shown(n).to_string()).join(", "));
    let plunger = offset.and_then(|[dx, dy]| card.bed.keep_out_at(at[0] + dx, at[1] + dy));
    let message = match (card.bed.keep_out_at(at[0], at[1]), plunger) {
        _ if !card.bed.reaches(at[0], at[1]) => format!("{name}, ({x}, {y}), is outside the bed"),
        (Some(k), _) => format!("{name}, ({x}, {y}), lies in {}", area(k)),
        (None, Some(k)) => format!("at {name}, ({x}, {y}), the dial's plunger would be in {}", area(k)),
        (None, None) => format!("{name}, ({x}, {y}), lies within rounding of a keep-out area"),
    };
    let error = fault(message).with_help("the nozzle must not go there: choose another place, or set the area right");
    Err(match on_card {
        Some((line, column)) => error.at(line, column),
        None => error,
    })
}

fn head(program: &mut Program, card: &Card, stops: usize, low: Option<f64>, options: &VisitOptions) {
    let r = &card.readings;
    let safe = place(options.safe_height);
    program.comment(&format!(
        "Visiting program for the probe card {}, by evengap {}",
        card.digest(),
        env!("CARGO_PKG_VERSION")
    ));
    let points = if stops == 1 { "1 point".to_owned() } else { format!("{stops} points") };
    program.comment(&match (r.method, low) {
        (Method::Drag, _) | (_, None) => format!(
            "{points}, with a sheet under the nozzle. The nozzle stays at Z {safe}: lower it by hand until the sheet just drags."
        ),
        (Method::Gauge, Some(z)) => format!("{points}, with feeler gauges under the nozzle at Z {}", place(z)),
        (Method::Patch, Some(z)) => format!("{points}, for patches with the nozzle at Z {}", place(z)),
        (Method::Dial, Some(z)) => format!("{points}, with a dial indicator; the nozzle comes down to Z {}", place(z)),
    });
    if let Some(z) = low {
        let z = place(z);
        program.comment(&format!(
            "Caution: where the bed stands higher than Z {z} the nozzle meets it. Watch it come down at each point."
        ));
    }
    if r.method == Method::Dial {
        program.comment("Caution: no indicator on the carriage before the display asks for it. Homing would drive its plunger into the bed.");
    }
    program.comment(&match options.wait {
        Wait::Person => "Read, write it down, and resume at the machine.".to_owned(),
        Wait::Seconds(s) => format!("It goes on by itself after {} seconds at each point.", Shown(s)),
    });
    for (celsius, part) in [(r.bed_celsius, "bed"), (r.nozzle_celsius, "nozzle")] {
        if celsius.is_none_or(|c| c <= 0.0) {
            program
                .comment(&format!("The card gives no {part} temperature: heat the {part} as for a print beforehand."));
        }
    }
    program.comment(&format!(
        "Travel is at Z {safe}. From homing the nozzle first goes to the home place at that height."
    ));
    for caution in RUNNING {
        program.comment(&format!("Caution: {caution}"));
    }
}

#[cfg(test)]
mod tests;
