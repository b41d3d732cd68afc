//! A little machine that executes a toolpath, line by line, and says where everything is.
//!
//! It knows modes, units, offsets and words as RS-274 (NISTIR 6556, Kramer, Proctor, Messina 2000) has them and the
//! trade writes them (common practice, no source, where the standard has no such thing: E, M82, M83, `;`, checksums,
//! lines of text). Places are bed coordinates in mm: what the axes would show had no G92 been given.
//!
//! What it takes a line for:
//! - nothing but a comment or spaces: [`Kind::Blank`];
//! - G0 to G3, said or still in force, with an axis word: [`Kind::Motion`];
//! - what may move an axis in a way this machine does not understand: [`Kind::Doubt`]. The axes it names are
//!   unknown from there on, as after homing;
//! - everything else: [`Kind::Command`]. A line that begins with M or T, or with two letters together, is one
//!   whatever stands behind. Probing (G29 to G35, G38) leaves X, Y and Z unknown, M132 (which recalls stored
//!   positions: common practice, no source) those that it names.

use crate::dec::Dec;
use crate::path::{Arc, Path};

/// The letters of the axes, in the order in which positions are held.
pub const LETTERS: [u8; 9] = *b"XYZABCUVW";
/// Index of X.
pub const X: usize = 0;
/// Index of Y.
pub const Y: usize = 1;
/// Index of Z.
pub const Z: usize = 2;

/// How the machine wakes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Setup {
    /// E is relative until M82 or M83 says otherwise.
    pub e_relative: bool,
    /// G90 and G91 set E as well.
    pub g90_sets_e: bool,
}

/// The feed rate in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Feed {
    /// None was given yet.
    None,
    /// mm a minute.
    Is(Dec),
    /// A text that is no number.
    Text(String),
}

/// What stays in force from line to line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Modes {
    /// The motion in force: 0 to 3.
    pub motion: Option<u8>,
    /// 17, 18 or 19.
    pub plane: u8,
    /// G91.
    pub relative: bool,
    /// M83.
    pub e_relative: bool,
    /// G20.
    pub inches: bool,
    /// G90.1: arc centres are places.
    pub arcs_absolute: bool,
    /// G93.
    pub inverse_time: bool,
    /// F.
    pub feed: Feed,
}

/// Everything that the machine knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct State {
    /// Modes.
    pub modes: Modes,
    /// Bed position of each axis, mm (degrees for A, B, C), where it is known.
    pub at: [Option<Dec>; 9],
    /// What is added to a programmed number to get the bed position, by G92.
    pub offset: [Dec; 9],
    /// The E register: what an absolute E is measured against.
    pub e: Dec,
    /// All filament pushed since the start, mm.
    pub filament: Dec,
}

impl State {
    /// As the machine wakes.
    #[must_use]
    pub fn new(setup: Setup) -> State {
        State {
            modes: Modes {
                motion: None,
                plane: 17,
                relative: false,
                e_relative: setup.e_relative,
                inches: false,
                arcs_absolute: false,
                inverse_time: false,
                feed: Feed::None,
            },
            at: [None; 9],
            offset: [Dec::ZERO; 9],
            e: Dec::ZERO,
            filament: Dec::ZERO,
        }
    }

    /// X, Y and Z where all three are known, mm.
    #[must_use]
    pub fn xyz(&self) -> Option<[f64; 3]> {
        Some([self.at[X]?.f64(), self.at[Y]?.f64(), self.at[Z]?.f64()])
    }

    /// The number that a program would call an axis's place.
    #[must_use]
    pub fn programmed(&self, axis: usize) -> Option<Dec> {
        self.at[axis].map(|at| at - self.offset[axis])
    }

    fn scaled(&self, value: Dec) -> Dec {
        if self.modes.inches { value.inches() } else { value }
    }

    /// As after homing: the position is not known, and what G92 said of it is gone.
    fn leave(&mut self, axes: Vec<usize>) {
        for &axis in &axes {
            self.offset[axis] = Dec::ZERO;
        }
        self.forget(axes);
    }

