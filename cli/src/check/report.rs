//! What `check` found, in words and as JSON.

use super::{Found, Look};
use crate::cautions;
use crate::prove;
use evengap::check::judge::{About, percent};
use evengap::check::proof::Verdict;
use evengap::check::{Finding, Limits, Marker, Pace, Shares};
use evengap::known::Enough;

/// Faults of a proof that are told.
const MOST_FAULTS: usize = 8;

/// Worst places that are told.
const MOST_PLACES: usize = 6;

/// In words, the verdict first.
pub(super) fn text(found: &Found) -> String {
    let mut out = format!("{} over {} (card {})\n", found.name, found.card, found.map.card().digest());
    if let Some(marker) = &found.marker {
        out += &rewritten(marker, &found.map.card().digest());
    }
    out.push('\n');
    for finding in &found.look.judgement.findings {
        out += &format!("{}\n", sentence(finding));
    }
    out += &found.enough.map_or(String::new(), |enough| format!("  The card is {enough}.\n"));
    if let Some((original, verdict)) = &found.proof {
        out += &proof(original, verdict, found.marker.is_some());
    }
    out.push('\n');
    out += &table(found);
    out += &worst(found);
    out += &above(found);
    match &found.other {
        Err(reason) => out += &format!("\nIt would not be rewritten as it is: {reason}\n"),
        // What the machine cannot do would be told too late by the rewritten file.
        Ok(Some(look)) if found.proof.is_none() => {
            let own: Vec<About> = found.look.judgement.findings.iter().filter(|f| f.breaks).map(|f| f.about).collect();
            for finding in look.judgement.findings.iter().filter(|f| f.breaks && !own.contains(&f.about)) {
                out += &format!("\nIf it were rewritten: {}.\n", finding.text);
            }
        }
        Ok(_) => {}
    }
    out.push('\n');
    out += &cautions::lines(&cautions::BRIEF);
    out.push('\n');
    out
}

fn rewritten(marker: &Marker, card: &str) -> String {
    let whose = if marker.card == card { "this card" } else { "another card" };
    let taper = match marker.followed.taper {
        Some([from, to]) => format!("taper {from}..{to} mm"),
        None => "no taper".to_owned(),
    };
    let shift = match marker.followed.shift {
        0.0 => String::new(),
        shift => format!(", shift {shift} mm"),
    };
    let flow = if marker.flow { "" } else { ", flow off" };
    let mut text = format!("Rewritten with {whose}: {taper}, tolerance {} mm{shift}{flow}\n", marker.tolerance);
    if marker.card != card {
        text += &format!(
            "It was made for card {}: what is told here is how it would print on the bed of this one. Give --original for a sure figure.\n",
            marker.card
        );
    }
    text
}

fn sentence(finding: &Finding) -> String {
    let mut letters = finding.text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{} {first}{}.", if finding.breaks { "!" } else { " " }, letters.as_str())
}

fn proof(original: &str, verdict: &Verdict, marked: bool) -> String {
    if verdict.is_proven() {
        return format!("  Proven against {original}: {}.\n", prove::proven(verdict));
    }
    let mut out = format!("! Not proven against {original}:\n");
    if !marked {
        out += "    the file bears no marker of a rewriting: is it the right one?\n";
    }
    for fault in verdict.faults.iter().take(MOST_FAULTS) {
        out += &format!("    {}\n", prove::told(Some(fault)));
    }
    let told = verdict.faults.len().min(MOST_FAULTS);
    let more = u64::try_from(verdict.faults.len() - told).unwrap_or(0) + verdict.more_faults;
    if more > 0 {
        out += &format!("    and {more} more\n");
    }
    if let Some(line) = verdict.lost_at {
        out += &format!("    from line {line} of the original on the two could not be laid side by side\n");
    }
    out
}

