//! Elapsed time with colons: `mm:ss`, `hh:mm:ss`, each with decimals.
//!
//! Decides: what such a cell is worth, and that a stamp which starts again at zero (after an hour where only minutes
//! are shown, after a day where hours are) runs on.
//! Assumes: rows come more often than every half hour.
//! Never: takes a part above 59 behind a colon.

use super::number;
use super::time_error::TimeError;

const SECOND_US: i64 = 1_000_000;
const HOUR_US: i64 = 3600 * SECOND_US;
const DAY_US: i64 = 24 * HOUR_US;

/// Reads such cells one after the other.
#[derive(Debug, Default)]
pub struct Elapsed {
    /// Added to what is shown.
    carried_us: i64,
    last: Option<Shown>,
}

/// What a cell shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Shown {
    us: i64,
    has_hours: bool,
}

impl Elapsed {
    /// The time of the next cell, microseconds.
    ///
    /// # Errors
    /// It is empty, or no such time.
    pub fn micros(&mut self, cell: &[u8], decimal: u8) -> Result<i64, TimeError> {
        let cell = number::trim(cell);
        if cell.is_empty() {
            return Err(TimeError::Absent);
        }
        let shown = shown(cell, decimal).ok_or_else(|| {
            let cell = String::from_utf8_lossy(cell);
            TimeError::Misfit(format!("`{cell}` is not an elapsed time with colons"))
        })?;
        let again_after_us = if shown.has_hours { DAY_US } else { HOUR_US };
        if self.last.is_some_and(|last| {
            // A stamp with minutes alone that has gone beyond the hour does not start again there.
            last.has_hours == shown.has_hours
                && last.us < again_after_us
                && last.us - shown.us > again_after_us / 2
        }) {
            self.carried_us += again_after_us;
        }
        self.last = Some(shown);
        Ok(shown.us.saturating_add(self.carried_us))
    }
}

fn shown(cell: &[u8], decimal: u8) -> Option<Shown> {
    let mut parts = cell.rsplit(|&byte| byte == b':');
    let seconds = number::micros(parts.next()?, decimal).ok()??;
    let minutes = whole(parts.next()?)?;
    let hours = parts.next().map(whole);
    let hours = match hours {
        Some(None) => return None,
        Some(Some(hours)) => Some(hours),
        None => None,
    };
    let is_sound =
        parts.next().is_none() && (0..60 * SECOND_US).contains(&seconds) && (hours.is_none() || minutes < 60);
    let us = hours.unwrap_or(0) * HOUR_US + minutes * 60 * SECOND_US + seconds;
    is_sound.then_some(Shown { us, has_hours: hours.is_some() })
}

/// A whole number of at most six digits.
fn whole(part: &[u8]) -> Option<i64> {
    let is_plain = (1..=6).contains(&part.len()) && part.iter().all(u8::is_ascii_digit);
    is_plain.then(|| part.iter().fold(0, |number, digit| 10 * number + i64::from(digit - b'0')))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(cells: &[&str]) -> Vec<Option<f64>> {
        let mut elapsed = Elapsed::default();
        let of = |cell: &&str| elapsed.micros(cell.as_bytes(), b'.').ok().map(|us| us as f64 / 1e6);
        cells.iter().map(of).collect()
    }

    #[test]
    fn minutes_and_hours() {
        let told = seconds(&["00:00.0", "1:02.5", "75:00", "1:15:01", " 26:00:00 "]);
        assert_eq!(told, [0.0, 62.5, 4500.0, 4501.0, 93_600.0].map(Some));
        assert_eq!(seconds(&["", "5", "1:60", "1:2:3:4", "1:-5", ":5", "1:99:00", "a:b"]), [None; 8]);
    }

    #[test]
    fn a_stamp_that_starts_again_runs_on() {
        assert_eq!(seconds(&["59:59.5", "00:00.5", "00:00.0"]), [3599.5, 3600.5, 3600.0].map(Some));
        assert_eq!(seconds(&["23:59:59", "00:00:01"]), [86_399.0, 86_401.0].map(Some));
        // Beyond the hour already: this is a row out of order, or a new log.
        assert_eq!(seconds(&["99:00", "00:01"]), [5940.0, 1.0].map(Some));
    }
}
