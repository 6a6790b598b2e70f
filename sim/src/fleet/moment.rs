//! When a joint was welded, and on which machine and day its log counts.
//!
//! Decides: that what was told of one joint goes before the log, and that of several joints in a log each began so
//! long after it.
//! Assumes: times in ISO 8601, with an offset or without.
//! Never: turns a time into another zone.

use jiff::SignedDuration;
use jiff::civil::Date;
use jiff::fmt::temporal::{Pieces, PiecesOffset};
use serde_json::Value;

/// When a joint was begun: as it was told, or by the log.
pub fn welded_at(record: &Value, joint: &Value) -> Option<String> {
    let told = joint["welded_at"].as_str().or_else(|| record["context"]["welded_at"].as_str());
    let is_alone = record["joints"].as_array().is_some_and(|joints| joints.len() == 1);
    if let Some(told) = told.filter(|_| is_alone || joint["welded_at"].is_string()) {
        return Some(told.to_owned());
    }
    let start = told.or_else(|| record["trace"]["start"].as_str())?;
    match joint["start_s"].as_f64().filter(|_| !is_alone) {
        Some(after_s) => {
            later(start, after_s - set_back_s(record, after_s)).or_else(|| Some(start.to_owned()))
        }
        None => Some(start.to_owned()),
    }
}

/// How much less than the time since its first row the clock of a log showed, so long after it.
fn set_back_s(record: &Value, after_s: f64) -> f64 {
    let all = record["trace"]["clock_set_back"].as_array().map_or(&[][..], Vec::as_slice);
    let before = |one: &&Value| one["from_s"].as_f64().is_some_and(|from_s| from_s <= after_s);
    all.iter().rev().find(before).and_then(|one| one["by_s"].as_f64()).unwrap_or(0.0)
}

/// The day of an instant in ISO 8601; none where it has no date.
pub fn day_of(welded_at: &str) -> Option<String> {
    welded_at.get(..10).filter(|day| day.parse::<Date>().is_ok()).map(str::to_owned)
}

/// The machine of the first joint of a record, and when it was begun: they name the folder of its tables.
pub fn first_joint(record: &Value) -> [Option<String>; 2] {
    let joint = &record["joints"][0];
    let machine = joint["machine"].as_str().or_else(|| record["context"]["machine"].as_str());
    [machine.map(str::to_owned), welded_at(record, joint)]
}

/// A time so many seconds later, with the offset it was written with.
fn later(start: &str, after_s: f64) -> Option<String> {
    let pieces = Pieces::parse(start).ok()?;
    let begun = pieces.date().to_datetime(pieces.time().unwrap_or_default());
    let later = begun.checked_add(SignedDuration::try_from_secs_f64(after_s.round()).ok()?).ok()?;
    let shifted = Pieces::from(later);
    Some(match pieces.offset() {
        Some(PiecesOffset::Numeric(offset)) => shifted.with_offset(offset).to_string(),
        Some(_) => format!("{shifted}Z"),
        None => shifted.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::{later, welded_at};
    use serde_json::json;

    /// The clock was set back an hour, and 16 s were counted for the hole.
    #[test]
    fn a_joint_behind_a_clock_that_was_set_back_began_when_the_clock_says() {
        let trace = json!({ "start": "2026-03-04T12:15:00", "clock_set_back": [{ "from_s": 322.9, "by_s": 3616.0 }] });
        let record = json!({ "trace": trace, "joints": [{ "start_s": 4.9 }, { "start_s": 328.0 }] });
        let of = |number: usize| welded_at(&record, &record["joints"][number]);
        assert_eq!(of(0).as_deref(), Some("2026-03-04T12:15:05"));
        assert_eq!(of(1).as_deref(), Some("2026-03-04T11:20:12"));
    }

    #[test]
    fn a_joint_later_in_a_log_keeps_the_offset_of_its_log() {
        for (start, after_s, found) in [
            ("2026-03-04T23:50:00-06:00", 1200.4, "2026-03-05T00:10:00-06:00"),
            ("2026-03-04T07:15:00", 60.0, "2026-03-04T07:16:00"),
            ("2026-03-04T07:15:00Z", 3600.0, "2026-03-04T08:15:00Z"),
        ] {
            assert_eq!(later(start, after_s).as_deref(), Some(found), "{start}");
        }
        assert_eq!(later("Monday", 1.0), None);
    }
}
