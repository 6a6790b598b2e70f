//! The course of a quantity over its joints, and the drift that is found in it.
//!
//! Decides: what a drift is told to be.
//! Assumes: readings in order of time, one a joint.
//! Never: looks for a beginning further back than what is near.

use super::change::{Change, Fit};
use super::chart::Design;
use super::charted::Charted;
use super::drift::Drift;
use super::known::Known;
use super::scatter::Scatter;
use bandward::rule::Side;

/// Joints before a drift among which its beginning is looked for.
const LOOK_BACK: usize = 60;

/// All that the charts run over.
pub struct Course<'c> {
    /// What is known of each point.
    pub known: &'c Known,
    /// The readings.
    pub values: &'c [f64],
    /// Points that their own records call broken.
    pub broken: &'c [bool],
    /// A smaller standard deviation is taken as this one.
    pub least_deviation: f64,
    /// How scatter follows on itself in the quantities of these joints.
    pub scatter: Scatter,
    /// A drift is further off than so many standard errors, at its likeliest beginning.
    pub clear: f64,
    /// How the charts are set.
    pub design: &'c Design,
}

/// What the charts made of it.
pub struct Watched {
    /// The charts of the points after the baseline.
    pub charted: Vec<Charted>,
    /// Points that made what the others were compared with.
    pub learnt: Vec<usize>,
    /// What each regressor makes.
    pub coefficients: Vec<f64>,
    /// The latest drift, if there is any.
    pub drift: Option<Drift>,
}

impl Course<'_> {
    /// The likeliest change among the joints up to `end` and so many before `since`, which began by `latest`.
    pub(super) fn change(
        &self,
        usable: &[usize],
        [since, end, latest]: [usize; 3],
        side: Side,
        scatter: Scatter,
    ) -> Option<Change> {
        let from = since.saturating_sub(LOOK_BACK);
        let at: Vec<usize> = usable.iter().copied().filter(|at| (from..=end).contains(at)).collect();
        let (rows, expected) = self.known.with_levels(&at);
        let values: Vec<f64> = at.iter().map(|&at| self.values[at]).collect();
        let fit = Fit::new(&rows, &expected, &values, self.least_deviation, scatter)?;
        let latest = at.iter().filter(|at| **at <= latest).count();
        fit.beginning_by(latest).change(Some(side)).map(|change| change.placed(&at))
    }
}
