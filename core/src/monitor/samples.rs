//! A sample: what is added up with it, and what it changes.
//!
//! Decides: the short way for plain samples, the long way for all others.
//! Assumes: nothing of the sample.
//! Never: judges; that is begun when a tick is due.

use super::clock::SLOTS;
use super::slots::may_change_what_is_plain;
use super::{Monitor, Plain};
use crate::event::Sink;
use crate::record::bands::Start;
use crate::record::crater_fill::FOLLOWED_FROM;
use crate::sample::{Channel, ChannelSet, Sample};
use crate::trackers::arc::{Change, LOWEST_ARC_VOLTAGE, Phase};
use crate::units::Angle;

impl Monitor {
    /// Takes one sample; never fails: what it finds goes to `sink`.
    ///
    /// ```
    /// use bandward::units::{Current, Voltage};
    /// use bandward::{Acquisition, BandRecord, Event, Monitor, Phase, Sample, Sink, SoundProcedure, sample::ChannelSet};
    ///
    /// # struct Nobody;
    /// # impl Sink for Nobody {
    /// #     fn event(&mut self, _: &Event) {}
    /// #     fn band(&mut self, _: &BandRecord) {}
    /// # }
    /// let mut monitor = Monitor::new(&SoundProcedure::NONE, Acquisition::every(1_000, ChannelSet::ELECTRICAL));
    /// for time_ms in 0..2_000 {
    ///     let sample = Sample::at(time_ms * 1_000).current(Current::amps(320)).voltage(Voltage::volts(31));
    ///     monitor.step(&sample, &mut Nobody);
    /// }
    /// assert_eq!(monitor.phase(), Phase::Arc);
    /// ```
    #[inline]
    pub fn step(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        if !self.step_plainly(sample) {
            self.step_closely(sample, sink);
        } else if self.clock.slot < SLOTS || sample.time_us >= self.clock.tick_due_us {
            self.judge_on(sample.time_us, true, sink);
        }
    }

