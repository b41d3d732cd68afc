//! `evengap trial`: a card in, a test print of patches out; or measured patches in, a corrected card out.

use crate::cautions;
use crate::files::{self, Name, Seen};
use crate::marks;
use crate::measured;
use crate::picture::Picture;
use crate::points;
use crate::report::{Failure, Refusal, Source};
use crate::surface::{LARGEST, Surface, map_of_text};
use evengap::draw::patch_plan;
use evengap::trial::{Measured, Nozzle, Trial, TrialOptions, correct, patches, trial};
use evengap::{Card, HeightMap};

/// Write a test print of single-layer patches, and correct the card by what they measure
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP))]
pub(crate) struct Args {
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// Where the test print goes (with --measured: the corrected card), or - for standard output
    #[arg(short, long, value_name = "FILE")]
    output: Name,
    /// Correct the card by these thicknesses: a CSV file of number,thickness or x,y,thickness in mm
    #[arg(long, value_name = "THICKNESSES.csv", conflicts_with_all = ["skirt", "numbers"])]
    measured: Option<Name>,
    /// Correct the card even though it says that it was corrected by these thicknesses already
    #[arg(long, requires = "measured")]
    again: bool,
    /// Side of a patch, mm
    #[arg(long, value_name = "MM", default_value = "20", value_parser = parse_number)]
    patch: f64,
    /// Print patches at these places instead of the card's points: a CSV file of x,y in mm, or - for standard input
    #[arg(long, value_name = "POINTS.csv")]
    at: Option<Name>,
    /// Print at one height everywhere instead of following the bed
    #[arg(long)]
    flat: bool,
    /// A line round all patches
    #[arg(long)]
    skirt: bool,
    /// Each patch's number beside it
    #[arg(long)]
    numbers: bool,
    /// The surface through the readings
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Height of the layer, mm; the card's, or 0.2
    #[arg(long, value_name = "MM", value_parser = parse_number)]
    layer_height: Option<f64>,
    /// Width of a line, mm; the card's, or 0.45
    #[arg(long, value_name = "MM", value_parser = parse_number)]
    line_width: Option<f64>,
    /// Diameter of the filament, mm; the card's, or 1.75
    #[arg(long, value_name = "MM", value_parser = parse_number)]
    filament: Option<f64>,
    /// Speed of printing, mm/s; the card's, or 20
    #[arg(long, value_name = "MM/S", value_parser = parse_number)]
    print_speed: Option<f64>,
    /// Speed without printing, mm/s; the card's, or 80
    #[arg(long, value_name = "MM/S", value_parser = parse_number)]
    travel_speed: Option<f64>,
    /// Temperature of the bed, degrees Celsius; the card's
    #[arg(long, value_name = "DEGREES", value_parser = parse_number)]
    bed_celsius: Option<f64>,
    /// Temperature of the nozzle, degrees Celsius; the card's
    #[arg(long, value_name = "DEGREES", value_parser = parse_number)]
    nozzle_celsius: Option<f64>,
    /// Draw which patch lies where; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse, conflicts_with = "measured")]
    picture: Option<Picture>,
    /// Report as JSON on standard output (on standard error where FILE is standard output)
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str =
    "Patches that follow the bed should all be as thick as the layer is high. Let the bed cool, take each off, and measure its \
     middle with calipers or a micrometer, away from edges and blobs. Write the thicknesses down by number, and give them back \
     with the same --patch, --at, --flat and --layer-height: the corrected card's map is right where the patches were. A patch \
     that came loose is left out.\n\nExamples:
  evengap trial bed.toml -o trial.gcode --numbers
  evengap trial bed.toml --measured thicknesses.csv -o corrected.toml
  evengap map corrected.toml";

fn parse_number(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("give a number, such as 0.2".to_owned()),
    }
}

/// Points are a list typed or made by a program: more than this is a mistake.
const MOST_POINTS: u64 = 1 << 20;

impl Args {
    fn options(&self) -> Result<TrialOptions, Failure> {
        let at = match &self.at {
            Some(name) => Some(points::read(&name.text(MOST_POINTS)?, &name.shown())?),
            None => None,
        };
        let mut options = TrialOptions::default();
        options.patch = self.patch;
        options.at = at;
        options.flat = self.flat;
        options.skirt = self.skirt;
        options.numbers = self.numbers;
        options.print.filament = self.filament;
        options.print.line_width = self.line_width;
        options.print.layer_height = self.layer_height;
        options.print.print_speed = self.print_speed;
        options.print.travel_speed = self.travel_speed;
        options.bed_celsius = self.bed_celsius;
        options.nozzle_celsius = self.nozzle_celsius;
        Ok(options)
    }