/// The figures: a column for the file, and one for what it would be or was.
fn table(found: &Found) -> String {
    let other = found.other.as_ref().ok().and_then(Option::as_ref);
    let (own, others) = ("as it is", if found.proof.is_some() { "original" } else { "if rewritten" });
    let mut columns: Vec<(&str, &Look)> = vec![(own, &found.look)];
    columns.extend(other.map(|look| (others, look)));
    let mut rows: Vec<(String, Vec<String>, String)> = Vec::new();
    let mut row = |name: &str, cell: &dyn Fn(&Look) -> String, limit: String| {
        rows.push((name.to_owned(), columns.iter().map(|(_, look)| cell(look)).collect(), limit));
    };
    let share = |part: fn(&Shares) -> f64| {
        move |look: &Look| {
            if look.has_first_layer() { of(&look.judgement.first, part) } else { "none".to_owned() }
        }
    };
    let lowest = match found.look.judgement.layers {
        layers @ 2.. => format!("Lowest {layers} layers, path"),
        _ => "First layer, path".to_owned(),
    };
    row(&lowest, &|look| format!("{:.0} mm", look.judgement.first.all), String::new());
    row("  right", &share(|s| s.right), format!("at least {}", percent(1.0 - found.limits.outside)));
    row("  too far", &share(|s| s.far), String::new());
    row("  too near", &share(|s| s.near), String::new());
    let unmeasured = if found.limits.unmeasured < 1.0 {
        format!("at most {}", percent(found.limits.unmeasured))
    } else {
        String::new()
    };
    row("  outside the readings", &|look| of(&look.judgement.first, |s| s.unmeasured), unmeasured);
    let machine = &found.map.card().machine;
    let limit = |limit: Option<f64>| limit.map_or(String::new(), |l| format!("{l}"));
    row("Time of the moves", &|look| duration(look.report.pace.seconds), String::new());
    if found.marker.is_some() && other.is_none() {
        row("  without compensation", &|look| duration(look.report.pace.seconds_flat), String::new());
    }
    let peak = |part: fn(&Pace) -> evengap::check::Peak| {
        move |look: &Look| match part(&look.report.pace) {
            peak if peak.line == 0 => "0".to_owned(),
            peak => format!("{} (line {})", figure(peak.value), peak.line),
        }
    };
    row("Z speed, mm/s", &peak(|p| p.z_speed), limit(machine.z_speed));
    row("  largest step", &peak(|p| p.z_speed_step), limit(machine.z_speed_step));
    row("Moves a second", &peak(|p| p.moves_per_second), limit(machine.moves_per_second));
    if let Some(steps) = machine.z_steps_per_mm {
        row("Z steps a second", &|look| figure(look.report.pace.z_speed.value * steps), String::new());
    }
    if columns.iter().any(|(_, look)| look.report.pace.untimed > 0) {
        row("Moves without a time", &|look| look.report.pace.untimed.to_string(), String::new());
    }
    let heads: Vec<String> = columns.iter().map(|(head, _)| (*head).to_owned()).collect();
    rows.insert(0, (String::new(), heads, "limit".to_owned()));
    laid_out(&rows)
}

fn laid_out(rows: &[(String, Vec<String>, String)]) -> String {
    let columns = rows.first().map_or(0, |(_, cells, _)| cells.len());
    let names = rows.iter().map(|(name, ..)| name.len()).max().unwrap_or(0);
    let widths: Vec<usize> =
        (0..columns).map(|n| rows.iter().map(|(_, cells, _)| cells[n].len()).max().unwrap_or(0)).collect();
    let limits = rows.iter().map(|(.., limit)| limit.len()).max().unwrap_or(0);
    let mut out = String::new();
    for (name, cells, limit) in rows {
        let mut line = format!("{name:names$}");
        for (cell, width) in cells.iter().zip(&widths) {
            line += &format!("  {cell:>width$}");
        }
        line += &format!("  {limit:>limits$}");
        out += line.trim_end();
        out.push('\n');
    }
    out
}

fn of(shares: &Shares, part: fn(&Shares) -> f64) -> String {
    if shares.all > 0.0 { percent(part(shares) / shares.all) } else { "none".to_owned() }
}

fn worst(found: &Found) -> String {
    let places = &found.look.judgement.worst;
    if places.is_empty() {
        return String::new();
    }
    let mut rows = vec![["line", "X", "Y", "gap", "meant", "where"].map(str::to_owned)];
    rows.extend(places.iter().take(MOST_PLACES).map(|w| {
        let mm = |value: f64| format!("{value:.3}");
        [w.line.to_string(), format!("{:.1}", w.x), format!("{:.1}", w.y), mm(w.gap), mm(w.meant), w.place.to_owned()]
    }));
    let widths: [usize; 6] = std::array::from_fn(|n| rows.iter().map(|r| r[n].len()).max().unwrap_or(0));
    let mut out = "\nWorst gaps of the first layer, mm:\n".to_owned();
    for row in rows {
        let [line, x, y, gap, meant, place] = row;
        let [a, b, c, d, e, _] = widths;
        out += &format!("  {line:>a$}  {x:>b$}  {y:>c$}  {gap:>d$}  {meant:>e$}  {place}\n");
    }
    out
}

