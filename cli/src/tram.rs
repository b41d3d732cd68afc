//! `evengap tram`: what the screws have to do, in turns of each knob.

use crate::cautions;
use crate::files::{self, Name};
use crate::picture::Picture;
use crate::report::{Failure, Refusal, Source};
use crate::surface::{LARGEST, Surface, say_choice};
use clap::ValueEnum;
use evengap::draw::tram_plan;
use evengap::shape::describe;
use evengap::tram::{Fit, Follows, MAY_BE_SPREAD, Options, ScrewTurn, Standing, Tram, Twist, Verdict, tram};
use evengap::{Card, HeightMap, Place};

/// Say what the levelling screws can mend, in turns of each knob, and what they cannot
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP))]
pub(crate) struct Args {
    /// The bed's probe card (TOML or JSON) with its [screws], or - for standard input
    #[arg(value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// Which plane the screws take off the bed
    #[arg(long, value_enum, default_value_t = Plane::LeastSquares, value_name = "PLANE")]
    fit: Plane,
    /// Leave this screw as it is, and turn the others to it: the bed becomes even, but not level with height 0
    #[arg(long, value_name = "SCREW")]
    hold: Option<String>,
    /// Four heights instead of a plane: for a thin plate that bends between its four screws
    #[arg(long)]
    twist: bool,
    /// Say that it is done when the readings' range, and every move, are no more than this, in mm
    #[arg(long, value_name = "MM", value_parser = length)]
    stop_below: Option<f64>,
    /// Write the card as it should read after turning, marked as a prediction, for map and rewrite; - for standard output
    #[arg(long, value_name = "FILE.toml")]
    predict: Option<Name>,
    /// The surface through the readings, for what is left after turning
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Draw the plan with each screw's turn; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    picture: Option<Picture>,
    /// Report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str =
    "Turn, let the bed come to its temperature again, read it again on a second card, and run tram on that: it says when to \
     stop.\n\nExamples:
  evengap tram bed.toml
  evengap tram bed.toml --picture screws.png
  evengap tram bed.toml --hold \"back left\"
  evengap tram bed.toml --predict after.toml && evengap map after.toml";

/// Which plane the screws take off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Plane {
    /// The smallest sum of squares of the readings' distances
    LeastSquares,
    /// The smallest distance between the highest and the lowest reading (minimum zone, ISO 12781-1)
    SmallestRange,
}

fn length(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(mm) if mm.is_finite() && mm > 0.0 && mm <= 10.0 => Ok(mm),
        _ => Err("a length in mm above 0, at most 10, is needed".to_owned()),
    }
}

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    if let Some(name) = &args.predict {
        files::keep_apart(name, "the predicted card", [&args.card])?;
    }
    if let Some(picture) = &args.picture {
        files::keep_apart(&picture.name(), "the picture", args.predict.iter().chain([&args.card]))?;
    }
    let text = args.card.text(LARGEST)?;
    let refuse = |error| Failure::card(&error, args.card.shown(), &text);
    let card = Card::parse(&text).map_err(refuse)?;
    let (map, choice) = args.surface.map(&card).map_err(refuse)?;
    say_choice(choice);
    let mut options = Options::default();
    options.fit = match args.fit {
        Plane::LeastSquares => Fit::LeastSquares,
        Plane::SmallestRange => Fit::SmallestRange,
    };
    options.hold.clone_from(&args.hold);
    options.twist = args.twist;
    options.stop_below_mm = args.stop_below;
    let found = tram(&map, &options).map_err(|error| {
        let refusal = Refusal::by_engine(&error, Source::of_text(args.card.shown(), &text, &error));
        // What is missing is to be added at the end.
        let (line, last) = text.lines().enumerate().last().map_or((1, ""), |(i, l)| (i + 1, l));
        let end = Place { line: u64::try_from(line).unwrap_or(u64::MAX), column: 1 };
        Failure::from(if card.screws.is_none() { refusal.at(end, last) } else { refusal })
    })?;
    let mut targets = Vec::new();
    if let Some(picture) = &args.picture {
        targets.push(picture.ready(&card, |options| tram_plan(&map, &found, options))?);
    }
    if let Some(name) = &args.predict {
        targets.push(files::ready(name, found.predicted().to_toml().as_bytes())?);
    }
    files::commit(targets)?;
    let out = if args.json { as_json(&map, &found) } else { report(&args.card.shown(), &map, &found, args) };
    if args.predict == Some(Name::Standard) {
        // The card has standard output for itself.
        files::say(&out);
    } else {
        files::print(&out)?;
    }
    if let Some(picture) = &args.picture {
        files::say(&format!("Drew {}.\n", picture.path().display()));
    }
    if let Some(Name::Path(path)) = &args.predict {
        files::say(&format!("Wrote the predicted card {}.\n", path.display()));
    }
    Ok(())
}

