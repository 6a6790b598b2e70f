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
