//! `bandward watch`: a weld as it goes on, on a board or from a trace.
//!
//! Decides: which of the two, and what cannot go together.
//! Assumes: nothing.
//! Never: judges.

mod arguments;
mod board;
mod ending;
mod frame;
mod keys;
#[cfg(feature = "serve")]
mod live;
#[cfg(not(feature = "serve"))]
#[path = "no_live.rs"]
mod live;
mod onlookers;
mod play;
mod printer;
#[cfg(feature = "publish")]
mod publication;
#[cfg(not(feature = "publish"))]
#[path = "no_publication.rs"]
mod publication;
#[cfg(feature = "register")]
mod register;

use super::Outcome;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::{refuse_overlap, terminal};
pub use arguments::WatchArguments;

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults, the board is not there or refuses, or the terminal cannot be used.
pub fn run(arguments: &WatchArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    refuse_overlap(&arguments.inputs(), &arguments.outputs())?;
    let named = arguments.procedure.as_ref().or(arguments.upload.as_ref());
    let procedure = named.map(|path| ProcedureFile::read(path)).transpose()?;
    let ended = match arguments.address() {
        Some(address) => board::run(arguments, &address, procedure, units),
        None => play::run(arguments, procedure, units),
    };
    // What was said so far is told in any case.
    let said = terminal::finish();
    let outcome = ended?;
    said.map(|()| outcome)
}
