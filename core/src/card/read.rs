//! From the tree to a checked card: every rule about what a card may say, with the text of its refusal.

use super::{
    Bed, COARSE, Card, LEAST_SPREAD, MAX_CARD_BYTES, MAX_COORDINATE, MAX_POINTS, MAX_READING, Machine, Method, Outline,
    PITCHES, Print, Reading, Readings, Screw, Screws, Turn, Unread, coarse_pitch, csv,
};
use crate::number::{Shown, pair};
use crate::tree::{self, Entry, Kind, Lines, Node, quoted};
use crate::{Error, ErrorKind};

/// Where the points are to come from.
#[derive(Debug, Clone, Copy)]
pub(super) enum Points<'a> {
    /// From the card, one at least.
    Must,
    /// From the card, where it has some.
    May,
    /// From CSV text.
    Csv(&'a str),
}

pub(super) fn card(text: &str, points: Points<'_>) -> Result<Card, Error> {
    let csv_text = match points {
        Points::Csv(text) => Some(text),
        Points::Must | Points::May => None,
    };
    for (what, length) in [("the card", text.len()), ("the CSV of readings", csv_text.map_or(0, str::len))] {
        if length > MAX_CARD_BYTES {
            return Err(Error::new(
                ErrorKind::Limit,
                format!("{what} is {length} bytes long; at most {MAX_CARD_BYTES} are read"),
            )
            .with_help("a card holds one bed's readings; is this the right file?"));
        }
    }
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let lines = Lines::of(text);
    let root = match text.trim_start().as_bytes().first() {
        Some(b'{') => tree::from_json(text, &lines, "the card is not JSON")?,
        _ => tree::from_toml(text, &lines)?,
    };
    Reader { lines }.card(&root, points)
}

/// Methods that a key of `[readings]` belongs to, where it is not for all.
const METHOD_KEYS: [(&str, &[Method]); 3] =
    [("sheet", &[Method::Drag]), ("parked", &[Method::Gauge, Method::Patch]), ("offset", &[Method::Dial])];

struct Reader {
    lines: Lines,
}

/// A table with the name that messages give it.
struct Section<'a> {
    name: &'static str,
    at: usize,
    entries: &'a [Entry],
}

impl<'a> Section<'a> {
    fn get(&self, key: &str) -> Option<&'a Entry> {
        self.entries.iter().find(|e| e.key == key)
    }
}

impl Reader {
    fn fail(&self, at: usize, message: impl Into<String>) -> Error {
        let (line, column) = self.lines.place(at);
        Error::new(ErrorKind::Card, message).at(line, column)
    }

