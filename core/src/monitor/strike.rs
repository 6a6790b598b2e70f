//! A band begun: at the strike what the samples after it would change, over the next few of them the rest.
//!
//! Decides: what is noted of a band as it begins.
//! Assumes: whoever else does anything with the band has it begun at once before.
//! Never: judges, or takes a slow channel, before the band is begun.

use super::Monitor;
use crate::event::{Event, Sink};
use crate::record::bands::Struck;
use crate::rule::Quantity;
use crate::sample::{Channel, ChannelSet};
use crate::trackers::arc::Phase;
use crate::trackers::electrical::ElectricalSums;
use crate::units::Duration;

impl Monitor {
    /// The arc is struck: a band begins.
    pub(super) fn strike(&mut self, now_us: u64, sink: &mut dyn Sink) {
        self.judge_ending(sink);
        self.issue_record(sink);
        // A channel that contradicts others is found out only while the arc burns.
        let found_late = !self.channels.implausible().intersection(ChannelSet::ELECTRICAL).is_empty();
        let unseen_before = self.clock.unseen_before || self.trackers.arc.was_blind() || found_late;
        self.bands.confirmed = false;
        self.bands.settled = false;
        self.bands.outage = None;
        self.coverage.start_unseen |= unseen_before;
        self.trackers.electrical = ElectricalSums::EMPTY;
        // A joint that was watched on while it cooled ends with the arc of the next.
        if self.bands.joint_marked || self.is_cooling() && self.is_long_off(now_us) {
            self.end_joint(now_us, sink);
        }
        self.trackers.spindle.begin_band();
        self.trackers.lively.begin_band();
        self.bands.struck = Some(Struck { at_us: now_us, unseen_before, slow: ChannelSet::EMPTY, part: 0 });
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

    /// Does the next part of it.
    #[inline(never)]
    pub(super) fn begin_on(&mut self, struck: Struck, sink: &mut dyn Sink) {
        match struck.part {
            0 => {
                self.trackers.signal.begin_band(struck.at_us);
                self.trackers.signal.forget_repeats();
                self.bands.tally.clear_sums();
            }
            1 => self.bands.tally.clear_record(),
            _ => return self.begin_band(struck, sink),
        }
        self.bands.struck = Some(Struck { part: struck.part.saturating_add(1), ..struck });
    }

    fn begin_band(&mut self, struck: Struck, sink: &mut dyn Sink) {
        let Struck { at_us, unseen_before, slow, .. } = struck;
        self.bands.struck = None;
        let place = self.bands.next_place(&self.procedure.joint, self.travel(at_us));
        let tally = &mut self.bands.tally;
        tally.begin(place, at_us, unseen_before);
        tally.resume(at_us);
        let gas_is_sound = !self.channels.unsound().contains(Channel::Gas);
        if gas_is_sound && self.trackers.gas.is_seen() && !unseen_before {
            let flowed = self.trackers.gas.before(at_us);
            let time = Duration::from_micros(flowed.time_us);
            let needed = self.procedure.least(Quantity::GasPreflow);
            // A flow that began before the first sample may have been long enough.
            if !flowed.at_least || needed.is_none_or(|needed| time.to_bits() >= needed) {
                tally.record.gas_preflow = Some(time);
            }
        }
        self.bands.tally.is_work_fresh = !unseen_before && self.is_work_fresh(at_us);
        self.add_slow(at_us, slow);
        let band = self.bands.tally.record.band;
        sink.event(&Event::Phase { time_us: at_us, phase: Phase::Strike, band });
    }
}
