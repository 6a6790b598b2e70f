//! All that came out of one log, from its first row to its last.
//!
//! Decides: what comes out of a log, whatever is made of it afterwards.
//! Assumes: nothing of the other logs.
//! Never: writes to standard output, nor any file.

use super::log::Log;
use super::through::{run_through, sign_of_life};
use super::{Case, Outcome};
use crate::demo;
use crate::dossier::Sources;
use crate::input::hash::sha256_hex;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::laid;
use crate::recording::{Recorder, Recording};
use crate::replay::Replay;
use crate::report;
use crate::report::json::Told;
use crate::trace::{self, Provenance, TraceReader};
use anyhow::{Context as _, bail};
use indicatif::ProgressBar;
use jiff::Timestamp;
use serde_json::Value;
use std::path::{Path, PathBuf};

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
    /// What a person should know about the log that is no fault.
    pub notes: Vec<String>,
    /// What happened to its file while it was read.
    pub changed: Option<String>,
}

impl Replayed {
    /// How the command ends for it alone.
    pub fn outcome(&self) -> Outcome {
        let of_trace = Outcome::of(self.replay.outcome_of_trace(), self.replay.has_faults());
        let of_both = of_trace.worse(Outcome::of(self.replay.dossier.outcome(), false));
        // Whoever named a procedure wanted a proof.
        if self.replay.limits_nothing() { of_both.worse(Outcome::NotProven) } else { of_both }
    }
    /// All of it as one object, for machines.
    pub fn json(&self, case: &Case) -> Value {
        self.told(case).whole()
    }
    /// The same as it is written.
    pub fn told(&self, case: &Case) -> Told<'_> {
        let mut told = Told::of(&self.replay);
        let object = &mut told.object;
        if let (Some(setup), Some(procedure)) = (&case.setup, &case.procedure) {
            object["setup"] = report::setup::json(&setup.sheet, &setup.checked, procedure);
        }
        let mut warnings = case.procedure.as_ref().map(laid::warnings).unwrap_or_default();
        warnings.extend(self.changed.clone());
        object["warnings"] = warnings.into();
        told
    }
    /// What people read of it, without what concerns the procedure as a whole.
    pub fn text(&self, case: &Case) -> String {
        text_of(&self.replay, case, case.system)
    }
}

/// A replay as people read it, in these units.
pub fn text_of(replay: &Replay, case: &Case, system: UnitSystem) -> String {
    let named = |procedure: &ProcedureFile| {
        let place = procedure.temperature_place(system);
        place.map_or_else(|| procedure.title(), |place| format!("{}; {place}", procedure.title()))
    };
    let name = case.procedure.as_ref().map(named);
    report::text::replay(replay, name.as_deref(), system)
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
            Self::None { why, .. } => bail!("{why}"),
        };
        let mut recorder = case.is_drawn.then(|| Recorder::new(reader.header()));
        // Read first: a fault in them is told before the log is gone through.
        let beside = case.context.beside(self.path())?;
        let progress = if case.is_many { ProgressBar::hidden() } else { sign_of_life(&reader)? };
        let mut replay =
            run_through(&mut reader, &case.judge_by, recorder.as_mut(), &progress, !case.is_many)?;
        // Before it is judged: what changes until then is no proof.
        let provenance = self.provenance(&mut reader)?;
        let changed = reader.change();
        replay.attach(&Sources {
            options: &case.claims,
            beside: Some(&beside),
            marks: reader.marks(),
            setup: case.setup.as_ref(),
            procedure: case.procedure.as_ref(),
            of_log: &reader.doubts(),
            of_joint: case.context.of_joint(),
            now: Some(Timestamp::now()),
        });
        case.context.refuse_unplaced(&replay.dossier)?;
        let mut notes = reader.warnings();
        notes.extend(changed.iter().map(|changed| format!("{}: {changed}", replay.trace.path)));
        Ok(Replayed {
            path: self.path().map(Path::to_owned),
            replay,
            recording: recorder.and_then(Recorder::finish),
            provenance,
            notes,
            changed,
        })
    }
    /// What it was read from.
    fn provenance(&self, reader: &mut TraceReader) -> anyhow::Result<Option<Provenance>> {
        if *self == Self::Demo {
            let (sha256, bytes) = (sha256_hex(demo::TRACE), demo::TRACE.len() as u64);
            return Ok(Some(Provenance { sha256, bytes, changed: None }));
        }
        let path = reader.header().path.clone();
        reader.provenance().with_context(|| format!("cannot read {path} to its end"))
    }
}
