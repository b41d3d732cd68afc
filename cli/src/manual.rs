//! `evengap completions` and `evengap manual`: what a package puts beside the command, made by the command itself.

use crate::files::{self, Name, Target};
use crate::report::Failure;
use clap::CommandFactory;
use clap_complete::Shell;
use std::path::PathBuf;

/// Print a shell's completions: bash, zsh, fish, powershell or elvish
#[derive(Debug, clap::Args)]
#[command(after_help = COMPLETIONS_HELP)]
pub(crate) struct Completions {
    /// The shell
    #[arg(value_name = "SHELL", value_enum)]
    shell: Shell,
}

const COMPLETIONS_HELP: &str = "Examples:
  evengap completions bash > ~/.local/share/bash-completion/completions/evengap
  evengap completions fish > ~/.config/fish/completions/evengap.fish";

impl Completions {
    pub(crate) fn run<C: CommandFactory>(&self) -> Result<(), Failure> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut C::command(), "evengap", &mut text);
        files::print(&String::from_utf8_lossy(&text))
    }
}

/// Print the manual pages, or write them into a folder
#[derive(Debug, clap::Args)]
#[command(after_help = MANUAL_HELP)]
pub(crate) struct Manual {
    /// The command whose page is printed; evengap itself unless it is said
    #[arg(value_name = "COMMAND", conflicts_with = "out_dir")]
    command: Option<String>,
    /// Write every page into this folder, as evengap.1, evengap-map.1 and so on; the folder is made if it is not there
    #[arg(long, value_name = "DIR")]
    out_dir: Option<PathBuf>,
}

const MANUAL_HELP: &str = "Examples:
  evengap manual rewrite | man -l -
  evengap manual --out-dir ~/.local/share/man/man1";

impl Manual {
    pub(crate) fn run<C: CommandFactory>(&self) -> Result<(), Failure> {
        let mut all = C::command();
        all.build();
        if let Some(folder) = &self.out_dir {
            std::fs::create_dir_all(folder).map_err(|e| Failure::io("cannot make the folder", folder, e))?;
            let mut targets: Vec<Target> = Vec::new();
            for page in std::iter::once(&all).chain(all.get_subcommands()) {
                let name = page.get_display_name().unwrap_or_else(|| page.get_name());
                let path = folder.join(format!("{name}.1"));
                targets.push(files::ready(&Name::Path(path), &text(page))?);
            }
            let count = targets.len();
            files::commit(targets)?;
            files::say(&format!("Wrote {count} pages into {}.\n", folder.display()));
            return Ok(());
        }
        let page = match &self.command {
            None => Some(&all),
            Some(name) => all.get_subcommands().find(|command| command.get_name() == name),
        };
        let page = page.ok_or_else(|| {
            Failure::wrong_usage(format!(
                "there is no command {}; there are: {}",
                self.command.as_deref().unwrap_or_default(),
                all.get_subcommands().map(clap::Command::get_name).collect::<Vec<_>>().join(", ")
            ))
        })?;
        files::print(&String::from_utf8_lossy(&text(page)))
    }
}

/// A page as roff.
fn text(command: &clap::Command) -> Vec<u8> {
    let mut text = Vec::new();
    // Pages do not tell the variables of options by themselves.
    let command = command.clone().mut_args(|arg| match arg.get_env().map(|name| name.to_string_lossy().into_owned()) {
        Some(name) => {
            let help = arg.get_help().map_or_else(String::new, ToString::to_string);
            arg.help(format!("{help}; from the variable {name} unless it is named"))
        }
        None => arg,
    });
    let page = clap_mangen::Man::new(command).manual("Commands").source(concat!("evengap ", env!("CARGO_PKG_VERSION")));
    // Writing to memory does not fail.
    let _ = page.render(&mut text);
    text
}
