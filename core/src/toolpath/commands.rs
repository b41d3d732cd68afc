//! The one list of what is understood, what passes and what is refused.
//!
//! **G words** are looked up in [`G_WORDS`]. One that is not there passes, counted as not understood, if no axis word
//! (X Y Z A B C U V W) stands on its line; otherwise it is refused, unless unknown motion is allowed. So are two G words
//! that contradict each other (G90 and G91), and two that use the same axis words (G28 and G1).
//!
//! **M words** pass: they switch and set, they do not say where to go. A few are understood, see [`M_WORDS`]. Where a G
//! word stands on their line too, both count and the mode comes before the motion (RS-274, section 3.8).
//!
//! **T, S, F, D, H, L, O, P, Q** and the like pass as they are; axis words behind a T word are refused if no G word is
//! there. **Text** (lines that are not words) passes, counted as not understood, unless motion hides in it: a G word
//! with axis words behind it (`see G1 X5`), a G word right behind bytes that are no letters (`:10 G28`), or a line that
//! begins with G, X, Y or Z without a number and names an axis later. A text command whose name speaks of probing or
//! levelling is refused like G29.
//!
//! **Comments** (`;` and `( )`) pass whatever they hold.
//!
//! What is refused here for being unclear is refused with line and column; all but damage can be allowed.

