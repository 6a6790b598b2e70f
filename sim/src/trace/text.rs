//! Rows of a delimited text file.
//!
//! Decides: what becomes of a record: a row, nothing (a blank one), or a fault.
//! Assumes: the header row says what the columns are.
//! Never: allocates for a record without fault.

use super::columns::Columns;
use super::fault::{Fault, Place, TraceErrors};
use super::number;
use super::records::{LONGEST, RecordError, Records};
use super::source;
use super::time::{RowTime, TimeError};
use super::{Row, Step};
use crate::input::layout::{CsvDialect, Layout};
use std::io::Read;

/// Reads the rows of a text file one by one.
pub struct TextRows {
    records: Records<Box<dyn Read + Send>>,
    columns: Columns,
    time: RowTime,
    decimal: u8,
    short_rows: u64,
    first_short_line: u64,
}

impl TextRows {
    /// Reads the header.
    ///
    /// # Errors
    /// There is no header, or it lacks what is needed; `errors` holds why.
    pub fn open(
        input: Box<dyn Read + Send>,
        layout: Option<&Layout>,
        errors: &mut TraceErrors,
    ) -> Option<Self> {
        let dialect = layout.map_or_else(CsvDialect::default, |layout| layout.csv);
        let mut records = Records::new(input, dialect.delimiter);
        let names = match header(&mut records, dialect) {
            Ok(Some(names)) => names,
            Ok(None) => {
                errors.add(|| Fault::new("the file is empty", "a trace begins with a header row"));
                return None;
            }
            Err(error) => {
                errors.add(|| record_fault(&error, records.line()));
                return None;
            }
        };
        let single = names.len() == 1;
        let columns = Columns::find(names, layout, errors);
        if !errors.is_empty() {
            if single {
                let wanted = char::from(dialect.delimiter);
                let hint =
                    format!("cells are separated by `{wanted}`; a layout file can name another separator");
                errors.add(|| Fault::new("the header has a single column", hint));
            }
            return None;
        }
        let time = RowTime::new(layout.map(|layout| &layout.time));
        let decimal = if dialect.decimal_comma { b',' } else { b'.' };
        Some(Self { records, columns, time, decimal, short_rows: 0, first_short_line: 0 })
    }
    /// What the columns are.
    pub fn columns(&self) -> &Columns {
        &self.columns
    }
    /// The absolute time of the first row, once that is read.
    pub fn start(&self) -> Option<&str> {
        self.time.start()
    }
    /// Number of rows with fewer cells than the header, and the line of the first.
    pub fn short_rows(&self) -> (u64, u64) {
        (self.short_rows, self.first_short_line)
    }
    /// Goes one record on.
    pub fn step(&mut self, errors: &mut TraceErrors) -> Step {
        loop {
            match self.records.advance() {
                Ok(true) if self.is_blank() => {}
                Ok(true) => break,
                Ok(false) => return Step::End,
                Err(error) => {
                    errors.add(|| record_fault(&error, self.records.line()));
                    return Step::End;
                }
            }
        }
        let width = self.columns.names.len();
        if self.records.cell_count() != width {
            self.odd_width(width, errors);
        }
        match self.row(errors) {
            Some(row) => Step::Row(row),
            None => Step::Faulty,
        }
    }

