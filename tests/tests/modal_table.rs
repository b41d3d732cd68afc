//! The modal reader against a table written by hand: every state, every command, the state after.
//!
//! The meaning is that of RS-274/NGC (NISTIR 6556, sections 3.5 and 3.4, modal groups), with the departures that the reader's docs
//! name: M82 and M83 set how E is meant (the trade's words, common practice, no source), G90 and G91 do so as well where the
//! machine is said to do that, and homing makes the axes' places unknown.

use evengap::toolpath::words::Line;
use evengap::toolpath::{Reader, Reading, State, Step};

/// Distance mode, E mode, units, plane, motion: as the words that set them.
type Modes = [&'static str; 5];

const CHOICES: [&[&str]; 5] =
    [&["G90", "G91"], &["M82", "M83"], &["G20", "G21"], &["G17", "G18", "G19"], &["", "G0", "G1", "G2", "G3"]];

/// Each command that sets a mode, and which.
const SETS: [(&str, usize); 13] = [
    ("G90", 0),
    ("G91", 0),
    ("M82", 1),
    ("M83", 1),
    ("G20", 2),
    ("G21", 2),
    ("G17", 3),
    ("G18", 3),
    ("G19", 3),
    ("G0", 4),
    ("G1", 4),
    ("G2", 4),
    ("G3", 4),
];

fn read(reader: &mut Reader, text: &str) -> Result<Step, evengap::Error> {
    let mut line = Line::default();
    line.read(text.as_bytes());
    reader.read(&line, text.as_bytes(), 1)
}

/// A reader at (30, 40, 5) mm with E at 7 mm, in these modes.
fn at(modes: &Modes, settings: Reading) -> Reader {
    let mut reader = Reader::new(settings);
    for text in ["G21", "G90", "M82", "G92 E7", "G1 X30 Y40 Z5"] {
        read(&mut reader, text).expect("a plain line");
    }
    // The motion last: an arc is only read in its plane.
    for text in &modes[..3] {
        read(&mut reader, text).expect("a mode");
    }
    // A motion word by itself moves nothing, and is in force.
    if !modes[4].is_empty() {
        read(&mut reader, "G17").expect("a mode");
        let arc = if modes[4] > "G1" { " I5 J0" } else { "" };
        read(&mut reader, &format!("{}{arc}", modes[4])).expect("a motion");
    } else {
        // Nothing but the start has no motion in force: begin again with the place declared.
        reader = Reader::new(settings);
        for text in ["G21", "G92 X30 Y40 Z5 E7", modes[0], modes[1], modes[2]] {
            read(&mut reader, text).expect("a plain line");
        }
    }
    read(&mut reader, modes[3]).expect("a mode");
    reader
}

fn told(state: &State) -> (bool, bool, bool, bool) {
    (state.absolute, state.e_absolute, state.unit > 1.0, state.xy_plane)
}

fn every() -> Vec<Modes> {
    let mut all = vec![[""; 5]];
    for (n, choices) in CHOICES.iter().enumerate() {
        all = all
            .iter()
            .flat_map(|modes| {
                choices.iter().map(move |choice| {
                    let mut modes = *modes;
                    modes[n] = choice;
                    modes
                })
            })
            .collect();
    }
    all
}

/// The table: what a command that sets a mode leaves in force.
#[test]
fn every_mode_after_every_command() {
    let mut cells = 0;
    for g90_sets_e in [false, true] {
        let settings = Reading { g90_sets_e, ..Reading::default() };
        for modes in every() {
            for (command, group) in SETS {
                let mut reader = at(&modes, settings);
                // A bare G2 or G3 says no arc; its plane is looked at all the same.
                if group == 4 && command > "G1" {
                    continue;
                }
                let before = *reader.state();
                read(&mut reader, command).unwrap_or_else(|e| panic!("{modes:?} {command}: {e}"));
                let after = *reader.state();
                let mut want = modes;
                want[group] = command;
                if g90_sets_e && group == 0 {
                    want[1] = if command == "G90" { "M82" } else { "M83" };
                }
                // How `at` came there: G90 and G91 came before M82 and M83.
                let expected = (want[0] == "G90", want[1] == "M82", want[2] == "G20", want[3] == "G17");
                assert_eq!(told(&after), expected, "{modes:?} {command}");
                if group != 4 {
                    assert_eq!(after.motion, before.motion, "{modes:?} {command}");
                }
                // No place changes by a word alone.
                for (a, b) in before.axes.iter().zip(&after.axes) {
                    assert_eq!((a.known, a.place().to_bits()), (b.known, b.place().to_bits()), "{modes:?} {command}");
                }
                assert_eq!(before.e.to_bits(), after.e.to_bits(), "{modes:?} {command}");
                cells += 1;
            }
        }
    }
    assert_eq!(cells, 2 * 120 * 11);
}

/// The table of places: where each command with words leaves X, Y, Z and E. 1 mm or 1 inch of each word.
#[test]
fn every_place_after_every_command() {
    for modes in every() {
        let unit = if modes[2] == "G20" { 25.4 } else { 1.0 };
        let (absolute, e_absolute) = (modes[0] == "G90", modes[1] == "M82");
        let start = [30.0, 40.0, 5.0, 7.0];
        let to = |n: usize, word: f64| {
            let relative = if n == 3 { !e_absolute } else { !absolute };
            if relative { start[n] + word * unit } else { word * unit }
        };
        let moved = [to(0, 1.0), to(1, 2.0), to(2, 3.0), to(3, 4.0)];
        let named = [1.0 * unit, 2.0 * unit, 3.0 * unit, 4.0 * unit];
        let motion = modes[4];
        let arc = motion > "G1";
        // The command; the words that it leaves, of the register; or a refusal.
        let table: [(&str, Option<[f64; 4]>); 8] = [
            ("G0 X1 Y2 Z3 E4", Some(moved)),
            ("G1 X1 Y2 Z3 E4", Some(moved)),
            ("G1 Z3", Some([start[0], start[1], moved[2], start[3]])),
            ("G1 E4", Some([start[0], start[1], start[2], moved[3]])),
            ("G92 X1 Y2 Z3 E4", Some(named)),
            ("G92 E4", Some([start[0], start[1], start[2], named[3]])),
            // A full circle comes back.
            ("G2 I1 J0 E4", (modes[3] == "G17").then_some([start[0], start[1], start[2], moved[3]])),
            // No motion in force: refused; an arc without a centre too.
            ("X1 Y2 Z3 E4", (!motion.is_empty() && !arc).then_some(moved)),
        ];
        for (command, want) in table {
            let mut reader = at(&modes, Reading::default());
            match (read(&mut reader, command), want) {
                (Ok(_), Some(want)) => {
                    let state = reader.state();
                    let have = [state.axes[0].register, state.axes[1].register, state.axes[2].register, state.e];
                    for (have, want) in have.iter().zip(&want) {
                        assert!((have - want).abs() < 1e-9, "{modes:?} {command}: {have} is not {want}");
                    }
                    // G92 moves nothing: where the nozzle is stays the same.
                    if command.starts_with("G92") {
                        for (axis, place) in state.axes.iter().zip(&start) {
                            assert!((axis.place() - place).abs() < 1e-9, "{modes:?} {command}");
                        }
                    }
                }
                (Err(_), None) => {}
                (outcome, want) => panic!("{modes:?} {command}: {outcome:?}, and {want:?} was to come"),
            }
        }
    }
}

/// Homing: of all axes, or of those that are named; their places are unknown until they are said.
#[test]
fn every_axis_after_homing() {
    for modes in every() {
        for (command, known) in [
            ("G28", [false; 3]),
            ("G28 X Y", [false, false, true]),
            ("G28 Z", [true, true, false]),
            ("G28 X0 Z0", [false, true, false]),
        ] {
            let mut reader = at(&modes, Reading::default());
            let before = told(reader.state());
            read(&mut reader, command).unwrap_or_else(|e| panic!("{modes:?} {command}: {e}"));
            let state = *reader.state();
            assert_eq!(state.axes.map(|a| a.known), known, "{modes:?} {command}");
            assert_eq!(told(&state), before, "{modes:?} {command}");
            // An absolute word makes its axis known, a relative one does not.
            read(&mut reader, "G1 X5 Y6 Z7").unwrap_or_else(|e| panic!("{modes:?} {command}: {e}"));
            let again = reader.state().axes.map(|a| a.known);
            let want = known.map(|k| k || modes[0] == "G90");
            assert_eq!(again, want, "{modes:?} {command}");
        }
    }
}
