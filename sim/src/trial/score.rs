//! Counts: what was found, what was missed, what cried wolf, how late.
//!
//! Decides: which figures follow from the alarms of a rule over any number of traces.
//! Assumes: every fault is counted once, under the rule that told of it.
//! Never: decides whose fault an alarm is; that is [`super::marks`]'s.

use super::interval::Share;

/// A fault that was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hit {
    /// From when it could be seen to its alarm, µs.
    pub delay_us: u64,
    /// To the stop, where there was one, µs.
    pub stop_delay_us: Option<u64>,
    /// It is the stop that counts.
    pub needs_a_stop: bool,
    /// How long before the fault the cause of its alarm began, where that stood already, µs.
    pub stood_us: Option<u64>,
    /// How long the alarm stood after the fault had ended, µs.
    pub stands_us: u64,
    /// It must stop the weld.
    pub is_stop: bool,
}

/// A fault that was not found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Miss {
    /// From when it could be seen to the end of its grace, µs: it was later than that.
    pub window_us: u64,
    /// It must stop the weld.
    pub is_stop: bool,
    /// It was told of, and the weld was not stopped.
    pub only_warned: bool,
}

impl Hit {
    /// From when it could be seen to what had to come: the stop, where it must be stopped, µs.
    pub fn counted_us(&self) -> u64 {
        self.stop_delay_us.filter(|_| self.needs_a_stop).unwrap_or(self.delay_us)
    }
}

/// What the alarms of one rule come to, over any number of traces.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RuleScore {
    /// Faults that were found.
    pub found: Vec<Hit>,
    /// Faults that were not.
    pub misses: Vec<Miss>,
    /// Faults in traces in which the rule cannot be judged.
    pub unjudged: Vec<Miss>,
    /// Alarms while nothing was wrong.
    pub false_alarms: u64,
    /// Those of them that would have stopped the weld.
    pub false_stops: u64,
    /// Further alarms about a fault that had been found.
    pub repeats: u64,
    /// Alarms during a fault of another rule.
    pub beside: u64,
    /// Alarms that follow from a fault that was over.
    pub late: u64,
}

impl RuleScore {
    /// Faults that were found.
    pub fn hits(&self) -> u64 {
        self.found.len() as u64
    }
    /// Faults that were not found.
    pub fn missed(&self) -> u64 {
        self.misses.len() as u64
    }
    /// Faults that must stop the weld and were not found.
    pub fn missed_stops(&self) -> u64 {
        self.misses.iter().filter(|miss| miss.is_stop).count() as u64
    }
    /// Faults that must stop the weld and were found.
    pub fn found_stops(&self) -> u64 {
        self.found.iter().filter(|hit| hit.is_stop).count() as u64
    }
    /// Faults that were found by an alarm which stood already when they began.
    pub fn stood_already(&self) -> u64 {
        self.found.iter().filter(|hit| hit.stood_us.is_some()).count() as u64
    }
    /// Faults that must stop the weld, were told of, and did not stop it.
    pub fn only_warned(&self) -> u64 {
        self.misses.iter().filter(|miss| miss.only_warned).count() as u64
    }
    /// The time to the stop that `share` of the stopped faults do not exceed (nearest rank), s.
    pub fn stop_delay_s(&self, share: f64) -> Option<f64> {
        nearest_rank_s(self.found.iter().filter_map(|hit| hit.stop_delay_us).collect(), share)
    }
    /// Faults in traces in which the rule cannot be judged.
    pub fn not_judged(&self) -> u64 {
        self.unjudged.len() as u64
    }
    /// Faults that could be found.
    pub fn judged(&self) -> u64 {
        self.hits() + self.missed()
    }
    /// All faults.
    pub fn faults(&self) -> u64 {
        self.judged() + self.not_judged()
    }
    /// Has anything happened about this rule?
    pub fn is_empty(&self) -> bool {
        self.faults() + self.false_alarms + self.repeats + self.beside + self.late == 0
    }
    /// The share that was found, with its interval.
    pub fn share(&self) -> Option<Share> {
        Share::of(self.hits(), self.judged())
    }
    /// Adds what another trace or rule came to.
    pub fn add(&mut self, other: &Self) {
        self.found.extend_from_slice(&other.found);
        self.misses.extend_from_slice(&other.misses);
        self.unjudged.extend_from_slice(&other.unjudged);
        self.false_alarms += other.false_alarms;
        self.false_stops += other.false_stops;
        self.repeats += other.repeats;
        self.beside += other.beside;
        self.late += other.late;
    }
    /// The part about faults that must stop the weld, and false stops; or the other one. Repeats and what
    /// stood beside other faults are in neither.
    #[must_use]
    pub fn of_stops(&self, is_stop: bool) -> Self {
        let false_stops = if is_stop { self.false_stops } else { 0 };
        Self {
            found: self.found.iter().copied().filter(|hit| hit.is_stop == is_stop).collect(),
            misses: self.misses.iter().copied().filter(|miss| miss.is_stop == is_stop).collect(),
            unjudged: self.unjudged.iter().copied().filter(|miss| miss.is_stop == is_stop).collect(),
            false_alarms: if is_stop { false_stops } else { self.false_alarms - self.false_stops },
            false_stops,
            ..Self::default()
        }
    }
    /// The delay that `share` of the found faults do not exceed (nearest rank), s.
    pub fn delay_s(&self, share: f64) -> Option<f64> {
        nearest_rank_s(self.found.iter().map(|hit| hit.delay_us).collect(), share)
    }
    /// The time after the end of the fault that `share` of the alarms do not exceed (nearest rank), s.
    pub fn stands_s(&self, share: f64) -> Option<f64> {
        nearest_rank_s(self.found.iter().map(|hit| hit.stands_us).collect(), share)
    }
    /// The mean delay of the found faults alone, s.
    pub fn mean_delay_of_found_s(&self) -> Option<f64> {
        let sum_us: u64 = self.found.iter().map(|hit| hit.delay_us).sum();
        (self.hits() > 0).then(|| sum_us as f64 / 1e6 / self.hits() as f64)
    }
    /// The mean delay with the missed faults in it, each with the time for which it could have been
    /// found, s: the true mean is no less.
    pub fn mean_delay_s(&self) -> Option<f64> {
        (self.judged() > 0).then(|| self.delays_us() as f64 / 1e6 / self.judged() as f64)
    }
    /// The delays of all faults, the missed ones as in [`RuleScore::mean_delay_s`], µs.
    fn delays_us(&self) -> u64 {
        let found = self.found.iter().map(|hit| hit.delay_us);
        found.chain(self.misses.iter().map(|miss| miss.window_us)).sum()
    }
    /// What being late costs by: as the delays, those of faults that must stop the weld up to the stop, µs.
    pub fn late_us(&self) -> u64 {
        let found = self.found.iter().map(Hit::counted_us);
        found.chain(self.misses.iter().map(|miss| miss.window_us)).sum()
    }
    /// For how long alarms stood after their faults, µs.
    pub fn stands_us(&self) -> u64 {
        self.found.iter().map(|hit| hit.stands_us).sum()
    }
}