    fn forget(&mut self, axes: impl IntoIterator<Item = usize>) {
        for axis in axes {
            self.at[axis] = None;
        }
    }
}

/// A letter and what stands behind it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// Upper case.
    pub letter: u8,
    /// The digits as written, without spaces; may be empty.
    pub text: String,
    /// The number, where the text is one.
    pub value: Option<Dec>,
}

/// One motion.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// 0 to 3.
    pub g: u8,
    /// Bed position before.
    pub start: [Option<Dec>; 9],
    /// Bed position after.
    pub end: [Option<Dec>; 9],
    /// Its path in the plane, where X and Y are known at both ends.
    pub path: Option<Path>,
    /// Filament that it pushes, mm.
    pub e: Dec,
}

impl Motion {
    /// Whether X or Y changes, or it is an arc.
    #[must_use]
    pub fn travels(&self) -> bool {
        self.g >= 2 || self.start[X] != self.end[X] || self.start[Y] != self.end[Y]
    }

    /// Whether X, Y and Z are known at both ends.
    #[must_use]
    pub fn known(&self) -> bool {
        self.path.is_some() && self.start[Z].is_some() && self.end[Z].is_some()
    }
}

/// What a line is.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// A comment, or nothing.
    Blank,
    /// A motion.
    Motion(Box<Motion>),
    /// A command that moves no axis, or text.
    Command,
    /// It may move an axis, in a way that is not understood.
    Doubt(&'static str),
}

/// A line cut into its parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line<'a> {
    /// From 1.
    pub number: usize,
    /// All bytes without the line end (and without a BOM before the first).
    pub raw: &'a [u8],
    /// The line end: `\n`, `\r\n`, `\r` or nothing.
    pub end: &'a [u8],
    /// The N word's number.
    pub n: Option<Dec>,
    /// The checksum given, and the one that is right.
    pub checksum: Option<(u32, u8)>,
    /// `raw` without N word and checksum, trimmed. Comments are in it.
    pub body: Vec<u8>,
    /// `body` without comments, trimmed.
    pub code: Vec<u8>,
    /// The comments, each with its brackets or semicolon.
    pub comments: Vec<Vec<u8>>,
}

/// A line and what it did.
#[derive(Debug, Clone)]
pub struct Step<'a> {
    /// The line.
    pub line: Line<'a>,
    /// Its words, where it was read as words.
    pub words: Vec<Word>,
    /// What it is.
    pub kind: Kind,
    /// The machine after it.
    pub after: State,
}

impl Step<'_> {
    /// The motion, where it is one.
    #[must_use]
    pub fn motion(&self) -> Option<&Motion> {
        match &self.kind {
            Kind::Motion(m) => Some(m),
            _ => None,
        }
    }

    /// The word with this letter.
    #[must_use]
    pub fn word(&self, letter: u8) -> Option<&Word> {
        self.words.iter().find(|w| w.letter == letter)
    }

    /// Whether it is G92 with these letters and no others (and at least one).
    #[must_use]
    pub fn is_g92_of(&self, letters: &[u8]) -> bool {
        matches!(self.kind, Kind::Command)
            && self.words.len() > 1
            && self.words.iter().any(|w| w.letter == b'G' && w.value == Some(Dec::new(92, 0)))
            && self.words.iter().all(|w| w.letter == b'G' || letters.contains(&w.letter))
    }

    /// Whether it is a G92.
    #[must_use]
    pub fn is_g92(&self) -> bool {
        self.words.iter().any(|w| w.letter == b'G' && w.value == Some(Dec::new(92, 0)))
    }
}

