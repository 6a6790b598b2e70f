//! A table of columns as a Parquet file.
//!
//! Decides: how values lie in the file: every column may be empty in any row.
//! Assumes: all columns are equally long.
//! Never: holds rows that were written.

use crate::output::named;
use crate::output::{Draft, cannot_write};
use anyhow::Context as _;
use parquet::basic::{Compression, LogicalType, Repetition, Type as PhysicalType, ZstdLevel};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::path::PathBuf;
use std::sync::Arc;

/// The values of a column.
pub enum Values {
    /// Numbers.
    Number(Vec<Option<f64>>),
    /// Whole numbers.
    Count(Vec<Option<i64>>),
    /// Words.
    Text(Vec<Option<String>>),
    /// Yes or no.
    Flag(Vec<Option<bool>>),
}

impl Values {
    const fn physical(&self) -> PhysicalType {
        match self {
            Self::Number(_) => PhysicalType::DOUBLE,
            Self::Count(_) => PhysicalType::INT64,
            Self::Text(_) => PhysicalType::BYTE_ARRAY,
            Self::Flag(_) => PhysicalType::BOOLEAN,
        }
    }
}

/// A column: its name and its values.
pub type Column = (String, Values);

/// A table that is being written, a row group at a time, beside the file whose place it takes when it is
/// finished.
pub struct TableFile {
    path: PathBuf,
    file: SerializedFileWriter<Draft>,
}

impl TableFile {
    /// Starts the table `name` with columns like these.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn create(path: PathBuf, name: &str, columns: &[Column]) -> anyhow::Result<Self> {
        let compression = Compression::ZSTD(ZstdLevel::default());
        let properties = WriterProperties::builder().set_compression(compression).build();
        let draft = Draft::create(&path).map_err(|error| cannot_write(&path, &error))?;
        let file = SerializedFileWriter::new(draft, schema(name, columns)?, Arc::new(properties));
        let file = file.with_context(|| format!("cannot write {}", named(&path)))?;
        Ok(Self { path, file })
    }
    /// Writes some rows.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn write(&mut self, columns: &[Column]) -> anyhow::Result<()> {
        let written = write_group(&mut self.file, columns);
        written.with_context(|| format!("cannot write {}", named(&self.path)))
    }
    /// Ends the table; returns it, not yet in its place, with where that is.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn complete(self) -> anyhow::Result<(Draft, PathBuf)> {
        let cannot = format!("cannot write {}", named(&self.path));
        Ok((self.file.into_inner().context(cannot)?, self.path))
    }
}

fn write_group(file: &mut SerializedFileWriter<Draft>, columns: &[Column]) -> Result<()> {
    let mut group = file.next_row_group()?;
    for (_, values) in columns {
        match values {
            Values::Number(values) => write_column::<DoubleType>(&mut group, values.iter().copied())?,
            Values::Count(values) => write_column::<Int64Type>(&mut group, values.iter().copied())?,
            Values::Flag(values) => write_column::<BoolType>(&mut group, values.iter().copied())?,
            Values::Text(values) => {
                let texts = values.iter().map(|text| text.as_deref().map(ByteArray::from));
                write_column::<ByteArrayType>(&mut group, texts)?;
            }
        }
    }
    group.close()?;
    Ok(())
}

fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, Draft>,
    values: impl Iterator<Item = Option<T::T>>,
) -> Result<()> {
    let mut levels = Vec::new();
    let mut present = Vec::new();
    for value in values {
        levels.push(i16::from(value.is_some()));
        present.extend(value);
    }
    if let Some(mut column) = group.next_column()? {
        column.typed::<T>().write_batch(&present, Some(&levels), None)?;
        column.close()?;
    }
    Ok(())
}

fn schema(name: &str, columns: &[Column]) -> Result<Arc<Type>> {
    let field = |(name, values): &Column| {
        let logical = matches!(values, Values::Text(_)).then_some(LogicalType::String);
        let field = Type::primitive_type_builder(name, values.physical());
        field.with_repetition(Repetition::OPTIONAL).with_logical_type(logical).build().map(Arc::new)
    };
    let fields = columns.iter().map(field).collect::<Result<Vec<_>>>()?;
    Type::group_type_builder(name).with_fields(fields).build().map(Arc::new)
}
