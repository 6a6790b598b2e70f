//! The alarms of one rule in one trace, held against its faults.
//!
//! Decides: when an alarm comes to count, and how long it stands after its fault.
//! Assumes: alarms in the order of their time.
//! Never: knows of the alarms of another rule; [`super::tally`] puts them together.
//!
//! What an alarm about nothing is worth may not be known until it clears: where it stands when a fault begins
//! soon after, it is about that.

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

/// An alarm that counts and has not cleared.
#[derive(Clone, Copy, Debug)]
struct Active {
    bit: u16,
    /// With the worst severity so far.
    alarm: Raised,
    worth: Worth,
}

/// What an alarm that stands is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Worth {
    /// It is about a fault, or is excused.
    Settled,
    /// It was about nothing, and is counted.
    False,
    /// About nothing so far.
    Open,
}

/// The alarms of one rule in one trace.
#[derive(Clone, Debug, Default)]
pub struct RuleWatch {
    /// At most one for each channel, and one for none.
    active: Vec<Active>,
    standing: Vec<Standing>,
    /// Faults that began before have been looked at, µs.
    looked_us: u64,
    tally: RuleTally,
}

impl RuleWatch {
    /// Takes what happened to an alarm of the rule; tells an alarm with its worth when that is settled. An
    /// alarm comes to count once: when it reaches `severity`.
    pub fn take(
        &mut self,
        event: &AlarmEvent,
        marks: &Marks,
        severity: Severity,
    ) -> Option<(AlarmClass, Raised)> {
        let bit = 1_u16 << event.channel.map_or(15, |channel| channel as u16);
        self.begin_faults(event.time_us, marks);
        match event.kind {
            AlarmKind::Cleared => {
                self.end(Some(bit), event.time_us, marks);
                let at = self.active.iter().position(|active| active.bit == bit)?;
                let ended = self.active.swap_remove(at);
                return self.close(&ended).map(|alarm| (AlarmClass::False, alarm));
            }
            AlarmKind::Raised | AlarmKind::Escalated if event.severity >= severity => {
                let alarm = Raised {
                    rule: event.rule,
                    channel: event.channel,
                    severity: event.severity,
                    onset_us: event.onset_us,
                    time_us: event.time_us,
                };
                if self.active.iter().any(|active| active.bit == bit) {
                    self.worsen(bit, &alarm, marks);
                    return None;
                }
                return self.count(bit, &alarm, marks).map(|class| (class, alarm));
            }
            _ => {}
        }
        None
    }
    fn count(&mut self, bit: u16, alarm: &Raised, marks: &Marks) -> Option<AlarmClass> {
        let verdict = marks.verdict(alarm, |index| self.tally.has(index));
        let mut worth = Worth::Settled;
        match verdict {
            AlarmClass::Hit(_) => {
                for index in marks.hits(alarm, |index| self.tally.has(index)) {
                    self.find(bit, index, (alarm.time_us, None), alarm.time_us);
                }
            }
            AlarmClass::Repeat(mark) => {
                self.tally.repeats += 1;
                self.standing.push(Standing { bit, mark, raised_us: alarm.time_us });
            }
            AlarmClass::Beside => self.tally.beside += 1,
            AlarmClass::Late => self.tally.late += 1,
            AlarmClass::False if marks.may_precede(alarm) => worth = Worth::Open,
            AlarmClass::False => {
                self.count_false(alarm);
                worth = Worth::False;
            }
        }
        self.active.push(Active { bit, alarm: *alarm, worth });
        self.stop(bit, alarm);
        (worth != Worth::Open).then_some(verdict)
    }
    fn count_false(&mut self, alarm: &Raised) {
        self.tally.false_alarms += 1;
        self.tally.false_stops += u64::from(alarm.severity == Severity::Stop);
    }
    /// No fault began while this one stood: now it is false.
    fn close(&mut self, ended: &Active) -> Option<Raised> {
        (ended.worth == Worth::Open).then(|| {
            self.count_false(&ended.alarm);
            ended.alarm
        })
    }
    /// The faults that began before `now_us` are found by what stood as they did.
    fn begin_faults(&mut self, now_us: u64, marks: &Marks) {
        let new = self.looked_us..now_us;
        self.looked_us = now_us;
        if self.active.is_empty() {
            return;
        }
        let begun = marks.faults.iter().enumerate().filter(|(_, mark)| new.contains(&mark.start_us));
        for (index, mark) in begun {
            for at in 0..self.active.len() {
                let Active { bit, alarm, .. } = self.active[at];
                if alarm.time_us >= mark.start_us || !mark.is_found_by(&alarm) {
                    continue;
                }
                // What is false by now was false before the fault; what is worse from here on is not.
                self.active[at].worth = Worth::Settled;
                if !self.tally.has(index) {
                    let stood_us = mark.start_us.saturating_sub(alarm.onset_us);
                    self.find(bit, index, (mark.start_us, Some(stood_us)), alarm.time_us);
                    self.stop(bit, &Raised { time_us: mark.start_us, ..alarm });
                }
            }
        }
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
        if let Some(active) = self.active.iter_mut().find(|active| active.bit == bit) {
            active.alarm.severity = alarm.severity;
            if active.worth == Worth::False && alarm.severity == Severity::Stop {
                self.tally.false_stops += 1;
                active.worth = Worth::Settled;
            }
        }
        if let Some(index) = marks.found_as_it_worsens(alarm, |index| self.tally.has(index)) {
            // It was about this fault from the start.
            let open = self.active.iter_mut().find(|active| active.bit == bit && active.worth == Worth::Open);
            if let Some(active) = open {
                active.worth = Worth::Settled;
            }
            self.find(bit, index, (alarm.time_us, None), alarm.time_us);
        }
        self.stop(bit, alarm);
    }
    fn find(&mut self, bit: u16, mark: usize, (found_us, stood_us): (u64, Option<u64>), raised_us: u64) {
        self.tally.find(Candidate {
            mark: mark as u32,
            found_us,
            stop_us: None,
            stood_us,
            stands_us: 0,
            active_us: 0,
        });
        self.standing.push(Standing { bit, mark, raised_us });
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
    /// What it comes to in a trace that ended at `last_us`, and the alarms that are known to be false by
    /// then only.
    pub fn finish(mut self, marks: &Marks, last_us: u64) -> (RuleTally, Vec<Raised>) {
        self.begin_faults(last_us.saturating_add(1), marks);
        self.end(None, last_us, marks);
        let left = std::mem::take(&mut self.active);
        let left = left.iter().filter_map(|active| self.close(active)).collect();
        (self.tally, left)
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
            onset_us: time_s * 1_000_000,
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
        watch.finish(&marks, 100_000_000).0
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

    /// Time found, false alarms, false stops.
    fn stood(events: &[(AlarmKind, Severity, u64)], faults: &str) -> (Option<(u64, Option<u64>)>, u64, u64) {
        let told = tally(events, faults);
        let found = told.candidates.first().map(|one| (one.found_us / 1_000_000, one.stood_us));
        (found, told.false_alarms, told.false_stops)
    }

    #[test]
    fn an_alarm_that_stands_when_its_fault_begins_finds_it_at_once() {
        let (raised, cleared) = (AlarmKind::Raised, AlarmKind::Cleared);
        let second = 1_000_000;
        let soon = [(raised, WARN, 9), (cleared, WARN, 15)];
        assert_eq!(stood(&soon, FAULT), (Some((10, Some(second))), 0, 0));
        assert_eq!(stood(&soon[..1], FAULT).1, 0, "nor where the trace ends with it");
        // It cleared before, or as it began.
        let over = |clears| stood(&[(raised, WARN, 5), (cleared, WARN, clears)], FAULT);
        assert_eq!((over(9), over(10)), ((None, 1, 0), (None, 1, 0)));
        assert_eq!(over(11).0, Some((10, Some(5 * second))));
        // Long before, it was false as well.
        let late = "{ \"rule\": \"gas-low\", \"start_s\": 60, \"end_s\": 70 }";
        let of = |raises| stood(&[(raised, WARN, raises), (cleared, WARN, 65)], late);
        assert_eq!(
            (of(50), of(49)),
            ((Some((60, Some(10 * second))), 0, 0), (Some((60, Some(11 * second))), 1, 0))
        );
        // A warn does not answer a fault that must stop, until it stops.
        let events = [(raised, WARN, 8), (AlarmKind::Escalated, Severity::Stop, 13)];
        assert_eq!(stood(&events, STOP), (Some((13, None)), 0, 0));
        let stop = [(raised, Severity::Stop, 8)];
        assert_eq!(stood(&stop, STOP), (Some((10, Some(2 * second))), 0, 0));
        assert_eq!(stood(&stop, "{ \"rule\": \"gas-high\", \"start_s\": 10, \"end_s\": 20 }"), (None, 1, 1));
    }

    #[test]
    fn one_alarm_that_goes_on_finds_the_next_fault_too() {
        let faults = "{ \"rule\": \"gas-low\", \"start_s\": 10, \"end_s\": 20 },
                      { \"rule\": \"gas-low\", \"start_s\": 40, \"end_s\": 50 }";
        let told = tally(&[(AlarmKind::Raised, WARN, 12), (AlarmKind::Cleared, WARN, 55)], faults);
        let found: Vec<_> = told.candidates.iter().map(|one| one.found_us / 1_000_000).collect();
        assert_eq!((found, told.false_alarms, told.candidates[1].stands_us), (vec![12, 40], 0, 5_000_000));
    }
}
