//! What was found along a toolpath, held against limits and put into plain words.

use super::gaps::{Deviation, GapReport, Shares, Third, Window};
use super::pace::Peak;
use crate::card::Machine;
use crate::footprint::first_layers;
use crate::number::Shown;
use crate::order::{sort_by, sort_by_key};
use crate::whereabouts::THIRDS;

/// What a toolpath may do. The defaults are common practice, no source, but for the machine's, which only its card can tell.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(default, deny_unknown_fields)]
#[non_exhaustive]
pub struct Limits {
    /// Within which gaps the first layer sticks: the window that the [report](GapReport) was made with.
    pub window: Window,
    /// At most this share of the first layer's path, 0 to 1, may lie outside the window. Default 0.01.
    pub outside: f64,
    /// At most this share of the first layer's path, 0 to 1, may lie outside the readings. Default 1: it is told and breaks nothing.
    pub unmeasured: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Limits { window: Window::default(), outside: 0.01, unmeasured: 1.0 }
    }
}

/// What a finding is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum About {
    /// No filament is laid.
    Nothing,
    /// Filament is laid where the position is not known.
    Unplaced,
    /// The first layer was sliced at Z 0 or below: no gap is meant.
    NoGap,
    /// The first layer's gap is right.
    Right,
    /// Too far from the bed.
    Far,
    /// Too near to the bed.
    Near,
    /// Outside the readings.
    Unmeasured,
    /// The speed of Z.
    ZSpeed,
    /// Changes of the speed of Z.
    ZSpeedStep,
    /// Moves in a second.
    Moves,
    /// Steps of the Z motor.
    ZSteps,
    /// Z changes all the while, and no marker tells the layers: which is the first cannot be told.
    NoLayers,
    /// The nozzle would be below the bed's surface.
    Ploughs,
}

/// One thing that was found.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Finding {
    /// What it is about.
    pub about: About,
    /// Whether a limit is broken.
    pub breaks: bool,
    /// In words, one sentence.
    pub text: String,
}

/// The worst gap in one place of the bed.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct WorstGap {
    /// In words: see [`THIRDS`].
    pub place: &'static str,
    /// The line, from 1.
    pub line: u64,
    /// X, mm.
    pub x: f64,
    /// Y, mm.
    pub y: f64,
    /// The gap, mm.
    pub gap: f64,
    /// The gap that the slicer meant, mm.
    pub meant: f64,
}

/// The judgement.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize)]
#[cfg_attr(feature = "typescript", derive(tsify::Tsify))]
#[non_exhaustive]
pub struct Judgement {
    /// What was found, the gravest first.
    pub findings: Vec<Finding>,
    /// The first layer's path by length, mm: of the lowest layer, and of those above it up to the first that is more than a primed line.
    pub first: Shares,
    /// How many layers that is.
    pub layers: usize,
    /// The worst gap of each place of the bed that has any outside the window, the worst first.
    pub worst: Vec<WorstGap>,
}

impl Judgement {
    /// Whether no limit is broken.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.findings.iter().all(|f| !f.breaks)
    }
}

/// Holds what was found against limits, and the machine's own.
///
/// ```
/// use evengap::check::{GapOptions, Gaps, Limits, judge};
/// # use evengap::{Card, HeightMap, SurfaceKind};
/// # let card = Card::parse("[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0\n\
/// #   points = [[0, 0, 0], [200, 0, 0.2], [0, 200, 0]]\n").unwrap();
/// // This bed rises by 0.2 mm from left to right.
/// let map = HeightMap::fit(&card, SurfaceKind::ThinPlate)?;
/// let mut gaps = Gaps::new(&map, GapOptions::default());
/// gaps.push(b"G1 X0 Y100 Z0.2\nG1 X200 E10\n")?;
/// let judgement = judge(&gaps.finish()?, &Limits::default(), &card.machine);
/// assert!(!judgement.passes());
/// assert_eq!(
///     judgement.findings[0].text,
///     "70 % of the first layer is too near, the nozzle would scrape or plug: right, middle, left"
/// );
/// # Ok::<(), evengap::Error>(())
/// ```
#[must_use]
pub fn judge(report: &GapReport, limits: &Limits, machine: &Machine) -> Judgement {
    let lengths: Vec<f64> = report.layers.iter().map(|l| l.path.all).collect();
    let layers = first_layers(&lengths);
    let mut first = Shares::default();
    for layer in &report.layers[..layers] {
        first.add(&layer.path);
    }
    let worst = worst(report, layers, &limits.window);
    let mut findings = gaps(report, layers, &first, &worst, limits);
    findings.extend(demands(report, machine));
    sort_by_key(&mut findings, |f| !f.breaks);
    Judgement { findings, first, layers, worst }
}

