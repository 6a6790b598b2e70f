//! What is where in a log that another program wrote.
//!
//! Decides: how a cell of a foreign log becomes a reading in the unit of its channel, and how its
//! time is read.
//! Assumes: civil times run on; a clock that is set back is found where the rows are read.
//! Never: opens a file.

use super::joint_field::JointField;
use super::quantity::Unit;
use bandward::procedure::{Range, Rotation};
use bandward::{Acquisition, Channel};
use jiff::SignedDuration;
use jiff::civil::{Date, DateTime};
use jiff::fmt::strtime::BrokenDownTime;
use jiff::fmt::temporal::Pieces;
use jiff::tz::Offset;
use std::fmt;

/// What is where in a foreign log.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// How time is written.
    pub time: TimeSource,
    /// The longest spacing of two rows that is not a gap, s; `None` leaves it to the reader.
    pub gap_tolerance_s: Option<f64>,
    /// How the cells are written.
    pub csv: CsvDialect,
    /// The column of each channel, in the order of [`Channel::ALL`]; `None` where the log has none.
    pub channels: [Option<ChannelColumn>; Channel::COUNT],
    /// The columns that say which joint it is, who welded it and with what.
    pub joint: Vec<(JointField, ColumnName)>,
    /// Cells that stand for a missing reading, as written, besides empty ones.
    pub missing: Vec<String>,
}

impl Layout {
    /// The column of a channel.
    pub fn channel(&self, channel: Channel) -> Option<&ChannelColumn> {
        self.channels[channel as usize].as_ref()
    }
    /// Counts of the encoder in one turn of the joint, where the log holds counts; of an angle that is added up
    /// from a speed, what it may be trusted to.
    pub fn spindle_counts(&self) -> Option<u32> {
        let column = self.channel(Channel::Spindle)?;
        if column.motion == Motion::Speed {
            return Some(COUNTS_OF_SPEED);
        }
        Some(column.encoder.counts_per_turn?.round() as u32)
    }
    /// Which way the joint turns while the angle grows, where the layout says.
    pub fn spindle_sense(&self) -> Option<Rotation> {
        self.channel(Channel::Spindle)?.encoder.grows
    }
    /// What each sensor can show, raw: `usual` where the layout does not say.
    pub fn sensor_ranges(&self, usual: Acquisition) -> [Range; Channel::COUNT] {
        Channel::ALL.map(|channel| {
            let said = self.channel(channel).and_then(|column| column.sensor_range);
            said.unwrap_or_else(|| usual.sensor_range(channel))
        })
    }
    /// Every column the layout names, times first. Names are compared after trimming spaces.
    pub fn columns(&self) -> Vec<&ColumnName> {
        let mut columns = self.time.columns();
        columns.extend(self.channels.iter().flatten().map(|channel| &channel.column));
        columns.extend(self.joint.iter().map(|(_, column)| column));
        columns
    }
}

/// An angle added up from a speed is told to the core as no finer than a degree: meters of speed are not better
/// over a turn (assumed).
const COUNTS_OF_SPEED: u32 = 360;

/// Which column of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColumnName {
    /// The one with this name in the header row, trimmed.
    Named(String),
    /// The one in this place, counted from 1.
    Numbered(usize),
}

impl From<&str> for ColumnName {
    fn from(name: &str) -> Self {
        Self::Named(name.to_owned())
    }
}

/// As in messages.
impl fmt::Display for ColumnName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Named(name) => f.write_str(name),
            Self::Numbered(number) => write!(f, "column {number}"),
        }
    }
}

/// How the time of a row is written.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeSource {
    /// Civil date and time, in one column or two.
    Clock(Clock),
    /// A count of some unit since any zero, such as seconds since the start or since 1970.
    Count {
        /// The column.
        column: ColumnName,
        /// Seconds in one count.
        seconds_per_count: f64,
    },
    /// Elapsed time with colons, `mm:ss` or `hh:mm:ss`, in this column.
    Elapsed(ColumnName),
    /// No time column: rows are this far apart, s.
    Interval(f64),
}

