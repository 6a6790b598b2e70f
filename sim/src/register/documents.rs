//! Setups and inspections recorded on their own, without a log.
//!
//! Decides: when one is there already: same kind, same text, same procedure, same serial; that the joints of its serial are
//! told with it from then on, in the same transaction.
//! Assumes: a serial is of one joint, or of the ends of one.
//! Never: changes the record of a judgement that is there.

use super::document::{AddedDocument, Document, NewDocument};
use super::error::RegisterError;
use super::open::Register;
use super::standing;
use crate::input::hash::sha256_hex;
use rusqlite::{OptionalExtension as _, Result, TransactionBehavior, params};

/// Is there a joint of its serial?
const HAS_JOINT: &str = "EXISTS (SELECT 1 FROM joints WHERE joints.serial = documents.serial)";

impl Register {
    /// A joint of a log that is there, the first of its newest judgement; none where the log is not.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn joint_of_log(&self, sha256: &str) -> std::result::Result<Option<i64>, RegisterError> {
        let query = "SELECT newest_joints.id FROM newest_joints JOIN judgements ON judgements.id = judgement_id \
                     WHERE log_sha256 = ?1 ORDER BY joint LIMIT 1";
        self.told(self.connection.query_row(query, [sha256], |row| row.get(0)).optional())
    }
    /// Adds a setup or an inspection, if it is not there already.
    ///
    /// When this returns, it is on the disk; when it fails, nothing has changed.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn add_document(
        &mut self,
        new: &NewDocument<'_>,
    ) -> std::result::Result<AddedDocument, RegisterError> {
        let added = self.put_document(new);
        self.told(added)
    }
    fn put_document(&mut self, new: &NewDocument<'_>) -> Result<AddedDocument> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let file = new.procedure;
        transaction.execute(
            "INSERT OR IGNORE INTO procedures (sha256, file, name, revision, text) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![file.sha256, file.file, file.name, file.revision, file.text],
        )?;
        let sha256 = sha256_hex(new.text.as_bytes());
        let known: Option<i64> = transaction
            .query_row(
                "SELECT id FROM documents WHERE kind = ?1 AND sha256 = ?2 AND procedure_sha256 = ?3 \
                 AND ifnull(serial, '') = ifnull(?4, '')",
                params![new.kind.name(), sha256, file.sha256, new.serial],
                |row| row.get(0),
            )
            .optional()?;
        if known.is_none() {
            let [signed_by, signed_at] = new.signed;
            transaction.execute(
                "INSERT INTO documents (kind, serial, sha256, file, procedure_sha256, outcome, signed_by, signed_at, \
                 added_at, program, text, record) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
                params![
                    new.kind.name(),
                    new.serial,
                    sha256,
                    new.file,
                    file.sha256,
                    new.record["outcome"].as_str(),
                    signed_by,
                    signed_at,
                    new.added_at.to_string(),
                    env!("CARGO_PKG_VERSION"),
                    new.text,
                    new.record.to_string(),
                ],
            )?;
        }
        let with_serial = |table: &str| {
            transaction
                .prepare(&format!("SELECT id FROM {table} WHERE serial = ?1 ORDER BY id"))?
                .query_map([new.serial], |row| row.get(0))?
                .collect::<Result<Vec<_>>>()
        };
        // Older judgements too: one of them may become the newest again.
        standing::update(&transaction, &with_serial("joints")?)?;
        let joints = with_serial("newest_joints")?;
        transaction.commit()?;
        Ok(AddedDocument { is_new: known.is_none(), joints })
    }
    /// Those of which the joint is not in the register: no joint has their serial, or they have none; the latest first.
    /// With a serial those of it alone; `*` stands for anything, `?` for one character.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn documents_without_joint(
        &self,
        serial: Option<&str>,
    ) -> std::result::Result<Vec<Document>, RegisterError> {
        let pattern = serial.map(super::find::pattern);
        let query = format!(
            "SELECT * FROM documents WHERE NOT {HAS_JOINT} AND (?1 IS NULL OR serial LIKE ?1 ESCAPE '\\') \
             ORDER BY id DESC"
        );
        let found = self
            .connection
            .prepare(&query)
            .and_then(|mut select| select.query_map([pattern], Document::of)?.collect::<Result<Vec<_>>>());
        self.told(found)
    }
}
