//! The time of a row.
//!
//! Decides: where the zero of a trace's time lies, and the time of a row that carries none.
//! Assumes: a clock without a date is read at least every half day; an offset from UTC that is written counts.
//! Never: puts rows in order: the core says which came late. Only behind a clock that was set back they go on; see
//! [`SetBacks`].

use super::elapsed::Elapsed;
use super::number;
use super::plain_line::Decimal;
use super::set_back::{SetBack, SetBacks};
use super::time_error::TimeError;
use crate::input::layout::{Clock, ClockColumn, ClockReading, TimeSource};
use jiff::Timestamp;
use jiff::civil::Date;

/// Microseconds in a day.
const DAY_US: i64 = 86_400_000_000;
/// A count that starts beyond 1990-01-01, in seconds since 1970, is a date and not a stretch of time.
const DATE_FROM_US: i64 = 631_152_000_000_000;

/// How the time of a row is found.
#[derive(Debug)]
enum Reckoning {
    /// Seconds; shown as written in the project's own traces, whatever their size.
    Seconds { is_own: bool },
    /// Counts of so many microseconds.
    Count { count_us: f64 },
    /// A civil clock; `midnights_us` is added where it shows no date.
    Clock { clock: Clock, midnights_us: i64, last: Option<ClockReading> },
    /// Elapsed time with colons; see [`Elapsed`].
    Elapsed(Elapsed),
    /// No cell: rows are this far apart.
    Interval { interval_us: f64, rows: u64 },
}

/// Gives each row its time, in microseconds: as written, or since the first row where dates or
/// seconds since 1970 are written.
#[derive(Debug)]
pub struct RowTime {
    reckoning: Reckoning,
    /// The zero of the times shown; known with the first row.
    zero_us: Option<i64>,
    set_backs: SetBacks,
    start: Option<String>,
}

