//! The rows of a judgement, taken from its JSON object.
//!
//! Decides: which field goes into which column.
//! Assumes: the object is one that `replay --json` prints; what is absent or null becomes null.
//! Never: computes a figure: all that stands in a row stands in the object.

use crate::fleet::{day_of, welded_at};
use rusqlite::{Result, Transaction, params};
use serde_json::Value;
use std::collections::{BTreeMap, HashMap};

const EMPTY: &[Value] = &[];

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().map_or(EMPTY, Vec::as_slice)
}

fn text<'v>(value: &'v Value, key: &str) -> Option<&'v str> {
    value[key].as_str()
}

fn number(value: &Value, key: &str) -> Option<f64> {
    value[key].as_f64()
}

fn whole(value: &Value, key: &str) -> Option<i64> {
    value[key].as_i64()
}

/// A figure, or the mean where there are several of it.
fn mean(value: &Value, key: &str) -> Option<f64> {
    value[key].as_f64().or_else(|| value[key]["mean"].as_f64())
}

/// The texts of a joint by its number: metric, and inch.
pub type Texts<'a> = &'a dyn Fn(u16) -> [String; 2];

/// Puts in the joints of a record with all that is about them; their numbers in the register by those in the log.
pub fn joints(
    transaction: &Transaction<'_>,
    judgement: i64,
    record: &Value,
    texts: &HashMap<u16, [String; 2]>,
) -> Result<HashMap<i64, i64>> {
    let mut added = HashMap::new();
    for joint in list(record, "joints") {
        let number = whole(joint, "joint").unwrap_or_default();
        let texts = u16::try_from(number).ok().and_then(|number| texts.get(&number));
        let row = self::joint(transaction, judgement, record, joint, texts)?;
        let own = |one: &&Value| whole(one, "joint") == Some(number);
        let own: Vec<&Value> = list(record, "bands").iter().filter(own).collect();
        bands(transaction, row, &own)?;
        groups(transaction, row, &own)?;
        limits(transaction, row, joint, &own)?;
        added.insert(number, row);
    }
    Ok(added)
}

fn joint(
    transaction: &Transaction<'_>,
    judgement: i64,
    record: &Value,
    joint: &Value,
    texts: Option<&[String; 2]>,
) -> Result<i64> {
    let context = &record["context"];
    // What a marker in the log tells of one joint goes before what was told of all of them.
    let told = |key: &str| text(joint, key).or_else(|| text(context, key));
    let welded_at = welded_at(record, joint);
    let day = welded_at.as_deref().and_then(day_of);
    let [metric, inch] = texts.map_or(["", ""], |[metric, inch]| [metric.as_str(), inch.as_str()]);
    let old_bands = joint["old_bands"].as_bool().or_else(|| context["old_bands"].as_bool());
    transaction
        .prepare(
            "INSERT INTO joints (judgement_id, joint, serial, end, machine, operator, spool, bottle, gas_certificate, \
             tip, procedure, revision, work, old_bands, outside_diameter_mm, ambient_c, welded_at, day, start_s, end_s, \
             bands, bands_expected, outcome, reasons, text_metric, text_inch, outcome_of_judgement) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, \
             ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25, ?26, ?23)",
        )?
        .insert(params![
            judgement,
            whole(joint, "joint"),
            told("serial"),
            told("end"),
            told("machine"),
            told("operator"),
            told("spool"),
            told("bottle"),
            told("gas_certificate"),
            told("tip"),
            told("procedure"),
            told("revision"),
            told("work"),
            old_bands,
            number(context, "outside_diameter_mm"),
            number(context, "ambient_c"),
            welded_at,
            day,
            number(joint, "start_s"),
            number(joint, "end_s"),
            whole(joint, "bands"),
            whole(joint, "bands_expected"),
            text(joint, "outcome"),
            joint["reasons"].to_string(),
            metric,
            inch,
        ])
}

fn bands(transaction: &Transaction<'_>, joint: i64, bands: &[&Value]) -> Result<()> {
    let mut insert = transaction.prepare(
        "INSERT INTO bands (joint_id, band, place, start_s, end_s, arc_time_s, turns, turn_time_s, overlap_deg, \
         current_a, voltage_v, gas_lpm, arc_power_w, arc_energy_kj_per_mm, weave_per_min, weave_width_mm, \
         weave_centre_drift_mm, step_over_mm, wire_mm_per_min, band_height_mm, work_at_start_c, outcome) VALUES \
         (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22)",
    )?;
    for band in bands {
        insert.execute(params![
            joint,
            whole(band, "band"),
            whole(band, "group"),
            number(band, "start_s"),
            number(band, "end_s"),
            number(band, "arc_time_s"),
            number(band, "turns"),
            number(band, "turn_time_s"),
            number(band, "overlap_deg"),
            mean(band, "current_a"),
            mean(band, "voltage_v"),
            mean(band, "gas_lpm"),
            number(band, "arc_power_w"),
            number(band, "arc_energy_kj_per_mm"),
            mean(band, "weave_per_min"),
            number(band, "weave_width_mm"),
            number(band, "weave_centre_drift_mm"),
            number(band, "step_over_mm"),
            number(band, "wire_mm_per_min"),
            number(band, "band_height_mm"),
            number(band, "work_at_start_c"),
            text(band, "outcome"),
        ])?;
    }
    Ok(())
}

