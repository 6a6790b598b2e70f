//! A setting as it is drawn.

use crate::input::quantity::shown;
use crate::report::trial::Results;
use crate::trial::plan::Point;
use crate::trial::score::RuleScore;

/// A setting as it is drawn.
pub(super) struct Dot {
    /// The values as the reader wants them, a tunable each.
    pub(super) values: Vec<f64>,
    /// The same, with their units.
    pub(super) shown: Vec<String>,
    pub(super) false_per_hour: f64,
    pub(super) late_s: Option<f64>,
    pub(super) latest_s: Option<f64>,
    /// Share of the faults.
    pub(super) missed: f64,
    pub(super) is_present: bool,
    pub(super) is_proposed: bool,
}

impl Dot {
    pub(super) fn of(results: &Results<'_>, point: &Point, score: &RuleScore) -> Self {
        let hours = results.sums.sound_hours().max(f64::MIN_POSITIVE);
        let pairs = point.values.iter();
        Self {
            values: pairs
                .clone()
                .map(|(tunable, value)| shown(*value, tunable.dimension(), results.system).0)
                .collect(),
            shown: pairs.map(|(tunable, value)| tunable.show(*value, results.system)).collect(),
            false_per_hour: score.false_alarms as f64 / hours,
            late_s: score.mean_delay_s(),
            latest_s: score.delay_s(0.95),
            missed: score.missed() as f64 / score.judged().max(1) as f64,
            is_present: results.is_present(point),
            is_proposed: results.is_proposed(point),
        }
    }
}
