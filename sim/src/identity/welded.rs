//! When a joint was welded, as it was told and as the log's own clock has it.
//!
//! Decides: when the two are of different days whatever the offset of the logger.
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
