//! What alarms came to, counted from the list that `replay` gives.
//!
//! Decides: an alarm of an expected rule that reaches the severity asked for, from a second before the fault to
//! 25 s after it, finds it; a warning or stop before any fault, or in a good joint, is false; what comes
//! after a fault began may be its consequence and is not counted.

use super::library::{Mark, Trace};
use super::program::Alarm;
use bandward::Severity;

/// A first row may come late, and a time may be told as that of the row before, s.
pub const BEFORE_S: f64 = 1.0;
/// For rules that wait for a band's end, and gas after it, s.
pub const AFTERWARDS_S: f64 = 25.0;

/// The sums of one severity.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Count {
    /// Faults marked.
    pub faults: usize,
    /// Found in time.
    pub found: usize,
    /// False alarms.
    pub false_alarms: usize,
    /// Seconds to the alarm, summed; a missed fault counts to the end of its time.
    pub late_s: f64,
    /// Hours without a fault.
    pub hours: f64,
}

impl Count {
    /// Adds another.
    pub fn add(&mut self, other: Self) {
        self.faults += other.faults;
        self.found += other.found;
        self.false_alarms += other.false_alarms;
        self.late_s += other.late_s;
        self.hours += other.hours;
    }
    /// Mean delay, s, the missed counted; absent without faults.
    pub fn delay_s(&self) -> Option<f64> {
        (self.faults > 0).then(|| self.late_s / self.faults as f64)
    }
    /// False alarms an hour.
    pub fn false_per_hour(&self) -> f64 {
        self.false_alarms as f64 / self.hours.max(1e-9)
    }
}

/// Stops first, then warnings.
pub type BySeverity = [Count; 2];

/// Counts the alarms of traces, in the same order.
pub fn count<'a>(rows: impl IntoIterator<Item = (&'a Trace, &'a [Alarm])>) -> BySeverity {
    let mut sums = BySeverity::default();
    for (trace, alarms) in rows {
        let until_s = trace.mark.as_ref().map_or(trace.lasts_s, |mark| mark.start_s - BEFORE_S);
        for sum in &mut sums {
            sum.hours += until_s.max(0.0) / 3600.0;
        }
        for alarm in alarms {
            if let Some(reached_s) = alarm.reached_s(Severity::Warn).filter(|&at_s| at_s < until_s) {
                let is_stop = alarm.reached_s(Severity::Stop).is_some_and(|stop_s| stop_s <= reached_s);
                sums[usize::from(!is_stop)].false_alarms += 1;
            }
        }
        if let Some(mark) = &trace.mark {
            let found_s = found_s(mark, alarms);
            let sum = &mut sums[usize::from(!mark.stop)];
            sum.faults += 1;
            sum.found += usize::from(found_s.is_some());
            sum.late_s += (found_s.unwrap_or(mark.end_s + AFTERWARDS_S) - mark.counts_from_s).max(0.0);
        }
    }
    sums
}

/// When a fault was found, s.
pub fn found_s(mark: &Mark, alarms: &[Alarm]) -> Option<f64> {
    let severity = if mark.stop { Severity::Stop } else { Severity::Warn };
    let window = mark.start_s - BEFORE_S..=mark.end_s + AFTERWARDS_S;
    alarms
        .iter()
        .filter(|alarm| mark.rules.contains(&alarm.rule.name()))
        .filter_map(|alarm| alarm.reached_s(severity))
        .filter(|at_s| window.contains(at_s))
        .min_by(f64::total_cmp)
}

/// Stops that come later with the second list of alarms than with the first, or not at all: rule and both times.
/// A stop of the same rule counts by its order in the trace.
pub fn later_stops(before: &[Alarm], after: &[Alarm]) -> Vec<String> {
    let mut later = Vec::new();
    for rule in bandward::Rule::ALL {
        let stops = |alarms: &[Alarm]| {
            let own = alarms.iter().filter(|alarm| alarm.rule == rule);
            let mut times: Vec<f64> = own.filter_map(|alarm| alarm.reached_s(Severity::Stop)).collect();
            times.sort_by(f64::total_cmp);
            times
        };
        let (before, after) = (stops(before), stops(after));
        for at_s in before {
            // One that stands from earlier on stands at that time too.
            let in_time = after.iter().any(|&then_s| then_s <= at_s + 1e-3 && then_s > at_s - 60.0);
            if !in_time {
                later.push(format!("{} at {at_s:.2} s", rule.name()));
            }
        }
    }
    later
}
