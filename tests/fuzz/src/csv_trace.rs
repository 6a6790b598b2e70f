//! Traces in text against the crate `csv`, an implementation of RFC 4180 of its own.
//!
//! Decides: that what the reader takes are the rows that stand there, cell by cell, and what it refuses is told with file
//! and line.
//! Assumes: where the two are known to read otherwise, nothing is compared: a carriage return on its own, which `csv`
//! takes for the end of a record and RFC 4180 does not know; a quote within a cell that has none around it.
//! Never: compares a number that is written in another way than plain digits.

use crate::bytes::Bytes;
use crate::told;
use bandward::Channel;
use bandward_sim::input::layout::Layout;
use bandward_sim::trace::{self, Row};
use csv::{ByteRecord, ReaderBuilder};
use std::fmt::Write as _;
use std::io::Cursor;

const FILE: &str = "any.csv";
/// Columns of the log, by their names in the layout and in the log's own form.
const COLUMNS: [(Channel, &str, &str); 3] = [
    (Channel::Current, "current_a", "current = { column = \"current_a\", unit = \"A\" }"),
    (Channel::Voltage, "voltage_v", "voltage = { column = \"voltage_v\", unit = \"V\" }"),
    (Channel::Gas, "gas_lpm", "gas = { column = \"gas_lpm\", unit = \"L/min\" }"),
];

fn layout(delimiter: u8, channels: u8) -> Option<Layout> {
    let name = match delimiter {
        b'\t' => "\\t".to_owned(),
        other => char::from(other).to_string(),
    };
    let mut text = format!("[time]\nseconds = \"time_s\"\n[csv]\ndelimiter = \"{name}\"\n[channels]\n");
    for (_, _, line) in
        COLUMNS.iter().enumerate().filter(|(at, _)| channels >> at & 1 != 0).map(|(_, line)| line)
    {
        let _ = writeln!(text, "{line}");
    }
    (channels & 7 != 0).then(|| Layout::parse("layout", &text).expect("it is sound"))
}

/// The cell holds something else.
struct Other;

/// A number in plain digits; none of an empty cell.
fn plain(cell: &[u8]) -> Result<Option<f64>, Other> {
    let text = std::str::from_utf8(cell).map_err(|_| Other)?.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
    let is_plain =
        |digits: &str| (1..=12).contains(&digits.len()) && digits.bytes().all(|digit| digit.is_ascii_digit());
    if is_plain(whole) && is_plain(part) { text.parse().map(Some).map_err(|_| Other) } else { Err(Other) }
}

/// The rows as the other reader finds them; none where nothing can be compared.
fn expected(text: &[u8], delimiter: u8, channels: Option<u8>) -> Option<Vec<Row>> {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let lone =
        text.windows(2).any(|pair| pair[0] == b'\r' && pair[1] != b'\n') || text.last() == Some(&b'\r');
    if lone || text.contains(&0) {
        return None;
    }
    let mut reader =
        ReaderBuilder::new().delimiter(delimiter).has_headers(false).flexible(true).from_reader(text);
    let records = reader.byte_records().collect::<Result<Vec<ByteRecord>, _>>().ok()?;
    let (head, body) = records.split_first()?;
    // As old loggers write it where it is no UTF-8: there, too, a blank may be one that does not break.
    let latin = |cell: &[u8]| cell.iter().copied().map(char::from).collect::<String>();
    let text_of = |cell: &[u8]| std::str::from_utf8(cell).map_or_else(|_| latin(cell), str::to_owned);
    let place = |name: &str| head.iter().position(|cell| text_of(cell).trim() == name);
    let time = place("time_s")?;
    let mut rows: Vec<Row> = Vec::new();
    for record in body.iter().filter(|record| record.iter().any(|cell| !cell.trim_ascii().is_empty())) {
        let cell = |place: usize| record.get(place).unwrap_or_default();
        let time_s = plain(cell(time)).ok()??;
        let mut row = Row::at((time_s * 1e6).round() as u64);
        for (at, (channel, name, _)) in COLUMNS.iter().enumerate() {
            let is_read = channels.is_none_or(|channels| channels >> at & 1 != 0);
            if let Some(place) = place(name).filter(|_| is_read) {
                row.values[*channel as usize] = plain(cell(place)).ok()?;
            }
        }
        if time_s < 0.0 || rows.last().is_some_and(|last| last.time_us >= row.time_us) {
            return None;
        }
        rows.push(row);
    }
    Some(rows)
}

/// How it is read, then the text.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    let (how, channels) = (bytes.byte(), bytes.byte());
    let delimiter = bytes.of(b",;\t|");
    let text = bytes.rest();
    if text.starts_with(b"\x1f\x8b") || text.starts_with(b"\x28\xb5\x2f\xfd") {
        // How much a few packed bytes become is not told by them.
        return;
    }
    let layout = if how & 1 != 0 { layout(delimiter, channels) } else { None };
    let delimiter = if layout.is_some() { delimiter } else { b',' };
    let read =
        trace::open_stream(Cursor::new(text.to_vec()), FILE, layout.as_ref()).and_then(|mut reader| {
            let rows = reader.by_ref().collect::<Result<Vec<_>, _>>()?;
            assert!(reader.next().is_none());
            let (warnings, doubts) = (reader.warnings(), reader.doubts());
            assert!(warnings.iter().chain(&doubts).all(|line| !line.trim().is_empty()));
            Ok(rows)
        });
    match read {
        // In UTF-16 too, a line has such a byte.
        Err(errors) => {
            told::check_lines(&errors, FILE, text.split(|&byte| byte == b'\n').count());
        }
        Ok(rows) => {
            let channels = layout.is_some().then_some(channels);
            if let Some(expected) = expected(text, delimiter, channels) {
                assert_eq!(rows, expected, "{:?}", String::from_utf8_lossy(text));
            }
        }
    }
}
