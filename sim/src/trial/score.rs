//! Counts: what was found, what was missed, what cried wolf, how late.
//!
//! Decides: how the alarms of one rule in one trace add up, and how traces do.
//! Assumes: alarms in the order of their time.
//! Never: decides whose fault an alarm is; that is [`super::marks`]'s.

use super::marks::{AlarmClass, Marks};
use bandward::{AlarmEvent, AlarmKind, Rule, Severity};

const NEVER: u64 = u64::MAX;

/// The alarms of one rule in one trace.
#[derive(Clone, Debug)]
pub struct RuleWatch {
    /// Bit of each channel (and the last one for none) whose standing alarm has been counted.
    counted: u16,
    /// When each fault was found, µs.
    found_us: Box<[u64]>,
    false_alarms: u32,
    repeats: u32,
    beside: u32,
}

impl RuleWatch {
    /// Nothing has happened in a trace with so many faults.
    pub fn new(faults: usize) -> Self {
        Self { counted: 0, found_us: vec![NEVER; faults].into(), false_alarms: 0, repeats: 0, beside: 0 }
    }
    /// Takes what happened to an alarm of the rule; tells its worth when it comes to count, which it
    /// does once: when it reaches `severity`.
    pub fn take(&mut self, event: &AlarmEvent, marks: &Marks, severity: Severity) -> Option<AlarmClass> {
        let bit = 1_u16 << event.channel.map_or(15, |channel| channel as u16);
        match event.kind {
            AlarmKind::Cleared => self.counted &= !bit,
            AlarmKind::Raised | AlarmKind::Escalated
                if event.severity >= severity && self.counted & bit == 0 =>
            {
                self.counted |= bit;
                let found_us = &self.found_us;
                let is_found = |index: usize| found_us[index] != NEVER;
                let verdict = marks.verdict(event.rule, event.channel, event.time_us, is_found);
                match verdict {
                    AlarmClass::Hit(index) => self.found_us[index] = event.time_us,
                    AlarmClass::Repeat => self.repeats += 1,
                    AlarmClass::Beside => self.beside += 1,
                    AlarmClass::False => self.false_alarms += 1,
                }
                return Some(verdict);
            }
            _ => {}
        }
        None
    }
    /// When the fault with this place was found, µs.
    pub fn found_us(&self, index: usize) -> Option<u64> {
        self.found_us.get(index).copied().filter(|&found_us| found_us != NEVER)
    }
    /// What it comes to; `is_judged` tells whether the rule could be judged in this trace at all.
    pub fn score(&self, rule: Rule, marks: &Marks, is_judged: bool) -> RuleScore {
        let mut score = RuleScore {
            false_alarms: u64::from(self.false_alarms),
            repeats: u64::from(self.repeats),
            beside: u64::from(self.beside),
            ..RuleScore::default()
        };
        for (index, mark) in marks.faults.iter().enumerate() {
            if mark.rule != Some(rule) {
                continue;
            }
            match self.found_us(index) {
                Some(found_us) => score.delays_us.push(found_us.saturating_sub(mark.outside_from_us)),
                None if is_judged => score.missed += 1,
                None => score.not_judged += 1,
            }
        }
        score
    }
}

/// What the alarms of one rule come to, over any number of traces.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RuleScore {
    /// Faults that were not found.
    pub missed: u64,
    /// Faults in traces in which the rule cannot be judged.
    pub not_judged: u64,
    /// Alarms while nothing was wrong.
    pub false_alarms: u64,
    /// Further alarms about a fault that had been found.
    pub repeats: u64,
    /// Alarms during a fault of another rule.
    pub beside: u64,
    /// For each fault that was found, how late, µs.
    pub delays_us: Vec<u64>,
}

impl RuleScore {
    /// Faults that were found.
    pub fn hits(&self) -> u64 {
        self.delays_us.len() as u64
    }
    /// All faults.
    pub fn faults(&self) -> u64 {
        self.hits() + self.missed + self.not_judged
    }
    /// Has anything happened about this rule?
    pub fn is_empty(&self) -> bool {
        self.faults() + self.false_alarms + self.repeats + self.beside == 0
    }
    /// Adds what another trace or rule came to.
    pub fn add(&mut self, other: &Self) {
        self.missed += other.missed;
        self.not_judged += other.not_judged;
        self.false_alarms += other.false_alarms;
        self.repeats += other.repeats;
        self.beside += other.beside;
        self.delays_us.extend_from_slice(&other.delays_us);
    }
    /// The delay that `share` of the found faults do not exceed (nearest rank), s.
    pub fn delay_s(&self, share: f64) -> Option<f64> {
        let mut delays_us = self.delays_us.clone();
        delays_us.sort_unstable();
        let rank = (share * delays_us.len() as f64).ceil() as usize;
        Some(*delays_us.get(rank.saturating_sub(1))? as f64 / 1e6)
    }
    /// The mean delay of the found faults, s.
    pub fn mean_delay_s(&self) -> Option<f64> {
        let sum_us: u64 = self.delays_us.iter().sum();
        (self.hits() > 0).then(|| sum_us as f64 / 1e6 / self.hits() as f64)
    }
}

/// The rate an hour that a count of events in `hours` does not exceed with 95 % confidence, events
/// being independent of each other: the upper limit of Garwood (1936) for a Poisson mean, here by
/// bisection. No event in 3 hours: at most one an hour.
pub fn at_most_per_hour(count: u64, hours: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 10.0 + 3.0 * count as f64);
    for _ in 0..60 {
        let mean = f64::midpoint(low, high);
        // The chance of `count` events or fewer.
        let mut term = (-mean).exp();
        let mut chance = term;
        for event in 1..=count.min(200) {
            term *= mean / event as f64;
            chance += term;
        }
        if chance > 0.05 { low = mean } else { high = mean }
    }
    // The normal approximation is within a percent beyond that.
    let mean = if count > 200 { count as f64 + 1.645 * (count as f64).sqrt() + 1.35 } else { high };
    mean / hours
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One-sided 95 % upper limits of a Poisson mean, as tabulated since Garwood (1936); from memory.
    #[test]
    fn upper_limits_are_those_of_the_tables() {
        for (count, limit) in [(0, 2.996), (1, 4.744), (2, 6.296), (5, 10.513), (10, 16.962)] {
            let rate = at_most_per_hour(count, 2.0);
            assert!((rate - limit / 2.0).abs() < 5e-4, "{count}: {rate}");
        }
    }

    #[test]
    fn delays_are_those_of_the_nearest_rank() {
        let score = RuleScore {
            delays_us: (1..=20).rev().map(|second| second * 1_000_000).collect(),
            ..RuleScore::default()
        };
        assert_eq!(score.delay_s(0.5), Some(10.0));
        assert_eq!(score.delay_s(0.95), Some(19.0));
        assert_eq!(score.mean_delay_s(), Some(10.5));
        assert_eq!(RuleScore::default().delay_s(0.5), None);
    }
}