/// Cuts bytes into lines at LF, CRLF and CR. A last line without an end is a line; nothing behind a last end is none.
#[must_use]
pub fn lines(bytes: &[u8]) -> Vec<Line<'_>> {
    let mut out = Vec::new();
    let mut rest = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    while !rest.is_empty() {
        let length = rest.iter().position(|b| matches!(b, b'\n' | b'\r')).unwrap_or(rest.len());
        let end = match &rest[length..] {
            [b'\r', b'\n', ..] => 2,
            [] => 0,
            _ => 1,
        };
        out.push(cut(out.len() + 1, &rest[..length], &rest[length..length + end]));
        rest = &rest[length + end..];
    }
    out
}

/// Cuts one line into its parts.
fn cut<'a>(number: usize, raw: &'a [u8], end: &'a [u8]) -> Line<'a> {
    // Comments: `;` to the end, and `( )` which may nest. What is left keeps its place in `raw`.
    let mut comments: Vec<Vec<u8>> = Vec::new();
    let mut is_comment = vec![false; raw.len()];
    let mut depth = 0_usize;
    for (i, &b) in raw.iter().enumerate() {
        if depth == 0 && b == b';' {
            comments.push(raw[i..].to_vec());
            is_comment[i..].fill(true);
            break;
        }
        if b == b'(' {
            if depth == 0 {
                comments.push(Vec::new());
            }
            depth += 1;
        }
        if depth > 0 {
            is_comment[i] = true;
            if let Some(last) = comments.last_mut() {
                last.push(b);
            }
            if b == b')' {
                depth -= 1;
            }
        }
    }
    let code_at: Vec<usize> = (0..raw.len()).filter(|&i| !is_comment[i]).collect();

    // N word: the first thing on the line.
    let mut n = None;
    let mut body_from = 0;
    let mut k = 0;
    while k < code_at.len() && raw[code_at[k]].is_ascii_whitespace() {
        k += 1;
    }
    if k < code_at.len() && raw[code_at[k]].eq_ignore_ascii_case(&b'N') {
        let mut j = k + 1;
        let mut digits = String::new();
        while j < code_at.len() && (raw[code_at[j]] == b' ' || raw[code_at[j]] == b'\t') {
            j += 1;
        }
        while j < code_at.len() && (raw[code_at[j]].is_ascii_digit() || (digits.is_empty() && raw[code_at[j]] == b'-'))
        {
            digits.push(raw[code_at[j]] as char);
            j += 1;
        }
        n = Dec::parse(&digits);
        if n.is_some() {
            body_from = code_at[j - 1] + 1;
        }
    }

    // Checksum: on a numbered line, `*` and digits at the end of the code. It is the XOR of all bytes before the `*`.
    let mut checksum = None;
    let mut body_to = raw.len();
    let mut after_star = raw.len();
    if n.is_some()
        && let Some(&star) = code_at.iter().rev().find(|&&i| raw[i] == b'*')
    {
        let tail: Vec<usize> = code_at.iter().copied().filter(|&i| i > star).collect();
        let text: String = tail.iter().map(|&i| raw[i] as char).collect();
        if let Ok(given) = text.trim().parse::<u32>() {
            checksum = Some((given, raw[..star].iter().fold(0, |x, b| x ^ b)));
            body_to = star;
            after_star = tail.iter().copied().filter(|&i| raw[i].is_ascii_digit()).max().map_or(star + 1, |i| i + 1);
        }
    }

    let mut body = raw[body_from..body_to].to_vec();
    body.extend_from_slice(&raw[after_star..]);
    let code: Vec<u8> = code_at.iter().filter(|&&i| i >= body_from && i < body_to).map(|&i| raw[i]).collect();
    Line { number, raw, end, n, checksum, body: body.trim_ascii().to_vec(), code: code.trim_ascii().to_vec(), comments }
}

/// Cuts code into words. Spaces and tabs mean nothing anywhere, not even within a number (RS-274, NISTIR 6556,
/// section 3.3.1). `None` where something is neither a letter nor part of a number behind one.
#[must_use]
pub fn words(code: &[u8]) -> Option<Vec<Word>> {
    let mut out: Vec<Word> = Vec::new();
    for &b in code.iter().filter(|b| !matches!(b, b' ' | b'\t')) {
        match b {
            b'A'..=b'Z' | b'a'..=b'z' => {
                out.push(Word { letter: b.to_ascii_uppercase(), text: String::new(), value: None });
            }
            b'0'..=b'9' | b'.' | b'+' | b'-' => out.last_mut()?.text.push(b as char),
            _ => return None,
        }
    }
    for word in &mut out {
        word.value = Dec::parse(&word.text);
    }
    Some(out)
}

