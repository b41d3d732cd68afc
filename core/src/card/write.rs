//! A card back to text, and its digest.

use super::{Card, Outline, Point};
use crate::number::Shown;
use crate::sha256::Sha256;
use std::fmt::Write as _;

/// The canonical list: one value a line, numbers by their bits, so that no way of printing a number can change it.
fn canonical(card: &Card) -> String {
    let mut out = String::from("card 1\n");
    let mut put = |key: &str, numbers: &[f64]| {
        out.push_str(key);
        for n in numbers {
            // Adding 0 turns -0 into 0.
            let _ = write!(out, " {:016x}", (n + 0.0).to_bits());
        }
        out.push('\n');
    };
    put("bed.x", &card.bed.x);
    put("bed.y", &card.bed.y);
    if card.bed.outline == Outline::Round {
        put("bed.outline.round", &[]);
    }
    for area in &card.bed.keep_out {
        put("bed.keep_out", area);
    }
    let r = &card.readings;
    put(r.method.word(), &[]);
    for (key, value) in r.single_numbers() {
        if let Some(value) = value {
            put(key, &[value]);
        }
    }
    for (key, value) in [("offset", r.offset), ("right_at", r.right_at)] {
        if let Some(value) = value {
            put(key, &value);
        }
    }
    if r.predicted {
        put("predicted", &[]);
    }
    for p in r.all_points() {
        with_numbers(&p, |numbers| put("point", numbers));
    }
    if let Some(screws) = &card.screws {
        put("screws.pitch", &[screws.pitch]);
        put(screws.raise.word(), &[]);
        // By name: JSON writers may sort keys, and the card says the same.
        let mut at: Vec<_> = screws.at.iter().collect();
        crate::order::sort_by(&mut at, |a, b| a.name.cmp(&b.name));
        for s in at {
            put(&format!("screw {}", text(&s.name)), &[s.x, s.y]);
            if let Some(travel) = s.travel {
                put("travel", &travel);
            }
        }
    }
    for (key, value) in card.print.keys() {
        if let Some(value) = value {
            put(key, &[value]);
        }
    }
    out
}

pub(super) fn digest(card: &Card) -> String {
    let mut sum = Sha256::new();
    sum.update(canonical(card).as_bytes());
    sum.finish().iter().take(6).fold(String::new(), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

pub(super) fn toml(card: &Card) -> String {
    let list = |numbers: &[f64]| {
        let words: Vec<String> = numbers.iter().map(|n| Shown(n + 0.0).to_string()).collect();
        format!("[{}]", words.join(", "))
    };
    let mut out = String::new();
    let bed = &card.bed;
    let _ = writeln!(out, "[bed]\nx = {}\ny = {}", list(&bed.x), list(&bed.y));
    if bed.outline == Outline::Round {
        out.push_str("outline = \"round\"\n");
    }
    if !bed.keep_out.is_empty() {
        let areas: Vec<String> = bed.keep_out.iter().map(|k| list(k)).collect();
        let _ = writeln!(out, "keep_out = [{}]", areas.join(", "));
    }
    let r = &card.readings;
    let _ = writeln!(out, "\n[readings]\nmethod = \"{}\"", r.method.word());
    for (key, value) in r.single_numbers() {
        if let Some(value) = value {
            let _ = writeln!(out, "{key} = {}", Shown(value + 0.0));
        }
    }
    for (key, value) in [("offset", r.offset), ("right_at", r.right_at)] {
        if let Some(value) = value {
            let _ = writeln!(out, "{key} = {}", list(&value));
        }
    }
    if r.predicted {
        out.push_str("predicted = true\n");
    }
    out.push_str("points = [\n");
    for p in r.all_points() {
        with_numbers(&p, |numbers| {
            let _ = writeln!(out, "  {},", list(numbers));
        });
    }
    out.push_str("]\n");
    if let Some(screws) = &card.screws {
        out.push_str("\n[screws]\n");
        let _ = match &screws.thread {
            Some(thread) => writeln!(out, "thread = {}", text(thread)),
            None => writeln!(out, "pitch = {}", Shown(screws.pitch)),
        };
        let at: Vec<String> = screws.at.iter().map(|s| format!("{} = {}", text(&s.name), list(&[s.x, s.y]))).collect();
        let _ = writeln!(out, "raise = \"{}\"\nat = {{ {} }}", screws.raise.word(), at.join(", "));
        let travel: Vec<String> =
            screws.at.iter().filter_map(|s| s.travel.map(|t| format!("{} = {}", text(&s.name), list(&t)))).collect();
        if !travel.is_empty() {
            let _ = writeln!(out, "travel = {{ {} }}", travel.join(", "));
        }
    }
    let mut section = |name: &str, keys: &[(&str, Option<f64>)]| {
        if keys.iter().any(|(_, value)| value.is_some()) {
            let _ = writeln!(out, "\n[{name}]");
        }
        for (key, value) in keys.iter().filter_map(|(key, value)| Some((key, (*value)?))) {
            let _ = writeln!(out, "{key} = {}", Shown(value + 0.0));
        }
    };
    section("print", &card.print.keys());
    section("machine", &card.machine.keys());
    out
}

/// The numbers of a point, as the card lists them.
fn with_numbers(point: &Point, take: impl FnOnce(&[f64])) {
    match point {
        Point::Read(p) => match p.spread {
            Some(spread) => take(&[p.x, p.y, p.value, spread]),
            None => take(&[p.x, p.y, p.value]),
        },
        Point::Unread(u) => take(&[u.x, u.y]),
    }
}

/// A TOML basic string (TOML 1.0, "String").
fn text(word: &str) -> String {
    let mut out = String::from("\"");
    for c in word.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
