//! `bandward manual`: the pages of the manual.

use super::Outcome;
use anyhow::Context as _;
use clap::{Args, Command};
use std::path::{Path, PathBuf};

/// Writes the pages of the manual, one for the program and one for each of its commands.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward manual ~/.local/share/man/man1 && man bandward-plan")]
pub struct ManualArguments {
    /// The folder to write to; it is made where it is missing
    folder: PathBuf,
}

/// Runs the command; `program` is this program's own command line.
///
/// # Errors
/// The pages cannot be written.
pub fn run(arguments: &ManualArguments, program: Command) -> anyhow::Result<Outcome> {
    let folder = &arguments.folder;
    write(folder, program).with_context(|| format!("cannot write the manual to {}", folder.display()))?;
    anstream::println!("written to {}", folder.display());
    Ok(Outcome::Done)
}

fn write(folder: &Path, program: Command) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    // A page for each command is enough: `help` says nothing of its own.
    clap_mangen::generate_to(program.disable_help_subcommand(true), folder)
}
