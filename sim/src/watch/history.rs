//! The alarms of this watch, the cleared ones too.
//!
//! Decides: when an entry begins and ends: by what was told, and where that was lost by what is active.
//! Assumes: news first, then the list of active alarms.
//! Never: forgets an alarm before [`MOST_KEPT`] newer ones have come, nor one that is still active before a cleared one.

use super::ledger::{Ledger, News};
use crate::alarm::is_same;
use crate::raw::{seconds, value};
use crate::report::model::meaning;
use crate::report::rounded::rounded;
use bandward::{ActiveAlarm, AlarmEvent, AlarmKind, Channel, Event, Rule, Severity};
use serde_json::{Value, json};
use std::collections::VecDeque;

/// Entries that are kept.
pub const MOST_KEPT: usize = 40;

/// One alarm from its beginning to its end.
#[derive(Clone, Debug, PartialEq)]
pub struct PastAlarm {
    /// The rule.
    pub rule: Rule,
    /// The channel, where the rule has one.
    pub channel: Option<Channel>,
    /// The worst it came to.
    pub severity: Severity,
    /// The joint.
    pub joint: u16,
    /// The band, from 1; 0 before the first.
    pub band: u16,
    /// Where the weld was, degrees from the tie-in.
    pub clock_deg: Option<f64>,
    /// When it was raised, s.
    pub raised_s: f64,
    /// When it was cleared, s; none while it is active.
    pub cleared_s: Option<f64>,
    /// It was not cleared: the trace ended then.
    pub is_active_at_end: bool,
    /// When it was acknowledged, s.
    pub acknowledged_s: Option<f64>,
    /// Is it put away?
    pub shelved: bool,
}

impl PastAlarm {
    fn is_of(&self, rule: Rule, channel: Option<Channel>) -> bool {
        self.cleared_s.is_none() && is_same(self.rule, rule, self.channel, channel)
    }
    fn json(&self) -> Value {
        json!({
            "rule": self.rule.name(), "words": meaning::meaning(self.rule),
            "channel": self.channel.map(Channel::name), "severity": self.severity.name(),
            "joint": self.joint, "band": (self.band > 0).then_some(self.band),
            "clock_deg": self.clock_deg.map(f64::round),
            "raised_s": rounded(self.raised_s), "cleared_s": self.cleared_s.map(rounded),
            "is_active_at_end": self.is_active_at_end,
            "acknowledged_s": self.acknowledged_s.map(rounded), "shelved": self.shelved,
        })
    }
}

/// What was raised and cleared, the oldest first.
#[derive(Clone, Debug, Default)]
pub struct History {
    entries: VecDeque<PastAlarm>,
    /// How many there ever were of each severity that they reached.
    raised: [u64; 3],
}

impl History {
    /// Takes what was said.
    pub fn take(&mut self, news: &News, joint: u16) {
        let News::Event(Event::Alarm(alarm)) = news else { return };
        let time_s = seconds(alarm.time_us);
        let place = self.entries.iter().rposition(|entry| entry.is_of(alarm.rule, alarm.channel));
        match (alarm.kind, place.and_then(|place| self.entries.get_mut(place))) {
            (AlarmKind::Cleared, Some(entry)) => entry.cleared_s = Some(time_s),
            (AlarmKind::Acknowledged, Some(entry)) => entry.acknowledged_s = Some(time_s),
            (AlarmKind::Shelved, Some(entry)) => entry.shelved = true,
            (AlarmKind::Unshelved, Some(entry)) => entry.shelved = false,
            (_, Some(entry)) => {
                self.raised[alarm.severity as usize] += u64::from(alarm.severity > entry.severity);
                entry.severity = entry.severity.max(alarm.severity);
                entry.acknowledged_s = None;
                // As in the core: a stop ends the shelf.
                entry.shelved &= entry.severity < Severity::Stop;
            }
            (AlarmKind::Raised | AlarmKind::Escalated | AlarmKind::Repeated, None) => {
                self.push(begun(alarm, joint, time_s));
            }
            (_, None) => {}
        }
    }
    /// Ends what is not active any more, and begins what is active and was not told.
    pub fn correct(&mut self, ledger: &Ledger, time_s: f64) {
        let is_active = |entry: &PastAlarm| {
            let is_same =
                |alarm: &&ActiveAlarm| is_same(alarm.rule, entry.rule, alarm.channel, entry.channel);
            ledger.active.iter().any(|alarm| is_same(&alarm))
        };
        for entry in self.entries.iter_mut().filter(|entry| entry.cleared_s.is_none()) {
            if !is_active(entry) {
                entry.cleared_s = Some(time_s);
            }
        }
        for alarm in &ledger.active {
            if let Some(entry) = self.entries.iter_mut().find(|entry| entry.is_of(alarm.rule, alarm.channel))
            {
                // It may have become worse unheard.
                self.raised[alarm.severity as usize] += u64::from(alarm.severity > entry.severity);
                entry.severity = entry.severity.max(alarm.severity);
                entry.shelved = alarm.shelved;
                continue;
            }
            self.push(PastAlarm {
                rule: alarm.rule,
                channel: alarm.channel,
                severity: alarm.severity,
                joint: ledger.so_far.joint_number,
                band: ledger.band,
                clock_deg: None,
                raised_s: time_s,
                cleared_s: None,
                is_active_at_end: false,
                acknowledged_s: alarm.acknowledged.then_some(time_s),
                shelved: alarm.shelved,
            });
        }
    }
    /// Nothing comes any more: what is active then is told as that.
    pub fn end(&mut self, time_s: f64) {
        for entry in self.entries.iter_mut().filter(|entry| entry.cleared_s.is_none()) {
            (entry.cleared_s, entry.is_active_at_end) = (Some(time_s), true);
        }
    }
    fn push(&mut self, entry: PastAlarm) {
        self.raised[entry.severity as usize] += 1;
        if self.entries.len() >= MOST_KEPT {
            let cleared = self.entries.iter().position(|entry| entry.cleared_s.is_some());
            self.entries.remove(cleared.unwrap_or(0));
        }
        self.entries.push_back(entry);
    }
    /// How many there ever were of each severity that they reached: one that got worse counts for both.
    pub fn raised(&self) -> impl Iterator<Item = (&'static str, u64)> {
        [Severity::Advise, Severity::Warn, Severity::Stop].map(Severity::name).into_iter().zip(self.raised)
    }
    /// What is over, the newest first.
    pub fn cleared(&self) -> impl Iterator<Item = &PastAlarm> {
        self.entries.iter().rev().filter(|entry| entry.cleared_s.is_some())
    }
    /// All as a machine reads it, the newest first.
    pub fn json(&self) -> Vec<Value> {
        self.entries.iter().rev().map(PastAlarm::json).collect()
    }
}

