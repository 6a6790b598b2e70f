//! `bandward completions`: what a shell needs to complete this program's words.

use super::Outcome;
use crate::output::terminal::raw;
use clap::{Args, Command};
use clap_complete::Shell;

/// Prints what a shell needs to complete the words of this program.
#[derive(Args)]
#[command(after_help = "Examples:\n  \
bandward completions bash > ~/.local/share/bash-completion/completions/bandward\n  \
bandward completions fish > ~/.config/fish/completions/bandward.fish\n  \
bandward completions zsh > _bandward    (in a folder of $fpath)")]
pub struct CompletionsArguments {
    /// The shell
    shell: Shell,
}

/// Runs the command; `program` is this program's own command line.
///
/// # Errors
/// None: the script is text.
pub fn run(arguments: &CompletionsArguments, mut program: Command) -> anyhow::Result<Outcome> {
    let mut script = Vec::new();
    let name = program.get_name().to_owned();
    clap_complete::generate(arguments.shell, &mut program, name, &mut script);
    raw(&String::from_utf8(script)?)?;
    Ok(Outcome::Done)
}
