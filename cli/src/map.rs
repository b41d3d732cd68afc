//! `evengap map`: a card in, its height map out, in figures and as a plan.

use crate::cautions;
use crate::files::{self, Name};
use crate::picture::Picture;
use crate::points;
use crate::report::Failure;
use crate::surface::{LARGEST, Surface, chosen_map};
use crate::table::{Cell, as_the_bed_lies};
use evengap::card::Method;
use evengap::draw::{known_plan, plan};
use evengap::figures::Figures;
use evengap::known::{Known, robust};
use evengap::shape::{Check, FEWEST_TO_JUDGE, Outlier, Shape, Spot, describe};
use evengap::surface::Choice;
use evengap::{Card, HeightMap, SurfaceKind};

/// Show the bed's height map: the readings as the bed lies, its tilt, twist and bow, and a plan
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP))]
pub(crate) struct Args {
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// The surface through the readings
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Print the heights at these places instead of the report: a CSV file of x,y in mm, or - for standard input
    #[arg(long, value_name = "POINTS.csv", conflicts_with = "json")]
    at: Option<Name>,
    /// Draw a contour plan; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    picture: Option<Picture>,
    /// Draw how well the bed is known
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    known: Option<Picture>,
    /// Write a card on which readings that are far off weigh less, each with a spread of its own, or - for standard output
    #[arg(long, value_name = "FILE", conflicts_with_all = ["at", "json"])]
    robust: Option<Name>,
    /// Report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str =
    "With --at, standard output is CSV \"x,y,height,standard_error\" in mm, in the order given, with 17 significant digits; a header \
     line in POINTS.csv is passed over. The standard error is what the map is expected to be off there (root mean square); errors that all \
     readings share, as of a sheet that is thicker than the card says, are not in it.\n\nExamples:
  evengap map bed.toml
  evengap map bed.toml --picture bed.svg
  evengap map bed.toml --at points.csv > heights.csv
  evengap map - --json < bed.toml";

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    if args.card == Name::Standard && args.at == Some(Name::Standard) {
        let message = "CARD and POINTS.csv cannot both be standard input";
        return Err(Failure::wrong_usage(message));
    }
    let read = || args.at.iter().chain([&args.card]);
    let mut written: Vec<Name> = Vec::new();
    let pictures = [(&args.picture, "the picture"), (&args.known, "the picture of how well the bed is known")];
    let names = pictures.iter().filter_map(|(p, what)| p.as_ref().map(|p| (p.name(), *what)));
    for (name, what) in names.chain(args.robust.iter().map(|n| (n.clone(), "the new card"))) {
        files::keep_apart(&name, what, read().chain(&written))?;
        written.push(name);
    }
    let (map, choice) = chosen_map(&args.card.text(LARGEST)?, &args.card, args.surface)?;
    let known = Known::of(&map);
    let out = match (&args.at, &args.robust) {
        (Some(points), _) => heights_at(points, &map, known.as_ref())?,
        (None, _) if args.json => as_json(&map, choice, known.as_ref()),
        // The card takes the report's place there.
        (None, Some(Name::Standard)) => String::new(),
        (None, _) => report(&args.card.shown(), &map, choice, known.as_ref()),
    };
    let mut targets = Vec::new();
    let mut drawn = Vec::new();
    if let Some(picture) = &args.picture {
        targets.push(picture.ready(map.card(), |options| plan(map.card(), &map, options))?);
        drawn.push(picture);
    }
    if let Some(picture) = &args.known {
        let known = known.as_ref().ok_or_else(|| Failure::plain(UNKNOWN))?;
        targets.push(picture.ready(map.card(), |options| known_plan(known, options))?);
        drawn.push(picture);
    }
    let mut said = String::new();
    if let Some(name) = &args.robust {
        let (card, less) = robust(&map);
        targets.push(files::ready(name, card.to_toml().as_bytes())?);
        said = weighs_less(&card, &less, &name.shown());
    }
    files::commit(targets)?;
    files::print(&out)?;
    for picture in drawn {
        files::say(&format!("Drew {}.\n", picture.path().display()));
    }
    if !said.is_empty() {
        files::say(&said);
    }
    Ok(())
}

/// Nothing that a card can say leads there.
const UNKNOWN: &str = "the readings are so close together that nothing can be said of how well the bed is known";

