//! `bandward replay`: logged joints in, band tables with alarms out.
//!
//! Decides: the options, and that everything wrong with them is told before any log is read.
//! Assumes: all logs of one call are read and judged in the same way.
//! Never: replays or shows anything itself; `replayed` does the one, `one` and `many` the other.

mod ahead;
mod arguments;
mod case;
mod files;
mod found;
mod log;
mod many;
mod notes;
mod one;
mod pages;
#[cfg(feature = "register")]
mod register;
mod replayed;
mod through;

pub use arguments::ReplayArguments;
pub use case::Case;
pub use log::Log;
pub use replayed::Replayed;
pub(super) use through::replay;

use super::Outcome;
use crate::input::quantity::UnitSystem;
use crate::output::refuse_overlap;
use found::Found;

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults; each is told with its place. Of several logs: none can be read.
pub fn run(arguments: &ReplayArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let found = Found::of(&arguments.traces, &arguments.written());
    arguments.pictures.check(found.is_many)?;
    arguments.context.check(found.is_many)?;
    refuse_overlap(&arguments.inputs(&found), &arguments.outputs(&found)?)?;
    let case = Case::read(arguments, &found, units)?;
    match &found.logs[..] {
        [log] if !found.is_many => one::run(arguments, &case, log),
        _ => many::run(arguments, &case, found),
    }
}
