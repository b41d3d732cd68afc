//! What a person at a hot printer must know: the one list from which every text takes its cautions.
//!
//! Each is one matter in one or two sentences, common practice, no source. What differs between texts is which of them are said:
//!
//! - [`READING`] is for the sheet of paper. Who holds it stands with both hands at the nozzle: that needs [`HANDS`], and no file is run.
//! - [`RUNNING`] stands at the head of a program that moves by itself and prints nothing.
//! - [`PRINTING`] is for a file that prints, and for the help: there is a first layer to watch.
//! - [`TURNING`] is for the moment before a knob is turned.
//! - [`BRIEF`] stands below reports that move nothing.

/// Heat and moving axes.
pub const HOT: &str = "Nozzle and bed are hot; axes move and pinch.";
/// Hands at the nozzle.
pub const HANDS: &str = "Keep fingers, cuffs and paper away from the hot nozzle. Move one axis at a time, and always raise before you move \
                         sideways.";
/// What a mistake does.
pub const DATUM: &str = "A wrong sign or datum drives the nozzle into the bed: keep a hand on the power switch.";
/// A file that was never run.
pub const ABOVE: &str = "Run a new file first with the nozzle well above the bed.";
/// A file that prints.
pub const WATCH: &str = "Watch the whole first layer.";
/// Fire.
pub const UNATTENDED: &str = "Never leave a printer unattended.";
/// Mains voltage.
pub const MAINS: &str = "Mains wiring only by someone licensed for it, by local code.";
/// Who knows better.
pub const MAKER: &str = "The printer maker's instructions come first.";
/// A bed that comes up.
pub const KNOBS: &str = "Raise the nozzle well above the bed before you turn a knob: a bed that comes up meets it. Springs pinch. Read the \
                         bed again after turning, before you print.";

/// For someone who reads a bed by hand.
pub const READING: [&str; 6] = [HOT, HANDS, DATUM, UNATTENDED, MAINS, MAKER];
/// For a program that moves and does not print.
pub const RUNNING: [&str; 6] = [HOT, DATUM, ABOVE, UNATTENDED, MAINS, MAKER];
/// For a file that prints.
pub const PRINTING: [&str; 7] = [HOT, DATUM, ABOVE, WATCH, UNATTENDED, MAINS, MAKER];
/// Before a knob is turned.
pub const TURNING: [&str; 3] = [KNOBS, HOT, MAKER];
/// Below a report.
pub const BRIEF: [&str; 2] = [HOT, MAKER];

/// Several as one paragraph, without line breaks: for JSON, and for what breaks lines by itself.
///
/// ```
/// use evengap::cautions::{PRINTING, paragraph};
///
/// assert!(paragraph(&PRINTING).starts_with("Caution: "));
/// ```
#[must_use]
pub fn paragraph(cautions: &[&str]) -> String {
    format!("Caution: {}", cautions.join(" "))
}
