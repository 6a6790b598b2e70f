//! Which columns are the time.
//!
//! Decides: how it is written, and whether the newest row stands first.
//! Assumes: what fits every one of the first rows fits the rest.
//! Never: takes day for month without a word.

use super::sheet::Sheet;
use super::unit_names;
use crate::input::layout::{Clock, ClockColumn, TWO_DIGITS};
use jiff::civil::{Date, DateTime, Time};

/// How the time is written.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeGuess {
    /// Date and time; the column of the date where it is apart, each with its format.
    Clock {
        /// The date.
        date: Option<(usize, &'static str)>,
        /// The time, or both.
        time: (usize, String),
    },
    /// A count, with the unit a layout has for it.
    Count(usize, &'static str),
    /// With colons, since the start.
    Elapsed(usize),
}

/// Dates, the likeliest first; those with two digits of the year are of 1969 to 2068.
const DATES: [&str; 17] = [
    "%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%Y/%m/%d", "%d-%m-%Y", "%m-%d-%Y", "%Y.%m.%d",
    "%y-%m-%d", "%d.%m.%y", "%m/%d/%y", "%d/%m/%y", "%y/%m/%d", "%d-%m-%y", "%m-%d-%y", "%y.%m.%d",
    "%m.%d.%y",
];
const TIMES: [&str; 3] = ["%H:%M:%S%.f", "%H:%M:%S,%f", "%I:%M:%S%.f %p"];
/// What may stand behind the time: how far the clock is from UTC, which changes nothing of the time between two rows.
const OFFSETS: [&str; 4] = ["", "Z", "%:z", "%z"];
/// What columns of time are called (common practice, no source).
const NAMES: [&str; 9] = ["time", "zeit", "t", "timestamp", "elapsed", "seconds", "sec", "epoch", "ts"];

/// Larger numbers than this are a date, s; those of the years 2000 to 2100, s since 1970.
const DATE_FROM: f64 = 946_684_800.0;
const EPOCH_S: std::ops::Range<f64> = 946_684_800.0..4_102_444_800.0;

impl TimeGuess {
    /// The columns it reads.
    pub fn columns(&self) -> Vec<usize> {
        match self {
            Self::Clock { date, time } => date.iter().map(|(column, _)| *column).chain([time.0]).collect(),
            Self::Count(column, _) | Self::Elapsed(column) => vec![*column],
        }
    }
    /// A number for a row that grows with the time.
    fn order(&self, sheet: &Sheet, row: &[String]) -> Option<f64> {
        let cell = |column: usize| row.get(column).map(|cell| cell.trim());
        match self {
            Self::Clock { date, time } => {
                let column = |format: &str| ClockColumn { column: "".into(), format: format.to_owned() };
                let clock = Clock { date: date.map(|(_, format)| column(format)), time: column(&time.1) };
                let day = date.and_then(|(column, _)| cell(column));
                clock.reading(day, cell(time.0)?).ok().map(|read| read.utc_us as f64)
            }
            Self::Count(column, _) => sheet.number(cell(*column)?),
            Self::Elapsed(column) => {
                let mut parts = cell(*column)?.split(':').map(|part| sheet.number(part));
                parts.try_fold(0.0, |whole, part| Some(60.0 * whole + part?))
            }
        }
    }
    /// The time of a row, s, from any zero.
    pub fn seconds(&self, sheet: &Sheet, row: &[String]) -> Option<f64> {
        let in_one = match self {
            Self::Clock { .. } | Self::Count(_, "us") => 1e6,
            Self::Count(_, "ms") => 1e3,
            Self::Count(_, "min") => 1.0 / 60.0,
            Self::Count(_, "h") => 1.0 / 3600.0,
            Self::Count(..) | Self::Elapsed(_) => 1.0,
        };
        self.order(sheet, row).map(|order| order / in_one)
    }
    /// Does the newest row stand first?
    pub fn is_newest_first(&self, sheet: &Sheet) -> bool {
        let order: Vec<f64> = sheet.rows.iter().filter_map(|row| self.order(sheet, row)).collect();
        let falls = order.windows(2).filter(|pair| pair[1] < pair[0]).count();
        let grows = order.windows(2).filter(|pair| pair[1] > pair[0]).count();
        falls > grows
    }
}

/// Finds the time; `None` where no column tells it.
pub fn guess(sheet: &Sheet, warnings: &mut Vec<String>) -> Option<TimeGuess> {
    let found = together(sheet).or_else(|| apart(sheet)).or_else(|| elapsed(sheet));
    let found = found.or_else(|| count(sheet, warnings));
    let found = found.filter(|time| !goes_to_and_fro(sheet, time, warnings));
    match &found {
        None => warnings.push(
            "no column tells the time: write its column, or the spacing of the rows, into [time]".to_owned(),
        ),
        Some(TimeGuess::Clock { date: Some((_, format)), .. }) => {
            two_ways(sheet, found.as_ref(), format, warnings);
        }
        Some(TimeGuess::Clock { time: (_, format), .. }) => two_ways(sheet, found.as_ref(), format, warnings),
        _ => {}
    }
    found
}

/// One row in so many that goes back against the others is a time that is read wrongly, not a late row. Invented.
const BACK_ONE_IN: usize = 100;

/// Do the times, as they are read, go back again and again? Such as where milliseconds are written without their zeros.
fn goes_to_and_fro(sheet: &Sheet, time: &TimeGuess, warnings: &mut Vec<String>) -> bool {
    let order: Vec<f64> = sheet.rows.iter().filter_map(|row| time.order(sheet, row)).collect();
    let falls = order.windows(2).filter(|pair| pair[1] < pair[0]).count();
    let grows = order.windows(2).filter(|pair| pair[1] > pair[0]).count();
    let against = falls.min(grows);
    let is_wrong = against > 1 && against * BACK_ONE_IN > order.len();
    if is_wrong {
        let columns: Vec<_> = time.columns().iter().map(|column| sheet.shown_name(*column)).collect();
        warnings.push(format!(
            "{}: the times go back {against} times in the first {} rows: are parts of a second written without their \
             zeros?",
            columns.join(", "),
            order.len()
        ));
    }
    is_wrong
}

/// Could day, month and year be the other way round?
fn two_ways(sheet: &Sheet, found: Option<&TimeGuess>, format: &str, warnings: &mut Vec<String>) {
    let Some(column) = found.and_then(|time| time.columns().first().copied()) else { return };
    let Some(date) = DATES.into_iter().find(|date| format.starts_with(date)) else { return };
    let is_together = date.len() < format.len();
    let fits = |other: &&str| {
        let format = format.replacen(date, other, 1);
        *other != date
            && all_fit(sheet, column, |cell| {
                if is_together { is_moment(&format, cell) } else { is_day(&format, cell) }
            })
    };
    if let Some(other) = DATES.into_iter().find(fits) {
        let question = if date.contains("%y") {
            "which number is the year, the month, the day?"
        } else {
            "is the month or the day first?"
        };
        warnings.push(format!(
            "column {}: {question} {date} is a guess, {other} fits as well; check it",
            column + 1
        ));
    }
}

/// Is it a date and a time? `%Y` would read 26 as the year 26.
fn is_moment(format: &str, cell: &str) -> bool {
    DateTime::strptime(format, cell).is_ok_and(|moment| moment.year() > TWO_DIGITS)
}

fn is_day(format: &str, cell: &str) -> bool {
    Date::strptime(format, cell).is_ok_and(|day| day.year() > TWO_DIGITS)
}

fn all_fit(sheet: &Sheet, column: usize, fits: impl Fn(&str) -> bool) -> bool {
    sheet.cells(column).next().is_some() && sheet.cells(column).all(fits)
}

/// Date and time in one column.
fn together(sheet: &Sheet) -> Option<TimeGuess> {
    for column in 0..sheet.width() {
        for date in DATES {
            for between in [" ", "T"] {
                for (time, offset) in TIMES.into_iter().flat_map(|time| OFFSETS.map(|offset| (time, offset)))
                {
                    let format = format!("{date}{between}{time}{offset}");
                    if all_fit(sheet, column, |cell| is_moment(&format, cell)) {
                        return Some(TimeGuess::Clock { date: None, time: (column, format) });
                    }
                }
            }
        }
    }
    None
}

/// A column of dates and one of times.
fn apart(sheet: &Sheet) -> Option<TimeGuess> {
    let of = |column: usize| {
        let fits = |format: &&str| all_fit(sheet, column, |cell| is_day(format, cell));
        DATES.into_iter().find(fits).map(|format| (column, format))
    };
    let date = (0..sheet.width()).find_map(of)?;
    let time = (0..sheet.width()).find_map(|column| time_of_day(sheet, column))?;
    Some(TimeGuess::Clock { date: Some(date), time })
}

fn time_of_day(sheet: &Sheet, column: usize) -> Option<(usize, String)> {
    let fits = |format: &&str| all_fit(sheet, column, |cell| Time::strptime(format, cell).is_ok());
    TIMES.into_iter().find(fits).map(|format| (column, format.to_owned()))
}

/// A column with colons: a time of day, or elapsed where it begins in the first minutes.
fn elapsed(sheet: &Sheet) -> Option<TimeGuess> {
    let is_colons = |cell: &str| {
        let parts: Vec<_> = cell.split(':').collect();
        let is_plain = |part: &&str| part.bytes().all(|byte| byte.is_ascii_digit() || b".,".contains(&byte));
        let is_number = |part: &&str| is_plain(part) && sheet.number(part).is_some();
        (2..=3).contains(&parts.len()) && parts.iter().all(is_number)
    };
    let column = (0..sheet.width()).find(|&column| all_fit(sheet, column, is_colons))?;
    let first = sheet.cells(column).next()?;
    if let Some(time) =
        time_of_day(sheet, column).filter(|_| !first.starts_with("0:") && !first.starts_with("00:"))
    {
        return Some(TimeGuess::Clock { date: None, time });
    }
    Some(TimeGuess::Elapsed(column))
}

/// The unit of a count of time, as a layout has it, in a few spellings (common practice, no source).
fn unit_of(told: &str) -> Option<&'static str> {
    Some(match told {
        "ms" | "msec" | "millis" | "milliseconds" => "ms",
        "us" | "µs" | "usec" | "microseconds" => "us",
        // What is a minute behind a time is one of its wire feeds elsewhere.
        "mm/min" | "min" | "mins" | "minutes" | "minuten" => "min",
        "h" | "hr" | "hrs" | "hours" | "stunden" => "h",
        "s" | "sec" | "secs" | "seconds" | "sek" | "sekunden" => "s",
        _ => return None,
    })
}