fn weighs_less(card: &Card, less: &[usize], name: &str) -> String {
    let mut text = format!("Wrote {name}: the readings");
    if less.is_empty() {
        return text + ", none of which is so far off that it should weigh less.\n";
    }
    text += ", of which these weigh less than half now:\n";
    for p in less.iter().filter_map(|&k| card.readings.points.get(k)) {
        text += &format!(
            "  X {} Y {} reads {}: spread {} mm{}\n",
            p.x,
            p.y,
            p.value,
            p.spread.unwrap_or_default(),
            at_line(p.line)
        );
    }
    text + "To read them again is better: a reading may be odd because the bed is.\n"
}

/// Points are a list typed or made by a program: more than this is a mistake.
const MOST_POINTS: u64 = 256 << 20;

fn heights_at(name: &Name, map: &HeightMap, known: Option<&Known>) -> Result<String, Failure> {
    let text = name.text(MOST_POINTS)?;
    let mut out = String::from("x,y,height,standard_error\n");
    for [x, y] in points::read(&text, &name.shown())? {
        let error = known.map_or(String::new(), |known| points::exact(known.at(x, y).standard_error));
        out.push_str(&format!("{x},{y},{},{error}\n", points::exact(map.height(x, y))));
    }
    Ok(out)
}

fn as_json(map: &HeightMap, choice: Option<Choice>, known: Option<&Known>) -> String {
    let mut text = serde_json::to_string_pretty(&Figures::of(map, choice, known)).unwrap_or_default();
    text.push('\n');
    text
}

fn report(name: &str, map: &HeightMap, choice: Option<Choice>, known: Option<&Known>) -> String {
    let shape = describe(map);
    let mut lines = vec![heading(name, map)];
    lines.extend(choice.map(|choice| format!("Surface {choice}")));
    let readings = &map.card().readings;
    if readings.predicted {
        lines.push("These readings are predictions: nobody took them.".to_owned());
    }
    match readings.unread.as_slice() {
        [] => {}
        [one] => lines.push(format!("Still to be read: the point at X {} Y {}{}", one.x, one.y, at_line(one.line))),
        [first, ..] => {
            let (count, place) = (readings.unread.len(), at_line(first.line));
            lines.push(format!("Still to be read: {count} points, the first at X {} Y {}{place}", first.x, first.y));
        }
    }
    lines.push(String::new());
    let among = |list: &[Outlier], i: usize| list.iter().any(|o| o.index == i);
    let mark = |i: usize| match (among(&shape.outliers, i), among(&shape.doubtful, i)) {
        (true, _) => "!",
        (false, true) => "?",
        (false, false) => " ",
    };
    lines.push("Heights at the readings, mm, as the bed lies:".to_owned());
    let heights = shape.readings.iter().enumerate().map(|(i, r)| (r, format!("{}{}", signed(r.height), mark(i))));
    lines.push(table(heights));
    lines.extend(extremes(&shape));
    lines.extend(known.map(how_well));
    lines.push(String::new());
    lines.extend(tilt_and_bend(&shape));
    lines.push(String::new());
    lines.push("Each reading less what the others say of its place (leave-one-out error), mm:".to_owned());
    let errors = shape
        .readings
        .iter()
        .enumerate()
        .map(|(i, r)| (r, r.error.map_or_else(|| "? ".to_owned(), |e| format!("{}{}", signed(e), mark(i)))));
    lines.push(table(errors));
    lines.extend(outliers(name, map, &shape));
    lines.extend(smoothing(map));
    lines.push(String::new());
    lines.push(cautions::lines(&cautions::BRIEF));
    lines.push(String::new());
    lines.join("\n")
}

/// mm with a sign; what rounds to 0 has none.
pub(crate) fn signed(value: f64) -> String {
    let text = format!("{value:+.3}");
    if text == "-0.000" || text == "+0.000" { " 0.000".to_owned() } else { text }
}

fn table<'a>(cells: impl Iterator<Item = (&'a Check, String)>) -> String {
    let cells: Vec<Cell> = cells.map(|(r, text)| Cell { x: r.x, y: r.y, text }).collect();
    as_the_bed_lies(&cells)
}

fn heading(name: &str, map: &HeightMap) -> String {
    let readings = map.readings().len();
    let how = match map.card().readings.method {
        Method::Drag => "with a sheet under the nozzle",
        Method::Gauge => "with feeler gauges",
        Method::Patch => "on printed patches",
        Method::Dial => "with a dial indicator",
    };
    let places = match map.places() {
        places if places < readings => format!(" at {places} places"),
        _ => String::new(),
    };
    format!("{name} (card {}): {readings} readings{places} {how}", map.card().digest())
}

