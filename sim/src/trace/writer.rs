//! Writes traces.
//!
//! Decides: the form of a trace file by the end of its name.
//! Assumes: rows come in the order in which they shall stand.
//! Never: writes anything but the rows: the same rows give the same bytes everywhere.

use super::columns::{TIME_COLUMN, column_name};
use super::digits::{push_reading, push_seconds};
use super::parquet_writer::ParquetRowWriter;
use super::row::Row;
use super::source::refusal;
use crate::input::diagnostic::{InputError, InputErrors};
use crate::output::named;
use crate::output::{Draft, STANDARD_STREAM};
use bandward::Channel;
use bandward::sample::ChannelSet;
use flate2::write::GzEncoder;
use std::io::{self, BufWriter, Write};
use std::path::Path;

type Sink = BufWriter<Draft>;

/// Writes a trace row by row, beside the file whose place it takes when it is finished.
pub struct TraceWriter {
    shown: String,
    channels: Vec<Channel>,
    line: Vec<u8>,
    output: Output,
}

enum Output {
    Plain(Sink),
    Gzip(GzEncoder<Sink>),
    Zstandard(zstd::stream::write::Encoder<'static, Sink>),
    Parquet(Box<ParquetRowWriter>),
}

/// The forms a trace file can have.
#[derive(Clone, Copy)]
pub(crate) enum Form {
    /// Text.
    Plain,
    /// Text, packed.
    Gzip,
    /// Text, packed.
    Zstandard,
    /// Columns.
    Parquet,
}

impl Form {
    const ENDINGS: [(&'static str, Self); 4] = [
        (".csv", Self::Plain),
        (".csv.gz", Self::Gzip),
        (".csv.zst", Self::Zstandard),
        (".parquet", Self::Parquet),
    ];

    /// The form of a file of this name.
    pub(crate) fn of(name: &str) -> Result<Self, InputErrors> {
        let ending = Self::ENDINGS.iter().find(|(ending, _)| name.to_lowercase().ends_with(ending));
        ending.map(|&(_, form)| form).ok_or_else(|| {
            let allowed = "a name that ends in .csv, .csv.gz, .csv.zst or .parquet";
            let fault = InputError::in_file(name, "").problem("the name does not tell the form of the trace");
            fault.allowed(allowed).into()
        })
    }
}

impl Output {
    fn start(form: Form, draft: Draft, channels: &[Channel]) -> io::Result<Self> {
        if let Form::Parquet = form {
            return Ok(Self::Parquet(Box::new(ParquetRowWriter::new(draft, channels)?)));
        }
        let sink: Sink = BufWriter::new(draft);
        Ok(match form {
            // Neither a name nor a time in the header of the packed file.
            Form::Gzip => Self::Gzip(GzEncoder::new(sink, flate2::Compression::default())),
            Form::Zstandard => Self::Zstandard(zstd::stream::write::Encoder::new(sink, 0)?),
            Form::Plain | Form::Parquet => Self::Plain(sink),
        })
    }
}

/// Does the name tell the form of a trace? To be asked before a long wait for the first row.
///
/// # Errors
/// It ends otherwise than the name of a trace.
pub fn check_name(path: &Path) -> Result<(), InputErrors> {
    Form::of(&named(path)).map(|_| ())
}

impl TraceWriter {
    /// Starts the file, or takes standard output where the path is `-`, and writes the header. By
    /// the end of its name the file is CSV (`.csv`, `.csv.gz`, `.csv.zst`) or `.parquet`. Only
    /// `channels` are written, in the order of [`Channel::ALL`].
    ///
    /// # Errors
    /// The name ends otherwise, or the file cannot be written.
    pub fn create(path: &Path, channels: ChannelSet) -> Result<Self, InputErrors> {
        let shown = named(path);
        let fail = |error: io::Error| write_errors(&shown, &error);
        let channels: Vec<_> = channels.iter().collect();
        let form = if shown == STANDARD_STREAM { Form::Plain } else { Form::of(&shown)? };
        let draft = Draft::create(path).map_err(fail)?;
        let output = Output::start(form, draft, &channels).map_err(fail)?;
        let mut writer = Self { shown, channels, line: Vec::new(), output };
        writer.header()?;
        Ok(writer)
    }
    /// Writes a row. Readings are rounded to the resolution of the core in CSV, and kept in full in
    /// Parquet.
    ///
    /// # Errors
    /// The file cannot be written on.
    pub fn write(&mut self, row: &Row) -> Result<(), InputErrors> {
        if let Output::Parquet(rows) = &mut self.output {
            return rows.write(row).map_err(|error| write_errors(&self.shown, &error));
        }
        self.line.clear();
        push_row(&mut self.line, &self.channels, row);
        self.put_line()
    }
    /// Writes what is still held back, ends the file and puts it into its place.
    ///
    /// # Errors
    /// The file cannot be written on.
    pub fn finish(self) -> Result<(), InputErrors> {
        let shown = self.shown.clone();
        self.complete()?.put().map_err(|error| write_errors(&shown, &error))
    }
    /// Writes what is still held back and ends the file, without putting it into its place.
    ///
    /// # Errors
    /// The file cannot be written on.
    pub fn complete(self) -> Result<Draft, InputErrors> {
        let sink = match self.output {
            Output::Plain(sink) => Ok(sink),
            Output::Gzip(encoder) => encoder.finish(),
            Output::Zstandard(encoder) => encoder.finish(),
            Output::Parquet(rows) => {
                return rows.finish().map_err(|error| write_errors(&self.shown, &error));
            }
        };
        let draft = sink.and_then(|sink| sink.into_inner().map_err(io::IntoInnerError::into_error));
        draft.map_err(|error| write_errors(&self.shown, &error))
    }

    fn header(&mut self) -> Result<(), InputErrors> {
        if matches!(self.output, Output::Parquet(_)) {
            return Ok(());
        }
        push_header(&mut self.line, &self.channels);
        self.put_line()
    }
    fn put_line(&mut self) -> Result<(), InputErrors> {
        let written = match &mut self.output {
            Output::Plain(sink) => sink.write_all(&self.line),
            Output::Gzip(encoder) => encoder.write_all(&self.line),
            Output::Zstandard(encoder) => encoder.write_all(&self.line),
            Output::Parquet(_) => Ok(()),
        };
        written.map_err(|error| write_errors(&self.shown, &error))
    }
}

/// Adds the line of the names of the columns.
pub(crate) fn push_header(line: &mut Vec<u8>, channels: &[Channel]) {
    line.extend_from_slice(TIME_COLUMN.as_bytes());
    for &channel in channels {
        line.push(b',');
        line.extend_from_slice(column_name(channel).as_bytes());
    }
    line.push(b'\n');
}

/// Adds the line of a row.
pub(crate) fn push_row(line: &mut Vec<u8>, channels: &[Channel], row: &Row) {
    push_seconds(line, row.time_us);
    for &channel in channels {
        line.push(b',');
        if let Some(value) = row.get(channel).filter(|value| !value.is_nan()) {
            push_reading(line, channel, value);
        }
    }
    line.push(b'\n');
}

fn write_errors(shown: &str, error: &io::Error) -> InputErrors {
    refusal(shown, "cannot be written", error)
}
