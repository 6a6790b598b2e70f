//! The whole of a register looked at, which opening it does not.
//!
//! Decides: what counts as damage: what `SQLite` finds in its pages and indexes, rows without what they refer to, and a
//! joint that is not whole, a record or a file whose text is not the one that was hashed, an outcome that is not that of
//! its record and of what was recorded for it.
//! Never: mends anything.

use super::error::RegisterError;
use super::open::Register;
use super::standing::WORST_FIRST;
use crate::input::hash::sha256_hex;
use rusqlite::Result;

/// More faults than this are not listed.
const LISTED: u32 = 20;

/// Rows that are less than their record says.
const HALF: &str = "SELECT 'judgement ' || id || ': its rows are not those of its record' FROM judgements WHERE \
    (SELECT count(*) FROM joints WHERE judgement_id = judgements.id) <> json_array_length(record, '$.joints') \
    OR (SELECT count(*) FROM alarms WHERE judgement_id = judgements.id) <> json_array_length(record, '$.alarms') \
    OR (SELECT count(*) FROM findings WHERE judgement_id = judgements.id) <> json_array_length(record, '$.findings') \
    OR (SELECT count(*) FROM bands JOIN joints ON joints.id = joint_id WHERE judgement_id = judgements.id) \
       <> (SELECT count(*) FROM json_each(record, '$.bands') AS band WHERE EXISTS \
           (SELECT 1 FROM joints WHERE judgement_id = judgements.id AND joint = json_extract(band.value, '$.joint')))";

/// Outcomes that are not those of the record, and of what was recorded for its joints.
fn other_outcome() -> String {
    format!(
        "SELECT 'judgement ' || id || ': its outcome is not that of its record' FROM judgements WHERE \
         outcome IS NOT (SELECT outcome FROM (SELECT json_extract(record, '$.outcome') AS outcome UNION ALL \
         SELECT outcome FROM joints WHERE judgement_id = judgements.id AND recorded <> '[]') ORDER BY {WORST_FIRST} LIMIT 1) \
         OR EXISTS (SELECT 1 FROM json_each(record, '$.joints') AS told \
         JOIN joints ON judgement_id = judgements.id AND joint = json_extract(told.value, '$.joint') \
         WHERE joints.outcome_of_judgement IS NOT json_extract(told.value, '$.outcome')) OR EXISTS \
         (SELECT 1 FROM joints WHERE judgement_id = judgements.id AND outcome IS NOT (SELECT outcome FROM \
         (SELECT joints.outcome_of_judgement AS outcome UNION ALL \
         SELECT json_extract(value, '$.effect') FROM json_each(joints.recorded)) ORDER BY {WORST_FIRST} LIMIT 1))"
    )
}

/// Texts that were hashed: what each is called, its text, its hash.
const HASHED: [&str; 4] = [
    "SELECT 'judgement ' || id || ': its record', record, text_sha256 FROM judgements",
    "SELECT 'procedure ' || file, text, sha256 FROM procedures",
    "SELECT 'layout ' || file, text, sha256 FROM layouts",
    "SELECT kind || ' ' || id, text, sha256 FROM documents",
];

impl Register {
    /// All that is wrong, in words; nothing where it is whole.
    ///
    /// # Errors
    /// It is damaged so that not even that can be said.
    pub fn faults(&self) -> std::result::Result<Vec<String>, RegisterError> {
        self.told(self.look())
    }
    fn look(&self) -> Result<Vec<String>> {
        let mut faults = self.lines(&format!("PRAGMA integrity_check({LISTED})"))?;
        faults.retain(|line| line != "ok");
        if faults.is_empty() {
            faults = self.lines(
                "SELECT 'a row of ' || \"table\" || ' refers to none of ' || parent FROM \
                                 pragma_foreign_key_check",
            )?;
            faults.extend(self.lines(HALF)?);
            faults.extend(self.lines(&other_outcome())?);
            for query in HASHED {
                self.hashed(query, &mut faults)?;
            }
        }
        Ok(faults)
    }
    /// How many logs, judgements and joints there are.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn counts(&self) -> std::result::Result<[i64; 3], RegisterError> {
        let count = "SELECT (SELECT count(*) FROM logs), (SELECT count(*) FROM judgements), \
                     (SELECT count(*) FROM joints)";
        let row = |row: &rusqlite::Row<'_>| Ok([row.get(0)?, row.get(1)?, row.get(2)?]);
        self.told(self.connection.query_row(count, [], row))
    }
    /// One text at a time: a record may be large.
    fn hashed(&self, query: &str, faults: &mut Vec<String>) -> Result<()> {
        let mut select = self.connection.prepare(query)?;
        let mut found = select.query([])?;
        while let Some(row) = found.next()? {
            let (what, text, sha256): (String, String, Option<String>) =
                (row.get(0)?, row.get(1)?, row.get(2)?);
            if sha256.is_none_or(|sha256| sha256 != sha256_hex(text.as_bytes())) {
                faults.push(format!("{what} is not the text whose SHA-256 was recorded"));
            }
        }
        Ok(())
    }
    fn lines(&self, query: &str) -> Result<Vec<String>> {
        self.connection.prepare(query)?.query_map([], |row| row.get(0))?.collect()
    }
}
