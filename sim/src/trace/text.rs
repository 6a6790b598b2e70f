//! Rows of a delimited text file.
//!
//! Decides: what becomes of a record: a row, nothing (a blank one), or a fault.
//! Assumes: the header row says what the columns are.
//! Never: allocates for a record without fault in which the joint's own columns do not change.

use super::columns::Columns;
use super::fault::{Faults, shown};
use super::marks::Marks;
use super::number;
use super::records::{LONGEST, MOST_BLANK, RecordError, Records};
use super::source;
use super::time::{RowTime, TimeError};
use super::{Row, Step};
use crate::input::diagnostic::InputError;
use crate::input::layout::{CsvDialect, Layout};
use std::io::Read;

/// Reads the rows of a text file one by one.
pub struct TextRows {
    records: Records<Box<dyn Read + Send>>,
    columns: Columns,
    marks: Marks,
    time: RowTime,
    dialect: CsvDialect,
    decimal: u8,
    short_rows: u64,
    first_short_line: u64,
}

impl TextRows {
    /// Reads the header.
    ///
    /// # Errors
    /// There is no header, or it lacks what is needed; `faults` holds why.
    pub fn open(input: Box<dyn Read + Send>, layout: Option<&Layout>, faults: &mut Faults) -> Option<Self> {
        let dialect = layout.map_or_else(CsvDialect::default, |layout| layout.csv);
        let mut records = Records::new(input, dialect.delimiter);
        let names = match header(&mut records, dialect) {
            Ok(Some(names)) => names,
            Ok(None) => {
                faults
                    .add_in_file("there is no header row", "a header row that names the columns, then rows");
                return None;
            }
            Err(error) => {
                faults.add(|file| record_fault(file, &error, records.line()));
                return None;
            }
        };
        let is_single = names.len() == 1;
        let columns = Columns::find(names, layout, faults);
        if !faults.is_empty() {
            if is_single {
                let comma = char::from(dialect.delimiter);
                let allowed =
                    format!("columns separated by `{comma}`, or a layout file that names another separator");
                faults.add_in_file("the header has a single column", allowed);
            }
            return None;
        }
        let time = RowTime::new(layout.map(|layout| &layout.time));
        let decimal = if dialect.decimal_comma { b',' } else { b'.' };
        let of_joint =
            columns.joint.iter().map(|&(field, index)| (field, index, columns.names[index].clone()));
        let marks = Marks::new(of_joint);
        Some(Self { records, columns, marks, time, dialect, decimal, short_rows: 0, first_short_line: 0 })
    }
    /// What the columns are.
    pub fn columns(&self) -> &Columns {
        &self.columns
    }
    /// What the columns of words say so far.
    pub fn marks(&self) -> &Marks {
        &self.marks
    }
    /// The absolute time of the first row, once that is read.
    pub fn start(&self) -> Option<&str> {
        self.time.start()
    }
    /// Number of rows with fewer cells than the header, and the line of the first.
    pub fn short_rows(&self) -> (u64, u64) {
        (self.short_rows, self.first_short_line)
    }
    /// Goes one record on and puts it into `row`.
    pub fn step(&mut self, row: &mut Row, faults: &mut Faults) -> Step {
        loop {
            let advanced = match self.records.advance() {
                Ok(true) if self.is_blank() => self.records.pass_blank(),
                Ok(true) => break self.records.pass_full(),
                Ok(false) => return Step::End,
                Err(error) => Err(error),
            };
            if let Err(error) = advanced {
                faults.add(|file| record_fault(file, &error, self.records.line()));
                return Step::End;
            }
        }
        let width = self.columns.names.len();
        if self.records.cell_count() != width {
            self.odd_width(width, faults);
        }
        if self.fill(row, faults) { Step::Row } else { Step::Faulty }
    }

