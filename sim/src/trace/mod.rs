//! Traces: rows of readings over time, in engineering units.
//!
//! Decides: what a trace is to the rest of the program: a header known at once, then one row after
//! the other.
//! Assumes: the first rows tell the spacing of the rest.
//! Never: holds more rows than [`timing::LOOKED_AT`] and those of a second, whatever the length of the trace; but for
//! the text of a log whose newest row stands first, up to a size.

mod backward;
pub mod columns;
mod conversion;
mod count_pace;
mod digits;
mod early;
mod elapsed;
pub mod fault;
mod heading;
pub mod marks;
pub(crate) mod number;
mod parquet_reader;
mod parquet_writer;
mod plain_line;
mod provenance;
pub(crate) mod records;
pub mod row;
pub mod row_times;
pub mod set_back;
mod slow_temperature;
mod source;
mod stamps;
mod step;
mod text;
mod time;
mod time_error;
pub mod timing;
mod turning;
pub mod whole_parquet;
mod wide_text;
pub mod writer;

pub use heading::bare_unit;
pub use provenance::{Provenance, Standing};
pub use row::Row;
pub use writer::TraceWriter;

use crate::input::diagnostic::{InputError, InputErrors};
use crate::input::layout::{Layout, Motion};
use crate::output::{STANDARD_STREAM, named, reason};
use bandward::{Acquisition, Channel};
use columns::Columns;
use early::EarlyClock;
use fault::Faults;
use marks::{Mark, Marks};
use parquet_reader::ParquetRows;
use provenance::Witness;
use row_times::RowTimes;
use set_back::SetBack;
use slow_temperature::SlowTemperature;
use source::Source;
use stamps::Stamps;
use std::collections::VecDeque;
use std::io::{self, Read};
use std::path::Path;
use step::Step;
use text::TextRows;
use timing::{Spacing, SpacingError};
use turning::Turning;

/// What is known of a trace before its rows are read.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceHeader {
    /// The file, as it was named.
    pub path: String,
    /// How its rows come: the channels that have a column, the median spacing of the first rows as the nominal
    /// time between rows, and what the layout says of the sensors.
    pub acquisition: Acquisition,
    /// Do the rows follow each other at nearly even times?
    pub evenly_spaced: bool,
    /// Columns ignored, because neither the project's names nor the layout know them.
    pub unknown_columns: Vec<String>,
    /// When the first row was written, ISO 8601, where the trace tells; times of rows are then
    /// relative to the first. Without zone: civil time as the logger's clock showed it.
    pub start: Option<String>,
}

enum Rows {
    Text(Box<TextRows>),
    Parquet(Box<ParquetRows>),
}

impl Rows {
    fn open(source: Source, layout: Option<&Layout>, faults: &mut Faults) -> Option<Self> {
        Some(match source {
            Source::Text(input) => Self::Text(Box::new(TextRows::open(input, layout, faults)?)),
            Source::Parquet(file) => Self::Parquet(Box::new(ParquetRows::open(file, layout, faults)?)),
        })
    }
    #[inline]
    fn step(&mut self, row: &mut Row, faults: &mut Faults) -> Step {
        match self {
            Self::Text(rows) => rows.step(row, faults),
            Self::Parquet(rows) => rows.step(row, faults),
        }
    }
    fn columns(&self) -> &Columns {
        match self {
            Self::Text(rows) => rows.columns(),
            Self::Parquet(rows) => rows.columns(),
        }
    }
    fn start(&self) -> Option<&str> {
        match self {
            Self::Text(rows) => rows.start(),
            Self::Parquet(rows) => rows.start(),
        }
    }
    /// Where the clock was set back.
    fn set_backs(&self) -> &[SetBack] {
        match self {
            Self::Text(rows) => rows.set_backs(),
            Self::Parquet(rows) => rows.set_backs(),
        }
    }
    /// What columns of words say; none of a Parquet file.
    fn marks(&self) -> Option<&Marks> {
        match self {
            Self::Text(rows) => Some(rows.marks()),
            Self::Parquet(_) => None,
        }
    }
    /// Units of which the log says otherwise than the layout; none of a Parquet file.
    fn unit_doubts(&self) -> &[String] {
        match self {
            Self::Text(rows) => rows.unit_doubts(),
            Self::Parquet(_) => &[],
        }
    }
    /// What a person should know of the cells.
    fn warnings(&self) -> Vec<String> {
        match self {
            Self::Text(rows) => rows.warnings(),
            Self::Parquet(rows) => rows.columns().warnings(),
        }
    }
    /// Number of rows with fewer cells than the header, and the line of the first.
    fn short_rows(&self) -> (u64, u64) {
        match self {
            Self::Text(rows) => rows.short_rows(),
            Self::Parquet(_) => (0, 0),
        }
    }
}

