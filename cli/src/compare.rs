//! `evengap compare`: what changed between cards of one bed.

use crate::cautions;
use crate::files::{self, Name};
use crate::map::signed;
use crate::picture::Picture;
use crate::report::Failure;
use crate::surface::{Surface, read_map};
use crate::table::{Cell, as_the_bed_lies};
use evengap::HeightMap;
use evengap::card::Outline;
use evengap::compare::{Difference, Drift, Level, difference, drift};
use evengap::draw::difference_plan;
use evengap::surface::SurfaceKind;

/// Say what changed from one card of a bed to the next: did the bed move, is the cold bed the hot bed?
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP))]
pub(crate) struct Args {
    /// Two or more probe cards of one bed (TOML or JSON), in time order; - for standard input
    #[arg(value_name = "CARD", required = true, num_args = 2..)]
    cards: Vec<Name>,
    /// The card that files were rewritten with, to say whether the bed still is where they believe it is [default: the first]
    #[arg(long, value_name = "CARD")]
    rewritten_with: Option<Name>,
    /// The surface through the readings
    #[arg(long, value_enum, default_value_t = Surface::ThinPlate)]
    surface: Surface,
    /// Draw what changed from the first card to the last; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    picture: Option<Picture>,
    /// Report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str =
    "The cards may have other points and other methods: they are compared through their maps, where both were read. With \
     --surface auto the first card chooses for all.\n\nExamples:
  evengap compare before.toml after.toml
  evengap compare cold.toml hot.toml --picture change.png
  evengap compare january.toml march.toml may.toml --json";

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    let standard = args.cards.iter().chain(&args.rewritten_with).filter(|n| **n == Name::Standard).count();
    if standard > 1 {
        let message = "only one card can be standard input";
        return Err(Failure::wrong_usage(message));
    }
    if let Some(picture) = &args.picture {
        files::keep_apart(&picture.name(), "the picture", args.cards.iter().chain(&args.rewritten_with))?;
    }
    // Two surfaces would differ where the bed does not: the first card chooses for all.
    let mut surface = args.surface;
    let mut maps = Vec::new();
    for name in &args.cards {
        let map = read_map(name, surface)?;
        surface = Surface::of(map.kind());
        maps.push(map);
    }
    let names: Vec<String> = args.cards.iter().map(Name::shown).collect();
    let believed = args.rewritten_with.as_ref().map(|n| read_map(n, surface)).transpose()?;
    let engine = |e: evengap::Error| Failure::card(&e, names.join(", "), "");
    let (Some(first), Some(last)) = (maps.first(), maps.last()) else { return Ok(()) };
    let whole = difference(first, last).map_err(engine)?;
    let steps =
        maps.windows(2).map(|pair| difference(&pair[0], &pair[1])).collect::<Result<Vec<_>, _>>().map_err(engine)?;
    let later: Vec<&HeightMap> = maps.iter().skip(1).collect();
    let drift = drift(first, &later).map_err(engine)?;
    let gap = match &believed {
        Some(map) => difference(map, last).map_err(engine)?,
        None => whole.clone(),
    };
    let believed_name = args.rewritten_with.as_ref().map_or_else(|| names[0].clone(), Name::shown);
    let all = Compared {
        names: &names,
        maps: &maps,
        whole: &whole,
        steps: &steps,
        drift: &drift,
        gap: &gap,
        believed: &believed_name,
    };
    if let Some(picture) = &args.picture {
        let [a, b] = [&names[0], &names[names.len() - 1]];
        picture.draw(last.card(), |options| difference_plan([first, last], &whole, [a, b], options))?;
    }
    files::print(&if args.json { all.as_json(first.kind()) } else { all.report() })?;
    if let Some(picture) = &args.picture {
        files::say(&format!("Drew {}.\n", picture.path().display()));
    }
    Ok(())
}

struct Compared<'a> {
    names: &'a [String],
    maps: &'a [HeightMap],
    /// The last card against the first.
    whole: &'a Difference,
    /// Each card against the one before.
    steps: &'a [Difference],
    drift: &'a Drift,
    /// The last card against the one that files were rewritten with.
    gap: &'a Difference,
    believed: &'a str,
}

#[derive(serde::Serialize)]
struct Json<'a> {
    cards: Vec<JsonCard<'a>>,
    surface: SurfaceKind,
    #[serde(flatten)]
    difference: &'a Difference,
    steps: &'a [Difference],
    drift: &'a Drift,
    rewritten_with: &'a str,
    /// The largest error of the gap for files rewritten with that card, mm.
    rewritten_gap_error_mm: f64,
    warnings: Vec<String>,
    caution: String,
}

