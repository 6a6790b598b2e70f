//! The setup before the arc: what was measured against the procedure, and against itself.
//!
//! Decides: the verdict on each setting, which way to adjust it, and what the band would look like.
//! Assumes: readings are honest.
//! Never: replaces the procedure, a safety device or a licensed person.

pub mod advice;
pub mod check;
pub mod consistency;
pub mod item;
pub mod sheet;

pub use check::{Checked, Judged, SettingVerdict, Wanted, check};
pub use item::{Item, Measured};
pub use sheet::{Entry, SetupSheet, Signature};

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

/// What stands at the head of every setup.
pub const CAUTIONS: [&str; 7] = [
    "This is a checklist beside a monitor. It is no safety device and no emergency stop.",
    "The qualified procedure, local codes and licensed practice come first, whatever is said here.",
    "Arc: burns eyes and skin in a moment; helmet, gloves, screens for those around.",
    "Fumes and gas: draw them off at the torch; shielding gas takes the place of air in pits and corners.",
    "Gas bottles: chained upright, regulator and hoses sound, no oil.",
    "Hot work: permit, nothing that burns nearby, a fire watch; the joint stays hot for hours.",
    "Turning joint: hands, sleeves and cables clear; know where the stop is before it turns.",
];
