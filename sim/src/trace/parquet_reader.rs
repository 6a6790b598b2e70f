//! Rows of a Parquet file.
//!
//! Decides: which types of columns hold numbers.
//! Assumes: columns are named as in a text trace; a null is a missing reading.
//! Never: holds more of a file than its footer and [`BATCH`] rows, besides the pages of one row
//! group that the decoder is at.

use super::columns::Columns;
use super::conversion::Written;
use super::fault::{At, Faults, Kind};
use super::set_back::SetBack;
use super::time::RowTime;
use super::time_error::TimeError;
use super::whole_parquet::{self, guarded};
use super::{Row, Step};
use crate::input::diagnostic::InputError;
use crate::input::layout::{Layout, RowOrder, TimeSource, UnitBy};
use crate::output::reason;
use parquet::basic::{ConvertedType, LogicalType, Type as PhysicalType};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::DataType;
use parquet::errors::{ParquetError, Result};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::schema::types::ColumnDescriptor;
use std::fs::File;

/// Rows decoded at once.
const BATCH: usize = 4096;

/// Reads the rows of a Parquet file one by one.
pub struct ParquetRows {
    file: SerializedFileReader<File>,
    columns: Columns,
    time: RowTime,
    next_group: usize,
    /// The time column, if there is one, then the readings, in the order of `columns`.
    batches: Vec<Batch>,
    rows_in_batch: usize,
    next_in_batch: usize,
    row: u64,
}

/// A stretch of one column.
struct Batch {
    index: usize,
    reader: Option<ColumnReader>,
    is_unsigned: bool,
    /// NaN where there is none.
    values: Vec<f64>,
}

impl ParquetRows {
    /// Reads the footer.
    ///
    /// # Errors
    /// It lacks what is needed; `faults` holds why.
    pub fn open(file: File, layout: Option<&Layout>, faults: &mut Faults) -> Option<Self> {
        if let Some(TimeSource::Clock(_) | TimeSource::Elapsed(_)) = layout.map(|layout| &layout.time) {
            let allowed = "of a Parquet file the time is read as seconds, or as a count since 1970";
            faults.add_in_file("the layout asks for date and time as text", allowed);
            return None;
        }
        if layout.is_some_and(needs_text) {
            let allowed = "units in the layout, and rows from the oldest to the newest";
            faults.add_in_file("the layout asks for units in cells, or for the newest row first", allowed);
            return None;
        }
        if layout.is_some_and(|layout| !layout.joint.is_empty()) {
            let allowed = "no table [joint]; a joint file beside the trace says the same";
            faults
                .add_in_file("the layout names columns with words, which are not read from Parquet", allowed);
            return None;
        }
        let file = match whole_parquet::open(file) {
            Ok(file) => file,
            Err(error) => {
                faults.add_in_file(unreadable(&error), "a whole Parquet file");
                return None;
            }
        };
        let schema = file.metadata().file_metadata().schema_descr();
        let names = schema.columns().iter().map(|column| column.path().string().trim().to_owned()).collect();
        let columns = Columns::find(names, layout, faults);
        let wanted = columns.time.iter().copied().chain(columns.readings.iter().map(|column| column.index));
        let mut batches = Vec::new();
        for index in wanted {
            let column = schema.column(index);
            if !holds_numbers(&column) {
                let problem = format!("column `{}` does not hold numbers", column.path().string());
                faults.add_in_file(problem, "a column of doubles, floats or whole numbers");
            }
            let is_unsigned = is_unsigned(&column);
            batches.push(Batch { index, reader: None, is_unsigned, values: Vec::new() });
        }
        let time = RowTime::new(layout.map(|layout| &layout.time));
        faults.is_empty().then_some(Self {
            file,
            columns,
            time,
            next_group: 0,
            batches,
            rows_in_batch: 0,
            next_in_batch: 0,
            row: 0,
        })
    }
    /// What the columns are.
    pub fn columns(&self) -> &Columns {
        &self.columns
    }
    /// The absolute time of the first row, once that is read.
    pub fn start(&self) -> Option<&str> {
        self.time.start()
    }
    /// Where the clock was set back.
    pub fn set_backs(&self) -> &[SetBack] {
        self.time.set_backs()
    }
    /// Goes one row on and puts it into `row`.
    pub fn step(&mut self, row: &mut Row, faults: &mut Faults) -> Step {
        while self.next_in_batch == self.rows_in_batch {
            match guarded(|| self.next_batch()) {
                Ok(true) => {}
                Ok(false) => return Step::End,
                Err(error) => {
                    let problem = format!("after row {}: {}", self.row, unreadable(&error));
                    faults.add_in_file(problem, "a whole Parquet file");
                    return Step::End;
                }
            }
        }
        let at = self.next_in_batch;
        self.next_in_batch += 1;
        self.row += 1;
        let number = |batch: &Batch| Some(batch.values[at]).filter(|value| !value.is_nan());
        let (times, readings) = self.batches.split_at(self.columns.time.len());
        match self.time.of_count(times.first().and_then(number)) {
            Ok(time_us) => {
                *row = Row::at(time_us);
                for (column, batch) in self.columns.readings.iter().zip(readings) {
                    let written =
                        number(batch).map_or(Written::Nothing, |value| Written::Number(value, None));
                    row.values[column.channel as usize] = column.reading(written, row.time_us);
                }
                self.columns.take_out_lost(row);
                Step::Row
            }
            Err(error) => {
                let value = times.first().and_then(number);
                let kind = Kind { what: error.what(), column: 0 };
                faults.add_cell(kind, At::Row(self.row), |file| self.time_fault(file, &error, value));
                Step::Faulty
            }
        }
    }

