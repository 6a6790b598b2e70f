//! What a quantity was while nothing had drifted yet, and how it fits its allowed range.
//!
//! Decides: the estimators of mean and spread.
//! Assumes: readings in order of time.
//! Never: tells a capability from fewer than [`LEAST_FOR_CAPABILITY`] readings.

use crate::input::bounds::Bounds;

/// A baseline has at least so many readings.
pub const LEAST: usize = 8;
/// A baseline nobody asked for has so many, where there are twice as many.
pub const USUAL: usize = 20;
/// Fewer readings tell no capability.
pub const LEAST_FOR_CAPABILITY: usize = 20;

/// Mean of the range of two normally spread readings, in standard deviations: 2 / sqrt(pi), the
/// factor d2 for two (ISO 7870-2, table of factors; from memory).
const MEAN_RANGE_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// The baseline of a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Readings in it.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Standard deviation the chart reckons with.
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
    /// How many readings make the baseline out of `available`, at least one being left to watch;
    /// `None` for too few.
    pub fn length(asked: Option<usize>, available: usize) -> Option<usize> {
        let length = asked.unwrap_or_else(|| USUAL.min(available / 2).max(LEAST));
        (available > length).then_some(length)
    }
}

/// How a quantity fits its allowed range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capability {
    /// Readings it is told from.
    pub count: usize,
    /// Width of the range over six standard deviations; needs both ends.
    pub cp: Option<f64>,
    /// Distance from the mean to the nearer end over three standard deviations.
    pub cpk: f64,
    /// The same with the spread over the whole time, drift and all.
    pub ppk: f64,
}

impl Capability {
    /// How the spreads are estimated, in words.
    pub const ESTIMATOR: &'static str = "Cp and Cpk: mean moving range of neighbouring bands over 1.128; \
                                         Ppk: sample standard deviation (n - 1) over all bands";

    /// Of all readings; `None` without a range, or where the readings are too few or do not vary.
    pub fn of(readings: &[f64], allowed: Bounds) -> Option<Self> {
        if readings.len() < LEAST_FOR_CAPABILITY {
            return None;
        }
        let ranges: f64 = readings.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
        let short = ranges / (readings.len() - 1) as f64 / MEAN_RANGE_OF_TWO;
        let middle = mean(readings);
        let room = allowed
            .low
            .map(|low| middle - low)
            .into_iter()
            .chain(allowed.high.map(|high| high - middle))
            .reduce(f64::min)?;
        let width = allowed.low.zip(allowed.high).map(|(low, high)| high - low);
        (short > 0.0).then(|| Self {
            count: readings.len(),
            cp: width.map(|width| width / (6.0 * short)),
            cpk: room / (3.0 * short),
            ppk: room / (3.0 * sample_deviation(readings)),
        })
    }
}

/// Arithmetic mean.
pub fn mean(readings: &[f64]) -> f64 {
    readings.iter().sum::<f64>() / readings.len().max(1) as f64
}

/// Sample standard deviation (n - 1).
fn sample_deviation(readings: &[f64]) -> f64 {
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

    /// Factors for control charts, ISO 7870-2 (and ASTM E2587): c4 and d2. From memory.
    #[test]
    fn factors_are_those_of_the_tables() {
        for (count, table) in [(2, 0.7979), (5, 0.9400), (10, 0.9727), (20, 0.9869), (25, 0.9896)] {
            assert!((c4(count) - table).abs() < 6e-5, "{count}: {}", c4(count));
        }
        assert!((MEAN_RANGE_OF_TWO - 1.128).abs() < 5e-4);
    }

    /// By hand: 20 readings that alternate between 9 and 11 have moving ranges of 2 and the mean 10.
    #[test]
    fn a_capability_worked_by_hand() {
        let readings: Vec<f64> = (0..20).map(|index| if index % 2 == 0 { 9.0 } else { 11.0 }).collect();
        let capability = Capability::of(&readings, Bounds::between(4.0, 15.0)).expect("enough readings");
        let short = 2.0 / MEAN_RANGE_OF_TWO;
        assert!((capability.cp.expect("both ends") - 11.0 / (6.0 * short)).abs() < 1e-12);
        assert!((capability.cpk - 5.0 / (3.0 * short)).abs() < 1e-12);
        let overall = (20.0_f64 / 19.0).sqrt();
        assert!((capability.ppk - 5.0 / (3.0 * overall)).abs() < 1e-12);
        let one_end = Bounds { low: Some(4.0), high: None };
        let capability = Capability::of(&readings, one_end).expect("enough readings");
        assert!(capability.cp.is_none() && (capability.cpk - 6.0 / (3.0 * short)).abs() < 1e-12);
        assert_eq!(Capability::of(&readings[..19], one_end), None);
        assert_eq!(Capability::of(&[10.0; 30], one_end), None);
        assert_eq!(Capability::of(&readings, Bounds::default()), None);
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