    fn check_streams(&self) -> Result<(), Failure> {
        let inputs = [Some(&self.card), self.at.as_ref(), self.measured.as_ref()];
        if inputs.into_iter().flatten().filter(|n| **n == Name::Standard).count() > 1 {
            let message = "only one of CARD, POINTS.csv and THICKNESSES.csv can be standard input";
            return Err(Failure::wrong_usage(message));
        }
        Ok(())
    }
}

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    args.check_streams()?;
    let lists = args.at.iter().chain(&args.measured);
    if args.measured.is_none() {
        files::keep_apart(&args.output, "the test print", lists.chain([&args.card]))?;
    } else {
        files::keep_apart(&args.output, "the corrected card", lists)?;
    }
    if let Some(picture) = &args.picture {
        let others = args.at.iter().chain([&args.card, &args.output]);
        files::keep_apart(&picture.name(), "the picture", others)?;
    }
    let options = args.options()?;
    let (text, seen) = args.card.text_as_seen(LARGEST)?;
    let map = map_of_text(&text, &args.card, args.surface)?;
    match &args.measured {
        Some(measured) => put_right(args, measured, &map, &Old { text, seen }, &options),
        None => print(args, &map, &options),
    }
}

fn refuse(error: &evengap::Error) -> Failure {
    Refusal::by_engine(error, Source::default()).into()
}

/// The card that is corrected, as text and file.
struct Old {
    text: String,
    seen: Option<Seen>,
}

/// Tells a report where it does not get into the file's way.
fn tell(args: &Args, json: &impl serde::Serialize, plain: &str) -> Result<(), Failure> {
    if !args.json {
        files::say(plain);
        return Ok(());
    }
    let text = serde_json::to_string_pretty(json).unwrap_or_default() + "\n";
    match args.output {
        Name::Standard => files::say(&text),
        Name::Path(_) => return files::print(&text).map_err(|e| e.although(&args.output.shown_as_output())),
    }
    Ok(())
}

#[derive(serde::Serialize)]
struct PrintJson<'a> {
    card: String,
    output: String,
    #[serde(flatten)]
    print: &'a Trial,
    caution: String,
}

fn print(args: &Args, map: &HeightMap, options: &TrialOptions) -> Result<(), Failure> {
    let made = trial(map.card(), map, options).map_err(|e| refuse(&e))?;
    let mut targets = Vec::new();
    if let Some(picture) = &args.picture {
        targets.push(picture.ready(map.card(), |options| patch_plan(map.card(), &made.patches, options))?);
    }
    targets.push(files::ready(&args.output, made.text.as_bytes())?);
    files::commit(targets)?;
    let json = PrintJson {
        card: map.card().digest(),
        output: args.output.shown_as_output(),
        print: &made,
        caution: cautions::paragraph(&cautions::PRINTING),
    };
    tell(args, &json, &told(args, map.card(), options, &made))
}

fn told(args: &Args, card: &Card, options: &TrialOptions, made: &Trial) -> String {
    let (count, side) = (made.patches.len(), made.patches.first().map_or(0.0, |p| p.side));
    let how = if made.flat { "at one height" } else { "following the bed" };
    let diameter = options.print.filament.unwrap_or_else(|| card.print.filament());
    let cubic = made.filament * std::f64::consts::PI * diameter * diameter / 4.0 / 1000.0;
    let mut lines = vec![
        format!("Wrote {}.", args.output.shown_as_output()),
        format!("  Patches     {count} of {side:.1} mm, one layer of {} mm, {how}", made.layer_height),
        format!("  Filament    {:.2} m of {diameter} mm ({cubic:.1} cm3)", made.filament / 1000.0),
        format!("  Time        {:.0} min, and the heating", (made.seconds / 60.0).ceil()),
    ];
    if let Some(picture) = &args.picture {
        lines.push(format!("  Picture     {}", picture.path().display()));
    }
    lines.extend(made.notes.iter().map(|n| format!("Note: {n}.")));
    lines.push("Patches, by number:".to_owned());
    lines.extend(made.patches.iter().map(|p| format!("  {:>4}  X {} Y {}", p.number, p.x, p.y)));
    lines.push(if made.flat {
        "A patch is as thick as the gap was: the layer, less the bed's height there.".to_owned()
    } else {
        format!("Every patch should measure {} mm; what it differs by is the map's error.", made.layer_height)
    });
    lines.push(MEASURE.to_owned());
    lines.push(format!(
        "  evengap trial {} --measured thicknesses.csv -o corrected.toml{}",
        args.card.shown(),
        again(args)
    ));
    lines.push(cautions::lines(&cautions::PRINTING));
    lines.push(String::new());
    lines.join("\n")
}

const MEASURE: &str = "\
Let the bed cool, take each patch off and write its number on it. Measure the middle with calipers or a micrometer, away
from edges and blobs. Write lines of number,thickness, and correct the card:";