/// Reads a trace row by row.
pub struct TraceReader {
    header: TraceHeader,
    rows: Rows,
    /// Rows that have been read, the next one first.
    read_rows: VecDeque<Row>,
    /// Of a trace whose rows carry the time of a batch.
    stamps: Option<Stamps>,
    /// Of a trace with a speed in the place of the angle.
    turning: Option<Turning>,
    temperature: SlowTemperature,
    /// The times of the rows that were given.
    order: RowTimes,
    faults: Faults,
    is_done: bool,
    /// Of a stream: what its first rows told of its clock.
    early: Option<EarlyClock>,
    /// Of a file: whether it stands still.
    standing: Option<Standing>,
    /// Hashes what is read, where that was asked for.
    witness: Option<Witness>,
    /// What that found to have happened to the file.
    changed: Option<String>,
}

/// Opens a trace and reads so much of it that its header is known.
///
/// Text (plain, gzip or Zstandard) and Parquet are told apart by their first bytes; `-` is standard
/// input. Without a layout the columns have the project's own names ([`columns::column_name`]).
///
/// # Errors
/// The file cannot be opened, is no trace, lacks a column that is needed, or there is a fault in
/// its first rows. Every fault in the file is then listed, up to [`fault::LISTED`].
pub fn open(path: &Path, layout: Option<&Layout>) -> Result<TraceReader, InputErrors> {
    let shown = shown(path);
    let (source, standing) = source::open(path, &shown)?;
    read(source, standing, &shown, layout, None)
}

/// As [`open`], of what may take for ever to come: some seconds of rows are enough to begin with, and a clock that turns
/// out to be another is a fault.
///
/// # Errors
/// As [`open`].
pub fn open_early(path: &Path, layout: Option<&Layout>) -> Result<TraceReader, InputErrors> {
    let shown = shown(path);
    let (source, standing) = source::open(path, &shown)?;
    read(source, standing, &shown, layout, Some(EarlyClock::default()))
}

/// As [`open`], and hashes what is read: see [`TraceReader::provenance`].
///
/// # Errors
/// As [`open`].
pub fn open_witnessed(path: &Path, layout: Option<&Layout>) -> Result<TraceReader, InputErrors> {
    let shown = shown(path);
    let (source, standing, witness) = source::open_witnessed(path, &shown)?;
    let reader = read(source, standing, &shown, layout, None)?;
    Ok(TraceReader { witness: Some(witness), ..reader })
}

/// Reads a trace from a stream that was opened already; `shown` is its name in messages.
///
/// # Errors
/// As [`open`].
pub fn open_stream(
    input: impl Read + Send + 'static,
    shown: &str,
    layout: Option<&Layout>,
) -> Result<TraceReader, InputErrors> {
    read(source::unpack(input, None, shown)?, None, shown, layout, None)
}

/// Bytes of a log that [`head`] gives.
const HEAD: u64 = 1 << 16;