    fn card(&self, root: &Node, points: Points<'_>) -> Result<Card, Error> {
        let root = self.section(root, "the card", &["bed", "readings", "screws", "print", "machine"])?;
        // Every section's keys first: a misspelt key explains a missing one.
        let bed = self.subsection(&root, "bed", "[bed]", &["x", "y", "outline", "keep_out"])?;
        let readings = self.subsection(
            &root,
            "readings",
            "[readings]",
            &[
                "method",
                "sheet",
                "parked",
                "offset",
                "bed_celsius",
                "nozzle_celsius",
                "spread",
                "right_at",
                "predicted",
                "points",
            ],
        )?;
        let optional = |key: &str, name: &'static str, known: &[&str]| {
            root.get(key)
                // A missing key is told of at the section's name.
                .map(|e| Ok(Section { at: e.at, ..self.section(&e.value, name, known)? }))
                .transpose()
        };
        let screws = optional("screws", "[screws]", &["thread", "pitch", "raise", "at", "travel"])?;
        let print = optional("print", "[print]", &Print::default().keys().map(|(key, _)| key))?;
        let machine = optional("machine", "[machine]", &Machine::default().keys().map(|(key, _)| key))?;
        let bed = self.bed(&bed)?;
        let readings = self.readings(&readings, &bed, points)?;
        let screws = screws.map(|s| self.screws(&s)).transpose()?;
        let print = print.map_or(Ok(Print::default()), |s| self.print(&s))?;
        let machine = machine.map_or(Ok(Machine::default()), |s| self.machine(&s))?;
        Ok(Card { bed, readings, screws, print, machine })
    }

    fn section<'a>(&self, node: &'a Node, name: &'static str, known: &[&str]) -> Result<Section<'a>, Error> {
        let Kind::Table(entries) = &node.kind else {
            return Err(self.fail(node.at, format!("{name} must be a table, and this is {}", node.kind.name())));
        };
        for entry in entries {
            if !known.contains(&entry.key.as_str()) {
                let help = match nearest(&entry.key, known) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("{name} may hold: {}", known.join(", ")),
                };
                return Err(self
                    .fail(entry.at, format!("unknown key {} in {name}", quoted(&entry.key)))
                    .with_help(help));
            }
        }
        Ok(Section { name, at: node.at, entries })
    }

    fn subsection<'a>(
        &self,
        root: &Section<'a>,
        key: &str,
        name: &'static str,
        known: &[&str],
    ) -> Result<Section<'a>, Error> {
        let entry = root.get(key).ok_or_else(|| {
            self.fail(root.at, format!("the card has no {name} section")).with_help(match key {
                "bed" => "add: [bed], then x = [0, 235] and y = [0, 235] with your bed's reach in mm",
                _ => {
                    "add: [readings], then method = \"drag\" (or gauge, patch, dial) and points = [[x, y, value], ...]"
                }
            })
        })?;
        let section = self.section(&entry.value, name, known)?;
        // A missing key is told of at the section's name.
        Ok(Section { at: entry.at, ..section })
    }

    fn need<'a>(&self, section: &Section<'a>, key: &str, help: &str) -> Result<&'a Entry, Error> {
        section.get(key).ok_or_else(|| {
            self.fail(section.at, format!("{} has no `{key}`", section.name)).with_help(format!("add: {help}"))
        })
    }

    fn bed(&self, section: &Section<'_>) -> Result<Bed, Error> {
        let range = |key: &str| -> Result<[f64; 2], Error> {
            let entry = self.need(
                section,
                key,
                &format!("{key} = [0, 235], the lowest and highest {key} that the nozzle reaches, mm"),
            )?;
            let [low, high] = self.place(&entry.value, key)?;
            if high - low < 1.0 {
                return Err(self
                    .fail(
                        entry.value.at,
                        format!("`{key}` runs from {} to {}: a bed is at least 1 mm wide", Shown(low), Shown(high)),
                    )
                    .with_help("give the lowest first, then the highest"));
            }
            Ok([low, high])
        };
        let (x, y) = (range("x")?, range("y")?);
        let outline = match section.get("outline") {
            None => Outline::Rectangle,
            Some(entry) => {
                self.word(&entry.value, "outline", &[("rectangle", Outline::Rectangle), ("round", Outline::Round)])?
            }
        };
        let mut keep_out = Vec::new();
        if let Some(entry) = section.get("keep_out") {
            for node in self.list(&entry.value, "keep_out", "[[x0, y0, x1, y1], ...]")? {
                let area = self.numbers::<4>(node, "an area of `keep_out`", "[x0, y0, x1, y1]", MAX_COORDINATE)?;
                if area[0] >= area[2] || area[1] >= area[3] {
                    let [x0, y0, x1, y1] = area.map(Shown);
                    return Err(self
                        .fail(node.at, format!("this keep-out area is empty: {x0} to {x1} in x, {y0} to {y1} in y"))
                        .with_help("an area is [x0, y0, x1, y1] with x0 < x1 and y0 < y1"));
                }
                keep_out.push(area);
            }
        }
        Ok(Bed { x, y, outline, keep_out })
    }

    fn readings(&self, section: &Section<'_>, bed: &Bed, source: Points<'_>) -> Result<Readings, Error> {
        let entry = self.need(section, "method", "method = \"drag\", \"gauge\", \"patch\" or \"dial\"")?;
        let methods = [Method::Drag, Method::Gauge, Method::Patch, Method::Dial].map(|m| (m.word(), m));
        let method = self.word(&entry.value, "method", &methods)?;
        for (key, owners) in METHOD_KEYS {
            if let Some(entry) = section.get(key)
                && !owners.contains(&method)
            {
                let owners: Vec<&str> = owners.iter().map(|m| m.word()).collect();
                return Err(self
                    .fail(
                        entry.at,
                        format!(
                            "`{key}` belongs to the method {}, and this card's method is {}",
                            owners.join(" or "),
                            method.word()
                        ),
                    )
                    .with_help(format!("take `{key}` out, or set the method right")));
            }
        }
        let number = |key: &str, low: f64, high: f64| -> Result<Option<f64>, Error> {
            section.get(key).map(|e| self.between(&e.value, key, low, high)).transpose()
        };
        let sheet = number("sheet", 0.0, 10.0)?;
        let parked = number("parked", -MAX_READING, MAX_READING)?;
        let offset = section.get("offset").map(|e| self.place(&e.value, "offset")).transpose()?;
        let right_at = section.get("right_at").map(|e| self.place(&e.value, "right_at")).transpose()?;
        match method {
            Method::Drag if sheet.is_none() => {
                self.need(section, "sheet", "sheet = 0.10, the thickness of the sheet that drags, mm")?;
            }
            Method::Gauge | Method::Patch if parked.is_none() => {
                self.need(section, "parked", "parked = 0.20, the nozzle's Z while reading, mm")?;
            }
            Method::Dial if offset.is_none() => {
                self.need(section, "offset", "offset = [x, y], the plunger's place from the nozzle, mm")?;
            }
            Method::Dial if right_at.is_none() => {
                self.need(section, "right_at", "right_at = [x, y], a place where the first layer is right as it is; a dial knows shape but not level")?;
            }
            _ => {}
        }
        if let (Some([x, y]), Some(entry)) = (right_at, section.get("right_at"))
            && !bed.reaches(x, y)
        {
            return Err(self
                .fail(entry.value.at, format!("`right_at` {} is outside the bed", pair([x, y])))
                .with_help(reach_help(bed)));
        }
        let spread = number("spread", 0.0, 1.0)?;
        if let (Some(tiny), Some(entry)) = (spread.filter(|s| *s > 0.0 && *s < LEAST_SPREAD), section.get("spread")) {
            return Err(self
                .fail(entry.value.at, format!("a `spread` of {} mm is less than any reading's", Shown(tiny)))
                .with_help("write 0 if the surface is to pass through every reading"));
        }
        let bed_celsius = number("bed_celsius", -50.0, 1000.0)?;
        let nozzle_celsius = number("nozzle_celsius", -50.0, 1000.0)?;
        let predicted = match section.get("predicted").map(|e| &e.value) {
            None => false,
            Some(Node { kind: Kind::Truth(truth), .. }) => *truth,
            Some(other) => {
                return Err(self
                    .fail(other.at, format!("`predicted` must be true or false, and this is {}", other.kind.name())));
            }
        };
        let (points, unread) = match (section.get("points"), source) {
            (Some(entry), Points::Csv(_)) => {
                return Err(self
                    .fail(entry.at, "the card has `points`, and readings are brought in from CSV too")
                    .with_help("keep one of the two"));
            }
            (None, Points::Csv(text)) => (csv::readings(text)?, Vec::new()),
            (None, Points::May) => (Vec::new(), Vec::new()),
            (Some(entry), Points::Must | Points::May) => self.points(&entry.value)?,
            (None, Points::Must) => {
                self.need(section, "points", "points = [[x, y, value], ...], mm")?;
                (Vec::new(), Vec::new())
            }
        };
        let count = points.len() + unread.len();
        if count > MAX_POINTS {
            return Err(Error::new(
                ErrorKind::Limit,
                format!("the card has {count} points; at most {MAX_POINTS} are read"),
            ));
        }
        if count == 0 && !matches!(source, Points::May) {
            let at = section.get("points").map_or(section.at, |e| e.value.at);
            return Err(self
                .fail(at, "the card has no readings")
                .with_help("points = [[x, y, value], ...], three or more, mm"));
        }
        for p in &points {
            check_point(p, bed, method)?;
            if let (Some(own), Some(0.0)) = (p.spread, spread) {
                return Err(placed(
                    p.line,
                    p.column,
                    format!("this reading has a spread, {} mm, on a card whose `spread` is 0", Shown(own)),
                )
                .with_help("take `spread = 0` out: it says that every reading is exact"));
            }
        }
        for u in &unread {
            check_place(u.x, u.y, bed, "point", |message| placed(u.line, u.column, message))?;
        }
        Ok(Readings {
            method,
            sheet,
            parked,
            offset,
            bed_celsius,
            nozzle_celsius,
            spread,
            right_at,
            predicted,
            points,
            unread,
        })
    }

    fn points(&self, node: &Node) -> Result<(Vec<Reading>, Vec<Unread>), Error> {
        let list = self.list(node, "points", "[[x, y, value], ...]")?;
        let (mut points, mut unread) = (Vec::new(), Vec::new());
        for (index, node) in list.iter().enumerate() {
            let (line, column) = self.lines.place(node.at);
            let (line, column) = (Some(line), Some(column));
            match &node.kind {
                Kind::Array(numbers) if numbers.len() == 2 => {
                    let [x, y] = self.numbers::<2>(node, "a point to read", "[x, y]", MAX_COORDINATE)?;
                    unread.push(Unread { x, y, number: index + 1, line, column });
                }
                Kind::Array(numbers) if numbers.len() == 4 => {
                    let form = "[x, y, value, spread]";
                    let [x, y, value, _] = self.numbers::<4>(node, "a reading", form, MAX_COORDINATE)?;
                    let spread = self.between(&numbers[3], "spread", SMALLEST_SPREAD, LARGEST_SPREAD).map_err(|e| {
                        e.with_help(
                            "a reading is [x, y, value] or [x, y, value, spread], in mm; decimals have a point: 0.16",
                        )
                    })?;
                    points.push(Reading { x, y, value, spread: Some(spread), line, column });
                }
                _ => {
                    let [x, y, value] = self.numbers::<3>(node, "a reading", "[x, y, value]", MAX_COORDINATE)?;
                    points.push(Reading { x, y, value, spread: None, line, column });
                }
            }
        }
        Ok((points, unread))
    }

    /// A number that may be missing.
    fn optional_number(&self, section: &Section<'_>, key: &str, low: f64, high: f64) -> Result<Option<f64>, Error> {
        section.get(key).map(|e| self.between(&e.value, key, low, high)).transpose()
    }

    fn machine(&self, section: &Section<'_>) -> Result<Machine, Error> {
        let number = |key: &str, low: f64, high: f64| self.optional_number(section, key, low, high);
        Ok(Machine {
            z_speed: number("z_speed", 0.01, 1000.0)?,
            z_speed_step: number("z_speed_step", 0.001, 1000.0)?,
            moves_per_second: number("moves_per_second", 1.0, 1e6)?,
            z_steps_per_mm: number("z_steps_per_mm", 1.0, 1e5)?,
        })
    }

    fn print(&self, section: &Section<'_>) -> Result<Print, Error> {
        let number = |key: &str, low: f64, high: f64| self.optional_number(section, key, low, high);
        Ok(Print {
            filament: number("filament", 0.5, 10.0)?,
            line_width: number("line_width", 0.05, 5.0)?,
            layer_height: number("layer_height", 0.02, 2.0)?,
            print_speed: number("print_speed", 1.0, 1000.0)?,
            travel_speed: number("travel_speed", 1.0, 2000.0)?,
        })
    }

    fn screws(&self, section: &Section<'_>) -> Result<Screws, Error> {
        let (thread, pitch) = match (section.get("thread"), section.get("pitch")) {
            (Some(_), Some(pitch)) => {
                return Err(self
                    .fail(pitch.at, "[screws] gives both `thread` and `pitch`")
                    .with_help("keep one: `thread` for a coarse metric screw, `pitch` for any other"));
            }
            (None, None) => {
                return Err(self
                    .fail(section.at, "[screws] gives neither `thread` nor `pitch`")
                    .with_help("add: thread = \"M4\", or pitch = 0.7, mm of height a turn"));
            }
            (Some(entry), None) => {
                let word = self.text(&entry.value, "thread")?;
                let pitch = coarse_pitch(word).ok_or_else(|| {
                    let names: Vec<&str> = COARSE.iter().map(|(name, _)| *name).collect();
                    self.fail(entry.value.at, format!("{} is not a thread that is known here", quoted(word)))
                        .with_help(format!("known: {}; for any other give pitch = mm a turn", names.join(", ")))
                })?;
                (Some(word.to_owned()), pitch)
            }
            (None, Some(entry)) => (None, self.between(&entry.value, "pitch", PITCHES[0], PITCHES[1])?),
        };
        let entry = self.need(
            section,
            "raise",
            "raise = \"clockwise\" or \"anticlockwise\", seen from above, the way that raises the bed",
        )?;
        let raise = self.word(
            &entry.value,
            "raise",
            &[("clockwise", Turn::Clockwise), ("anticlockwise", Turn::Anticlockwise)],
        )?;
        let entry = self.need(section, "at", "at = { \"front left\" = [30, 30], ... }, each screw's place, mm")?;
        let Kind::Table(entries) = &entry.value.kind else {
            return Err(self
                .fail(
                    entry.value.at,
                    format!("`at` must be a table of names and places, and this is {}", entry.value.kind.name()),
                )
                .with_help("at = { \"front left\" = [30, 30], ... }, mm"));
        };
        if !(2..=8).contains(&entries.len()) {
            return Err(
                self.fail(entry.value.at, format!("[screws] names {} screws: two to eight are needed", entries.len()))
            );
        }
        let mut at: Vec<Screw> = Vec::with_capacity(entries.len());
        for e in entries {
            if e.key.trim().is_empty() {
                return Err(self
                    .fail(e.at, "a screw has no name")
                    .with_help("name it as you would say it: \"front left\""));
            }
            let [x, y] = self.place(&e.value, "a screw's place")?;
            if let Some(other) = at.iter().find(|s| (s.x - x).abs() < 1e-6 && (s.y - y).abs() < 1e-6) {
                return Err(self.fail(
                    e.value.at,
                    format!(
                        "the screws {} and {} stand at one place, {}",
                        quoted(&other.name),
                        quoted(&e.key),
                        pair([x, y])
                    ),
                ));
            }
            at.push(Screw { name: e.key.clone(), x, y, travel: None });
        }
        if let Some(entry) = section.get("travel") {
            self.travel(&entry.value, &mut at)?;
        }
        Ok(Screws { pitch, thread, raise, at })
    }

    /// `travel`: two numbers for all screws, or a table of names and two numbers.
    fn travel(&self, node: &Node, screws: &mut [Screw]) -> Result<(), Error> {
        let limits = |node: &Node| -> Result<[f64; 2], Error> {
            let [low, high] = self.numbers::<2>(node, "`travel`", "[lowest, highest]", MAX_READING)?;
            if low > 0.0 || high < 0.0 {
                return Err(self
                    .fail(
                        node.at,
                        format!(
                            "`travel` runs from {} to {} mm, and where the screw is now, 0, is outside",
                            Shown(low),
                            Shown(high)
                        ),
                    )
                    .with_help("travel = [-1.0, 1.5]: 1 mm down and 1.5 mm up are left"));
            }
            Ok([low, high])
        };
        let Kind::Table(entries) = &node.kind else {
            let both = limits(node)?;
            screws.iter_mut().for_each(|s| s.travel = Some(both));
            return Ok(());
        };
        for entry in entries {
            let names: Vec<String> = screws.iter().map(|s| s.name.clone()).collect();
            let Some(screw) = screws.iter_mut().find(|s| s.name == entry.key) else {
                return Err(self
                    .fail(entry.at, format!("`travel` names a screw that `at` does not: {}", quoted(&entry.key)))
                    .with_help(format!("the screws are: {}", names.join(", "))));
            };
            screw.travel = Some(limits(&entry.value)?);
        }
        Ok(())
    }

    fn list<'a>(&self, node: &'a Node, what: &str, form: &str) -> Result<&'a [Node], Error> {
        match &node.kind {
            Kind::Array(list) => Ok(list),
            other => Err(self
                .fail(node.at, format!("`{what}` must be a list, and this is {}", other.name()))
                .with_help(format!("{what} = {form}"))),
        }
    }

    fn numbers<const N: usize>(&self, node: &Node, what: &str, form: &str, limit: f64) -> Result<[f64; N], Error> {
        let help = || format!("write it as {form}, in mm");
        let Kind::Array(list) = &node.kind else {
            return Err(self
                .fail(node.at, format!("{what} must be {N} numbers, and this is {}", node.kind.name()))
                .with_help(help()));
        };
        let mut out = [0.0; N];
        if list.len() != N {
            return Err(self
                .fail(node.at, format!("{what} must be {N} numbers, and here {} stand", list.len()))
                .with_help(help()));
        }
        for (slot, item) in out.iter_mut().zip(list) {
            *slot = self.number(item, what).map_err(|e| e.with_help(help()))?;
            if slot.abs() > limit {
                let [slot, limit] = [*slot, limit].map(Shown);
                return Err(self.fail(item.at, format!("{slot} mm is beyond what a bed can be ({limit} mm)")));
            }
        }
        Ok(out)
    }

    fn place(&self, node: &Node, key: &str) -> Result<[f64; 2], Error> {
        self.numbers::<2>(node, &format!("`{key}`"), "[a, b]", MAX_COORDINATE)
    }

    fn number(&self, node: &Node, what: &str) -> Result<f64, Error> {
        match node.kind {
            // Adding 0 turns -0 into 0, so that the two say the same.
            Kind::Number(n) if n.is_finite() => Ok(n + 0.0),
            Kind::Number(_) => Err(self.fail(node.at, format!("{what}: this is not a finite number"))),
            ref other => Err(self.fail(node.at, format!("{what}: a number is needed, and this is {}", other.name()))),
        }
    }

    fn between(&self, node: &Node, key: &str, low: f64, high: f64) -> Result<f64, Error> {
        let n = self.number(node, &format!("`{key}`"))?;
        if n < low || n > high {
            let [n, low, high] = [n, low, high].map(Shown);
            return Err(self.fail(node.at, format!("`{key}` = {n} is not between {low} and {high}")));
        }
        Ok(n)
    }

    fn text<'a>(&self, node: &'a Node, key: &str) -> Result<&'a str, Error> {
        match &node.kind {
            Kind::Text(s) => Ok(s),
            other => Err(self.fail(node.at, format!("`{key}` must be text in quotes, and this is {}", other.name()))),
        }
    }

    fn word<T: Copy>(&self, node: &Node, key: &str, known: &[(&str, T)]) -> Result<T, Error> {
        let word = self.text(node, key)?;
        known.iter().find(|(name, _)| *name == word).map(|&(_, value)| value).ok_or_else(|| {
            let names: Vec<&str> = known.iter().map(|&(name, _)| name).collect();
            let help = match nearest(word, &names) {
                Some(near) => format!("did you mean \"{near}\"? One of: {}", names.join(", ")),
                None => format!("one of: {}", names.join(", ")),
            };
            self.fail(node.at, format!("`{key}` cannot be {}", quoted(word))).with_help(help)
        })
    }
}

