//! The test print: single-layer patches whose thickness is measured, and the card corrected by them.
//!
//! [`trial`] writes a toolpath of square patches, one at each point of the card. Printed by following the bed they should all be as
//! thick as the layer is high; what they differ by is the map's error. [`correct()`] puts it right.
//!
//! The filament for a line follows from its cross-section, a stadium ([`bead_area`]). Between patches the nozzle rises by 1 mm and the
//! filament is pulled back by 1 mm, modest values that suit most machines (common practice, no source), and it travels round keep-out
//! areas.

pub mod bead;
pub mod correct;
mod digits;
mod layout;
#[cfg(test)]
mod tests;

pub use bead::{bead_area, filament_per_mm, line_spacing};
pub use correct::{Measured, Nozzle, correct};
pub use layout::Patch;

use crate::card::{Card, MAX_COORDINATE, Print};
use crate::cautions::PRINTING;
use crate::follow::{Options, Summary, Taper, rewrite};
use crate::number::{Shown, pair};
use crate::program::{HOTTEST, Program, Speeds, corner, out_of_range, place};
use crate::{Error, ErrorKind, HeightMap};
use layout::{Layout, fill, layout};

/// Most patches of one test print.
pub const MAX_PATCHES: usize = 400;
/// The smallest patch, mm: calipers need something to hold.
pub const SMALLEST_PATCH: f64 = 5.0;
/// The largest patch, mm.
pub const LARGEST_PATCH: f64 = 100.0;
/// How far the nozzle rises between patches, mm.
const HOP: f64 = 1.0;
/// How far the filament is pulled back, mm, and how fast, mm/s.
const PULLED_BACK: [f64; 2] = [1.0, 25.0];
/// Z of the first and the last travel, mm.
const HIGH: f64 = 10.0;
/// The least gap under the nozzle of a flat test print, mm: less lets nothing out.
const LEAST_GAP: f64 = 0.05;

/// The coolest nozzle that prints, degrees Celsius (common practice, no source).
const COLDEST_NOZZLE: f64 = 100.0;

/// What to print. [`Default`]: patches of 20 mm at the card's points, following the bed, without skirt and numbers.
///
/// With `serde`, what is left out has its default; a name that is unknown is an error.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct TrialOptions {
    /// Side of a patch, mm, 5 to 100. It is printed a little smaller where whole lines want that. Default 20.
    pub patch: f64,
    /// Places of the patches, mm; `None`: where the card's points are on the bed (for `dial` the plunger's places), read or not, one patch
    /// for a place.
    pub at: Option<Vec<[f64; 2]>>,
    /// Print at the same Z everywhere instead of following the bed. Default false.
    pub flat: bool,
    /// A line round all patches, where there is room. Default false.
    pub skirt: bool,
    /// Each patch's number beside it, where there is room. Default false.
    pub numbers: bool,
    /// Values that come before the card's `[print]`, in its units.
    pub print: Print,
    /// Bed temperature, degrees Celsius, instead of the card's.
    pub bed_celsius: Option<f64>,
    /// Nozzle temperature, degrees Celsius, instead of the card's: readings are often taken with a cooler nozzle.
    pub nozzle_celsius: Option<f64>,
}

impl Default for TrialOptions {
    fn default() -> Self {
        TrialOptions {
            patch: 20.0,
            at: None,
            flat: false,
            skirt: false,
            numbers: false,
            print: Print::default(),
            bed_celsius: None,
            nozzle_celsius: None,
        }
    }
}

/// A test print.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify), tsify(missing_as_null))]
#[non_exhaustive]
pub struct Trial {
    /// The toolpath.
    #[serde(skip)]
    pub text: String,
    /// The patches, in the order in which they are printed.
    pub patches: Vec<Patch>,
    /// Whether all is printed at one Z.
    pub flat: bool,
    /// Height of the layer, mm: what a patch should measure where it follows the bed.
    pub layer_height: f64,
    /// Width of a line, mm.
    pub line_width: f64,
    /// Filament used, mm.
    pub filament: f64,
    /// Time for the moves, s, without heating and without the time that a machine needs to gather speed.
    pub seconds: f64,
    /// What had to be moved or left out, and what the rewriter warned of.
    pub notes: Vec<String>,
    /// What following the bed did; `None` for a flat test print.
    pub followed: Option<Summary>,
}

/// The values in force: the options' before the card's.
fn print_of(card: &Card, options: &TrialOptions) -> Print {
    let (first, then) = (&options.print, &card.print);
    Print {
        filament: first.filament.or(then.filament),
        line_width: first.line_width.or(then.line_width),
        layer_height: first.layer_height.or(then.layer_height),
        print_speed: first.print_speed.or(then.print_speed),
        travel_speed: first.travel_speed.or(then.travel_speed),
    }
}

/// Where the patches of a test print lie, without writing it: for thicknesses that come back by number.
///
/// # Errors
///
/// As [`trial`], as far as the patches' places are concerned.
pub fn patches(card: &Card, options: &TrialOptions) -> Result<Vec<Patch>, Error> {
    let print = print_of(card, options);
    card.bed.check()?;
    check(options, &print)?;
    Ok(layout(card, options, &print)?.patches)
}