    /// Takes the sample if it is plain: nothing but sums and the count of short circuits changes, or nothing but the last
    /// readings.
    #[inline]
    fn step_plainly(&mut self, sample: &Sample) -> bool {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.clock.last_us);
        let Some((amps, volts)) = self.plain.readings(sample) else { return false };
        if wait_us > u64::from(self.acquisition.gap_tolerance_us)
            || self.trackers.electrical.is_full_of_plain()
        {
            return false;
        }
        let trackers = &mut self.trackers;
        self.clock.last_us = now_us;
        trackers.signal.note_electrical();
        if volts.unsigned_abs() < LOWEST_ARC_VOLTAGE {
            // No plain sample of an arc has such a voltage.
            trackers.signal.note_odd(Some(amps), Some(volts));
            trackers.arc.note_resting(now_us, amps);
            trackers.unlit_volts = volts.unsigned_abs();
            return true;
        }
        trackers.arc.note_burning(now_us, amps);
        trackers.dips.push(now_us, volts);
        trackers.electrical.push_plain(amps, volts);
        true
    }

    /// Takes any sample.
    #[inline(never)]
    fn step_closely(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.clock.last_us);
        let is_unknown = sample.is_after_unknown_wait();
        let unusual = wait_us > u64::from(self.acquisition.gap_tolerance_us)
            || now_us < self.clock.last_us
            || is_unknown;
        let wired = self.acquisition.channels;
        let is_slow = !sample.present().intersection(wired).minus(ChannelSet::ELECTRICAL).is_empty();
        // Such a sample bears enough: other work waits for the next one.
        self.clock.waits = is_slow && self.clock.may_wait && !self.clock.waits;
        if unusual {
            self.begin_at_once(sink);
        }
        if (unusual || self.clock.unseen_before) && !self.accept_time(now_us, is_unknown, sink) {
            self.plain = Plain::NEVER;
            return;
        }
        self.clock.last_us = now_us;
        self.clock.from_the_past = 0;
        if self.trackers.electrical.is_full() {
            self.take_electrical(now_us);
        }
        // A step of a slow channel that is held back for a moment must not make a pre-flow shorter.
        let may_wait = self.trackers.arc.is_lit() || self.acquisition.period_us <= 50_000;
        let observed = self.trackers.signal.observe(sample, &self.acquisition.sensor_ranges, may_wait);
        let mut usable = observed;
        if !self.channels.distrusted().is_empty() {
            self.trackers.signal.release(self.channels.stuck(), sample);
            usable = observed.minus(self.channels.distrusted());
        }
        let period_us = self.acquisition.period_us;
        usable = self.trackers.without_leaps(sample, usable, &self.procedure.arc, period_us);
        let (amps, volts) = (sample.reading(Channel::Current), sample.reading(Channel::Voltage));
        if usable.contains(Channel::Gas) {
            let lit_us = self.trackers.arc.lit_us();
            self.trackers.gas.push(now_us, sample.reading(Channel::Gas), lit_us);
        }
        if usable.contains_all(ChannelSet::ELECTRICAL) && self.trackers.arc.burns_on(now_us, amps, volts) {
            self.trackers.dips.push(now_us, volts);
            self.trackers.electrical.push(Some(amps), Some(volts));
        } else {
            self.look_closer(sample, observed, usable, sink);
        }
        let slow = usable.minus(ChannelSet::ELECTRICAL);
        if !slow.is_empty() {
            self.take_slow(now_us, slow, sample);
        }
        if let Some(struck) = self.bands.struck {
            // Nothing is judged before the band is begun.
            if !self.clock.waits && struck.at_us != now_us {
                self.begin_after(struck, sink);
            }
            return;
        }
        if self.clock.waits {
            // The next one is looked at closely, whatever it is.
            self.plain = Plain::NEVER;
        } else {
            self.judge_on(now_us, false, sink);
        }
    }

    /// Goes on with the judging of the last tick, or begins that of the next, after a sample that was plain or
    /// not, and works out what a plain sample is from here on, where that may have changed.
    #[inline(never)]
    fn judge_on(&mut self, now_us: u64, was_plain: bool, sink: &mut dyn Sink) {
        if let Some(struck) = self.bands.struck {
            // A plain sample in a band that was stepped into: the slots of that tick wait until it is begun.
            return self.begin_on(struck, sink);
        }
        let from = self.clock.slot;
        let is_due = now_us >= self.clock.tick_due_us;
        if is_due {
            self.tick(now_us, sink);
        } else if from < SLOTS {
            self.run_slots(self.clock.slots_a_step, sink);
        }
        if !was_plain || is_due || (from..self.clock.slot).any(may_change_what_is_plain) {
            self.plain = Plain::of(self);
        }
    }

    /// Whether the arc burns is not plain, or something may change with it. `observed` are the channels
    /// with a reading, `usable` those of them that count.
    fn look_closer(
        &mut self,
        sample: &Sample,
        observed: ChannelSet,
        usable: ChannelSet,
        sink: &mut dyn Sink,
    ) {
        let now_us = sample.time_us;
        let reading = |set: ChannelSet, channel| set.contains(channel).then(|| sample.reading(channel));
        // Where only stuck readings are left, they still tell best whether the arc burns.
        let telling = if usable.intersection(ChannelSet::ELECTRICAL).is_empty() { observed } else { usable };
        let odd = (reading(observed, Channel::Current), reading(observed, Channel::Voltage));
        self.trackers.signal.note_odd(odd.0, odd.1);
        let (amps, volts) = (reading(telling, Channel::Current), reading(telling, Channel::Voltage));
        let (gas_flows, wire_rests) = (self.trackers.gas.flows(), self.trackers.wire_rests());
        let may_settle = !self.clock.waits;
        let change = self.trackers.arc.observe(now_us, amps, volts, gas_flows, wire_rests, may_settle);
        if change != Change::None {
            // It rests no more; and nothing is plain before a band that was struck is begun.
            self.plain = Plain::NEVER;
            self.take_change(change, now_us, sink);
        }
        self.clock.unseen_before = false;
        let (current, voltage) = (reading(usable, Channel::Current), reading(usable, Channel::Voltage));
        if self.trackers.arc.is_lit() {
            if let Some(volts) = voltage {
                self.trackers.dips.push(now_us, volts);
            }
            self.trackers.electrical.push(current, voltage);
        } else {
            self.trackers.unlit_volts = voltage.map_or(0, i32::unsigned_abs);
        }
    }

    fn take_slow(&mut self, now_us: u64, slow: ChannelSet, sample: &Sample) {
        let reading = |channel: Channel| {
            (channel.is_watched() && slow.contains(channel)).then(|| sample.reading(channel))
        };
        let lit = self.trackers.arc.is_lit();
        if let Some(flow) = reading(Channel::Gas) {
            self.trackers.gas_sums.push(flow);
        }
        if let Some(flow) = reading(Channel::Coolant) {
            self.trackers.coolant_sums.push(flow);
        }
        if let Some(feed) = reading(Channel::Wire).filter(|_| lit) {
            self.trackers.wire_sums.push(feed);
        }
        if let Some(temperature) = reading(Channel::Work) {
            self.trackers.work.push(now_us, temperature);
        }
        if let Some((position, torch)) = reading(Channel::Torch).zip(self.trackers.torch.as_mut()) {
            torch.push(now_us, position);
        }
        if let Some(angle) = reading(Channel::Spindle) {
            let stays = self.trackers.signal.angle_leapt();
            let is_lost = self.trackers.spindle.push_after(now_us, Angle::from_bits(angle as u32), stays);
            let is_of_the_band = match self.bands.struck.map(|struck| struck.start) {
                None => is_lost && self.phase().is_in_band() && self.bands.tally.lose_turning(),
                Some(Start::Strike) => false,
                // The band before is over; this one has turned from the step on.
                Some(Start::Step { .. }) => is_lost,
            };
            if is_of_the_band {
                self.trackers.spindle.lose();
            }
        }
        if let Some(struck) = &mut self.bands.struck {
            (struck.slow, struck.slow_us) = (struck.slow.union(slow), now_us);
        } else if lit {
            self.add_slow(now_us, slow);
        }
    }

    /// Adds slow channels, as they were read last, to the band.
    pub(super) fn add_slow(&mut self, now_us: u64, slow: ChannelSet) {
        let Self { trackers, bands, .. } = self;
        let reading = |channel: Channel| {
            (channel.is_watched() && slow.contains(channel)).then(|| trackers.signal.last(channel))
        };
        if let Some(flow) = reading(Channel::Gas) {
            bands.tally.gas(flow);
        }
        if let Some(flow) = reading(Channel::Coolant) {
            bands.tally.coolant(flow);
        }
        if let Some(feed) = reading(Channel::Wire) {
            bands.tally.wire(feed);
        }
        if Channel::Spindle.is_watched() && slow.contains(Channel::Spindle) {
            bands.tally.turn(now_us, trackers.spindle.total());
        }
    }

    /// Adds the sums of the last samples to the band and the windows.
    pub(super) fn take_electrical(&mut self, now_us: u64) {
        let sums = self.trackers.close_electrical(now_us);
        self.bands.tally.add(&sums);
        if self.clock.moment.position.turned >= Some(FOLLOWED_FROM)
            && self.phase() == Phase::Arc
            && let Some(crater_fill) = self.bands.tally.crater_fill.as_mut()
        {
            crater_fill.follow(now_us, &sums);
        }
    }
}