/// The least spread that a reading may have of its own, mm: no hand and no indicator reads finer.
const SMALLEST_SPREAD: f64 = 0.0001;
/// The largest, mm. Under 1, so that `0,1`, a decimal comma for 0.1, is no value with a spread.
const LARGEST_SPREAD: f64 = 0.5;

fn placed(line: Option<u64>, column: Option<u64>, message: String) -> Error {
    let error = Error::new(ErrorKind::Card, message);
    match line {
        Some(line) => error.at(line, column.unwrap_or(1)),
        None => error,
    }
}

/// What must hold of a reading wherever it came from.
fn check_point(p: &Reading, bed: &Bed, method: Method) -> Result<(), Error> {
    let fail = |message: String| placed(p.line, p.column, message);
    let (x, y, value) = (p.x, p.y, p.value);
    let read = || format!("the reading {} mm at {}", Shown(value), pair([x, y]));
    if value.abs() > MAX_READING {
        return Err(fail(format!("{} is beyond what can be read ({} mm)", read(), Shown(MAX_READING)))
            .with_help("a reading is [x, y, value], in mm"));
    }
    if matches!(method, Method::Gauge | Method::Patch) && value < 0.0 {
        let thing = if method == Method::Gauge { "leaf" } else { "patch" };
        return Err(fail(format!("{} is negative, and a {thing} has a thickness", read()))
            .with_help("the value is the thickness itself, in mm"));
    }
    check_place(x, y, bed, "reading", fail)
}