fn gaps(report: &GapReport, layers: usize, first: &Shares, worst: &[WorstGap], limits: &Limits) -> Vec<Finding> {
    let all = first.all;
    if all <= 0.0 {
        return match report.unplaced {
            0 => {
                let text = "no filament is laid: there is no first layer to judge".to_owned();
                vec![Finding { about: About::Nothing, breaks: false, text }]
            }
            moves => {
                let text = format!(
                    "all {moves} moves that lay filament do so where the position is not known: nothing can be judged"
                );
                vec![Finding { about: About::Unplaced, breaks: true, text }]
            }
        };
    }
    if let Some(layer) = report.layers[..layers].last().filter(|l| l.z <= 0.0) {
        let text = format!(
            "the first layer was sliced at Z {}: no gap is meant there, and none can be judged",
            plain(layer.z)
        );
        return vec![Finding { about: About::NoGap, breaks: true, text }];
    }
    if has_no_layers(report, layers, all) {
        let text = "Z changes all the while, as in a file that was rewritten and lost its comments: which layer is the first, and what gap is \
                    meant there, cannot be told"
            .to_owned();
        return vec![Finding { about: About::NoLayers, breaks: true, text }];
    }
    let outside = is_beyond((first.near + first.far) / all, limits.outside);
    let thirds = &report.thirds[..layers];
    let said = |about, breaks, part: fn(&Shares) -> f64, what: &str| {
        let share = part(first) / all;
        (share > 0.0).then(|| {
            let text = format!("{} of the first layer {what}: {}", percent(share), places(thirds, part));
            Finding { about, breaks, text }
        })
    };
    let mut found: Vec<Finding> = [
        ploughs(worst),
        said(About::Far, outside, |s| s.far, "is too far, it would not stick"),
        said(About::Near, outside, |s| s.near, "is too near, the nozzle would scrape or plug"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if found.is_empty() {
        // Where most of it lies outside the readings, that is little to rely on.
        let text = if first.unmeasured > 0.5 * all {
            "the gap of the first layer is right, as far as the map may be trusted"
        } else {
            "the gap of the first layer is right all over"
        };
        found.push(Finding { about: About::Right, breaks: false, text: text.to_owned() });
    }
    if report.unplaced > 0 {
        let text = format!("{} of filament to or from a place that is not known: not judged", moves(report.unplaced));
        found.push(Finding { about: About::Unplaced, breaks: false, text });
    }
    found.extend(said(
        About::Unmeasured,
        is_beyond(first.unmeasured / all, limits.unmeasured),
        |s| s.unmeasured,
        "lies outside the readings, where the bed is only guessed",
    ));
    found
}

/// The nozzle in the bed, where it is deepest.
fn ploughs(worst: &[WorstGap]) -> Option<Finding> {
    let in_the_bed = worst.iter().filter(|w| w.gap < -IN_THE_BED);
    in_the_bed.min_by(|a, b| a.gap.total_cmp(&b.gap)).map(|w| {
        let text = format!(
            "the nozzle would lie up to {:.3} mm below the bed's surface, and plough it: {} (line {})",
            Shown(-w.gap),
            w.place,
            w.line
        );
        Finding { about: About::Ploughs, breaks: true, text }
    })
}

/// A gap below zero by more than this, mm, is told: half of the last digit that is.
const IN_THE_BED: f64 = 0.0005;

/// Whether the lowest layers are so many, and what is taken for the first one so little of them, that it is none.
fn has_no_layers(report: &GapReport, layers: usize, all: f64) -> bool {
    let Some(first) = report.layers[..layers].last() else { return false };
    let near: Vec<f64> = report.layers.iter().filter(|l| l.z <= 2.0 * first.z).map(|l| l.path.all).collect();
    near.len() > MOST_LAYERS && all < FEW * near.iter().sum::<f64>()
}

/// More layers than this do not lie between a first layer and twice its height: common practice, no source.
const MOST_LAYERS: usize = 20;

fn demands(report: &GapReport, machine: &Machine) -> Vec<Finding> {
    let pace = &report.pace;
    let over = |about, peak: Peak, limit: Option<f64>, what: &dyn Fn(String, String) -> String| {
        limit.filter(|limit| is_beyond(peak.value, *limit)).map(|limit| Finding {
            about,
            breaks: true,
            text: format!(
                "{} (line {})",
                what(plain(peak.value), if limit.is_finite() { plain(limit) } else { "no number".to_owned() }),
                peak.line
            ),
        })
    };
    let mut found: Vec<Finding> = [
        over(About::ZSpeed, pace.z_speed, machine.z_speed, &|is, may| {
            format!("Z would have to go {is} mm/s, and the machine's limit is {may}")
        }),
        over(About::ZSpeedStep, pace.z_speed_step, machine.z_speed_step, &|is, may| {
            format!("the speed of Z jumps by {is} mm/s between two moves, and the machine's limit is {may}")
        }),
        over(About::Moves, pace.moves_per_second, machine.moves_per_second, &|is, may| {
            format!("moves come at {is} a second, and the machine's limit is {may}")
        }),
    ]
    .into_iter()
    .flatten()
    .collect();
    if let Some(step) = machine.z_steps_per_mm.map(|n| 1.0 / n).filter(|s| *s > COARSE_STEP && s.is_finite()) {
        let text = format!(
            "one step of the Z motor is {} mm: the nozzle cannot follow the bed closer than half of that",
            plain(step)
        );
        found.push(Finding { about: About::ZSteps, breaks: false, text });
    }
    found
}

/// Nothing keeps a limit that is no number.
fn is_beyond(value: f64, limit: f64) -> bool {
    value > limit || limit.is_nan()
}

/// A step of the Z motor, mm, that is worth a word: twice the default tolerance.
const COARSE_STEP: f64 = 0.01;

/// The places of the bed where most of it is, in falling order.
fn places(thirds: &[[Third; THIRDS.len()]], part: fn(&Shares) -> f64) -> String {
    let mut lengths: Vec<(f64, &str)> = THIRDS
        .iter()
        .enumerate()
        .map(|(n, name)| (thirds.iter().map(|layer| part(&layer[n].path)).sum::<f64>(), *name))
        .collect();
    let all: f64 = lengths.iter().map(|(length, _)| length).sum();
    lengths.retain(|(length, _)| *length >= FEW * all && *length > 0.0);
    sort_by(&mut lengths, |a, b| b.0.total_cmp(&a.0));
    let names: Vec<&str> = lengths.iter().map(|(_, name)| *name).collect();
    match names.first() {
        Some(most) if names.len() > MOST_NAMED => format!("nearly all over the bed, most of it {most}"),
        _ => names.join(", "),
    }
}

/// More places than this are most of the bed.
const MOST_NAMED: usize = 5;
/// Places with less than this share of it are not named.
const FEW: f64 = 0.05;

fn worst(report: &GapReport, layers: usize, window: &Window) -> Vec<WorstGap> {
    let mut found: Vec<(f64, WorstGap)> = Vec::new();
    for (layer, thirds) in report.layers[..layers].iter().zip(&report.thirds) {
        for (place, third) in THIRDS.iter().zip(thirds) {
            let ends: [(f64, Option<Deviation>); 2] =
                [(third.path.near, third.nearest), (third.path.far, third.farthest)];
            for (length, at) in ends {
                if let Some(at) = at.filter(|_| length > 0.0 && layer.z > 0.0) {
                    let gap = layer.z + at.deviation;
                    let share = (gap - layer.z) / layer.z;
                    // How many times as far from right as the window allows.
                    let by = if share < 0.0 { share / (window.near - 1.0) } else { share / (window.far - 1.0) };
                    found.push((by, WorstGap { place, line: at.line, x: at.x, y: at.y, gap, meant: layer.z }));
                }
            }
        }
    }
    // What is as bad either way but for rounding: the nozzle in the bed is worse than a gap.
    let order = |(by, worst): &(f64, WorstGap)| ((by * 1e6).round(), worst.meant - worst.gap);
    sort_by(&mut found, |a, b| {
        let (a, b) = (order(a), order(b));
        b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1))
    });
    found.into_iter().map(|(_, worst)| worst).collect()
}

