//! Traces are read as they were written, whatever their form.

use bandward::Channel;
use bandward::sample::ChannelSet;
use bandward_sim::input::diagnostic::InputErrors;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace::{self, Row, TraceReader, TraceWriter};
use proptest::prelude::*;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const FORMS: [&str; 4] = ["t.csv", "t.csv.gz", "t.csv.zst", "t.parquet"];

fn write(path: &Path, channels: ChannelSet, rows: &[Row]) {
    let mut writer = TraceWriter::create(path, channels).unwrap();
    for row in rows {
        writer.write(row).unwrap();
    }
    writer.finish().unwrap();
}

fn read(path: &Path) -> Result<(TraceReader, Vec<Row>), InputErrors> {
    let mut reader = trace::open(path, None)?;
    let rows = reader.by_ref().collect::<Result<_, _>>()?;
    Ok((reader, rows))
}

fn file(folder: &TempDir, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

/// Any reading a channel can have, beyond the range of the core and no number at all included.
fn any_reading() -> impl Strategy<Value = Option<f64>> {
    let odd = vec![f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -0.0, 1e300, 360.0];
    prop_oneof![
        1 => Just(None),
        1 => prop::sample::select(odd).prop_map(Some),
        4 => (-1000.0..1000.0).prop_map(Some),
        4 => (-400_000_i32..400_000).prop_map(|hundredths| Some(f64::from(hundredths) / 100.0)),
        1 => any::<i32>().prop_map(|raw| Some(f64::from(raw) / 4096.0)),
    ]
}

/// Rows about 20 ms apart.
fn any_rows() -> impl Strategy<Value = Vec<Row>> {
    let row = (0_u64..10_000, prop::array::uniform9(any_reading()));
    prop::collection::vec(row, 2..60).prop_map(|rows| {
        let rows = rows.into_iter().enumerate();
        rows.map(|(index, (jitter_us, values))| Row { values, ..Row::at(index as u64 * 20_000 + jitter_us) })
            .collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The core sees the same samples whether it is given the rows or what is read back from a file.
    #[test]
    fn what_is_written_is_read(rows in any_rows(), bits in 1_u16..512) {
        let channels = ChannelSet::from_bits(bits);
        let folder = tempfile::tempdir().unwrap();
        let only_channels = |row: &Row| {
            channels.iter().fold(Row::at(row.time_us), |mut kept, channel| {
                kept.values[channel as usize] = row.get(channel);
                kept
            })
        };
        let wanted: Vec<_> = rows.iter().map(|row| only_channels(row).to_sample()).collect();
        for form in FORMS {
            let path = folder.path().join(form);
            write(&path, channels, &rows);
            let (reader, got) = read(&path).unwrap();
            prop_assert_eq!(reader.header().acquisition.channels, channels);
            prop_assert!(reader.warnings().is_empty());
            let got: Vec<_> = got.iter().map(Row::to_sample).collect();
            prop_assert_eq!(&got, &wanted, "{}", form);
        }
    }
}

/// A made stretch of weld: as many rows as asked for, 50 Hz.
fn made_rows(count: u64) -> Vec<Row> {
    let rows = (0..count).map(|index| {
        let wobble = (index * 7919 % 1000) as f64 / 1000.0;
        Row::at(index * 20_000)
            .with(Channel::Current, 270.0 + 10.0 * wobble)
            .with(Channel::Voltage, 31.0 + wobble)
            .with(Channel::Spindle, index as f64 * 0.06)
    });
    rows.collect()
}

#[test]
fn the_same_rows_give_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    for form in FORMS {
        let [first, second] = ["a", "b"].map(|prefix| folder.path().join(format!("{prefix}-{form}")));
        write(&first, ChannelSet::ALL, &made_rows(5000));
        write(&second, ChannelSet::ALL, &made_rows(5000));
        assert_eq!(std::fs::read(&first).unwrap(), std::fs::read(&second).unwrap(), "{form}");
    }
    // RFC 1952: byte 3 holds the flags (no name, no comment), bytes 4 to 7 the time of modification,
    // zero where there is none.
    let gzip = std::fs::read(folder.path().join("a-t.csv.gz")).unwrap();
    assert_eq!(gzip[3..8], [0; 5]);
}

#[test]
fn more_rows_than_any_buffer_holds_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let rows = made_rows(150_000);
    for form in FORMS {
        let path = folder.path().join(form);
        write(&path, ChannelSet::ALL, &rows);
        let (reader, got) = read(&path).unwrap();
        assert_eq!(got.len(), rows.len(), "{form}");
        assert_eq!(got.last().map(Row::to_sample), rows.last().map(Row::to_sample), "{form}");
        let header = reader.header();
        assert_eq!(
            (header.acquisition.period_us, header.acquisition.gap_tolerance_us, header.evenly_spaced),
            (20_000, 250_000, true)
        );
    }
}

#[test]
fn columns_in_any_order_with_blanks_quotes_and_strangers() {
    let folder = tempfile::tempdir().unwrap();
    let text = "\u{feff} voltage_v ,\"Operator, shift\",time_s,\"current_a\",,Lot\r\n\
                31.5,\"A, 2\",0.5,\"270\",,x,\r\n\
                \r\n\
                NaN,,0.52,,,\r\n\
                ,,,,,\r\n\
                31,B,0.54\r\n";
    let path = file(&folder, "odd.csv", text);
    let (reader, rows) = read(&path).unwrap();
    let expected = [
        Row::at(500_000).with(Channel::Voltage, 31.5).with(Channel::Current, 270.0),
        Row::at(520_000),
        Row::at(540_000).with(Channel::Voltage, 31.0),
    ];
    assert_eq!(rows, expected);
    let header = reader.header();
    assert_eq!(header.acquisition.channels, ChannelSet::EMPTY.with(Channel::Voltage).with(Channel::Current));
    assert_eq!(header.unknown_columns, ["Operator, shift", "Lot"]);
    assert_eq!(header.start, None);
    let shown = path.display();
    assert_eq!(
        reader.warnings(),
        [
            format!("{shown}: ignored unknown columns: `Operator, shift`, `Lot`"),
            format!("{shown}:6: 1 row has fewer cells than the header; the readings are taken as missing"),
        ]
    );
}

#[test]
fn rows_out_of_order_are_given_as_they_stand() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(&folder, "order.csv", "time_s,gas_lpm\n0.04,1\n0.02,2\n0.06,3\n0.06,4\n");
    let (_, rows) = read(&path).unwrap();
    let times: Vec<_> = rows.iter().map(|row| row.time_us).collect();
    assert_eq!(times, [40_000, 20_000, 60_000, 60_000]);
}

