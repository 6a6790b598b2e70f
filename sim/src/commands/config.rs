//! `bandward config`: the saved settings.

use super::Outcome;
use crate::input::quantity::UnitSystem;
use crate::output::named;
use crate::output::terminal::say;
use crate::preferences::{self, Preferences};
use clap::{Args, Subcommand};

/// Shows the saved settings and the file they are in, or changes them.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward config units inch\n\n\
The units shown are those of --units, else those the procedure asks for, else the saved ones.")]
pub struct ConfigArguments {
    /// What to save; without it, the saved settings are shown
    #[command(subcommand)]
    change: Option<Change>,
}

#[derive(Subcommand)]
enum Change {
    /// Save the units to show values in
    #[command(after_help = "Example:\n  bandward config units inch")]
    Units {
        /// The units
        system: UnitSystem,
    },
}

/// Runs the command.
///
/// # Errors
/// The file of preferences cannot be read or written, or has faults.
pub fn run(arguments: &ConfigArguments) -> anyhow::Result<Outcome> {
    match arguments.change {
        Some(Change::Units { system }) => {
            let path = Preferences { units: Some(system) }.write()?;
            say(&format!("{} units are saved in {}\n", system.name(), named(&path)))?;
        }
        None => {
            let saved = Preferences::read()?;
            let units = saved.units.map_or("none saved, so metric", UnitSystem::name);
            say(&format!("units: {units}\nfile:  {}\n", named(&preferences::path()?)))?;
        }
    }
    Ok(Outcome::Done)
}