impl TimeSource {
    /// The columns it reads.
    pub fn columns(&self) -> Vec<&ColumnName> {
        match self {
            Self::Clock(clock) => clock.date.iter().chain([&clock.time]).map(|cell| &cell.column).collect(),
            Self::Count { column, .. } | Self::Elapsed(column) => vec![column],
            Self::Interval(_) => Vec::new(),
        }
    }
}

/// Civil time in the cells of a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clock {
    /// The date column, where it is apart from the time.
    pub date: Option<ClockColumn>,
    /// The column of the time, or of date and time together where its format holds a year.
    pub time: ClockColumn,
}

/// A column with a civil date or time in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClockColumn {
    /// The column.
    pub column: ColumnName,
    /// As in `strftime`; `%.f` is a fraction of a second with its point.
    pub format: String,
}

impl Clock {
    /// What the cells show. A time of day alone is taken on
    /// that day, so it falls back at midnight. `date_cell` is the cell of the date column, if there is
    /// one.
    ///
    /// # Errors
    /// Says which cell does not fit its format.
    pub fn reading(&self, date_cell: Option<&str>, time_cell: &str) -> Result<ClockReading, String> {
        let misfit = |error: jiff::Error| self.time.misfit(time_cell, &error);
        let time = BrokenDownTime::parse(&self.time.format, time_cell.trim()).map_err(misfit)?;
        let moment = match (&self.date, date_cell) {
            (Some(date), Some(cell)) => {
                let day =
                    Date::strptime(&date.format, cell.trim()).map_err(|error| date.misfit(cell, &error))?;
                time.to_time().map_err(misfit)?.on(day.year(), day.month(), day.day())
            }
            _ if self.time.holds_a_date() => time.to_datetime().map_err(misfit)?,
            _ => time.to_time().map_err(misfit)?.on(1970, 1, 1),
        };
        if (0..=TWO_DIGITS).contains(&moment.year()) {
            let cell = date_cell.unwrap_or(time_cell).trim();
            return Err(format!(
                "`{cell}` has two digits of the year, which `%y` reads, and `%Y` as the year {}",
                moment.year()
            ));
        }
        let since = moment.duration_since(EPOCH);
        let offset = time.offset();
        // Civil years -9999 to 9999 in microseconds fit an i64 with room to spare.
        let utc_us =
            since.as_micros() as i64 - offset.map_or(0, |offset| i64::from(offset.seconds()) * 1_000_000);
        Ok(ClockReading { utc_us, offset })
    }
}

/// A year up to this is one of which two digits are written.
pub const TWO_DIGITS: i16 = 99;

/// 1970-01-01 00:00, of whatever place.
const EPOCH: DateTime = DateTime::constant(1970, 1, 1, 0, 0, 0, 0);

/// What a clock showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockReading {
    /// Since 1970-01-01 00:00 UTC where an offset is written, else since then where the clock was, µs.
    pub utc_us: i64,
    /// The distance from UTC that is written beside it.
    pub offset: Option<Offset>,
}

impl ClockReading {
    /// As it was written, ISO 8601: with its offset, where it has one.
    pub fn shown(self) -> Option<String> {
        let local_us = self.utc_us + self.offset.map_or(0, |offset| i64::from(offset.seconds()) * 1_000_000);
        let civil = EPOCH.checked_add(SignedDuration::from_micros(local_us)).ok()?;
        let pieces = Pieces::from(civil);
        Some(match self.offset {
            Some(offset) => pieces.with_offset(offset).to_string(),
            None => pieces.to_string(),
        })
    }
}

impl ClockColumn {
    /// Does its format bring the date too?
    pub fn holds_a_date(&self) -> bool {
        ["%Y", "%y", "%F", "%D"].iter().any(|code| self.format.contains(code))
    }
    fn misfit(&self, cell: &str, error: &jiff::Error) -> String {
        format!("`{}` does not fit the format `{}`: {error}", cell.trim(), self.format)
    }
}

/// How the cells of a foreign log are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CsvDialect {
    /// The byte between two cells.
    pub delimiter: u8,
    /// Are decimals written behind a comma?
    pub decimal_comma: bool,
    /// Lines before the header row.
    pub skip_rows: usize,
    /// Is there a row with the names of the columns?
    pub has_header: bool,
    /// Is there a row with units below it?
    pub has_units_row: bool,
    /// Which row stands first.
    pub order: RowOrder,
}

