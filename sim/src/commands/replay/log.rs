//! One log, from its first row to its last.
//!
//! Decides: what comes out of a log, whatever is made of it afterwards.
//! Assumes: nothing of the other logs.
//! Never: writes to standard output, nor any file.

use super::{Case, Outcome};
use crate::demo;
use crate::input::hash::sha256_hex;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::remark;
use crate::recording::{Recorder, Recording};
use crate::replay::{Replay, Replayer};
use crate::report;
use crate::trace::{self, Provenance, STANDARD_STREAM, TraceReader};
use crate::trend::context::Context;
use anyhow::Context as _;
use bandward::Procedure;
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// Where a log is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Log {
    /// The one that comes with the program.
    Demo,
    /// A file; `-` is standard input.
    File(PathBuf),
}

/// All that came out of one log.
pub struct Replayed {
    /// Where the log lies; none of the demo's, and of standard input.
    pub path: Option<PathBuf>,
    /// What was found.
    pub replay: Replay,
    /// What is drawn, where it was asked for; none of a log without rows.
    pub recording: Option<Recording>,
    /// What the log was read from, where it was asked for.
    pub provenance: Option<Provenance>,
    /// What is known about the joint besides its log.
    pub context: Context,
}

impl Log {
    /// Replays it.
    ///
    /// # Errors
    /// It cannot be read or has faults; each is told with its place.
    pub fn replayed(&self, case: &Case) -> anyhow::Result<Replayed> {
        let mut reader = match self {
            Self::Demo => demo::trace()?,
            Self::File(path) if case.is_witnessed => trace::open_witnessed(path, case.layout.as_ref())?,
            Self::File(path) => trace::open(path, case.layout.as_ref())?,
        };
        let mut recorder = case.is_drawn.then(|| Recorder::new(reader.header()));
        let replay = replay(&mut reader, &case.judge_by, recorder.as_mut())?;
        Ok(Replayed {
            path: self.path().map(Path::to_owned),
            replay,
            recording: recorder.and_then(Recorder::finish),
            provenance: self.provenance(&mut reader)?,
            context: case.context.clone(),
        })
    }
    /// Where it can be read again.
    fn path(&self) -> Option<&Path> {
        match self {
            Self::File(path) if path.as_os_str() != STANDARD_STREAM => Some(path),
            Self::File(_) | Self::Demo => None,
        }
    }
    /// What it was read from, and a word on it where the file did not stand still.
    fn provenance(&self, reader: &mut TraceReader) -> anyhow::Result<Option<Provenance>> {
        if *self == Self::Demo {
            let (sha256, bytes) = (sha256_hex(demo::TRACE), demo::TRACE.len() as u64);
            return Ok(Some(Provenance { sha256, bytes, changed: None }));
        }
        let path = reader.header().path.clone();
        let provenance = reader.provenance().with_context(|| format!("cannot read {path} to its end"))?;
        if let Some(changed) = provenance.as_ref().and_then(|provenance| provenance.changed.as_ref()) {
            remark(&format!("note: {path}: {changed}"));
        }
        Ok(provenance)
    }
}

impl Replayed {
    /// How the command ends for it alone.
    pub fn outcome(&self) -> Outcome {
        Outcome::of(self.replay.outcome(), self.replay.has_faults())
    }
    /// All of it as one object, for machines.
    pub fn json(&self, case: &Case) -> Value {
        let mut object = report::json::replay(&self.replay);
        if let (Some(setup), Some(procedure)) = (&case.setup, &case.procedure) {
            object["setup"] = report::setup::json(&setup.sheet, &setup.checked, procedure);
        }
        object["context"] = self.context.json().into();
        object["warnings"] = case.procedure.as_ref().map(ProcedureFile::warnings).unwrap_or_default().into();
        object
    }
    /// What people read of it, without what concerns the procedure as a whole.
    pub fn text(&self, case: &Case) -> String {
        text_of(&self.replay, case, case.system)
    }
}

/// A replay as people read it, in these units.
pub fn text_of(replay: &Replay, case: &Case, system: UnitSystem) -> String {
    let name = case.procedure.as_ref().map(ProcedureFile::title);
    report::text::replay(replay, name.as_deref(), system)
}

/// Replays one trace to its end, with a sign of life at a terminal.
pub(in crate::commands) fn replay(
    reader: &mut TraceReader,
    procedure: &Procedure,
    mut recorder: Option<&mut Recorder>,
) -> anyhow::Result<Replay> {
    let progress = ProgressBar::new_spinner();
    progress.set_style(ProgressStyle::with_template("{spinner} {msg} {human_pos} samples")?);
    progress.set_message(reader.header().path.clone());
    let mut replayer = Replayer::new(procedure, reader.header());
    for (count, row) in reader.by_ref().enumerate() {
        let row = row?;
        replayer.step(&row);
        if let Some(recorder) = &mut recorder {
            recorder.take(&row, replayer.monitor());
        }
        if count % 50_000 == 49_999 {
            progress.set_position(count as u64);
        }
    }
    progress.finish_and_clear();
    for warning in reader.warnings() {
        remark(&format!("note: {warning}"));
    }
    Ok(replayer.finish())
}
