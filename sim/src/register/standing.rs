//! What counts for a joint beside its own judgement: setups and inspections that were recorded on their own for its serial,
//! and those that another judgement of its log was told with.
//!
//! Decides: that the newest of each kind counts, and makes of a joint what a replay with it would have made.
//! Assumes: records as `replay --json` prints them.
//! Never: betters an outcome, nor changes the record of a judgement.

use super::document::{Document, NEWEST};
use crate::dossier::day_doubt;
use crate::fleet::welded_at;
use crate::identity::belonging::{self, Weld};
use crate::input::procedure_file::ProcedureFile;
use crate::inspection::{Inspection, JudgedInspection};
use crate::setup::{SetupSheet, check};
use crate::within::within;
use bandward::Outcome;
use rusqlite::{OptionalExtension as _, Result, Row, Transaction, params};
use serde_json::Value;

/// How a joint stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Its number in its log.
    pub joint: i64,
    /// Its outcome: the worst of its judgement and of what was recorded for it.
    pub outcome: String,
    /// What was recorded for it.
    pub recorded: Vec<Document>,
}

/// One that may count, with all of it.
struct Candidate {
    document: Document,
    /// The file; none where the register had no place for it.
    text: Option<String>,
    /// All that was told of it.
    record: Value,
    /// The procedure it was judged by.
    procedure: Option<ProcedureFile>,
}

/// What is asked of a joint.
struct Joint {
    judgement: i64,
    number: i64,
    serial: Option<String>,
    log_sha256: String,
    outcome: Outcome,
}

/// The outcome with this name.
pub fn outcome(name: &str) -> Outcome {
    let all = [Outcome::NotAsked, Outcome::Proven, Outcome::NotProven, Outcome::Broken];
    // A word that a newer version may have written proves nothing.
    all.into_iter().find(|one| one.name() == name).unwrap_or(Outcome::NotProven)
}

/// From the worst to the best, for `ORDER BY`.
pub(super) const WORST_FIRST: &str =
    "CASE outcome WHEN 'broken' THEN 0 WHEN 'not proven' THEN 1 WHEN 'proven' THEN 2 ELSE 3 END";

/// Works out again how the joints with these numbers stand.
pub(super) fn update(transaction: &Transaction<'_>, joints: &[i64]) -> Result<()> {
    for &id in joints {
        let joint = joint(transaction, id)?;
        let candidates = candidates(transaction, &joint)?;
        let (outcome, recorded) = stand(transaction, &joint, candidates)?;
        let text = serde_json::to_string(&recorded).unwrap_or_else(|_| "[]".to_owned());
        transaction.execute(
            "UPDATE joints SET outcome = ?1, recorded = ?2 WHERE id = ?3 AND (outcome IS NOT ?1 OR recorded IS NOT ?2)",
            params![outcome.name(), text, id],
        )?;
        transaction.execute(
            &format!(
                "UPDATE judgements SET outcome = (SELECT outcome FROM (SELECT json_extract(record, '$.outcome') AS outcome \
                 UNION ALL SELECT outcome FROM joints WHERE judgement_id = judgements.id AND recorded <> '[]') ORDER BY {WORST_FIRST} LIMIT 1) \
                 WHERE id = ?1 AND EXISTS \
                 (SELECT 1 FROM joints WHERE judgement_id = ?1 AND recorded <> '[]')"
            ),
            [joint.judgement],
        )?;
    }
    Ok(())
}

fn joint(transaction: &Transaction<'_>, id: i64) -> Result<Joint> {
    let query = "SELECT judgement_id, joint, serial, log_sha256, outcome_of_judgement FROM joints \
                 JOIN judgements ON judgements.id = judgement_id WHERE joints.id = ?1";
    transaction.prepare(query)?.query_row([id], |row| {
        Ok(Joint {
            judgement: row.get(0)?,
            number: row.get(1)?,
            serial: row.get(2)?,
            log_sha256: row.get(3)?,
            outcome: outcome(&row.get::<_, String>(4)?),
        })
    })
}