    fn row(&mut self, errors: &mut TraceErrors) -> Option<Row> {
        let time_cell = |at: usize| self.columns.time.get(at).and_then(|&index| self.records.cell(index));
        let time = self.time.of_cells([time_cell(0), time_cell(1)], self.decimal);
        let mut row = match &time {
            Ok(time_us) => Row::at(*time_us),
            Err(_) => Row::default(),
        };
        if let Err((at, error)) = &time {
            errors.add(|| self.time_fault(self.columns.time[*at], error));
        }
        let mut is_sound = time.is_ok();
        for column in &self.columns.readings {
            let Some(cell) = self.records.cell(column.index) else { continue };
            if let Ok(value) = number::reading(cell, self.decimal) {
                row.values[column.channel as usize] = value.map(|value| column.value(value));
            } else {
                is_sound = false;
                errors.add(|| self.reading_fault(column.index));
            }
        }
        is_sound.then_some(row)
    }
    /// A spreadsheet may leave rows of nothing but separators at the end.
    fn is_blank(&self) -> bool {
        let mut cells = (0..self.records.cell_count()).filter_map(|index| self.records.cell(index));
        cells.all(|cell| number::trim(cell).is_empty())
    }
    /// Takes note of a row that is too short or too long; separators at the end do no harm.
    fn odd_width(&mut self, width: usize, errors: &mut TraceErrors) {
        let count = self.records.cell_count();
        if count < width {
            if self.short_rows == 0 {
                self.first_short_line = self.records.line();
            }
            self.short_rows += 1;
            return;
        }
        let filled =
            |&index: &usize| self.records.cell(index).is_some_and(|cell| !number::trim(cell).is_empty());
        if let Some(last) = (width..count).rev().find(filled) {
            let place = Place::Line(self.records.line(), Some(width + 1));
            errors.add(|| {
                let hint = if self.decimal == b'.' { " (are decimals written with a comma?)" } else { "" };
                Fault::new(
                    format!("the row has {} cells, the header {width}", last + 1),
                    format!("as many cells as the header has, or fewer{hint}"),
                )
                .at(place)
            });
        }
    }
    fn cell_fault(&self, index: usize, fault: Fault) -> Fault {
        let value = self.records.cell(index).unwrap_or_default();
        fault
            .at(Place::Line(self.records.line(), Some(index + 1)))
            .in_field(&self.columns.names[index], value)
    }
    fn time_fault(&self, index: usize, error: &TimeError) -> Fault {
        let (problem, allowed) = match error {
            TimeError::Absent => ("a row needs its time", self.a_number("a number, 0 or more")),
            TimeError::NotANumber => ("not a time", self.a_number("a number, 0 or more")),
            TimeError::Negative => ("a time before zero", self.a_number("a number, 0 or more")),
            // It names the cell itself, which may be that of the date or that of the time.
            TimeError::Misfit(misfit) => {
                let place = Place::Line(self.records.line(), None);
                return Fault::new(misfit, "the layout file sets the format").at(place);
            }
        };
        self.cell_fault(index, Fault::new(problem, allowed))
    }
    fn reading_fault(&self, index: usize) -> Fault {
        let allowed = self.a_number("a number, or nothing where the reading is missing");
        self.cell_fault(index, Fault::new("not a number", allowed))
    }
    fn a_number(&self, what: &str) -> String {
        let mark = if self.decimal == b',' { "comma" } else { "point" };
        format!("{what} (with a decimal {mark})")
    }
}

/// The names in the header row: UTF-8, or else Latin-1 as old loggers write.
fn header<R: Read>(
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
    let cells = (0..records.cell_count()).filter_map(|index| records.cell(index));
    let text = |cell: &[u8]| match std::str::from_utf8(cell) {
        Ok(name) => name.trim().to_owned(),
        Err(_) => cell.iter().copied().map(char::from).collect::<String>().trim().to_owned(),
    };
    let mut names: Vec<String> = cells.map(text).collect();
    // A separator at the end of the header makes no column.
    while names.last().is_some_and(String::is_empty) {
        names.pop();
    }
    Ok(Some(names))
}

fn record_fault(error: &RecordError, line: u64) -> Fault {
    let fault = match error {
        RecordError::Read(error) => Fault::new("cannot be read on from here", source::reason(error)),
        RecordError::TooLong => Fault::new(
            format!("no end of the row within {LONGEST} characters"),
            "is a quote left open, or is this no CSV?",
        ),
        RecordError::OpenQuote => Fault::new("a quote is left open to the end of the file", "close it"),
    };
    fault.at(Place::Line(line, None))
}
