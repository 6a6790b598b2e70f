//! The tables of a register, and how older ones are brought up to date.
//!
//! Decides: version numbers; a step from each to the next, all within one transaction.
//! Assumes: a step that has been released is never changed: what is new is a new step.
//! Never: loses a column, nor touches a file of another program or of a newer version.

use super::error::Trouble;
use super::version::{APPLICATION_ID, STEPS, VERSION};
use super::{rows, standing};
use crate::input::hash::sha256_hex;
use rusqlite::{Connection, Result, Transaction, TransactionBehavior, params};
use serde_json::Value;

/// From each version to the next; the first from an empty file.
const EACH: [fn(&Transaction<'_>) -> Result<()>; STEPS] =
    [first, setups_and_inspections, told_and_hashed, documents, standings];

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nothing is in it yet.
    Empty,
    /// A register with this version of the schema.
    Register(i64),
}

/// Looks into a file, but for its rows.
///
/// # Errors
/// It is none of `SQLite`, or cannot be read; inside of it, why it is no register this program can use.
pub fn kind(connection: &Connection) -> Result<std::result::Result<Kind, Trouble>> {
    let number = |pragma: &str| connection.pragma_query_value(None, pragma, |row| row.get::<_, i64>(0));
    let (application, version) = (number("application_id")?, number("user_version")?);
    let things: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    Ok(match (application, version, things) {
        (0, 0, 0) => Ok(Kind::Empty),
        (APPLICATION_ID, 1..=VERSION, _) => Ok(Kind::Register(version)),
        (APPLICATION_ID, newer, _) if newer > VERSION => Err(Trouble::Newer(newer)),
        _ => Err(Trouble::OtherProgram),
    })
}

/// Makes the tables, or brings those of an older version up to date.
///
/// # Errors
/// It cannot be written, or another program made it something else meanwhile; then nothing has changed.
pub fn bring_up_to_date(connection: &mut Connection) -> Result<std::result::Result<(), Trouble>> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another program may have done it since it was looked at.
    let from = match kind(&transaction)? {
        Ok(Kind::Empty) => 0,
        Ok(Kind::Register(version)) => version,
        Err(trouble) => return Ok(Err(trouble)),
    };
    for step in EACH.iter().skip(from as usize) {
        step(&transaction)?;
    }
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", VERSION)?;
    transaction.commit().map(Ok)
}

fn first(transaction: &Transaction<'_>) -> Result<()> {
    transaction.execute_batch(include_str!("schema/1.sql"))
}

/// The records hold setups and inspections already; here they get tables.
fn setups_and_inspections(transaction: &Transaction<'_>) -> Result<()> {
    transaction.execute_batch(include_str!("schema/2.sql"))?;
    let mut select = transaction.prepare("SELECT id, record FROM judgements")?;
    let mut found = select.query([])?;
    while let Some(row) = found.next()? {
        let record: String = row.get(1)?;
        // The schema lets no other text in than JSON.
        let record: Value = serde_json::from_str(&record).unwrap_or_default();
        rows::setup_and_inspection(transaction, row.get(0)?, &record, None)?;
    }
    Ok(())
}

/// The hash of each record that is there already is that of what stands there now.
fn told_and_hashed(transaction: &Transaction<'_>) -> Result<()> {
    transaction.execute_batch(include_str!("schema/3.sql"))?;
    let mut select = transaction.prepare("SELECT id, record FROM judgements")?;
    let mut update = transaction.prepare("UPDATE judgements SET text_sha256 = ?1 WHERE id = ?2")?;
    let mut found = select.query([])?;
    while let Some(row) = found.next()? {
        let (id, record): (i64, String) = (row.get(0)?, row.get(1)?);
        update.execute(params![sha256_hex(record.as_bytes()), id])?;
    }
    Ok(())
}

/// Setups and inspections get a place of their own beside those of a log.
fn documents(transaction: &Transaction<'_>) -> Result<()> {
    transaction.execute_batch(include_str!("schema/4.sql"))
}

/// What was recorded for a joint counts wherever it is told.
fn standings(transaction: &Transaction<'_>) -> Result<()> {
    transaction.execute_batch(include_str!("schema/5.sql"))?;
    let joints: Vec<i64> = transaction
        .prepare("SELECT id FROM joints ORDER BY id")?
        .query_map([], |row| row.get(0))?
        .collect::<Result<_>>()?;
    standing::update(transaction, &joints)
}
