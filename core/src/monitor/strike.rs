//! A band begun: at the strike, or the step under the arc, the least, over the next samples the rest, where samples
//! come fast enough for it.
//!
//! Decides: what is noted of a band as it begins.
//! Assumes: whoever else does anything with the band has it begun at once before.
//! Never: judges the new band before it is begun; nor loses the one before, whose record goes out first.

use super::{Monitor, Plain};
use crate::event::{Event, Sink};
use crate::judge::ranges;
use crate::record::bands::{Closing, Start, Struck};
use crate::record::preflow::Preflow;
use crate::rule::Quantity;
use crate::sample::{Channel, ChannelSet};
use crate::trackers::arc::Phase;
use crate::trackers::electrical::ElectricalSums;
use crate::units::Duration;

impl Monitor {
    /// The arc is struck: a band begins.
    pub(super) fn strike(&mut self, now_us: u64, sink: &mut dyn Sink) {
        let unseen_before = self.clock.unseen_before || self.trackers.arc.was_blind();
        self.trackers.electrical = ElectricalSums::EMPTY;
        self.begin(Start::Strike, now_us, unseen_before, sink);
    }

    /// Begins a band: at once, or over the next samples.
    #[inline]
    pub(super) fn begin(&mut self, start: Start, now_us: u64, unseen_before: bool, sink: &mut dyn Sink) {
        self.bands.struck = Some(Struck {
            start,
            at_us: now_us,
            before_us: self.bands.tally.record.end_us,
            unseen_before,
            slow: ChannelSet::EMPTY,
            slow_us: now_us,
            part: 0,
        });
        if !self.clock.may_wait {
            self.begin_at_once(sink);
        }
    }

    /// Does what is left to do of the band that was struck, if one was.
    #[inline]
    pub(super) fn begin_at_once(&mut self, sink: &mut dyn Sink) {
        while let Some(struck) = self.bands.struck {
            self.begin_on(struck, sink);
        }
    }

    /// Does the next part of it, after a sample that was looked at closely.
    #[cold]
    #[inline(never)]
    pub(super) fn begin_after(&mut self, struck: Struck, sink: &mut dyn Sink) {
        self.begin_on(struck, sink);
        if struck.start != Start::Strike {
            // The arc burns on, and no part changes what a plain sample is.
            self.plain = Plain::of(self);
        }
    }

    /// Does the next part of it.
    #[cold]
    #[inline(never)]
    pub(super) fn begin_on(&mut self, mut struck: Struck, sink: &mut dyn Sink) {
        // Without a carriage nothing is stepped into.
        let start = if Channel::Carriage.is_watched() { struck.start } else { Start::Strike };
        match (struck.part, self.bands.closing, start) {
            (0, Some(closing), _) => return self.end_before_next(closing, sink),
            (0, None, Start::Strike) => {
                // A channel that contradicts others is found out only while the arc burns.
                let odd = self.channels.implausible().intersection(ChannelSet::ELECTRICAL);
                struck.unseen_before |= !odd.is_empty();
                self.end_joint_before(struck, sink);
            }
            (0, None, Start::Step { .. }) => {}
            (1, ..) => self.bands.tally.clear_sums(),
            (2, ..) => {
                self.bands.tally.clear_record();
                if start == Start::Strike {
                    self.trackers.weave.begin_band(struck.at_us);
                }
            }
            (_, _, Start::Strike) => return self.begin_band(struck, sink),
            (3, _, Start::Step { creeps }) => self.begin_stepped(struck, creeps),
            (_, _, Start::Step { .. }) => return self.count_stepped(struck, sink),
        }
        self.bands.struck = Some(Struck { part: struck.part.saturating_add(1), ..struck });
    }

    /// The band before is not done: a part of what is left to do.
    fn end_before_next(&mut self, closing: Closing, sink: &mut dyn Sink) {
        if closing.is_proven() {
            self.issue_record(sink);
        } else if closing.proofs.is_some() {
            self.prove_on(1);
        } else if !self.bands.tally.work_out(&self.procedure.geometry) {
            self.judge_ending_on(sink);
        }
    }

    /// What came before is over, for the bands and for the trackers.
    fn end_joint_before(&mut self, struck: Struck, sink: &mut dyn Sink) {
        let Struck { at_us, unseen_before, .. } = struck;
        self.bands.confirmed = false;
        self.bands.settled = false;
        self.bands.outage = None;
        self.coverage.start_unseen |= unseen_before;
        // A joint that was watched on while it cooled ends with the arc of the next.
        if self.bands.joint_marked || self.is_cooling() && self.is_long_off(at_us) {
            self.end_joint(at_us, sink);
        }
        self.trackers.spindle.begin_band();
        self.trackers.lively.begin_band();
        self.trackers.signal.begin_band(at_us);
        self.trackers.signal.begin_waits();
        self.trackers.signal.forget_repeats();
    }

    fn begin_band(&mut self, struck: Struck, sink: &mut dyn Sink) {
        let Struck { at_us, before_us, unseen_before, slow, slow_us, .. } = struck;
        self.bands.struck = None;
        let place = self.bands.next_place(&self.procedure.joint, self.travel(at_us));
        let tally = &mut self.bands.tally;
        tally.begin(place, at_us, unseen_before);
        tally.resume(at_us);
        let gas_is_sound = !self.channels.unsound().contains(Channel::Gas);
        if gas_is_sound && self.trackers.gas.is_seen() && !unseen_before {
            let flowed = self.trackers.gas.before(at_us);
            let known = ranges::gas_time(Quantity::GasPreflow, flowed, self.view());
            let slack_us = u64::from(self.acquisition.slack_us());
            let pause_us = at_us.checked_sub(before_us).filter(|_| before_us > 0);
            let pause_us = pause_us.map(|pause_us| pause_us.saturating_add(slack_us));
            let tally = &mut self.bands.tally;
            tally.preflow = Preflow::of(flowed, known, pause_us, self.procedure.limits(Quantity::GasPreflow));
            tally.record.gas_preflow = tally.preflow.told.map(Duration::from_bits);
        }
        let is_work_fresh = !unseen_before && self.is_work_fresh(at_us);
        self.bands.tally.is_work_fresh.set(is_work_fresh);
        self.add_slow(slow_us, slow);
        let band = self.bands.tally.record.band;
        sink.event(&Event::Phase { time_us: at_us, phase: Phase::Strike, band });
    }
}
