//! What stands above the rows of a log: its header row, and a row with units below it.
//!
//! Decides: what the columns are called, numbers where the log has no header, and which units they are in where
//! the layout leaves that to the log.
//! Assumes: a unit may stand in brackets.
//! Never: takes a unit for another one: what the layout says holds, and a log that says otherwise is told.

use super::backward;
use super::columns::Columns;
use super::fault::Faults;
use super::records::{LONGEST, MOST_BLANK, RecordError, Records};
use crate::input::diagnostic::InputError;
use crate::input::layout::{CsvDialect, UnitBy};
use crate::input::unit::Dimension;
use crate::output::reason;
use std::io::Read;

/// The names in the header row, or those of a log without one; the first row is then the current record.
pub fn names<R: Read>(
    records: &mut Records<R>,
    dialect: CsvDialect,
) -> Result<Option<Vec<String>>, RecordError> {
    for _ in 0..dialect.skip_rows {
        if !records.skip_line()? {
            return Ok(None);
        }
    }
    if !records.advance()? {
        return Ok(None);
    }
    if !dialect.has_header {
        return Ok(Some((1..=records.cell_count()).map(|number| format!("column {number}")).collect()));
    }
    let mut names = texts(records);
    // A separator at the end of the header makes no column.
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    Ok(Some(names))
}

/// The cells of the current record: UTF-8, or else Latin-1 as old loggers write.
fn texts<R: Read>(records: &Records<R>) -> Vec<String> {
    let cells = (0..records.cell_count()).filter_map(|index| records.cell(index));
    let text = |cell: &[u8]| match std::str::from_utf8(cell) {
        Ok(name) => name.trim().to_owned(),
        Err(_) => cell.iter().copied().map(char::from).collect::<String>().trim().to_owned(),
    };
    cells.map(text).collect()
}

/// Reads the units below the header; returns what a person should know of them.
pub fn units<R: Read>(
    records: &mut Records<R>,
    columns: &mut Columns,
    faults: &mut Faults,
) -> Result<Vec<String>, RecordError> {
    let mut warnings = Vec::new();
    if !records.advance()? {
        return Ok(warnings);
    }
    let texts = texts(records);
    for reading in &mut columns.readings {
        let Some(conversion) = &mut reading.conversion else { continue };
        let name = &columns.names[reading.index];
        let text = texts.get(reading.index).map_or("", String::as_str);
        let dimension = Dimension::of_channel(reading.channel);
        let unit = dimension.unit(bare_unit(text));
        let column = conversion.column();
        let is_plain = column.scale.to_bits() == 1.0_f64.to_bits() && column.offset.to_bits() == 0;
        match (column.unit_by, unit) {
            (UnitBy::UnitsRow, Some(unit)) => conversion.set_unit(unit),
            (UnitBy::UnitsRow, None) => {
                let problem = format!("the units row has `{text}`, which is no unit of {}", dimension.name());
                let allowed = format!("{}, or `unit` in the layout", dimension.unit_list());
                faults.add(|file| {
                    let line = usize::try_from(records.line()).unwrap_or(usize::MAX);
                    InputError::in_line(file, line, text, 0..text.len(), name)
                        .problem(problem)
                        .allowed(allowed)
                });
            }
            (_, Some(unit)) if is_plain && unit != column.unit => warnings.push(format!(
                "column `{name}`: the layout says {}, the units row of the log {text}; the layout holds",
                column.unit.symbol
            )),
            _ => {}
        }
    }
    Ok(warnings)
}

/// A unit without the brackets around it.
pub fn bare_unit(text: &str) -> &str {
    let text = text.trim();
    let inner = [('[', ']'), ('(', ')'), ('{', '}')]
        .into_iter()
        .find_map(|(open, close)| text.strip_prefix(open)?.strip_suffix(close));
    inner.unwrap_or(text).trim()
}

/// Why the text cannot be read on.
pub fn record_fault(file: &str, error: &RecordError, line: u64) -> InputError {
    let (problem, allowed) = match error {
        RecordError::Read(error) => (format!("cannot be read on: {}", reason(error)), "a whole file"),
        RecordError::TooLong => (
            format!("no end of the row within {LONGEST} characters"),
            "a row of one line; is a quote left open?",
        ),
        RecordError::Blank => (format!("{MOST_BLANK} blank lines before it"), "rows of readings"),
        RecordError::TooLongToTurn => (
            format!(
                "the newest row stands first, and more than {} MB come before the oldest",
                backward::MOST_BYTES >> 20
            ),
            "a shorter log, or one that is sorted from the oldest row to the newest",
        ),
        RecordError::OpenQuote => ("a quote is left open to the end of the file".into(), "a closed quote"),
    };
    InputError::in_file(file, "").problem(format!("line {line}: {problem}")).allowed(allowed)
}
