//! No bytes whatever make the reader of traces panic, and cells are where another reader finds them.

use bandward::Channel;
use bandward::sample::ChannelSet;
use bandward_sim::input::layout::{Clock, ClockColumn, CsvDialect, Layout, TimeSource};
use bandward_sim::trace::{self, Row, TraceWriter};
use proptest::prelude::*;
use std::path::Path;

/// Reads to the end, and tells what there is to tell.
fn read(path: &Path, layout: Option<&Layout>) -> Option<Vec<Row>> {
    let told = |errors: bandward_sim::input::diagnostic::InputErrors| {
        assert!(!errors.to_string().is_empty());
        assert!(errors.faults().len() <= trace::fault::LISTED);
    };
    let mut reader = trace::open(path, layout).map_err(told).ok()?;
    let rows = reader.by_ref().collect::<Result<_, _>>().map_err(told).ok()?;
    assert!(reader.next().is_none());
    reader.warnings();
    Some(rows)
}

fn write_and_read(name: &str, bytes: &[u8], layout: Option<&Layout>) -> Option<Vec<Row>> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    std::fs::write(&path, bytes).unwrap();
    read(&path, layout)
}

/// A sound trace in one of the forms, as bytes.
fn sound(name: &str) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    let channels = ChannelSet::EMPTY.with(Channel::Current).with(Channel::Voltage);
    let mut writer = TraceWriter::create(&path, channels).unwrap();
    for index in 0..200_u64 {
        let row = Row::at(index * 20_000).with(Channel::Current, 270.0 + (index % 7) as f64);
        writer.write(&if index % 5 == 0 { row } else { row.with(Channel::Voltage, 31.25) }).unwrap();
    }
    writer.finish().unwrap();
    std::fs::read(&path).unwrap()
}

/// Text out of the characters that mean something in a trace.
fn traceish() -> impl Strategy<Value = String> {
    let piece = prop::sample::select(vec![
        ",",
        ",",
        ",",
        ";",
        "\n",
        "\n",
        "\r\n",
        "\"",
        "\"\"",
        "0",
        "1",
        "0.5",
        "270",
        "-",
        "1e9",
        "nan",
        "inf",
        "abc",
        " ",
        "\t",
        "time_s",
        "current_a",
        "\u{feff}",
        "°C",
        "99999999999999999999",
        "01/02/2026",
        "300 A",
        "12:34.5",
        "23:59:59.999",
        "00:00:00",
    ]);
    prop::collection::vec(piece, 0..80).prop_map(|pieces| pieces.concat())
}

fn clock_layout() -> Layout {
    let column = |name: &str, format: &str| ClockColumn { column: name.into(), format: format.into() };
    Layout {
        time: TimeSource::Clock(Clock {
            date: Some(column("time_s", "%m/%d/%Y")),
            time: column("current_a", "%H:%M:%S%.f"),
        }),
        gap_tolerance_s: None,
        csv: CsvDialect { delimiter: b',', decimal_comma: false, skip_rows: 0, ..CsvDialect::default() },
        channels: std::array::from_fn(|_| None),
        joint: Vec::new(),
        missing: Vec::new(),
    }
}

/// Everything that a layout can ask of a text at once.
fn odd_layout() -> Layout {
    let text = "[time]\nelapsed = 1\n[csv]\nheader = false\norder = \"newest first\"\nmissing = [\"abc\"]\n\
                [channels]\ncurrent = { column = 2, unit = \"cell\", hold = \"1 s\" }\n\
                spindle = { column = 3, unit = \"rpm\" }\n";
    Layout::parse("odd", text).expect("it is sound")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        write_and_read("any", &bytes, None);
    }

    #[test]
    fn any_packed_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300), kind in 0_usize..3) {
        let magic: &[u8] = [b"\x1f\x8b\x08\0\0\0\0\0\0\xff".as_slice(), b"\x28\xb5\x2f\xfd", b"PAR1"][kind];
        let tail: &[u8] = if kind == 2 { b"PAR1" } else { b"" };
        write_and_read("any", &[magic, &bytes, tail].concat(), None);
    }

    #[test]
    fn any_text(text in traceish(), has_header in any::<bool>()) {
        let header = if has_header { "time_s,current_a\n" } else { "" };
        let text = format!("{header}{text}");
        write_and_read("any.csv", text.as_bytes(), None);
        write_and_read("any.csv", text.as_bytes(), Some(&clock_layout()));
        write_and_read("any.csv", text.as_bytes(), Some(&odd_layout()));
    }

    /// Files cut off anywhere or with bytes changed anywhere.
    #[test]
    fn damaged_files(
        form in prop::sample::select(vec!["t.csv", "t.csv.gz", "t.csv.zst", "t.parquet"]),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..4),
        length in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let mut bytes = sound(form);
        if is_cut {
            bytes.truncate(length.index(bytes.len()));
        }
        if !bytes.is_empty() {
            for (at, byte) in changes {
                let at = at.index(bytes.len());
                bytes[at] = byte;
            }
        }
        write_and_read(form, &bytes, None);
    }

    /// Against the crate `csv`, an implementation of RFC 4180 of its own: the same cells in the same
    /// records. Numbers are left out there, so that its own parser has the last word.
    #[test]
    fn cells_are_where_the_csv_crate_finds_them(
        cells in prop::collection::vec(
            prop::collection::vec("[ -~]{0,6}|[a-c,\"\n]{0,5}".prop_map(|cell| cell), 3),
            1..20,
        ),
        is_quoted in any::<bool>(),
        is_crlf in any::<bool>(),
    ) {
        let style = if is_quoted { csv::QuoteStyle::Always } else { csv::QuoteStyle::Necessary };
        let end = if is_crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let mut writer = csv::WriterBuilder::new().quote_style(style).terminator(end).from_writer(Vec::new());
        writer.write_record(["note", "time_s", "more", "gas_lpm", "last"]).unwrap();
        for (index, cells) in cells.iter().enumerate() {
            let time = format!("{index}.5");
            let gas = format!("{}.25", index * 3);
            writer.write_record([&cells[0], &time, &cells[1], &gas, &cells[2]]).unwrap();
        }
        let last = cells.len().to_string();
        writer.write_record(["", &last, "", "", ""]).unwrap();
        let text = writer.into_inner().unwrap();
        let rows = write_and_read("t.csv", &text, None);
        let mut reader = csv::Reader::from_reader(text.as_slice());
        let expected: Vec<_> = reader
            .records()
            .map(|record| {
                let record = record.unwrap();
                let time_us = (record[1].parse::<f64>().unwrap() * 1e6) as u64;
                let row = Row::at(time_us);
                record[3].parse().map_or(row, |gas| row.with(Channel::Gas, gas))
            })
            .collect();
        prop_assert_eq!(rows, Some(expected));
    }
}