/// Which row of a log stands first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowOrder {
    /// The earliest.
    OldestFirst,
    /// The latest.
    NewestFirst,
}

impl Default for CsvDialect {
    fn default() -> Self {
        Self {
            delimiter: b',',
            decimal_comma: false,
            skip_rows: 0,
            has_header: true,
            has_units_row: false,
            order: RowOrder::OldestFirst,
        }
    }
}

/// The column of one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelColumn {
    /// The column.
    pub column: ColumnName,
    /// The unit of a cell after scale and offset.
    pub unit: Unit,
    /// Who says which unit it is.
    pub unit_by: UnitBy,
    /// A cell is multiplied by this first.
    pub scale: f64,
    /// Then this is added, in the unit.
    pub offset: f64,
    /// The encoder behind an angle.
    pub encoder: Encoder,
    /// What the sensor can show, raw, where the layout says.
    pub sensor_range: Option<Range>,
    /// A number in a cell outside these ends is the sensor's sign of a fault: no reading.
    pub valid: Option<(f64, f64)>,
    /// An empty cell repeats the one before it for so long, µs.
    pub hold_us: Option<u64>,
    /// What a cell says of the angle.
    pub motion: Motion,
}

/// Who says which unit a reading is in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitBy {
    /// The layout.
    #[default]
    Layout,
    /// Each cell, behind its number.
    Cell,
    /// The row of units below the header.
    UnitsRow,
}

/// What a cell says of the way the joint has turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Motion {
    /// Where it stands; of all channels but the spindle nothing else is known.
    #[default]
    Position,
    /// How fast it turns, degrees a second after the conversion.
    Speed,
    /// How many pulses came since the row before.
    Pulses,
    /// Whether the switch is closed; each closing is a pulse.
    Switch,
}

/// What is known of an encoder.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Encoder {
    /// Counts in one turn of the joint, gears taken in, of one that is logged in counts.
    pub counts_per_turn: Option<f64>,
    /// The count begins again at 0 here, wherever in the turn that is.
    pub wraps_at: Option<f64>,
    /// Which way the joint turns, seen towards the chuck, while the angle grows.
    pub grows: Option<Rotation>,
}

impl ChannelColumn {
    /// The reading in the unit of the channel (A, V, L/min, mm, degrees, mm/min, °C) for the number
    /// in a cell.
    pub fn value(&self, cell: f64) -> f64 {
        self.unit.to_house(cell * self.scale + self.offset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn micros(clock: &Clock, date: Option<&str>, time: &str) -> Result<i64, String> {
        clock.reading(date, time).map(|reading| reading.utc_us)
    }

    fn column(format: &str) -> ClockColumn {
        ClockColumn { column: "any".into(), format: format.to_owned() }
    }

    /// 2001-09-09 01:46:40 is a thousand million seconds after 1970 (a known date of Unix time, from
    /// memory).
    #[test]
    fn date_and_time_columns_together_give_microseconds() {
        let clock = Clock { date: Some(column("%m/%d/%Y")), time: column("%H:%M:%S%.f") };
        assert_eq!(micros(&clock, Some("09/09/2001"), "01:46:40.125 "), Ok(1_000_000_000_125_000));
        assert_eq!(micros(&clock, Some("9/9/2001"), "1:46:40"), Ok(1_000_000_000_000_000));
        let together = Clock { date: None, time: column("%Y-%m-%d %H:%M:%S%.f") };
        assert_eq!(micros(&together, None, "2001-09-09 01:46:40.5"), Ok(1_000_000_000_500_000));
        let afternoon = Clock { date: None, time: column("%I:%M:%S %p") };
        assert_eq!(micros(&afternoon, None, "01:00:00 PM"), Ok(46_800_000_000));
    }

    #[test]
    fn a_cell_that_does_not_fit_is_told() {
        let clock = Clock { date: Some(column("%m/%d/%Y")), time: column("%H:%M:%S%.f") };
        let error = micros(&clock, Some("2001-09-09"), "01:46:40").expect_err("no such date");
        assert!(error.starts_with("`2001-09-09` does not fit the format `%m/%d/%Y`"), "{error}");
    }
}