impl RowTime {
    /// For the project's own traces, or as a layout says.
    pub fn new(source: Option<&TimeSource>) -> Self {
        let reckoning = match source {
            None => Reckoning::Seconds { is_own: true },
            Some(TimeSource::Count { seconds_per_count, .. }) => {
                // A millionth times a million is not one in binary, but a hair beside it.
                let count_us = round_if_near(seconds_per_count * 1e6);
                if (count_us - 1e6).abs() < f64::EPSILON {
                    Reckoning::Seconds { is_own: false }
                } else {
                    Reckoning::Count { count_us }
                }
            }
            Some(TimeSource::Clock(clock)) => {
                Reckoning::Clock { clock: clock.clone(), midnights_us: 0, last: None }
            }
            Some(TimeSource::Elapsed(_)) => Reckoning::Elapsed(Elapsed::default()),
            Some(TimeSource::Interval(seconds)) => {
                Reckoning::Interval { interval_us: seconds * 1e6, rows: 0 }
            }
        };
        Self { reckoning, zero_us: None, set_backs: SetBacks::default(), start: None }
    }
    /// What a cell of it holds, where that is no number.
    pub fn form(&self) -> Option<&'static str> {
        match self.reckoning {
            Reckoning::Clock { .. } => Some("the format that the layout file gives"),
            Reckoning::Elapsed(_) => Some("elapsed time such as 12:34.5 (mm:ss) or 1:02:03 (hh:mm:ss)"),
            _ => None,
        }
    }
    /// When the first row was written, ISO 8601, where the trace tells: civil time as the logger's
    /// clock showed it, or UTC (ending in Z) for a count since 1970.
    pub fn start(&self) -> Option<&str> {
        self.start.as_deref()
    }
    /// Where the clock was set back.
    pub fn set_backs(&self) -> &[SetBack] {
        self.set_backs.all()
    }
    /// When the newest row came, µs; of a row from the past the moment behind it, so that what is written in it comes
    /// after what was written before.
    pub fn read_at_us(&self, row_us: u64) -> u64 {
        self.set_backs.read_at_us(row_us)
    }
    /// The time of the next row of a text file; `cells` are those of the columns the time source
    /// names, in its order.
    ///
    /// # Errors
    /// [`TimeError`], with the index of the cell at fault.
    pub fn of_cells(&mut self, cells: [Option<&[u8]>; 2], decimal: u8) -> Result<u64, (usize, TimeError)> {
        let first = cells[0].unwrap_or_default();
        let us = match &mut self.reckoning {
            Reckoning::Seconds { .. } => seconds(first, decimal),
            Reckoning::Count { count_us } => count(first, decimal, *count_us),
            Reckoning::Interval { interval_us, rows } => Ok(next_at(*interval_us, rows)),
            Reckoning::Elapsed(elapsed) => elapsed.micros(first, decimal),
            Reckoning::Clock { clock, midnights_us, last } => {
                let read = clock_time(clock, cells)?;
                if !shows_date(clock) && last.is_some_and(|last| last.utc_us - read.utc_us > DAY_US / 2) {
                    *midnights_us += DAY_US;
                }
                *last = Some(read);
                Ok(read.utc_us + *midnights_us)
            }
        };
        us.and_then(|us| self.since_zero(us)).map_err(|error| (0, error))
    }
    /// The time of the next row of a text file, given the number in its time cell; `None` where the cell has to be looked
    /// at: it is no number that the time is read from, or one before zero.
    #[inline]
    pub fn of_decimal(&mut self, time: Decimal) -> Option<u64> {
        let us = match &self.reckoning {
            Reckoning::Seconds { .. } => time.micros()?,
            Reckoning::Count { count_us } => number::whole(time.value() * count_us).ok()?,
            Reckoning::Interval { .. } | Reckoning::Clock { .. } | Reckoning::Elapsed(_) => return None,
        };
        if us < 0 { None } else { self.since_zero(us).ok() }
    }
    /// The time of the next row of a Parquet file, given the number in its time column.
    ///
    /// # Errors
    /// [`TimeError`].
    pub fn of_count(&mut self, count: Option<f64>) -> Result<u64, TimeError> {
        let us = match &mut self.reckoning {
            Reckoning::Interval { interval_us, rows } => next_at(*interval_us, rows),
            Reckoning::Count { count_us } => whole_count(count, *count_us)?,
            Reckoning::Seconds { .. } | Reckoning::Clock { .. } | Reckoning::Elapsed(_) => {
                whole_count(count, 1e6)?
            }
        };
        self.since_zero(us)
    }

    fn since_zero(&mut self, us: i64) -> Result<u64, TimeError> {
        let zero_us = match self.zero_us {
            Some(zero_us) => zero_us,
            None => self.zero_by_first(us),
        };
        if zero_us == 0 && us < 0 {
            return Err(TimeError::Negative);
        }
        Ok(self.set_backs.straight_us(us.saturating_sub(zero_us)))
    }
    /// Sets the zero by the first row.
    fn zero_by_first(&mut self, us: i64) -> i64 {
        let zero_us = match &self.reckoning {
            Reckoning::Clock { clock, last, .. } => {
                if shows_date(clock) {
                    self.start = last.and_then(ClockReading::shown);
                }
                us
            }
            Reckoning::Seconds { is_own: false } | Reckoning::Count { .. } if us >= DATE_FROM_US => {
                self.start = Timestamp::from_microsecond(us).ok().map(|moment| moment.to_string());
                us
            }
            _ => 0,
        };
        self.zero_us = Some(zero_us);
        zero_us
    }
}

fn seconds(cell: &[u8], decimal: u8) -> Result<i64, TimeError> {
    number::micros(cell, decimal).map_err(|_| TimeError::NotANumber)?.ok_or(TimeError::Absent)
}

fn count(cell: &[u8], decimal: u8, count_us: f64) -> Result<i64, TimeError> {
    whole_count(number::reading(cell, decimal).map_err(|_| TimeError::NotANumber)?, count_us)
}

fn whole_count(count: Option<f64>, count_us: f64) -> Result<i64, TimeError> {
    let count = count.ok_or(TimeError::Absent)?;
    number::whole(count * count_us).map_err(|_| TimeError::NotANumber)
}