fn check_place(x: f64, y: f64, bed: &Bed, what: &str, fail: impl Fn(String) -> Error) -> Result<(), Error> {
    if !bed.reaches(x, y) {
        return Err(fail(format!("the {what} at {} is outside the bed", pair([x, y]))).with_help(reach_help(bed)));
    }
    if let Some(k) = bed.keep_out_at(x, y) {
        let [x0, y0, x1, y1] = k.map(Shown);
        return Err(fail(format!("the {what} at {} lies in the keep-out area [{x0}, {y0}, {x1}, {y1}]", pair([x, y])))
            .with_help(format!("the nozzle must not go there: set the {what} or the area right")));
    }
    Ok(())
}

fn reach_help(bed: &Bed) -> String {
    let shape = match bed.outline {
        Outline::Rectangle => "",
        Outline::Round => ", within the ellipse that fits them,",
    };
    let [x0, x1, y0, y1] = [bed.x[0], bed.x[1], bed.y[0], bed.y[1]].map(Shown);
    format!("the nozzle reaches x {x0} to {x1} and y {y0} to {y1}{shape} mm")
}

/// The known word that is one or two slips away, if any.
fn nearest<'a>(word: &str, known: &[&'a str]) -> Option<&'a str> {
    if word.len() > 40 {
        return None;
    }
    let word = word.to_ascii_lowercase();
    known
        .iter()
        .map(|&k| (slips(&word, k), k))
        .filter(|&(n, k)| n <= 1 + k.len() / 4 && n < k.len())
        .min_by_key(|&(n, _)| n)
        .map(|(_, k)| k)
}

/// Letters to insert, delete or replace (Levenshtein 1966).
fn slips(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, &cb) in b.iter().enumerate() {
            let replace = diagonal + usize::from(ca != cb);
            diagonal = row[j + 1];
            row[j + 1] = replace.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}
