//! The two charts over the joints after the baseline.
//!
//! Decides: where a drift begins, is signalled, and is over.
//! Assumes: a baseline of sound joints.
//! Never: calls a drift what only one of the charts signals, what one joint alone makes, or what scatter
//! that follows on itself explains; nor learns from joints that drift or are broken.

use super::baseline::{Start, median};
use super::change::{Change, Fit};
use super::chart::{Cusum, Design, Ewma};
use super::event::Kind;
use super::known::Known;
use super::reference::{FURTHEST, Reference};
use super::scatter::Scatter;
use super::series::Charted;
use bandward::rule::Side;

/// A drift is further off than so many standard errors, at its likeliest beginning. The charts alone,
/// some twenty of them, would call a steady shop drifting at every tenth look (own simulation).
pub const CLEAR: f64 = 4.8;
/// Joints before a drift among which its beginning is looked for.
const LOOK_BACK: usize = 60;

/// A drift: both charts signal on the same side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Which way it goes.
    pub side: Side,
    /// The point at which it began, as the CUSUM tells: the one after its sum was last nothing.
    pub since: usize,
    /// The first point at which both charts signal.
    pub signal: usize,
    /// The last point at which both charts signal.
    pub until: usize,
    /// Does it still stand at the last point of all?
    pub is_standing: bool,
    /// Mean from where it began to the last point at which both signal, or to the event after it.
    pub mean: f64,
    /// Where and how it changed.
    pub change: Option<Change>,
    /// The event after it, and whether the level came back with it.
    pub after: Option<(Kind, bool)>,
    /// The point of that event.
    after_at: Option<usize>,
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
            let inflation = self.scatter.inflation(&watcher.before(drift.since));
            drift.change = self.change(&watcher.usable, drift.since, drift.end(), drift.side, inflation);
        }
        let coefficients = watcher.reference.coefficients();
        Watched { charted: watcher.charted, learnt: watcher.learnt, coefficients, drift }
    }
    /// The likeliest change among the joints up to `end` and so many before `since`.
    fn change(&self, usable: &[usize], since: usize, end: usize, side: Side, inflation: f64) -> Option<Change> {
        let from = since.saturating_sub(LOOK_BACK);
        let at: Vec<usize> = usable.iter().copied().filter(|at| (from..=end).contains(at)).collect();
        let (rows, expected) = self.known.with_levels(&at);
        let values: Vec<f64> = at.iter().map(|&at| self.values[at]).collect();
        let fit = Fit::new(&rows, &expected, &values, self.least_deviation, inflation)?;
        fit.change(Some(side)).map(|change| change.placed(&at))
    }
}

impl Drift {
    /// The last point whose reading shows it.
    pub fn end(&self) -> usize {
        self.after_at.map_or(self.until, |after| self.until.min(after.saturating_sub(1)))
    }
}

/// A drift that stood when an event let the level go.
struct Held {
    /// What was known before the drift.
    known: Reference,
    /// How far off the drift was.
    size: f64,
    /// How far off each joint since is.
    off: Vec<f64>,
}

struct Watcher<'c> {
    course: &'c Course<'c>,
    ewma: Ewma,
    cusum: Cusum,
    signals: (Option<Side>, Option<Side>),
    reference: Reference,
    /// Of each sum, above and below: where it last rose from nothing, and what was known then.
    risen: [(usize, Reference); 2],
    /// Points whose level is not known yet.
    fresh: Vec<usize>,
    /// A point far off alone, and on which side.
    alone: Option<(usize, Side)>,
    /// Points since the latest event and how far off each counts.
    counted: Vec<(usize, f64)>,
    /// How far off the points before a drift were.
    before: Vec<f64>,
    /// Points that tell where a change was.
    usable: Vec<usize>,
    learnt: Vec<usize>,
    charted: Vec<Charted>,
    held: Option<Held>,
    drift: Option<Drift>,
}