fn at_line(line: Option<u64>) -> String {
    line.map_or(String::new(), |l| format!(" (line {l})"))
}

fn extremes(shape: &Shape) -> Vec<String> {
    let spot =
        |name: &str, s: &Spot| format!("{name}  {} mm at X {} Y {}{}", signed(s.height), s.x, s.y, at_line(s.line));
    vec![spot("Lowest ", &shape.lowest), spot("Highest", &shape.highest), format!("Range     {:.3} mm", shape.range)]
}

fn tilt_and_bend(shape: &Shape) -> Vec<String> {
    let (tilt, bend) = (&shape.tilt, &shape.bend);
    let mut lines = vec![match tilt.rises_to {
        Some(side) => format!("Tilt of the best plane: it rises to the {side}"),
        None => "Tilt of the best plane: none".to_owned(),
    }];
    lines.push(format!("  left to right  {} mm over the bed", signed(tilt.over_width)));
    lines.push(format!("  front to back  {} mm over the bed", signed(tilt.over_depth)));
    lines.push(format!("Left when the tilt is taken off: {:.3} mm from lowest to highest", bend.range));
    let parts = [
        ("twist      ", bend.twist, "back right and front left corners above the other two"),
        ("bow along x", bend.bow_x, "middle above the left and right edges"),
        ("bow along y", bend.bow_y, "middle above the front and back edges"),
    ];
    for (name, value, meaning) in parts {
        lines.push(match value {
            Some(value) => format!("  {name}    {} mm  {meaning}", signed(value)),
            None => format!("  {name}    the readings cannot tell"),
        });
    }
    if let Some(either) = bend.bow_either {
        lines.push(format!("  bow, whichever way  {} mm  middle above the corners", signed(either)));
    }
    lines.push(format!(
        "  the rest        {:.3} mm  from lowest to highest, {:.3} mm rms",
        bend.rest_range, bend.rest_rms
    ));
    lines
}

/// What a map is worth, in a line.
fn how_well(known: &Known) -> String {
    let over = known.over_bed();
    let worst = over.worst;
    format!(
        "Known to +-{:.3} mm (95 %) over the bed, worst {} (+-{:.3} mm at X {:.0} Y {:.0})",
        over.within, worst.place, worst.within, worst.x, worst.y
    )
}

fn outliers(name: &str, map: &HeightMap, shape: &Shape) -> Vec<String> {
    if shape.outliers.is_empty() && shape.doubtful.is_empty() {
        return vec![match map.readings().len() {
            n if n < FEWEST_TO_JUDGE => format!("{n} readings are too few to tell whether one of them stands out."),
            _ => "No reading stands out from its neighbours.".to_owned(),
        }];
    }
    let line = |o: &Outlier| {
        let place = match (o.line, o.column) {
            (Some(line), Some(column)) => format!("{name}:{line}:{column}: "),
            _ => String::new(),
        };
        format!(
            "  {place}X {} Y {} reads {}, the others lead one to expect {:.3} +-{:.3} ({:.1} standard deviations)",
            o.x, o.y, o.value, o.expected_value, o.expected_within, o.deviations
        )
    };
    let mut lines = Vec::new();
    if !shape.outliers.is_empty() {
        lines.push(
            "Readings that stand out from their neighbours (marked !): mistyped, misread, or a crumb under the plate?"
                .to_owned(),
        );
        lines.extend(shape.outliers.iter().map(line));
    }
    if !shape.doubtful.is_empty() {
        lines.push("Worth reading again (marked ?): one sound reading in a hundred is as far off as these.".to_owned());
        lines.extend(shape.doubtful.iter().map(line));
    }
    lines
}

fn smoothing(map: &HeightMap) -> Vec<String> {
    let Some(s) = map.smoothed() else {
        return match (map.kind(), map.card().readings.spread) {
            (SurfaceKind::Bilinear, Some(_)) => {
                vec!["Spread: a bilinear surface does not smooth, it passes through the readings.".to_owned()]
            }
            _ => Vec::new(),
        };
    };
    let what = match s.lambda {
        None => "the readings show no bend beyond it, and the map is the best plane".to_owned(),
        Some(_) => format!("the map keeps {:.1} of {} degrees of freedom", s.effective_parameters, map.places()),
    };
    let noise = s.noise_estimate.map_or(String::new(), |n| format!("; about it the readings scatter by {n:.3} mm"));
    vec![format!("Smoothing: with a spread of {} mm {what}{noise}.", s.spread)]
}