/// Executes one line on a state.
#[must_use]
pub fn step<'a>(line: Line<'a>, before: &State, setup: Setup) -> Step<'a> {
    let mut after = before.clone();
    let code = line.code.clone();
    let (kind, words) = execute(&code, &mut after, setup);
    Step { line, words, kind, after }
}

/// Executes a whole toolpath.
#[must_use]
pub fn run(bytes: &[u8], setup: Setup) -> Vec<Step<'_>> {
    let mut state = State::new(setup);
    let mut out = Vec::new();
    for line in lines(bytes) {
        let step = step(line, &state, setup);
        state = step.after.clone();
        out.push(step);
    }
    out
}

/// The axes among X, Y and Z whose letters occur in a text that is not understood.
fn named(code: &[u8]) -> Vec<usize> {
    (0..3).filter(|&axis| code.iter().any(|b| b.to_ascii_uppercase() == LETTERS[axis])).collect()
}

fn execute(code: &[u8], state: &mut State, setup: Setup) -> (Kind, Vec<Word>) {
    if code.is_empty() {
        return (Kind::Blank, Vec::new());
    }
    let text = code.iter().any(|&b| (b < b' ' && b != b'\t') || b >= 0x7f);
    let two_letters =
        code.len() > 1 && code[0].is_ascii_alphabetic() && (code[1].is_ascii_alphabetic() || code[1] == b'_');
    let first = code[0].to_ascii_uppercase();
    if two_letters || !code[0].is_ascii_alphabetic() {
        return (Kind::Command, Vec::new());
    }
    if text {
        if first == b'G' || LETTERS.contains(&first) {
            state.leave(named(code));
            return (Kind::Doubt("bytes that are no text"), Vec::new());
        }
        return (Kind::Command, Vec::new());
    }
    if first == b'M' || first == b'T' {
        let words = words(code).unwrap_or_default();
        if first == b'M'
            && let Some(value) = words.first().and_then(|w| w.value)
        {
            if value == Dec::new(82, 0) {
                state.modes.e_relative = false;
            } else if value == Dec::new(83, 0) {
                state.modes.e_relative = true;
            } else if value == Dec::new(132, 0) {
                // Stored home positions are recalled into the axes named: what they are, the file does not say.
                state.leave(named(code));
            }
        }
        return (Kind::Command, words);
    }
    let Some(words) = words(code) else {
        if first == b'G' || LETTERS.contains(&first) {
            state.leave(named(code));
            return (Kind::Doubt("cannot be cut into words"), Vec::new());
        }
        return (Kind::Command, Vec::new());
    };
    let kind = command(&words, state, setup);
    if let Kind::Doubt(_) = kind {
        state.leave(named(code));
    }
    (kind, words)
}

/// G numbers, times ten, that move nothing, even with axis words (their own or another's on the line).
const QUIET: [i64; 20] =
    [40, 170, 180, 190, 200, 210, 400, 490, 540, 610, 640, 800, 900, 910, 901, 911, 930, 940, 921, 922];

