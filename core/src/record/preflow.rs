//! The gas before an arc, as either end of its limits is held against it.
//!
//! Decides: what of the gas that flowed before the arc is pre-flow for certain: none of it is older than the arc
//! before. What flowed on from before that, or from before the first sample, has no beginning that was seen.
//! Never: is too long for certain where the pause between the arcs, or the data, cannot hold it.

use crate::procedure::Limits;
use crate::trackers::gas::Flowed;
use crate::units::Duration;

/// Raw [`Duration`]s, where they are known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Preflow {
    /// As it is told.
    pub(crate) told: Option<i32>,
    /// What the least that is asked for is held against.
    pub(crate) at_least: Option<i32>,
    /// What the most that is allowed is held against.
    pub(crate) at_most: Option<i32>,
    /// Gas flowed, and when it began to is not known.
    pub(crate) is_open: bool,
    /// The meter stood still meanwhile as it never does.
    pub(crate) is_stale: bool,
}

impl Preflow {
    /// Nothing is known.
    pub(crate) const UNKNOWN: Self =
        Self { told: None, at_least: None, at_most: None, is_open: false, is_stale: false };

    /// Of gas that `flowed` before an arc, of which so much is `known`; `pause_us` since the arc before, where there was
    /// one, at the most that the samples allow.
    pub(crate) fn of(
        flowed: Flowed,
        known: Option<i32>,
        pause_us: Option<u64>,
        limits: Option<&Limits>,
    ) -> Self {
        if flowed.is_lost {
            return Self::UNKNOWN;
        }
        let is_stale = flowed.stale_us > 0;
        let raw = |time_us: u64| Duration::from_micros(time_us).to_bits();
        let time = raw(flowed.time_us);
        let outer = limits.and_then(|limits| limits.allowed.or(limits.recommended));
        let inner = limits.and_then(|limits| limits.recommended.or(limits.allowed));
        if let Some(pause_us) = pause_us.filter(|&pause_us| flowed.time_us > pause_us) {
            let pause = raw(pause_us);
            // The whole pause is no longer than is allowed; advice is for what is known.
            let is_short = outer.is_none_or(|range| pause <= range.high);
            let most = inner.map_or(pause, |range| pause.min(range.high));
            let at_most = is_short.then_some(most);
            let at_least = if is_stale { known } else { Some(time) };
            return Self { told: Some(pause), at_least, at_most, is_open: true, is_stale };
        }
        if !flowed.at_least {
            return Self { told: known, at_least: known, at_most: known, is_open: false, is_stale };
        }
        // A flow that began before the first sample may have been long enough, and is too long where what was seen of
        // it is.
        let at_most = outer.filter(|range| time > range.high).map(|_| time);
        Self { told: known.or(at_most), at_least: known, at_most, is_open: true, is_stale }
    }
}
