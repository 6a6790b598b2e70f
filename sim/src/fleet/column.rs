//! A table of columns as a Parquet file.
//!
//! Decides: how values lie in the file: every column may be empty in any row.
//! Assumes: all columns are equally long.
//! Never: leaves half a file where a whole one stood.

use anyhow::Context as _;
use parquet::basic::{Compression, LogicalType, Repetition, Type as PhysicalType, ZstdLevel};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::fs::File;
use std::path::Path;
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

/// Writes a table in place of the file at `path`.
///
/// # Errors
/// The file cannot be written.
pub fn write(path: &Path, name: &str, columns: &[Column]) -> anyhow::Result<()> {
    let draft = path.with_extension("parquet.draft");
    write_file(&draft, name, columns)
        .and_then(|()| Ok(std::fs::rename(&draft, path)?))
        .with_context(|| format!("cannot write {}", path.display()))
}

fn write_file(path: &Path, name: &str, columns: &[Column]) -> anyhow::Result<()> {
    let compression = Compression::ZSTD(ZstdLevel::default());
    let properties = WriterProperties::builder().set_compression(compression).build();
    let mut file =
        SerializedFileWriter::new(File::create(path)?, schema(name, columns)?, Arc::new(properties))?;
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
    file.close()?;
    Ok(())
}

fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, File>,
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
