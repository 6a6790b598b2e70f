//! Do a setup and a trace belong together?
//!
//! Decides: by the joint's name (as a claim like any other), the text of the procedure, and the time.
//! Assumes: the clocks of the logger and of whoever signed differ by no more than `CLOCKS_S`.
//! Never: compares a time without its offset more closely than offsets differ.

use super::{Identity, Seen};
use crate::input::procedure_file::ProcedureFile;
use crate::setup::{JudgedSetup, SetupSheet};
use jiff::Timestamp;
use jiff::civil::DateTime;

/// So long a setup holds where the procedure does not say: a long shift. Invented.
pub const USUAL_HOURS: f64 = 12.0;
/// Two clocks that nobody set to each other, s. Invented.
const CLOCKS_S: f64 = 300.0;
/// Local time is at most 14 h ahead of UTC and 12 h behind it (Kiribati and Baker Island, from memory), s.
pub(super) const AHEAD_S: f64 = 14.0 * 3600.0;
pub(super) const BEHIND_S: f64 = 12.0 * 3600.0;

/// When a joint was welded, as far as that is told.
#[derive(Clone, Copy, Debug)]
pub struct Weld<'a> {
    /// When the first row was written, where the log tells.
    pub start: Option<&'a str>,
    /// From there to the first arc, s.
    pub first_arc_s: f64,
    /// When it was welded, as it was told.
    pub welded_at: Option<&'a str>,
}

/// What is found of the two.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// What is wrong: it costs the proof.
    pub doubts: Vec<String>,
    /// What a person should know, and costs nothing.
    pub notes: Vec<String>,
}

/// Compares them; what is wrong goes to the doubts of `identity`.
pub fn compare(setup: &JudgedSetup, procedure: &ProcedureFile, identity: &mut Identity, seen: &Seen<'_>) {
    let weld = Weld {
        start: seen.start,
        first_arc_s: seen.bands.first().map_or(0.0, |band| band.start_us as f64 / 1e6),
        welded_at: identity.context.welded_at.as_deref(),
    };
    let found = found(&setup.sheet, procedure, &weld);
    identity.doubts.extend(found.doubts);
    identity.notes.extend(found.notes);
}

/// What is found of a setup and a weld.
pub fn found(sheet: &SetupSheet, procedure: &ProcedureFile, weld: &Weld<'_>) -> Found {
    let mut found = Found::default();
    let Some(signature) = &sheet.signature else {
        found.doubts.push(format!("{}: nobody signed the setup off", sheet.file));
        return found;
    };
    if !signature.procedure_sha256.eq_ignore_ascii_case(&procedure.sha256) {
        found.doubts.push(format!(
            "{}: signed off on another text of the procedure (SHA-256 {}...) than {} ({}...)",
            sheet.file,
            start_of(&signature.procedure_sha256),
            procedure.file,
            start_of(&procedure.sha256)
        ));
    }
    let Ok(signed) = signature.time.parse::<Timestamp>() else { return found };
    let holds_s = procedure.setup_holds_s.unwrap_or(USUAL_HOURS * 3600.0);
    match waited(signed, weld) {
        None => found.notes.push(format!(
            "{}: signed off at {}; when the joint was welded is not known: --welded-at, or a joint file, tells",
            sheet.file, signature.time
        )),
        Some(waited) => {
            if let Some(late) = within_clocks(waited) {
                found.notes.push(format!("{}: {late} ({})", sheet.file, signature.time));
            }
            let words = words(waited, holds_s, procedure.setup_holds_s.is_some());
            let told = words.map(|words| format!("{}: {words} ({})", sheet.file, signature.time));
            found.doubts.extend(told);
        }
    }
    found
}

/// Signed off after the first arc, by less than two clocks may be apart: it costs nothing, and is told.
fn within_clocks([least_s, most_s]: [f64; 2]) -> Option<String> {
    let late_s = -f64::midpoint(least_s, most_s);
    let is_taken = most_s - least_s <= 2.0 * CLOCKS_S && late_s > 0.0 && most_s >= 0.0;
    is_taken.then(|| {
        format!(
            "signed off {late_s:.0} s after the first arc by these clocks, which may be {CLOCKS_S:.0} s apart: taken as before it"
        )
    })
}

fn start_of(hash: &str) -> String {
    hash.chars().take(12).collect()
}

/// From the signature to the first arc, s: the least and the most that it can be.
fn waited(signed: Timestamp, weld: &Weld<'_>) -> Option<[f64; 2]> {
    let since = |time: Timestamp| time.duration_since(signed).as_secs_f64();
    let instant = |text: &str| text.parse::<Timestamp>().ok().map(since);
    let exactly = |seconds: f64| [seconds - CLOCKS_S, seconds + CLOCKS_S];
    if let Some(seconds) = weld.start.and_then(instant) {
        return Some(exactly(seconds + weld.first_arc_s));
    }
    if let Some(seconds) = weld.welded_at.and_then(instant) {
        return Some(exactly(seconds));
    }
    let civil = weld.start?.parse::<DateTime>().ok()?;
    let as_utc = jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()?;
    let seconds = since(as_utc) + weld.first_arc_s;
    Some([seconds - AHEAD_S - CLOCKS_S, seconds + BEHIND_S + CLOCKS_S])
}

/// What is wrong with a wait of that long, where something certainly is.
fn words([least_s, most_s]: [f64; 2], holds_s: f64, is_in_procedure: bool) -> Option<String> {
    if most_s < 0.0 {
        return Some("signed off after the weld had begun".to_owned());
    }
    if least_s <= holds_s {
        return None;
    }
    let by = if is_in_procedure { "by the procedure" } else { "where the procedure does not say" };
    Some(format!(
        "signed off {} before the weld; a setup holds for {} {by}",
        lasted(f64::midpoint(least_s, most_s)),
        lasted(holds_s)
    ))
}

/// A wait as people say it.
fn lasted(seconds: f64) -> String {
    let hours = seconds / 3600.0;
    if hours < 48.0 { format!("{hours:.1} h") } else { format!("{:.0} days", hours / 24.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_certain_is_told() {
        let told = |wait, holds_s| words(wait, holds_s, false);
        assert_eq!(told([-1.0, 0.0], 60.0), None);
        assert_eq!(told([-10.0, -1.0], 60.0).as_deref(), Some("signed off after the weld had begun"));
        assert_eq!(told([60.0, 90.0], 60.0), None);
        let late = told([89.0 * 86_400.0, 91.0 * 86_400.0], 43_200.0).expect("three months");
        // Five minutes either way are what two clocks may be apart.
        assert_eq!(within_clocks([-300.0, 300.0]), None);
        assert!(
            within_clocks([-420.0, 180.0]).is_some_and(|told| told.starts_with("signed off 120 s after"))
        );
        assert_eq!(within_clocks([-700.0, -100.0]), None);
        assert!(late.starts_with("signed off 90 days before the weld; a setup holds for 12.0 h"), "{late}");
    }
}
