//! Toolpaths that mix all modes and spellings, made up for tests.
//!
//! A [`Toolpath`] is a list of intentions ([`Op`]) in bed coordinates; [`Toolpath::bytes`] spells them in whatever
//! mode is in force, so that every file is one that a machine would run. proptest shrinks the list, and the spelling
//! with it: style 0 is plain.

use proptest::prelude::*;

use crate::dec::Dec;
use crate::machine::{Setup, State, X, Y, Z, lines, step};
use crate::path::{Arc, Path};

/// One thing to do. Lengths are thousandths of a millimetre, filament is in hundred-thousandths.
#[derive(Debug, Clone)]
pub enum Op {
    /// Straight to a place.
    Line {
        /// Bed X and Y.
        to: [i32; 2],
        /// Change of Z on the way.
        dz: i32,
        /// Filament; below 0 it is a wipe.
        e: i32,
        /// G0.
        rapid: bool,
        /// A new feed rate, mm a minute.
        feed: Option<u16>,
        /// A new place for axis A, thousandths.
        a: Option<i16>,
    },
    /// About a centre, given from the start.
    Arc {
        /// Start to centre.
        ij: [i32; 2],
        /// Tenths of a degree; 3600 is a full circle.
        sweep: u16,
        /// G2.
        clockwise: bool,
        /// Change of Z on the way: a helix.
        dz: i32,
        /// Filament.
        e: i32,
        /// Said with R instead of I and J.
        r: bool,
    },
    /// A polygon on which Z climbs in every move.
    Vase {
        /// Radius.
        radius: i32,
        /// Sides.
        sides: u8,
        /// Climb in all.
        dz: i32,
    },
    /// Z alone, to a place.
    ToZ(i32),
    /// Up and down again in relative mode, with a travel between.
    Hop {
        /// How far up.
        dz: i32,
        /// Bed X and Y to travel to.
        to: [i32; 2],
    },
    /// E alone.
    E(i32),
    /// G90 or G91.
    Relative(bool),
    /// M82 or M83.
    ERelative(bool),
    /// G20 or G21.
    Inches(bool),
    /// G92 with X, Y, Z and E as the bits say, all with this value.
    Set(u8, i32),
    /// G28 with X, Y and Z as the bits say; 0 is all.
    Home(u8),
    /// A line that moves nothing, by its place in [`TEXTS`].
    Text(u8),
    /// F on a line of its own.
    Feed(u16),
}

/// Lines that move nothing.
pub const TEXTS: [&[u8]; 19] = [
    b"M117 Layer 1; Z=0.18",
    b"M118 X19 Y15 Z17 T0",
    b"M106 S255",
    b"T1",
    b"LIMIT_MOTION X=1 Y=[2] {\"Z\": 3}",
    b"; G1 X1 Y1",
    b"(note (nested) Z9)",
    b"",
    b";",
    b"G4 P10",
    b"G17",
    b"; caf\xe9 \xff",
    b"M204 S800",
    b"layer height Z0.2",
    b"<<<<<<< HEAD",
    b"M203 X500 Y500 Z10",
    b"G40",
    b"\x00\x01\x02\xff\x03Gz\x04",
    b"   ",
];

/// In which distance mode to spell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spelling {
    /// As the [`Op::Relative`]s say.
    Own,
    /// All absolute.
    Absolute,
    /// Relative wherever the position is known.
    Relative,
}

/// A toolpath.
#[derive(Debug, Clone)]
pub struct Toolpath {
    /// What it does.
    pub ops: Vec<Op>,
    /// From where the spelling's whims come; 0 for none.
    pub style: u64,
    /// 0 LF, 1 CRLF, 2 CR and LF and CRLF mixed.
    pub ends: u8,
    /// N words and checksums.
    pub numbered: bool,
    /// Begins with a BOM.
    pub bom: bool,
    /// Ends without a line end.
    pub open: bool,
    /// How the machine wakes.
    pub setup: Setup,
    /// Distance mode.
    pub spelling: Spelling,
}

/// Whims: splitmix64 (Steele, Lea, Flood 2014).
struct Whims(u64);

impl Whims {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
}

struct Pen {
    style: u64,
    whims: Option<Whims>,
    moves: u64,
    setup: Setup,
    state: State,
    lines: Vec<Vec<u8>>,
}

impl Pen {
    /// True once in `n`; never in plain style.
    fn whim(&mut self, n: u64) -> bool {
        self.whims.as_mut().is_some_and(|w| w.next() % n == 0)
    }