#[derive(serde::Serialize)]
struct Json<'a> {
    card: String,
    predicted: bool,
    #[serde(flatten)]
    tram: &'a Tram,
    /// The lines that a person reads, in the order of turning.
    lines: Vec<String>,
    caution: String,
}

fn as_json(map: &HeightMap, found: &Tram) -> String {
    let json = Json {
        card: map.card().digest(),
        predicted: map.card().readings.predicted,
        tram: found,
        lines: found.screws.iter().map(ToString::to_string).collect(),
        caution: cautions::paragraph(&cautions::TURNING),
    };
    let mut text = serde_json::to_string_pretty(&json).unwrap_or_default();
    text.push('\n');
    text
}

fn report(name: &str, map: &HeightMap, found: &Tram, args: &Args) -> String {
    let mut lines = vec![heading(name, map, found)];
    if map.card().readings.predicted {
        lines.push("These readings are predictions: nobody took them.".to_owned());
    }
    lines.extend(outliers(map));
    lines.push(String::new());
    lines.extend(verdict(found, args.stop_below));
    lines.push(match found.verdict {
        Verdict::Turn => "Turn, the largest first:".to_owned(),
        _ => "If you turn all the same, the largest first:".to_owned(),
    });
    let held = |name: &str| if found.hold.as_deref() == Some(name) { " (held)" } else { "" };
    let little = |s: &ScrewTurn| {
        let little = !s.is_still() && s.raise_mm.abs() <= MAY_BE_SPREAD * s.spread_mm;
        if little { "; no more than the readings' spread" } else { "" }
    };
    lines.extend(
        found.screws.iter().enumerate().map(|(i, s)| format!("  {}. {s}{}{}", i + 1, held(&s.name), little(s))),
    );
    lines.extend(travel(found));
    lines.push(String::new());
    lines.push(format!("Range of the readings  {:.3} mm now", found.range_before_mm));
    lines.push(format!(
        "                       {:.3} mm after turning, {:.3} mm if turned to the nearest 1/16",
        found.range_after_mm, found.range_after_sixteenths_mm
    ));
    lines.push(format!("                       {:.3} mm: less than this the readings cannot tell", found.told_mm));
    lines.extend(level(map, found));
    lines.push(left(found));
    lines.extend(found.twist.as_ref().and_then(twist));
    lines.push(String::new());
    lines.push(cautions::lines(&cautions::TURNING));
    lines.push(String::new());
    lines.join("\n")
}

fn heading(name: &str, map: &HeightMap, found: &Tram) -> String {
    let surface = match (found.follows, found.fit) {
        (Follows::Ramp, Fit::LeastSquares) => "the best slope along the screws' line (least squares)",
        (Follows::Ramp, Fit::SmallestRange) => "the slope along the screws' line with the smallest range",
        (Follows::Twist, Fit::LeastSquares) => "a height for each of four screws (least squares)",
        (Follows::Twist, Fit::SmallestRange) => "a height for each of four screws with the smallest range",
        (_, Fit::LeastSquares) => "the best plane (least squares)",
        (_, Fit::SmallestRange) => "the plane with the smallest range",
    };
    let pitch = map.card().screws.as_ref().map_or(0.0, |s| s.pitch);
    format!("{name} (card {}): {} readings, {surface}, {pitch} mm a turn", map.card().digest(), map.readings().len())
}

/// One wrong reading tilts the whole plan.
fn outliers(map: &HeightMap) -> Vec<String> {
    let found = describe(map).outliers;
    if found.is_empty() {
        return Vec::new();
    }
    let mut lines = vec![
        "Caution: a reading stands out from its neighbours, and the plan follows it. Read it again first:".to_owned(),
    ];
    lines.extend(found.iter().map(|o| format!("  {o}")));
    lines
}

