//! How the machine reads a file until the file says so: the same options for every command that reads one.

use clap::ValueEnum;
use evengap::follow::EMode;

/// See the module.
#[derive(Debug, Clone, Copy, clap::Args)]
pub(crate) struct Start {
    /// How the machine takes E until the file says so
    #[arg(long, value_enum, value_name = "absolute|relative", default_value_t = EStart::Absolute, hide_possible_values = true)]
    e_start: EStart,
    /// G90 and G91 set E too on this machine
    #[arg(long)]
    pub(crate) g90_sets_e: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum EStart {
    Absolute,
    Relative,
}

impl Start {
    pub(crate) fn e_mode(&self) -> EMode {
        match self.e_start {
            EStart::Absolute => EMode::Absolute,
            EStart::Relative => EMode::Relative,
        }
    }
}
