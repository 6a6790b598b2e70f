//! The course of a quantity over its joints, and the drift that is found in it.
//!
//! Decides: what a drift is told to be.
//! Assumes: readings in order of time, one a joint.
//! Never: looks for a beginning further back than what is near.

use super::baseline::Start;
use super::change::{Change, Fit};
use super::chart::Design;
use super::event::Kind;
use super::known::Known;
use super::scatter::Scatter;
use super::series::Charted;
use super::watch::Watcher;
use bandward::rule::Side;

/// Joints before a drift among which its beginning is looked for.
const LOOK_BACK: usize = 60;

/// A drift: both charts signal on the same side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Which way it goes.
    pub side: Side,
    /// The point at which it began: the change point; where none is told, the one after the sum of the CUSUM was
    /// last nothing.
    pub since: usize,
    /// The first point at which both charts signal.
    pub signal: usize,
    /// The last point at which both charts signal.
    pub until: usize,
    /// Does it still stand at the last point of all?
    pub is_standing: bool,
    /// It came nearer for a while, and the joints since then are off by more than half of it all the same.
    pub stays_off: bool,
    /// Mean from where it began to the last point at which both signal, or to the event after it.
    pub mean: f64,
    /// Where and how it changed.
    pub change: Option<Change>,
    /// The event after it, and whether the level came back with it.
    pub after: Option<(Kind, bool)>,
    /// The point of that event.
    pub(super) after_at: Option<usize>,
}

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
    /// Runs the charts over all points after the baseline.
    pub fn watch(&self, start: &Start) -> Watched {
        let mut watcher = Watcher::new(self, start);
        for at in start.baseline.end..self.values.len() {
            watcher.take(at, start);
        }
        let mut drift = watcher.drift;
        if let Some(drift) = &mut drift {
            drift.is_standing = drift.until + 1 == self.values.len();
            let scatter = self.scatter.of_own(&watcher.before(drift.since));
            let places = [drift.since, drift.end(), drift.signal];
            drift.change = self.change(&watcher.usable, places, drift.side, scatter);
            // Sums and likelihood may differ by some joints: only one beginning is told, that of the interval.
            drift.since = drift.change.map_or(drift.since, |change| change.at);
        }
        let coefficients = watcher.reference.coefficients();
        Watched { charted: watcher.charted, learnt: watcher.learnt, coefficients, drift }
    }
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

impl Drift {
    /// The last point whose reading shows it.
    pub fn end(&self) -> usize {
        self.after_at.map_or(self.until, |after| self.until.min(after.saturating_sub(1)))
    }
}
