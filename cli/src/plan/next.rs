//! Where to read next.

use super::edit::Draft;
use crate::check::toolpath::Toolpath;
use crate::files::Name;
use crate::progress::Progress;
use crate::reading::Start;
use crate::report::Failure;
use evengap::check::{GapOptions, Gaps};
use evengap::known::{Foreseen, MAX_NEXT, Next, next};
use evengap::plan::Room;
use evengap::toolpath::Reading;
use evengap::{Card, HeightMap, SurfaceKind};

/// What is asked for.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Where to read next")]
pub(super) struct Wanted {
    /// Choose so many points that tell most of the bed beside those that the card has, and put them on it with -o
    #[arg(long, value_name = "COUNT", value_parser = count, conflicts_with_all = ["grid", "points", "fill", "ask", "keep"])]
    next: Option<usize>,
    /// A sliced file: what matters is what its first layer lies on, not the whole bed; may be given more than once
    #[arg(long = "for", value_name = "FILE", requires = "next")]
    pub(super) parts: Vec<Name>,
    #[command(flatten)]
    start: Start,
}

/// For clap.
fn count(text: &str) -> Result<usize, String> {
    let count = text.parse().ok().filter(|n| (1..=MAX_NEXT).contains(n));
    count.ok_or_else(|| format!("give a number of points from 1 to {MAX_NEXT}"))
}

/// What was chosen.
pub(super) struct Chosen {
    pub(super) next: Next,
    /// What matters, in words.
    over: String,
    /// Points on the card that are still to be read.
    unread: usize,
}

impl Wanted {
    pub(super) fn asks(&self) -> bool {
        self.next.is_some()
    }

    /// `None` where no points are asked for.
    pub(super) fn choose(&self, draft: &Draft, room: Room) -> Result<Option<Chosen>, Failure> {
        let Some(count) = self.next else { return Ok(None) };
        let card = draft.card();
        let fail = |e: &evengap::Error| Failure::card(e, draft.name().to_owned(), draft.text());
        let (places, over) = match self.parts.as_slice() {
            [] => (None, "over the bed".to_owned()),
            [one] => (Some(self.places(card, &fail)?), format!("under the first layer of {}", one.shown())),
            several => (Some(self.places(card, &fail)?), format!("under the first layers of {} files", several.len())),
        };
        let next = next(card, places.as_deref(), count, room).map_err(|e| fail(&e))?;
        Ok(Some(Chosen { next, over, unread: card.readings.unread.len() }))
    }

    /// Where the files' first layers lie, and how much of their path.
    fn places(&self, card: &Card, fail: &dyn Fn(&evengap::Error) -> Failure) -> Result<Vec<[f64; 3]>, Failure> {
        // Of a rewritten file the map tells the layer that it was sliced with.
        let map = HeightMap::fit(card, SurfaceKind::ThinPlate).or_else(|_| bare(card)).map_err(|e| fail(&e))?;
        let mut places = Vec::new();
        for name in &self.parts {
            let file = Toolpath::of(name)?;
            let mut options = GapOptions::default();
            options.reading = Reading {
                e_start: self.start.e_mode(),
                g90_sets_e: self.start.g90_sets_e,
                // Nothing is rewritten here.
                unknown_motion: true,
                own_levelling: true,
            };
            let mut gaps = Gaps::new(&map, options);
            let mut progress = Progress::new(Some(file.length), false);
            let walked = file.walk(|chunk| {
                progress.add(chunk.len());
                gaps.push(chunk).map_err(|e| file.refused(&e))
            });
            progress.finish();
            walked?;
            let found = gaps.finish().map_err(|e| file.refused(&e))?.footprint.places();
            if found.is_empty() {
                return Err(Failure::plain(format!(
                    "{}: no filament is laid where the position is known: no place on the bed matters for it",
                    file.name
                )));
            }
            places.extend(found);
        }
        Ok(places)
    }
}

/// A flat map of the bed of a card whose readings make none.
fn bare(card: &Card) -> Result<HeightMap, evengap::Error> {
    let mut flat = card.clone();
    let value = flat.readings.sheet.or(flat.readings.parked).unwrap_or(0.0);
    let reading = |x, y| evengap::card::Reading::new(x, y, value);
    let [[x0, x1], [y0, y1]] = [card.bed.x, card.bed.y];
    flat.readings.points = vec![reading(x0, y0), reading(x1, y0), reading(x0, y1)];
    flat.readings.unread.clear();
    HeightMap::fit(&flat, SurfaceKind::ThinPlate)
}

impl Chosen {
    /// In a few lines.
    pub(super) fn text(&self, onto: Option<&Name>) -> String {
        let mut text = match self.unread {
            0 => String::new(),
            1 => "The point that is still to be read counts as read.\n".to_owned(),
            n => format!("The {n} points that are still to be read count as read.\n"),
        };
        let points = &self.next.points;
        text += &format!("Where to read next, what tells most {} first:\n", self.over);
        let mut before = self.next.before;
        for (point, number) in points.iter().zip(1..) {
            let again = if point.again { ", once more" } else { "" };
            text += &format!("  {number:>2}. X {} Y {} ({}{again})", point.x, point.y, point.place);
            if let Some(after) = point.after {
                text += &format!(": then known to +-{:.3} mm", after.within);
                text += &before.map_or(String::new(), |before| format!(", {}", less(&before, &after)));
            }
            text += "\n";
            before = point.after;
        }
        if let Some(after) = points.last().and_then(|p| p.after) {
            text += &match self.next.before {
                Some(now) => format!(
                    "Known {} to +-{:.3} mm now (95 %), to +-{:.3} mm with {} (expected).\n",
                    self.over,
                    now.within,
                    after.within,
                    these(points.len())
                ),
                None => format!(
                    "The card has no map yet; with {} it is known {} to +-{:.3} mm (95 %, expected).\n",
                    these(points.len()),
                    self.over,
                    after.within
                ),
            };
        }
        text + &match onto {
            Some(name) => format!(
                "They are on {} now, in this order: evengap plan --ask asks for them.\n",
                name.shown_as_output()
            ),
            None => "Add -o CARD to put them on the card, in this order.\n".to_owned(),
        }
    }

    /// Puts them on the card.
    pub(super) fn add(&self, draft: &mut Draft) -> Result<(), Failure> {
        draft.add_points(&self.next.points.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>())
    }
}

fn these(count: usize) -> String {
    if count == 1 { "this one".to_owned() } else { format!("these {count}") }
}

/// How much smaller an uncertainty becomes.
fn less(before: &Foreseen, after: &Foreseen) -> String {
    let share = 100.0 * (1.0 - after.within / before.within);
    let digits = usize::from(share < 9.95);
    format!("{share:.digits$} % less")
}