/// What a G word does to a toolpath.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Action {
    /// G0, G1: a straight move.
    Straight,
    /// G2 (clockwise seen from above) and G3: an arc in XY, a helix with Z.
    Arc {
        /// Clockwise seen from above.
        clockwise: bool,
    },
    /// Nothing that concerns the path; axis words on its line belong to the motion in force (RS-274, section 3.5).
    Pass,
    /// Passes alone, refused with axis words, E or L.
    PassAlone(&'static str),
    /// As `PassAlone`, but axis words may belong to a motion on the same line.
    Wait,
    /// G80: no motion is in force.
    NoMotion,
    /// Passes alone, refused with axis words for the reason given.
    RefusedWithAxes(&'static str),
    /// G17, G18, G19: arcs are followed in XY only.
    Plane {
        /// G17.
        xy: bool,
    },
    /// G20 and G21.
    Units {
        /// G20.
        inches: bool,
    },
    /// G90 and G91.
    Distance {
        /// G90.
        absolute: bool,
    },
    /// G90.1 and G91.1: how I and J are meant.
    Centres {
        /// G90.1.
        absolute: bool,
    },
    /// G28: the axes named (all, if none is) are somewhere unknown afterwards.
    Home,
    /// The machine goes somewhere by itself: all axes are unknown afterwards.
    Away,
    /// G92.
    SetPosition,
    /// G92.1, G92.2: the offsets of G92 end.
    ClearOffsets,
    /// The machine probes or switches on its own compensation.
    OwnLevelling,
    /// Refused, for the reason given.
    Refused(&'static str),
}

/// A row of [`G_WORDS`].
#[derive(Debug, Clone, Copy)]
#[non_exhaustive]
pub struct GWord {
    /// The code times ten: 921 is G92.1.
    pub code: u32,
    /// What it does.
    pub action: Action,
    /// In words.
    pub what: &'static str,
}

#[inline]
const fn g(code: u32, action: Action, what: &'static str) -> GWord {
    GWord { code, action, what }
}

/// Every G word that is known, by code. Sources: RS-274/NGC (NISTIR 6556, table 5) for G0 to G3, G4, G10, G17 to G21,
/// G28, G30, G38.2, G40 to G43, G49, G53 to G61, G64, G80 to G99; the trade for the others and for G28, G92 without
/// offsets kept through homing (common practice, no source). Of probing, a code with another decimal is probing too.
pub const G_WORDS: &[GWord] = &[
    g(0, Action::Straight, "move"),
    g(10, Action::Straight, "move"),
    g(20, Action::Arc { clockwise: true }, "arc or helix, clockwise"),
    g(30, Action::Arc { clockwise: false }, "arc or helix, anticlockwise"),
    g(40, Action::Wait, "wait"),
    g(50, Action::Refused("a spline: its path is not followed"), "spline"),
    g(51, Action::Refused("a spline: its path is not followed"), "spline"),
    g(60, Action::Refused("a move in motor steps or polar words"), "direct move"),
    g(70, Action::Refused("X words are diameters"), "diameters"),
    g(80, Action::Pass, "radii"),
    g(
        100,
        Action::PassAlone("sets offsets here, and the path would be shifted"),
        "retraction by the machine; with axis or L words a setting of offsets",
    ),
    g(
        110,
        Action::PassAlone("is a recovery from a retraction, and other words stand beside it"),
        "recovery from a retraction by the machine",
    ),
    g(120, Action::Away, "the nozzle is wiped"),
    g(150, Action::Pass, "no polar coordinates"),
    g(160, Action::Refused("X and Y are polar coordinates"), "polar coordinates"),
    g(170, Action::Plane { xy: true }, "arcs lie in XY"),
    g(180, Action::Plane { xy: false }, "arcs lie in XZ"),
    g(190, Action::Plane { xy: false }, "arcs lie in YZ"),
    g(200, Action::Units { inches: true }, "inches"),
    g(210, Action::Units { inches: false }, "millimetres"),
    g(270, Action::Away, "the nozzle is parked"),
    g(280, Action::Home, "home"),
    g(290, Action::OwnLevelling, "probing"),
    g(291, Action::OwnLevelling, "the machine's own compensation"),
    g(292, Action::OwnLevelling, "the machine's own compensation"),
    g(300, Action::OwnLevelling, "probing"),
    g(310, Action::OwnLevelling, "probing"),
    g(320, Action::OwnLevelling, "probing"),
    g(330, Action::OwnLevelling, "probing"),
    g(340, Action::OwnLevelling, "probing"),
    g(350, Action::OwnLevelling, "probing"),
    g(380, Action::OwnLevelling, "probing"),
    g(382, Action::OwnLevelling, "probing"),
    g(383, Action::OwnLevelling, "probing"),
    g(384, Action::OwnLevelling, "probing"),
    g(385, Action::OwnLevelling, "probing"),
    g(400, Action::Pass, "no cutter compensation"),
    g(410, Action::Refused("cutter compensation shifts the path"), "cutter compensation"),
    g(420, Action::Refused("its meaning differs between machines"), "cutter compensation, or a move to a grid point"),
    g(430, Action::Refused("a tool length offset shifts Z by an amount the file does not tell"), "tool length offset"),
    g(490, Action::Pass, "no tool length offset"),
    g(500, Action::Pass, "no scaling"),
    g(510, Action::Refused("the coordinates are scaled"), "scaling"),
    g(511, Action::Refused("the coordinates are mirrored"), "mirroring"),
    g(520, Action::RefusedWithAxes("the path would be shifted"), "local coordinates"),
    g(530, Action::RefusedWithAxes("the words of its line are in machine coordinates"), "machine coordinates"),
    g(540, Action::Pass, "first coordinate system"),
    g(550, Action::Refused("another coordinate system: its place is not in the file"), "second coordinate system"),
    g(560, Action::Refused("another coordinate system: its place is not in the file"), "third coordinate system"),
    g(570, Action::Refused("another coordinate system: its place is not in the file"), "fourth coordinate system"),
    g(580, Action::Refused("another coordinate system: its place is not in the file"), "fifth coordinate system"),
    g(590, Action::Refused("another coordinate system: its place is not in the file"), "sixth coordinate system"),
    g(591, Action::Refused("another coordinate system: its place is not in the file"), "seventh coordinate system"),
    g(592, Action::Refused("another coordinate system: its place is not in the file"), "eighth coordinate system"),
    g(593, Action::Refused("another coordinate system: its place is not in the file"), "ninth coordinate system"),
    g(
        600,
        Action::Refused("it stores a place that a later G61 may go back to"),
        "stored place, or approach from one side",
    ),
    g(610, Action::Pass, "exact path"),
    g(611, Action::Pass, "exact stop"),
    g(640, Action::Pass, "blended path"),
    g(680, Action::Refused("the coordinates are rotated"), "rotation"),
    g(690, Action::Pass, "no rotation"),
    g(730, Action::Refused("a canned cycle"), "canned cycle"),
    g(760, Action::Refused("a canned cycle"), "canned cycle"),
    g(800, Action::NoMotion, "no motion in force"),
    g(810, Action::Refused("a canned cycle"), "canned cycle"),
    g(820, Action::Refused("a canned cycle"), "canned cycle"),
    g(830, Action::Refused("a canned cycle"), "canned cycle"),
    g(840, Action::Refused("a canned cycle"), "canned cycle"),
    g(850, Action::Refused("a canned cycle"), "canned cycle"),
    g(860, Action::Refused("a canned cycle"), "canned cycle"),
    g(870, Action::Refused("a canned cycle"), "canned cycle"),
    g(880, Action::Refused("a canned cycle"), "canned cycle"),
    g(890, Action::Refused("a canned cycle"), "canned cycle"),
    g(900, Action::Distance { absolute: true }, "absolute coordinates"),
    g(901, Action::Centres { absolute: true }, "absolute arc centres"),
    g(910, Action::Distance { absolute: false }, "relative coordinates"),
    g(911, Action::Centres { absolute: false }, "relative arc centres"),
    g(920, Action::SetPosition, "the position is called something else"),
    g(921, Action::ClearOffsets, "the offsets of G92 end"),
    g(922, Action::ClearOffsets, "the offsets of G92 end"),
    g(923, Action::Refused("it brings back offsets that the file does not tell"), "stored offsets"),
    g(930, Action::Refused("inverse-time feed: a split move would run at another speed"), "inverse-time feed"),
    g(940, Action::Pass, "feed per minute"),
    g(950, Action::Pass, "feed per revolution"),
    g(980, Action::Pass, "canned cycles return to the first height"),
    g(990, Action::Pass, "canned cycles return to R"),
];

/// What a G word does, by code times ten; `None` if it is not in [`G_WORDS`].
///
/// ```
/// use evengap::toolpath::commands::{Action, g_word};
///
/// assert_eq!(g_word(30).map(|row| row.action), Some(Action::Arc { clockwise: false })); // G3
/// assert_eq!(g_word(921).map(|row| row.action), Some(Action::ClearOffsets)); // G92.1
/// assert!(g_word(1234).is_none());
/// ```
#[must_use]
#[inline]
pub fn g_word(code: u32) -> Option<&'static GWord> {
    let find = |code: u32| G_WORDS.binary_search_by_key(&code, |row| row.code).ok().map(|n| &G_WORDS[n]);
    find(code).or_else(|| find(code / 10 * 10).filter(|row| row.action == Action::OwnLevelling))
}

/// What the few M words that are understood do (common practice, no source).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum MAction {
    /// M82 and M83.
    EDistance {
        /// M82.
        absolute: bool,
    },
    /// M104, M109: S or R is the nozzle's temperature.
    HeatNozzle,
    /// M140, M190: S or R is the bed's temperature.
    HeatBed,
    /// M110: the count of N words starts again.
    CountLines,
    /// The machine's own compensation, unless S is 0.
    OwnLevelling,
    /// The axes named take a position that is stored in the machine.
    Recall,
    /// The machine shifts its coordinates by an amount that the toolpath's words do not show.
    Shift,
}