    /// Decodes more rows, of the next row group where the last has no more; false at the end.
    fn next_batch(&mut self) -> Result<bool> {
        self.next_in_batch = 0;
        self.rows_in_batch = 0;
        let mut counts = Vec::with_capacity(self.batches.len());
        for batch in &mut self.batches {
            counts.push(batch.fill()?);
        }
        let most = counts.iter().copied().max().unwrap_or(0);
        if counts.iter().any(|&count| count != most) {
            return Err(ParquetError::General("columns of different length".into()));
        }
        if most > 0 {
            self.rows_in_batch = most;
            return Ok(true);
        }
        if self.next_group == self.file.num_row_groups() {
            return Ok(false);
        }
        let group = self.file.get_row_group(self.next_group)?;
        self.next_group += 1;
        for batch in &mut self.batches {
            batch.reader = Some(group.get_column_reader(batch.index)?);
        }
        Ok(true)
    }
    fn time_fault(&self, file: &str, error: &TimeError, value: Option<f64>) -> InputError {
        let name = self.columns.time.first().map_or("", |&index| self.columns.names[index].as_str());
        let mut fault = InputError::in_file(file, name);
        fault.value = value.map_or_else(String::new, |value| value.to_string());
        let problem = match error {
            TimeError::Absent => format!("row {} needs its time", self.row),
            TimeError::Negative => format!("row {}: `{}` is before zero", self.row, fault.value),
            TimeError::NotANumber | TimeError::Misfit(_) => {
                format!("row {}: `{}` is not a time in seconds", self.row, fault.value)
            }
        };
        fault.problem(problem).allowed("a number, 0 or more")
    }
}

impl Batch {
    /// Decodes the next rows of the column; returns how many.
    fn fill(&mut self) -> Result<usize> {
        self.values.clear();
        let values = &mut self.values;
        match (&mut self.reader, self.is_unsigned) {
            (None, _) => Ok(0),
            (Some(ColumnReader::DoubleColumnReader(reader)), _) => decode(reader, values, |value| value),
            (Some(ColumnReader::FloatColumnReader(reader)), _) => decode(reader, values, f64::from),
            (Some(ColumnReader::Int32ColumnReader(reader)), false) => decode(reader, values, f64::from),
            (Some(ColumnReader::Int32ColumnReader(reader)), true) => {
                decode(reader, values, |value| f64::from(value as u32))
            }
            (Some(ColumnReader::Int64ColumnReader(reader)), false) => {
                decode(reader, values, |value| value as f64)
            }
            (Some(ColumnReader::Int64ColumnReader(reader)), true) => {
                decode(reader, values, |value| value as u64 as f64)
            }
            (Some(_), _) => Err(ParquetError::General("not a column of numbers".into())),
        }
    }
}

fn decode<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    into: &mut Vec<f64>,
    number: impl Fn(T::T) -> f64,
) -> Result<usize> {
    let mut levels = Vec::new();
    let mut values = Vec::new();
    let (rows, present, _) = reader.read_records(BATCH, Some(&mut levels), None, &mut values)?;
    let mut values = values.into_iter();
    if present == rows {
        into.extend(values.map(number));
    } else {
        // Null at any level of nesting is a missing reading.
        let full = levels.iter().copied().max().unwrap_or(0);
        into.extend(
            levels.iter().map(
                |&level| {
                    if level == full { values.next().map_or(f64::NAN, &number) } else { f64::NAN }
                },
            ),
        );
    }
    Ok(into.len())
}

/// Is there something in the layout that only a text can have?
fn needs_text(layout: &Layout) -> bool {
    let by_layout = layout.channels.iter().flatten().all(|channel| channel.unit_by == UnitBy::Layout);
    layout.csv.order == RowOrder::NewestFirst || !by_layout
}

fn holds_numbers(column: &ColumnDescriptor) -> bool {
    let is_number = match column.physical_type() {
        PhysicalType::DOUBLE | PhysicalType::FLOAT => true,
        // Whole numbers also stand for decimals, dates and times; those are told by a logical type.
        PhysicalType::INT32 | PhysicalType::INT64 => {
            matches!(column.logical_type_ref(), None | Some(LogicalType::Integer(_)))
                && !matches!(column.converted_type(), ConvertedType::DECIMAL)
        }
        _ => false,
    };
    is_number && column.max_rep_level() == 0
}

fn is_unsigned(column: &ColumnDescriptor) -> bool {
    matches!(column.logical_type_ref(), Some(LogicalType::Integer(integer)) if !integer.is_signed)
        || matches!(
            column.converted_type(),
            ConvertedType::UINT_8 | ConvertedType::UINT_16 | ConvertedType::UINT_32 | ConvertedType::UINT_64
        )
}

fn unreadable(error: &ParquetError) -> String {
    let told = match error {
        ParquetError::General(told) | ParquetError::EOF(told) => told.clone(),
        ParquetError::NYI(told) => format!("{told} (this program does not know that yet)"),
        // Of the file itself, or of whoever unpacks it.
        ParquetError::External(cause) => match cause.downcast_ref() {
            Some(error) => reason(error),
            None => cause.to_string(),
        },
        _ => "the file is damaged".to_owned(),
    };
    format!("cannot be read as Parquet: {told}")
}