fn verdict(found: &Tram, stop_below: Option<f64>) -> Vec<String> {
    let text = match found.verdict {
        Verdict::Turn => return Vec::new(),
        Verdict::WithinLimit => {
            format!("Done: range and moves are within the {} mm that you asked for.", stop_below.unwrap_or(0.0))
        }
        Verdict::Even => {
            "Done: with this spread of the readings a perfectly even bed would look no better. Stop turning.".to_owned()
        }
        Verdict::BendOnly => {
            "Done: the screws have nothing left to mend that the readings can tell. What remains is bend: stop turning."
                .to_owned()
        }
        Verdict::TooFine => {
            "Done: no knob has as much as 1/32 turn to go, and a hand turns no finer. `rewrite` takes the rest."
                .to_owned()
        }
        _ => "Done.".to_owned(),
    };
    vec![text, String::new()]
}

fn travel(found: &Tram) -> Vec<String> {
    let Some(travel) = &found.travel else { return Vec::new() };
    if !travel.fits {
        let held = match &found.hold {
            Some(name) => format!(" With {name} not held, all screws could be shifted alike to fit better."),
            None => String::new(),
        };
        return vec![format!(
            "Caution: do not turn yet. The travel on the card does not allow this: {} would need {:.2} mm more than is \
             left.{held} Move the springs' seats or the fixed side first.",
            travel.lacking.join(", "),
            travel.lacks_mm
        )];
    }
    if travel.shift_mm.abs() < 0.0005 {
        return Vec::new();
    }
    let way = if travel.shift_mm > 0.0 { "higher" } else { "lower" };
    vec![format!(
        "All screws are set {:.2} mm {way} than they would be, so that none passes its travel: the bed becomes as even, only {way}.",
        travel.shift_mm.abs()
    )]
}

fn level(map: &HeightMap, found: &Tram) -> Vec<String> {
    let right_at = map.card().readings.right_at;
    if found.level_mm.abs() < 0.0005 {
        return right_at
            .map(|[x, y]| {
                format!("The bed stays where it is at X {x} Y {y}, where the card says that the first layer is right.")
            })
            .into_iter()
            .collect();
    }
    let (mm, way) = (found.level_mm.abs(), if found.level_mm > 0.0 { "higher" } else { "lower" });
    // A bed that is higher than the nozzle's zero is what a first layer scrapes on.
    let caution = if found.level_mm > 0.0 { "Caution: " } else { "" };
    vec![match right_at {
        Some([x, y]) => format!(
            "{caution}The bed ends {mm:.2} mm {way} at X {x} Y {y}, where the first layer was right: set the nozzle's zero again there."
        ),
        None => format!(
            "{caution}The bed ends even, {mm:.2} mm {way} than height 0: set the nozzle's zero by that, or let rewrite follow it."
        ),
    }]
}

/// What no screw can mend, in words.
fn left(found: &Tram) -> String {
    let off = |s: &Standing| s.off_mm.abs();
    let worth = |s: &Standing| off(s) >= found.spread_mm.max(0.005);
    let mut ends: Vec<&Standing> = [&found.lowest, &found.highest].into_iter().filter(|s| worth(s)).collect();
    ends.sort_by(|a, b| off(b).total_cmp(&off(a)));
    let words =
        |s: &Standing| format!("{} mm {}", format_args!("{:.2}", off(s)), if s.off_mm > 0.0 { "high" } else { "low" });
    match ends.as_slice() {
        [] => "After this nothing is left but what the readings cannot tell.".to_owned(),
        [one] => format!("After this the {} still stands {}: that is what `rewrite` is for.", one.place, words(one)),
        [one, two, ..] => format!(
            "After this the {} still stands {}, and the {} {}: that is what `rewrite` is for.",
            one.place,
            words(one),
            two.place,
            words(two)
        ),
    }
}

fn twist(twist: &Twist) -> Option<String> {
    let [a, b] = &twist.high;
    let what = format!("at {a} and {b} the plate stands {:.2} mm higher than at the other two screws", twist.twist_mm);
    if twist.used {
        return Some(format!(
            "Twist: {what}{}; these turns take it out, if the plate is thin enough to follow.",
            if twist.shows { "" } else { " (no more than the readings' spread)" }
        ));
    }
    twist.shows.then(|| {
        format!(
            "Twist: {what}. If the plate is thin and follows its screws, `--twist` takes that out too: {:.3} mm would be left.",
            twist.range_after_mm
        )
    })
}