fn command(words: &[Word], state: &mut State, setup: Setup) -> Kind {
    let axis_of = |w: &Word| LETTERS.iter().position(|&l| l == w.letter);
    let has = |letter: u8| words.iter().any(|w| w.letter == letter);
    let axis_words: Vec<(usize, &Word)> = words.iter().filter_map(|w| axis_of(w).map(|a| (a, w))).collect();
    let moves_axis = !axis_words.is_empty() || has(b'E');
    let mut codes = Vec::new();
    for word in words.iter().filter(|w| w.letter == b'G') {
        // Tenths of a G number are codes of their own (G92.1); anything finer is none.
        match (0..=9999_i64).find(|&c| word.value == Some(Dec::new(c, 1))) {
            Some(code) => codes.push(code),
            None if moves_axis => return Kind::Doubt("a G word without a code"),
            None => return Kind::Command,
        }
    }
    for letter in b"XYZABCUVWEIJKRFN" {
        if words.iter().filter(|w| w.letter == *letter).count() > 1 {
            return if moves_axis { Kind::Doubt("a letter twice") } else { Kind::Command };
        }
    }

    // Modes come before motion (RS-274, NISTIR 6556, table 8: order of execution).
    for &code in &codes {
        match code {
            170 | 180 | 190 => {
                state.modes.plane = if code == 170 {
                    17
                } else if code == 180 {
                    18
                } else {
                    19
                }
            }
            200 => state.modes.inches = true,
            210 => state.modes.inches = false,
            900 | 910 => {
                state.modes.relative = code == 910;
                if setup.g90_sets_e {
                    state.modes.e_relative = code == 910;
                }
            }
            901 => state.modes.arcs_absolute = true,
            911 => state.modes.arcs_absolute = false,
            930 => state.modes.inverse_time = true,
            940 => state.modes.inverse_time = false,
            800 => state.modes.motion = None,
            _ => {}
        }
    }
    let motions: Vec<i64> = codes.iter().copied().filter(|c| matches!(c, 0 | 10 | 20 | 30)).collect();
    if motions.len() > 1 {
        return Kind::Doubt("two motions on a line");
    }
    let homes = codes.contains(&280);
    let sets = codes.contains(&920);
    if codes.iter().any(|c| matches!(c, 290..=359 | 380..=389)) && motions.is_empty() {
        state.forget([X, Y, Z]);
        return Kind::Command;
    }
    let unknown = codes.iter().any(|c| !QUIET.contains(c) && !matches!(c, 0 | 10 | 20 | 30 | 280 | 920));
    if unknown {
        // A canned cycle is a motion that stays in force; axis words behind it are its, not ours.
        if codes.iter().any(|c| matches!(c, 730 | 760 | 810..=899)) {
            state.modes.motion = None;
        }
        return if moves_axis {
            Kind::Doubt("a G code that is not understood, with axis words")
        } else {
            Kind::Command
        };
    }
    if homes || sets {
        if homes && sets || !motions.is_empty() {
            return Kind::Doubt("two commands for the same axis words");
        }
        if sets {
            return set_position(words, &axis_words, state);
        }
        let mut gone: Vec<usize> = axis_words.iter().map(|(axis, _)| *axis).collect();
        if !gone.iter().any(|&axis| axis <= Z) {
            gone.extend([X, Y, Z]);
        }
        state.leave(gone);
        return Kind::Command;
    }
    if codes.iter().any(|c| matches!(c, 921 | 922)) {
        state.offset = [Dec::ZERO; 9];
        return Kind::Command;
    }
    if codes.contains(&40) {
        return if moves_axis { Kind::Doubt("a dwell with axis words") } else { Kind::Command };
    }

    if let Some(feed) = words.iter().find(|w| w.letter == b'F') {
        state.modes.feed = match feed.value {
            Some(value) => Feed::Is(state.scaled(value)),
            None => Feed::Text(feed.text.clone()),
        };
    }
    if let Some(&code) = motions.first() {
        state.modes.motion = (0..4).find(|&g| i64::from(g) * 10 == code);
    }
    let said = !motions.is_empty();
    let arc_words = has(b'I') || has(b'J') || has(b'R');
    let arc = matches!(state.modes.motion, Some(2 | 3));
    if !moves_axis && arc && arc_words && !said {
        return Kind::Doubt("a centre without a motion");
    }
    if !(moves_axis || (said && arc && arc_words)) {
        return Kind::Command;
    }
    let Some(g) = state.modes.motion else { return Kind::Doubt("axis words and no motion in force") };
    if state.modes.inverse_time {
        return Kind::Doubt("inverse-time feed");
    }
    motion(g, words, &axis_words, state)
}