/// The first lines of a log in text, unpacked and as UTF-8, without half a line at the end.
///
/// # Errors
/// It cannot be read, or is no text.
pub fn head(path: &Path) -> Result<String, InputErrors> {
    let shown = shown(path);
    let fault = |problem: String| InputError::in_file(&shown, "").problem(problem);
    let mut text = match source::open(path, &shown)?.0 {
        Source::Text(text) => text.take(HEAD),
        Source::Parquet(_) => {
            let allowed = "a log in text; the columns of a Parquet file have their names in it";
            return Err(fault("this is a Parquet file".to_owned()).allowed(allowed).into());
        }
    };
    let mut bytes = Vec::new();
    text.read_to_end(&mut bytes).map_err(|error| fault(format!("cannot be read: {}", reason(&error))))?;
    if bytes.len() as u64 == HEAD {
        let lines = bytes.iter().rposition(|&byte| byte == b'\n').map_or(0, |end| end + 1);
        bytes.truncate(lines);
    }
    let text = String::from_utf8(bytes)
        // As old loggers write: Latin-1.
        .unwrap_or_else(|error| error.into_bytes().into_iter().map(char::from).collect());
    Ok(text.trim_start_matches('\u{feff}').to_owned())
}

fn shown(path: &Path) -> String {
    if path.as_os_str() == STANDARD_STREAM { "standard input".to_owned() } else { named(path) }
}

/// Reads a trace that is in memory, such as one built into the program; `shown` is its name in
/// messages.
///
/// # Errors
/// As [`open`].
pub fn open_bytes(bytes: &'static [u8], shown: &str) -> Result<TraceReader, InputErrors> {
    read(source::unpack(bytes, None, shown)?, None, shown, None, None)
}

fn read(
    source: Source,
    standing: Option<Standing>,
    shown: &str,
    layout: Option<&Layout>,
    early: Option<EarlyClock>,
) -> Result<TraceReader, InputErrors> {
    let mut faults = Faults::new(shown);
    let Some(rows) = Rows::open(source, layout, &mut faults) else {
        return Err(told(faults, standing.as_ref()));
    };
    TraceReader::new(faults, rows, standing, layout, early)
}

/// All faults, and whether the file stood still: half a file is no fault of whoever still writes it.
fn told(mut faults: Faults, standing: Option<&Standing>) -> InputErrors {
    if let Some(change) = standing.and_then(Standing::change) {
        faults.add_in_file(change, "a file that nobody writes to meanwhile");
    }
    faults.take()
}

