//! `bandward procedure`: a procedure to fill in.

use super::Outcome;
use super::value::quantity;
use crate::input::quantity::UnitSystem;
use crate::output;
use crate::output::terminal::say;
use crate::reference::template::{self, Known};
use clap::Args;
use std::path::PathBuf;

/// Writes a procedure to fill in, for a joint and a wire, with every key explained.
///
/// It has no limit in it: limits come from a qualified procedure, not from this program.
#[derive(Args)]
#[command(
    after_help = "Example:\n  bandward procedure --diameter \"6 5/8 in\" --wire \"1.6 mm\" -o box.procedure.toml"
)]
pub struct ProcedureArguments {
    /// Outside diameter of the joint
    #[arg(long, value_name = "LENGTH", value_parser = quantity::diameter)]
    diameter: f64,
    /// Wire diameter
    #[arg(long, value_name = "LENGTH", value_parser = quantity::wire_diameter)]
    wire: f64,
    /// Write it to a new file
    #[arg(long, short, value_name = "FILE.toml")]
    output: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// The file is there already, or cannot be written.
pub fn run(arguments: &ProcedureArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let units = units.unwrap_or_default();
    let text = template::procedure(Known { diameter_mm: arguments.diameter, wire_mm: arguments.wire, units });
    match &arguments.output {
        Some(path) => output::write_new(path, text.as_bytes())?,
        None => say(&text)?,
    }
    Ok(Outcome::Done)
}