fn set_position(words: &[Word], axis_words: &[(usize, &Word)], state: &mut State) -> Kind {
    let e = words.iter().find(|w| w.letter == b'E');
    if axis_words.is_empty() && e.is_none() {
        return Kind::Doubt("G92 without axes");
    }
    if axis_words.iter().map(|(_, w)| *w).chain(e).any(|w| w.value.is_none()) {
        return Kind::Doubt("a number that cannot be read");
    }
    for &(axis, word) in axis_words {
        let Some(value) = word.value else { continue };
        let given = if rotary(axis) { value } else { state.scaled(value) };
        match state.at[axis] {
            // The bed position stays; what a program calls it is now `given`.
            Some(at) => state.offset[axis] = at - given,
            None => {
                state.offset[axis] = Dec::ZERO;
                state.at[axis] = Some(given);
            }
        }
    }
    if let Some(value) = e.and_then(|w| w.value) {
        state.e = state.scaled(value);
    }
    Kind::Command
}

/// A, B and C are in degrees, which inches do not change.
fn rotary(axis: usize) -> bool {
    matches!(LETTERS[axis], b'A' | b'B' | b'C')
}

fn motion(g: u8, words: &[Word], axis_words: &[(usize, &Word)], state: &mut State) -> Kind {
    let word = |letter: u8| words.iter().find(|w| w.letter == letter);
    for letter in b"XYZABCUVWEIJR" {
        if word(*letter).is_some_and(|w| w.value.is_none()) {
            return Kind::Doubt("a number that cannot be read");
        }
    }
    let start = state.at;
    let mut end = start;
    for &(axis, w) in axis_words {
        let Some(value) = w.value else { continue };
        let value = if rotary(axis) { value } else { state.scaled(value) };
        end[axis] =
            if state.modes.relative { start[axis].map(|at| at + value) } else { Some(value + state.offset[axis]) };
    }
    let plane = |p: &[Option<Dec>; 9]| Some([p[X]?.f64(), p[Y]?.f64()]);
    let ends = plane(&start).zip(plane(&end));
    let path = if g < 2 {
        ends.map(|(start, end)| Path::Straight { start, end })
    } else {
        if state.modes.plane != 17 {
            return Kind::Doubt("an arc outside the XY plane");
        }
        if state.modes.arcs_absolute {
            return Kind::Doubt("an arc with its centre as a place");
        }
        if word(b'K').is_some() {
            return Kind::Doubt("K in the XY plane");
        }
        if word(b'P').is_some_and(|w| w.value != Some(Dec::new(1, 0))) {
            return Kind::Doubt("an arc of several turns");
        }
        let number = |letter| word(letter).and_then(|w| w.value).map(|v| state.scaled(v).f64());
        let (i, j, r) = (number(b'I'), number(b'J'), number(b'R'));
        if r.is_some() == (i.is_some() || j.is_some()) {
            return Kind::Doubt("an arc needs either R or I and J");
        }
        let full = start[X] == end[X] && start[Y] == end[Y];
        match ends {
            None => None,
            Some((from, to)) => {
                let arc = match r {
                    Some(r) => Arc::with_radius(from, to, r, g == 2),
                    None => Arc::about(from, to, full, [i.unwrap_or(0.0), j.unwrap_or(0.0)], g == 2),
                };
                match arc {
                    Ok(arc) => Some(Path::Arc(arc)),
                    Err(_) => return Kind::Doubt("an arc that cannot be placed"),
                }
            }
        }
    };
    let mut pushed = Dec::ZERO;
    if let Some(value) = word(b'E').and_then(|w| w.value) {
        let value = state.scaled(value);
        pushed = if state.modes.e_relative { value } else { value - state.e };
        state.e += pushed;
        state.filament += pushed;
    }
    state.at = end;
    Kind::Motion(Box::new(Motion { g, start, end, path, e: pushed }))
}
