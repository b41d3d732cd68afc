//! The one writer of the toolpath programs that the project makes itself: programs that carry the nozzle to places to be read, and
//! test prints.
//!
//! | word | meaning | source |
//! | --- | --- | --- |
//! | G0, G1 | travel, printing move | RS-274/NGC (NISTIR 6556, section 3.5.1, 3.5.2) |
//! | G4 S | wait, seconds | common practice, no source; see below |
//! | G21, G90 | mm, absolute places | RS-274/NGC (section 3.5.7, 3.5.17) |
//! | G28 | home all axes | common practice, no source (in RS-274/NGC it goes to a stored place) |
//! | G92 E0 | the filament's register is 0 | common practice, no source, for E |
//! | M0 | stop until the person resumes | RS-274/NGC (section 3.6.1) |
//! | M82 | E words are positions | common practice, no source |
//! | M84, M84 S0 | motors off; motors stay on while idle | common practice, no source |
//! | M104, M109, M140, M190 | nozzle and bed temperature, without and with waiting | common practice, no source |
//! | M107 | fan off | common practice, no source |
//! | M117 | text on the machine's display | common practice, no source |
//!
//! **Waiting.** In RS-274/NGC `G4 P` is seconds (section 3.5.4); filament printers take P as milliseconds and have S for seconds
//! (common practice, no source). A program for a filament printer says `G4 S`: a machine that knows only the standard then
//! complains or does not wait, where `P` would be wrong by a factor of a thousand without a word.
//!
//! **The end** always has this order: rise, travel to the parking place, nozzle heater off, bed heater off, fan off, motors off if
//! asked for. The nozzle is clear of the bed before anything cools.
//!
//! Lines end with LF; comments begin with `;`. Places are written to 0.001 mm, filament to 0.00001 mm, both in one place here.

pub(crate) mod ways;

use crate::number::Shown;
use crate::{Card, Error, ErrorKind};
use std::fmt::Write as _;
use ways::{MOST_AREAS, Ways};

/// The hottest bed and nozzle that a program of ours asks for, degrees Celsius: more is a slip of the pen (common practice, no source).
pub(crate) const HOTTEST: [f64; 2] = [200.0, 500.0];

/// Places are written to this, mm.
pub(crate) const GRAIN: f64 = 0.001;

/// The nearest place that can be written, mm.
pub(crate) fn grained(value: f64) -> f64 {
    // A quotient of whole numbers is the double nearest to what is written.
    libm::round(value * 1000.0) / 1000.0 + 0.0
}

/// A number for a word: so many decimals, without zeros at their end.
fn number(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", Shown(value));
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text.as_str() };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A place for a person or a word: mm, to the grain, without zeros at its end.
pub(crate) fn place(value: f64) -> String {
    number(value, 3)
}

/// What is wrong with a value out of its range.
pub(crate) fn out_of_range(name: &str, value: f64, range: [f64; 2], unit: &str) -> String {
    let [value, low, high] = [value, range[0], range[1]].map(Shown);
    format!("{name} of {value} {unit} is not between {low} and {high} {unit}")
}

/// mm/s in the unit of F words, mm/min, as they are written.
fn feed(speed: f64) -> String {
    number(speed * 60.0, 0)
}

/// A program in the making, and where the nozzle is.
#[derive(Debug, Clone)]
pub(crate) struct Program {
    text: String,
    ways: Ways,
    safe: f64,
    speeds: Speeds,
    at: Option<[f64; 2]>,
    z: Option<f64>,
    /// The filament's register, mm.
    filament: f64,
    /// Time on the way, s: lengths over speeds, the machine's accelerating not counted.
    seconds: f64,
    /// The F word in force.
    feed: String,
}

/// Speeds, mm/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Speeds {
    /// In X and Y without printing.
    pub(crate) travel: f64,
    /// Rising.
    pub(crate) up: f64,
    /// Coming down.
    pub(crate) down: f64,
}

