//! `bandward config`: what is remembered between runs.

use super::Outcome;
use crate::input::quantity::UnitSystem;
use crate::preferences::{self, Preferences};
use clap::{Args, Subcommand};

/// Shows what is remembered between runs, and where; or changes it.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward config units inch\n\n\
The units shown are those of --units, else those the procedure asks for, else the remembered ones.")]
pub struct ConfigArguments {
    /// What to remember; without it, what is remembered is shown
    #[command(subcommand)]
    change: Option<Change>,
}

#[derive(Subcommand)]
enum Change {
    /// Remember in which units to show values
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
            anstream::println!("{} units are remembered in {}", system.name(), path.display());
        }
        None => {
            let remembered = Preferences::read()?;
            let units = remembered.units.map_or("none remembered, so metric", UnitSystem::name);
            anstream::println!("units: {units}\nfile:  {}", preferences::path()?.display());
        }
    }
    Ok(Outcome::Done)
}
