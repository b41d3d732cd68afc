//! What a plan shows: the bed, the bed with what its screws have to do, or what changed between two cards.

use super::edge::Edge;
use super::legend::{temperatures, title_rows};
use super::levels::{plain, plain_fixed, signed};
use super::{PlanOptions, Spot, Survey, legend};
use crate::HeightMap;
use crate::compare::{Difference, Level};
use crate::known::{Known, Over};
use crate::number::{Shown, within};
use crate::tram::{ScrewTurn, Tram};

/// See the module.
pub(super) enum Subject<'a> {
    /// Heights as they are.
    Bed,
    /// Heights before turning, and the turns.
    Screws(&'a Tram),
    /// Later heights less earlier ones.
    Change {
        /// The later map is the survey's own.
        difference: &'a Difference,
        earlier: &'a HeightMap,
        /// What the two are called: earlier, later.
        names: [&'a str; 2],
    },
    /// How well the bed is known.
    Known(Over),
}

/// A plan of the bed as it is, with what each screw has to do: a curved arrow the way to turn the knob, seen from above,
/// and beside it mm and turns.
///
/// `map`: the one that `tram` was reckoned from. Otherwise as [`plan`](super::plan).
#[must_use]
pub fn tram_plan(map: &HeightMap, tram: &Tram, options: &PlanOptions) -> String {
    Survey { subject: Subject::Screws(tram), ..Survey::new(map.card(), map) }.draw(options)
}

/// A contour plan of what changed: the later map's heights less the earlier's, mm, up is positive.
///
/// `difference`: of the same two maps. `names`: what the two are called on the sheet, the earlier first. Spot heights
/// are the changes at the places that were read; beyond the rectangle that both cards' readings bound, the contours are
/// dashed and repeat its rim. Otherwise as [`plan`](super::plan).
///
/// ```
/// use evengap::compare::difference;
/// use evengap::draw::{PlanOptions, difference_plan};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
///
/// let change = difference(&map, &map)?;
/// let plan = difference_plan([&map, &map], &change, ["in May", "in June"], &PlanOptions::default());
/// assert!(plan.starts_with("<svg"));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn difference_plan(
    [earlier, later]: [&HeightMap; 2],
    difference: &Difference,
    names: [&str; 2],
    options: &PlanOptions,
) -> String {
    let spots = difference.points.iter().map(|p| Spot { at: [p.x, p.y], height: p.change_mm }).collect();
    let [x0, y0, x1, y1] = difference.over;
    let change = |x: f64, y: f64| {
        // Not `clamp`: it panics where a rectangle made by hand is none.
        let (x, y) = (x.max(x0).min(x1), y.max(y0).min(y1));
        later.height(x, y) - earlier.height(x, y) - difference.taken_off_mm
    };
    let survey = Survey::of(later.card(), later, spots, difference.over, &change);
    Survey {
        decimals: survey.decimals.max(super::decimals(earlier.card())),
        subject: Subject::Change { difference, earlier, names },
        ..survey
    }
    .draw(options)
}

/// A plan of how well the bed is known: the distance from the map within which it lies, place by place, mm.
///
/// Spot heights are that distance at the readings. Otherwise as [`plan`](super::plan).
///
/// ```
/// use evengap::draw::{PlanOptions, known_plan};
/// use evengap::known::Known;
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\n\
/// #   points = [[20, 20, 0.10], [180, 20, 0.14], [100, 100, 0.20], [20, 180, 0.12], [180, 180, 0.16]]\n")?;
/// # let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
///
/// let plan = Known::of(&map).map(|known| known_plan(&known, &PlanOptions::default()));
/// assert!(plan.is_some_and(|svg| svg.starts_with("<svg")));
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn known_plan(known: &Known, options: &PlanOptions) -> String {
    let map = known.map();
    let edge = Edge::of(&map.card().bed);
    let within = Sampled::of(&edge, &|x, y| known.at(x, y).within);
    let at = |x: f64, y: f64| within.at(x, y);
    let spots = super::pooled(map.readings().iter().map(|r| Spot { at: [r.x, r.y], height: at(r.x, r.y) }));
    let survey = Survey::of(map.card(), map, spots, map.measured(), &at);
    Survey { decimals: 3, subject: Subject::Known(known.over_bed()), ..survey }.draw(options)
}

/// Cells of [`Sampled`] along each side.
const CELLS: u32 = 40;

