//! The rows of a recording under way, in a file that can be read at any time.
//!
//! Decides: how rows are packed: those that are written together by themselves, so that nothing has to
//! follow. A Parquet file has to end well, so its rows stand as text until then.
//! Assumes: it is told when to write.
//! Never: leaves half a row behind where the disk is full, nor writes over a file; nor takes rows for written whose file
//! is gone.

use super::written_file::WrittenFile;
use crate::input::diagnostic::InputErrors;
use crate::output::name::unused;
use crate::output::named;
use crate::trace::writer::{Form, push_header, push_row};
use crate::trace::{self, Row, TraceWriter};
use anyhow::Context as _;
use bandward::Channel;
use bandward::sample::ChannelSet;
use flate2::write::GzEncoder;
use std::ffi::OsString;
use std::io::{self, ErrorKind, Write as _};
use std::path::{Path, PathBuf};

/// A file of rows.
pub struct RowsFile {
    /// Where the rows stand now.
    file: WrittenFile,
    /// Where they go in the end, if that is another file.
    parquet: Option<PathBuf>,
    form: Form,
    channels: ChannelSet,
    columns: Vec<Channel>,
    /// Lines that are not written yet, and how many rows they are.
    lines: Vec<u8>,
    waiting: u64,
    /// Rows that are written whole.
    rows: u64,
}

impl RowsFile {
    /// Starts a file that was not there, `path` or the same with a number.
    ///
    /// # Errors
    /// The name does not tell the form, or the file cannot be made.
    pub fn create(path: &Path, channels: ChannelSet) -> anyhow::Result<Self> {
        let form = Form::of(&named(path))?;
        let (file, parquet) = loop {
            let path = unused(path);
            let parquet = matches!(form, Form::Parquet).then(|| path.clone());
            let place = if parquet.is_some() { unused(&rows_of(&path)) } else { path };
            match WrittenFile::create(place) {
                Ok(file) => break (file, parquet),
                // Another program was faster.
                Err((_, error)) if error.kind() == ErrorKind::AlreadyExists => {}
                Err((place, error)) => return Err(crate::output::cannot_write(&place, &error)),
            }
        };
        let columns: Vec<_> = channels.iter().collect();
        let mut lines = Vec::new();
        push_header(&mut lines, &columns);
        Ok(Self { file, parquet, form, channels, columns, lines, waiting: 0, rows: 0 })
    }
    /// Takes a row, which is not written yet.
    pub fn push(&mut self, row: &Row) {
        push_row(&mut self.lines, &self.columns, row);
        self.waiting += 1;
    }
    /// Writes what was taken.
    ///
    /// # Errors
    /// The disk is full, or the file is gone; what was written before can be read in the first case.
    pub fn flush(&mut self) -> anyhow::Result<()> {
        if self.lines.is_empty() {
            return Ok(());
        }
        let packed = pack(self.form, &self.lines)
            .map_err(|error| crate::output::cannot_write(self.file.path(), &error))?;
        self.file.append(&packed)?;
        self.rows += std::mem::take(&mut self.waiting);
        self.lines.clear();
        Ok(())
    }
    /// Writes the rest and ends the file, which is another one then where it is Parquet.
    ///
    /// # Errors
    /// The disk is full, or the file is gone; what was written before can be read in the first case.
    pub fn finish(&mut self) -> anyhow::Result<()> {
        self.flush()?;
        self.file.keep()?;
        let Some(parquet) = &self.parquet else { return Ok(()) };
        // Rows of somebody else do not become ours.
        self.file.check_bytes()?;
        let (rows, parquet) = (self.file.path(), unused(parquet));
        let told = || format!("the rows are in {}, and cannot be made a Parquet file", named(rows));
        to_parquet(rows, &parquet, self.channels).with_context(told)?;
        std::fs::remove_file(rows).with_context(|| format!("cannot remove {}", named(rows)))?;
        self.file = WrittenFile::whole(parquet)?;
        Ok(())
    }
    /// The channels that have a column.
    pub fn channels(&self) -> ChannelSet {
        self.channels
    }
    /// Rows that are written.
    pub fn rows(&self) -> u64 {
        self.rows
    }
    /// Where the rows stand now.
    pub fn into_file(self) -> WrittenFile {
        self.file
    }
}

/// The files that a recording of this name begins with.
pub fn places(path: &Path) -> Vec<PathBuf> {
    let path = unused(path);
    let rows = matches!(Form::of(&named(&path)), Ok(Form::Parquet)).then(|| unused(&rows_of(&path)));
    std::iter::once(path).chain(rows).collect()
}

/// Where the rows of a Parquet file stand until it is made.
fn rows_of(parquet: &Path) -> PathBuf {
    let mut name: OsString = parquet.file_name().unwrap_or_default().to_owned();
    name.push(".rows.csv");
    parquet.with_file_name(name)
}

/// Lines as they stand in the file: a member of gzip, or a frame of Zstandard, by themselves.
fn pack(form: Form, lines: &[u8]) -> io::Result<Vec<u8>> {
    match form {
        Form::Plain | Form::Parquet => Ok(lines.to_vec()),
        Form::Gzip => {
            let mut encoder = GzEncoder::new(Vec::new(), flate2::Compression::default());
            encoder.write_all(lines)?;
            encoder.finish()
        }
        Form::Zstandard => zstd::stream::encode_all(lines, 0),
    }
}

fn to_parquet(rows: &Path, parquet: &Path, channels: ChannelSet) -> Result<(), InputErrors> {
    let mut writer = TraceWriter::create(parquet, channels)?;
    for row in trace::open(rows, None)? {
        writer.write(&row?)?;
    }
    writer.finish()
}
