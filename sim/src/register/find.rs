//! Looking joints up.
//!
//! Decides: how a wish becomes a condition, and the order: the latest first.
//! Never: puts a word somebody typed into the text of a query.

use super::document::Document;
use super::error::RegisterError;
use super::open::Register;
use super::standing::recorded;
use rusqlite::{Result, Row, params_from_iter};
use serde_json::{Value, json};

/// What joints are looked for; what is `None` does not matter.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// The serial; `*` stands for anything, `?` for one character.
    pub serial: Option<String>,
    /// The machine, as above.
    pub machine: Option<String>,
    /// Who welded, as above.
    pub operator: Option<String>,
    /// The name of the procedure, as above, or the beginning of its hash.
    pub procedure: Option<String>,
    /// The first day, ISO 8601.
    pub from: Option<String>,
    /// The last day.
    pub to: Option<String>,
    /// An alarm of this rule, or a limit of it that did not hold.
    pub rule: Option<String>,
    /// A likely cause.
    pub cause: Option<String>,
    /// The outcome.
    pub outcome: Option<String>,
    /// Older judgements of the same log as well.
    pub has_older: bool,
    /// So many at most.
    pub most: Option<u32>,
}

/// One joint that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Its number in the register.
    pub id: i64,
    /// The number of its judgement.
    pub judgement: i64,
    /// Its number in its log.
    pub joint: i64,
    /// Its serial.
    pub serial: Option<String>,
    /// Pin or box.
    pub end: Option<String>,
    /// The machine.
    pub machine: Option<String>,
    /// Who welded.
    pub operator: Option<String>,
    /// The procedure.
    pub procedure: Option<String>,
    /// Which revision of it.
    pub revision: Option<String>,
    /// When it was welded.
    pub welded_at: Option<String>,
    /// Its bands.
    pub bands: i64,
    /// Its outcome: the worst of its judgement and of what was recorded for it.
    pub outcome: String,
    /// The outcome of its judgement alone.
    pub outcome_of_judgement: String,
    /// The setups and inspections that were recorded for it, on their own or with an earlier judgement of its log.
    pub recorded: Vec<Document>,
    /// What is broken.
    pub broken: Vec<String>,
    /// Likely causes, most likely first.
    pub causes: Vec<String>,
    /// Where its log was last read.
    pub path: Option<String>,
    /// SHA-256 of the log.
    pub log_sha256: String,
    /// Was another judgement of the same log told later?
    pub is_older: bool,
}

impl Found {
    /// As one object, for machines.
    pub fn json(&self) -> Value {
        json!({
            "number": self.id, "serial": self.serial, "end": self.end, "welded_at": self.welded_at,
            "machine": self.machine, "operator": self.operator, "procedure": self.procedure,
            "revision": self.revision, "bands": self.bands, "outcome": self.outcome,
            "outcome_of_judgement": self.outcome_of_judgement, "recorded_alone": self.alone(), "recorded": self.recorded.iter().map(Document::json).collect::<Vec<_>>(), "broken": self.broken,
            "causes": self.causes, "joint": self.joint, "judgement": self.judgement, "older": self.is_older,
            "log": { "path": self.path, "sha256": self.log_sha256 },
        })
    }
    /// What was recorded on its own for its serial, each with how it stands.
    fn alone(&self) -> Vec<String> {
        let alone = self.recorded.iter().filter(|one| !one.is_of_log);
        alone.map(|one| format!("{} {}", one.kind, one.standing())).collect()
    }
    fn of(row: &Row<'_>) -> Result<Self> {
        let list = |text: Option<String>| -> Vec<String> {
            text.map(|text| text.split(',').map(str::to_owned).collect()).unwrap_or_default()
        };
        Ok(Self {
            id: row.get("id")?,
            judgement: row.get("judgement_id")?,
            joint: row.get("joint")?,
            serial: row.get("serial")?,
            end: row.get("end")?,
            machine: row.get("machine")?,
            operator: row.get("operator")?,
            procedure: row.get("procedure")?,
            revision: row.get("revision")?,
            welded_at: row.get("welded_at")?,
            bands: row.get("bands")?,
            outcome: row.get("outcome")?,
            outcome_of_judgement: row.get("outcome_of_judgement")?,
            recorded: recorded(&row.get::<_, String>("recorded")?),
            broken: list(row.get("broken")?),
            causes: list(row.get("causes")?),
            path: row.get("path")?,
            log_sha256: row.get("log_sha256")?,
            is_older: row.get("is_older")?,
        })
    }
}

