//! `evengap check`: what a file would do on this bed, and the proof of a rewritten one.

mod report;
pub(crate) mod toolpath;

use crate::cautions;
use crate::files::{self, Name};
use crate::millimetres::{parse_millimetres, parse_tolerance};
use crate::picture::Picture;
use crate::progress::Progress;
use crate::reading::Start;
use crate::report::Failure;
use crate::surface::{Surface, read_map};

use clap::ValueEnum;
use evengap::HeightMap;
use evengap::check::judge::About;
use evengap::check::proof::{Proof, ProofOptions, Side, Verdict};
use evengap::check::{Followed, GapOptions, GapReport, Gaps, Judgement, Keep, Limits, Marker, Window, judge};
use evengap::draw::{GapPlan, gap_plan};
use evengap::follow::{Options, Rewriter};
use evengap::known::{Enough, Known};
use evengap::toolpath::Reading;
use toolpath::{CHUNK, Toolpath};

/// Check what a sliced file would do on this bed before it is printed: where it would not stick, where the nozzle would scrape
#[derive(Debug, clap::Args)]
#[command(after_help = cautions::after(AFTER_HELP))]
pub(crate) struct Args {
    /// The sliced file, rewritten or not, or - for standard input
    #[arg(value_name = "FILE")]
    file: Name,
    /// The bed's probe card (TOML or JSON), or - for standard input
    #[arg(long, value_name = "CARD", env = "EVENGAP_CARD", hide_env_values = true)]
    card: Name,
    /// The file that FILE was rewritten from: proves that FILE is that one, followed over this bed
    #[arg(long, value_name = "ORIGINAL")]
    original: Option<Name>,
    /// With --original: how far Z may be from the bed's shape, mm, whatever FILE says of itself
    #[arg(long, value_name = "MM", default_value = "0.005", value_parser = parse_tolerance, requires = "original")]
    tolerance: f64,
    /// With --original: no Z may come to lie below this height, mm, whatever FILE says of itself
    #[arg(long, value_name = "MM", default_value = "0", value_parser = parse_millimetres, allow_hyphen_values = true, requires = "original")]
    floor: f64,
    /// The surface through the readings [default: the one that FILE was rewritten with, or thin-plate]
    #[arg(long, value_enum)]
    surface: Option<Surface>,
    /// Below this share of the gap meant, the first layer is too near
    #[arg(long, value_name = "SHARE", default_value = "0.7", value_parser = |text: &str| share(text, 0.0, 1.0))]
    near: f64,
    /// Above this share of the gap meant, the first layer is too far
    #[arg(long, value_name = "SHARE", default_value = "1.3", value_parser = |text: &str| share(text, 1.0, 10.0))]
    far: f64,
    /// So much of the first layer's path may be too near or too far, percent
    #[arg(long, value_name = "PERCENT", default_value = "1", value_parser = |text: &str| share(text, 0.0, 100.0))]
    outside: f64,
    /// So much of the first layer's path may lie outside the readings, percent
    #[arg(long, value_name = "PERCENT", default_value = "100", value_parser = |text: &str| share(text, 0.0, 100.0))]
    unmeasured: f64,
    /// Let pass what is otherwise refused; may be given more than once
    #[arg(long, value_enum, value_name = "WHAT", value_delimiter = ',')]
    allow: Vec<What>,
    #[command(flatten)]
    start: Start,
    /// Draw the first layer over the bed, coloured by gap; the name's ending says whether as SVG or PNG
    #[arg(long, value_name = "FILE.svg|FILE.png", value_parser = Picture::parse)]
    picture: Option<Picture>,
    /// Report as JSON
    #[arg(long)]
    pub(crate) json: bool,
}

