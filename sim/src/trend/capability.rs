//! How a quantity fits its allowed range.
//!
//! Decides: the estimators of spread, and when there is too little to tell.
//! Assumes: readings in order of time.
//! Never: gives a figure finer than readings can tell: bands that do not differ have no spread that
//! could be measured, and no figure from it means anything.

use super::baseline::{mean, sample_deviation};
use super::place::Reading;
use crate::input::bounds::Bounds;
use std::collections::BTreeMap;

/// Fewer joints tell no capability: 25 subgroups (common practice, no source).
pub const LEAST_JOINTS: usize = 25;
/// Larger figures are not told apart (common practice, no source).
const MOST: f64 = 10.0;

/// Mean of the range of two normally spread readings, in standard deviations: 2 / sqrt(pi), the
/// factor d2 for two (ISO 7870-2, table of factors; from memory).
const MEAN_RANGE_OF_TWO: f64 = std::f64::consts::FRAC_2_SQRT_PI;

/// One figure of capability.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// The figure.
    pub value: f64,
    /// The spread is less than can be told, so the figure is at least this.
    pub is_at_least: bool,
}

impl Figure {
    /// As people read it.
    pub fn words(self) -> String {
        match self.value {
            value if value > MOST => format!("> {MOST}"),
            value if value < 0.0 => "< 0".to_owned(),
            value if self.is_at_least => format!("> {value:.2}"),
            value => format!("{value:.2}"),
        }
    }
}

/// How a quantity fits its allowed range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Capability {
    /// Joints it is told from.
    pub joints: usize,
    /// Width of the range over six standard deviations; needs both ends.
    pub cp: Option<Figure>,
    /// Distance from the mean to the nearer end over three standard deviations.
    pub cpk: Figure,
    /// The same with the spread over the whole time, drift and all.
    pub ppk: Figure,
}

impl Capability {
    /// How the spreads are estimated, in words.
    pub const ESTIMATOR: &'static str = "Cp and Cpk: mean moving range of the same band of neighbouring joints over \
                                         1.128; Ppk: sample standard deviation (n - 1) over all bands";

    /// Of all readings, a smaller spread being taken as `least_deviation`; `None` without a range, or for
    /// fewer than [`LEAST_JOINTS`] joints.
    pub fn of(readings: &[Reading], allowed: Bounds, least_deviation: f64) -> Option<Self> {
        let joints = readings.chunk_by(|one, other| one.joint == other.joint).count();
        let ranges = moving_ranges(readings);
        if joints < LEAST_JOINTS || ranges.len() + 1 < LEAST_JOINTS {
            return None;
        }
        let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
        let middle = mean(&values);
        let room = allowed
            .low
            .map(|low| middle - low)
            .into_iter()
            .chain(allowed.high.map(|high| high - middle))
            .reduce(f64::min)?;
        let over = |room: f64, deviation: f64| Figure {
            value: room / deviation.max(least_deviation),
            is_at_least: deviation < least_deviation,
        };
        let short = mean(&ranges) / MEAN_RANGE_OF_TWO;
        Some(Self {
            joints,
            cp: allowed.low.zip(allowed.high).map(|(low, high)| over((high - low) / 6.0, short)),
            cpk: over(room / 3.0, short),
            ppk: over(room / 3.0, sample_deviation(&values)),
        })
    }
}

/// Ranges from each band to the same band of the joint before that has it. Bands of one joint are alike:
/// the ranges between them would be too small.
fn moving_ranges(readings: &[Reading]) -> Vec<f64> {
    let mut last: BTreeMap<u64, f64> = BTreeMap::new();
    let range = |reading: &Reading| Some((reading.value - last.insert(reading.band, reading.value)?).abs());
    readings.iter().filter_map(range).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The factor d2 of ISO 7870-2. From memory.
    #[test]
    fn the_factor_is_that_of_the_table() {
        assert!((MEAN_RANGE_OF_TWO - 1.128).abs() < 5e-4);
    }

    /// Two bands a joint, the second 0.5 above the first; joints alternate between `low` and `high`.
    fn alternating(joints: usize, low: f64, high: f64) -> Vec<Reading> {
        let value = |joint: usize| if joint.is_multiple_of(2) { low } else { high };
        let bands = |joint: usize| {
            [1, 2].map(|band| Reading { joint, band, value: value(joint) + 0.5 * (band - 1) as f64 })
        };
        (0..joints).flat_map(bands).collect()
    }

    /// By hand: joints that alternate between 9 and 11 have moving ranges of 2 and, with a second band
    /// 0.5 above, the mean 10.25, from which bands are 0.75 and 1.25 away: 1.0625 in the mean square.
    #[test]
    fn a_capability_worked_by_hand() {
        let readings = alternating(26, 9.0, 11.0);
        let capability = Capability::of(&readings, Bounds::between(4.0, 15.0), 0.1).expect("enough joints");
        let short = 2.0 / MEAN_RANGE_OF_TWO;
        let near = |figure: Figure, value: f64| (figure.value - value).abs() < 1e-12 && !figure.is_at_least;
        assert_eq!(capability.joints, 26);
        assert!(near(capability.cp.expect("both ends"), 11.0 / (6.0 * short)));
        assert!(near(capability.cpk, 4.75 / (3.0 * short)));
        let overall = (1.0625_f64 * 52.0 / 51.0).sqrt();
        assert!(near(capability.ppk, 4.75 / (3.0 * overall)));
        let one_end = Bounds { low: Some(4.0), high: None };
        let capability = Capability::of(&readings, one_end, 0.1).expect("enough joints");
        assert!(capability.cp.is_none() && near(capability.cpk, 6.25 / (3.0 * short)));
        assert_eq!(Capability::of(&alternating(24, 9.0, 11.0), one_end, 0.1), None);
        assert_eq!(Capability::of(&readings, Bounds::default(), 0.1), None);
    }

    /// Readings that hardly spread: the least spread, 0.5, stands in, and the words say so.
    #[test]
    fn no_spread_gives_no_figure_in_the_thousands() {
        let still = alternating(30, 10.0, 10.0);
        let capability = Capability::of(&still, Bounds::between(4.25, 16.25), 0.5).expect("enough joints");
        assert!(capability.cpk.is_at_least && (capability.cpk.value - 4.0).abs() < 1e-12);
        assert_eq!(capability.cpk.words(), "> 4.00");
        let wide = Capability::of(&still, Bounds::between(-90.0, 110.0), 0.5).expect("enough joints");
        assert_eq!(wide.cpk.words(), "> 10");
        let off = Capability::of(&still, Bounds::between(11.0, 16.0), 0.5).expect("enough joints");
        assert_eq!(off.cpk.words(), "< 0");
        assert_eq!(Figure { value: 1.333, is_at_least: false }.words(), "1.33");
    }
}
