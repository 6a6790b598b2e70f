//! What is kept of one joint.
//!
//! Decides: nothing.
//! Assumes: the number of a joint is one that `find` told.
//! Never: looks at the log; whoever shows it compares its hash.

use super::error::RegisterError;
use super::open::Register;
use super::standing::{Standing, of_judgement, with_recorded};
use crate::input::quantity::UnitSystem;
use rusqlite::{OptionalExtension as _, Result, Row};
use serde_json::Value;

/// A file of text that was kept whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredText {
    /// As it was named.
    pub file: String,
    /// What stands in it.
    pub text: String,
}

/// All that is kept of a joint.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Its number in the register.
    pub id: i64,
    /// Its serial.
    pub serial: Option<String>,
    /// Its number in its log.
    pub joint: i64,
    /// As it was told in metric units.
    pub text_metric: String,
    /// As it was told in inches.
    pub text_inch: String,
    /// The record of its log, as it was judged.
    pub record: Value,
    /// How the joints of its log stand with all that was recorded for them.
    pub standings: Vec<Standing>,
    /// The procedure it was judged by.
    pub procedure: Option<StoredText>,
    /// SHA-256 of that.
    pub procedure_sha256: Option<String>,
    /// How its log was read, where that was told.
    pub layout: Option<StoredText>,
    /// The text of the setup that stood beside it.
    pub setup: Option<StoredText>,
    /// Where its log was last read.
    pub log_path: Option<String>,
    /// SHA-256 of the log.
    pub log_sha256: String,
    /// When it was recorded.
    pub added_at: String,
    /// By which version of the program.
    pub program: String,
}

const QUERY: &str = "SELECT joints.id, joints.joint, text_metric, text_inch, judgements.record, procedure_sha256, procedures.file, \
    procedures.text, layouts.file, layouts.text, setups.file, setups.text, \
    logs.path, log_sha256, added_at, program, joints.serial, judgements.id \
    FROM joints JOIN judgements ON judgements.id = joints.judgement_id JOIN logs ON logs.sha256 = log_sha256 \
    LEFT JOIN procedures ON procedures.sha256 = procedure_sha256 LEFT JOIN layouts ON layouts.sha256 = layout_sha256 \
    LEFT JOIN setups ON setups.judgement_id = judgements.id WHERE joints.id = ?1";

impl Register {
    /// The joint with a number; `None` where there is none.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn stored(&self, id: i64) -> std::result::Result<Option<Stored>, RegisterError> {
        let found = self.connection.query_row(QUERY, [id], stored).optional().and_then(|found| {
            let Some((stored, judgement)) = found else { return Ok(None) };
            Ok(Some(Stored { standings: of_judgement(&self.connection, judgement)?, ..stored }))
        });
        self.told(found)
    }
}

impl Stored {
    /// As it was told in these units.
    pub fn text(&self, system: UnitSystem) -> &str {
        match system {
            UnitSystem::Metric => &self.text_metric,
            UnitSystem::Inch => &self.text_inch,
        }
    }
    /// How it stands itself.
    pub fn standing(&self) -> Option<&Standing> {
        self.standings.iter().find(|one| one.joint == self.joint)
    }
    /// The record of its log, with the outcomes its joints have by all that was recorded for them.
    pub fn record_now(&self) -> Value {
        with_recorded(&self.record, &self.standings)
    }
}

/// The joint, and the number of its judgement.
fn stored(row: &Row<'_>) -> Result<(Stored, i64)> {
    let text = |file: usize| -> Result<Option<StoredText>> {
        let (file, text): (Option<String>, Option<String>) = (row.get(file)?, row.get(file + 1)?);
        Ok(file.zip(text).map(|(file, text)| StoredText { file, text }))
    };
    let record: String = row.get(4)?;
    let stored = Stored {
        id: row.get(0)?,
        joint: row.get(1)?,
        text_metric: row.get(2)?,
        text_inch: row.get(3)?,
        // The schema lets no other text in than JSON.
        record: serde_json::from_str(&record).unwrap_or_default(),
        procedure_sha256: row.get(5)?,
        procedure: text(6)?,
        layout: text(8)?,
        setup: text(10)?,
        log_path: row.get(12)?,
        log_sha256: row.get(13)?,
        added_at: row.get(14)?,
        program: row.get(15)?,
        serial: row.get(16)?,
        standings: Vec::new(),
    };
    Ok((stored, row.get(17)?))
}
