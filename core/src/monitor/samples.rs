//! A sample: what is added up with it, and what it changes.
//!
//! Decides: the short way for plain samples, the long way for all others.
//! Assumes: nothing of the sample.
//! Never: judges; that is begun when a tick is due.

use super::{Monitor, Plain};
use crate::arc::Change;
use crate::event::Sink;
use crate::judge::SLOTS;
use crate::sample::{Channel, ChannelSet, Sample};
use crate::units::Angle;

impl Monitor {
    /// Takes one sample; never fails: what it finds goes to `sink`.
    #[inline]
    pub fn step(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        if !self.step_plainly(sample) {
            self.step_closely(sample, sink);
        } else if self.slot < SLOTS || sample.time_us >= self.tick_due_us {
            self.judge_on(sample.time_us, sink);
        }
    }

    /// Takes the sample if it is plain: nothing but sums changes.
    #[inline]
    fn step_plainly(&mut self, sample: &Sample) -> bool {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.last_us);
        let Some((amps, volts)) = self.plain.readings(sample) else { return false };
        if wait_us > u64::from(self.acquisition.gap_tolerance_us) || self.electrical.is_full() {
            return false;
        }
        self.last_us = now_us;
        self.signal.note_electrical();
        self.arc.note_burning(now_us, amps);
        self.electrical.push_plain(amps, volts);
        true
    }

    /// Takes any sample.
    #[inline(never)]
    fn step_closely(&mut self, sample: &Sample, sink: &mut dyn Sink) {
        let now_us = sample.time_us;
        let wait_us = now_us.wrapping_sub(self.last_us);
        let unusual = wait_us > u64::from(self.acquisition.gap_tolerance_us) || now_us < self.last_us;
        if (unusual || self.unseen_before) && !self.accept_time(now_us, sink) {
            self.plain = Plain::NEVER;
            return;
        }
        self.last_us = now_us;
        self.from_the_past = 0;
        if self.electrical.is_full() {
            self.take_electrical(now_us);
        }
        let observed = self.signal.observe(sample, self.procedure.sensor_ranges());
        let mut usable = observed;
        if !self.stuck.is_empty() {
            self.signal.release(self.stuck, sample);
            usable = observed.minus(self.stuck);
        }
        let (amps, volts) = (sample.reading(Channel::Current), sample.reading(Channel::Voltage));
        if usable.contains(Channel::Gas) {
            self.gas.push(now_us, sample.reading(Channel::Gas));
        }
        if usable.contains_all(ChannelSet::ELECTRICAL) && self.arc.burns_on(now_us, amps, volts) {
            self.dips.push(now_us, volts);
            self.electrical.push(Some(amps), Some(volts));
        } else {
            self.look_closer(sample, observed, usable, sink);
        }
        let slow = usable.minus(ChannelSet::ELECTRICAL);
        if !slow.is_empty() {
            self.take_slow(now_us, slow, sample);
        }
        self.judge_on(now_us, sink);
    }

    /// Goes on with the judging of the last tick, or begins that of the next, and works out what a
    /// plain sample is from here on.
    #[inline(never)]
    fn judge_on(&mut self, now_us: u64, sink: &mut dyn Sink) {
        if now_us >= self.tick_due_us {
            self.tick(now_us, sink);
        } else {
            self.run_slots(self.slots_a_step, sink);
        }
        self.plain = Plain::of(self);
    }

    /// Whether the arc burns is not plain, or something may change with it. `observed` are the channels
    /// with a reading, `usable` those of them that are not stuck.
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
        let (amps, volts) = (reading(telling, Channel::Current), reading(telling, Channel::Voltage));
        let change = self.arc.observe(now_us, amps, volts, self.gas.flows());
        if change != Change::None {
            self.take_change(change, now_us, sink);
        }
        self.unseen_before = false;
        let (current, voltage) = (reading(usable, Channel::Current), reading(usable, Channel::Voltage));
        if self.arc.is_lit() {
            if let Some(volts) = voltage {
                self.dips.push(now_us, volts);
            }
            self.electrical.push(current, voltage);
        }
    }

    fn take_slow(&mut self, now_us: u64, slow: ChannelSet, sample: &Sample) {
        let reading = |channel| slow.contains(channel).then(|| sample.reading(channel));
        let lit = self.arc.is_lit();
        if let Some(flow) = reading(Channel::Gas) {
            self.gas_sums.push(flow);
            if lit {
                self.tally.gas(flow);
            }
        }
        if let Some(flow) = reading(Channel::Coolant) {
            self.coolant_sums.push(flow);
            if lit {
                self.tally.coolant(flow);
            }
        }
        if let Some(feed) = reading(Channel::Wire).filter(|_| lit) {
            self.tally.wire(feed);
        }
        if let Some(position) = reading(Channel::Torch) {
            self.take_torch(now_us, position);
        }
        if let Some(angle) = reading(Channel::Spindle) {
            self.spindle.push(now_us, Angle::from_bits(angle as u32));
            if lit {
                self.tally.turn(now_us, self.spindle.total());
            }
        }
    }

    fn take_torch(&mut self, now_us: u64, position: i32) {
        if self.torch.count() == 0 {
            self.torch_start_us = now_us;
            self.torch_delays_us = 0;
        }
        self.torch.push(position);
        self.torch_delays_us =
            self.torch_delays_us.saturating_add(now_us.saturating_sub(self.torch_start_us));
        self.torch_seen_us = now_us;
    }

    /// Adds the sums of the last samples to the band and the windows.
    pub(crate) fn take_electrical(&mut self, now_us: u64) {
        let sums = self.electrical.take();
        self.tally.add(&sums);
        self.signal.note_under_arc(Channel::Current, now_us, &sums.current);
        self.signal.note_under_arc(Channel::Voltage, now_us, &sums.voltage);
        self.voltage_now.push(now_us, sums.voltage.block());
        self.voltage.push(now_us, sums.voltage.block());
        self.current.push(now_us, sums.current.block());
    }
}