    fn line(&mut self, text: impl Into<Vec<u8>>) {
        let text = text.into();
        let mut with_end = text.clone();
        with_end.push(b'\n');
        for line in lines(&with_end) {
            self.state = step(line, &self.state, self.setup).after;
        }
        self.lines.push(text);
    }

    /// A length in the unit in force, to the digits that a file would have.
    fn in_unit(&self, mm: Dec) -> Dec {
        if self.state.modes.inches { Dec::round(mm.in_inches(), 5).unwrap_or_default() } else { mm }
    }

    /// A number as one may write it.
    fn number(&mut self, value: Dec) -> String {
        let mut text = value.to_string();
        if self.whim(4) && !text.contains('.') {
            text.push('.');
        }
        if text.contains('.') && self.whim(4) {
            text.push_str(if self.whim(2) { "0" } else { "000" });
        }
        if self.whim(3) {
            if let Some(rest) = text.strip_prefix("0.").filter(|r| !r.is_empty()) {
                text = format!(".{rest}");
            } else if let Some(rest) = text.strip_prefix("-0.").filter(|r| !r.is_empty()) {
                text = format!("-.{rest}");
            }
        }
        if value.is_positive() && self.whim(8) {
            text.insert(0, '+');
        }
        if value.is_zero() && self.whim(8) {
            text = "-0.000".into();
        }
        text
    }

    /// A line of words, as one may write it, with a comment now and then.
    fn words(&mut self, g: Option<&str>, mut words: Vec<(char, Dec)>) {
        if self.whim(6) && words.len() > 1 {
            words.reverse();
        }
        let space = if self.whim(5) {
            ""
        } else if self.whim(9) {
            " \t"
        } else {
            " "
        };
        let mut text = String::new();
        if self.whim(20) {
            text.push(' ');
        }
        if let Some(g) = g {
            match g.strip_prefix('G') {
                Some(code) if code.len() == 1 && self.whim(6) => text += &format!("G0{code}"),
                _ => text += g,
            }
        }
        for (letter, value) in words {
            if !text.trim().is_empty() {
                text += space;
            }
            text.push(letter);
            if self.whim(9) {
                text.push(' ');
            }
            text += &self.number(value);
        }
        if self.whim(7) {
            text = text.to_lowercase();
        }
        if self.whim(8) {
            text += ["; why", " ;(x", " (of (it) Z4)", " (a)(b) ; c", "  "]
                [usize::from(self.whim(2)) * 2 + usize::from(self.whim(2))];
        }
        self.line(text);
    }

    fn g_word(&mut self, g: u8) -> Option<&'static str> {
        let said = ["G0", "G1", "G2", "G3"][usize::from(g)];
        if self.state.modes.motion == Some(g) && self.whim(4) { None } else { Some(said) }
    }

    /// The word for an axis to come to a bed place. In relative mode from nowhere: a step.
    fn axis(&self, axis: usize, to: Dec) -> Option<(char, Dec)> {
        let letter = ['X', 'Y', 'Z', 'A'][axis];
        let value = match (self.state.modes.relative, self.state.at[axis]) {
            (true, Some(at)) => to - at,
            (true, None) => Dec::new(1, 0),
            (false, _) => to - self.state.offset[axis],
        };
        Some((letter, if axis == 3 { value } else { self.in_unit(value) }))
    }

    fn e_word(&self, e: i32) -> Option<(char, Dec)> {
        let e = Dec::new(i64::from(e), 5);
        let value = if self.state.modes.e_relative { e } else { self.state.e + e };
        (!e.is_zero()).then(|| ('E', self.in_unit(value)))
    }

    /// The words for X, Y and Z; a word that says nothing new is mostly left out.
    fn place(&mut self, to: [Option<Dec>; 3]) -> Vec<(char, Dec)> {
        let mut out = Vec::new();
        for (axis, to) in to.into_iter().enumerate() {
            let Some(to) = to else { continue };
            if self.state.at[axis] == Some(to) && !self.whim(3) {
                continue;
            }
            out.extend(self.axis(axis, to));
        }
        out
    }

    fn straight(&mut self, to: [Dec; 2], z: Option<Dec>, e: i32, rapid: bool, more: Vec<(char, Dec)>) {
        // Afresh for each move, so that another spelling of the move before does not change which words this one has.
        self.moves += 1;
        let seed = self.style ^ self.moves.wrapping_mul(0x9e37_79b9);
        self.whims = (self.style != 0).then_some(Whims(seed));
        let mut words = self.place([Some(to[0]), Some(to[1]), z]);
        words.extend(self.e_word(e));
        words.extend(more);
        if words.is_empty() {
            return;
        }
        let g = self.g_word(u8::from(!rapid));
        self.words(g, words);
    }
}

