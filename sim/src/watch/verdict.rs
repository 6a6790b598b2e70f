//! The verdict of an instant, in words.
//!
//! Decides: the words of the verdict, and which comes first where there is more than one thing to say.
//! Never: judges; it sums up what the core said.

use super::tone::Tone;
use super::view::{LinkView, View, names};
use crate::report::model::meaning;
use bandward::{Outcome, Severity};

/// The words of the verdict, in large letters.
pub const WORDS: [&str; 12] = [
    "WAITING",
    "IN RANGE",
    "ADVISE",
    "WARN",
    "STOP",
    "SHELVED",
    "WITHIN",
    "OUTSIDE",
    "NOT JUDGED",
    "NO LINK",
    "NO DATA",
    "LATE",
];

/// Bands that are named in a verdict.
const LISTED: usize = 6;

/// The verdict of this instant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScreenVerdict {
    /// One of [`WORDS`].
    pub word: &'static str,
    /// The rest of it.
    pub rest: String,
    /// How loud.
    pub tone: Tone,
}

impl View {
    /// The verdict of this instant; at the end that of the whole.
    pub fn verdict(&self) -> ScreenVerdict {
        let verdict = |word, rest: &str, tone| ScreenVerdict { word, rest: rest.to_owned(), tone };
        if let Some((word, rest)) = self.link.as_ref().and_then(|link| without_data(link, self.is_over)) {
            return ScreenVerdict { word, rest, tone: Tone::Stop };
        }
        if let Some(not_now) = self.not_now.filter(|_| !self.is_over) {
            let (word, rest) = not_now.words();
            return ScreenVerdict { word, rest, tone: Tone::Stop };
        }
        if self.is_over {
            return match self.outcome {
                Outcome::Broken => verdict("OUTSIDE", &self.outside(), Tone::Bad),
                Outcome::NotProven => {
                    verdict("NOT PROVEN", "nothing broken, not everything seen", Tone::Careful)
                }
                Outcome::Proven => {
                    verdict("WITHIN", "the procedure: every limit judged and held", Tone::Good)
                }
                Outcome::NotAsked if self.has_faults => {
                    verdict("FAULTS", "no procedure to judge by", Tone::Bad)
                }
                Outcome::NotAsked => verdict("NOT JUDGED", "no procedure to judge by", Tone::Calm),
            };
        }
        let alarm = self.alarms.iter().find(|alarm| !alarm.shelved);
        let is_released = self
            .link
            .as_ref()
            .filter(|link| !link.is_bench)
            .is_some_and(|link| link.outputs.is_some_and(|outputs| !outputs.relay_energised));
        let faults = self.link.as_ref().and_then(|link| link.faults.as_deref());
        if is_released {
            let unknown = faults.unwrap_or("the board has judged nothing yet");
            let why = alarm.map_or(unknown, |alarm| meaning::meaning(alarm.rule));
            return verdict("STOP", &format!("hold relay released: {why}"), Tone::Stop);
        }
        // Shelved, it makes no noise; that does not make it right.
        let shelved = self.alarms.iter().find(|alarm| alarm.shelved && alarm.severity >= Severity::Warn);
        if let Some(shelved) = shelved
            && alarm.is_none_or(|alarm| alarm.severity < shelved.severity)
        {
            let beside =
                alarm.map_or(String::new(), |alarm| format!("; advise: {}", meaning::meaning(alarm.rule)));
            return verdict("SHELVED", &(meaning::meaning(shelved.rule).to_owned() + &beside), Tone::Bad);
        }
        if let Some(alarm) = alarm {
            let (word, tone) = match alarm.severity {
                Severity::Advise => ("ADVISE", Tone::Careful),
                Severity::Warn => ("WARN", Tone::Bad),
                Severity::Stop => ("STOP", Tone::Stop),
            };
            let beside =
                shelved.map_or(String::new(), |one| format!("; shelved: {}", meaning::meaning(one.rule)));
            return verdict(word, &(meaning::meaning(alarm.rule).to_owned() + &beside), tone);
        }
        if let Some(faults) = faults {
            return verdict("FAULT", &format!("of the board: {faults}"), Tone::Bad);
        }
        match (self.procedure.is_some(), self.phase.is_in_band()) {
            (false, true) => verdict("NOT JUDGED", "there is no procedure to judge by", Tone::Calm),
            (true, true) if self.link.as_ref().is_some_and(|link| link.is_other_procedure) => {
                let words = "by a procedure other than the one named; key p activates the named one";
                verdict("IN RANGE", words, Tone::Careful)
            }
            (true, true) => match self.so_far.band {
                Outcome::Broken => {
                    let broken = names(self.so_far.broken_in_band);
                    verdict("OUTSIDE", &format!("this band: {broken}; in range now"), Tone::Bad)
                }
                Outcome::NotProven => {
                    let open = names(self.so_far.not_proven);
                    verdict("NOT PROVEN", &format!("in range now; not judged: {open}"), Tone::Careful)
                }
                Outcome::Proven | Outcome::NotAsked => {
                    verdict("IN RANGE", "all limits that can be judged so far", Tone::Good)
                }
            },
            (_, false) if self.link.as_ref().is_some_and(|link| !link.has_spoken) => {
                verdict("WAITING", "for the first readings of the board", Tone::Calm)
            }
            (_, false) => match &self.next_band {
                Some(advice) => verdict("WAITING", advice, Tone::Careful),
                None => verdict("WAITING", "for the arc", Tone::Calm),
            },
        }
    }
    fn outside(&self) -> String {
        let is_broken = |&&(_, _, outcome): &&(u16, u16, Outcome)| outcome == Outcome::Broken;
        let joints = self.bands.iter().map(|(joint, ..)| *joint);
        let several = joints.chain(self.last_joint.map(|joint| joint.joint)).any(|joint| joint > 1);
        let place = |&(joint, band, _): &(u16, u16, Outcome)| {
            if several { format!("joint {joint} band {band}") } else { band.to_string() }
        };
        let outside: Vec<_> = self.bands.iter().filter(is_broken).map(place).collect();
        let more = outside.len().saturating_sub(LISTED);
        let listed = outside[..outside.len() - more].join(", ");
        let listed = if more > 0 { format!("{listed} and {more} more") } else { listed };
        match outside.len() {
            0 => "the procedure, between bands".to_owned(),
            _ if several => format!("the procedure: {listed}"),
            1 => format!("the procedure: band {listed}"),
            _ => format!("the procedure: bands {listed}"),
        }
    }
}

