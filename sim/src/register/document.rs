//! A setup or an inspection that was recorded on its own, without a log.
//!
//! Decides: what it makes of the joint it counts for.

use crate::input::procedure_file::ProcedureFile;
use jiff::Timestamp;
use rusqlite::{Result, Row};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// What it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DocumentKind {
    /// What was measured before the arc.
    Setup,
    /// What was found on the finished bands.
    Inspection,
}

impl DocumentKind {
    /// Its name, here and in the register.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Setup => "setup",
            Self::Inspection => "inspection",
        }
    }
}

/// What is added.
#[derive(Clone, Copy)]
pub struct NewDocument<'a> {
    /// What it is.
    pub kind: DocumentKind,
    /// The serial of its joint, where it tells one.
    pub serial: Option<&'a str>,
    /// How its file is called; empty where it was only typed in.
    pub file: &'a str,
    /// The whole file.
    pub text: &'a str,
    /// What it was judged by.
    pub procedure: &'a ProcedureFile,
    /// Who signed it, and when.
    pub signed: [Option<&'a str>; 2],
    /// All that the command tells of it, `outcome` among it.
    pub record: &'a Value,
    /// When it is added.
    pub added_at: Timestamp,
}

/// What became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AddedDocument {
    /// Was it added? Otherwise it was there already.
    pub is_new: bool,
    /// The joints of its serial in the register, of newest judgements.
    pub joints: Vec<i64>,
}

/// One that is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// `setup` or `inspection`.
    pub kind: String,
    /// The serial of its joint.
    pub serial: Option<String>,
    /// SHA-256 of its text.
    pub sha256: String,
    /// How its file was called.
    pub file: String,
    /// Its outcome.
    pub outcome: String,
    /// Who signed it.
    pub signed_by: Option<String>,
    /// When.
    pub signed_at: Option<String>,
    /// When it was recorded.
    pub added_at: String,
    /// Was it told with an earlier judgement of the same log, and not on its own?
    pub is_of_log: bool,
    /// What it makes of the joint it counts for: `broken`, `not proven`, or `not asked` where it changes nothing.
    pub effect: String,
    /// Why it may not belong to that joint.
    pub reasons: Vec<String>,
}

impl Document {
    /// As one object, for machines.
    pub fn json(&self) -> Value {
        json!({
            "kind": self.kind, "serial": self.serial, "outcome": self.outcome, "signed_by": self.signed_by,
            "signed_at": self.signed_at, "file": self.file, "sha256": self.sha256, "added_at": self.added_at,
            "of_log": self.is_of_log, "effect": self.effect, "doubts": self.reasons,
        })
    }
    /// The word among the reasons of a joint; none where it changes nothing.
    pub fn reason(&self) -> Option<&'static str> {
        Some(match (self.kind.as_str(), self.effect.as_str()) {
            ("setup", "broken") => "setup-outside",
            ("setup", "not proven") => "setup-not-proven",
            (_, "broken") => "inspection-outside",
            (_, "not proven") => "inspection-open",
            _ => return None,
        })
    }
    /// How it stands to its joint: the worse of its own outcome and of what it makes of the joint.
    pub fn standing(&self) -> &str {
        if self.effect == "not asked" { &self.outcome } else { &self.effect }
    }
    pub(super) fn of(row: &Row<'_>) -> Result<Self> {
        Ok(Self {
            kind: row.get("kind")?,
            serial: row.get("serial")?,
            sha256: row.get::<_, Option<String>>("sha256")?.unwrap_or_default(),
            file: row.get::<_, Option<String>>("file")?.unwrap_or_default(),
            // What nobody said is not proven.
            outcome: row.get::<_, Option<String>>("outcome")?.unwrap_or("not proven".to_owned()),
            signed_by: row.get("signed_by")?,
            signed_at: row.get("signed_at")?,
            added_at: row.get("added_at")?,
            is_of_log: false,
            effect: row.get::<_, Option<String>>("outcome")?.unwrap_or("not proven".to_owned()),
            reasons: Vec::new(),
        })
    }
}

/// The newest of each kind with a serial.
pub(super) const NEWEST: &str = "NOT EXISTS (SELECT 1 FROM documents AS later WHERE later.kind = documents.kind \
    AND later.serial = documents.serial AND later.id > documents.id)";