#[test]
fn a_log_with_semicolons_decimal_commas_and_lines_before_the_header() {
    let folder = tempfile::tempdir().unwrap();
    let layout = "[time]\nepoch = \"Zeit\"\nunit = \"ms\"\n\
                  [csv]\nskip_rows = 2\ndecimal_comma = true\ndelimiter = \";\"\n\
                  [channels]\nwork = { column = \"Temp °F\", unit = \"degF\", scale = 0.1, offset = 32 }\n";
    let layout = Layout::parse("comma.toml", layout).unwrap();
    // In Latin-1, as old loggers write: 0xb0 is the degree sign.
    let text = b"Logger 4 (invented)\n\"a quote left open; nobody reads this\n\
                 Zeit;Temp \xb0F\n1000000000250;1800,0\n1000000000750,5;-320\n1000000001250;\n";
    let path = file(&folder, "comma.csv", text);
    let mut reader = trace::open(&path, Some(&layout)).unwrap();
    let rows: Vec<Row> = reader.by_ref().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.iter().map(|row| row.time_us).collect::<Vec<_>>(), [0, 500_500, 1_000_000]);
    // 212 °F is the boiling point of water, 100 °C; 0 °F is -17.78 °C.
    let works: Vec<_> = rows.iter().map(|row| row.get(Channel::Work)).collect();
    assert!((works[0].unwrap() - 100.0).abs() < 1e-9 && (works[1].unwrap() + 160.0 / 9.0).abs() < 1e-9);
    assert_eq!(works[2], None);
    // 1e9 s after 1970 (a known date of Unix time, from memory).
    assert_eq!(reader.header().start.as_deref(), Some("2001-09-09T01:46:40.25Z"));
}

