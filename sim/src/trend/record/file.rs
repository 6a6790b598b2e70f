//! A file of records, from its text.
//!
//! Decides: how a text that is no JSON is told.
//! Never: takes a part of a file in which something is wrong.

use super::Record;
use super::reader::{Read, Reader};
use super::text::clearer;
use crate::input::diagnostic::{InputError, InputErrors};
use serde_json::Value;

/// Reads the text of a file: one record, one after another, or arrays of them; `file` is its name in messages.
/// The summary of many logs is passed over.
///
/// # Errors
/// All faults in the text.
pub fn read(file: &str, text: &str) -> Result<Read, InputErrors> {
    let mut reader = Reader::new(file);
    let read = reader.all(text).map_err(|error| {
        let error = clearer(text).unwrap_or(error);
        let line = text.lines().nth(error.line().saturating_sub(1)).unwrap_or("");
        let at = error.column().saturating_sub(1).min(line.len());
        let words = error.to_string();
        let problem = words.split(" at line ").next().unwrap_or(&words);
        InputError::in_line(file, error.line().max(1), line, at..at, "")
            .problem(format!("this is no JSON: {problem}"))
            .allowed("what `bandward replay --json` prints")
    })?;
    if reader.faults.is_empty() { Ok(read) } else { Err(reader.faults.take()) }
}

/// As [`read`], the records alone.
///
/// # Errors
/// As [`read`].
pub fn parse(file: &str, text: &str) -> Result<Vec<Record>, InputErrors> {
    Ok(read(file, text)?.records)
}

/// Takes a record that this program has just made.
///
/// # Errors
/// None, as long as this file reads what the other one writes.
pub fn of_replay(name: &str, value: &Value) -> Result<Record, InputErrors> {
    let mut reader = Reader::new(name);
    let record = reader.record(value, "");
    record.ok_or_else(|| reader.faults.take())
}