fn nearest_rank_s(mut times_us: Vec<u64>, share: f64) -> Option<f64> {
    times_us.sort_unstable();
    let rank = (share * times_us.len() as f64).ceil() as usize;
    Some(*times_us.get(rank.saturating_sub(1))? as f64 / 1e6)
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
        let hit = |second: u64| Hit {
            delay_us: second * 1_000_000,
            stop_delay_us: None,
            needs_a_stop: false,
            stood_us: None,
            stands_us: 0,
            is_stop: false,
        };
        let score = RuleScore { found: (1..=20).rev().map(hit).collect(), ..RuleScore::default() };
        assert_eq!(score.delay_s(0.5), Some(10.0));
        assert_eq!(score.delay_s(0.95), Some(19.0));
        assert_eq!(score.mean_delay_s(), Some(10.5));
        assert_eq!(RuleScore::default().delay_s(0.5), None);
    }

    #[test]
    fn a_mean_delay_counts_the_missed_and_a_severity_is_a_part() {
        let found = vec![
            Hit {
                delay_us: 1_000_000,
                stop_delay_us: None,
                needs_a_stop: false,
                stood_us: None,
                stands_us: 0,
                is_stop: true,
            },
            Hit {
                delay_us: 2_000_000,
                stop_delay_us: None,
                needs_a_stop: false,
                stood_us: None,
                stands_us: 500_000,
                is_stop: false,
            },
        ];
        let misses = vec![Miss { window_us: 12_000_000, is_stop: false, only_warned: false }];
        let score = RuleScore { found, misses, false_alarms: 5, false_stops: 2, ..RuleScore::default() };
        assert_eq!(score.mean_delay_s(), Some(5.0));
        assert_eq!(score.mean_delay_of_found_s(), Some(1.5));
        let (stops, others) = (score.of_stops(true), score.of_stops(false));
        assert_eq!((stops.hits(), stops.missed(), stops.false_alarms), (1, 0, 2));
        assert_eq!((others.hits(), others.missed(), others.false_alarms), (1, 1, 3));
        assert_eq!(stops.late_us() + others.late_us(), score.late_us());
    }
}
