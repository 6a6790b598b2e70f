//! `bandward manual`: the pages of the manual.

use super::Outcome;
use crate::output;
use crate::output::named;
use crate::output::terminal::say;
use clap::{Args, Command};
use clap_mangen::Man;
use std::path::PathBuf;

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
    output::make_folder(folder)?;
    // A page for each command is enough: `help` says nothing of its own.
    let mut program = program.disable_help_subcommand(true);
    program.build();
    for (name, page) in pages(&program)? {
        output::write(&folder.join(name), &page)?;
    }
    say(&format!("written to {}\n", named(folder)))?;
    Ok(Outcome::Done)
}

/// The name and the text of each page.
fn pages(command: &Command) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut pages = Vec::new();
    for command in command.get_subcommands().filter(|command| !command.is_hide_set()) {
        pages.extend(self::pages(command)?);
    }
    let page = Man::new(command.clone());
    let mut text = Vec::new();
    page.render(&mut text)?;
    pages.push((page.get_filename(), text));
    Ok(pages)
}
