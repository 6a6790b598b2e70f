//! Joints: where one ends and the next begins.
//!
//! Decides: by marker or by sign; and when the carriage has gone to another place on the joint.
//! Assumes: the bands of a joint were told to it.
//! Never: ends a joint while its band is open.

use super::Monitor;
use crate::event::Sink;
use crate::record::bands::{Bands, Travel};
use crate::rule::Quantity;
use crate::sample::Channel;
use crate::trackers::arc::Phase;

/// A carriage this many steps from the last band has gone to another place.
const FAR_IN_STEPS: i32 = 3;
/// A reading older than this says nothing of where the carriage is, µs.
const STALE_US: u64 = 10_000_000;

impl Monitor {
    /// A new joint begins here, whatever the signs say; while a band is open, as soon as it is over.
    pub fn mark_joint(&mut self, time_us: u64, sink: &mut dyn Sink) {
        if self.phase().is_in_band() || self.bands.closing.is_some() {
            self.bands.joint_marked = true;
        } else if self.bands.joint.has_begun() {
            self.end_joint(time_us, sink);
        }
    }
    /// The number of the joint that is welded or comes next; absent while one that was marked waits for the end of a band.
    pub fn next_joint(&self) -> Option<u16> {
        (!self.bands.joint_marked).then(|| self.bands.joint.number())
    }
    /// Has a band of the joint been laid, or is one open?
    pub fn has_joint_under_way(&self) -> bool {
        self.bands.joint.has_bands() || self.phase().is_in_band() || self.bands.closing.is_some()
    }
    /// Ends the joint under way, and begins the next.
    pub(super) fn end_joint(&mut self, now_us: u64, sink: &mut dyn Sink) {
        self.end_cooling(sink);
        let record = self.bands.joint.finish(now_us, &self.procedure.joint, self.procedure.asks());
        self.bands.begin_joint(now_us);
        self.trackers.lively.begin_joint();
        sink.joint(&record);
    }
    /// Ends the joint by marker or sign; without an arc looks for welding that is not seen as such.
    pub(super) fn follow_joint(&mut self, sink: &mut dyn Sink) {
        let moment = self.clock.moment;
        if self.watches_cooling() {
            self.follow_cooling(sink);
        }
        if self.phase() == Phase::Arc {
            if self.bands.confirmed {
                self.follow_step(sink);
            } else if let Some(carriage) = self.fresh_carriage(moment.now_us) {
                // Where the band begins, should it become one.
                if let Some(stand) = self.bands.tally.stand.as_mut() {
                    stand.push(moment.now_us, carriage, false);
                }
            }
        }
        if self.phase().is_in_band() || self.bands.closing.is_some() {
            return;
        }
        let signs = self.trackers.signs_of_welding(self.procedure.arc.open_circuit);
        self.bands.joint.note_signs(signs, &moment);
        let Bands { joint, joint_marked, .. } = &self.bands;
        // A joint that has long been without an arc is watched on while it cools.
        let is_done = self.carriage_has_gone() || self.is_long_off(moment.now_us) && !self.is_cooling();
        if joint.has_begun() && (*joint_marked || is_done) {
            self.end_joint(moment.now_us, sink);
        }
    }
    /// Has there been no arc for so long that the joint is done by that?
    pub(super) fn is_long_off(&self, now_us: u64) -> bool {
        let Bands { joint, .. } = &self.bands;
        let off_us = now_us.saturating_sub(joint.last_band_us().max(joint.welding_unseen_at_us()));
        let limit_us = self.procedure.joint.ends_with_arc_off_us;
        joint.has_begun() && limit_us.is_some_and(|limit_us| off_us >= u64::from(limit_us))
    }
    fn carriage_has_gone(&self) -> bool {
        self.procedure
            .joint
            .ends_with_carriage_beyond
            .zip(self.carriage_from_last_band(self.clock.moment.now_us))
            .is_some_and(|(limit, distance)| distance > limit.to_bits())
    }
    /// How far the carriage is from where the last band was laid, raw.
    fn carriage_from_last_band(&self, now_us: u64) -> Option<i32> {
        let previous = self.bands.previous_carriage.get()?;
        self.fresh_carriage(now_us).map(|carriage| carriage.saturating_sub(previous).saturating_abs())
    }
    /// Where the carriage is, raw.
    pub(super) fn fresh_carriage(&self, now_us: u64) -> Option<i32> {
        let signal = &self.trackers.signal;
        let is_fresh = Channel::Carriage.is_watched()
            && self.acquisition.channels.contains(Channel::Carriage)
            && !self.channels.unsound().contains(Channel::Carriage)
            && signal.missing_since(Channel::Carriage, now_us, STALE_US).is_none();
        is_fresh.then(|| signal.last(Channel::Carriage))
    }
    /// How far it has come from all bands of the joint, against the longest step.
    pub(super) fn travel(&self, now_us: u64) -> Travel {
        let distance =
            self.fresh_carriage(now_us).and_then(|place| self.bands.places.as_ref()?.distance(place));
        let Some((step, distance)) = self.longest_step().zip(distance) else { return Travel::Unknown };
        if distance > step.saturating_mul(FAR_IN_STEPS) {
            Travel::Far
        } else if distance > step.saturating_add(step >> 1) {
            Travel::Beyond
        } else {
            Travel::Step
        }
    }
    /// The longest step from band to band, raw.
    fn longest_step(&self) -> Option<i32> {
        self.procedure
            .limits(Quantity::StepOver)
            .and_then(|limits| limits.allowed.or(limits.recommended))
            .map(|range| range.high)
            .filter(|&high| high != i32::MAX)
            .or(self.procedure.geometry.band_width.map(crate::units::Length::to_bits))
    }
}