/// The M words that are understood: code, what it does, the same in words.
///
/// ```
/// use evengap::toolpath::commands::{M_WORDS, MAction};
///
/// let relative = MAction::EDistance { absolute: false };
/// assert!(M_WORDS.iter().any(|(code, action, _)| (*code, *action) == (83, relative)));
/// ```
pub const M_WORDS: &[(u32, MAction, &str)] = &[
    (48, MAction::OwnLevelling, "probing"),
    (82, MAction::EDistance { absolute: true }, "absolute E"),
    (83, MAction::EDistance { absolute: false }, "relative E"),
    (104, MAction::HeatNozzle, "nozzle temperature"),
    (109, MAction::HeatNozzle, "nozzle temperature, waiting"),
    (110, MAction::CountLines, "line number"),
    (132, MAction::Recall, "stored position: the axes named are unknown afterwards"),
    (140, MAction::HeatBed, "bed temperature"),
    (190, MAction::HeatBed, "bed temperature, waiting"),
    (206, MAction::Shift, "offset from home"),
    (290, MAction::Shift, "shift while printing"),
    (375, MAction::OwnLevelling, "stored heights"),
    (420, MAction::OwnLevelling, "the machine's own compensation"),
    (428, MAction::Shift, "offset from home"),
];

/// Whether a text command's name speaks of the machine's own probing or levelling.
///
/// ```
/// assert!(evengap::toolpath::commands::text_levels(b"READ_MESH fast=1"));
/// ```
#[must_use]
#[inline]
pub fn text_levels(line: &[u8]) -> bool {
    let name: Vec<u8> = line
        .iter()
        .skip_while(|b| b.is_ascii_whitespace())
        .take_while(|b| b.is_ascii_alphanumeric() || **b == b'_')
        .map(u8::to_ascii_uppercase)
        .take(64)
        .collect();
    // A name of several parts (two letters, then more): a lone word of prose does not count.
    name.contains(&b'_')
        && [&b"PROBE"[..], b"MESH", b"LEVEL", b"TILT"].iter().any(|part| name.windows(part.len()).any(|w| w == *part))
}

