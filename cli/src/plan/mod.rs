//! `evengap plan`: which points to read, the sheet to take along, and the readings back onto the card.

mod ask;
mod edit;
mod fill;
mod make;
mod next;
mod paper;

use crate::cautions;
use crate::files::{self, Name, Seen, Target};
use crate::points;
use crate::report::Failure;
use clap::ValueEnum;
use edit::Draft;
use evengap::Card;
use evengap::card::{Method, Point};
use evengap::draw::Paper;
use evengap::plan::{self, Layout, LeftOut, METHODS, Room, Stop, VisitOptions, Wait, Why};
use evengap::whereabouts;
use paper::Sheet;

/// Plan where to read the bed, print a sheet for it, and bring the readings back onto the card
#[derive(Debug, clap::Args)]
#[command(after_help = after_help(), override_usage = USAGE)]
pub(crate) struct Args {
    /// A probe card (TOML or JSON) to plan or fill, or - for standard input; without it one is made from the options below
    #[arg(value_name = "CARD")]
    card: Option<Name>,
    /// Write the card here, or - for standard output (where it goes without this)
    #[arg(short, long, value_name = "FILE")]
    output: Option<Name>,
    /// Points to read: columns by rows that fill the bed; 5x5 for a card that has no points
    #[arg(long, value_name = "NxM", value_parser = make::grid, conflicts_with = "points")]
    grid: Option<(usize, usize)>,
    /// Points to read: a CSV file of x,y in mm, the nozzle's places, or - for standard input
    #[arg(long, value_name = "POINTS.csv")]
    points: Option<Name>,
    /// From the bed's edge, in mm; 10 for a grid, 0 for given points. For dial it is the plunger's
    #[arg(long, value_name = "MM")]
    margin: Option<f64>,
    /// From keep-out areas, in mm; 5 for a grid, 0 for given points
    #[arg(long, value_name = "MM")]
    clearance: Option<f64>,
    /// Keep readings that are not among the new points, beside them
    #[arg(long, conflicts_with = "replace")]
    keep: bool,
    /// Drop or overwrite readings that the card has already
    #[arg(long)]
    replace: bool,
    /// Report as JSON; the card is then written only with -o
    #[arg(long)]
    pub(crate) json: bool,
    #[command(flatten)]
    next: next::Wanted,
    #[command(flatten)]
    new: make::New,
    /// Write the sheet to print: the bed with its points, the steps, a box for each reading
    #[arg(long, value_name = "FILE.pdf|.svg|.png", value_parser = Sheet::parse, help_heading = "The sheet to print")]
    paper: Option<Sheet>,
    /// The paper's size
    #[arg(long, value_enum, default_value_t = Page::A4, help_heading = "The sheet to print")]
    page: Page,
    /// Write a program in G-code that heats, and carries the nozzle to the points still to be read, at the height for reading
    #[arg(long, value_name = "FILE.gcode", help_heading = "The visiting program")]
    program: Option<Name>,
    /// Z of all its travel, in mm; for drag it stays there and you lower the nozzle. Default 10
    #[arg(long, value_name = "MM", requires = "program", help_heading = "The visiting program")]
    safe_height: Option<f64>,
    /// dial: Z of the nozzle while the indicator is read, in mm
    #[arg(
        long,
        value_name = "MM",
        requires = "program",
        allow_hyphen_values = true,
        help_heading = "The visiting program"
    )]
    dial_height: Option<f64>,
    /// Wait so many seconds at each point, instead of until you resume at the machine
    #[arg(long, value_name = "SECONDS", requires = "program", help_heading = "The visiting program")]
    dwell: Option<f64>,
    /// Readings as CSV, or - for standard input: number,value or x,y,value on each line, in mm
    #[arg(long, value_name = "READINGS.csv", conflicts_with_all = ["grid", "points", "ask"], requires = "card", help_heading = "Readings back onto the card")]
    fill: Option<Name>,
    /// Ask for the readings at prompts; each is written to the card at once
    #[arg(long, conflicts_with_all = ["grid", "points", "json", "paper", "program"], requires = "card", help_heading = "Readings back onto the card")]
    ask: bool,
}

const USAGE: &str = "evengap plan [OPTIONS] <CARD>
       evengap plan [OPTIONS] --bed-x FROM..TO --bed-y FROM..TO --method METHOD";

/// Paper to print on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Page {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
}

impl From<Page> for Paper {
    fn from(page: Page) -> Self {
        match page {
            Page::A4 => Paper::A4,
            Page::Letter => Paper::Letter,
        }
    }
}

