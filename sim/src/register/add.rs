//! Adding to a register: one log at a time, all of it or nothing.
//!
//! Decides: when a judgement is there already: same log, same procedure, and the same record but for its path.
//! Assumes: the texts that people are shown are made by the caller.
//! Never: changes a judgement that is there, but that it is the newest again when it is told again; nor forgets a serial, a
//! machine, a setup or an inspection of a log because somebody judged a copy of it that had none beside it.

use super::error::RegisterError;
use super::open::Register;
use super::rows::{self, Texts};
use super::standing::{self, Standing};
use crate::input::hash::sha256_hex;
use crate::input::procedure_file::ProcedureFile;
use jiff::Timestamp;
use rusqlite::{OptionalExtension as _, Result, Transaction, TransactionBehavior, params};
use serde_json::{Map, Value};
use std::collections::HashMap;

/// The file a record was made from.
#[derive(Clone, Copy, Debug)]
pub struct LogFile<'a> {
    /// Where it lies; none of a pipe.
    pub path: Option<&'a str>,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: &'a str,
    /// How many there are.
    pub bytes: u64,
}

/// What is added: one log, judged.
pub struct Entry<'a> {
    /// The log.
    pub log: LogFile<'a>,
    /// What it was judged by.
    pub procedure: Option<&'a ProcedureFile>,
    /// How it was read, where that was told: the name of the layout and its text.
    pub layout: Option<(&'a str, &'a str)>,
    /// The text of the setup, where there was one.
    pub setup: Option<&'a str>,
    /// All that `replay --json` tells of it.
    pub record: &'a Value,
    /// What people are shown of a joint.
    pub texts: Texts<'a>,
    /// When it is added.
    pub added_at: Timestamp,
}

/// What became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// Was it added? Otherwise it was there already.
    pub is_new: bool,
    /// Was it there, and is it now the newest of its log again?
    pub is_newest_again: bool,
    /// What was known of this log in the register, and was not told now: `serial S1`, `machine bay-2`.
    pub kept: Vec<String>,
    /// How its joints stand with all that was recorded for them.
    pub standings: Vec<Standing>,
    /// The numbers of its joints in the register, in the order of the log.
    pub joints: Vec<i64>,
    /// How many other judgements of the same log there are.
    pub others: i64,
}

impl Register {
    /// Adds a log, if it is not there already.
    ///
    /// When this returns, it is on the disk; when it fails, nothing has changed.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn add(&mut self, entry: &Entry<'_>) -> std::result::Result<Added, RegisterError> {
        let numbers = entry.record["joints"].as_array().into_iter().flatten();
        let numbers = numbers.filter_map(|joint| u16::try_from(joint["joint"].as_u64()?).ok());
        // Made before anybody else has to wait.
        let texts = numbers.map(|number| (number, (entry.texts)(number))).collect();
        let added = self.put(entry, &texts);
        self.told(added)
    }
    fn put(&mut self, entry: &Entry<'_>, texts: &HashMap<u16, [String; 2]>) -> Result<Added> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        files(&transaction, entry)?;
        let procedure = entry.procedure.map(|file| file.sha256.as_str());
        let (record, kept) = with_kept_identity(&transaction, entry)?;
        let digest = digest(&record);
        let known: Option<i64> = transaction
            .query_row(
                "SELECT id FROM judgements WHERE log_sha256 = ?1 AND ifnull(procedure_sha256, '') = ifnull(?2, '') \
                 AND record_sha256 = ?3",
                params![entry.log.sha256, procedure, digest],
                |row| row.get(0),
            )
            .optional()?;
        let (judgement, is_newest_again) = match known {
            Some(known) => (known, tell_again(&transaction, known)?),
            None => (judgement(&transaction, entry, &record, &digest, texts)?, false),
        };
        let others = transaction.query_row(
            "SELECT count(*) - 1 FROM judgements WHERE log_sha256 = ?1",
            [entry.log.sha256],
            |row| row.get(0),
        )?;
        let joints = transaction
            .prepare("SELECT id FROM joints WHERE judgement_id = ?1 ORDER BY joint")?
            .query_map([judgement], |row| row.get(0))?
            .collect::<Result<Vec<_>>>()?;
        standing::update(&transaction, &joints)?;
        let standings = standing::of_judgement(&transaction, judgement)?;
        transaction.commit()?;
        Ok(Added { is_new: known.is_none(), is_newest_again, kept, standings, joints, others })
    }
}

/// The files it was made from.
fn files(transaction: &Transaction<'_>, entry: &Entry<'_>) -> Result<()> {
    if let Some(file) = entry.procedure {
        transaction.execute(
            "INSERT OR IGNORE INTO procedures (sha256, file, name, revision, text) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![file.sha256, file.file, file.name, file.revision, file.text],
        )?;
    }
    if let Some((file, text)) = entry.layout {
        transaction.execute(
            "INSERT OR IGNORE INTO layouts (sha256, file, text) VALUES (?1, ?2, ?3)",
            params![sha256_hex(text.as_bytes()), file, text],
        )?;
    }
    // A log that was moved is found where it lies now.
    transaction.execute(
        "INSERT INTO logs (sha256, bytes, path) VALUES (?1, ?2, ?3) ON CONFLICT (sha256) DO UPDATE \
         SET path = excluded.path WHERE excluded.path IS NOT NULL AND path IS NOT excluded.path",
        params![entry.log.sha256, entry.log.bytes as i64, entry.log.path],
    )?;
    Ok(())
}

