//! The two charts over the joints after the baseline.
//!
//! Decides: where a drift begins, is signalled, and is over.
//! Assumes: a baseline of sound joints.
//! Never: calls a drift what only one of the charts signals, what one joint alone makes, or what scatter
//! that follows on itself explains; nor learns from joints that drift or are broken.

use super::baseline::{Start, median};
use super::chart::{Cusum, Ewma};
use super::charted::Charted;
use super::course::{Course, Watched};
use super::drift::Drift;
use super::event::Kind;
use super::reference::{FURTHEST, Reference};
use bandward::rule::Side;

/// What is so many standard errors off may be a drift: it is not learnt from until it is clear or over.
pub(super) const SUSPECT: f64 = 3.0;
/// Joints whose middle tells whether a level is back.
pub(super) const RECENT: usize = 5;
/// A level is back that is off by this share of the drift at most, or by one standard deviation of a joint,
/// which a median of five shows to a half of one.
const NEAR: f64 = 0.25;
/// Neighbours are off likewise on the same side, both beyond the usual warning limits, two standard deviations, and
/// neither by less than half of the other: chance beside one that is very far off makes no two of them.
const LIKEWISE: (f64, f64) = (2.0, 0.5);

fn is_likewise(one: f64, other: f64) -> bool {
    let (least, share) = LIKEWISE;
    let (less, more) = (one.abs().min(other.abs()), one.abs().max(other.abs()));
    one * other > 0.0 && less > least && less >= share * more
}

/// A drift that stands.
struct Held {
    /// What was known before the drift.
    known: Reference,
    /// How far off it has been.
    size: f64,
    /// How far off each joint is, since the drift or the event after it.
    off: Vec<f64>,
}

/// Is the level of such a joint known, to less than one and a half standard deviations of a joint?
fn is_known(reference: &Reference, row: &[f64]) -> bool {
    const MOST_VARIANCE: f64 = 2.25;
    reference.forecast(row).is_some_and(|(_, variance)| variance <= MOST_VARIANCE)
}

/// The charts under way.
pub(super) struct Watcher<'c> {
    course: &'c Course<'c>,
    ewma: Ewma,
    cusum: Cusum,
    signals: (Option<Side>, Option<Side>),
    pub(super) reference: Reference,
    /// Of each sum, above and below: where it last rose from nothing.
    risen: [usize; 2],
    /// Points whose level is not known yet.
    fresh: Vec<usize>,
    /// A point far off alone, and how far.
    alone: Option<(usize, f64)>,
    /// How far off the point before is that counts.
    off: f64,
    /// Points since the latest event and how far off each counts.
    counted: Vec<(usize, f64)>,
    /// How far off the points before a drift were.
    before: Vec<f64>,
    /// Points that tell where a change was.
    pub(super) usable: Vec<usize>,
    pub(super) learnt: Vec<usize>,
    pub(super) charted: Vec<Charted>,
    held: Option<Held>,
    pub(super) drift: Option<Drift>,
}