fn after_help() -> String {
    let mut text = String::from("Methods; the spread is one standard deviation of a reading, as it usually is:\n");
    for method in METHODS {
        let about = plan::about(method);
        text.push_str(&format!("  {:<5} {}\n", about.word, about.tool));
        text.push_str(&format!("        value: {}\n", about.value));
        text.push_str(&format!("        sign: {}\n", about.sign));
        text.push_str(&format!("        height: {}; spread {} mm\n", about.height, method.usual_spread()));
    }
    text.push_str(
        "\nPoints are numbered in the order of the visit, which travels little. A point that the card lists as [x, y] is still \
         to be read; its reading becomes the third number. Readings already taken are kept where they are among the new points; \
         those taken within 1.5 mm of one count; where they are not, nothing is written without --keep or --replace.\n\n\
         --next chooses the points that shrink the mean square of the map's standard errors most, over the bed or under the first layers of \
         files (--for), as `evengap map` reckons them; a place that was read is chosen once more only where nothing tells more. On a card \
         without three readings the first ones lie far apart. Over the whole bed a grid of as many points does as well: --next is for \
         points beside those that are read, and for parts.\n\nExamples:
  evengap plan --bed-x 0..235 --bed-y 0..235 --method drag --sheet 0.1 --bed-celsius 60 -o bed.toml
  evengap plan bed.toml --grid 5x5 -o bed.toml --paper sheet.pdf
  evengap plan bed.toml --next 3 --for part.gcode -o bed.toml
  evengap plan bed.toml --program visit.gcode --safe-height 10
  evengap plan bed.toml --ask
  evengap plan bed.toml --fill readings.csv -o bed.toml",
    );
    cautions::after(&text)
}

/// The core refuses what is larger than its own limit; this only bounds what is read.
const LARGEST: u64 = 16 << 20;

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    check_streams(args)?;
    check_names(args)?;
    let (mut draft, seen) = match &args.card {
        Some(name) => {
            let (text, seen) = name.text_as_seen(LARGEST)?;
            (Draft::read(text, name.shown())?, seen)
        }
        None => (args.new.draft()?, None),
    };
    if args.ask {
        return asked(args, &mut draft, seen);
    }
    let chosen = args.next.choose(&draft, room(args, Room::default()))?;
    let left_out = match &chosen {
        Some(chosen) => {
            chosen.add(&mut draft)?;
            Vec::new()
        }
        None => lay_out(args, &mut draft)?.unwrap_or_default(),
    };
    let mut report = Report { chosen, ..Report::of(&draft, left_out) };
    if let Some(name) = &args.fill {
        let filled = fill::fill(&mut draft, &name.text(LARGEST)?, &name.shown(), args.replace)?;
        report = Report { filled: Some(filled.count), doubts: filled.doubts, ..Report::of(&draft, Vec::new()) };
    }
    let to_stdout = args.output.as_ref().map_or(changes(args, &draft), |name| *name == Name::Standard);
    if args.program == Some(Name::Standard) && (args.json || to_stdout) {
        return Err(Failure::wrong_usage("the program cannot share standard output: give --program or -o a file"));
    }
    let mut targets = Vec::new();
    let mut sheets = Vec::new();
    if let Some(sheet) = &args.paper {
        (sheets, targets) = sheet.ready(draft.card(), args.page.into())?.into_iter().unzip();
    }
    let mut stops = 0;
    if let Some(name) = &args.program {
        let (program, visited) = visiting_program(args, draft.card())?;
        targets.push(files::ready(name, program.as_bytes())?);
        stops = visited;
    }
    targets.extend(ready_card(args, &draft, seen.as_ref())?);
    files::commit(targets)?;
    let chosen = report.chosen.as_ref().map(|chosen| chosen.text(args.output.as_ref()));
    if args.json {
        print(args, &report.json(draft.card()))?;
    } else if let Some(text) = &chosen {
        // What was asked for, unless the card or a program goes there.
        let taken = [&args.output, &args.program].into_iter().any(|name| *name == Some(Name::Standard));
        if taken { files::say(text) } else { print(args, text)? }
    }
    if !args.json && (chosen.is_none() || args.output.is_some()) {
        files::say(&report.text(&draft));
    } else if !args.json {
        files::say(&format!("{}\n", cautions::lines(&cautions::BRIEF)));
    }
    for sheet in sheets {
        files::say(&format!("Drew {}.\n", sheet.display()));
    }
    if let Some(Name::Path(path)) = &args.program {
        files::say(&format!("Wrote {}: it visits {}.\n{BY_ITSELF}\n", path.display(), count(stops, "point")));
        files::say(&unheated(draft.card()));
        if draft.card().readings.method != Method::Drag {
            files::say(&format!("{COMES_DOWN}\n"));
        }
        files::say(&format!("{}\n", cautions::lines(&cautions::RUNNING)));
    }
    Ok(())
}