#[test]
fn a_trace_is_only_written_under_a_name_that_tells_its_form() {
    let folder = tempfile::tempdir().unwrap();
    let told = |name: &str| {
        let path = folder.path().join(name);
        TraceWriter::create(&path, ChannelSet::ALL).err().map(|errors| errors.to_string())
    };
    assert!(told("trace.txt").unwrap().contains(".csv.gz"));
    assert!(!folder.path().join("trace.txt").exists());
    assert!(told("no/such/folder/trace.csv").unwrap().contains("cannot be written: there is no such"));
    assert_eq!(told("TRACE.CSV"), None);
}

/// A quote in a row makes it one that is looked at cell by cell; without, its numbers are read eight bytes at a time.
#[test]
fn a_row_of_plain_numbers_is_read_as_one_that_is_looked_at() {
    let folder = tempfile::tempdir().unwrap();
    let spindle = "spindle = { column = \"s\", unit = \"count\", counts_per_turn = 4000, wraps_at = 65536 }";
    let current = "current = { column = \"c\", unit = \"kA\", scale = 2, offset = -0.25, hold = \"0.1 s\" }";
    let with_channels = |time: &str| format!("[time]\n{time}\n[channels]\n{spindle}\n{current}\n");
    for (time, count) in [("seconds = \"t\"", 1e-2), ("epoch = \"t\"\nunit = \"ms\"", 10.0)] {
        let layout = Layout::parse("x", &with_channels(time)).unwrap();
        for end in ["\n", "\r\n"] {
            let log = |quote: &str| {
                let mut log = format!("t,words,c,s{end}");
                for row in 0..5000_u32 {
                    let amps = match row % 11 {
                        3 => String::new(),
                        7 => format!("-{}.{row}", row % 3),
                        _ => format!("0.{row}"),
                    };
                    let time = (f64::from(row) * count * 1e6).round() / 1e6;
                    write!(log, "{quote}{time}{quote},a b,{amps},{}{end}", row * 37 % 65_536).unwrap();
                }
                log
            };
            let rows = |quote: &str| {
                let path = file(&folder, "log.csv", log(quote));
                trace::open(&path, Some(&layout)).unwrap().collect::<Result<Vec<_>, _>>().unwrap()
            };
            let (plain, quoted) = (rows(""), rows("\""));
            assert_eq!(plain.len(), 5000);
            assert_eq!(plain, quoted, "{time} {end:?}");
            assert_eq!(plain[1234].time_us, 12_340_000);
        }
    }
}

/// An encoder of 4000 counts behind gears of 2.5 to 1, logged in a word of 16 bits: the count begins again at
/// 65,536, which is 6.5536 turns of the joint. The angle runs on all the same.
#[test]
fn a_count_that_begins_again_within_a_turn_runs_on() {
    let text = "[time]\nseconds = \"t\"\n[channels]\n\
                spindle = { column = \"s\", unit = \"count\", counts_per_turn = 4000, gear_ratio = 2.5, wraps_at = 65536 }\n";
    let layout = Layout::parse("x", text).unwrap();
    let degrees = |row: u32| 30.0 * f64::from(row);
    let mut log = "t,s\n".to_owned();
    for row in 0..200 {
        let counts = (degrees(row) / 360.0 * 10_000.0 + 60_000.0).round().rem_euclid(65_536.0);
        writeln!(log, "{row},{counts}").unwrap();
    }
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), log).unwrap();
    let reader = trace::open(file.path(), Some(&layout)).unwrap();
    assert_eq!(reader.header().acquisition.spindle_counts, Some(10_000));
    let angles: Vec<_> = reader.map(|row| row.unwrap().values[Channel::Spindle as usize].unwrap()).collect();
    for (row, angle) in (0..).zip(&angles) {
        assert!((angle - angles[0] - degrees(row)).abs() < 0.04, "row {row}: {angle}");
    }
}
