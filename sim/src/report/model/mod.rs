//! What a replay is shown with, whatever it is shown on.
//!
//! Decides: the words and the figures that a terminal, a page and a picture share.
//! Never: lays anything out; the files beside this folder do.

pub mod alarms;
pub mod bands;
pub mod chart;
pub mod coverage;
pub mod findings;
pub mod inspection;
pub mod meaning;
pub mod repair;
pub mod setup;
pub mod strip;
pub mod verdict;
pub mod words;

use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::recording::Recording;
use crate::replay::Replay;
use crate::setup::JudgedSetup;
use crate::trace::Provenance;

/// Everything a page or a picture is made of.
#[derive(Clone, Copy, Debug)]
pub struct Report<'a> {
    /// What was found.
    pub replay: &'a Replay,
    /// What is drawn.
    pub recording: &'a Recording,
    /// What it was judged by.
    pub procedure: Option<&'a ProcedureFile>,
    /// The setup of the same joint, judged by that procedure.
    pub setup: Option<&'a JudgedSetup>,
    /// What the trace was read from.
    pub provenance: Option<&'a Provenance>,
    /// The units it is shown in.
    pub system: UnitSystem,
}
