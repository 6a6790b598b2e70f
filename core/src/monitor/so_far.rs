//! The verdict so far: of the band under way, or the last one, and of the joint.
//!
//! Decides: what stands beside "now" on a screen. What was broken stays broken.
//! Never: is better than what the band or the joint will come to, but for what can be known only at the end.

use super::Monitor;
use crate::judge::proof;
use crate::record::proof::Outcome;
use crate::rule::{Rule, RuleSet};

/// What band and joint have come to so far.
///
/// ```
/// use bandward::{Acquisition, Monitor, Outcome, SoundProcedure, sample::ChannelSet};
///
/// let monitor = Monitor::new(&SoundProcedure::NONE, Acquisition::every(1_000, ChannelSet::ELECTRICAL));
/// assert_eq!(monitor.so_far().joint, Outcome::NotAsked); // the procedure asks for nothing
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SoFar {
    /// The joint, from 1.
    pub joint_number: u16,
    /// Bands finished on this joint.
    pub bands: u16,
    /// The band under way, else the last one; not asked before the first.
    pub band: Outcome,
    /// The joint; not proven before its first band.
    pub joint: Outcome,
    /// Broken in this band.
    pub broken_in_band: RuleSet,
    /// Broken on this joint, this band included.
    pub broken_in_joint: RuleSet,
    /// What cannot be proven any more in this band.
    pub not_proven: RuleSet,
}

/// The verdict so far, as it is worked out over some samples: all of it takes as long as many.
#[derive(Clone, Copy, Debug, Default)]
pub struct SoFarInParts {
    /// Rules that were looked at.
    seen: usize,
    /// When the band began that they were looked at in, µs.
    start_us: u64,
    not_proven: RuleSet,
}

impl SoFarInParts {
    /// Not begun.
    pub const NONE: Self = Self { seen: 0, start_us: 0, not_proven: RuleSet::EMPTY };
}

impl Monitor {
    /// The verdict so far.
    pub fn so_far(&self) -> SoFar {
        let mut parts = SoFarInParts::default();
        for _ in Rule::ALL {
            if let Some(so_far) = self.so_far_in_parts(&mut parts) {
                return so_far;
            }
        }
        self.so_far_by(parts.not_proven)
    }
    /// The next part of the verdict so far, one limit; all of it after the last. Each stands as it did when it was looked at.
    ///
    /// ```
    /// use bandward::{Acquisition, Monitor, SoundProcedure, monitor::SoFarInParts, sample::ChannelSet};
    ///
    /// let monitor = Monitor::new(&SoundProcedure::NONE, Acquisition::every(1_000, ChannelSet::ELECTRICAL));
    /// let mut parts = SoFarInParts::default();
    /// let so_far = (0..100).find_map(|_| monitor.so_far_in_parts(&mut parts)); // a sample each
    /// assert_eq!(so_far, Some(monitor.so_far()));
    /// ```
    pub fn so_far_in_parts(&self, parts: &mut SoFarInParts) -> Option<SoFar> {
        let start_us = self.bands.tally.record.start_us;
        if parts.start_us != start_us {
            // Another band than the one that was looked at.
            *parts = SoFarInParts { start_us, ..SoFarInParts::default() };
        }
        while self.is_band_open()
            && let Some(&rule) = Rule::ALL.get(parts.seen)
        {
            parts.seen = parts.seen.saturating_add(1);
            if self.coverage.asked.contains(rule) {
                if proof::of(rule, false, self.view()).outcome() == Outcome::NotProven {
                    parts.not_proven = parts.not_proven.with(rule);
                }
                return None;
            }
        }
        let not_proven = core::mem::take(parts).not_proven;
        Some(self.so_far_by(not_proven))
    }
    fn is_band_open(&self) -> bool {
        let bands = &self.bands;
        self.phase().is_in_band() && bands.struck.is_none() || bands.closing.is_some()
    }
    /// `not_proven` is what cannot be proven any more of an open band.
    fn so_far_by(&self, not_proven: RuleSet) -> SoFar {
        let bands = &self.bands;
        let record = &bands.tally.record;
        let is_open = self.is_band_open();
        let broken_in_band =
            if record.joint == bands.joint.number() { record.broken() } else { RuleSet::EMPTY };
        let not_proven = if is_open {
            not_proven.union(record.violated.intersection(RuleSet::ABOUT_MEASURING))
        } else {
            record.not_proven()
        };
        let band = match (is_open, broken_in_band.is_empty()) {
            _ if record.joint != bands.joint.number() => Outcome::NotAsked,
            (false, _) => record.outcome,
            (true, false) => Outcome::Broken,
            (true, true) if !self.procedure.asks() => Outcome::NotAsked,
            (true, true) if not_proven.is_empty() && !record.start_unseen => Outcome::Proven,
            (true, true) => Outcome::NotProven,
        };
        let broken_in_joint = bands.joint.broken().union(broken_in_band);
        let has_begun = self.has_joint_under_way();
        let joint = if !broken_in_joint.is_empty() {
            Outcome::Broken
        } else if !self.procedure.asks() {
            Outcome::NotAsked
        } else if has_begun && bands.joint.is_whole() {
            let cooling = proof::of_cooling(false, self.view()).outcome();
            band.max(bands.joint.worst_band()).max(cooling)
        } else {
            Outcome::NotProven
        };
        SoFar {
            joint_number: bands.joint.number(),
            bands: bands.joint.bands(),
            band,
            joint,
            broken_in_band,
            broken_in_joint,
            not_proven,
        }
    }
}