/// Writes the test print.
///
/// Patches that do not fit where their point is (at the bed's edge, beside a clip) are moved by less than half their side; where that
/// does not do, they are left out: [`Trial::notes`] says so. The order is the points'. Extrusion is absolute (M82), from `G92 E0`.
///
/// Unless `flat`, the flat toolpath goes through the project's own rewriter ([`crate::follow`]) with no taper, so that its contract holds:
/// Z within 0.005 mm of the layer's height above the map, filament as in the flat one.
///
/// # Errors
///
/// [`ErrorKind::Options`]: a value out of its range, a line narrower than high, patches that would lie on one another, no patch that fits, no nozzle
/// temperature, one out of 100 to 500 degrees, a bed above 200 degrees; a flat test print over a bed that comes nearer than 0.05 mm to the nozzle. [`ErrorKind::Limit`]: more than
/// [`MAX_PATCHES`] patches. [`ErrorKind::Floor`] and [`ErrorKind::Refused`] from the rewriter: a bed that lies below Z = 0 by more
/// than the layer is high, heights over 2 mm.
///
/// ```
/// use evengap::trial::{TrialOptions, trial};
/// use evengap::{Card, HeightMap, SurfaceKind};
/// let card = Card::parse(r#"
/// [bed]
/// x = [0, 200]
/// y = [0, 200]
/// [readings]
/// method = "drag"
/// sheet = 0.1
/// nozzle_celsius = 205
/// points = [[30, 30, 0.1], [170, 30, 0.2], [100, 170, 0.1]]
/// "#)?;
/// let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let print = trial(&card, &map, &TrialOptions::default())?;
/// assert_eq!(print.patches.len(), 3);
/// # Ok::<(), evengap::Error>(())
/// ```
pub fn trial(card: &Card, map: &HeightMap, options: &TrialOptions) -> Result<Trial, Error> {
    let print = print_of(card, options);
    card.bed.check()?;
    check(options, &print)?;
    let warm = |celsius: Option<f64>| celsius.filter(|c| *c > 0.0);
    let bed_celsius = warm(options.bed_celsius.or(card.readings.bed_celsius));
    let Some(nozzle_celsius) = warm(options.nozzle_celsius.or(card.readings.nozzle_celsius)) else {
        return Err(fault("the nozzle's temperature is missing")
            .with_help("give it, or put nozzle_celsius = 205 (your filament's) into the card's [readings]"));
    };
    if nozzle_celsius < COLDEST_NOZZLE {
        return Err(fault(format!(
            "a nozzle of {} degrees melts nothing: {} is the least",
            Shown(nozzle_celsius),
            Shown(COLDEST_NOZZLE)
        ))
        .with_help("the card's readings were taken with a cooler nozzle: give the temperature of a print"));
    }
    let (width, height) = (print.line_width(), print.layer_height());
    if options.flat {
        check_flat(map, height)?;
    }
    let Layout { patches, numbers, purge, skirt, mut notes } = layout(card, options, &print)?;
    if bed_celsius.is_none() {
        notes.push(
            "no bed temperature is given: heat the bed as for a print beforehand; it is switched off at the end"
                .to_owned(),
        );
    }
    let speeds = Speeds { travel: print.travel_speed(), up: 10.0, down: 5.0 };
    let mut writer = Writer {
        program: Program::new(card, None, HIGH, speeds)?,
        height,
        filament: filament_per_mm(width, height, print.filament()),
        speed: print.print_speed(),
        pushed: 0.0,
    };
    writer.head(card, options, &print, &patches);
    let home = corner(card, writer.program.ways(), [[0, 0], [1, 0], [0, 1], [1, 1]], [patches[0].x, patches[0].y]);
    let park = corner(card, writer.program.ways(), [[0, 1], [1, 1], [0, 0], [1, 0]], home);
    writer.program.start(bed_celsius, Some(nozzle_celsius))?;
    writer.program.filament_starts();
    writer.program.travel(home)?;
    // The nozzle waits with the filament pulled back, as between patches.
    writer.program.push(-PULLED_BACK[0], PULLED_BACK[1]);
    writer.program.set_safe(height + HOP);
    if let Some([from, to]) = purge {
        writer.program.comment("purge line");
        let behind = from[1] + line_spacing(width, height);
        writer.path(&[from, to, [to[0], behind], [from[0], behind]])?;
    }
    if let Some([x0, y0, x1, y1]) = skirt {
        writer.program.comment("skirt");
        writer.path(&[[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]])?;
    }
    for (patch, number) in patches.iter().zip(&numbers) {
        let (x, y) = (place(patch.x), place(patch.y));
        writer.program.comment(&format!("patch {}: middle at X {x} Y {y}", patch.number));
        writer.path(&fill(patch, width, height))?;
        for stroke in number.iter().flat_map(|at| digits::strokes(patch.number, width, *at)) {
            writer.path(&stroke)?;
        }
    }
    writer.program.comment("The end: park, then the heaters go off. Let the bed cool before the patches come off.");
    writer.program.set_safe(HIGH);
    let flat_text = writer.program.finish(park, true)?;
    let (filament, seconds) = (writer.pushed, writer.program.seconds());
    let (text, followed) = if options.flat {
        (flat_text, None)
    } else {
        let rules = Options { taper: Taper::None, ..Options::default() };
        // Its places would be lines of a file that nobody has.
        let unplaced = |e: Error| {
            let error = Error::new(e.kind(), format!("following the bed: {}", e.message()));
            e.help().map_or(error.clone(), |help| error.with_help(help))
        };
        let (bytes, summary) = rewrite(flat_text.as_bytes(), map, rules).map_err(unplaced)?;
        notes.extend(summary.warnings.iter().map(|w| w.message.clone()));
        (String::from_utf8_lossy(&bytes).into_owned(), Some(summary))
    };
    Ok(Trial {
        text,
        patches,
        flat: options.flat,
        layer_height: height,
        line_width: width,
        filament,
        seconds,
        notes,
        followed,
    })
}

