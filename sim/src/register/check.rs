//! The whole of a register looked at, which opening it does not.
//!
//! Decides: what counts as damage: what `SQLite` finds in its pages and indexes, rows without what they refer to, and a
//! joint that is not whole.
//! Never: mends anything.

use super::error::RegisterError;
use super::open::Register;
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
    fn lines(&self, query: &str) -> Result<Vec<String>> {
        self.connection.prepare(query)?.query_map([], |row| row.get(0))?.collect()
    }
}