#[derive(serde::Serialize)]
struct JsonCard<'a> {
    name: &'a str,
    card: String,
    readings: usize,
}

impl Compared<'_> {
    fn as_json(&self, surface: SurfaceKind) -> String {
        let card = |(name, map): (&'_ String, &HeightMap)| (name.clone(), map.card().digest(), map.readings().len());
        let cards: Vec<(String, String, usize)> = self.names.iter().zip(self.maps).map(card).collect();
        let json = Json {
            cards: cards
                .iter()
                .map(|(name, card, readings)| JsonCard { name, card: card.clone(), readings: *readings })
                .collect(),
            surface,
            difference: self.whole,
            steps: self.steps,
            drift: self.drift,
            rewritten_with: self.believed,
            rewritten_gap_error_mm: self.gap.gap_error_mm,
            warnings: self.warnings(),
            caution: cautions::paragraph(&cautions::BRIEF),
        };
        let mut text = serde_json::to_string_pretty(&json).unwrap_or_default();
        text.push('\n');
        text
    }

    fn warnings(&self) -> Vec<String> {
        let mut out = Vec::new();
        for (name, map) in self.names.iter().zip(self.maps) {
            if map.card().readings.predicted {
                out.push(format!("{name} holds predictions: nobody took these readings."));
            }
        }
        let methods: Vec<&str> = self.maps.iter().map(|m| m.card().readings.method.word()).collect();
        if methods.iter().any(|m| *m != methods[0]) {
            out.push(format!(
                "The cards were read in different ways ({}): part of the change may be the ways'.",
                methods.join(", ")
            ));
        }
        // Another plate, or other places where the axes begin: half a millimetre is how well a plate is measured.
        let beds: Vec<_> = self.maps.iter().map(|m| &m.card().bed).collect();
        let far = |a: [f64; 2], b: [f64; 2]| (0..2).any(|n| (a[n] - b[n]).abs() > 0.5);
        if beds.iter().any(|b| b.outline != beds[0].outline || far(b.x, beds[0].x) || far(b.y, beds[0].y)) {
            let words: Vec<String> = beds
                .iter()
                .map(|b| {
                    let round = if b.outline == Outline::Round { ", round" } else { "" };
                    format!("X {} to {}, Y {} to {}{round}", b.x[0], b.x[1], b.y[0], b.y[1])
                })
                .collect();
            out.push(format!(
                "The cards' beds differ ({}): are they of one printer, and do X and Y begin at the same place?",
                words.join("; ")
            ));
        }
        if self.drift.level == Level::ShapesOnly || self.whole.level == Level::ShapesOnly {
            out.push(
                "The cards have no level in common (one is set to 0 at a place, and the other is not, or at another): only \
                 shapes are compared, with the mean change taken off."
                    .to_owned(),
            );
        }
        out
    }

    fn report(&self) -> String {
        let d = self.whole;
        let (first, last) = (&self.names[0], &self.names[self.names.len() - 1]);
        let mut lines = vec![format!("{last} minus {first}, mm; where the bed has risen is positive")];
        lines.extend(self.warnings().into_iter().map(|w| format!("Caution: {w}")));
        lines.extend(temperatures(d));
        lines.push(String::new());
        lines.push("Change where it was read, as the bed lies:".to_owned());
        let mark = |out: bool| if out { "!" } else { " " };
        let cell = |x: f64, y: f64, text: String| Cell { x, y, text };
        let cells: Vec<Cell> =
            d.points.iter().map(|p| cell(p.x, p.y, format!("{}{}", signed(p.change_mm), mark(p.stands_out)))).collect();
        lines.push(as_the_bed_lies(&cells));
        lines.push(match d.stand_out {
            0 => "No place changed by more than the readings' spreads explain.".to_owned(),
            n => format!(
                "{n} of {} places changed by more than the spreads explain (marked !; over {:.1} standard deviations, \
                 which chance alone passes on 1 comparison in 20).",
                d.points.len(),
                d.limit_deviations
            ),
        });
        lines.push(format!(
            "All in all the places changed by {:.3} mm rms; the spreads alone would give {:.3} mm.",
            d.rms_mm, d.rms_by_chance_mm
        ));
        lines.push(String::new());
        if let Some(mean) = d.mean_mm {
            lines.push(format!("Mean change            {} mm", signed(mean)));
        }
        let at = |c: &evengap::compare::ChangeAt| {
            format!("{} mm, {} (X {:.0} Y {:.0})", signed(c.change_mm), c.place, c.x, c.y)
        };
        lines.push(format!("Fell most, or rose least  {}", at(&d.lowest)));
        lines.push(format!("Rose most, or fell least  {}", at(&d.highest)));
        lines.push(format!("Range of the change     {:.3} mm", d.range_mm));
        lines.extend(tilt(d));
        lines.push(format!(
            "Twist                  {} mm  back right and front left corners above the other two",
            signed(d.twist_mm)
        ));
        lines.push(format!(
            "Bow along x, along y   {} mm, {} mm  middle above the edges",
            signed(d.bow_x_mm),
            signed(d.bow_y_mm)
        ));
        lines.push(format!(
            "The rest                {:.3} mm from lowest to highest, {:.3} mm rms",
            d.rest_range_mm, d.rest_rms_mm
        ));
        if self.maps.len() > 2 {
            lines.push(String::new());
            lines.extend(self.drift());
        }
        lines.push(String::new());
        lines.push(self.gap());
        lines.push(String::new());
        lines.push(cautions::lines(&cautions::BRIEF));
        lines.push(String::new());
        lines.join("\n")
    }

    fn drift(&self) -> Vec<String> {
        let mut lines = vec![format!("Drift at the points of {}, mm, card by card:", self.names[0])];
        for p in &self.drift.points {
            let changes: Vec<String> = p.change_mm.iter().map(|c| signed(*c)).collect();
            lines.push(format!("  X {:>7.1} Y {:>7.1}  {}  {}", p.x, p.y, changes.join("  "), p.place));
        }
        lines
    }

    fn gap(&self) -> String {
        let g = self.gap;
        let last = &self.names[self.names.len() - 1];
        if g.level == Level::ShapesOnly {
            return format!(
                "Files rewritten with {}: over the bed of {last} the gap's shape is off by up to {:.3} mm; the level cannot be told.",
                self.believed, g.gap_error_mm
            );
        }
        let mut parts = Vec::new();
        if g.highest.change_mm > 0.0005 {
            parts.push(format!("{:.3} mm too small ({})", g.highest.change_mm, g.highest.place));
        }
        if g.lowest.change_mm < -0.0005 {
            parts.push(format!("{:.3} mm too large ({})", -g.lowest.change_mm, g.lowest.place));
        }
        let assumed = if g.level == Level::SamePlace { ", if the first layer still is right where it was" } else { "" };
        match parts.is_empty() {
            true => {
                format!("Files rewritten with {}: the bed still is where they believe it is{assumed}.", self.believed)
            }
            false => format!(
                "Files rewritten with {}: over the bed of {last} their gap is up to {}{assumed}.",
                self.believed,
                parts.join(" and up to ")
            ),
        }
    }
}