impl<'c> Watcher<'c> {
    pub(super) fn new(course: &'c Course<'c>, start: &Start) -> Self {
        let (ewma, cusum) = (Ewma::new(course.design), Cusum::new(course.design));
        let reference = start.reference.clone();
        let risen = [start.baseline.end; 2];
        Self {
            course,
            ewma,
            cusum,
            signals: (None, None),
            reference,
            risen,
            fresh: Vec::new(),
            alone: None,
            off: 0.0,
            counted: Vec::new(),
            before: start.deviates.clone(),
            usable: start.kept.clone(),
            learnt: start.kept.clone(),
            charted: Vec::new(),
            held: None,
            drift: None,
        }
    }
    pub(super) fn take(&mut self, at: usize, start: &Start) {
        if let Some(kind) = self.course.known.restarts[at] {
            self.restart(kind, at);
        }
        let (row, value) = (&self.course.known.rows[at], self.course.values[at]);
        let deviate = if is_known(&self.reference, row) {
            self.reference.deviate(row, value)
        } else if self.course.known.is_crater(at) {
            None
        } else {
            self.settle(at, start.baseline.end)
        };
        let is_crater = self.course.known.is_crater(at);
        let is_alone = is_crater || deviate.is_some_and(|deviate| self.push(at, deviate, start.baseline.end));
        if deviate.is_some() && !is_alone {
            self.usable.push(at);
            self.learn_or_signal(at);
        }
        self.hold(at, !is_alone);
        let (cusum_high, cusum_low) = self.cusum.sums();
        for (risen, sum) in self.risen.iter_mut().zip([cusum_high, cusum_low]) {
            if sum <= 0.0 {
                *risen = at + 1;
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
        let is_settled = |at: &usize| is_known(&self.reference, &course.known.rows[*at]);
        let (settled, fresh): (Vec<usize>, Vec<usize>) = self.fresh.iter().partition(|at| is_settled(at));
        self.fresh = fresh;
        for other in settled.into_iter().filter(|other| *other != before) {
            self.charted[other - end].is_set_aside = true;
        }
        Some(deviate)
    }
    /// Lets the charts take how far off a point is; true where it stands alone, far off, and does not count.
    ///
    /// That one reading alone never counts, and what goes on does, is the rule of the robust CUSUM (Lucas and
    /// Crosier 1982, "Robust CUSUM", Communications in Statistics - Theory and Methods 11, 2669-2687; from
    /// memory).
    fn push(&mut self, at: usize, deviate: f64, end: usize) -> bool {
        match self.alone.take() {
            Some((before, far)) if is_likewise(far, deviate) => {
                self.count(before, FURTHEST.copysign(deviate));
                self.usable.push(before);
                self.charted[before - end].is_set_aside = false;
            }
            _ if deviate.abs() > FURTHEST && !is_likewise(self.off, deviate) => {
                self.alone = Some((at, deviate));
                self.off = 0.0;
                return true;
            }
            _ => {}
        }
        self.off = deviate;
        self.count(at, deviate.clamp(-FURTHEST, FURTHEST));
        false
    }
    fn count(&mut self, at: usize, deviate: f64) {
        self.signals = (self.ewma.push(deviate), self.cusum.push(deviate));
        self.counted.push((at, deviate));
    }
    fn learn_or_signal(&mut self, at: usize) {
        let both = self.signals.1.filter(|_| self.signals.0 == self.signals.1);
        let change = both.and_then(|side| {
            let since = self.risen[usize::from(side == Side::Low)];
            let scatter = self.course.scatter.of_own(&self.before(since));
            let change = self.course.change(&self.usable, [since, at, at], side, scatter)?;
            Some((since, change)).filter(|(_, change)| change.deviate >= SUSPECT)
        });
        let Some((since, change)) = change else { return self.learn(at) };
        // What drifts must not become what is usual.
        let known = self.known_before(change.at);
        let has_event = self.course.known.restarts[change.at + 1..=at].iter().any(Option::is_some);
        if has_event {
            self.learn(at);
        } else {
            self.learnt.retain(|learnt| *learnt < change.at);
            self.reference = known.clone();
        }
        // Scatter that follows on itself, and all that is not known well of levels, operators and warmth,
        // make no clear change.
        if change.deviate >= self.course.clear {
            self.signal(change.side, since, at, known);
        }
    }
    fn learn(&mut self, at: usize) {
        let is_new_level = self.drift.is_some_and(|drift| drift.after_at.is_some());
        if !self.course.broken[at] && (self.held.is_none() || is_new_level) {
            self.reference.learn(&self.course.known.rows[at], self.course.values[at]);
            self.learnt.push(at);
        }
    }
    /// What was known before a change.
    fn known_before(&self, change: usize) -> Reference {
        let known = self.course.known;
        let expected = known.expected(1);
        let mut reference = Reference::expecting(&expected, known.width(), self.course.least_deviation);
        let mut learnt = self.learnt.clone();
        learnt.sort_unstable();
        let mut next = learnt.iter().copied().peekable();
        for at in 0..change {
            if known.restarts[at].is_some() {
                reference.let_level_go();
            }
            if next.next_if_eq(&at).is_some() {
                reference.learn(&known.rows[at], self.course.values[at]);
            }
        }
        reference
    }
    /// How far off the points before `since` were.
    pub(super) fn before(&self, since: usize) -> Vec<f64> {
        let counted = self.counted.iter().filter(|(at, _)| *at < since).map(|(_, deviate)| *deviate);
        self.before.iter().copied().chain(counted).collect()
    }
    fn signal(&mut self, side: Side, since: usize, at: usize, known: Reference) {
        if self.held.is_some() && self.drift.is_some_and(|drift| drift.side == side) {
            return;
        }
        let before = self.drift.filter(|drift| drift.side == side && since <= drift.until);
        let drift = before.unwrap_or(Drift {
            side,
            since,
            signal: at,
            until: at,
            is_standing: false,
            stays_off: false,
            mean: 0.0,
            change: None,
            after: None,
            after_at: None,
        });
        self.drift = Some(drift);
        let off = |at: &usize| {
            let (expected, _) = known.forecast(&self.course.known.rows[*at])?;
            Some(self.course.values[*at] - expected)
        };
        let shown: Vec<usize> =
            self.usable.iter().copied().filter(|shown| (since..at).contains(shown)).collect();
        let off: Vec<f64> = shown.iter().filter_map(off).collect();
        self.held = Some(Held { known, size: 0.0, off });
    }
    /// An event: the next joints set the level. What the charts have summed up stays, unless the event ends
    /// it: a drift that stood is then compared with what was before it.
    fn restart(&mut self, kind: Kind, at: usize) {
        (self.alone, self.off) = (None, 0.0);
        self.fresh.clear();
        if let (Some(held), Some(drift)) = (&mut self.held, &mut self.drift) {
            held.off.clear();
            drift.after_at = drift.after_at.or(Some(at));
            drift.after = Some((kind, false));
        }
        self.reference.let_level_go();
        if self.held.is_some() || kind.ends_wear() {
            let since = self.drift.filter(|_| self.held.is_some()).map_or(at, |drift| drift.since);
            let counted = self.counted.drain(..).filter(|(at, _)| *at < since);
            self.before.extend(counted.map(|(_, deviate)| deviate));
            (self.ewma, self.cusum) = (Ewma::new(self.course.design), Cusum::new(self.course.design));
            self.signals = (None, None);
            self.risen = [at; 2];
        }
    }
    /// A drift stands until the level of the latest joints is what it was before, whatever events and
    /// operators came since.
    fn hold(&mut self, at: usize, is_counted: bool) {
        let (Some(held), Some(drift)) = (&mut self.held, &mut self.drift) else { return };
        let expected = held.known.forecast(&self.course.known.rows[at]).filter(|_| is_counted);
        held.off.extend(expected.map(|(expected, _)| self.course.values[at] - expected));
        let recent = median(&held.off[held.off.len().saturating_sub(RECENT)..]);
        if drift.after_at.is_none() && recent.abs() > held.size.abs() {
            held.size = recent;
        }
        let near = (NEAR * held.size.abs()).max(held.known.deviation());
        let is_back = !held.off.is_empty() && (recent.abs() <= near || recent / held.size <= 0.0);
        drift.after = drift.after.map(|(kind, _)| (kind, is_back));
        if is_back {
            self.held = None;
        } else {
            drift.until = at;
        }
    }
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
}
