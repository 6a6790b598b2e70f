//! What a quantity was while nothing had drifted yet.
//!
//! Decides: how many joints that is, and the estimators of mean and spread.
//! Assumes: readings in order of time, one a joint.
//! Never: leaves no joint to watch.

/// A baseline has at least so many joints.
pub const LEAST: usize = 8;
/// A baseline nobody asked for has so many, where there are twice as many joints.
pub const USUAL: usize = 20;

/// The baseline of a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Joints in it.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation, for which the limits are drawn.
    pub deviation: f64,
    /// The readings spread less than is worth telling, so the least spread stands in.
    pub is_least: bool,
}

impl Baseline {
    /// How the spread is estimated, in words.
    pub const ESTIMATOR: &'static str =
        "the sample standard deviation of the baseline over c4 (unbiased for normally spread readings)";

    /// Of the readings of the baseline, at least two.
    pub fn of(readings: &[f64], least_deviation: f64) -> Self {
        let deviation = sample_deviation(readings) / c4(readings.len());
        Self {
            count: readings.len(),
            mean: mean(readings),
            deviation: deviation.max(least_deviation),
            is_least: deviation < least_deviation,
        }
    }
    /// How many joints make the baseline out of `available`, at least one being left to watch;
    /// `None` for too few.
    pub fn length(asked: Option<usize>, available: usize) -> Option<usize> {
        let length = asked.unwrap_or_else(|| USUAL.min(available / 2).max(LEAST));
        (available > length).then_some(length)
    }
}

/// Arithmetic mean.
pub fn mean(readings: &[f64]) -> f64 {
    readings.iter().sum::<f64>() / readings.len().max(1) as f64
}

/// Sample standard deviation (n - 1).
pub fn sample_deviation(readings: &[f64]) -> f64 {
    let middle = mean(readings);
    let squares: f64 = readings.iter().map(|reading| (reading - middle).powi(2)).sum();
    (squares / readings.len().saturating_sub(1).max(1) as f64).sqrt()
}

/// Mean of the sample standard deviation of `count` normally spread readings, in standard deviations.
fn c4(count: usize) -> f64 {
    let degrees = count.saturating_sub(1).max(1) as f64;
    (2.0 / degrees).sqrt()
        * libm::exp(libm::lgamma(f64::midpoint(degrees, 1.0)) - libm::lgamma(degrees / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factors for control charts, ISO 7870-2 (and ASTM E2587): c4. From memory.
    #[test]
    fn factors_are_those_of_the_tables() {
        for (count, table) in [(2, 0.7979), (5, 0.9400), (10, 0.9727), (20, 0.9869), (25, 0.9896)] {
            assert!((c4(count) - table).abs() < 6e-5, "{count}: {}", c4(count));
        }
    }

    #[test]
    fn a_baseline_leaves_something_to_watch() {
        assert_eq!(Baseline::length(None, 100), Some(20));
        assert_eq!(Baseline::length(None, 24), Some(12));
        assert_eq!(Baseline::length(None, 9), Some(8));
        assert_eq!(Baseline::length(None, 8), None);
        assert_eq!(Baseline::length(Some(30), 31), Some(30));
        assert_eq!(Baseline::length(Some(30), 30), None);
    }
}