/// A smooth function that is dear to reckon, by its values on a coarse grid: cubic between them (Catmull and Rom 1974).
struct Sampled {
    from: [f64; 2],
    step: [f64; 2],
    /// From one node before the edge to one beyond it.
    values: Vec<f64>,
}

impl Sampled {
    fn of(edge: &Edge, value: &dyn Fn(f64, f64) -> f64) -> Sampled {
        let cells = f64::from(CELLS);
        let (from, step) = ([edge.x[0], edge.y[0]], [edge.width() / cells, edge.depth() / cells]);
        let nodes = || (0..CELLS + 3).map(|k| f64::from(k) - 1.0);
        let values =
            nodes().flat_map(|j| nodes().map(move |i| value(from[0] + i * step[0], from[1] + j * step[1]))).collect();
        Sampled { from, step, values }
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let cell = |v: f64, axis: usize| {
            let along = within((v - self.from[axis]) / self.step[axis], 0.0, f64::from(CELLS));
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to CELLS - 1")]
            let k = along.min(f64::from(CELLS) - 1.0).max(0.0) as usize;
            #[expect(clippy::cast_precision_loss, reason = "from 0 to CELLS - 1")]
            let share = along - k as f64;
            (k, share)
        };
        let ((i, s), (j, t)) = (cell(x, 0), cell(y, 1));
        let side = CELLS as usize + 3;
        let cubic = |p: [f64; 4], t: f64| {
            p[1] + 0.5
                * t
                * (p[2] - p[0]
                    + t * (2.0 * p[0] - 5.0 * p[1] + 4.0 * p[2] - p[3] + t * (3.0 * (p[1] - p[2]) + p[3] - p[0])))
        };
        let row = |j: usize| cubic([0, 1, 2, 3].map(|k| self.values[j * side + i + k]), s);
        cubic([row(j), row(j + 1), row(j + 2), row(j + 3)], t).max(0.0)
    }
}

