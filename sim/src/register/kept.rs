//! Whole judgements, one after another.
//!
//! Decides: the order: that in which they were added; that machine and day are those of the first joint; and that a record
//! goes out with the outcomes its joints have by all that was recorded for them.
//! Never: holds more than one of them.

use super::error::RegisterError;
use super::find::Filter;
use super::open::Register;
use super::standing::{of_judgement, with_recorded};
use crate::fleet::Kept;
use rusqlite::{Result, Row, params_from_iter};

const COLUMNS: &str = "id, record, log_sha256, procedure_sha256, added_at, program, \
    (SELECT path FROM logs WHERE sha256 = log_sha256) AS path, \
    (SELECT machine FROM joints WHERE judgement_id = judgements.id ORDER BY joint LIMIT 1) AS machine, \
    (SELECT day FROM joints WHERE judgement_id = judgements.id ORDER BY joint LIMIT 1) AS day";

impl Register {
    /// Gives every log that has a joint that is looked for; one at a time, since there may be many. Ends at the
    /// first that is not taken.
    ///
    /// # Errors
    /// It cannot be read; inside of it, what the taker says.
    pub fn each_kept<E>(
        &self,
        filter: &Filter,
        mut take: impl FnMut(&Kept) -> std::result::Result<(), E>,
    ) -> std::result::Result<std::result::Result<(), E>, RegisterError> {
        let (conditions, values) = filter.conditions();
        let query = format!(
            "SELECT {COLUMNS} FROM judgements WHERE id IN (SELECT joints.judgement_id FROM joints \
             JOIN judgements ON judgements.id = joints.judgement_id WHERE {conditions}) ORDER BY id"
        );
        let mut each = || {
            let mut select = self.connection.prepare(&query)?;
            let mut rows = select.query(params_from_iter(&values))?;
            while let Some(row) = rows.next()? {
                if let Err(refusal) = take(&self.kept(row)?) {
                    return Ok(Err(refusal));
                }
            }
            Ok(Ok(()))
        };
        self.told(each())
    }
    fn kept(&self, row: &Row<'_>) -> Result<Kept> {
        let (judgement, record): (i64, String) = (row.get("id")?, row.get("record")?);
        let standings = of_judgement(&self.connection, judgement)?;
        let record = if standings.iter().all(|one| one.recorded.is_empty()) {
            record
        } else {
            // The schema lets no other text in than JSON.
            with_recorded(&serde_json::from_str(&record).unwrap_or_default(), &standings).to_string()
        };
        Ok(Kept {
            judgement,
            record,
            log_path: row.get("path")?,
            log_sha256: row.get("log_sha256")?,
            procedure_sha256: row.get("procedure_sha256")?,
            added_at: row.get("added_at")?,
            program: row.get("program")?,
            machine: row.get("machine")?,
            day: row.get("day")?,
        })
    }
}
