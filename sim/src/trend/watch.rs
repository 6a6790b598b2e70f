//! The two charts over the joints after the baseline.
//!
//! Decides: where a drift begins, is signalled, and is over.
//! Assumes: a baseline of sound joints.
//! Never: calls a drift what only one of the charts signals, nor learns from joints that drift.

use super::baseline::mean;
use super::chart::{Cusum, Design, Ewma};
use super::reference::Reference;
use super::{Charted, Point};
use crate::trend::baseline::Baseline;
use bandward::rule::Side;

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
    /// Do both still signal at the last point of all?
    pub is_standing: bool,
    /// Mean from where it began to the last point at which both signal.
    pub mean: f64,
}

/// Fills in the charts of all points after the baseline; the latest drift, if there is any.
pub fn watch(
    points: &mut [Point],
    baseline: &Baseline,
    least_deviation: f64,
    design: &Design,
) -> Option<Drift> {
    let values: Vec<f64> = points.iter().map(|point| point.value).collect();
    let (before, after) = values.split_at_checked(baseline.count)?;
    let mut watcher = Watcher::new(Reference::of(before, least_deviation), design, baseline.count);
    for (point, &value) in points.iter_mut().skip(baseline.count).zip(after) {
        point.charted = Some(watcher.take(value, baseline));
    }
    let mut drift = watcher.drift?;
    drift.is_standing = drift.until + 1 == values.len();
    drift.mean = mean(values.get(drift.since..=drift.until)?);
    Some(drift)
}

struct Watcher {
    ewma: Ewma,
    cusum: Cusum,
    reference: Reference,
    /// Of each sum, above and below: where it last rose from nothing, and what was known then.
    risen: [(usize, Reference); 2],
    next: usize,
    drift: Option<Drift>,
}

impl Watcher {
    fn new(reference: Reference, design: &Design, first: usize) -> Self {
        let (ewma, cusum) = (Ewma::new(design), Cusum::new(design));
        Self { ewma, cusum, reference, risen: [(first, reference); 2], next: first, drift: None }
    }
    fn take(&mut self, value: f64, baseline: &Baseline) -> Charted {
        let index = self.next;
        self.next += 1;
        let deviate = self.reference.deviate(value);
        let (ewma_signal, cusum_signal) = (self.ewma.push(deviate), self.cusum.push(deviate));
        match cusum_signal.filter(|_| ewma_signal == cusum_signal) {
            Some(side) => {
                let (since, known) = self.risen[usize::from(side == Side::Low)];
                // What drifts must not become what is usual.
                self.reference = known;
                self.signal(side, since, index);
            }
            None => self.reference = self.reference.learnt(value),
        }
        let (cusum_high, cusum_low) = self.cusum.sums();
        for (risen, sum) in self.risen.iter_mut().zip([cusum_high, cusum_low]) {
            if sum <= 0.0 {
                *risen = (index + 1, self.reference);
            }
        }
        let ewma = baseline.mean + baseline.deviation * self.ewma.value();
        Charted { ewma, cusum_high, cusum_low, ewma_signal, cusum_signal }
    }
    fn signal(&mut self, side: Side, since: usize, index: usize) {
        match &mut self.drift {
            Some(drift) if drift.side == side && since <= drift.until => drift.until = index,
            drift => {
                let (until, mean) = (index, 0.0);
                *drift = Some(Drift { side, since, signal: index, until, is_standing: false, mean });
            }
        }
    }
}