/// The flat toolpath in the making.
struct Writer {
    program: Program,
    height: f64,
    /// mm of filament for each mm of line.
    filament: f64,
    speed: f64,
    /// Filament laid, mm.
    pushed: f64,
}

impl Writer {
    /// Travels to the path's start, comes down, prints it and pulls the filament back.
    fn path(&mut self, path: &[[f64; 2]]) -> Result<(), Error> {
        let Some((start, rest)) = path.split_first() else { return Ok(()) };
        self.program.travel(*start)?;
        self.program.come_down(self.height);
        self.program.push(PULLED_BACK[0], PULLED_BACK[1]);
        let before = self.program.filament();
        for to in rest {
            self.program.print_to(*to, self.filament, self.speed);
        }
        self.pushed += self.program.filament() - before;
        self.program.push(-PULLED_BACK[0], PULLED_BACK[1]);
        Ok(())
    }

    fn head(&mut self, card: &Card, options: &TrialOptions, print: &Print, patches: &[Patch]) {
        let (digest, version) = (card.digest(), env!("CARGO_PKG_VERSION"));
        let (count, side) = (patches.len(), patches.first().map_or(0.0, |p| p.side));
        let how = if options.flat { "at one Z" } else { "following the bed" };
        let program = &mut self.program;
        program.comment(&format!("Test print for the probe card {digest}, by evengap {version}"));
        program.comment(&format!("{count} patches of {} mm, one layer, {how}", place(side)));
        program.comment(&format!(
            "layer {} mm, lines {} mm wide, filament {} mm",
            place(print.layer_height()),
            place(print.line_width()),
            place(print.filament())
        ));
        for caution in PRINTING {
            program.comment(&format!("Caution: {caution}"));
        }
    }
}

fn fault(message: impl Into<String>) -> Error {
    Error::new(ErrorKind::Options, message)
}

fn check(options: &TrialOptions, print: &Print) -> Result<(), Error> {
    let (width, height) = (print.line_width(), print.layer_height());
    for (value, low, high, name, unit) in [
        (options.patch, SMALLEST_PATCH, LARGEST_PATCH, "a patch", "mm"),
        (print.filament(), 1.0, 4.0, "a filament", "mm"),
        (width, 0.1, 3.0, "a line width", "mm"),
        (height, 0.05, 2.0, "a layer height", "mm"),
        (print.print_speed(), 1.0, 300.0, "a speed of printing", "mm/s"),
        (print.travel_speed(), 1.0, 1000.0, "a speed of travel", "mm/s"),
        (options.bed_celsius.unwrap_or(0.0), 0.0, HOTTEST[0], "a bed temperature", "degrees"),
        (options.nozzle_celsius.unwrap_or(200.0), COLDEST_NOZZLE, HOTTEST[1], "a nozzle temperature", "degrees"),
    ] {
        if !(low..=high).contains(&value) {
            return Err(fault(out_of_range(name, value, [low, high], unit)));
        }
    }
    if let Some(at) = options.at.iter().flatten().find(|p| !p.iter().all(|v| v.abs() <= MAX_COORDINATE)) {
        return Err(fault(format!("a patch at {} mm is nowhere near a bed", pair(*at))));
    }
    if height > width {
        return Err(fault(format!("a line {} mm wide cannot be {} mm high", Shown(width), Shown(height)))
            .with_help("a first layer is about half as high as its lines are wide"));
    }
    Ok(())
}

/// A flat test print must not plough.
fn check_flat(map: &HeightMap, height: f64) -> Result<(), Error> {
    let [_, highest] = map.extremes();
    if highest.height > height - LEAST_GAP {
        return Err(fault(format!(
            "a flat layer of {} mm would scrape: the bed stands at {:.3} mm at X {} Y {}",
            Shown(height),
            Shown(highest.height),
            place(highest.x),
            place(highest.y)
        ))
        .with_help("let the test print follow the bed, or give a higher layer"));
    }
    Ok(())
}