/// The verdict where nothing is known of now.
fn without_data(link: &LinkView, is_over: bool) -> Option<(&'static str, String)> {
    let since = link.silent_s.unwrap_or_default();
    if let Some(why) = &link.lost {
        return Some(("NO LINK", format!("no data for {since} s: {why}; retrying")));
    }
    if is_over || link.silent_s.is_none() {
        return None;
    }
    let words = if link.has_spoken {
        "the board has stopped sending readings"
    } else {
        "the board sends no readings"
    };
    Some(("NO DATA", format!("for {since} s: {words}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::view::tests::{alarm, view};
    use bandward::{ActiveAlarm, Rule};

    #[test]
    fn the_worst_is_told_first_and_what_is_shelved_is_told() {
        let (low, high) = (Rule::CurrentLow, Rule::VoltageHigh);
        let said = |alarms: &[ActiveAlarm]| {
            let verdict = View { alarms: alarms.to_vec(), ..view() }.verdict();
            (verdict.word, verdict.rest.contains("gas") && verdict.rest.contains("current"), verdict.tone)
        };
        let gas = alarm(Rule::GasLow, Severity::Warn, true);
        assert_eq!(said(&[gas]), ("SHELVED", false, Tone::Bad));
        assert_eq!(said(&[gas, alarm(low, Severity::Advise, false)]), ("SHELVED", true, Tone::Bad));
        assert_eq!(said(&[gas, alarm(low, Severity::Warn, false)]), ("WARN", true, Tone::Bad));
        assert_eq!(said(&[alarm(low, Severity::Stop, false), gas]), ("STOP", true, Tone::Stop));
        // What is shelved and only advised is no worse than what is not.
        let advised = alarm(high, Severity::Advise, true);
        assert_eq!(said(&[advised, alarm(low, Severity::Advise, false)]), ("ADVISE", false, Tone::Careful));
    }

    #[test]
    fn a_band_outside_is_named_with_its_joint_where_there_are_several() {
        let said = |bands: &[(u16, u16, Outcome)]| {
            let (bands, outcome) = (bands.to_vec(), Outcome::Broken);
            View { bands, outcome, is_over: true, ..view() }.verdict().rest
        };
        let broken = |joint, band| (joint, band, Outcome::Broken);
        assert_eq!(said(&[broken(1, 2), (1, 3, Outcome::Proven)]), "the procedure: band 2");
        assert_eq!(said(&[broken(1, 2), broken(1, 3)]), "the procedure: bands 2, 3");
        assert_eq!(said(&[broken(1, 2), (4, 3, Outcome::NotProven)]), "the procedure: joint 1 band 2");
        assert_eq!(said(&[broken(1, 2), broken(3, 1)]), "the procedure: joint 1 band 2, joint 3 band 1");
        let many: Vec<_> = (1..=20).map(|joint| broken(joint, 1)).collect();
        assert!(said(&many).ends_with("joint 6 band 1 and 14 more"), "{}", said(&many));
    }
}
