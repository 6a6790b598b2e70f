//! Parquet as other programs write it: columns of other types, in any order, nested or not numbers.

use bandward::Channel;
use bandward_sim::input::layout::{ChannelColumn, CsvDialect, Encoder, Layout, Motion, TimeSource, UnitBy};
use bandward_sim::input::quantity::Dimension;
use bandward_sim::trace::{self, Row};
use parquet::data_type::{ByteArrayType, DoubleType, FloatType, Int32Type, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use std::fs::File;
use std::path::Path;
use std::sync::Arc;

type Group<'a> = SerializedRowGroupWriter<'a, File>;

fn write(path: &Path, schema: &str, groups: &[fn(&mut Group<'_>)]) {
    let schema = Arc::new(parse_message_type(schema).unwrap());
    let properties = Arc::new(WriterProperties::builder().build());
    let mut file = SerializedFileWriter::new(File::create(path).unwrap(), schema, properties).unwrap();
    for fill in groups {
        let mut group = file.next_row_group().unwrap();
        fill(&mut group);
        group.close().unwrap();
    }
    file.close().unwrap();
}

fn column<T: parquet::data_type::DataType>(group: &mut Group<'_>, values: &[T::T], levels: Option<&[i16]>) {
    let mut column = group.next_column().unwrap().unwrap();
    column.typed::<T>().write_batch(values, levels, None).unwrap();
    column.close().unwrap();
}

#[test]
fn floats_and_whole_numbers_are_readings_too() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("types.parquet");
    let schema = "message any {
        optional int32 voltage_v; required float current_a; optional binary note (UTF8);
        required int64 time_s; optional int32 gas_lpm (INTEGER(32, false)); optional double torch_mm; }";
    let first = |group: &mut Group<'_>| {
        column::<Int32Type>(group, &[31, -30], Some(&[1, 0, 1]));
        column::<FloatType>(group, &[270.5, 271.25, f32::NAN], None);
        column::<ByteArrayType>(group, &["good".into()], Some(&[0, 1, 0]));
        column::<Int64Type>(group, &[7, 8, 9], None);
        column::<Int32Type>(group, &[16, -1, 17], Some(&[1, 1, 1]));
        column::<DoubleType>(group, &[], Some(&[0, 0, 0]));
    };
    let second = |group: &mut Group<'_>| {
        column::<Int32Type>(group, &[29], Some(&[1]));
        column::<FloatType>(group, &[269.0], None);
        column::<ByteArrayType>(group, &[], Some(&[0]));
        column::<Int64Type>(group, &[10], None);
        column::<Int32Type>(group, &[], Some(&[0]));
        column::<DoubleType>(group, &[12.5], Some(&[1]));
    };
    write(&path, schema, &[first, second]);
    let mut reader = trace::open(&path, None).unwrap();
    let rows: Vec<Row> = reader.by_ref().collect::<Result<_, _>>().unwrap();
    let at = |seconds: u64| Row::at(seconds * 1_000_000);
    assert_eq!(
        rows,
        [
            at(7).with(Channel::Voltage, 31.0).with(Channel::Current, 270.5).with(Channel::Gas, 16.0),
            // An unsigned column: all bits set are 2^32 - 1.
            at(8).with(Channel::Current, 271.25).with(Channel::Gas, 4_294_967_295.0),
            at(9).with(Channel::Voltage, -30.0).with(Channel::Gas, 17.0),
            at(10).with(Channel::Voltage, 29.0).with(Channel::Current, 269.0).with(Channel::Torch, 12.5),
        ]
    );
    assert_eq!(reader.header().unknown_columns, ["note"]);
}

#[test]
fn a_layout_names_the_columns_of_parquet_too() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("layout.parquet");
    let fill = |group: &mut Group<'_>| {
        column::<Int64Type>(group, &[1_000_000_000_000, 1_000_000_000_110], None);
        column::<DoubleType>(group, &[0.25, 0.26], None);
    };
    write(&path, "message any { required int64 stamp; required double kiloampere; }", &[fill]);
    let mut channels = std::array::from_fn(|_| None);
    channels[Channel::Current as usize] = Some(ChannelColumn {
        column: "kiloampere".into(),
        unit: Dimension::Current.unit("kA").unwrap(),
        scale: 2.0,
        offset: -0.25,
        encoder: Encoder::default(),
        sensor_range: None,
        unit_by: UnitBy::Layout,
        valid: None,
        hold_us: None,
        motion: Motion::Position,
    });
    let time = TimeSource::Count { column: "stamp".into(), seconds_per_count: 1e-3 };
    let layout = Layout {
        time,
        gap_tolerance_s: Some(0.5),
        csv: CsvDialect::default(),
        channels,
        joint: Vec::new(),
        missing: Vec::new(),
    };
    let mut reader = trace::open(&path, Some(&layout)).unwrap();
    let rows: Vec<Row> = reader.by_ref().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.iter().map(|row| row.time_us).collect::<Vec<_>>(), [0, 110_000]);
    let currents: Vec<_> = rows.iter().filter_map(|row| row.get(Channel::Current)).collect();
    // Scale and offset first, then the unit: (0.25 x 2 - 0.25) kA and (0.26 x 2 - 0.25) kA.
    assert!((currents[0] - 250.0).abs() < 1e-9 && (currents[1] - 270.0).abs() < 1e-9);
    // 1e9 s after 1970 (a known date of Unix time, from memory).
    assert_eq!(reader.header().start.as_deref(), Some("2001-09-09T01:46:40Z"));
    assert_eq!(reader.header().acquisition.gap_tolerance_us, 500_000);
}

#[test]
fn columns_that_hold_no_numbers_are_told_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("text.parquet");
    let schema = "message any { required binary time_s (UTF8); required int32 current_a (DATE);
        repeated double voltage_v; }";
    write(&path, schema, &[]);
    let told = trace::open(&path, None).err().unwrap().to_string();
    for name in ["time_s", "current_a", "voltage_v"] {
        assert!(told.contains(&format!("column `{name}` does not hold numbers")), "{told}");
    }
}

#[test]
fn a_null_time_is_a_fault_with_its_row() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("null.parquet");
    let fill = |group: &mut Group<'_>| {
        column::<DoubleType>(group, &[0.0, -0.5], Some(&[1, 0, 1]));
        column::<DoubleType>(group, &[1.0, 2.0, 3.0], None);
    };
    write(&path, "message any { optional double time_s; required double gas_lpm; }", &[fill]);
    let told = trace::open(&path, None).err().unwrap().to_string();
    assert!(told.contains("time_s: row 2 needs its time"), "{told}");
    assert!(told.contains("time_s: row 3: `-0.5` is before zero"), "{told}");
}