/// Whether a text command may move an axis or bring back another state: its name speaks of it. (A name is told from prose by what follows it: nothing, or `KEY=VALUE`.)
///
/// ```
/// use evengap::toolpath::commands::text_moves;
///
/// assert!(text_moves(b"park"));
/// assert!(!text_moves(b"move to the next part"));
/// ```
#[must_use]
#[inline]
pub fn text_moves(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    let end = line.iter().position(|b| !(b.is_ascii_alphanumeric() || *b == b'_')).unwrap_or(line.len());
    let (name, rest) = line.split_at(end);
    let rest = rest.split(|b| *b == b';').next().unwrap_or(&[]).trim_ascii();
    let speaks = name.split(|b| *b == b'_').any(|part| {
        [&b"RESTORE"[..], b"OFFSET", b"HOME", b"PARK", b"MOVE"].iter().any(|w| part.eq_ignore_ascii_case(w))
    });
    let command = rest.is_empty() || rest.contains(&b'=');
    speaks && command
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_sorted_and_says_each_code_once() {
        assert!(G_WORDS.windows(2).all(|w| w[0].code < w[1].code));
        assert!(M_WORDS.windows(2).all(|w| w[0].0 < w[1].0));
        assert_eq!(g_word(921).unwrap().action, Action::ClearOffsets);
        assert_eq!(g_word(297).unwrap().action, Action::OwnLevelling);
        assert_eq!(g_word(389).unwrap().action, Action::OwnLevelling);
        assert!(g_word(12).is_none());
        assert!(g_word(1610).is_none());
    }

    #[test]
    fn text_that_may_move() {
        for text in ["RESTORE_STATE NAME=a MOVE=1", "park", "SET_OFFSET Z=0.1 ; up", "MOVE_TO x=5 y=6", "Home_Axes"] {
            assert!(text_moves(text.as_bytes()), "{text}");
        }
        for text in [
            "THING_END NAME=home",
            "LIMIT_MOTION ACCEL=10000",
            "move to the next part",
            "SAVE_STATE NAME=a",
            "note y z",
        ] {
            assert!(!text_moves(text.as_bytes()), "{text}");
        }
    }

    #[test]
    fn text_that_speaks_of_levelling() {
        assert!(text_levels(b"  read_mesh fast=1"));
        assert!(text_levels(b"Z_TILT"));
        assert!(!text_levels(b"START_OBJECT name=mesh_cube"));
        assert!(!text_levels(b"levelling was done by hand"));
    }
}
