//! `bandward replay`: logged joints in, band tables with alarms out.
//!
//! Decides: the options, and that everything wrong with them is told before any log is read.
//! Assumes: all logs of one call are read and judged in the same way.
//! Never: replays or shows anything itself; [`log`] does the one, [`outputs`] the other.

mod case;
mod log;
mod outputs;
#[cfg(feature = "register")]
mod register;

pub use case::Case;
pub(super) use log::replay;
pub use log::{Log, Replayed};

use super::Outcome;
use super::context::ContextArguments;
use super::pictures::PictureArguments;
use crate::fleet::FleetArguments;
use crate::input::quantity::UnitSystem;
use crate::output::refuse_overlap;
use clap::Args;
use outputs::Outputs;
use std::path::{Path, PathBuf};

/// Replays logged joints through the code that runs on the board.
///
/// Without a trace it replays the demo joint that comes with the program.
#[derive(Args)]
#[command(after_help = "Example:\n  bandward replay --procedure joint.procedure.toml joint.csv\n\n\
Exit code 0: every limit of the procedure was judged and held (or no procedure was given); 1: something is \
broken; 2: could not do it; 3: nothing is broken, but not everything is proven.")]
pub struct ReplayArguments {
    /// Traces: CSV (also .gz, .zst) or Parquet; `-` is standard input
    traces: Vec<PathBuf>,
    /// The procedure to judge by
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// One JSON object instead of text; an array of them for several traces
    #[arg(long)]
    json: bool,
    /// The setup of the joint, saved by `bandward setup`: judged by the same procedure, shown below
    #[arg(long, value_name = "FILE")]
    setup: Option<PathBuf>,
    #[command(flatten)]
    pictures: PictureArguments,
    #[command(flatten)]
    fleet: FleetArguments,
    #[command(flatten)]
    context: ContextArguments,
    /// Adds the joints to this register, made where there is none; the same log judged the same way is added once
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
}

impl ReplayArguments {
    /// What is read, each with what it is.
    fn inputs(&self) -> Vec<(&str, &Path)> {
        let named = [("--procedure", &self.procedure), ("--layout", &self.layout), ("--setup", &self.setup)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        named.chain(self.traces.iter().map(|path| ("the trace", path.as_path()))).collect()
    }
    /// What is written, each with its option.
    fn outputs(&self) -> Vec<(&str, &Path)> {
        #[cfg_attr(not(feature = "register"), expect(unused_mut))]
        let mut outputs = self.pictures.outputs();
        #[cfg(feature = "register")]
        outputs.extend(self.register.iter().map(|path| ("--register", path.as_path())));
        outputs
    }
    /// Does it matter which bytes a log has?
    const fn is_witnessed(&self) -> bool {
        #[cfg(feature = "register")]
        if self.register.is_some() {
            return true;
        }
        self.pictures.is_any()
    }
    /// The logs, in the order in which they were named.
    fn logs(&self) -> Vec<Log> {
        if self.traces.is_empty() {
            return vec![Log::Demo];
        }
        self.traces.iter().cloned().map(Log::File).collect()
    }
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults; each is told with its place.
pub fn run(arguments: &ReplayArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    arguments.pictures.check(arguments.traces.len())?;
    refuse_overlap(&arguments.inputs(), &arguments.outputs())?;
    let case = Case::read(arguments, units)?;
    let mut outputs = Outputs::new(arguments, &case)?;
    for log in arguments.logs() {
        outputs.take(log.replayed(&case)?)?;
    }
    outputs.finish()
}