/// A share in words: whole percent, one decimal below ten.
///
/// ```
/// use evengap::check::judge::percent;
///
/// assert_eq!([percent(0.123), percent(0.0123), percent(0.9999)], ["12 %", "1.2 %", "99.9 %"]);
/// ```
#[must_use]
pub fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent == 0.0 {
        "0 %".to_owned()
    } else if percent < 0.1 {
        "under 0.1 %".to_owned()
    } else if percent < 9.95 {
        format!("{:.1} %", Shown(percent))
    } else if (99.5..100.0).contains(&percent) {
        // Not all of it.
        format!("{:.1} %", Shown(libm::floor(percent * 10.0) / 10.0))
    } else {
        format!("{:.0} %", Shown(percent))
    }
}

fn moves(n: u64) -> String {
    if n == 1 { "1 move".to_owned() } else { format!("{n} moves") }
}

/// A number with the decimals that matter.
fn plain(value: f64) -> String {
    let decimals = match value.abs() {
        size if size < 1.0 => 4,
        size if size < 100.0 => 2,
        _ => 0,
    };
    let text = format!("{:.decimals$}", Shown(value));
    // What is rounded away has no sign.
    let text = if text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) { text.replace('-', "") } else { text };
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_told_so_that_nothing_is_all_or_none() {
        for (share, text) in [
            (0.0, "0 %"),
            (0.0004, "under 0.1 %"),
            (0.012, "1.2 %"),
            (0.1249, "12 %"),
            (0.9999, "99.9 %"),
            (0.9973, "99.7 %"),
            (1.0, "100 %"),
        ] {
            assert_eq!(percent(share), text);
        }
    }

    #[test]
    fn numbers_have_the_decimals_that_matter() {
        for (value, text) in [
            (0.0125, "0.0125"),
            (0.5, "0.5"),
            (12.345, "12.35"),
            (8.0, "8"),
            (1234.5, "1234"),
            (-4e-7, "0"),
            (-0.5, "-0.5"),
        ] {
            assert_eq!(plain(value), text);
        }
    }
}
