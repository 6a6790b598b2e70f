//! The setup before the arc: what was measured against the procedure, and against itself.
//!
//! Decides: the verdict on each setting, which way to adjust it, and what the band would look like.
//! Assumes: readings are honest.
//! Never: replaces the procedure, a safety device or a licensed person.

pub mod advice;
mod amps;
pub mod caution;
pub mod check;
mod compare;
pub mod consistency;
pub mod item;
pub mod judge;
mod melting;
pub mod moves;
mod nozzle;
mod overheat;
pub mod position;
mod preheat;
mod preheat_step;
pub mod sheet;
mod state;
pub mod steps;
mod together;
pub mod verdict;
mod weave;

pub use caution::CAUTIONS;
pub use check::{Checked, check};
pub use compare::is_left;
pub use item::{Item, Measured};
pub use nozzle::not_of_nozzle;
pub use sheet::{Entry, SetupSheet, Signature};
pub use steps::Step;
pub use verdict::{Judged, SettingVerdict, Wanted};

use crate::input::procedure_file::ProcedureFile;
use std::path::Path;

/// A setup with its verdicts, to stand beside the replay of the same joint.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedSetup {
    /// What was measured, and who signed it off.
    pub sheet: SetupSheet,
    /// How it stands to the procedure of the replay.
    pub checked: Checked,
}

impl JudgedSetup {
    /// Reads a setup file and compares it with a procedure.
    ///
    /// # Errors
    /// The file cannot be read, or has faults.
    pub fn read(path: &Path, procedure: &ProcedureFile) -> anyhow::Result<Self> {
        let sheet = SetupSheet::read(path)?;
        let checked = check(&sheet, procedure);
        Ok(Self { sheet, checked })
    }
}
