//! The two control charts: a weighted mean that remembers, and sums of what departs.
//!
//! Decides: when a chart signals.
//! Assumes: readings as standard normal deviates.
//! Never: starts over after a signal; what stays off keeps signalling.
//!
//! EWMA after Lucas and Saccucci 1990, with the limits a long run has; CUSUM (tabular, two-sided)
//! after Lucas and Crosier 1982, without head start. With the usual settings a steady quantity gives
//! a false signal once in 500 (EWMA) and once in 465 (CUSUM) readings.

use bandward::rule::Side;

/// How the charts are set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design {
    /// Weight of the newest reading, above 0 to 1.
    pub lambda: f64,
    /// Limits of the EWMA, in its own standard deviations.
    pub ewma_limit: f64,
    /// Slack of the CUSUM, in standard deviations of a reading.
    pub slack: f64,
    /// Decision interval of the CUSUM, in standard deviations of a reading.
    pub interval: f64,
}

impl Default for Design {
    fn default() -> Self {
        Self { lambda: 0.2, ewma_limit: 2.962, slack: 0.5, interval: 5.0 }
    }
}

/// An exponentially weighted moving average.
#[derive(Clone, Copy, Debug)]
pub struct Ewma {
    lambda: f64,
    reach: f64,
    value: f64,
}

impl Ewma {
    /// Starts in the middle.
    pub fn new(design: &Design) -> Self {
        let reach = design.ewma_limit * (design.lambda / (2.0 - design.lambda)).sqrt();
        Self { lambda: design.lambda, reach, value: 0.0 }
    }
    /// Takes a reading and says on which side the average is beyond its limit.
    pub fn push(&mut self, reading: f64) -> Option<Side> {
        self.value += self.lambda * (reading - self.value);
        beyond(self.value > self.reach, self.value < -self.reach)
    }
    /// The average.
    pub const fn value(&self) -> f64 {
        self.value
    }
    /// Distance of the limits from the middle.
    pub const fn reach(&self) -> f64 {
        self.reach
    }
}

/// Cumulative sums of what departs by more than the slack, one a side.
#[derive(Clone, Copy, Debug)]
pub struct Cusum {
    slack: f64,
    interval: f64,
    high: f64,
    low: f64,
}

impl Cusum {
    /// Starts at nothing.
    pub const fn new(design: &Design) -> Self {
        Self { slack: design.slack, interval: design.interval, high: 0.0, low: 0.0 }
    }
    /// Takes a reading and says on which side the sum is beyond the decision interval.
    pub fn push(&mut self, reading: f64) -> Option<Side> {
        self.high = (self.high + reading - self.slack).max(0.0);
        self.low = (self.low - reading - self.slack).max(0.0);
        beyond(self.high > self.interval, self.low > self.interval)
    }
    /// The sums above and below, neither less than zero.
    pub const fn sums(&self) -> (f64, f64) {
        (self.high, self.low)
    }
}

const fn beyond(is_high: bool, is_low: bool) -> Option<Side> {
    match (is_high, is_low) {
        (true, _) => Some(Side::High),
        (false, true) => Some(Side::Low),
        (false, false) => None,
    }
}

/// How many standard errors a drift is off at least, at its likeliest beginning, where there are so many
/// charts: by the bound of Bonferroni at most 5 of 100 steady shops show a drift within 50 joints after the
/// baseline, if a drift has some ten beginnings at each joint that are not like the others (own simulation;
/// near beginnings share most of their joints). The charts alone, of 20 quantities, would show one in most
/// shops: each signals once in some 500 joints.
pub fn clear(charts: usize) -> f64 {
    const SHOPS: f64 = 0.05;
    const JOINTS: f64 = 50.0;
    const BEGINNINGS: f64 = 10.0;
    let tail = SHOPS / (charts.max(1) as f64 * JOINTS * BEGINNINGS);
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        // Both tails of a normal deviate.
        if libm::erfc(middle / std::f64::consts::SQRT_2) > tail {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Both tails of a normal deviate beyond 3.8906, 4.4172 and 4.8916 are 1 in 10 000, 100 000 and a million
    /// (any table, from memory).
    #[test]
    fn the_more_charts_the_clearer_a_drift_must_be() {
        for (charts, table) in [(1, 3.8906), (10, 4.4172), (100, 4.8916)] {
            assert!((clear(charts) - table).abs() < 1e-4, "{charts}: {}", clear(charts));
        }
    }
}
