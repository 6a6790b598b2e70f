//! Charts as a table for other tools.
//!
//! Decides: one row a joint and quantity; the schema.
//! Assumes: as many rows as fit into memory.
//! Never: rounds.

use super::{Charted, Point, Series, Trend};
use crate::output::Draft;
use parquet::basic::{Compression, LogicalType, Repetition, Type as PhysicalType};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;
use std::sync::Arc;

/// Columns and what they hold; a chart is null within the baseline.
const COLUMNS: [(&str, PhysicalType, Repetition); 17] = [
    ("joint", PhysicalType::INT64, Repetition::REQUIRED),
    ("record", PhysicalType::BYTE_ARRAY, Repetition::REQUIRED),
    ("start", PhysicalType::BYTE_ARRAY, Repetition::OPTIONAL),
    ("bands", PhysicalType::INT64, Repetition::REQUIRED),
    ("quantity", PhysicalType::BYTE_ARRAY, Repetition::REQUIRED),
    ("chart", PhysicalType::INT64, Repetition::REQUIRED),
    ("value", PhysicalType::DOUBLE, Repetition::REQUIRED),
    ("adjusted", PhysicalType::DOUBLE, Repetition::REQUIRED),
    ("allowed_low", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("allowed_high", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("baseline_mean", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("baseline_sd", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("ewma", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("cusum_high_sd", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("cusum_low_sd", PhysicalType::DOUBLE, Repetition::OPTIONAL),
    ("ewma_signals", PhysicalType::BOOLEAN, Repetition::OPTIONAL),
    ("cusum_signals", PhysicalType::BOOLEAN, Repetition::OPTIONAL),
];

/// Writes the table; returns it, not yet in its place.
///
/// # Errors
/// The file cannot be written.
pub fn write(draft: Draft, trend: &Trend) -> Result<Draft> {
    let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
    let mut writer = SerializedFileWriter::new(draft, schema()?, Arc::new(properties))?;
    let rows: Vec<(&Series, &Point)> = trend
        .series
        .iter()
        .flat_map(|series| series.points.iter().map(move |point| (series, point)))
        .collect();
    let mut group = writer.next_row_group()?;
    let text = |text: &str| Some(ByteArray::from(text.as_bytes().to_vec()));
    let record = |point: &Point| trend.records.get(point.joint);
    let charted = |read: fn(&Charted) -> f64| move |point: &Point| point.charted.as_ref().map(read);
    let signals = |read: fn(&Charted) -> bool| move |point: &Point| point.charted.as_ref().map(read);

    required::<Int64Type>(&mut group, rows.iter().map(|(_, point)| Some(point.joint as i64 + 1)))?;
    let names = rows.iter().map(|(_, point)| text(record(point).map_or("", |record| &record.name)));
    required::<ByteArrayType>(&mut group, names)?;
    let starts = rows.iter().map(|(_, point)| text(record(point)?.start.as_deref()?));
    optional::<ByteArrayType>(&mut group, starts)?;
    required::<Int64Type>(&mut group, rows.iter().map(|(_, point)| Some(point.bands as i64)))?;
    let keys = rows.iter().map(|(series, _)| text(series.measure.description().key));
    required::<ByteArrayType>(&mut group, keys)?;
    required::<Int64Type>(&mut group, rows.iter().map(|(series, _)| Some(series.group as i64 + 1)))?;
    required::<DoubleType>(&mut group, rows.iter().map(|(_, point)| Some(point.value)))?;
    required::<DoubleType>(&mut group, rows.iter().map(|(_, point)| Some(point.adjusted)))?;
    optional::<DoubleType>(&mut group, rows.iter().map(|(series, _)| series.allowed?.low))?;
    optional::<DoubleType>(&mut group, rows.iter().map(|(series, _)| series.allowed?.high))?;
    optional::<DoubleType>(&mut group, rows.iter().map(|(series, _)| Some(series.baseline?.mean)))?;
    optional::<DoubleType>(&mut group, rows.iter().map(|(series, _)| Some(series.baseline?.deviation)))?;
    for read in [
        charted(|charted| charted.ewma),
        charted(|charted| charted.cusum_high),
        charted(|charted| charted.cusum_low),
    ] {
        optional::<DoubleType>(&mut group, rows.iter().map(|(_, point)| read(point)))?;
    }
    for read in
        [signals(|charted| charted.ewma_signal.is_some()), signals(|charted| charted.cusum_signal.is_some())]
    {
        optional::<BoolType>(&mut group, rows.iter().map(|(_, point)| read(point)))?;
    }
    group.close()?;
    writer.into_inner()
}

fn schema() -> Result<Arc<Type>> {
    let mut fields = Vec::new();
    for (name, kind, repetition) in COLUMNS {
        let text = (kind == PhysicalType::BYTE_ARRAY).then_some(LogicalType::String);
        let column = Type::primitive_type_builder(name, kind).with_repetition(repetition);
        fields.push(Arc::new(column.with_logical_type(text).build()?));
    }
    Type::group_type_builder("trend").with_fields(fields).build().map(Arc::new)
}

type Group<'g> = SerializedRowGroupWriter<'g, Draft>;

fn required<T: DataType>(group: &mut Group<'_>, values: impl Iterator<Item = Option<T::T>>) -> Result<()> {
    column::<T>(group, &values.flatten().collect::<Vec<_>>(), None)
}

fn optional<T: DataType>(group: &mut Group<'_>, values: impl Iterator<Item = Option<T::T>>) -> Result<()> {
    let values: Vec<_> = values.collect();
    let levels: Vec<_> = values.iter().map(|value| i16::from(value.is_some())).collect();
    column::<T>(group, &values.into_iter().flatten().collect::<Vec<_>>(), Some(&levels))
}

fn column<T: DataType>(group: &mut Group<'_>, values: &[T::T], levels: Option<&[i16]>) -> Result<()> {
    if let Some(mut column) = group.next_column()? {
        column.typed::<T>().write_batch(values, levels, None)?;
        column.close()?;
    }
    Ok(())
}