fn temperatures(d: &Difference) -> Vec<String> {
    let part = |what: &str, [a, b]: [Option<f64>; 2]| {
        let text = |t: Option<f64>| t.map_or("not given".to_owned(), |t| format!("{t} degrees"));
        (a.is_some() || b.is_some()).then(|| {
            let other = match (a, b) {
                (Some(a), Some(b)) if (a - b).abs() >= 1.0 => {
                    if a < b {
                        ": the colder bed against the hotter"
                    } else {
                        ": the hotter bed against the colder"
                    }
                }
                _ => "",
            };
            format!("{what} {} then {}{}", text(a), text(b), if what == "Bed" { other } else { "" })
        })
    };
    [part("Bed", d.bed_celsius), part("Nozzle", d.nozzle_celsius)].into_iter().flatten().collect()
}

fn tilt(d: &Difference) -> Vec<String> {
    let t = &d.tilt;
    let mut lines = vec![match t.rises_to {
        Some(side) => format!("Tilt: the {side} has risen against the opposite side"),
        None => "Tilt: none".to_owned(),
    }];
    lines.push(format!("  left to right        {} mm over the bed", signed(t.over_width_mm)));
    lines.push(format!("  front to back        {} mm over the bed", signed(t.over_depth_mm)));
    if !t.screws.is_empty() {
        lines.push("  as if the screws had been turned:".to_owned());
        lines.extend(t.screws.iter().map(|s| match s.is_still() {
            true => format!("    {}: not at all", s.name),
            false => format!("    {}: {:.2} turn {}, {} mm", s.name, s.turns, s.direction.word(), signed(s.raise_mm)),
        }));
    }
    lines
}