/// What may count: of each kind the newest that was recorded on its own, and the newest that the log was told with, where
/// this judgement was told with none.
fn candidates(transaction: &Transaction<'_>, joint: &Joint) -> Result<Vec<Candidate>> {
    const OF_LOG: &str = "added_at, judgements.procedure_sha256, procedures.file AS procedure_file, \
        procedures.text AS procedure_text FROM judgements LEFT JOIN procedures ON procedures.sha256 = procedure_sha256";
    // An inspection of a joint that this judgement does not know may be of any of its joints.
    let inspections = format!(
        "SELECT 'inspection' AS kind, ?3 AS serial, inspections.sha256, inspections.file, inspections.outcome, \
         inspected_by AS signed_by, inspected_on AS signed_at, NULL AS text, inspections.record, 1 AS is_of_log, {OF_LOG} \
         JOIN inspections ON inspections.judgement_id = judgements.id \
         WHERE log_sha256 = ?1 AND judgements.id <> ?2 AND (json_extract(inspections.record, '$.joint') IS ?4 OR NOT EXISTS \
         (SELECT 1 FROM joints WHERE judgement_id = ?2 AND joint = json_extract(inspections.record, '$.joint'))) \
         AND NOT EXISTS (SELECT 1 FROM inspections AS own WHERE own.judgement_id = ?2 \
         AND ifnull(json_extract(own.record, '$.joint'), ?4) = ?4) ORDER BY told DESC LIMIT 1"
    );
    let setups = format!(
        "SELECT 'setup' AS kind, ?3 AS serial, setups.sha256, setups.file, setups.outcome, signed_by, signed_at, \
         setups.text, setups.record, 1 AS is_of_log, {OF_LOG} JOIN setups ON setups.judgement_id = judgements.id \
         WHERE log_sha256 = ?1 AND judgements.id <> ?2 AND ?4 > 0 AND NOT EXISTS \
         (SELECT 1 FROM setups AS own WHERE own.judgement_id = ?2) ORDER BY told DESC LIMIT 1"
    );
    let alone = format!(
        "SELECT documents.*, 0 AS is_of_log, procedures.file AS procedure_file, procedures.text AS procedure_text \
         FROM documents JOIN procedures ON procedures.sha256 = procedure_sha256 \
         WHERE serial = ?1 AND {NEWEST} ORDER BY kind DESC"
    );
    let mut found = Vec::new();
    for query in [setups, inspections] {
        let values = params![joint.log_sha256, joint.judgement, joint.serial, joint.number];
        found.extend(transaction.prepare(&query)?.query_row(values, candidate).optional()?);
    }
    let mut select = transaction.prepare(&alone)?;
    for one in select.query_map([&joint.serial], candidate)? {
        found.push(one?);
    }
    Ok(found)
}

fn candidate(row: &Row<'_>) -> Result<Candidate> {
    let record: String = row.get("record")?;
    let (sha256, file, text): (Option<String>, Option<String>, Option<String>) =
        (row.get("procedure_sha256")?, row.get("procedure_file")?, row.get("procedure_text")?);
    Ok(Candidate {
        document: Document { is_of_log: row.get("is_of_log")?, ..Document::of(row)? },
        text: row.get("text")?,
        // The schema lets no other text in than JSON.
        record: serde_json::from_str(&record).unwrap_or_default(),
        procedure: procedure(sha256, file.as_deref(), text.as_deref()),
    })
}

/// A procedure that was kept, with the hash of its file.
fn procedure(sha256: Option<String>, file: Option<&str>, text: Option<&str>) -> Option<ProcedureFile> {
    let parsed = ProcedureFile::parse(file?, text?).ok()?;
    Some(ProcedureFile { sha256: sha256?, ..parsed })
}

/// The outcome of a joint with these, and what each makes of it.
fn stand(
    transaction: &Transaction<'_>,
    joint: &Joint,
    candidates: Vec<Candidate>,
) -> Result<(Outcome, Vec<Document>)> {
    if candidates.is_empty() {
        return Ok((joint.outcome, Vec::new()));
    }
    let query = "SELECT record, procedure_sha256, file, text FROM judgements \
                 LEFT JOIN procedures ON procedures.sha256 = procedure_sha256 WHERE judgements.id = ?1";
    let (record, own) = transaction.query_row(query, [joint.judgement], |row| {
        let (file, text): (Option<String>, Option<String>) = (row.get(2)?, row.get(3)?);
        let record: String = row.get(0)?;
        Ok((record, procedure(row.get(1)?, file.as_deref(), text.as_deref())))
    })?;
    let record: Value = serde_json::from_str(&record).unwrap_or_default();
    let mut worst = joint.outcome;
    let mut recorded = Vec::new();
    for mut one in candidates {
        let judge_by = own.as_ref().or(one.procedure.as_ref());
        let told = outcome(&one.document.outcome);
        let (effect, reasons) = match one.document.kind.as_str() {
            "setup" => of_setup(&one, told, judge_by, &record, joint.number),
            _ => of_inspection(&one, told, judge_by, &record, joint.number),
        };
        // What is within, or asks for nothing, proves nothing that the trace did not.
        let effect = Some(effect).filter(|effect| *effect > Outcome::Proven).unwrap_or_default();
        worst = worst.max(effect);
        effect.name().clone_into(&mut one.document.effect);
        one.document.reasons = reasons;
        recorded.push(one.document);
    }
    Ok((worst, recorded))
}

/// The joint with this number in a record.
fn of_record(record: &Value, number: i64) -> &Value {
    let joints = record["joints"].as_array();
    let is_it = |joint: &&Value| joint["joint"].as_i64() == Some(number);
    joints.and_then(|joints| joints.iter().find(is_it)).unwrap_or(&Value::Null)
}

/// The bands of a joint.
fn bands_of(record: &Value, number: i64) -> impl Iterator<Item = &Value> {
    let bands = record["bands"].as_array().into_iter().flatten();
    bands.filter(move |band| band["joint"].as_i64() == Some(number))
}

