//! What all logs of one call have in common.
//!
//! Decides: by what they are judged, and what of a log has to be kept for what is asked for.
//! Assumes: everything but the logs themselves is small enough to be read at once.
//! Never: reads a log.

use super::found::Found;
use super::{Log, ReplayArguments};
use crate::commands::context::ContextArguments;
use crate::demo;
use crate::input::joint_file::Claim;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::preferences;
use crate::setup::JudgedSetup;
use anyhow::bail;
use bandward::Procedure;

/// What all logs of one call have in common.
pub struct Case {
    /// The procedure file, if one was given.
    pub procedure: Option<ProcedureFile>,
    /// What the logs are judged by; without a file nothing is asked for.
    pub judge_by: Procedure,
    /// How the columns of another logger are to be read.
    pub layout: Option<Layout>,
    /// The setup of the joint.
    pub setup: Option<JudgedSetup>,
    /// What was said of every joint on the command line.
    pub claims: Vec<Claim>,
    /// Which files are read beside each log.
    pub context: ContextArguments,
    /// The units that people are shown.
    pub system: UnitSystem,
    /// Is it one of many, so that there is no sign of life for each?
    pub is_many: bool,
    /// Is the course of every value kept, for a page or a picture?
    pub is_drawn: bool,
    /// Is the log hashed as it is read, so that what was made of it can be traced to it?
    pub is_witnessed: bool,
}

impl Case {
    /// Reads what the logs have in common.
    ///
    /// # Errors
    /// A file cannot be read or has faults; or a setup stands beside several logs, or without a procedure.
    pub fn read(
        arguments: &ReplayArguments,
        found: &Found,
        units: Option<UnitSystem>,
    ) -> anyhow::Result<Self> {
        let layout = arguments.layout.as_deref().map(Layout::read).transpose()?;
        arguments.fleet.check(found.files(), layout.as_ref())?;
        let procedure = match &arguments.procedure {
            Some(path) => Some(ProcedureFile::read(path)?),
            None if found.logs == [Log::Demo] => Some(demo::procedure()?),
            None => None,
        };
        let setup = setup(arguments, found, procedure.as_ref())?;
        Ok(Self {
            judge_by: procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone()),
            claims: arguments.context.claims(arguments.fleet.machine()),
            context: arguments.context.clone(),
            // Machines are given metric, whatever people prefer.
            system: if arguments.json && !arguments.pictures.is_any() {
                UnitSystem::Metric
            } else {
                preferences::units(units, procedure.as_ref())?
            },
            is_witnessed: arguments.is_witnessed(),
            is_drawn: arguments.pictures.is_any(),
            is_many: found.is_many,
            procedure,
            layout,
            setup,
        })
    }
}

/// The setup asked for; one setup is of one joint.
fn setup(
    arguments: &ReplayArguments,
    found: &Found,
    procedure: Option<&ProcedureFile>,
) -> anyhow::Result<Option<JudgedSetup>> {
    let Some(path) = &arguments.setup else { return Ok(None) };
    if found.is_many {
        bail!("--setup is of one joint, and there may be several traces; replay one");
    }
    let Some(procedure) = procedure else {
        bail!("--setup has nothing to be compared with; add --procedure FILE");
    };
    JudgedSetup::read(path, procedure).map(Some)
}