/// What is known of a joint beside its weld and its procedure, as keys of a `context`.
const KEPT: [&str; 12] = [
    "end",
    "machine",
    "operator",
    "spool",
    "bottle",
    "gas_certificate",
    "tip",
    "outside_diameter_mm",
    "ambient_c",
    "welded_at",
    "work",
    "old_bands",
];

/// The record, with what the same log was told with before, and of which nothing is told now.
fn with_kept_identity(transaction: &Transaction<'_>, entry: &Entry<'_>) -> Result<(Value, Vec<String>)> {
    let (mut record, mut kept) = (entry.record.clone(), Vec::new());
    let before = transaction
        .prepare(
            "SELECT json_extract(record, '$.context'), json_extract(record, '$.joints') FROM judgements \
             WHERE log_sha256 = ?1 ORDER BY told",
        )?
        .query_map([entry.log.sha256], |row| Ok([row.get(0)?, row.get(1)?]))?
        .collect::<Result<Vec<[Option<String>; 2]>>>()?;
    let (mut context, mut serials) = (Map::new(), HashMap::new());
    for [of_log, joints] in &before {
        let of_log = parsed(of_log.as_deref());
        for key in KEPT {
            if !of_log[key].is_null() {
                context.insert(key.to_owned(), of_log[key].clone());
            }
        }
        for joint in parsed(joints.as_deref()).as_array().into_iter().flatten() {
            let serial = joint["serial"].as_str().or_else(|| of_log["serial"].as_str());
            if let (Some(number), Some(serial)) = (joint["joint"].as_i64(), serial) {
                serials.insert(number, serial.to_owned());
            }
        }
    }
    if !record["context"]["serial"].is_string() {
        for joint in record["joints"].as_array_mut().into_iter().flatten() {
            let own = joint["joint"].as_i64().and_then(|number| serials.get(&number));
            if let (true, Some(serial)) = (joint["serial"].is_null(), own) {
                joint["serial"] = serial.clone().into();
                kept.push(format!("serial {serial}"));
            }
        }
    }
    for (key, value) in context {
        if record["context"][&key].is_null() {
            let shown = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            kept.push(format!("{} {shown}", key.replace('_', " ")));
            record["context"][key] = value;
        }
    }
    Ok((record, kept))
}

fn parsed(text: Option<&str>) -> Value {
    // The schema lets no other text in than JSON.
    text.and_then(|text| serde_json::from_str(text).ok()).unwrap_or_default()
}

/// Makes a judgement the newest of its log, if it is not; was it not?
fn tell_again(transaction: &Transaction<'_>, judgement: i64) -> Result<bool> {
    let changed = transaction.execute(
        "UPDATE judgements SET told = (SELECT max(told) + 1 FROM judgements) WHERE id = ?1 AND EXISTS \
         (SELECT 1 FROM judgements AS other WHERE other.log_sha256 = judgements.log_sha256 AND other.told > judgements.told)",
        [judgement],
    )?;
    Ok(changed > 0)
}

fn judgement(
    transaction: &Transaction<'_>,
    entry: &Entry<'_>,
    record: &Value,
    digest: &str,
    texts: &HashMap<u16, [String; 2]>,
) -> Result<i64> {
    let text = record.to_string();
    let id = transaction
        .prepare(
            "INSERT INTO judgements (log_sha256, procedure_sha256, layout_sha256, record_sha256, added_at, program, \
             outcome, record, text_sha256, told) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, \
             (SELECT ifnull(max(told), 0) + 1 FROM judgements))",
        )?
        .insert(params![
            entry.log.sha256,
            entry.procedure.map(|file| file.sha256.as_str()),
            entry.layout.map(|(_, text)| sha256_hex(text.as_bytes())),
            digest,
            entry.added_at.to_string(),
            env!("CARGO_PKG_VERSION"),
            record["outcome"].as_str(),
            text,
            sha256_hex(text.as_bytes()),
        ])?;
    let joints = rows::joints(transaction, id, record, texts)?;
    rows::alarms(transaction, id, record, &joints)?;
    rows::findings(transaction, id, record, &joints)?;
    rows::setup_and_inspection(transaction, id, record, entry.setup)?;
    Ok(id)
}

/// Tells records apart, wherever their log lay.
fn digest(record: &Value) -> String {
    let mut without_place = record.clone();
    if let Some(trace) = without_place["trace"].as_object_mut() {
        trace.remove("path");
    }
    sha256_hex(without_place.to_string().as_bytes())
}
