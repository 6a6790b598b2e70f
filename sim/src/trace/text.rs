//! Rows of a delimited text file.
//!
//! Decides: what becomes of a record: a row, nothing (a blank one), or a fault.
//! Assumes: the header row says what the columns are.
//! Never: allocates for a record without fault in which the joint's own columns do not change.

use super::columns::{Columns, ReadingColumn};
use super::conversion::Written;
use super::fault::{At, Faults, Kind, What, shown};
use super::heading::{self, record_fault};
use super::marks::Marks;
use super::number;
use super::plain_line::{Holds, Numbers, PlainLine};
use super::records::{RecordError, Records};
use super::set_back::SetBack;
use super::time::RowTime;
use super::time_error::TimeError;
use super::{Row, Step};
use crate::input::diagnostic::InputError;
use crate::input::layout::{ChannelColumn, CsvDialect, Layout, Motion, RowOrder, TimeSource, UnitBy};
use crate::input::unit::Dimension;
use std::io::Read;

/// Reads the rows of a text file one by one.
pub struct TextRows {
    records: Records<Box<dyn Read + Send>>,
    columns: Columns,
    marks: Marks,
    time: RowTime,
    dialect: CsvDialect,
    decimal: u8,
    /// Cells that stand for a missing reading.
    missing: Vec<String>,
    /// Is the current record a row that has not been given yet?
    is_row_ready: bool,
    /// The short way, where nothing stands in a row but numbers, and what it read last.
    plain: Option<PlainLine>,
    numbers: Numbers,
    unit_doubts: Vec<String>,
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
        let names = match heading::names(&mut records, dialect) {
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
        let mut columns = Columns::find(names, layout, faults);
        if !faults.is_empty() {
            if is_single {
                let comma = char::from(dialect.delimiter);
                let allowed =
                    format!("columns separated by `{comma}`, or a layout file that names another separator");
                faults.add_in_file("the header has a single column", allowed);
            }
            return None;
        }
        let unit_doubts = match below_header(&mut records, &mut columns, dialect, faults) {
            Ok(warnings) => warnings,
            Err(error) => {
                faults.add(|file| record_fault(file, &error, records.line()));
                return None;
            }
        };
        if !faults.is_empty() {
            return None;
        }
        let time = RowTime::new(layout.map(|layout| &layout.time));
        let of_joint =
            columns.joint.iter().map(|&(field, index)| (field, index, columns.names[index].clone()));
        let marks = Marks::new(of_joint);
        let plain = plain_line(&columns, dialect, layout);
        Some(Self {
            records,
            columns,
            marks,
            time,
            dialect,
            decimal: if dialect.decimal_comma { b',' } else { b'.' },
            missing: layout.map_or(Vec::new(), |layout| layout.missing.clone()),
            // Of a log without a header the first row has been read already, unless it was put with the rest.
            is_row_ready: !dialect.has_header && dialect.order == RowOrder::OldestFirst,
            plain,
            numbers: Numbers::NONE,
            unit_doubts,
            short_rows: 0,
            first_short_line: 0,
        })
    }
    /// What the columns are.
    pub fn columns(&self) -> &Columns {
        &self.columns
    }
    /// Units of which the log says otherwise than the layout.
    pub fn unit_doubts(&self) -> &[String] {
        &self.unit_doubts
    }
    /// What a person should know of the cells, besides what is short.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = self.unit_doubts.clone();
        warnings.extend(self.columns.warnings());
        warnings
    }
    /// What the columns of words say so far.
    pub fn marks(&self) -> &Marks {
        &self.marks
    }
    /// The absolute time of the first row, once that is read.
    pub fn start(&self) -> Option<&str> {
        self.time.start()
    }
    /// Where the clock was set back.
    pub fn set_backs(&self) -> &[SetBack] {
        self.time.set_backs()
    }
    /// Number of rows with fewer cells than the header, and the line of the first.
    pub fn short_rows(&self) -> (u64, u64) {
        (self.short_rows, self.first_short_line)
    }
    /// Goes one record on and puts it into `row`.
    #[inline]
    pub fn step(&mut self, row: &mut Row, faults: &mut Faults) -> Step {
        if self.step_plainly(row) { Step::Row } else { self.step_closely(row, faults) }
    }

    /// Takes the next line if it is plain: whole, without fault, and of nothing but numbers.
    #[inline]
    fn step_plainly(&mut self, row: &mut Row) -> bool {
        let Some(plain) = self.plain.as_ref().filter(|_| !self.is_row_ready) else { return false };
        let Some(length) = plain.read(self.records.rest(), &mut self.numbers) else { return false };
        let Some(time_us) = self.time.of_decimal(self.numbers.time) else { return false };
        self.records.pass_read(length);
        *row = Row::at(time_us);
        for (column, &number) in self.columns.readings.iter().zip(&self.numbers.readings) {
            let written = if number.is_nan() { Written::Nothing } else { Written::Number(number, None) };
            row.values[column.channel as usize] = column.reading(written, time_us);
        }
        self.columns.take_out_lost(row);
        true
    }
    #[inline(never)]
    fn step_closely(&mut self, row: &mut Row, faults: &mut Faults) -> Step {
        loop {
            let is_there =
                if std::mem::take(&mut self.is_row_ready) { Ok(true) } else { self.records.advance() };
            let advanced = match is_there {
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
                let kind = Kind { what: error.what(), column: self.columns.time[at] };
                faults.add_cell(kind, At::Line(self.records.line()), |file| {
                    self.time_fault(file, kind.column, &error)
                });
            }
        }
        for column in &self.columns.readings {
            // What a row is too short for is as an empty cell.
            let cell = self.records.cell(column.index).unwrap_or_default();
            match self.written(column, cell) {
                Ok(written) => row.values[column.channel as usize] = column.reading(written, row.time_us),
                Err(what) => {
                    is_sound = false;
                    let kind = Kind { what, column: column.index };
                    faults.add_cell(kind, At::Line(self.records.line()), |file| {
                        self.reading_fault(file, column, what)
                    });
                }
            }
        }
        self.columns.take_out_lost(row);
        self.marks
            .take(self.time.read_at_us(row.time_us), self.records.line(), |index| self.records.cell(index));
        is_sound
    }
    /// What is written in the cell of a reading.
    #[inline]
    fn written(&self, column: &ReadingColumn, cell: &[u8]) -> Result<Written, What> {
        if !self.missing.is_empty() && self.missing.iter().any(|mark| mark.as_bytes() == number::trim(cell)) {
            return Ok(Written::Missing);
        }
        let has_unit = column.conversion.as_ref().is_some_and(|way| way.column().unit_by == UnitBy::Cell);
        if has_unit {
            return self.with_unit(column, cell);
        }
        match number::reading(cell, self.decimal) {
            Ok(Some(value)) => {
                if let Some(conversion) = &column.conversion {
                    conversion.note_digits(|| number::decimals(cell, self.decimal), None);
                }
                Ok(Written::Number(value, None))
            }
            Ok(None) if number::trim(cell).is_empty() => Ok(Written::Nothing),
            Ok(None) => Ok(Written::Missing),
            Err(_) if self.with_unit(column, cell).is_ok() => Err(What::HasUnit),
            Err(_) => Err(What::NotANumber),
        }
    }
    /// The number and the unit in a cell.
    fn with_unit(&self, column: &ReadingColumn, cell: &[u8]) -> Result<Written, What> {
        let (number, unit) = number::split_unit(cell);
        if number.is_empty() && unit.is_empty() {
            return Ok(Written::Nothing);
        }
        let value = number::reading(number, self.decimal).ok().flatten().ok_or(What::NotANumber)?;
        let unit = std::str::from_utf8(unit).map_err(|_| What::NotAUnit)?;
        let unit = Dimension::of_channel(column.channel).unit(heading::bare_unit(unit));
        let unit = unit.ok_or(What::NotAUnit)?;
        if let Some(conversion) = &column.conversion {
            conversion.note_digits(|| number::decimals(number, self.decimal), Some(unit));
        }
        Ok(Written::Number(value, Some(unit)))
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
            let kind = Kind { what: What::TooWide, column: width };
            faults.add_cell(kind, At::Line(self.records.line()), |file| {
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
        let allowed = self.time.form().map_or_else(|| self.a_number("a number, 0 or more"), str::to_owned);
        fault.problem(problem).allowed(allowed)
    }
    fn reading_fault(&self, file: &str, column: &ReadingColumn, what: What) -> InputError {
        let fault = self.fault_at(file, column.index);
        if what == What::NotAUnit {
            let dimension = Dimension::of_channel(column.channel);
            let problem = format!("`{}` has no unit of {} behind its number", fault.value, dimension.name());
            return fault.problem(problem).allowed(format!("one of {}", dimension.unit_list()));
        }
        let problem = format!("`{}` is not a number", fault.value);
        let hint = if what == What::HasUnit {
            "; with a unit behind each number a layout says unit = \"cell\""
        } else {
            "; other marks for it are listed in a layout: [csv] missing = [\"#N/A\"]"
        };
        let allowed = self.a_number("a number, or nothing where the reading is missing");
        fault.problem(problem).allowed(format!("{allowed}{hint}"))
    }
    fn a_number(&self, what: &str) -> String {
        let mark = if self.decimal == b',' { "comma" } else { "point" };
        format!("{what} (with a decimal {mark})")
    }
}

/// What a plain line is; `None` where a number alone does not say what a cell holds, or rows do not come as they stand.
fn plain_line(columns: &Columns, dialect: CsvDialect, layout: Option<&Layout>) -> Option<PlainLine> {
    let is_of_numbers = |layout: &Layout| {
        let is_plain =
            |column: &ChannelColumn| column.unit_by == UnitBy::Layout && column.motion != Motion::Speed;
        matches!(layout.time, TimeSource::Count { .. })
            && layout.missing.is_empty()
            && layout.joint.is_empty()
            && layout.channels.iter().flatten().all(is_plain)
    };
    if dialect.order == RowOrder::NewestFirst || !layout.is_none_or(is_of_numbers) {
        return None;
    }
    let mut cells = vec![Holds::Nothing; columns.names.len()];
    let readings =
        columns.readings.iter().enumerate().map(|(number, column)| (column.index, Holds::Reading(number)));
    for (index, holds) in columns.time.iter().map(|&index| (index, Holds::Time)).chain(readings) {
        let cell = cells.get_mut(index).filter(|cell| **cell == Holds::Nothing)?;
        *cell = holds;
    }
    PlainLine::new(dialect.delimiter, if dialect.decimal_comma { b',' } else { b'.' }, cells)
}

/// Reads the units below the header, and turns a log round whose newest row stands first.
fn below_header<R: Read>(
    records: &mut Records<R>,
    columns: &mut Columns,
    dialect: CsvDialect,
    faults: &mut Faults,
) -> Result<Vec<String>, RecordError> {
    let warnings = if dialect.has_units_row { heading::units(records, columns, faults)? } else { Vec::new() };
    if dialect.order == RowOrder::NewestFirst {
        records.turn_round(!dialect.has_header)?;
    }
    Ok(warnings)
}
