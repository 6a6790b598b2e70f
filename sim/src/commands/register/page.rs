//! The page of a joint out of a register: from its log, where that is still the same, else from the register alone.
//!
//! Decides: which of the two, and says why: what was recorded for the joint is on the page, or the page is not the log's.
//! Assumes: the procedure and the layout that were kept still mean what they meant.
//! Never: draws a log whose hash is another one.

use crate::commands::replay::replay;
use crate::dossier::{Beside, Sources};
use crate::input::hash::Hash;
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::input::layout::Layout;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::remark;
use crate::output::{self, named, reason};
use crate::recording::Recorder;
use crate::register::{Document, Stored};
use crate::report::{self, Report};
use crate::setup::{JudgedSetup, SetupSheet, check};
use crate::trace;
use anyhow::Context as _;
use bandward::Procedure;
use serde_json::Value;
use std::fs::File;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Writes it; `log` is where the log lies now, where that was said.
///
/// # Errors
/// The log that was named cannot be read, or the page not be written.
pub fn write(path: &Path, stored: &Stored, log: Option<&Path>, system: UnitSystem) -> anyhow::Result<()> {
    let drawn = match log_of(stored, log)? {
        Ok(log) => from_log(stored, &log, system)?,
        Err(why) => Err(why),
    };
    let page = match drawn {
        Ok(page) => page,
        Err(why) => {
            remark(&format!("note: {why}: the page is from the register alone, without traces"));
            report::page::stored::page(stored, stored.text(system), &why)
        }
    };
    output::write(path, page.as_bytes())?;
    remark(&format!("written: {}", named(path)));
    Ok(())
}

/// Where the log lies: where that is said to be, else where it was; nowhere where it came through a pipe.
pub fn place_of_log(stored: &Stored, log: Option<&Path>) -> Option<PathBuf> {
    log.map(Path::to_owned).or_else(|| stored.log_path.as_ref().map(PathBuf::from))
}

/// The log, if it is still the one that was judged; else why it is not.
fn log_of(stored: &Stored, log: Option<&Path>) -> anyhow::Result<Result<PathBuf, String>> {
    let Some(path) = place_of_log(stored, log) else {
        return Ok(Err("its log came through a pipe".to_owned()));
    };
    let mut hash = Hash::default();
    match File::open(&path).and_then(|file| hash.read(file)) {
        Err(error) if log.is_some() => {
            return Err(error).with_context(|| format!("cannot read the log {}", named(&path)));
        }
        Err(error) if matches!(error.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
            return Ok(Err(format!("its log is no longer at {}; --log FILE says where it is", named(&path))));
        }
        Err(error) => {
            return Ok(Err(format!(
                "its log {} cannot be read: {}; --log FILE names a copy of it",
                named(&path),
                reason(&error)
            )));
        }
        Ok(()) => {}
    }
    let found = hash.hexadecimal();
    if found == stored.log_sha256 {
        return Ok(Ok(path));
    }
    let (path, then) = (named(&path), &stored.log_sha256);
    Ok(Err(format!("{path} is not the log that was recorded: its SHA-256 is {found} and was {then}")))
}

/// The whole page of the log that the joint is in; else why there is none: it would not show what was recorded for it.
fn from_log(stored: &Stored, log: &Path, system: UnitSystem) -> anyhow::Result<Result<String, String>> {
    let procedure =
        stored.procedure.as_ref().map(|kept| ProcedureFile::parse(&kept.file, &kept.text)).transpose()?;
    let layout = stored.layout.as_ref().map(|kept| Layout::parse(&kept.file, &kept.text)).transpose()?;
    let mut reader = trace::open_witnessed(log, layout.as_ref())?;
    let mut recorder = Recorder::new(reader.header());
    let judge_by = procedure.as_ref().map_or_else(Procedure::new, |file| file.procedure.clone());
    let mut replay = replay(&mut reader, &judge_by, Some(&mut recorder))?;
    let provenance = reader.provenance().with_context(|| format!("cannot read {} to its end", named(log)))?;
    let setup = setup(stored, procedure.as_ref())?;
    replay.attach(&Sources {
        options: &stated(&stored.record["context"]),
        beside: Some(&Beside::read(Some(log), None, None)?),
        marks: reader.marks(),
        setup: setup.as_ref(),
        procedure: procedure.as_ref(),
        of_log: &reader.doubts(),
        of_joint: stored.record["identity"]["of_joint"].as_u64().and_then(|of| u16::try_from(of).ok()),
        now: Some(jiff::Timestamp::now()),
    });
    let is_told = |found: &Document| match found.kind.as_str() {
        "inspection" => {
            replay.dossier.inspection.as_ref().is_some_and(|own| own.inspection.sha256 == found.sha256)
        }
        _ => setup.as_ref().is_some_and(|own| own.sheet.sha256 == found.sha256),
    };
    let mut recorded = stored.standings.iter().flat_map(|standing| &standing.recorded);
    if let Some(missing) = recorded.find(|one| !is_told(one)) {
        return Ok(Err(format!(
            "{} was recorded for this log, and a page from the log would not show it",
            missing.kind
        )));
    }
    let then = stored.record["outcome"].as_str().unwrap_or_default();
    if replay.outcome().name() != then {
        remark(&format!(
            "note: bandward {} recorded this log as {then}, and this version judges it as {}: the page shows the latter",
            stored.program,
            replay.outcome().name()
        ));
    }
    let recording = recorder.finish().with_context(|| format!("{} has no rows", named(log)))?;
    Ok(Ok(report::page::page(&Report {
        replay: &replay,
        recording: &recording,
        procedure: procedure.as_ref(),
        setup: setup.as_ref(),
        provenance: provenance.as_ref(),
        system,
    })))
}

/// The setup that stood beside it; its hash is that of the file it was read from.
fn setup(stored: &Stored, procedure: Option<&ProcedureFile>) -> anyhow::Result<Option<JudgedSetup>> {
    let (Some(kept), Some(procedure)) = (&stored.setup, procedure) else { return Ok(None) };
    let sha256 = stored.record["setup"]["sha256"].as_str().unwrap_or_default().to_owned();
    let sheet = SetupSheet { sha256, ..SetupSheet::parse(&kept.file, &kept.text)? };
    let checked = check(&sheet, procedure);
    Ok(Some(JudgedSetup { sheet, checked }))
}

/// What was known of the joint when it was recorded.
fn stated(context: &Value) -> Vec<Claim> {
    let claim = |field: JointField| {
        let stated = match &context[field.key()] {
            Value::String(text) => Stated::Text(text.clone()),
            Value::Bool(flag) => Stated::Flag(*flag),
            _ => return None,
        };
        Some(Claim { field, stated, source: "the register".to_owned() })
    };
    JointField::ALL.into_iter().filter_map(claim).collect()
}