/// On standard output, when the card is in place.
fn print(args: &Args, text: &str) -> Result<(), Failure> {
    let printed = files::print(text);
    match &args.output {
        Some(output) => printed.map_err(|e| e.although(&output.shown_as_output())),
        None => printed,
    }
}

/// After a visiting program was written.
const BY_ITSELF: &str = "It heats, homes and moves by itself: clear the bed.";

/// After a visiting program that brings the nozzle down was written.
const COMES_DOWN: &str = "\
Caution: a bed that stands higher than the height for reading meets the nozzle there. Watch it come down at each point.";

/// What the visiting program does not heat, for it stands only in its comments otherwise, which no printer shows.
fn unheated(card: &Card) -> String {
    let r = &card.readings;
    let parts: Vec<&str> = [("bed", r.bed_celsius), ("nozzle", r.nozzle_celsius)]
        .into_iter()
        .filter(|(_, celsius)| celsius.is_none_or(|c| c <= 0.0))
        .map(|(part, _)| part)
        .collect();
    if parts.is_empty() {
        return String::new();
    }
    let parts = parts.join(" and the ");
    format!(
        "Warning: the card gives no temperature for the {parts}, so it does not heat there: heat as for a print beforehand.\n"
    )
}

/// The visiting program, and how many points it visits: those still to be read, or all where none is.
fn visiting_program(args: &Args, card: &Card) -> Result<(String, usize), Failure> {
    let unread_only = !card.readings.unread.is_empty();
    let stops: Vec<Stop> = (card.readings.all_points().zip(1..))
        .filter(|(point, _)| !unread_only || matches!(point, Point::Unread(_)))
        .map(|(point, number)| {
            let [x, y] = place(&point);
            Stop { number, x, y }
        })
        .collect();
    let mut options = VisitOptions::default();
    options.safe_height = args.safe_height.unwrap_or(options.safe_height);
    options.dial_height = args.dial_height;
    options.wait = args.dwell.map_or(Wait::Person, Wait::Seconds);
    let program = plan::visit(card, &stops, &options).map_err(|e| Failure::card(&e, String::new(), ""))?;
    Ok((program, stops.len()))
}