impl TraceReader {
    fn new(
        mut faults: Faults,
        mut rows: Rows,
        standing: Option<Standing>,
        layout: Option<&Layout>,
        mut early: Option<EarlyClock>,
    ) -> Result<Self, InputErrors> {
        let mut first_rows = VecDeque::with_capacity(timing::LOOKED_AT);
        while first_rows.len() < timing::LOOKED_AT {
            let mut row = Row::default();
            if next_row(&mut rows, &mut row, &mut faults) {
                let suffices = early.as_mut().is_some_and(|early| early.suffices(row.time_us));
                first_rows.push_back(row);
                if suffices {
                    break;
                }
            } else if faults.is_empty() {
                break;
            } else {
                return Err(told(faults, standing.as_ref()));
            }
        }
        let count = first_rows.len();
        // Rows that hold a channel each are no batch of readings.
        let has_arc = |row: &&Row| row.get(Channel::Current).or_else(|| row.get(Channel::Voltage)).is_some();
        let is_whole = 5 * first_rows.iter().filter(has_arc).count() >= 4 * count;
        let mut stamps = Stamps::of(first_rows.iter().map(|row: &Row| row.time_us))
            .filter(|stamps| is_whole || stamps.is_of_seconds());
        let read_rows = match &mut stamps {
            Some(stamps) => {
                let mut spread = VecDeque::with_capacity(count);
                for row in first_rows {
                    stamps.push(row, &mut spread);
                }
                spread
            }
            None => first_rows,
        };
        let spacing = match Spacing::of(read_rows.iter().map(|row: &Row| row.time_us)) {
            Ok(spacing) => spacing,
            Err(error) => {
                let (problem, allowed) = spacing_fault(error, count);
                faults.add_in_file(problem, allowed);
                return Err(told(faults, standing.as_ref()));
            }
        };
        let tolerance_s = layout.and_then(|layout| layout.gap_tolerance_s);
        let usual = Acquisition::every(spacing.period_us, rows.columns().channels());
        let header = TraceHeader {
            path: faults.file().to_owned(),
            acquisition: Acquisition {
                gap_tolerance_us: tolerance_s
                    .map_or(spacing.gap_tolerance_us, |tolerance| (tolerance * 1e6).round() as u32),
                spindle_sense: layout.and_then(Layout::spindle_sense),
                spindle_counts: layout.and_then(Layout::spindle_counts),
                sensor_ranges: layout.map_or(usual.sensor_ranges, |layout| layout.sensor_ranges(usual)),
                ..usual
            },
            evenly_spaced: spacing.evenly_spaced,
            unknown_columns: rows.columns().unknown.clone(),
            start: rows.start().map(str::to_owned),
        };
        let spindle = layout.and_then(|layout| layout.channel(Channel::Spindle));
        let turning = spindle.filter(|column| column.motion == Motion::Speed).map(|_| Turning::default());
        let temperature = SlowTemperature::default();
        let order = RowTimes::new(spacing.period_us, header.acquisition.gap_tolerance_us);
        Ok(Self {
            header,
            rows,
            read_rows,
            stamps,
            turning,
            temperature,
            order,
            faults,
            is_done: false,
            early,
            standing,
            witness: None,
            changed: None,
        })
    }
    /// What is known of the trace at once.
    pub fn header(&self) -> &TraceHeader {
        &self.header
    }
    /// What the trace was read from, where [`open_witnessed`] was asked for that; once every row has been
    /// read.
    ///
    /// # Errors
    /// What the reader left unread cannot be read.
    pub fn provenance(&mut self) -> io::Result<Option<Provenance>> {
        let is_in_order = matches!(self.rows, Rows::Text(_));
        let told = self.witness.as_mut().map(|witness| witness.provenance(is_in_order)).transpose()?;
        if let Some(Provenance { changed: changed @ Some(_), .. }) = &told {
            self.changed.clone_from(changed);
        }
        Ok(told)
    }
    /// What the log itself says about its joints, in the columns that the layout names for it; complete once every
    /// row has been read.
    pub fn marks(&self) -> &[Mark] {
        self.rows.marks().map_or(&[], Marks::changes)
    }
    /// By how much a spindle speed may be wrong because of its few digits, degrees a second; where there is one, and
    /// once every row has been read.
    pub fn speed_error(&self) -> Option<f64> {
        self.rows.columns().speed_error()
    }
    /// Where the clock was set back; complete once every row has been read.
    pub fn set_backs(&self) -> &[SetBack] {
        self.rows.set_backs()
    }
    /// What of the log cannot be judged: rows, by their times, channels of whose unit it says otherwise than the
    /// layout, and all of it where its file changed meanwhile: what was read is then no log that anybody has. Complete
    /// once every row has been read, and [`Self::provenance`] was asked for.
    pub fn doubts(&self) -> Vec<String> {
        let units = self.rows.unit_doubts().iter().cloned();
        let changed = self.change().map(|change| {
            format!("the file of the log changed: {change}; replay it again when nobody writes to it")
        });
        self.order.costs(self.set_backs()).into_iter().chain(units).chain(changed).collect()
    }
    /// A row as it is given: with an angle where the log has a speed, and no temperature of long ago.
    #[inline]
    fn give(&mut self, row: &mut Row) {
        if let Some(turning) = &mut self.turning {
            turning.integrate(row);
        }
        self.temperature.take(row);
        self.order.take(row);
    }
    /// Puts the next row into `row`; false at the end. At the first fault the rest of the file is searched for more, they
    /// are given together, and that is the end.
    ///
    /// # Errors
    /// Every fault in the file.
    #[inline]
    pub fn next_into(&mut self, row: &mut Row) -> Result<bool, InputErrors> {
        loop {
            if let Some(read) = self.read_rows.pop_front() {
                *row = read;
                self.give(row);
                return Ok(true);
            }
            if self.is_done {
                return Ok(false);
            }
            let is_row = next_row(&mut self.rows, row, &mut self.faults);
            self.is_done = !is_row;
            if is_row
                && let Some(problem) = self.early.as_mut().and_then(|early| early.contradiction(row.time_us))
            {
                self.is_done = true;
                self.faults.add_in_file(problem, "rows as far apart as the first ones of the stream");
                let none = Faults::new(self.faults.file());
                return Err(std::mem::replace(&mut self.faults, none).take());
            }
            match &mut self.stamps {
                None if is_row => {
                    self.give(row);
                    return Ok(true);
                }
                Some(stamps) if is_row => stamps.push(*row, &mut self.read_rows),
                _ if !self.faults.is_empty() => {
                    let none = Faults::new(self.faults.file());
                    return Err(told(std::mem::replace(&mut self.faults, none), self.standing.as_ref()));
                }
                Some(stamps) => stamps.finish(&mut self.read_rows),
                None => return Ok(false),
            }
        }
    }
    /// What has happened to the file since it was opened, in words.
    pub fn change(&self) -> Option<String> {
        self.changed.clone().or_else(|| self.standing.as_ref().and_then(Standing::change))
    }
    /// The file as it was opened, which tells of changes also when the rows are read elsewhere.
    pub fn standing(&self) -> Option<Standing> {
        self.standing.clone()
    }
    /// What a person should know about the trace that is no fault: columns ignored, rows that
    /// were short. Complete once every row has been read.
    pub fn warnings(&self) -> Vec<String> {
        let path = &self.header.path;
        let mut warnings = Vec::new();
        if !self.header.unknown_columns.is_empty() {
            let names: Vec<_> = self
                .header
                .unknown_columns
                .iter()
                .map(|name| format!("`{}`", fault::shown(name.as_bytes())))
                .collect();
            warnings.push(format!("{path}: ignored unknown columns: {}", names.join(", ")));
        }
        if let Some(stamps) = &self.stamps {
            warnings.push(format!("{path}: {}", stamps.warning()));
        }
        warnings.extend(row_times::warning(self.set_backs()).map(|warning| format!("{path}: {warning}")));
        warnings.extend(self.rows.warnings().into_iter().map(|warning| format!("{path}: {warning}")));
        warnings.extend(self.temperature.warning().map(|warning| format!("{path}: {warning}")));
        let of_joint = self.rows.marks().map(Marks::warnings).unwrap_or_default();
        warnings.extend(of_joint.into_iter().map(|warning| format!("{path}: {warning}")));
        let (short, first) = self.rows.short_rows();
        if short > 0 {
            let rows = if short == 1 { "row has" } else { "rows have" };
            warnings.push(format!(
                "{path}:{first}: {short} {rows} fewer cells than the header; the readings are taken as missing"
            ));
        }
        warnings
    }
}

