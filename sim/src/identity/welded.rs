//! When a joint was welded, as it was told and as the log's own clock has it.
//!
//! Decides: when the two are of different days whatever the offset of the logger; that no weld is of a day to come, nor
//! of before there were such loggers.
//! Assumes: a clock that nobody set may be off by hours; nobody mistakes the day.
//! Never: costs a proof for hours.

use super::belonging::{AHEAD_S, BEHIND_S};
use super::{Identity, Seen};
use jiff::Timestamp;
use jiff::civil::DateTime;

/// Two times further apart are of different welds, s. Invented.
const DAY_S: f64 = 24.0 * 3600.0;

impl Identity {
    pub(super) fn compare_clocks(&mut self, seen: &Seen<'_>) {
        let told = self.context.welded_at.as_deref().and_then(|told| told.parse::<Timestamp>().ok());
        let (Some(told), Some(start)) = (told, seen.start) else { return };
        if apart_s(told, start).is_some_and(|apart_s| apart_s > DAY_S) {
            let welded_at = self.context.welded_at.as_deref().unwrap_or_default();
            self.doubts.push(format!("welded at {welded_at} as told, but the log's own clock says {start}"));
        }
    }
}

/// No log is older, invented: clocks that lost their battery begin in 1970 or 1980.
const FIRST_YEAR: i16 = 1990;

impl Identity {
    /// A weld of a day to come by the clock of this computer, or of long ago, was dated by a clock that was never set.
    pub(super) fn doubt_dates(&mut self, now: Option<Timestamp>, seen: &Seen<'_>) {
        let told = self.context.welded_at.as_deref().map(|told| (told, "as told"));
        let start = seen.start.map(|start| (start, "by the log's own clock"));
        let start = start.filter(|(start, _)| told.is_none_or(|(told, _)| told != *start));
        let doubts: Vec<String> = [told, start]
            .into_iter()
            .flatten()
            .filter_map(|(date, source)| {
                Some(format!("welded at {date}, {source}: {}", impossible(date, now)?))
            })
            .collect();
        self.doubts.extend(doubts);
    }
}

/// Why nothing can have been welded then, if nothing can.
fn impossible(date: &str, now: Option<Timestamp>) -> Option<String> {
    let civil = date.parse::<DateTime>().ok();
    let then = date.parse::<Timestamp>().ok();
    let then = then.or_else(|| jiff::tz::TimeZone::UTC.to_timestamp(civil?).ok())?;
    if jiff::tz::TimeZone::UTC.to_datetime(then).year() < FIRST_YEAR {
        return Some(format!("no log is from before {FIRST_YEAR}: its clock was not set"));
    }
    let now = now?;
    let is_to_come = then.duration_since(now).as_secs_f64() > DAY_S;
    is_to_come.then(|| {
        format!("the clock of this computer shows {}: one of the two is wrong", now.strftime("%Y-%m-%d"))
    })
}

/// How far apart they are at least, s; a clock without its offset may be any place's.
fn apart_s(told: Timestamp, start: &str) -> Option<f64> {
    if let Ok(start) = start.parse::<Timestamp>() {
        return Some(start.duration_since(told).as_secs_f64().abs());
    }
    let civil = start.parse::<DateTime>().ok()?;
    let as_utc = jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()?;
    let ahead_s = as_utc.duration_since(told).as_secs_f64();
    // Nearest to it with an offset between the two.
    Some(if ahead_s > 0.0 { (ahead_s - AHEAD_S).max(0.0) } else { (-ahead_s - BEHIND_S).max(0.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_was_welded_tomorrow_or_long_ago() {
        let now: Timestamp = "2026-03-04T07:00:00Z".parse().expect("a time");
        for (date, is_possible) in [
            ("2026-03-04T07:00:00Z", true),
            ("2026-03-04T20:59:00", true),
            ("2026-03-05T06:59:00Z", true),
            ("2026-03-05T08:00:00Z", false),
            ("2099-01-01T00:00:00", false),
            ("1990-01-01T00:00:00", true),
            ("1970-01-01T00:05:00Z", false),
            ("1980-01-06T00:00:00", false),
        ] {
            assert_eq!(impossible(date, Some(now)).is_none(), is_possible, "{date}");
        }
        assert_eq!(impossible("2099-01-01T00:00:00", None), None);
    }

    #[test]
    fn a_clock_without_its_offset_may_be_any_places() {
        let told: Timestamp = "2026-03-04T07:00:00+01:00".parse().expect("a time");
        let apart = |start: &str| apart_s(told, start).map(|seconds| (seconds / 3600.0).round());
        // 06:00 UTC is 20:00 in the furthest place ahead of it and 18:00 the day before in the furthest behind.
        for (start, hours) in [
            ("2026-03-04T20:00:00", 0.0),
            ("2026-03-03T18:00:00", 0.0),
            ("2026-03-05T21:00:00", 25.0),
            ("2026-03-02T17:00:00", 25.0),
            ("2026-03-06T06:00:00Z", 48.0),
        ] {
            assert_eq!(apart(start), Some(hours), "{start}");
        }
    }
}
