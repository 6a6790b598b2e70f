//! Faults of the weld that are no range: slip, stall, the way round, outage, pole.
//!
//! Decides: when each is judged, and what it does to the band.
//! Assumes: the windows of the tick are closed.
//! Never: decides whether a fault is there: that is judging.

use super::Monitor;
use crate::event::Sink;
use crate::judge::judgement::Judgement;
use crate::judge::{faults, ranges};
use crate::record::crater_fill::CraterFill;
use crate::record::proof::Why;
use crate::rule::Rule;
use crate::trackers::arc::Phase;
use crate::trackers::spindle::Motion;
use crate::units::Degrees;

/// The wire that burns back touches for less than this, µs. Common practice, no source.
const BURN_BACK_US: u64 = 500_000;
/// A pipe that stood for longer is told as stalled, µs: 0.6 s until it is known to stand, and the second that the
/// alarm of a stall may wait.
const SHORT_STAND_US: u32 = 1_600_000;
/// From here on the pipe may rest because the band ends.
const MAY_END_FROM: Degrees = Degrees::from_milli(350_000);

impl Monitor {
    /// Since when the pipe stood that got going too late after the strike, where that is not told yet.
    pub(super) fn stood_since(&mut self) -> Option<u64> {
        let record = &self.bands.tally.record;
        let is_told = record.start_unseen || record.violated.contains(Rule::SpindleStall);
        (self.bands.confirmed && self.trackers.spindle.take_late_start() && !is_told)
            .then_some(record.start_us)
    }
    /// Since when the pipe stood that turns again, where that may have been too short for a stall.
    pub(super) fn stood_short_since(&mut self) -> Option<u64> {
        let stood_us = self.trackers.spindle.take_stand_us()?;
        // By the tie-in, where a band may end, a stall is told later: none of those that turned on may go untold.
        let is_late = self.clock.moment.position.turned >= Some(MAY_END_FROM);
        if stood_us >= SHORT_STAND_US && (!is_late || self.alarms.is_active(Rule::SpindleStall)) {
            return None;
        }
        Some(self.clock.moment.now_us.saturating_sub(u64::from(stood_us)))
    }
    pub(super) fn judge_turning(
        &mut self,
        rule: Rule,
        culprit: Motion,
        since_us: Option<u64>,
        sink: &mut dyn Sink,
    ) {
        if !self.coverage.watched.contains(rule) {
            return;
        }
        let judgement = faults::turning(rule, culprit, since_us, self.view());
        match judgement {
            Judgement::NotApplicable => {}
            Judgement::Unknown => self.lose(rule),
            Judgement::Judged { .. } => self.note_judged(rule),
        }
        let turned = self.clock.moment.position.turned;
        // The pipe may rest under a crater fill.
        let runs_down = || self.bands.tally.crater_fill.as_ref().is_some_and(CraterFill::runs_down);
        let rests = turned >= Some(ranges::FULL_TURN) && runs_down();
        // One that turns again under the arc did not rest.
        let may_rest = rests && self.procedure.arc.crater_fill_us > 0 && since_us.is_none();
        // What only looks like a ramp for a moment does not end what was found by then.
        let judgement = if may_rest { Judgement::Unknown } else { self.unless_interrupted(rule, judgement) };
        self.apply(rule, None, judgement, sink);
    }
    /// Which way round the pipe turns.
    pub(super) fn judge_direction(&mut self, sink: &mut dyn Sink) {
        let rule = Rule::SpindleReversed;
        if !self.coverage.watched.contains(rule) {
            return;
        }
        let judgement = faults::reversed(self.view());
        match judgement {
            Judgement::NotApplicable => {}
            Judgement::Unknown => self.bands.tally.judged.hindered(rule, Why::SenseUnknown),
            Judgement::Judged { .. } => self.note_judged(rule),
        }
        if judgement != Judgement::NotApplicable {
            let first = self.bands.first_turning.get().or(self.trackers.spindle.direction());
            self.bands.first_turning.set(first);
        }
        self.apply(rule, None, self.unless_interrupted(rule, judgement), sink);
    }
    pub(super) fn judge_outage(&mut self, sink: &mut dyn Sink) {
        // Whether it was an outage of a band is known once there is a band.
        let back = if self.is_outage_known() { self.bands.outage.take() } else { None };
        let arc = &self.trackers.arc;
        if arc.phase().is_in_band() && (arc.phase() != Phase::Outage || arc.seen_out_us().is_some()) {
            self.note_judged(Rule::ArcOutage);
        }
        let judgement = faults::arc_outage(back, self.view());
        self.apply(Rule::ArcOutage, None, judgement, sink);
    }
    /// Past the full turn an arc that touches once more as the wire burns back is no arc that was struck again.
    fn is_outage_known(&self) -> bool {
        let Some(outage) = self.bands.outage.filter(|_| self.bands.confirmed) else { return false };
        let burnt_us = self.clock.moment.now_us.saturating_sub(outage.back_us);
        !outage.is_past() || self.trackers.arc.is_lit() && burnt_us >= BURN_BACK_US
    }
    pub(super) fn judge_polarity(&mut self, sink: &mut dyn Sink) {
        let named = self.alarms.named_pole();
        let Some((judgement, found)) = faults::polarity(named, self.view()) else { return };
        if judgement != Judgement::NotApplicable {
            self.note_judged(Rule::PolarityWrong);
        }
        let channel = self.alarms.polarity_channel(found);
        let judgement = self.unless_interrupted(Rule::PolarityWrong, judgement);
        self.apply(Rule::PolarityWrong, channel, judgement, sink);
    }
}