/// "1 point", "2 points".
fn count(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn check_streams(args: &Args) -> Result<(), Failure> {
    let read = args.card.iter().chain(&args.points).chain(&args.fill).chain(&args.next.parts);
    if read.filter(|name| **name == Name::Standard).count() > 1 {
        return Err(Failure::wrong_usage("only one of CARD, --points, --fill and --for can be standard input"));
    }
    if args.json && args.output == Some(Name::Standard) {
        return Err(Failure::wrong_usage("with --json the card cannot go to standard output too: give -o a file"));
    }
    if args.ask && (args.card == Some(Name::Standard) || args.output == Some(Name::Standard)) {
        return Err(Failure::wrong_usage(
            "--ask reads standard input and keeps the card in a file: give CARD (and -o) a file name",
        ));
    }
    Ok(())
}

/// No output takes the place of another, or of what is read; only the card may be written over itself.
fn check_names(args: &Args) -> Result<(), Failure> {
    let lists: Vec<&Name> = args.points.iter().chain(&args.fill).chain(&args.next.parts).collect();
    if let Some(name) = &args.output {
        files::keep_apart(name, "the card", lists.iter().copied())?;
    }
    if let Some(name) = &args.program {
        let cards = args.card.iter().chain(&args.output);
        files::keep_apart(name, "the program", cards.chain(lists.iter().copied()))?;
    }
    if let Some(sheet) = &args.paper {
        let others = args.card.iter().chain(&args.output).chain(&args.program);
        files::keep_apart(&sheet.name(), "the sheet", others.chain(lists.iter().copied()))?;
    }
    Ok(())
}

/// Lays out points where that is asked for or the card has none; what was left out, or `None` where the card's points stay.
fn lay_out(args: &Args, draft: &mut Draft) -> Result<Option<Vec<LeftOut>>, Failure> {
    let has_points = draft.card().readings.all_points().next().is_some();
    let wanted = args.grid.is_some() || args.points.is_some();
    if args.fill.is_some() || (has_points && !wanted) {
        return Ok(None);
    }
    let given = match &args.points {
        Some(name) => Some(points::read(&name.text(LARGEST)?, &name.shown())?),
        None => None,
    };
    let usual = if given.is_some() { Room { margin: 0.0, clearance: 0.0 } } else { Room::default() };
    let room = room(args, usual);
    let layout = match (&given, args.grid) {
        (Some(points), _) => Layout::Given(points),
        (None, grid) => {
            let (columns, rows) = grid.unwrap_or((5, 5));
            Layout::Grid { columns, rows }
        }
    };
    let planned =
        plan::planned(draft.card(), layout, room).map_err(|e| Failure::card(&e, String::new(), draft.text()))?;
    let points = with_old_readings(args, draft, &planned.card)?;
    draft.set_points(&edit::with_points(&planned.card, &points))?;
    Ok(Some(planned.left_out))
}

/// How far new points keep away from things, mm.
fn room(args: &Args, usual: Room) -> Room {
    Room { margin: args.margin.unwrap_or(usual.margin), clearance: args.clearance.unwrap_or(usual.clearance) }
}

/// A reading stands for a planned point when it was taken this near, mm: no bed bends noticeably over it. The reading keeps its place.
const NEAR: f64 = 1.5;

/// The planned points, with the readings that the card has already of them.
fn with_old_readings(args: &Args, draft: &Draft, planned: &Card) -> Result<Vec<Point>, Failure> {
    let mut points: Vec<Point> = planned.readings.all_points().collect();
    if args.replace {
        return Ok(points);
    }
    let mut homeless = Vec::new();
    for old in &draft.card().readings.points {
        let away = |p: &Point| match p {
            Point::Unread(u) => (u.x - old.x).hypot(u.y - old.y),
            Point::Read(_) => f64::INFINITY,
        };
        let place = (points.iter_mut()).min_by(|a, b| away(a).total_cmp(&away(b))).filter(|p| away(p) <= NEAR);
        match place {
            Some(place) => *place = Point::Read(*old),
            None => homeless.push(*old),
        }
    }
    if !args.keep
        && let Some(first) = homeless.first()
    {
        let line = first.line.map_or(String::new(), |l| format!(":{l}"));
        return Err(Failure::plain(format!(
            "{}{line}: {} of the card's readings are not among the new points (the first at X {} Y {}): add --keep to keep \
             them beside the new points, or --replace to drop all readings",
            draft.name(),
            homeless.len(),
            first.x,
            first.y
        )));
    }
    if homeless.is_empty() {
        return Ok(points);
    }
    points.extend(homeless.into_iter().map(Point::Read));
    let places: Vec<[f64; 2]> = points.iter().map(place).collect();
    let order = plan::visiting_order(&places, plan::start(planned));
    Ok(order.into_iter().filter_map(|i| points.get(i).copied()).collect())
}

fn place(point: &Point) -> [f64; 2] {
    match point {
        Point::Read(r) => [r.x, r.y],
        Point::Unread(u) => [u.x, u.y],
    }
}

/// Whether the card was made or changed, so that it is to be written somewhere.
fn changes(args: &Args, draft: &Draft) -> bool {
    // What to read next is only told unless the card is asked for.
    !args.next.asks() && (args.card.is_none() || args.fill.is_some() || draft.is_changed())
}

/// The card where it is to be written, to be put in place. `seen`: the file that it was read from.
fn ready_card(args: &Args, draft: &Draft, seen: Option<&Seen>) -> Result<Option<Target>, Failure> {
    let name = match &args.output {
        Some(name) => name.clone(),
        None if args.json || !changes(args, draft) => return Ok(None),
        None => Name::Standard,
    };
    if let Name::Path(path) = &name
        && !args.replace
        && !args.card.as_ref().is_some_and(|card| card.is_same_file(&name))
        && let Ok(old) = std::fs::read_to_string(path)
    {
        let count = Card::parse_without_points(&old).map_or(0, |card| card.readings.points.len());
        if count > 0 {
            return Err(Failure::plain(format!(
                "{} is a card with {count} readings, and they would be lost: add --replace, or take another name",
                path.display()
            )));
        }
    }
    Ok(Some(files::ready(&name, draft.text().as_bytes())?.made_from(seen)))
}

fn asked(args: &Args, draft: &mut Draft, mut seen: Option<Seen>) -> Result<(), Failure> {
    let Some(name) = args.output.clone().or_else(|| args.card.clone()) else {
        return Err(Failure::wrong_usage("--ask needs a card"));
    };
    if args.output.is_some()
        && let Some(target) = ready_card(args, draft, seen.as_ref())?
    {
        seen = target.commit()?;
    }
    if draft.card().readings.all_points().next().is_none() {
        return Err(Failure::plain(format!(
            "{} has no points to ask for: plan them first, with evengap plan {} --grid 5x5 -o {}",
            draft.name(),
            draft.name(),
            draft.name()
        )));
    }
    let mut out = anstream::stderr();
    // A card that somebody else changes meanwhile is not written over.
    let mut save = |text: &str| {
        seen = files::ready(&name, text.as_bytes())?.made_from(seen.as_ref()).commit()?;
        Ok(())
    };
    let tally = ask::ask(draft, args.replace, &mut std::io::stdin().lock(), &mut out, &mut save)?;
    files::say(&format!(
        "{} written to {}, {} still to be read.\n",
        count(tally.typed, "reading"),
        name.shown(),
        count(tally.unread, "point")
    ));
    Ok(())
}

/// What is told after the work.
struct Report {
    left_out: Vec<LeftOut>,
    travel: f64,
    filled: Option<usize>,
    doubts: Vec<String>,
    chosen: Option<next::Chosen>,
}

impl Report {
    fn of(draft: &Draft, left_out: Vec<LeftOut>) -> Report {
        let places: Vec<[f64; 2]> = draft.card().readings.all_points().map(|p| place(&p)).collect();
        let order: Vec<usize> = (0..places.len()).collect();
        let travel = plan::travel_length(&places, &order, plan::start(draft.card()));
        Report { left_out, travel, filled: None, doubts: Vec::new(), chosen: None }
    }

    fn text(&self, draft: &Draft) -> String {
        let readings = &draft.card().readings;
        let (read, unread) = (readings.points.len(), readings.unread.len());
        let mut text = String::new();
        if let Some(filled) = self.filled {
            text.push_str(&format!("Filled in {}.\n", count(filled, "reading")));
        }
        text.push_str(&format!(
            "{} points, {unread} still to be read; {:.0} mm of travel over all of them, from the front left.\n",
            read + unread,
            self.travel
        ));
        for why in [Why::Reach, Why::KeepOut, Why::PlungerReach, Why::PlungerKeepOut] {
            let these: Vec<&LeftOut> = self.left_out.iter().filter(|l| l.why == why).collect();
            if let Some(first) = these.first() {
                let (count, more) = (these.len(), if these.len() > 1 { ", the first" } else { "" });
                text.push_str(&format!("Left out {count}: {}{more} at X {} Y {}.\n", why.words(), first.x, first.y));
            }
        }
        for doubt in &self.doubts {
            text.push_str(&format!("Warning: {doubt}. Read that point again.\n"));
        }
        text.push_str(&cautions::lines(&cautions::BRIEF));
        text.push('\n');
        text
    }

    fn json(&self, card: &Card) -> String {
        #[derive(serde::Serialize)]
        struct Json<'a> {
            card: String,
            method: &'static str,
            points: Vec<JsonPoint>,
            unread: usize,
            travel_mm: f64,
            left_out: &'a [LeftOut],
            #[serde(skip_serializing_if = "Option::is_none")]
            filled: Option<usize>,
            doubts: &'a [String],
            #[serde(skip_serializing_if = "Option::is_none")]
            next: Option<&'a evengap::known::Next>,
            caution: String,
        }
        #[derive(serde::Serialize)]
        struct JsonPoint {
            number: usize,
            x: f64,
            y: f64,
            place: &'static str,
            value: Option<f64>,
        }
        let points = card.readings.all_points().zip(1..).map(|(point, number)| {
            let [x, y] = place(&point);
            let value = match point {
                Point::Read(r) => Some(r.value),
                Point::Unread(_) => None,
            };
            JsonPoint { number, x, y, place: whereabouts::place(&card.bed, x, y), value }
        });
        let json = Json {
            card: card.digest(),
            method: card.readings.method.word(),
            points: points.collect(),
            unread: card.readings.unread.len(),
            travel_mm: self.travel,
            left_out: &self.left_out,
            filled: self.filled,
            doubts: &self.doubts,
            next: self.chosen.as_ref().map(|chosen| &chosen.next),
            caution: cautions::paragraph(&cautions::BRIEF),
        };
        let mut text = serde_json::to_string_pretty(&json).unwrap_or_default();
        text.push('\n');
        text
    }
}