fn um(v: i32) -> Dec {
    Dec::new(i64::from(v), 3)
}

impl Toolpath {
    /// The file.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut pen = Pen {
            style: self.style,
            whims: (self.style != 0).then_some(Whims(self.style)),
            moves: 0,
            setup: self.setup,
            state: State::new(self.setup),
            lines: Vec::new(),
        };
        for op in &self.ops {
            self.spell(op, &mut pen);
        }
        self.assemble(&pen.lines, self.style)
    }

    /// The same intentions, spelt all absolute and all relative. Units stay as they are at the start, as a place on a
    /// grid of inches is none on a grid of millimetres.
    #[must_use]
    pub fn respell(&self) -> (Toolpath, Toolpath) {
        let mut plain = self.clone();
        let inches = plain.ops.iter().any(|op| matches!(op, Op::Inches(true)));
        plain.ops.retain(|op| !matches!(op, Op::Inches(_) | Op::Relative(_)));
        for op in &mut plain.ops {
            // A step of an axis that stands nowhere yet leads nowhere.
            if let Op::Line { a, .. } = op {
                *a = None;
            }
        }
        plain.ops.insert(0, Op::Inches(inches && plain.style % 2 == 1));
        plain.setup.g90_sets_e = false;
        plain.numbered = false;
        // The whims would give a number more digits in one spelling than in the other.
        plain.style = 0;
        let absolute = Toolpath { spelling: Spelling::Absolute, ..plain.clone() };
        let relative = Toolpath { spelling: Spelling::Relative, ..plain };
        (absolute, relative)
    }

    fn distance(&self, pen: &mut Pen) {
        let known = pen.state.xyz().is_some();
        let want = match self.spelling {
            Spelling::Own => return,
            Spelling::Absolute => false,
            Spelling::Relative => known,
        };
        if pen.state.modes.relative != want {
            pen.line(if want { "G91" } else { "G90" });
        }
    }

    fn spell(&self, op: &Op, pen: &mut Pen) {
        self.distance(pen);
        match *op {
            Op::Line { to, dz, e, rapid, feed, a } => {
                let z = pen.state.at[Z].map(|z| z + um(dz)).filter(|_| dz != 0);
                let z = if z.is_some_and(|z| z < um(100)) { Some(um(100)) } else { z };
                let mut more: Vec<(char, Dec)> = Vec::new();
                if let Some(a) = a {
                    more.extend(pen.axis(3, Dec::new(i64::from(a), 3)));
                }
                if let Some(feed) = feed {
                    more.push(('F', pen.in_unit(Dec::new(i64::from(feed), 0))));
                }
                pen.straight(to.map(um), z, if rapid { 0 } else { e }, rapid, more);
            }
            Op::Arc { ij, sweep, clockwise, dz, e, r } => arc(pen, ij, sweep, clockwise, dz, e, r),
            Op::Vase { radius, sides, dz } => {
                let Some([cx, cy, z]) = pen.state.xyz() else { return };
                let r = um(radius).f64();
                for k in 1..=sides {
                    let f = f64::from(k) / f64::from(sides);
                    let angle = f * std::f64::consts::TAU;
                    let round = |v: f64| Dec::round(v, 3).unwrap_or_default();
                    let to = [round(cx + r * (1.0 - angle.cos())), round(cy + r * angle.sin())];
                    self.distance(pen);
                    pen.straight(to, Some(round(z + f * um(dz).f64())), 2_000, false, Vec::new());
                }
            }
            Op::ToZ(z) => {
                let words: Vec<_> = pen.axis(Z, um(z)).into_iter().collect();
                let g = pen.g_word(1);
                pen.words(g, words);
            }
            Op::Hop { dz, to } => {
                let relative = pen.state.modes.relative;
                if self.spelling == Spelling::Own && !relative {
                    pen.line("G91");
                }
                let Some(z) = pen.state.at[Z] else {
                    if self.spelling == Spelling::Own && !relative {
                        pen.line("G90");
                    }
                    return;
                };
                let up: Vec<_> = pen.axis(Z, z + um(dz)).into_iter().collect();
                pen.words(Some("G1"), up);
                if self.spelling == Spelling::Own && !relative {
                    pen.line("G90");
                }
                pen.straight(to.map(um), None, 0, true, Vec::new());
                let down: Vec<_> = pen.axis(Z, z).into_iter().collect();
                pen.words(Some("G1"), down);
            }
            Op::E(e) => {
                let words: Vec<_> = pen.e_word(e).into_iter().collect();
                if !words.is_empty() {
                    let g = pen.g_word(1);
                    pen.words(g, words);
                }
            }
            Op::Relative(on) => {
                if self.spelling == Spelling::Own {
                    pen.line(if on { "G91" } else { "G90" });
                }
            }
            Op::ERelative(on) => pen.line(if on { "M83" } else { "M82 ; absolute" }),
            Op::Inches(on) => pen.line(if on { "G20" } else { "G21" }),
            Op::Set(bits, value) => {
                let value = um(value);
                let mut words: Vec<(char, Dec)> = Vec::new();
                for (k, letter) in "XYZE".chars().enumerate() {
                    // Declaring an unknown axis would begin a path in the air; that is left to the tests by hand.
                    let known = k == 3 || pen.state.at[k].is_some();
                    if bits & (1 << k) != 0 && known {
                        words.push((letter, value));
                    }
                }
                if !words.is_empty() {
                    pen.words(Some("G92"), words);
                }
            }
            Op::Home(bits) => {
                let mut text = String::from("G28");
                for (k, letter) in "XYZ".chars().enumerate() {
                    if bits & (1 << k) != 0 {
                        text += &if pen.whim(2) { format!(" {letter}0") } else { format!(" {letter}") };
                    }
                }
                pen.line(text);
            }
            Op::Text(k) => pen.line(TEXTS[usize::from(k) % TEXTS.len()]),
            Op::Feed(f) => {
                let words = vec![('F', Dec::new(i64::from(f), 0))];
                pen.words(Some("G1"), words);
            }
        }
    }

    fn assemble(&self, lines: &[Vec<u8>], style: u64) -> Vec<u8> {
        let mut out = Vec::new();
        if self.bom {
            out.extend_from_slice(b"\xef\xbb\xbf");
        }
        let mut whims = Whims(style ^ 1);
        let mut n = 0_u32;
        for (k, line) in lines.iter().enumerate() {
            // Text with a comment in it or none to number is left as it is; a zero byte would end a line on the wire.
            let bare = line.iter().any(|&b| b == b';' || b == b'(' || b == 0) || line.trim_ascii().is_empty();
            if self.numbered && !bare {
                n += 1;
                let mut body = format!("N{n} ").into_bytes();
                body.extend_from_slice(line);
                let sum = body.iter().fold(0, |x, b| x ^ b);
                out.extend_from_slice(&body);
                out.extend_from_slice(format!("*{sum}").as_bytes());
            } else {
                out.extend_from_slice(line);
            }
            if k + 1 == lines.len() && self.open {
                break;
            }
            out.extend_from_slice(match self.ends {
                0 => b"\n",
                1 => b"\r\n",
                // A lone CR before an empty line's LF would be one line end.
                _ => match whims.next() % 3 {
                    0 => b"\n",
                    _ => b"\r\n",
                },
            });
        }
        out
    }
}