fn begun(alarm: &AlarmEvent, joint: u16, time_s: f64) -> PastAlarm {
    PastAlarm {
        rule: alarm.rule,
        channel: alarm.channel,
        severity: alarm.severity,
        joint,
        band: alarm.position.band,
        clock_deg: alarm.position.turned.map(|turned| value(turned).rem_euclid(360.0)),
        raised_s: time_s,
        cleared_s: None,
        is_active_at_end: false,
        acknowledged_s: None,
        shelved: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bandward::Position;

    fn told(kind: AlarmKind, rule: Rule, time_us: u64) -> News {
        News::Event(Event::Alarm(AlarmEvent {
            time_us,
            kind,
            rule,
            channel: None,
            severity: Severity::Warn,
            onset_us: time_us,
            position: Position { band: 2, turned: None },
            worst: 0,
            limit: None,
        }))
    }

    #[test]
    fn a_cleared_alarm_stays_with_its_times() {
        let mut history = History::default();
        for (kind, time_us) in [
            (AlarmKind::Raised, 1_000_000),
            (AlarmKind::Acknowledged, 2_000_000),
            (AlarmKind::Cleared, 3_000_000),
        ] {
            history.take(&told(kind, Rule::GasLow, time_us), 4);
        }
        history.take(&told(AlarmKind::Raised, Rule::GasLow, 5_000_000), 4);
        let told = history.json();
        assert_eq!(told.len(), 2);
        assert_eq!((&told[0]["raised_s"], &told[0]["cleared_s"]), (&json!(5.0), &Value::Null));
        assert_eq!((&told[1]["cleared_s"], &told[1]["acknowledged_s"]), (&json!(3.0), &json!(2.0)));
        assert_eq!((&told[1]["joint"], &told[1]["band"]), (&json!(4), &json!(2)));
    }

    #[test]
    fn what_was_lost_on_the_way_is_mended_by_what_is_active() {
        let (mut history, mut ledger) = (History::default(), Ledger::default());
        history.take(&told(AlarmKind::Raised, Rule::GasLow, 1_000_000), 1);
        ledger.active.push(ActiveAlarm {
            rule: Rule::VoltageLow,
            channel: None,
            severity: Severity::Warn,
            acknowledged: false,
            shelved: false,
        });
        history.correct(&ledger, 7.0);
        history.correct(&ledger, 8.0);
        let told = history.json();
        assert_eq!(told.len(), 2);
        assert_eq!(told[0]["severity"], "warn");
        ledger.active[0].severity = Severity::Stop;
        history.correct(&ledger, 9.0);
        let told = history.json();
        assert_eq!((told.len(), &told[0]["severity"]), (2, &json!("stop")));
        assert_eq!((&told[0]["rule"], &told[0]["raised_s"]), (&json!("voltage-low"), &json!(7.0)));
        assert_eq!((&told[1]["rule"], &told[1]["cleared_s"]), (&json!("gas-low"), &json!(7.0)));
    }

    #[test]
    fn memory_is_bounded_and_what_is_active_outlives_what_is_over() {
        let mut history = History::default();
        history.take(&told(AlarmKind::Raised, Rule::VoltageLow, 0), 1);
        for round in 0..500_u64 {
            history.take(&told(AlarmKind::Raised, Rule::GasLow, round), 1);
            history.take(&told(AlarmKind::Cleared, Rule::GasLow, round), 1);
        }
        let told = history.json();
        assert_eq!(told.len(), MOST_KEPT);
        assert_eq!(told[MOST_KEPT - 1]["rule"], "voltage-low");
    }
}