/// The time of the next of rows that are so far apart.
fn next_at(interval_us: f64, rows: &mut u64) -> i64 {
    let us = (*rows as f64 * interval_us).round() as i64;
    *rows += 1;
    us
}

/// What the clock that wrote the cells showed.
fn clock_time(clock: &Clock, cells: [Option<&[u8]>; 2]) -> Result<ClockReading, (usize, TimeError)> {
    let time_at = usize::from(clock.date.is_some());
    let mut texts = [""; 2];
    for (index, text) in texts.iter_mut().enumerate().take(time_at + 1) {
        let cell = number::trim(cells[index].unwrap_or_default());
        if cell.is_empty() {
            return Err((index, TimeError::Absent));
        }
        *text = std::str::from_utf8(cell)
            .map_err(|_| (index, TimeError::Misfit("this is not text in UTF-8".into())))?;
    }
    let date = clock.date.is_some().then_some(texts[0]);
    clock.reading(date, texts[time_at]).map_err(|misfit| {
        let is_date = |column: &ClockColumn| Date::strptime(&column.format, texts[0]).is_err();
        let at = if clock.date.as_ref().is_some_and(is_date) { 0 } else { time_at };
        (at, TimeError::Misfit(misfit))
    })
}

/// Or only a time of day?
fn shows_date(clock: &Clock) -> bool {
    clock.date.is_some() || clock.time.holds_a_date()
}

fn round_if_near(value: f64) -> f64 {
    if (value - value.round()).abs() < value * 1e-12 { value.round() } else { value }
}

#[cfg(test)]
mod tests {
    use super::super::set_back::HOLE_US;
    use super::*;

    fn times(
        source: Option<&TimeSource>,
        cells: &[[&str; 2]],
    ) -> (Vec<Result<u64, TimeError>>, Option<String>) {
        let mut time = RowTime::new(source);
        let of = |cells: &[&str; 2]| time.of_cells(cells.map(|cell| Some(cell.as_bytes())), b'.');
        let times = cells.iter().map(of).map(|time| time.map_err(|(_, error)| error)).collect();
        (times, time.start().map(str::to_owned))
    }

    fn clock(date: Option<&str>, time: &str) -> TimeSource {
        let column = |format: &str| ClockColumn { column: "".into(), format: format.to_owned() };
        TimeSource::Clock(Clock { date: date.map(column), time: column(time) })
    }

    fn count(seconds_per_count: f64) -> TimeSource {
        TimeSource::Count { column: "".into(), seconds_per_count }
    }

    #[test]
    fn seconds_are_kept_as_written() {
        let cells = [["12.5", ""], ["1700000000", ""], ["12.25", ""], ["-1", ""], ["", ""], ["x", ""]];
        let (own, start) = times(None, &cells);
        let errors = [TimeError::Negative, TimeError::Absent, TimeError::NotANumber];
        let sound = [12_500_000, 1_700_000_000_000_000, 12_250_000].map(Ok);
        assert_eq!(own, [sound.to_vec(), errors.map(Err).to_vec()].concat());
        assert_eq!(start, None);
        assert_eq!(times(Some(&count(1.0)), &cells).0, own);
        let (milliseconds, _) = times(Some(&count(1e-3)), &[["12.5", ""], ["20", ""]]);
        assert_eq!(milliseconds, [Ok(12_500), Ok(20_000)]);
    }

    /// 1e9 s after 1970 is 2001-09-09 01:46:40 UTC (a known date of Unix time, from memory).
    #[test]
    fn counts_since_1970_are_shown_from_the_first_row_on() {
        let start = Some("2001-09-09T01:46:40.123456Z".to_owned());
        let later = vec![Ok(0), Ok(1), Ok(0)];
        for (unit, cells) in [
            (1.0, ["1000000000.123456", "1000000000.123457", "999999999"]),
            (1e-3, ["1000000000123.456", "1000000000123.457", "999999999000"]),
            (1e-6, ["1000000000123456", "1000000000123457", "999999999000000"]),
        ] {
            assert_eq!(
                times(Some(&count(unit)), &cells.map(|cell| [cell, ""])),
                (later.clone(), start.clone())
            );
        }
    }