fn arc(pen: &mut Pen, ij: [i32; 2], sweep: u16, clockwise: bool, dz: i32, e: i32, r: bool) {
    let Some([x, y, _]) = pen.state.xyz() else { return };
    let (Some(z), offset) = (pen.state.at[Z], ij.map(um)) else { return };
    let radius = offset[0].f64().hypot(offset[1].f64());
    if radius < 0.1 {
        return;
    }
    let full = sweep >= 3600;
    // Near half a turn and near a whole one, rounding the ends would move R's centre far.
    let r = r && !full && !(1700..=1900).contains(&sweep) && sweep < 3400;
    let ij = offset.map(Dec::f64);
    let Ok(whole) = Arc::about([x, y], [x, y], true, ij, clockwise) else { return };
    let [ex, ey] = Path::Arc(whole).at(f64::from(sweep.clamp(50, 3600)) / 3600.0);
    let round = |v: f64| Dec::round(v, 3).unwrap_or_default();
    let mut words = Vec::new();
    if !full {
        words.extend(pen.axis(X, round(ex)));
        words.extend(pen.axis(Y, round(ey)));
    }
    let to = z + um(dz);
    if dz != 0 && to > um(100) {
        words.extend(pen.axis(Z, to));
    }
    if r {
        let long = sweep > 1800;
        let places = if pen.state.modes.inches { 5 } else { 3 };
        let scale = if pen.state.modes.inches { 25.4 } else { 1.0 };
        let value = Dec::round(radius / scale, places).unwrap_or_default();
        words.push(('R', if long { -value } else { value }));
    } else {
        for (letter, value) in [('I', offset[0]), ('J', offset[1])] {
            if !value.is_zero() || pen.whim(2) {
                let value = pen.in_unit(value);
                words.push((letter, value));
            }
        }
    }
    words.extend(pen.e_word(e));
    // A full circle has no axis word that would repeat the motion in force: it must say its own.
    let g = if clockwise { 2 } else { 3 };
    let g = if full { Some(["G2", "G3"][usize::from(g == 3)]) } else { pen.g_word(g) };
    pen.words(g, words);
}