impl<'c> Watcher<'c> {
    fn new(course: &'c Course<'c>, start: &Start) -> Self {
        let (ewma, cusum) = (Ewma::new(course.design), Cusum::new(course.design));
        let reference = start.reference.clone();
        let risen = [0, 1].map(|_| (start.baseline.end, reference.clone()));
        Self {
            course,
            ewma,
            cusum,
            signals: (None, None),
            reference,
            risen,
            fresh: Vec::new(),
            alone: None,
            counted: Vec::new(),
            before: start.deviates.clone(),
            usable: start.kept.clone(),
            learnt: start.kept.clone(),
            charted: Vec::new(),
            held: None,
            drift: None,
        }
    }
    fn take(&mut self, at: usize, start: &Start) {
        if let Some(kind) = self.course.known.restarts[at] {
            self.restart(kind, at);
        }
        let (row, value) = (&self.course.known.rows[at], self.course.values[at]);
        let deviate = self.reference.deviate(row, value).or_else(|| self.settle(at, start.baseline.end));
        let is_alone = deviate.is_some_and(|deviate| self.push(at, deviate, start.baseline.end));
        if deviate.is_some() && !is_alone {
            self.usable.push(at);
            self.learn_or_signal(at);
        }
        self.hold(at);
        let (cusum_high, cusum_low) = self.cusum.sums();
        for (risen, sum) in self.risen.iter_mut().zip([cusum_high, cusum_low]) {
            if sum <= 0.0 {
                *risen = (at + 1, self.reference.clone());
            }
        }
        self.charted.push(Charted {
            ewma: start.baseline.mean + start.baseline.deviation * self.ewma.value(),
            cusum_high,
            cusum_low,
            ewma_signal: self.signals.0,
            cusum_signal: self.signals.1,
            deviate,
            is_set_aside: is_alone,
        });
    }
    /// A level that is not known yet, after an event or of an operator who is new, is set by the first two
    /// joints that agree: one alone might be far off. How far off the second of them is.
    fn settle(&mut self, at: usize, end: usize) -> Option<f64> {
        let course = self.course;
        let (row, value) = (&course.known.rows[at], course.values[at]);
        let agreed = self.fresh.iter().find_map(|&before| {
            let mut reference = self.reference.clone();
            reference.learn(&course.known.rows[before], course.values[before]);
            let deviate = reference.deviate(row, value).filter(|deviate| deviate.abs() <= FURTHEST)?;
            Some((before, reference, deviate))
        });
        let Some((before, reference, deviate)) = agreed else {
            if !course.broken[at] {
                self.fresh.push(at);
            }
            return None;
        };
        self.reference = reference;
        self.usable.push(before);
        self.learnt.push(before);
        let is_settled = |at: &usize| self.reference.forecast(&course.known.rows[*at]).is_some();
        let (settled, fresh): (Vec<usize>, Vec<usize>) = self.fresh.iter().partition(|at| is_settled(at));
        self.fresh = fresh;
        for other in settled.into_iter().filter(|other| *other != before) {
            self.charted[other - end].is_set_aside = true;
        }
        Some(deviate)
    }
    /// Lets the charts take how far off a point is; true where it stands alone, far off, and does not count.
    ///
    /// That one reading alone never counts, and two in a row do, is the rule of the robust CUSUM (Lucas and
    /// Crosier 1982, "Robust CUSUM", Communications in Statistics - Theory and Methods 11, 2669-2687; from
    /// memory).
    fn push(&mut self, at: usize, deviate: f64, end: usize) -> bool {
        let side = if deviate > 0.0 { Side::High } else { Side::Low };
        let is_far = deviate.abs() > FURTHEST;
        match self.alone.take() {
            Some((before, same)) if is_far && same == side => {
                self.count(before, FURTHEST.copysign(deviate));
                self.usable.push(before);
                self.charted[before - end].is_set_aside = false;
            }
            _ if is_far => {
                self.alone = Some((at, side));
                return true;
            }
            _ => {}
        }
        self.count(at, deviate.clamp(-FURTHEST, FURTHEST));
        false
    }
    fn count(&mut self, at: usize, deviate: f64) {
        self.signals = (self.ewma.push(deviate), self.cusum.push(deviate));
        self.counted.push((at, deviate));
    }
    fn learn_or_signal(&mut self, at: usize) {
        if let Some(side) = self.signals.1.filter(|_| self.signals.0 == self.signals.1) {
            let (since, known) = &self.risen[usize::from(side == Side::Low)];
            let since = *since;
            if self.is_clear(since, at, side) {
                // What drifts must not become what is usual.
                self.reference = known.clone();
                self.learnt.retain(|learnt| *learnt < since);
                self.signal(side, since, at);
                return;
            }
        }
        if !self.course.broken[at] {
            self.reference.learn(&self.course.known.rows[at], self.course.values[at]);
            self.learnt.push(at);
        }
    }
    /// Is what the charts signal more than scatter that follows on itself, and all that is not known well
    /// of levels, operators and warmth, can make?
    fn is_clear(&self, since: usize, at: usize, side: Side) -> bool {
        let inflation = self.course.scatter.inflation(&self.before(since));
        let change = self.course.change(&self.usable, since, at, side, inflation);
        change.is_some_and(|change| change.deviate >= CLEAR)
    }
    /// How far off the points before `since` were.
    fn before(&self, since: usize) -> Vec<f64> {
        let counted = self.counted.iter().filter(|(at, _)| *at < since).map(|(_, deviate)| *deviate);
        self.before.iter().copied().chain(counted).collect()
    }
    fn signal(&mut self, side: Side, since: usize, at: usize) {
        match &mut self.drift {
            Some(drift) if drift.side == side && since <= drift.until => drift.until = at,
            drift => {
                *drift = Some(Drift {
                    side,
                    since,
                    signal: at,
                    until: at,
                    is_standing: false,
                    mean: 0.0,
                    change: None,
                    after: None,
                    after_at: None,
                });
            }
        }
    }
    /// An event: the next joints set the level. What the charts have summed up stays, unless the event ends
    /// it: a drift that stood is then compared with what was before it.
    fn restart(&mut self, kind: Kind, at: usize) {
        self.alone = None;
        self.fresh.clear();
        let stood = self.drift.filter(|drift| drift.until + 1 == at);
        match stood {
            Some(drift) => self.hold_on(drift, kind, at),
            None => self.held = None,
        }
        self.reference.let_level_go();
        if stood.is_some() || kind.ends_wear() {
            let since = stood.map_or(at, |drift| drift.since);
            let counted = self.counted.drain(..).filter(|(at, _)| *at < since);
            self.before.extend(counted.map(|(_, deviate)| deviate));
            (self.ewma, self.cusum) = (Ewma::new(self.course.design), Cusum::new(self.course.design));
            self.signals = (None, None);
            self.risen = [0, 1].map(|_| (at, self.reference.clone()));
        } else {
            self.risen.iter_mut().for_each(|(_, known)| known.let_level_go());
        }
    }
    fn hold_on(&mut self, mut drift: Drift, kind: Kind, at: usize) {
        let course = self.course;
        if let Some(held) = &mut self.held {
            held.off.clear();
        } else {
            let known = self.reference.clone();
            let off = |at: usize| {
                let (expected, _) = known.forecast(&course.known.rows[at])?;
                Some(course.values[at] - expected)
            };
            let size = median(&(drift.since..at).filter_map(off).collect::<Vec<f64>>());
            self.held = Some(Held { known, size, off: Vec::new() });
            drift.after_at = Some(at);
        }
        drift.after = Some((kind, false));
        self.drift = Some(drift);
    }
    /// After an event a drift that stood is over once the level is nearer to what it was before.
    fn hold(&mut self, at: usize) {
        let (Some(held), Some(drift)) = (&mut self.held, &mut self.drift) else { return };
        let Some((kind, _)) = drift.after else { return };
        let expected = held.known.forecast(&self.course.known.rows[at]);
        held.off.extend(expected.map(|(expected, _)| self.course.values[at] - expected));
        let is_back = median(&held.off) / held.size <= 0.5;
        if !is_back {
            drift.until = at;
        }
        drift.after = Some((kind, is_back));
    }
}