impl Program {
    /// An empty program for the card's bed that travels at `safe` mm; where something is carried at an `offset` from the nozzle, it
    /// keeps out of the keep-out areas too.
    pub(crate) fn new(card: &Card, offset: Option<[f64; 2]>, safe: f64, speeds: Speeds) -> Result<Program, Error> {
        let areas = card.bed.keep_out.len();
        if areas > MOST_AREAS {
            let message = format!("the card has {areas} keep-out areas; ways are sought round at most {MOST_AREAS}");
            return Err(Error::new(ErrorKind::Limit, message).with_help("put neighbouring areas together"));
        }
        let ways = Ways::new(&card.bed, offset);
        Ok(Program {
            text: String::new(),
            ways,
            safe,
            speeds,
            at: None,
            z: None,
            filament: 0.0,
            seconds: 0.0,
            feed: String::new(),
        })
    }

    /// The height of travel from here on, mm.
    pub(crate) fn set_safe(&mut self, safe: f64) {
        self.safe = safe;
    }

    /// Time on the way so far, s, without heating and without the time that a machine needs to gather speed.
    pub(crate) fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Where the nozzle may go.
    pub(crate) fn ways(&self) -> &Ways {
        &self.ways
    }

    /// A comment on a line of its own. What could end the line is put right.
    pub(crate) fn comment(&mut self, text: &str) {
        let clean: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let _ = writeln!(self.text, "; {clean}");
    }

    /// A line as it stands.
    pub(crate) fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// Text on the machine's display.
    pub(crate) fn display(&mut self, text: &str) {
        self.line(&format!("M117 {text}"));
    }

    /// Units and modes, heating with the bed first (it is the slower), waiting for both, then homing and a rise to the safe height.
    /// A temperature that is not given is not touched; one above [`HOTTEST`] is refused.
    pub(crate) fn start(&mut self, bed_celsius: Option<f64>, nozzle_celsius: Option<f64>) -> Result<(), Error> {
        for (celsius, most, part) in [(bed_celsius, HOTTEST[0], "bed"), (nozzle_celsius, HOTTEST[1], "nozzle")] {
            if let Some(celsius) = celsius.filter(|c| c.is_nan() || *c > most) {
                let message = format!(
                    "{} degrees for the {part} is more than {} degrees: no program asks for that",
                    Shown(celsius),
                    Shown(most)
                );
                return Err(Error::new(ErrorKind::Options, message)
                    .with_help(format!("set {part}_celsius right, on the card or among the options")));
            }
        }
        for line in ["G21", "G90", "M82", "M84 S0", "M107"] {
            self.line(line);
        }
        for (set, celsius) in
            [("M140", bed_celsius), ("M104", nozzle_celsius), ("M190", bed_celsius), ("M109", nozzle_celsius)]
        {
            if let Some(celsius) = celsius {
                self.line(&format!("{set} S{}", number(celsius, 1)));
            }
        }
        self.line("G28");
        (self.at, self.z) = (None, None);
        self.rise();
        Ok(())
    }

