//! The demo that comes with the program: one invented joint with a faulty band, and its procedure.
//!
//! Decides: what a newcomer sees first.
//! Assumes: the files under `demo/` are sound; the tests make sure.
//! Never: depends on where the program is run.

use crate::input::diagnostic::InputErrors;
use crate::input::procedure_file::ProcedureFile;
use crate::trace::{self, TraceReader};

const PROCEDURE: &str = include_str!("../demo/procedure.toml");
/// The demo's trace file.
pub const TRACE: &[u8] = include_bytes!("../demo/joint.csv.gz");

/// The demo's procedure.
///
/// # Errors
/// None, as long as the file built in is sound.
pub fn procedure() -> Result<ProcedureFile, InputErrors> {
    ProcedureFile::parse("demo procedure", PROCEDURE)
}

/// The demo's trace.
///
/// # Errors
/// None, as long as the file built in is sound.
pub fn trace() -> Result<TraceReader, InputErrors> {
    trace::open_bytes(TRACE, "demo joint (invented)")
}