/// `min` in brackets could be a limit, elsewhere.
fn bare(unit: &str) -> String {
    unit.to_lowercase().replace(['[', ']', '(', ')'], "")
}

/// A column of numbers that is called a time, or grows from row to row at the left edge.
fn count(sheet: &Sheet, warnings: &mut Vec<String>) -> Option<TimeGuess> {
    let is_called = |column: &usize| {
        let name = sheet.name(*column).to_lowercase();
        let mut words = name.split(|character: char| !character.is_alphanumeric());
        words.any(|word| NAMES.contains(&word))
    };
    let grows = |column: &usize| {
        let numbers: Vec<_> = sheet.cells(*column).map(|cell| sheet.number(cell)).collect();
        let is_sorted = |ahead: bool| {
            numbers.windows(2).all(|pair| match (pair[0], pair[1]) {
                (Some(before), Some(after)) => {
                    (after > before) == ahead && before.to_bits() != after.to_bits()
                }
                _ => false,
            })
        };
        numbers.len() > 1 && (is_sorted(true) || is_sorted(false))
    };
    let numbers = |column: &usize| sheet.range(*column).is_some();
    let column = (0..sheet.width())
        .find(|column| is_called(column) && numbers(column))
        .or_else(|| Some(0).filter(|column| !sheet.has_header() && grows(column)))?;
    let (_, largest) = sheet.range(column)?;
    let name = sheet.shown_name(column);
    let called = sheet.name(column);
    let in_brackets = || unit_names::texts_in_brackets(&called).map(bare);
    let in_name = in_brackets()
        .find(|text| unit_of(text).is_some())
        .or_else(|| in_brackets().next())
        .unwrap_or_else(|| bare(&unit_names::unit_in(&called)));
    let in_row = sheet.unit_in_row(column).map(|unit| bare(&unit));
    let is_told = in_row.is_some() || in_brackets().next().is_some();
    let told = in_row.unwrap_or_else(|| in_name.clone());
    if let (Some(one), Some(other)) = (unit_of(&told), unit_of(&in_name))
        && one != other
    {
        warnings.push(format!("{name} tells two units, `{told}` and `{in_name}`"));
        return None;
    }
    // A date in seconds since 1970 has ten digits, in milliseconds thirteen, in microseconds sixteen.
    let unit = match (unit_of(&told), largest) {
        (Some("ms" | "us"), _) => unit_of(&told)?,
        (_, 1e14..) => "us",
        (_, 1e11..) => "ms",
        (Some(unit), _) => unit,
        _ if told.is_empty() || !is_told => "s",
        _ => {
            warnings.push(format!("{name} is in `{told}`, which is no unit of time that is known"));
            return None;
        }
    };
    let guess = TimeGuess::Count(column, unit);
    let seconds = sheet.rows.first().and_then(|row| guess.seconds(sheet, row)).unwrap_or_default();
    if largest >= DATE_FROM && !EPOCH_S.contains(&seconds) {
        warnings.push(format!(
            "{name} is no count since 1970 in s, ms or us: is it a date and a time in one number?"
        ));
        return None;
    }
    Some(guess)
}
