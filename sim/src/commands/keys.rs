//! `bandward keys`: every key of every file on one page.

use super::Outcome;
use crate::output::terminal::say;
use crate::{output, reference};
use clap::Args;
use std::path::PathBuf;

/// Lists every key of every file that people write, with what it is for and what may stand there.
///
/// The page is made from the code that reads the files: procedure, layout, setup, scenario, joint, inspection, events.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward keys -o keys.md")]
pub struct KeysArguments {
    /// Write the page, in Markdown, to a new file
    #[arg(long, short, value_name = "FILE.md")]
    output: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// The page cannot be written.
pub fn run(arguments: &KeysArguments) -> anyhow::Result<Outcome> {
    if let Some(path) = &arguments.output {
        output::write_new(path, reference::page().as_bytes())?;
    }
    if arguments.json {
        crate::output::terminal::say_json(&reference::json())?;
    } else if arguments.output.is_none() {
        say(&reference::page())?;
    }
    Ok(Outcome::Done)
}