impl Subject<'_> {
    /// A name for the clip path that no other plan on a page has.
    pub(super) fn id(&self, digest: &str) -> String {
        match self {
            Subject::Bed => format!("evengap-bed-{digest}"),
            Subject::Screws(_) => format!("evengap-tram-{digest}"),
            Subject::Change { earlier, .. } => format!("evengap-change-{}-{digest}", earlier.card().digest()),
            Subject::Known(_) => format!("evengap-known-{digest}"),
        }
    }

    /// The document's title, for who does not see it.
    pub(super) fn title(&self) -> &'static str {
        match self {
            Subject::Bed => "Contour plan of the bed",
            Subject::Screws(_) => "Plan of the bed with its screws\u{2019} turns",
            Subject::Change { .. } => "Contour plan of the bed\u{2019}s change",
            Subject::Known(_) => "Plan of how well the bed is known",
        }
    }

    pub(super) fn heading(&self) -> &'static str {
        match self {
            Subject::Bed => "Plan of the bed",
            Subject::Screws(_) => "What the screws have to do",
            Subject::Change { .. } => "What changed",
            Subject::Known(_) => "How well the bed is known",
        }
    }

    pub(super) fn under_heading(&self) -> String {
        match self {
            Subject::Bed => "Heights in mm above the toolpath\u{2019}s Z = 0; up is positive".to_owned(),
            Subject::Screws(_) => {
                "Turn each knob as its arrow shows, seen from above. Heights in mm before turning; up is positive"
                    .to_owned()
            }
            Subject::Change { names: [earlier, later], .. } => {
                format!("{later} minus {earlier}, mm; where the bed has risen is positive")
            }
            Subject::Known(_) => "The bed lies within so many mm of the map, 95 times in 100".to_owned(),
        }
    }

    /// What a spot height is.
    pub(super) fn spot(&self) -> &'static str {
        match self {
            Subject::Change { .. } => "read here: the change",
            Subject::Known(_) => "reading, known there to, mm",
            _ => "reading, with its height",
        }
    }

    /// What the line of 0 is.
    pub(super) fn zero(&self) -> &'static str {
        match self {
            Subject::Change { .. } => "no change",
            _ => "height 0",
        }
    }

    /// A height as it is written, on a contour or at a reading.
    pub(super) fn figure(&self, height: f64, decimals: usize) -> String {
        match self {
            Subject::Known(_) => plain_fixed(height, decimals),
            _ => signed(height, decimals),
        }
    }

    /// What the ends of the tints mean.
    pub(super) fn ends(&self) -> [&'static str; 2] {
        match self {
            Subject::Change { .. } => ["fell", "rose, mm"],
            Subject::Known(_) => ["well known", "less well, mm"],
            _ => ["lower", "higher, mm"],
        }
    }

    pub(super) fn turns(&self) -> Option<&[ScrewTurn]> {
        match self {
            Subject::Screws(tram) => Some(&tram.screws),
            _ => None,
        }
    }

    /// Rows of the title block.
    pub(super) fn rows(&self, survey: &Survey<'_>) -> Vec<(&'static str, String)> {
        let decimals = survey.decimals.max(2);
        let mut rows = title_rows(survey);
        match self {
            Subject::Bed => {}
            Subject::Known(over) => {
                let text = |over: &Over| format!("to \u{b1}{:.3} mm (95 %)", Shown(over.within));
                rows[0] = ("Known", text(over));
                let worst = &over.worst;
                let text = format!(
                    "\u{b1}{:.3} mm, {}: X {}, Y {}",
                    Shown(worst.within),
                    worst.place,
                    plain(worst.x, 1),
                    plain(worst.y, 1)
                );
                set(&mut rows, "Range", text);
                rows[1].0 = "Worst";
            }
            Subject::Screws(tram) => {
                let text = format!(
                    "{} mm at the readings, {} mm after turning",
                    plain_fixed(tram.range_before_mm, decimals),
                    plain_fixed(tram.range_after_mm, decimals)
                );
                set(&mut rows, "Range", text);
                if let Some(screws) = &survey.card.screws {
                    let thread = screws.thread.as_ref().map_or(String::new(), |t| format!("{t}, "));
                    let text = format!("{thread}{} mm a turn, {} raises", plain(screws.pitch, 4), screws.raise.word());
                    rows.insert(2, ("Screws", text));
                }
            }
            Subject::Change { difference, earlier, .. } => {
                let [low, high] = survey.range;
                set(&mut rows, "Heights", format!("{} to {} mm", signed(low, decimals), signed(high, decimals)));
                rows[0].0 = "Change";
                rows.retain(|(name, _)| !matches!(*name, "Readings" | "Spread" | "Set to 0 at" | "Taken at" | "Card"));
                let level = match difference.level {
                    Level::Absolute => "both above the toolpath\u{2019}s Z = 0",
                    Level::SamePlace => "both set to 0 at one place",
                    Level::ShapesOnly => "not comparable: the mean is taken off",
                };
                rows.push(("Level", level.to_owned()));
                for (k, (name, map)) in [("Earlier", *earlier), ("Later", survey.map)].into_iter().enumerate() {
                    let taken = temperatures(difference.bed_celsius[k], difference.nozzle_celsius[k]);
                    rows.push((name, format!("{}, {taken}", map.card().digest())));
                }
            }
        }
        rows
    }

    /// The plan in words, for who does not see it.
    pub(super) fn description(&self, survey: &Survey<'_>) -> String {
        match self {
            Subject::Bed => legend::description(survey),
            Subject::Known(over) => format!(
                "The bed seen from above, the front at the bottom: {}. {} readings. The bed is known to \u{b1}{:.3} mm (95 %), worst {}: \u{b1}{:.3} mm.",
                legend::bed(survey),
                survey.card.readings.points.len(),
                Shown(over.within),
                over.worst.place,
                Shown(over.worst.within)
            ),
            Subject::Screws(tram) => {
                let orders: Vec<String> = tram.screws.iter().map(ToString::to_string).collect();
                format!("{} The screws: {}.", legend::description(survey), orders.join("; "))
            }
            Subject::Change { difference, names: [earlier, later], .. } => {
                let d = survey.decimals.max(2);
                let (low, high) = (&difference.lowest, &difference.highest);
                format!(
                    "The bed seen from above, the front at the bottom: {later} minus {earlier}. The change runs from {} mm ({}) to {} mm ({}).",
                    signed(low.change_mm, d),
                    low.place,
                    signed(high.change_mm, d),
                    high.place
                )
            }
        }
    }
}

fn set(rows: &mut [(&'static str, String)], name: &str, text: String) {
    if let Some(row) = rows.iter_mut().find(|(n, _)| *n == name) {
        row.1 = text;
    }
}