    /// One row in a row less, and it is a row out of order.
    #[test]
    fn a_clock_that_is_set_back_goes_on_behind_a_hole() {
        let source = clock(None, "%H:%M:%S");
        let back = |rows: usize| {
            let cells = (0..rows).map(|second| format!("02:00:{second:02}"));
            let cells: Vec<_> = std::iter::once("02:30:00".to_owned()).chain(cells).collect();
            let cells: Vec<_> = cells.iter().map(|cell| [cell.as_str(), ""]).collect();
            times(Some(&source), &cells).0
        };
        let second = 1_000_000;
        assert_eq!(back(7), vec![Ok(0); 8]);
        let hole = HOLE_US;
        assert_eq!(
            back(10),
            [vec![Ok(0); 8], [0, 1, 2].map(|row| Ok(hole + row * second)).to_vec()].concat()
        );
    }

    /// Summer time ends: 02:59:59 +02:00 is 00:59:59 UTC, and 02:00:00 +01:00 a second later.
    #[test]
    fn utc_runs_on_where_the_offset_changes() {
        let cells = ["2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00", "2026-10-25T02:00:01+01:00"];
        let (shown, start) = times(Some(&clock(None, "%Y-%m-%dT%H:%M:%S%:z")), &cells.map(|cell| [cell, ""]));
        assert_eq!(shown, [0, 1_000_000, 2_000_000].map(Ok));
        assert_eq!(start.as_deref(), Some("2026-10-25T02:59:59+02:00"));
        let (shown, _) = times(
            Some(&clock(None, "%H:%M:%S%z")),
            &["23:59:59+0200", "00:00:00+0200"].map(|cell| [cell, ""]),
        );
        assert_eq!(shown.last(), Some(&Ok(shown[0].clone().unwrap() + 1_000_000)));
    }

    #[test]
    fn a_clock_without_date_runs_on_over_midnight() {
        let source = clock(None, "%H:%M:%S%.f");
        let cells = ["23:59:59.9", "00:00:00.1", "00:00:00.05", "23:59:59", "00:00:01"];
        let (shown, start) = times(Some(&source), &cells.map(|cell| [cell, ""]));
        // The third is late by 50 ms; the fourth jumps ahead for most of the second day.
        let second = 1_000_000;
        let day = 86_400 * second;
        assert_eq!(
            shown,
            [0, second / 5, second * 3 / 20, day - second * 9 / 10, day + second * 11 / 10].map(Ok)
        );
        assert_eq!(start, None);
    }

    #[test]
    fn date_and_time_columns() {
        let source = clock(Some("%d.%m.%Y"), "%H:%M:%S%.f");
        let cells =
            [["28.02.2028", "23:59:59.500"], ["29.02.2028", "00:00:00.000"], ["1.3.2028", "00:00:00"]];
        let (shown, start) = times(Some(&source), &cells);
        // 2028 is a leap year.
        assert_eq!(shown, [Ok(0), Ok(500_000), Ok(86_400_500_000)]);
        assert_eq!(start.as_deref(), Some("2028-02-28T23:59:59.5"));
        let mut time = RowTime::new(Some(&source));
        let mut fault = |date: &'static [u8], clock: &'static [u8]| {
            time.of_cells([Some(date), Some(clock)], b'.').unwrap_err()
        };
        assert!(matches!(fault(b"31.02.2028", b"00:00:00"), (0, TimeError::Misfit(_))));
        assert!(matches!(fault(b"01.02.2028", b"24:00:01"), (1, TimeError::Misfit(_))));
        assert!(matches!(fault(b"\xff", b"00:00:00"), (0, TimeError::Misfit(_))));
        assert_eq!(fault(b" ", b"00:00:00"), (0, TimeError::Absent));
        assert_eq!(fault(b"01.02.2028", b""), (1, TimeError::Absent));
    }

    #[test]
    fn rows_at_an_interval() {
        let (shown, _) = times(Some(&TimeSource::Interval(1.0 / 3.0)), &[["", ""]; 4]);
        assert_eq!(shown, [Ok(0), Ok(333_333), Ok(666_667), Ok(1_000_000)]);
    }
}