fn place() -> impl Strategy<Value = [i32; 2]> {
    prop_oneof![
        3 => [0..200_000_i32, 0..200_000_i32],
        2 => [90_000..110_000_i32, 90_000..110_000_i32],
        1 => [-30_000..240_000_i32, -30_000..240_000_i32],
    ]
}

/// An arc's centre from its start: most are as a part has them, some a nozzle's width, some flat over the whole bed.
fn centre() -> impl Strategy<Value = [i32; 2]> {
    prop_oneof![
        6 => [-30_000..30_000_i32, -30_000..30_000_i32],
        1 => [-600..600_i32, -600..600_i32],
        1 => [-1_500_000..1_500_000_i32, -1_500_000..1_500_000_i32],
    ]
}

fn climb() -> impl Strategy<Value = i32> {
    prop_oneof![6 => Just(0), 2 => 1..400_i32, 1 => -300..0_i32, 1 => 400..2_500_i32]
}

fn filament() -> impl Strategy<Value = i32> {
    prop_oneof![2 => Just(0), 6 => 1..300_000_i32, 1 => -100_000..0_i32]
}

/// One intention.
pub fn op() -> impl Strategy<Value = Op> {
    prop_oneof![
        20 => (place(), climb(), filament(), any::<bool>(), proptest::option::weighted(0.2, 300..9000_u16), proptest::option::weighted(0.05, -999..999_i16))
            .prop_map(|(to, dz, e, rapid, feed, a)| Op::Line { to, dz, e, rapid, feed, a }),
        8 => (centre(), prop_oneof![3 => 50..3500_u16, 1 => Just(3600)], any::<bool>(), climb(), filament(), any::<bool>())
            .prop_map(|(ij, sweep, clockwise, dz, e, r)| Op::Arc { ij, sweep, clockwise, dz, e, r }),
        2 => (2_000..30_000_i32, 3..24_u8, 0..900_i32).prop_map(|(radius, sides, dz)| Op::Vase { radius, sides, dz }),
        5 => prop_oneof![100..1_000_i32, 100..4_000_i32].prop_map(Op::ToZ),
        3 => (100..3_000_i32, place()).prop_map(|(dz, to)| Op::Hop { dz, to }),
        3 => (-500_000..500_000_i32).prop_map(Op::E),
        3 => any::<bool>().prop_map(Op::Relative),
        2 => any::<bool>().prop_map(Op::ERelative),
        1 => prop_oneof![1 => Just(true), 2 => Just(false)].prop_map(Op::Inches),
        3 => (prop_oneof![3 => Just(8_u8), 3 => 1..16_u8], prop_oneof![2 => Just(0), 3 => -5_000..50_000_i32]).prop_map(|(bits, v)| Op::Set(bits, v)),
        1 => (0..8_u8).prop_map(Op::Home),
        5 => any::<u8>().prop_map(Op::Text),
        1 => (300..9000_u16).prop_map(Op::Feed),
    ]
}

/// A toolpath of up to `most` intentions, most of them with a known place to begin at.
pub fn toolpath(most: usize) -> impl Strategy<Value = Toolpath> {
    let begin = prop_oneof![
        4 => (place(), 100..500_i32).prop_map(|(to, z)| vec![
            Op::Home(0),
            Op::ToZ(z),
            Op::Line { to, dz: 0, e: 0, rapid: true, feed: Some(3000), a: None },
        ]),
        1 => Just(Vec::new()),
    ];
    let file = (0..3_u8, proptest::bool::weighted(0.15), proptest::bool::weighted(0.1), proptest::bool::weighted(0.2));
    let setup = (proptest::bool::weighted(0.3), proptest::bool::weighted(0.15));
    let style = prop_oneof![1 => Just(0_u64), 3 => any::<u64>()];
    (begin, proptest::collection::vec(op(), 1..most), style, file, setup).prop_map(
        |(mut ops, rest, style, (ends, numbered, bom, open), (e_relative, g90_sets_e))| {
            ops.extend(rest);
            let setup = Setup { e_relative, g90_sets_e };
            Toolpath { ops, style, ends, numbered, bom, open, setup, spelling: Spelling::Own }
        },
    )
}
