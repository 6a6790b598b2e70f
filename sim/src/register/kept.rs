//! Whole judgements, one after another.
//!
//! Decides: the order: that in which they were added; and that machine and day are those of the first joint.
//! Never: holds more than one of them.

use super::error::RegisterError;
use super::find::Filter;
use super::open::Register;
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
                if let Err(refusal) = take(&kept(row)?) {
                    return Ok(Err(refusal));
                }
            }
            Ok(Ok(()))
        };
        self.told(each())
    }
}

fn kept(row: &Row<'_>) -> Result<Kept> {
    Ok(Kept {
        judgement: row.get("id")?,
        record: row.get("record")?,
        log_path: row.get("path")?,
        log_sha256: row.get("log_sha256")?,
        procedure_sha256: row.get("procedure_sha256")?,
        added_at: row.get("added_at")?,
        program: row.get("program")?,
        machine: row.get("machine")?,
        day: row.get("day")?,
    })
}
