//! Where the logs of a call go, one after another: tables, text or JSON, a page, pictures.
//!
//! Decides: what is written when.
//! Assumes: it is given the logs in the order in which they were named.
//! Never: reads a log, nor changes what was found.

#[cfg(feature = "register")]
use super::register::RecordKeeper;
use super::{Case, Outcome, ReplayArguments, Replayed};
use crate::fleet::FleetArguments;
use crate::output::terminal::{say, say_json};
use crate::replay::Replay;
use crate::report::{self, Report};
use bandward::Sink as _;
use serde_json::Value;

/// Takes what came out of each log.
pub struct Outputs<'a> {
    arguments: &'a ReplayArguments,
    case: &'a Case,
    /// What is shown when the last log has been read.
    kept: Vec<Replayed>,
    #[cfg(feature = "register")]
    register: Option<RecordKeeper>,
}

impl<'a> Outputs<'a> {
    /// For this call.
    ///
    /// # Errors
    /// What was named as a register is none.
    pub fn new(arguments: &'a ReplayArguments, case: &'a Case) -> anyhow::Result<Self> {
        #[cfg(feature = "register")]
        let register = arguments.register.as_deref();
        Ok(Self {
            arguments,
            case,
            kept: Vec::new(),
            #[cfg(feature = "register")]
            register: register
                .map(|path| RecordKeeper::open(path, arguments.layout.as_deref()))
                .transpose()?,
        })
    }
    /// Takes the next log.
    ///
    /// # Errors
    /// Something cannot be written.
    pub fn take(&mut self, replayed: Replayed) -> anyhow::Result<()> {
        write_tables(&self.arguments.fleet, &replayed.replay)?;
        #[cfg(feature = "register")]
        if let Some(register) = &mut self.register {
            register.take(&replayed, self.case);
        }
        self.kept.push(replayed);
        Ok(())
    }
    /// Writes what needs all of them, and tells what it comes to.
    ///
    /// # Errors
    /// Something cannot be written.
    pub fn finish(self) -> anyhow::Result<Outcome> {
        if self.arguments.json {
            say_json(&self.json())?;
        } else {
            say(&self.text())?;
        }
        for replayed in &self.kept {
            self.draw(replayed)?;
        }
        #[cfg(feature = "register")]
        self.register.map_or(Ok(()), RecordKeeper::finish)?;
        let is_set_up = self.case.setup.as_ref().is_none_or(|setup| setup.checked.is_within_procedure());
        let before = if is_set_up { Outcome::Done } else { Outcome::Broken };
        Ok(self.kept.iter().map(Replayed::outcome).fold(before, Outcome::worse))
    }
    fn json(&self) -> Value {
        let mut objects: Vec<_> = self.kept.iter().map(|replayed| replayed.json(self.case)).collect();
        if objects.len() == 1 { objects.remove(0) } else { objects.into() }
    }
    fn text(&self) -> String {
        let case = self.case;
        let texts: Vec<_> = self.kept.iter().map(|replayed| replayed.text(case)).collect();
        let warnings = case.procedure.as_ref().map(report::text::warnings).unwrap_or_default();
        let mut text = warnings + &texts.join("\n");
        if let (Some(setup), Some(procedure)) = (&case.setup, &case.procedure) {
            text.push('\n');
            text.push_str(&report::setup::summary(setup, procedure, case.system));
        }
        text
    }
    /// Writes the page and the picture, where they are asked for.
    fn draw(&self, replayed: &Replayed) -> anyhow::Result<()> {
        let Some(recording) = &replayed.recording else { return Ok(()) };
        self.arguments.pictures.write(&Report {
            replay: &replayed.replay,
            recording,
            procedure: self.case.procedure.as_ref(),
            setup: self.case.setup.as_ref(),
            provenance: replayed.provenance.as_ref(),
            system: self.case.system,
        })
    }
}

/// Writes the bands and alarms of a log as tables, where that is asked for.
fn write_tables(fleet: &FleetArguments, replay: &Replay) -> anyhow::Result<()> {
    let Some(mut tables) = fleet.tables(&replay.trace.path, replay.trace.start.as_deref())? else {
        return Ok(());
    };
    replay.bands.iter().for_each(|band| tables.band(band));
    replay.alarms.iter().for_each(|alarm| tables.alarm(*alarm));
    tables.finish()
}
