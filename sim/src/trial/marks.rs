//! What was wrong in a trace, and when: the truth an alarm is held against.
//!
//! Decides: which alarm belongs to which fault.
//! Assumes: times as `replay` shows them.
//! Never: looks at a reading.
//!
//! An alarm belongs to a fault when both have the same rule (and channel, where the fault names one)
//! and the alarm became active from the start of the fault to a grace after its end. The first such
//! alarm finds the fault; the next ones repeat it. An alarm within another fault's time stands beside
//! that fault: it may be its consequence, and is neither hit nor false. Every other alarm is false. An
//! alarm that stood already when a fault began finds nothing.

use bandward::{Channel, Rule};

/// One fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The rule that should raise, if one.
    pub rule: Option<Rule>,
    /// What it was, in a word.
    pub kind: Option<String>,
    /// The channel, where it is one's instrument.
    pub channel: Option<Channel>,
    /// From, µs.
    pub start_us: u64,
    /// To, µs.
    pub end_us: u64,
    /// From when on it could be seen: delays count from here, µs.
    pub outside_from_us: u64,
}

/// All faults of one trace.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks {
    /// Name of the scenario, or of the kind of trace.
    pub scenario: String,
    /// Seed, for a made one.
    pub seed: u64,
    /// The faults.
    pub faults: Vec<Mark>,
    /// How long after its end an alarm may still belong to a fault, µs.
    pub grace_us: u64,
}

/// What an alarm is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlarmClass {
    /// It finds the fault with this place in [`Marks::faults`].
    Hit(usize),
    /// It repeats what was found.
    Repeat,
    /// It stands beside a fault of another rule.
    Beside,
    /// Nothing was wrong.
    False,
}

impl Marks {
    /// What an alarm of `rule` is worth that became active at `time_us`; `is_found` tells which faults
    /// have been found.
    pub fn verdict(
        &self,
        rule: Rule,
        channel: Option<Channel>,
        time_us: u64,
        is_found: impl Fn(usize) -> bool,
    ) -> AlarmClass {
        let (mut own, mut other) = (false, false);
        for (index, mark) in self.faults.iter().enumerate() {
            if !self.covers(mark, time_us) {
                continue;
            }
            let same_channel = mark.channel.is_none() || channel.is_none() || mark.channel == channel;
            if mark.rule == Some(rule) && same_channel {
                if !is_found(index) {
                    return AlarmClass::Hit(index);
                }
                own = true;
            } else {
                other = true;
            }
        }
        match (own, other) {
            (true, _) => AlarmClass::Repeat,
            (false, true) => AlarmClass::Beside,
            (false, false) => AlarmClass::False,
        }
    }
    /// Is nothing wrong at `time_us`, nor was within the grace before?
    pub fn is_sound(&self, time_us: u64) -> bool {
        !self.faults.iter().any(|mark| self.covers(mark, time_us))
    }
    fn covers(&self, mark: &Mark, time_us: u64) -> bool {
        (mark.start_us..=mark.end_us.saturating_add(self.grace_us)).contains(&time_us)
    }
    /// Time from `first_us` to `last_us` in which nothing was wrong, µs.
    pub fn sound_us(&self, first_us: u64, last_us: u64) -> u64 {
        let mut spans: Vec<_> = self
            .faults
            .iter()
            .map(|mark| (mark.start_us, mark.end_us.saturating_add(self.grace_us).min(last_us)))
            .collect();
        spans.sort_unstable();
        let (mut sound_us, mut reached_us) = (0, first_us);
        for (start_us, end_us) in spans {
            sound_us += start_us.saturating_sub(reached_us);
            reached_us = reached_us.max(end_us);
        }
        sound_us + last_us.saturating_sub(reached_us)
    }
}

/// Seconds as microseconds.
pub(super) fn micros(seconds: f64) -> u64 {
    (seconds * 1e6).round() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks() -> Marks {
        let text = r#"{ "faults": [
            { "rule": "gas-low", "start_s": 10.0, "end_s": 20.0, "outside_from_s": 12.0 },
            { "rule": "signal-missing", "channel": "gas", "start_s": 15.0, "end_s": 18.0 },
            { "kind": "wind", "start_s": 40.0, "end_s": 50.0 }
        ] }"#;
        Marks::parse("x", text, 5.0).expect("it is sound")
    }

    #[test]
    fn an_alarm_is_worth_what_its_time_and_rule_say() {
        let marks = marks();
        let verdict = |rule, channel, time_s: f64| marks.verdict(rule, channel, micros(time_s), |_| false);
        assert_eq!(verdict(Rule::GasLow, None, 9.999_999), AlarmClass::False);
        assert_eq!(verdict(Rule::GasLow, None, 10.0), AlarmClass::Hit(0));
        assert_eq!(verdict(Rule::GasLow, None, 25.0), AlarmClass::Hit(0));
        assert_eq!(verdict(Rule::GasLow, None, 25.000_001), AlarmClass::False);
        assert_eq!(verdict(Rule::SignalMissing, Some(Channel::Gas), 16.0), AlarmClass::Hit(1));
        assert_eq!(verdict(Rule::SignalMissing, Some(Channel::Voltage), 16.0), AlarmClass::Beside);
        assert_eq!(verdict(Rule::GasHigh, None, 16.0), AlarmClass::Beside);
        assert_eq!(verdict(Rule::VoltageLow, None, 45.0), AlarmClass::Beside);
        let found = marks.verdict(Rule::GasLow, None, micros(16.0), |index| index == 0);
        assert_eq!(found, AlarmClass::Repeat);
    }

    #[test]
    fn sound_time_is_what_no_fault_and_no_grace_covers() {
        assert_eq!(marks().sound_us(0, micros(100.0)), micros(10.0 + 15.0 + 45.0));
        assert_eq!(marks().sound_us(micros(12.0), micros(45.0)), micros(15.0));
        assert_eq!(Marks::default().sound_us(5, 25), 20);
    }
}