impl Iterator for TraceReader {
    type Item = Result<Row, InputErrors>;

    /// The next row; see [`TraceReader::next_into`].
    #[inline]
    fn next(&mut self) -> Option<Self::Item> {
        let mut row = Row::default();
        match self.next_into(&mut row) {
            Ok(true) => Some(Ok(row)),
            Ok(false) => None,
            Err(errors) => Some(Err(errors)),
        }
    }
}

/// Puts the next row into `row`; false at the end, and after a fault, when `faults` holds all there
/// are.
#[inline]
fn next_row(rows: &mut Rows, row: &mut Row, faults: &mut Faults) -> bool {
    loop {
        match rows.step(row, faults) {
            Step::Row if faults.is_empty() => return true,
            Step::Row | Step::Faulty => {}
            Step::End => return false,
        }
    }
}

/// What is wrong and what is allowed.
fn spacing_fault(error: SpacingError, rows: usize) -> (String, &'static str) {
    match (error, rows) {
        (SpacingError::TimeStandsStill, 0) => ("there is a header but no row".into(), "two rows or more"),
        (SpacingError::TimeStandsStill, 1) => ("there is a single row".into(), "two rows or more"),
        (SpacingError::TimeStandsStill, _) => {
            (format!("time does not advance in the first {rows} rows"), "later rows with later times")
        }
        (SpacingError::OutOfRange(spacing_us), _) => (
            format!("rows are {} s apart (median of the first {rows})", spacing_us as f64 / 1e6),
            "from 0.00002 s (50 kHz) to 5 s (0.2 Hz)",
        ),
    }
}