const AFTER_HELP: &str = "\
The gap is the nozzle's height over the bed's surface; right is the gap that the slicer meant, within --near and --far. \
These limits, and the 1 % of --outside, are common practice and come from no standard. What Z must be able to do is held against \
the card's [machine]: z_speed and z_speed_step in mm/s, moves_per_second, z_steps_per_mm. Times and speeds are those of the feed rates in \
the file, as if the machine reached them at once: it takes longer, and asks less of Z. Moves before the first F have no time.\n\n\
With --original the two files are walked side by side. Proven means that every piece lies on the original's path, reaches its end points, \
carries its filament and feed rates among the same other commands, and that Z is within the tolerance of the bed's shape everywhere along \
it: a bound, no sampling.\n\n\
Exit status: 0 all is right, 1 a limit is broken, the proof failed or the file was refused, 2 wrong usage.\n\nExamples:
  evengap check part.gcode --card bed.toml
  evengap check part.even.gcode --card bed.toml --original part.gcode
  evengap check part.gcode --card bed.toml --picture gap.svg";

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum What {
    /// Motion that is not understood: it passes as it is
    UnknownMotion,
    /// The file probes or switches on the machine's own compensation
    OwnLevelling,
}

fn share(text: &str, low: f64, high: f64) -> Result<f64, String> {
    parse_millimetres(text)
        .ok()
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("give a number from {low} to {high}"))
}

impl Args {
    fn reading(&self) -> Reading {
        Reading {
            e_start: self.start.e_mode(),
            g90_sets_e: self.start.g90_sets_e,
            unknown_motion: self.allow.contains(&What::UnknownMotion),
            own_levelling: self.allow.contains(&What::OwnLevelling),
        }
    }

    fn limits(&self) -> Limits {
        let mut limits = Limits::default();
        limits.window = Window { near: self.near, far: self.far };
        limits.outside = self.outside / 100.0;
        limits.unmeasured = self.unmeasured / 100.0;
        limits
    }
}

pub(crate) fn run(args: &Args) -> Result<(), Failure> {
    let names = [Some(&args.file), Some(&args.card), args.original.as_ref()];
    if names.into_iter().flatten().filter(|name| **name == Name::Standard).count() > 1 {
        return Err(Failure::wrong_usage("only one of FILE, CARD and ORIGINAL can be standard input"));
    }
    if let Some(picture) = &args.picture {
        files::keep_apart(&picture.name(), "the picture", names.into_iter().flatten())?;
    }
    let map = read_map(&args.card, args.surface.unwrap_or(Surface::ThinPlate))?;
    let file = Toolpath::of(&args.file)?;
    let original = args.original.as_ref().map(Toolpath::of).transpose()?;
    let found = Checker { args, map, bytes: 0 }.check(&file, original.as_ref())?;
    if let Some(picture) = &args.picture {
        found.draw(picture)?;
    }
    files::print(&if args.json { report::json(&found) } else { report::text(&found) })?;
    if let Some(picture) = &args.picture {
        files::say(&format!("Drew {}.\n", picture.path().display()));
    }
    if found.passes() { Ok(()) } else { Err(Failure::Told) }
}

/// What one walk over a toolpath found.
struct Look {
    report: GapReport,
    judgement: Judgement,
}

impl Look {
    /// Whether it can be told which layer is the first and what gap it means.
    fn has_first_layer(&self) -> bool {
        !self.judgement.findings.iter().any(|f| matches!(f.about, About::NoGap | About::NoLayers))
    }
}

/// What all walks found.
struct Walked {
    marker: Option<Marker>,
    look: Look,
    other: Result<Option<Look>, String>,
    proof: Option<(String, Verdict)>,
}

/// Everything that was found, and what it is about.
struct Found {
    name: String,
    card: String,
    map: HeightMap,
    marker: Option<Marker>,
    limits: Limits,
    /// How well the bed under the first layer is known.
    enough: Option<Enough>,
    look: Look,
    /// How the same part would be, or was: rewritten where FILE is not, as sliced where it is and the original was given.
    other: Result<Option<Look>, String>,
    /// The original's name, and the proof.
    proof: Option<(String, Verdict)>,
}

impl Found {
    fn passes(&self) -> bool {
        self.look.judgement.passes() && self.proof.as_ref().is_none_or(|(_, verdict)| verdict.is_proven())
    }

    /// The layer that is drawn: of those judged as the first one, the last.
    fn layer(&self) -> Option<&evengap::check::Layer> {
        self.look.report.layers.get(self.look.judgement.layers.checked_sub(1)?)
    }