fn of_setup(
    one: &Candidate,
    told: Outcome,
    judge_by: Option<&ProcedureFile>,
    record: &Value,
    number: i64,
) -> (Outcome, Vec<String>) {
    let sheet = one.text.as_ref().and_then(|text| SetupSheet::parse(&one.document.file, text).ok());
    let (Some(sheet), Some(judge_by)) = (sheet, judge_by) else { return (told, Vec::new()) };
    let joint = of_record(record, number);
    let welded_at = joint["welded_at"].as_str().or_else(|| record["context"]["welded_at"].as_str());
    let weld = Weld {
        start: record["trace"]["start"].as_str(),
        first_arc_s: bands_of(record, number).find_map(|band| band["start_s"].as_f64()).unwrap_or(0.0),
        welded_at,
    };
    let doubts = belonging::found(&sheet, judge_by, &weld).doubts;
    let doubted = if doubts.is_empty() { Outcome::NotAsked } else { Outcome::NotProven };
    (told.max(check(&sheet, judge_by).outcome()).max(doubted), doubts)
}

fn of_inspection(
    one: &Candidate,
    told: Outcome,
    judge_by: Option<&ProcedureFile>,
    record: &Value,
    number: i64,
) -> (Outcome, Vec<String>) {
    let mut doubts: Vec<String> = Vec::new();
    let welded_at = welded_at(record, of_record(record, number));
    doubts.extend(day_doubt(&one.document.file, one.document.signed_at.as_deref(), welded_at.as_deref()));
    let doubted = if doubts.is_empty() { Outcome::NotAsked } else { Outcome::NotProven };
    let inspection = one.text.as_ref().and_then(|text| Inspection::parse(&one.document.file, text).ok());
    let judged = inspection.map_or(Outcome::NotAsked, |inspection| {
        let mut last = Value::Null;
        let bands: Vec<(u16, bool)> = bands_of(record, number)
            .filter_map(|band| {
                let opens = band["group"] != last;
                last = band["group"].clone();
                Some((u16::try_from(band["band"].as_u64()?).ok()?, opens))
            })
            .collect();
        let number = u16::try_from(number).unwrap_or_default();
        JudgedInspection::of(&inspection, judge_by, number, &bands, &[]).effect()
    });
    (effect_of(&one.record, told).max(judged).max(doubted), doubts)
}

/// What an inspection makes of a joint, by what was told of it: what was not inspected leaves the trace's own proof.
fn effect_of(inspection: &Value, told: Outcome) -> Outcome {
    let is_open = |check: &Value| matches!(check["verdict"].as_str(), Some("undecided" | "not compared"));
    let findings = inspection["findings"].as_array();
    let is_doubted = inspection["doubts"].as_array().is_some_and(|doubts| !doubts.is_empty());
    match (told, findings) {
        (Outcome::NotProven, Some(findings)) if !is_doubted && !findings.iter().any(is_open) => {
            Outcome::NotAsked
        }
        _ => told,
    }
}

/// How the joints of a judgement stand.
pub(super) fn of_judgement(connection: &rusqlite::Connection, judgement: i64) -> Result<Vec<Standing>> {
    let query = "SELECT joint, outcome, recorded FROM joints WHERE judgement_id = ?1 ORDER BY joint";
    let standing = |row: &Row<'_>| {
        Ok(Standing {
            joint: row.get(0)?,
            outcome: row.get(1)?,
            recorded: recorded(&row.get::<_, String>(2)?),
        })
    };
    connection.prepare(query)?.query_map([judgement], standing)?.collect()
}

/// What was recorded for a joint, as it stands in its row.
pub(super) fn recorded(text: &str) -> Vec<Document> {
    serde_json::from_str(text).unwrap_or_default()
}

/// The record of a log, with the outcomes that its joints have by all that was recorded for them.
pub(super) fn with_recorded(record: &Value, standings: &[Standing]) -> Value {
    let mut record = record.clone();
    let mut worst = outcome(record["outcome"].as_str().unwrap_or_default());
    for joint in record["joints"].as_array_mut().into_iter().flatten() {
        let own = |standing: &&Standing| joint["joint"].as_i64() == Some(standing.joint);
        let Some(standing) = standings.iter().find(own).filter(|one| !one.recorded.is_empty()) else {
            continue;
        };
        let now = outcome(&standing.outcome);
        joint["outcome_of_judgement"] = joint["outcome"].take();
        joint["outcome"] = now.name().into();
        joint["within_procedure"] = within(now).into();
        joint["recorded"] = standing.recorded.iter().map(Document::json).collect();
        if let Some(reasons) = joint["reasons"].as_array_mut() {
            reasons.extend(standing.recorded.iter().filter_map(Document::reason).map(Value::from));
        }
        worst = worst.max(now);
    }
    if standings.iter().any(|standing| !standing.recorded.is_empty()) {
        record["outcome"] = worst.name().into();
        record["within_procedure"] = within(worst).into();
    }
    record
}
