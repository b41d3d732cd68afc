//! `evengap`: hand-taken bed readings to a height map, and a sliced file rewritten to follow it.
//!
//! One file a command. `main` parses, calls one function that may fail, and is the only place that ends the process:
//! 0 done, 1 refused or failed, 2 wrong usage. Data goes to standard output, messages to standard error.

mod cautions;
mod check;
mod compare;
mod files;
mod manual;
mod map;
mod marks;
mod measured;
mod millimetres;
mod pdf;
mod picture;
mod plan;
mod points;
mod progress;
mod prove;
mod reading;
mod report;
mod rewrite;
mod rows;
mod surface;
mod table;
mod tram;
mod trial;
mod wrap;

use clap::{Parser, Subcommand, ValueEnum};
use report::To;
use std::process::ExitCode;

/// Keeps the nozzle's gap even over a bent bed: hand-taken readings in, a sliced file that follows the bed out.
#[derive(Debug, Parser)]
#[command(name = "evengap", version, arg_required_else_help = true, after_help = AFTER_HELP, disable_help_subcommand = true)]
struct Cli {
    /// Colour in messages; auto: on a terminal, and not where NO_COLOR is set
    #[arg(long, visible_alias = "color", value_enum, default_value_t = Colour::Auto, value_name = "WHEN", global = true)]
    colour: Colour,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Plan(Box<plan::Args>),
    Map(map::Args),
    Tram(tram::Args),
    Rewrite(rewrite::Args),
    Check(check::Args),
    Compare(compare::Args),
    Trial(trial::Args),
    Completions(manual::Completions),
    Manual(manual::Manual),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Colour {
    Auto,
    Always,
    Never,
}

const AFTER_HELP: &str = "\
Exit status: 0 done, 1 refused or failed, 2 wrong usage.
Data goes to standard output, messages to standard error; \"-\" stands for standard input or output.

Examples:
  evengap plan bed.toml --grid 5x5 -o bed.toml --paper sheet.pdf
  evengap map bed.toml --picture bed.svg
  evengap tram bed.toml
  evengap rewrite part.gcode --card bed.toml -o part.even.gcode
  evengap check part.even.gcode --card bed.toml --original part.gcode
  evengap trial bed.toml -o trial.gcode --numbers";

fn main() -> ExitCode {
    let (to, outcome) = match Cli::try_parse() {
        Ok(cli) => {
            choose_colour(cli.colour);
            (cli.command.tells(), cli.command.run())
        }
        Err(error) if lacks_card(&error) => {
            files::say("error: no card: name it, or set EVENGAP_CARD to its name\n");
            return ExitCode::from(2);
        }
        Err(error) => (To::Person, Err(report::Failure::Usage(error))),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => ExitCode::from(report::tell(&failure, to)),
    }
}

impl Command {
    fn tells(&self) -> To {
        let json = match self {
            Command::Plan(args) => args.json,
            Command::Map(args) => args.json,
            Command::Tram(args) => args.json,
            Command::Compare(args) => args.json,
            Command::Rewrite(args) => return args.tells(),
            Command::Check(args) => args.json,
            Command::Trial(args) => args.json,
            Command::Completions(_) | Command::Manual(_) => false,
        };
        if json { To::Program } else { To::Person }
    }

    fn run(self) -> Result<(), report::Failure> {
        match self {
            Command::Plan(args) => plan::run(&args),
            Command::Map(args) => map::run(&args),
            Command::Tram(args) => tram::run(&args),
            Command::Compare(args) => compare::run(&args),
            Command::Rewrite(args) => rewrite::run(&args),
            Command::Check(args) => check::run(&args),
            Command::Trial(args) => trial::run(&args),
            Command::Completions(args) => args.run::<Cli>(),
            Command::Manual(args) => args.run::<Cli>(),
        }
    }
}

/// Whether the card is all that is missing: what a step of another program meets that was set up in a shell.
fn lacks_card(error: &clap::Error) -> bool {
    use clap::error::{ContextKind, ContextValue, ErrorKind};
    error.kind() == ErrorKind::MissingRequiredArgument
        && matches!(error.get(ContextKind::InvalidArg), Some(ContextValue::Strings(missing))
            if matches!(&missing[..], [one] if one == "<CARD>" || one == "--card <CARD>"))
}

fn choose_colour(colour: Colour) {
    match colour {
        Colour::Auto => anstream::ColorChoice::Auto,
        Colour::Always => anstream::ColorChoice::Always,
        Colour::Never => anstream::ColorChoice::Never,
    }
    .write_global();
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    #[test]
    fn the_arguments_are_consistent() {
        Cli::command().debug_assert();
    }
}
