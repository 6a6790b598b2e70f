//! What missing, crying wolf and being late cost.
//!
//! Decides: the weights where none are given (invented; the shop's own are options), and the cost of a score.
//! Assumes: costs add up over faults and alarms.
//! Never: compares settings; see [`super::suggest`].

use super::score::RuleScore;

/// What things cost, in false alarms or in any other unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// A fault that must stop the weld and is missed.
    pub missed_stop: f64,
    /// Any other fault that is missed.
    pub missed_warn: f64,
    /// An alarm while nothing was wrong.
    pub false_alarm: f64,
    /// A second that a fault is found later, or that its alarm stands after its end.
    pub second: f64,
}

impl Costs {
    /// Where nothing else is said. Invented.
    pub const USUAL: Self = Self { missed_stop: 100.0, missed_warn: 10.0, false_alarm: 1.0, second: 0.5 };
}

/// The figures that costs are made of, of a score or the difference of two.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Figures {
    /// Faults found.
    pub found: i64,
    /// Those of them that must stop the weld.
    pub found_stops: i64,
    /// Faults missed that must stop the weld.
    pub missed_stops: i64,
    /// Other faults missed.
    pub missed_warns: i64,
    /// Faults that could not be judged; they cost as much as missed ones.
    pub not_judged: i64,
    /// Those of them that must stop the weld.
    pub not_judged_stops: i64,
    /// The time for which they could have been found, µs.
    pub not_judged_us: i64,
    /// False alarms.
    pub false_alarms: i64,
    /// Those of them that would have stopped the weld.
    pub false_stops: i64,
    /// Delays of all faults, the missed ones up to the end of their grace, µs.
    pub late_us: i64,
    /// For how long alarms stood after their faults, µs.
    pub stands_us: i64,
}

impl Figures {
    /// Those of a score.
    pub fn of(score: &RuleScore) -> Self {
        let count = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
        Self {
            found: count(score.hits()),
            found_stops: count(score.found_stops()),
            missed_stops: count(score.missed_stops()),
            missed_warns: count(score.missed() - score.missed_stops()),
            not_judged: count(score.not_judged()),
            not_judged_stops: count(score.unjudged.iter().filter(|miss| miss.is_stop).count() as u64),
            not_judged_us: count(score.unjudged.iter().map(|miss| miss.window_us).sum()),
            false_alarms: count(score.false_alarms),
            false_stops: count(score.false_stops),
            late_us: count(score.late_us()),
            stands_us: count(score.stands_us()),
        }
    }
    fn with(self, other: &Self, join: impl Fn(i64, i64) -> i64) -> Self {
        Self {
            found: join(self.found, other.found),
            found_stops: join(self.found_stops, other.found_stops),
            missed_stops: join(self.missed_stops, other.missed_stops),
            missed_warns: join(self.missed_warns, other.missed_warns),
            not_judged: join(self.not_judged, other.not_judged),
            not_judged_stops: join(self.not_judged_stops, other.not_judged_stops),
            not_judged_us: join(self.not_judged_us, other.not_judged_us),
            false_alarms: join(self.false_alarms, other.false_alarms),
            false_stops: join(self.false_stops, other.false_stops),
            late_us: join(self.late_us, other.late_us),
            stands_us: join(self.stands_us, other.stands_us),
        }
    }
    /// Less those of another.
    #[must_use]
    pub fn minus(self, other: &Self) -> Self {
        self.with(other, |one, other| one - other)
    }
    /// With those of another.
    #[must_use]
    pub fn plus(self, other: &Self) -> Self {
        self.with(other, |one, other| one + other)
    }
    /// Faults missed.
    pub const fn missed(&self) -> i64 {
        self.missed_stops + self.missed_warns
    }
    /// What they cost.
    pub fn cost(&self, costs: &Costs) -> f64 {
        let unjudged_warns = self.not_judged - self.not_judged_stops;
        costs.missed_stop * (self.missed_stops + self.not_judged_stops) as f64
            + costs.missed_warn * (self.missed_warns + unjudged_warns) as f64
            + costs.false_alarm * self.false_alarms as f64
            + costs.second * (self.late_us + self.not_judged_us + self.stands_us) as f64 / 1e6
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trial::score::{Hit, Miss};

    #[test]
    fn a_cost_is_the_weighted_sum_of_what_happened() {
        let score = RuleScore {
            found: vec![Hit {
                delay_us: 2_000_000,
                stop_delay_us: None,
                needs_a_stop: false,
                stood_us: None,
                stands_us: 4_000_000,
                is_stop: false,
            }],
            misses: vec![
                Miss { window_us: 10_000_000, is_stop: true, only_warned: false },
                Miss { window_us: 20_000_000, is_stop: false, only_warned: false },
            ],
            false_alarms: 3,
            ..RuleScore::default()
        };
        // 100 + 10 + 3 and half of 2 + 4 + 10 + 20 s.
        assert!((Figures::of(&score).cost(&Costs::USUAL) - 131.0).abs() < 1e-9);
        let figures = Figures::of(&score);
        assert_eq!(figures.minus(&figures), Figures::default());
        assert_eq!(Figures::default().plus(&figures), figures);
    }
}
