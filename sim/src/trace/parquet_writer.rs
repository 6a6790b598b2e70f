//! Writes the rows of a Parquet file.
//!
//! Decides: the schema (doubles; a missing reading is a null) and the size of a row group.
//! Assumes: whoever queries many traces wants row groups large enough to skip by their extremes.
//! Never: holds more rows than one row group.

use super::columns::{TIME_COLUMN, column_name};
use super::row::Row;
use crate::output::Draft;
use bandward::Channel;
use parquet::basic::{Compression, Repetition, Type as PhysicalType};
use parquet::data_type::DoubleType;
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::io;
use std::sync::Arc;

/// Rows of a row group.
const GROUP: usize = 1 << 16;

/// Gathers rows and writes them a row group at a time.
pub struct ParquetRowWriter {
    file: SerializedFileWriter<Draft>,
    channels: Vec<Channel>,
    times_s: Vec<f64>,
    readings: Vec<Readings>,
}

/// The readings of a channel in one row group.
#[derive(Default)]
struct Readings {
    values: Vec<f64>,
    /// 1 where there is a value, 0 where it is missing.
    levels: Vec<i16>,
}

impl ParquetRowWriter {
    /// Starts a file with a column for each of `channels`.
    pub fn new(draft: Draft, channels: &[Channel]) -> io::Result<Self> {
        let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
        let file = SerializedFileWriter::new(draft, schema(channels)?, Arc::new(properties))?;
        let readings = channels.iter().map(|_| Readings::default()).collect();
        Ok(Self { file, channels: channels.to_vec(), times_s: Vec::new(), readings })
    }
    /// Takes a row.
    pub fn write(&mut self, row: &Row) -> io::Result<()> {
        self.times_s.push(row.time_us as f64 / 1e6);
        for (&channel, readings) in self.channels.iter().zip(&mut self.readings) {
            let value = row.get(channel).filter(|value| !value.is_nan());
            readings.levels.push(i16::from(value.is_some()));
            readings.values.extend(value);
        }
        if self.times_s.len() == GROUP { self.write_group() } else { Ok(()) }
    }
    /// Writes the last row group and the end of the file; returns the file, not yet in its place.
    pub fn finish(mut self) -> io::Result<Draft> {
        if !self.times_s.is_empty() {
            self.write_group()?;
        }
        Ok(self.file.into_inner()?)
    }

    fn write_group(&mut self) -> io::Result<()> {
        let mut group = self.file.next_row_group()?;
        write_column(&mut group, &self.times_s, None)?;
        self.times_s.clear();
        for readings in &mut self.readings {
            write_column(&mut group, &readings.values, Some(&readings.levels))?;
            readings.values.clear();
            readings.levels.clear();
        }
        group.close()?;
        Ok(())
    }
}

fn write_column(
    group: &mut SerializedRowGroupWriter<'_, Draft>,
    values: &[f64],
    levels: Option<&[i16]>,
) -> Result<()> {
    if let Some(mut column) = group.next_column()? {
        column.typed::<DoubleType>().write_batch(values, levels, None)?;
        column.close()?;
    }
    Ok(())
}

fn schema(channels: &[Channel]) -> Result<Arc<Type>> {
    let column = |name, repetition| {
        let column = Type::primitive_type_builder(name, PhysicalType::DOUBLE);
        column.with_repetition(repetition).build().map(Arc::new)
    };
    let mut fields = vec![column(TIME_COLUMN, Repetition::REQUIRED)?];
    for &channel in channels {
        fields.push(column(column_name(channel), Repetition::OPTIONAL)?);
    }
    Type::group_type_builder("trace").with_fields(fields).build().map(Arc::new)
}