    /// False where there is a fault in the record.
    fn fill(&mut self, row: &mut Row, faults: &mut Faults) -> bool {
        *row = Row::default();
        let mut is_sound = true;
        let time_cell = |at: usize| self.columns.time.get(at).and_then(|&index| self.records.cell(index));
        match self.time.of_cells([time_cell(0), time_cell(1)], self.decimal) {
            Ok(time_us) => row.time_us = time_us,
            Err((at, error)) => {
                is_sound = false;
                faults.add(|file| self.time_fault(file, self.columns.time[at], &error));
            }
        }
        for column in &self.columns.readings {
            let Some(cell) = self.records.cell(column.index) else { continue };
            if let Ok(value) = number::reading(cell, self.decimal) {
                row.values[column.channel as usize] = value.map(|value| column.value(value));
            } else {
                is_sound = false;
                faults.add(|file| self.reading_fault(file, column.index));
            }
        }
        self.marks.take(row.time_us, self.records.line(), |index| self.records.cell(index));
        is_sound
    }
    /// A spreadsheet may leave rows of nothing but separators at the end.
    fn is_blank(&self) -> bool {
        let mut cells = (0..self.records.cell_count()).filter_map(|index| self.records.cell(index));
        cells.all(|cell| number::trim(cell).is_empty())
    }
    /// Takes note of a row that is too short or too long; separators at the end do no harm.
    fn odd_width(&mut self, width: usize, faults: &mut Faults) {
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
            faults.add(|file| {
                let hint = if self.decimal == b'.' { " (are decimals written with a comma?)" } else { "" };
                self.fault_at(file, width)
                    .problem(format!("the row has {} cells, the header {width}", last + 1))
                    .allowed(format!("as many cells as the header has, or fewer{hint}"))
            });
        }
    }
    /// A fault in a cell of the current record, or behind it where the record is too short.
    fn fault_at(&self, file: &str, index: usize) -> InputError {
        let mut excerpt = String::new();
        let mut within = None;
        for at in 0..self.records.cell_count() {
            if at > 0 {
                excerpt.push(char::from(self.dialect.delimiter));
            }
            let start = excerpt.len();
            excerpt.push_str(&shown(self.records.cell(at).unwrap_or_default()));
            if at == index {
                within = Some(start..excerpt.len());
            }
        }
        let within = within.unwrap_or(excerpt.len()..excerpt.len());
        let name = self.columns.names.get(index).map_or("", String::as_str);
        InputError::in_line(file, self.records.line() as usize, &excerpt, within, name)
    }
    fn time_fault(&self, file: &str, index: usize, error: &TimeError) -> InputError {
        let fault = self.fault_at(file, index);
        let value = &fault.value;
        let problem = match error {
            TimeError::Absent => "a row needs its time".to_owned(),
            TimeError::NotANumber => format!("`{value}` is not a time in seconds"),
            TimeError::Negative => format!("`{value}` is before zero"),
            TimeError::Misfit(misfit) => misfit.clone(),
        };
        let allowed = if self.time.is_clock() {
            "the format that the layout file gives".to_owned()
        } else {
            self.a_number("a number, 0 or more")
        };
        fault.problem(problem).allowed(allowed)
    }
    fn reading_fault(&self, file: &str, index: usize) -> InputError {
        let fault = self.fault_at(file, index);
        let problem = format!("`{}` is not a number", fault.value);
        let allowed = self.a_number("a number, or nothing where the reading is missing");
        fault.problem(problem).allowed(allowed)
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

fn record_fault(file: &str, error: &RecordError, line: u64) -> InputError {
    let (problem, allowed) = match error {
        RecordError::Read(error) => (format!("cannot be read on: {}", source::reason(error)), "a whole file"),
        RecordError::TooLong => (
            format!("no end of the row within {LONGEST} characters"),
            "a row of one line; is a quote left open?",
        ),
        RecordError::Blank => (format!("{MOST_BLANK} blank lines before it"), "rows of readings"),
        RecordError::OpenQuote => ("a quote is left open to the end of the file".into(), "a closed quote"),
    };
    InputError::in_file(file, "").problem(format!("line {line}: {problem}")).allowed(allowed)
}