/// The options that say where the patches were.
fn again(args: &Args) -> String {
    let mut out = String::new();
    if args.flat {
        out.push_str(" --flat");
    }
    for (name, value) in [("layer-height", args.layer_height), ("line-width", args.line_width)] {
        if let Some(value) = value {
            out.push_str(&format!(" --{name} {value}"));
        }
    }
    if args.patch.to_bits() != 20.0_f64.to_bits() {
        out.push_str(&format!(" --patch {}", args.patch));
    }
    if let Some(at) = &args.at {
        out.push_str(&format!(" --at {}", at.shown()));
    }
    match args.surface {
        Surface::ThinPlate => {}
        Surface::Bilinear => out.push_str(" --surface bilinear"),
        Surface::Auto => out.push_str(" --surface auto"),
    }
    out
}

/// What the patches showed, mm: the layer less the thickness is how much higher the bed stands than the old map has it.
#[derive(serde::Serialize)]
struct CorrectedJson {
    card: String,
    output: String,
    corrected: String,
    patches: usize,
    error_mean_mm: f64,
    error_lowest_mm: f64,
    error_highest_mm: f64,
    left_rms_mm: f64,
    caution: String,
}

fn put_right(args: &Args, name: &Name, map: &HeightMap, old: &Old, options: &TrialOptions) -> Result<(), Failure> {
    let card = map.card();
    let text = name.text(MOST_POINTS)?;
    let places = patches(card, options).map_err(|e| refuse(&e))?;
    let list = measured::read(&text, &name.shown(), &places)?;
    let mark = marks::list_mark(&list);
    if marks::bears(&old.text, &mark) && !args.again {
        return Err(Failure::plain(format!(
            "{} was corrected by these {} thicknesses already, and would be corrected twice: print and measure again, or add \
             --again",
            args.card.shown(),
            list.len()
        )));
    }
    let layer = options.print.layer_height.unwrap_or_else(|| card.print.layer_height());
    let nozzle = if options.flat { Nozzle::Flat(layer) } else { Nozzle::Followed(layer) };
    let corrected = correct(card, map.kind(), &list, nozzle)
        .map_err(|e| Refusal::by_engine(&e, Source::of_text(name.shown(), &text, &e)))?;
    let after = HeightMap::fit(&corrected, map.kind()).map_err(|e| refuse(&e))?;
    let above = |m: &Measured, map: &HeightMap| match nozzle {
        Nozzle::Followed(layer) => layer - m.thickness,
        Nozzle::Flat(z) => z - m.thickness - map.height(m.x, m.y),
    };
    // How far the patches stand above the old map, and above the new one.
    let before: Vec<f64> = list.iter().map(|m| above(m, map)).collect();
    let left: Vec<f64> =
        list.iter().zip(&before).map(|(m, b)| b + map.height(m.x, m.y) - after.height(m.x, m.y)).collect();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / to_f64(values.len().max(1));
    let json = CorrectedJson {
        card: card.digest(),
        output: args.output.shown_as_output(),
        corrected: corrected.digest(),
        patches: list.len(),
        error_mean_mm: mean(&before),
        error_lowest_mm: before.iter().copied().fold(f64::INFINITY, f64::min),
        error_highest_mm: before.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        left_rms_mm: mean(&left.iter().map(|l| l * l).collect::<Vec<_>>()).sqrt(),
        caution: cautions::paragraph(&cautions::BRIEF),
    };
    let notes = marks::lines_of(&old.text) + &marks::line(list.len(), &mark, &card.digest());
    files::ready(&args.output, (notes + &corrected.to_toml()).as_bytes())?.made_from(old.seen.as_ref()).commit()?;
    let relative = card.readings.right_at.is_some();
    let mut lines = vec![
        format!("Wrote {} (card {}).", json.output, json.corrected),
        format!("  Patches     {} measured", json.patches),
        format!(
            "  Old map     the bed stands {:+.3} mm from it on average, {:+.3} to {:+.3} mm",
            json.error_mean_mm, json.error_lowest_mm, json.error_highest_mm
        ),
    ];
    lines.push(if relative {
        "  New map     the shape is corrected; `right_at` keeps its height".to_owned()
    } else {
        format!("  New map     the patches scatter about it by {:.3} mm", json.left_rms_mm)
    });
    lines.push("Look at it with `evengap map`, and rewrite files with it from now on.".to_owned());
    lines.push(cautions::lines(&cautions::BRIEF));
    lines.push(String::new());
    tell(args, &json, &lines.join("\n"))
}

#[expect(clippy::cast_precision_loss, reason = "a count of measured patches")]
fn to_f64(n: usize) -> f64 {
    n as f64
}