    /// Waits so many seconds.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.seconds += seconds;
        self.line(&format!("G4 S{}", number(seconds, 1)));
    }

    /// Stops until the person resumes. The person may have moved the nozzle by commands of their own, often relative ones: from here on
    /// places are absolute again.
    pub(crate) fn wait_for_person(&mut self) {
        self.line("M0");
        self.line("G90");
    }

    /// Rises to the safe height: said even where the nozzle is there already, for a person may have moved it.
    pub(crate) fn rise(&mut self) {
        let (safe, up) = (self.safe, self.speeds.up);
        self.z("G0", safe, up);
    }

    /// Comes down (or goes up) to `z` mm on the spot.
    pub(crate) fn come_down(&mut self, z: f64) {
        let down = self.speeds.down;
        self.z("G0", z, down);
    }

    fn z(&mut self, word: &str, z: f64, speed: f64) {
        let feed = self.feed_word(speed);
        let line = format!("{word} Z{}{feed}", place(z));
        self.line(&line);
        self.seconds += self.z.map_or(0.0, |from| (z - from).abs() / speed);
        self.z = Some(z);
    }

    /// The F word, where it is not in force already.
    fn feed_word(&mut self, speed: f64) -> String {
        let new = feed(speed);
        if new == self.feed {
            return String::new();
        }
        self.feed = new;
        format!(" F{}", self.feed)
    }

    /// Rises and travels to a place at the safe height, round the keep-out areas.
    pub(crate) fn travel(&mut self, to: [f64; 2]) -> Result<(), Error> {
        let to = to.map(grained);
        self.rise();
        let way = match self.at {
            // From wherever homing left it.
            None => vec![to],
            Some(from) => self.ways.way(from, to).ok_or_else(|| {
                Error::new(
                    ErrorKind::Options,
                    format!(
                        "the keep-out areas leave no way from ({}, {}) to ({}, {})",
                        place(from[0]),
                        place(from[1]),
                        place(to[0]),
                        place(to[1])
                    ),
                )
                .with_help("leave out the points on one side of them, or set the areas right")
            })?,
        };
        for p in way {
            let feed = self.feed_word(self.speeds.travel);
            let line = format!("G0 X{} Y{}{feed}", place(p[0]), place(p[1]));
            self.line(&line);
            self.seconds += self.at.map_or(0.0, |from| distance(from, p) / self.speeds.travel);
            self.at = Some(p);
        }
        Ok(())
    }

    /// The filament's register is 0 here.
    pub(crate) fn filament_starts(&mut self) {
        self.line("G92 E0");
        self.filament = 0.0;
    }

    /// The filament's register, mm.
    pub(crate) fn filament(&self) -> f64 {
        self.filament
    }

    /// Pushes filament on the spot, mm; pulls it back where that is negative.
    pub(crate) fn push(&mut self, filament: f64, speed: f64) {
        self.filament += filament;
        let feed = self.feed_word(speed);
        let line = format!("G1 E{}{feed}", number(self.filament, 5));
        self.line(&line);
        self.seconds += filament.abs() / speed;
    }

    /// Prints a straight line from where the nozzle is, with so much filament, mm, for each mm of it.
    pub(crate) fn print_to(&mut self, to: [f64; 2], filament: f64, speed: f64) {
        let to = to.map(grained);
        let Some(from) = self.at else { return };
        let length = distance(from, to);
        self.filament += length * filament;
        let feed = self.feed_word(speed);
        let line = format!("G1 X{} Y{} E{}{feed}", place(to[0]), place(to[1]), number(self.filament, 5));
        self.line(&line);
        self.seconds += length / speed;
        self.at = Some(to);
    }

    /// The end: rise, park, heaters and fan off, motors off. The program's text.
    pub(crate) fn finish(&mut self, park: [f64; 2], motors_off: bool) -> Result<String, Error> {
        self.travel(park)?;
        for line in ["M104 S0", "M140 S0", "M107"] {
            self.line(line);
        }
        if motors_off {
            self.line("M84");
        }
        Ok(core::mem::take(&mut self.text))
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(b[0] - a[0], b[1] - a[1])
}

/// The first of the bed's corners that the nozzle may be at, in the order asked for (`[0, 1]`: left, back); a round bed's middle;
/// otherwise `otherwise`.
pub(crate) fn corner(card: &Card, ways: &Ways, order: [[usize; 2]; 4], otherwise: [f64; 2]) -> [f64; 2] {
    let bed = &card.bed;
    let middle = [0.5 * (bed.x[0] + bed.x[1]), 0.5 * (bed.y[0] + bed.y[1])];
    let corners = order.into_iter().map(|[x, y]| [bed.x[x], bed.y[y]]);
    corners.chain([middle]).map(|p| p.map(grained)).find(|p| ways.allows(*p)).unwrap_or(otherwise)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_minus_zero() {
        for (value, decimals, text) in [
            (30.0, 3, "30"),
            (117.5, 3, "117.5"),
            (-0.0001, 3, "0"),
            (0.1 + 0.2, 3, "0.3"),
            (1200.0, 0, "1200"),
            (0.000_004, 5, "0"),
            (-12.345_67, 5, "-12.34567"),
        ] {
            assert_eq!(number(value, decimals), text);
        }
    }
}
