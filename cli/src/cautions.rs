//! What the command says about safety. The list is the project's brief, section 8.

/// One line, for reports that move nothing.
pub(crate) const SHORT: &str = "Caution: the bed and nozzle are hot while you read, and axes move and pinch. The printer maker's instructions come first.";

/// After a file was rewritten.
pub(crate) const BEFORE_PRINTING: &str = "\
Caution: a wrong sign or datum drives the nozzle into the bed. Run this file first above the bed, with a hand on the
power switch. Watch the whole first layer; never leave a printer unattended. Hot nozzle and bed, moving axes and pinch
points. Mains wiring only by someone licensed for it, by local code. The printer maker's instructions come first.";

/// Before a knob is turned.
pub(crate) const BEFORE_TURNING: &str = "\
Caution: raise the nozzle well above the bed before you turn a knob: a bed that comes up meets it. Bed and nozzle are hot,
springs and axes pinch. Read the bed again after turning, before you print. The printer maker's instructions come first.";

/// The end of a help text; clap breaks its lines.
macro_rules! cautions {
    () => {
        "Cautions: hot nozzle and bed, moving axes, pinch points. A wrong sign or datum drives the nozzle into the bed: run the \
         first file with a hand on the power switch, first above the bed. Watch the whole first layer. Never leave a printer \
         unattended. Mains wiring only by someone licensed for it, by local code. The printer maker's instructions come first."
    };
}
pub(crate) use cautions;