/// From the best outcome to the worst.
const OUTCOMES: [&str; 4] = ["not asked", "proven", "not proven", "broken"];

fn groups(transaction: &Transaction<'_>, joint: i64, bands: &[&Value]) -> Result<()> {
    let mut places: BTreeMap<i64, (i64, &str)> = BTreeMap::new();
    let rank = |outcome: &str| OUTCOMES.iter().position(|one| *one == outcome);
    for band in bands {
        let outcome = text(band, "outcome").unwrap_or(OUTCOMES[0]);
        let (count, worst) = places.entry(whole(band, "group").unwrap_or(1)).or_insert((0, outcome));
        *count += 1;
        if rank(outcome) > rank(worst) {
            *worst = outcome;
        }
    }
    let mut insert = transaction
        .prepare("INSERT INTO groups (joint_id, place, bands, outcome) VALUES (?1, ?2, ?3, ?4)")?;
    for (place, (count, worst)) in places {
        insert.execute(params![joint, place, count, worst])?;
    }
    Ok(())
}

fn limits(transaction: &Transaction<'_>, row: i64, joint: &Value, bands: &[&Value]) -> Result<()> {
    let mut insert = transaction.prepare(
        "INSERT INTO limits_not_held (joint_id, band, rule, outcome, judged_share, reason) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    for band in bands {
        let limits = band["limits"].as_object().into_iter().flatten();
        for (rule, limit) in limits.filter(|(_, limit)| is_not_held(limit)) {
            let (outcome, share, reason) =
                (text(limit, "outcome"), number(limit, "judged_share"), text(limit, "reason"));
            insert.execute(params![row, whole(band, "band"), rule, outcome, share, reason])?;
        }
    }
    // What the joint as a whole is broken by, beside its bands.
    for key in ["broken", "not_proven"] {
        let of_bands = |rule: &Value| bands.iter().any(|band| list(band, key).contains(rule));
        for rule in list(joint, key).iter().filter(|rule| !of_bands(rule)) {
            let none: Option<&str> = None;
            insert.execute(params![row, 0, rule.as_str(), key.replace('_', " "), none, none])?;
        }
    }
    Ok(())
}

fn is_not_held(limit: &Value) -> bool {
    matches!(text(limit, "outcome"), Some("broken" | "not proven"))
}

/// Puts in the alarms of a record.
pub fn alarms(
    transaction: &Transaction<'_>,
    judgement: i64,
    record: &Value,
    joints: &HashMap<i64, i64>,
) -> Result<()> {
    let mut insert = transaction.prepare(
        "INSERT INTO alarms (judgement_id, number, joint_id, rule, severity, channel, band, raised_s, cleared_s, turn, \
         clock_deg, worst, limit_value) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )?;
    for (at, alarm) in (1_i64..).zip(list(record, "alarms")) {
        insert.execute(params![
            judgement,
            at,
            whole(alarm, "joint").and_then(|joint| joints.get(&joint)),
            text(alarm, "rule"),
            text(alarm, "severity"),
            text(alarm, "channel"),
            whole(alarm, "band"),
            number(alarm, "raised_s"),
            number(alarm, "cleared_s"),
            whole(alarm, "turn"),
            number(alarm, "clock_deg"),
            number(alarm, "worst"),
            number(alarm, "limit"),
        ])?;
    }
    Ok(())
}

/// Puts in the likely causes of a record.
pub fn findings(
    transaction: &Transaction<'_>,
    judgement: i64,
    record: &Value,
    joints: &HashMap<i64, i64>,
) -> Result<()> {
    let mut insert = transaction.prepare(
        "INSERT INTO findings (judgement_id, number, joint_id, cause, score, band, from_deg, to_deg, words, look_at, \
         evidence) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    )?;
    for (at, finding) in (1_i64..).zip(list(record, "findings")) {
        insert.execute(params![
            judgement,
            at,
            whole(finding, "joint").and_then(|joint| joints.get(&joint)),
            text(finding, "cause"),
            number(finding, "score"),
            whole(finding, "band"),
            number(finding, "from_deg"),
            number(finding, "to_deg"),
            text(finding, "words"),
            text(finding, "look_at"),
            finding["evidence"].to_string(),
        ])?;
    }
    Ok(())
}

/// Puts in the setup and the inspection of a record, where it has them.
pub fn setup_and_inspection(
    transaction: &Transaction<'_>,
    judgement: i64,
    record: &Value,
    setup_text: Option<&str>,
) -> Result<()> {
    let setup = &record["setup"];
    if setup.is_object() {
        transaction.execute(
            "INSERT INTO setups (judgement_id, sha256, file, joint, outcome, signed_by, signed_at, text, \
             record) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            params![
                judgement,
                text(setup, "sha256"),
                text(setup, "file"),
                text(setup, "joint"),
                text(setup, "outcome"),
                text(&setup["signed"], "initials"),
                text(&setup["signed"], "time"),
                setup_text,
                setup.to_string(),
            ],
        )?;
    }
    let inspection = &record["inspection"];
    if inspection.is_object() {
        transaction.execute(
            "INSERT INTO inspections (judgement_id, sha256, file, inspected_by, inspected_on, outcome, record) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                judgement,
                text(inspection, "sha256"),
                text(inspection, "file"),
                text(inspection, "by"),
                text(inspection, "date"),
                text(inspection, "outcome"),
                inspection.to_string(),
            ],
        )?;
    }
    Ok(())
}