    fn draw(&self, picture: &Picture) -> Result<(), Failure> {
        let Some(layer) = self.layer() else {
            return Err(Failure::plain(format!(
                "{}: no filament is laid where the position is known: there is nothing to draw",
                self.name
            )));
        };
        let plan = GapPlan {
            name: &self.name,
            path: &self.look.report.kept,
            z: layer.z,
            shares: layer.path,
            window: self.limits.window,
        };
        picture.draw(self.map.card(), |options| gap_plan(self.map.card(), &plan, options))
    }
}

/// A refusal on one line: why, where if the message does not tell, and what to do.
fn told(error: &evengap::Error) -> String {
    let mut text = error.message().to_owned();
    if let Some(place) = error.places().first().map(|place| format!("line {})", place.line))
        && !text.contains(&place)
    {
        text += &format!(" ({place}");
    }
    if let Some(help) = error.help() {
        text += &format!("; {help}");
    }
    text
}

/// Points of a path that a picture holds: more could not be told apart on it.
const MOST_DRAWN: usize = 200_000;

struct Checker<'a> {
    args: &'a Args,
    map: HeightMap,
    /// Of all walks.
    bytes: u64,
}

impl Checker<'_> {
    fn check(mut self, file: &Toolpath, original: Option<&Toolpath>) -> Result<Found, Failure> {
        self.bytes = 2 * file.length + original.map_or(0, |o| o.length);
        let mut progress = Progress::new(Some(self.bytes), false);
        let found = self.walk(file, original, &mut progress);
        progress.finish();
        let Walked { marker, look, other, proof } = found?;
        let card = self.args.card.shown();
        let limits = self.args.limits();
        let known = Known::of(&self.map).filter(|_| look.has_first_layer());
        let enough = known.and_then(|k| k.enough(&look.report.footprint, &limits.window));
        Ok(Found { name: file.name.clone(), card, map: self.map, marker, limits, enough, look, other, proof })
    }

    fn walk(
        &mut self,
        file: &Toolpath,
        original: Option<&Toolpath>,
        progress: &mut Progress,
    ) -> Result<Walked, Failure> {
        let mut first = self.look(file, GapOptions::default(), progress)?;
        let marker = first.report.marker.clone();
        if let (Some(marker), None) = (&marker, self.args.surface)
            && marker.surface != self.map.kind()
        {
            self.map = HeightMap::fit(self.map.card(), marker.surface)
                .map_err(|e| Failure::card(&e, self.args.card.shown(), ""))?;
            first = self.look(file, GapOptions::default(), progress)?;
        }
        let Some(original) = original else {
            let Some(marker) = &marker else {
                let other = self.if_rewritten(file, &first, progress)?;
                return Ok(Walked { marker: None, look: first, other: other.map(Some), proof: None });
            };
            let layers = std::mem::take(&mut first.report.sliced);
            let look = self.look(file, self.second(marker.followed, layers), progress)?;
            return Ok(Walked { marker: Some(marker.clone()), look, other: Ok(None), proof: None });
        };
        let before = self.look(original, GapOptions::default(), progress)?;
        let layers = before.report.layers.iter().map(|l| l.z).collect();
        // What bears no marker is looked at as it is: it may be the original itself.
        let look = match &marker {
            Some(marker) => self.look(file, self.second(marker.followed, layers), progress)?,
            None => first,
        };
        let verdict = self.prove(file, original, marker.as_ref())?;
        Ok(Walked { marker, look, other: Ok(Some(before)), proof: Some((original.name.clone(), verdict)) })
    }

    /// How to look a second time, when the layers are known.
    fn second(&self, followed: Followed, layers: Vec<f64>) -> GapOptions {
        let mut options = GapOptions::default();
        options.followed = Some(followed);
        options.layers = layers;
        options
    }

    /// Walks a toolpath once, or twice where the path that is to be drawn is not the lowest layer's.
    fn look(&self, file: &Toolpath, mut options: GapOptions, progress: &mut Progress) -> Result<Look, Failure> {
        options.reading = self.args.reading();
        options.window = self.args.limits().window;
        if self.args.picture.is_some() {
            options.keep = Keep::Lowest;
            options.most_kept = MOST_DRAWN;
        }
        loop {
            let mut gaps = Gaps::new(&self.map, options.clone());
            file.walk(|chunk| {
                progress.add(chunk.len());
                gaps.push(chunk).map_err(|e| file.refused(&e))
            })?;
            let report = gaps.finish().map_err(|e| file.refused(&e))?;
            let judgement = judge(&report, &self.args.limits(), &self.map.card().machine);
            if options.keep == Keep::Lowest && judgement.layers > 1 {
                options.keep = Keep::At(report.layers[judgement.layers - 1].z);
                continue;
            }
            return Ok(Look { report, judgement });
        }
    }

    /// What the file would do if it were rewritten; or why it would not be.
    fn if_rewritten(
        &self,
        file: &Toolpath,
        first: &Look,
        progress: &mut Progress,
    ) -> Result<Result<Look, String>, Failure> {
        let reading = self.args.reading();
        let mut options = Options::default();
        options.e_start = reading.e_start;
        options.g90_sets_e = reading.g90_sets_e;
        options.allow.unknown_motion = reading.unknown_motion;
        options.allow.own_levelling = reading.own_levelling;
        let mut rewriter = match Rewriter::new(&self.map, options) {
            Ok(rewriter) => rewriter,
            Err(e) => return Ok(Err(told(&e))),
        };
        let followed = Followed { taper: rewriter.taper(), shift: 0.0 };
        let mut asked = self.second(followed, first.report.layers.iter().map(|l| l.z).collect());
        asked.reading = reading;
        asked.window = self.args.limits().window;
        let mut gaps = Gaps::new(&self.map, asked);
        let mut rewritten = Vec::new();
        let mut refusal: Option<String> = None;
        file.walk(|chunk| {
            progress.add(chunk.len());
            if refusal.is_none() {
                let pushed = rewriter.push(chunk, &mut rewritten).and_then(|()| gaps.push(&rewritten));
                refusal = pushed.err().map(|e| told(&e));
                rewritten.clear();
            }
            Ok(())
        })?;
        if let Some(refusal) = refusal {
            return Ok(Err(refusal));
        }
        let report = match rewriter.finish(&mut rewritten).and_then(|_| gaps.push(&rewritten)) {
            Ok(()) => gaps.finish(),
            Err(e) => Err(e),
        };
        Ok(report.map_err(|e| told(&e)).map(|report| {
            let judgement = judge(&report, &self.args.limits(), &self.map.card().machine);
            Look { report, judgement }
        }))
    }

    fn prove(&self, file: &Toolpath, original: &Toolpath, marker: Option<&Marker>) -> Result<Verdict, Failure> {
        let mut options = ProofOptions::default();
        options.reading = self.args.reading();
        if let Some(marker) = marker {
            options.followed = marker.followed;
            options.flow = marker.flow;
        }
        // What is proven must not say how closely.
        options.tolerance = self.args.tolerance;
        options.floor = self.args.floor;
        let mut proof = Proof::new(&self.map, options);
        let (mut a, mut b) = (original.open()?, file.open()?);
        let mut chunk = vec![0; CHUNK];
        let mut ended = [false; 2];
        while ended != [true; 2] {
            let side = match proof.behind() {
                Side::Original if ended[0] => Side::Rewritten,
                Side::Rewritten if ended[1] => Side::Original,
                side => side,
            };
            let pushed = match side {
                Side::Original => {
                    let n = original.read(&mut *a, &mut chunk)?;
                    ended[0] = n == 0;
                    proof.push_original(&chunk[..n])
                }
                Side::Rewritten => {
                    let n = file.read(&mut *b, &mut chunk)?;
                    ended[1] = n == 0;
                    proof.push_rewritten(&chunk[..n])
                }
            };
            pushed.map_err(|e| original.refused(&e))?;
        }
        proof.finish().map_err(|e| original.refused(&e))
    }
}