/// Names of rules and causes hold no comma.
const COLUMNS: &str = "joints.*, judgements.log_sha256, logs.path, \
    EXISTS (SELECT 1 FROM judgements AS later WHERE later.log_sha256 = judgements.log_sha256 \
            AND later.told > judgements.told) AS is_older, \
    (SELECT group_concat(rule) FROM (SELECT DISTINCT rule FROM limits_not_held AS held WHERE held.joint_id = joints.id \
            AND held.outcome = 'broken' ORDER BY rule)) AS broken, \
    (SELECT group_concat(cause) FROM (SELECT cause FROM findings WHERE findings.joint_id = joints.id \
            GROUP BY cause ORDER BY min(number))) AS causes";

impl Register {
    /// The joints that are looked for, those welded last first, and of those welded at the same time the ones that
    /// were judged last.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn find(&self, filter: &Filter) -> std::result::Result<Vec<Found>, RegisterError> {
        let (conditions, values) = filter.conditions();
        let most = filter.most.map_or(-1, i64::from);
        let query = format!(
            "SELECT {COLUMNS} FROM joints JOIN judgements ON judgements.id = joints.judgement_id \
             JOIN logs ON logs.sha256 = judgements.log_sha256 WHERE {conditions} \
             ORDER BY joints.welded_at DESC NULLS LAST, joints.judgement_id DESC, joints.joint LIMIT {most}"
        );
        let found = self.connection.prepare(&query).and_then(|mut select| {
            select.query_map(params_from_iter(&values), Found::of)?.collect::<Result<Vec<_>>>()
        });
        self.told(found)
    }
    /// Where each log was last read and its SHA-256, in the order they were added; without those of no place.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn logs(&self) -> std::result::Result<Vec<(String, String)>, RegisterError> {
        let query = "SELECT path, logs.sha256 FROM logs JOIN judgements ON log_sha256 = logs.sha256 \
                     WHERE path IS NOT NULL GROUP BY logs.sha256 ORDER BY min(judgements.id)";
        let found = self.connection.prepare(query).and_then(|mut select| {
            select.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<Result<Vec<_>>>()
        });
        self.told(found)
    }
}

impl Filter {
    /// Conditions with a `?` for every value, and the values in their order.
    pub(super) fn conditions(&self) -> (String, Vec<String>) {
        const PROCEDURE: &str =
            "(joints.procedure LIKE ? ESCAPE '\\' OR judgements.procedure_sha256 LIKE ? ESCAPE '\\')";
        const RULE: &str = "(EXISTS (SELECT 1 FROM alarms WHERE alarms.joint_id = joints.id AND alarms.rule = ?) \
            OR EXISTS (SELECT 1 FROM limits_not_held AS held WHERE held.joint_id = joints.id AND held.rule = ?))";
        const CAUSE: &str =
            "EXISTS (SELECT 1 FROM findings WHERE findings.joint_id = joints.id AND findings.cause = ?)";
        const NEWEST: &str = "NOT EXISTS (SELECT 1 FROM judgements AS later \
            WHERE later.log_sha256 = judgements.log_sha256 AND later.told > judgements.told)";
        let like = |wish: &Option<String>| wish.as_deref().map(pattern);
        let begins = |wish: &Option<String>| wish.as_deref().map(|wish| pattern(wish) + "%");
        let wishes = [
            ("joints.serial LIKE ? ESCAPE '\\'", vec![like(&self.serial)]),
            ("joints.machine LIKE ? ESCAPE '\\'", vec![like(&self.machine)]),
            ("joints.operator LIKE ? ESCAPE '\\'", vec![like(&self.operator)]),
            (PROCEDURE, vec![like(&self.procedure), begins(&self.procedure)]),
            ("joints.day >= ?", vec![self.from.clone()]),
            ("joints.day <= ?", vec![self.to.clone()]),
            (RULE, vec![self.rule.clone(), self.rule.clone()]),
            (CAUSE, vec![self.cause.clone()]),
            ("joints.outcome = ?", vec![self.outcome.clone()]),
        ];
        let mut conditions = vec!["1"];
        let mut values = Vec::new();
        for (condition, wished) in wishes.into_iter().filter(|(_, wished)| wished.iter().all(Option::is_some))
        {
            conditions.push(condition);
            values.extend(wished.into_iter().flatten());
        }
        if !self.has_older {
            conditions.push(NEWEST);
        }
        (conditions.join(" AND "), values)
    }
}

/// A wish as SQL's `LIKE` has it: `*` is anything, `?` one character, all else itself.
pub(super) fn pattern(wish: &str) -> String {
    let mut pattern = String::with_capacity(wish.len());
    for character in wish.chars() {
        match character {
            '*' => pattern.push('%'),
            '?' => pattern.push('_'),
            '%' | '_' | '\\' => pattern.extend(['\\', character]),
            other => pattern.push(other),
        }
    }
    pattern
}

#[cfg(test)]
mod tests {
    use super::pattern;

    #[test]
    fn what_is_no_star_stands_for_itself() {
        assert_eq!(pattern("TJ-10?4*"), r"TJ-10_4%");
        assert_eq!(pattern(r"50%_a\b"), r"50\%\_a\\b");
    }
}
