//! `replay --register FILE`: what was replayed goes into a register, log by log.
//!
//! Decides: that a replay is shown whether or not it could be recorded; that nothing more is tried after a failure
//! that the next log would meet with too.
//! Assumes: it is given each log once it is read to its end.
//! Never: hides that something was not recorded: the command then ends with 2.

use super::replayed::text_of;
use super::{Case, Outcome, ReplayArguments, Replayed};
use crate::input::quantity::UnitSystem;
use crate::input::text_file;
use crate::output::terminal::remark;
use crate::output::{named, printable};
use crate::register::{Added, Entry, LogFile, Register, RegisterError, Trouble};
use crate::report;
use anstream::adapter::strip_str;
use anyhow::Context as _;
use jiff::Timestamp;
use std::path::{Path, PathBuf};

/// A register that takes what is replayed.
pub struct RecordKeeper {
    path: PathBuf,
    register: Option<Register>,
    /// The name and the text of the layout.
    layout: Option<(String, String)>,
    /// The joints recorded now.
    joints: Vec<i64>,
    /// Logs whose judgement was there before.
    known: u32,
    /// Of these, logs whose judgement was not the newest any more, and is again.
    again: u32,
    /// The worst that joints come to with what the register knows of them.
    outcome: Outcome,
    /// Logs that could not be recorded.
    missed: u32,
    /// The first reason why.
    failure: Option<RegisterError>,
}

impl RecordKeeper {
    /// The one that was asked for.
    ///
    /// # Errors
    /// What was named is none.
    pub fn of(arguments: &ReplayArguments) -> anyhow::Result<Option<Self>> {
        arguments.register.as_deref().map(|path| Self::open(path, arguments.layout.as_deref())).transpose()
    }
    /// Opens the register, or makes it. One that cannot be written to now is told at once, and the replay goes on.
    ///
    /// # Errors
    /// Another file was meant, or another version of this program.
    fn open(path: &Path, layout: Option<&Path>) -> anyhow::Result<Self> {
        let read = |path: &Path| {
            let text =
                text_file::read(path).with_context(|| format!("cannot read layout {}", named(path)))?;
            Ok::<_, anyhow::Error>((named(path), text))
        };
        let layout = layout.map(read).transpose()?;
        let (register, failure) = match Register::open(path) {
            Ok(register) => (Some(register), None),
            Err(error) if error.is_wrong_file() => return Err(error.into()),
            Err(error) => {
                remark(&format!("note: {error}; the replay goes on, nothing is recorded"));
                (None, Some(error))
            }
        };
        Ok(Self {
            path: path.to_owned(),
            register,
            layout,
            joints: Vec::new(),
            known: 0,
            again: 0,
            outcome: Outcome::Done,
            missed: 0,
            failure,
        })
    }
    /// Records a log.
    pub fn take(&mut self, replayed: &Replayed, case: &Case) {
        match self.record(replayed, case) {
            Ok(added) => self.added(added, &replayed.replay.trace.path),
            Err(error) => {
                self.missed += 1;
                if error.as_ref().is_some_and(RegisterError::is_lasting) {
                    self.register = None;
                }
                self.failure = self.failure.take().or(error);
            }
        }
    }
    fn added(&mut self, added: Added, log: &str) {
        if !added.kept.is_empty() {
            let kept = added.kept.join(", ");
            let kept = printable(&kept);
            remark(&format!("note: {log}: not told now; the register keeps {kept} for this log"));
        }
        for standing in &added.standings {
            for line in report::register::counting(standing) {
                remark(&format!("note: {log}: {}", strip_str(&line)));
            }
            let is_worsened = standing.recorded.iter().any(|one| one.reason().is_some());
            if is_worsened {
                let now = crate::register::outcome(&standing.outcome);
                self.outcome = self.outcome.worse(Outcome::of(now, false));
            }
        }
        if added.is_new {
            self.joints.extend(added.joints);
        } else {
            self.known += 1;
            self.again += u32::from(added.is_newest_again);
        }
    }
    /// Tells what came of it, and what the joints come to with what the register knows of them.
    ///
    /// # Errors
    /// Something could not be recorded.
    pub fn finish(self) -> anyhow::Result<Outcome> {
        let known =
            if self.known == 1 { "1 log was".to_owned() } else { format!("{} logs were", self.known) };
        let known = if self.known > 0 { format!("; {known} there already") } else { String::new() };
        let again = if self.again > 0 {
            format!("; the newest judgement again: {}", self.again)
        } else {
            String::new()
        };
        let recorded = match self.joints[..] {
            [] => "nothing new".to_owned(),
            [joint] => format!("joint {joint}"),
            [first, .., last] => format!("{} joints, {first} to {last}", self.joints.len()),
        };
        if self.failure.is_none() || !self.joints.is_empty() || self.known > 0 {
            remark(&format!("recorded in {}: {recorded}{known}{again}", named(&self.path)));
        }
        let Some(failure) = self.failure else { return Ok(self.outcome) };
        let logs = if self.missed == 1 { "1 log is".to_owned() } else { format!("{} logs are", self.missed) };
        remark(&format!("NOT RECORDED: {logs} shown, and not in the register"));
        Err(failure.into())
    }
    fn record(&mut self, replayed: &Replayed, case: &Case) -> Result<Added, Option<RegisterError>> {
        // After a failure that lasts nobody waits for it again.
        let register = self.register.as_mut().ok_or(None)?;
        let told = |problem: String| RegisterError {
            file: named(&self.path),
            trouble: Trouble::LogChanged(format!("{}: {problem}", replayed.replay.trace.path)),
        };
        let Some(from) = &replayed.provenance else {
            return Err(Some(told("its bytes are not known".to_owned())));
        };
        if let Some(changed) = &replayed.changed {
            return Err(Some(told(changed.clone())));
        }
        let whole = replayed.path.as_deref().and_then(|path| std::path::absolute(path).ok());
        let setup = case.setup.as_ref().map(|setup| setup.sheet.to_text());
        let added = register.add(&Entry {
            log: LogFile {
                path: whole.as_deref().and_then(Path::to_str),
                sha256: &from.sha256,
                bytes: from.bytes,
            },
            procedure: case.procedure.as_ref(),
            layout: self.layout.as_ref().map(|(file, text)| (file.as_str(), text.as_str())),
            setup: setup.as_deref(),
            record: &replayed.json(case),
            texts: &|joint| {
                [UnitSystem::Metric, UnitSystem::Inch].map(|system| text(replayed, case, joint, system))
            },
            added_at: Timestamp::now(),
        });
        added.map_err(Some)
    }
}

/// What `replay` shows of one joint, without styles.
fn text(replayed: &Replayed, case: &Case, joint: u16, system: UnitSystem) -> String {
    let warnings = case.procedure.as_ref().map(report::text::warnings).unwrap_or_default();
    let mut text = warnings + &text_of(&replayed.replay.only(joint), case, system);
    if let (Some(setup), Some(procedure)) = (&case.setup, &case.procedure) {
        text.push('\n');
        text.push_str(&report::setup::summary(setup, procedure, system));
    }
    strip_str(&text).to_string()
}
