//! The alarms of one rule in one trace, held against its faults.
//!
//! Decides: when an alarm comes to count, and how long it stands after its fault.
//! Assumes: alarms in the order of their time.
//! Never: knows of the alarms of another rule; [`super::tally`] puts them together.

use super::marks::{AlarmClass, Marks, Raised};
use super::tally::{Candidate, RuleTally};
use bandward::{AlarmEvent, AlarmKind, Severity};

/// What one alarm about one fault is doing.
#[derive(Clone, Copy, Debug)]
struct Standing {
    bit: u16,
    mark: usize,
    raised_us: u64,
}

/// The alarms of one rule in one trace.
#[derive(Clone, Debug, Default)]
pub struct RuleWatch {
    /// Bit of each channel (and the last one for none) whose standing alarm has been counted.
    counted: u16,
    /// Of those, the ones that were false.
    counted_false: u16,
    standing: Vec<Standing>,
    tally: RuleTally,
}

impl RuleWatch {
    /// Takes what happened to an alarm of the rule; tells its worth when it comes to count, which it
    /// does once: when it reaches `severity`.
    pub fn take(&mut self, event: &AlarmEvent, marks: &Marks, severity: Severity) -> Option<AlarmClass> {
        let bit = 1_u16 << event.channel.map_or(15, |channel| channel as u16);
        match event.kind {
            AlarmKind::Cleared => {
                self.counted &= !bit;
                self.counted_false &= !bit;
                self.end(Some(bit), event.time_us, marks);
            }
            AlarmKind::Raised | AlarmKind::Escalated if event.severity >= severity => {
                let alarm = Raised {
                    rule: event.rule,
                    channel: event.channel,
                    severity: event.severity,
                    time_us: event.time_us,
                };
                if self.counted & bit != 0 {
                    self.worsen(bit, &alarm, marks);
                    return None;
                }
                self.counted |= bit;
                return Some(self.count(bit, &alarm, marks));
            }
            _ => {}
        }
        None
    }
    fn count(&mut self, bit: u16, alarm: &Raised, marks: &Marks) -> AlarmClass {
        let verdict = marks.verdict(alarm, |index| self.tally.has(index));
        match verdict {
            AlarmClass::Hit(index) => self.find(bit, index, alarm.time_us),
            AlarmClass::Repeat(mark) => {
                self.tally.repeats += 1;
                self.standing.push(Standing { bit, mark, raised_us: alarm.time_us });
            }
            AlarmClass::Beside => self.tally.beside += 1,
            AlarmClass::Late => self.tally.late += 1,
            AlarmClass::False => {
                self.tally.false_alarms += 1;
                self.tally.false_stops += u64::from(alarm.severity == Severity::Stop);
                self.counted_false |= bit;
            }
        }
        self.stop(bit, alarm);
        verdict
    }
    /// What this alarm tells of is stopped, where it is a stop.
    fn stop(&mut self, bit: u16, alarm: &Raised) {
        if alarm.severity == Severity::Stop {
            for standing in self.standing.iter().filter(|standing| standing.bit == bit) {
                self.tally.stops(standing.mark, alarm.time_us);
            }
        }
    }
    /// An alarm that counts already has become worse.
    fn worsen(&mut self, bit: u16, alarm: &Raised, marks: &Marks) {
        if self.counted_false & bit != 0 && alarm.severity == Severity::Stop {
            self.tally.false_stops += 1;
            self.counted_false &= !bit;
        }
        if let Some(index) = marks.found_as_it_worsens(alarm, |index| self.tally.has(index)) {
            self.find(bit, index, alarm.time_us);
        }
        self.stop(bit, alarm);
    }
    fn find(&mut self, bit: u16, mark: usize, time_us: u64) {
        self.tally.find(Candidate {
            mark: mark as u32,
            found_us: time_us,
            stop_us: None,
            stands_us: 0,
            active_us: 0,
        });
        self.standing.push(Standing { bit, mark, raised_us: time_us });
    }
    /// Those with this bit, or all, stand no longer.
    fn end(&mut self, bit: Option<u16>, time_us: u64, marks: &Marks) {
        let tally = &mut self.tally;
        self.standing.retain(|standing| {
            let ends = bit.is_none_or(|bit| bit == standing.bit);
            if ends && let Some(mark) = marks.faults.get(standing.mark) {
                let from_us = mark.end_us.max(standing.raised_us);
                let active_us = time_us.saturating_sub(standing.raised_us);
                tally.stood(standing.mark, active_us, time_us.saturating_sub(from_us));
            }
            !ends
        });
    }
    /// What it comes to in a trace that ended at `last_us`.
    pub fn finish(mut self, marks: &Marks, last_us: u64) -> RuleTally {
        self.end(None, last_us, marks);
        self.tally
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::{Position, Rule};

    fn event(kind: AlarmKind, severity: Severity, time_s: u64) -> AlarmEvent {
        AlarmEvent {
            time_us: time_s * 1_000_000,
            kind,
            rule: Rule::GasLow,
            channel: None,
            severity,
            onset_us: 0,
            position: Position { band: 1, turned: None },
            worst: 0,
            limit: None,
        }
    }

    fn tally(events: &[(AlarmKind, Severity, u64)], faults: &str) -> RuleTally {
        let marks = Marks::parse("x", &format!("{{ \"faults\": [{faults}] }}"), 5.0, 0.0).expect("sound");
        let mut watch = RuleWatch::default();
        for &(kind, severity, time_s) in events {
            watch.take(&event(kind, severity, time_s), &marks, Severity::Warn);
        }
        watch.finish(&marks, 100_000_000)
    }

    const FAULT: &str = "{ \"rule\": \"gas-low\", \"start_s\": 10, \"end_s\": 20 }";
    const STOP: &str = "{ \"rule\": \"gas-low\", \"severity\": \"stop\", \"start_s\": 10, \"end_s\": 20 }";
    const WARN: Severity = Severity::Warn;

    #[test]
    fn an_alarm_stands_after_its_fault_until_it_clears_or_the_trace_ends() {
        let of = |events: &[_]| tally(events, FAULT).candidates[0];
        let cleared = of(&[(AlarmKind::Raised, WARN, 12), (AlarmKind::Cleared, WARN, 50)]);
        assert_eq!((cleared.found_us, cleared.stands_us), (12_000_000, 30_000_000));
        let before = of(&[(AlarmKind::Raised, WARN, 12), (AlarmKind::Cleared, WARN, 15)]);
        assert_eq!(before.stands_us, 0);
        assert_eq!(of(&[(AlarmKind::Raised, WARN, 12)]).stands_us, 80_000_000);
        assert_eq!(of(&[(AlarmKind::Raised, WARN, 23), (AlarmKind::Cleared, WARN, 29)]).stands_us, 6_000_000);
        // The second alarm about it is the one that stands.
        let twice = [
            (AlarmKind::Raised, WARN, 12),
            (AlarmKind::Cleared, WARN, 15),
            (AlarmKind::Raised, WARN, 17),
            (AlarmKind::Cleared, WARN, 24),
        ];
        let told = tally(&twice, FAULT);
        assert_eq!((told.repeats, told.candidates[0].stands_us), (1, 4_000_000));
    }

    #[test]
    fn a_fault_that_must_stop_is_found_when_the_alarm_has_become_a_stop() {
        let events = [(AlarmKind::Raised, WARN, 11), (AlarmKind::Escalated, Severity::Stop, 13)];
        assert_eq!(tally(&events, STOP).candidates[0].found_us, 13_000_000);
        assert_eq!(tally(&events, FAULT).candidates[0].found_us, 11_000_000);
        assert_eq!(tally(&events[..1], STOP).candidates.len(), 0);
        let told = tally(&events, "");
        assert_eq!((told.false_alarms, told.false_stops), (1, 1));
        assert_eq!(tally(&events[..1], "").false_stops, 0);
    }
}
