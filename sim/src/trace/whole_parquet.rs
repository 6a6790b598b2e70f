//! A Parquet file whose footer tells of places within it.
//!
//! Decides: what of a footer is held against the file before the decoder goes by it.
//! Assumes: nothing of the bytes.
//! Never: lets a panic of the decoder out.

use parquet::errors::{ParquetError, Result};
use parquet::file::metadata::ColumnChunkMetaData;
use parquet::file::reader::{FileReader as _, SerializedFileReader};
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Reads the footer, and refuses one by which a column lies outside the file.
///
/// # Errors
/// It is no whole Parquet file.
pub fn open(file: File) -> Result<SerializedFileReader<File>> {
    let length = file.metadata()?.len();
    let reader = guarded(|| SerializedFileReader::new(file))?;
    for (group, groups) in (1..).zip(reader.metadata().row_groups()) {
        let place = |problem: String| ParquetError::General(format!("row group {group}: {problem}"));
        if groups.num_rows() < 0 {
            return Err(place(format!("{} rows", groups.num_rows())));
        }
        for column in groups.columns() {
            let told = |problem| place(format!("column `{}` {problem}", column.column_path().string()));
            check(column, length).map_err(told)?;
        }
    }
    Ok(reader)
}

/// Is what the decoder will take of a column within a file of so many bytes?
fn check(column: &ColumnChunkMetaData, length: u64) -> std::result::Result<(), String> {
    if column.num_values() < 0 {
        return Err(format!("has {} values", column.num_values()));
    }
    let start = column.dictionary_page_offset().unwrap_or_else(|| column.data_page_offset());
    let size = column.compressed_size();
    let is_within = |start: u64| start.checked_add_signed(size).is_some_and(|end| end <= length);
    match u64::try_from(start) {
        Ok(start) if size >= 0 && is_within(start) => Ok(()),
        _ => Err(format!("lies at {start} with {size} bytes, in a file of {length}")),
    }
}

/// The decoder panics on some damaged files; to whoever reads, that is a fault like any other.
/// Nothing that it left half done is used afterwards.
///
/// # Errors
/// Its own, and one instead of a panic.
pub fn guarded<T>(decode: impl FnOnce() -> Result<T>) -> Result<T> {
    catch_unwind(AssertUnwindSafe(decode))
        .unwrap_or_else(|_| Err(ParquetError::General("the file is damaged".into())))
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::data_type::DoubleType;
    use parquet::file::metadata::{ParquetMetaData, ParquetMetaDataWriter};
    use parquet::file::properties::WriterProperties;
    use parquet::file::writer::SerializedFileWriter;
    use parquet::schema::parser::parse_message_type;
    use std::io::{Seek as _, Write as _};
    use std::sync::Arc;

    /// Three rows of one column, then its footer with another size and place of that column.
    fn read(place: impl Fn(i64) -> i64, size: impl Fn(i64) -> i64, values: i64) -> (u64, Result<usize>) {
        let schema = parse_message_type("message log { required double time_s; }").unwrap();
        let mut bytes = Vec::new();
        let properties = WriterProperties::builder().set_dictionary_enabled(false).build();
        let mut writer =
            SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties)).unwrap();
        let mut group = writer.next_row_group().unwrap();
        let mut column = group.next_column().unwrap().unwrap();
        column.typed::<DoubleType>().write_batch(&[0.0, 0.5, 1.0], None, None).unwrap();
        column.close().unwrap();
        group.close().unwrap();
        let whole = writer.close().unwrap();
        let (group, column) = (whole.row_group(0), whole.row_group(0).column(0));
        let other = column.clone().into_builder();
        let other = other.set_data_page_offset(place(column.data_page_offset()));
        let other = other.set_total_compressed_size(size(column.compressed_size())).set_num_values(values);
        let group = group.clone().into_builder().set_column_metadata(vec![other.build().unwrap()]);
        let damaged = ParquetMetaData::new(whole.file_metadata().clone(), vec![group.build().unwrap()]);
        ParquetMetaDataWriter::new(&mut bytes, &damaged).finish().unwrap();

        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&bytes).unwrap();
        file.rewind().unwrap();
        let rows = open(file).and_then(|reader| Ok(reader.get_row_iter(None)?.count()));
        (bytes.len() as u64, rows)
    }

    /// Found by any bytes: the decoder panicked on negative ones.
    #[test]
    fn a_column_outside_the_file_is_refused_with_its_name() {
        let same = |number: i64| number;
        assert_eq!(read(same, same, 3).1.unwrap(), 3);
        let told = |(length, rows): (u64, Result<usize>)| (length, rows.unwrap_err().to_string());
        let (length, problem) = told(read(|_| -1, same, 3));
        assert!(problem.contains("row group 1: column `time_s` lies at -1 with "), "{problem}");
        assert!(problem.ends_with(&format!("in a file of {length}")), "{problem}");
        let negative = told(read(same, |_| -7, 3)).1;
        assert!(negative.contains("column `time_s` lies at 4 with -7 bytes"), "{negative}");
        for (place, size) in [(4, i64::MAX), (i64::MAX, 50), (i64::MAX, i64::MAX), (4, 100_000)] {
            let problem = told(read(|_| place, |_| size, 3)).1;
            assert!(problem.contains(&format!("lies at {place} with {size} bytes")), "{problem}");
        }
        let values = told(read(same, same, -1)).1;
        assert!(values.contains("column `time_s` has -1 values"), "{values}");
    }
}