/// The layers above the first.
fn above(found: &Found) -> String {
    let layers = found.look.report.layers.get(found.look.judgement.layers..).unwrap_or_default();
    if layers.is_empty() || !found.look.has_first_layer() {
        return String::new();
    }
    let high = layers.iter().max_by(|a, b| a.farthest.deviation.total_cmp(&b.farthest.deviation));
    let low = layers.iter().min_by(|a, b| a.nearest.deviation.total_cmp(&b.nearest.deviation));
    let (Some(high), Some(low), Some(top)) = (high, low, layers.last()) else { return String::new() };
    let side = |deviation: f64| {
        let size = format!("{:.3} mm", deviation.abs());
        if deviation < 0.0 { format!("{size} nearer") } else { format!("{size} farther") }
    };
    let mut sums = Shares::default();
    for layer in layers {
        let (sum, path) = (&mut sums, &layer.path);
        sum.all += path.all;
        sum.right += path.right;
    }
    format!(
        "\nThe {} above it, to Z {:.2} mm: over the bed, {} of the path within the same window; from {} (line {}) to {} (line {}) than \
         sliced. These lie on the layer below, so that a bent bed matters less there.\n",
        match layers.len() {
            1 => "layer".to_owned(),
            n => format!("{n} layers"),
        },
        top.z,
        of(&sums, |s| s.right),
        side(low.nearest.deviation),
        low.nearest.line,
        side(high.farthest.deviation),
        high.farthest.line
    )
}

fn duration(seconds: f64) -> String {
    let round = seconds.round();
    if round < 60.0 {
        return format!("{seconds:.1} s");
    }
    let (hours, rest) = ((round / 3600.0).floor(), round % 3600.0);
    let (minutes, seconds) = ((rest / 60.0).floor(), rest % 60.0);
    if hours > 0.0 {
        format!("{hours} h {minutes:02} min {seconds:02} s")
    } else {
        format!("{minutes} min {seconds:02} s")
    }
}

fn figure(value: f64) -> String {
    if value < 10.0 { format!("{value:.3}") } else { format!("{value:.0}") }
}

#[derive(serde::Serialize)]
struct Json<'a> {
    file: &'a str,
    card: String,
    passes: bool,
    rewritten: Option<&'a Marker>,
    #[serde(flatten)]
    judgement: &'a evengap::check::Judgement,
    known: Option<Enough>,
    /// What it is held against; the machine's are the card's.
    limits: &'a Limits,
    machine: &'a evengap::card::Machine,
    pace: Pace,
    above: &'a [evengap::check::Layer],
    #[serde(skip_serializing_if = "Option::is_none")]
    if_rewritten: Option<Other<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    refused: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    original: Option<Other<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    proven: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    proof: Option<&'a Verdict>,
    caution: String,
}

#[derive(serde::Serialize)]
struct Other<'a> {
    findings: &'a [Finding],
    first: &'a Shares,
    pace: Pace,
}

/// For machines.
pub(super) fn json(found: &Found) -> String {
    let other = found.other.as_ref().ok().and_then(Option::as_ref);
    let other = other.map(|look| Other {
        findings: &look.judgement.findings,
        first: &look.judgement.first,
        pace: look.report.pace,
    });
    let (original, if_rewritten) = if found.proof.is_some() { (other, None) } else { (None, other) };
    let json = Json {
        file: &found.name,
        card: found.map.card().digest(),
        passes: found.passes(),
        rewritten: found.marker.as_ref(),
        judgement: &found.look.judgement,
        known: found.enough,
        limits: &found.limits,
        machine: &found.map.card().machine,
        pace: found.look.report.pace,
        above: found.look.report.layers.get(found.look.judgement.layers..).unwrap_or_default(),
        if_rewritten,
        refused: found.other.as_ref().err().map(String::as_str),
        original,
        proven: found.proof.as_ref().map(|(_, verdict)| verdict.is_proven()),
        proof: found.proof.as_ref().map(|(_, verdict)| verdict),
        caution: cautions::paragraph(&cautions::BRIEF),
    };
    let mut text = serde_json::to_string_pretty(&json).unwrap_or_default();
    text.push('\n');
    text
}
