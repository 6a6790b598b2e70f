//! Leaps: readings further from the last ones than anything physical moves, and back a moment later.
//!
//! Decides: how far a channel may move between two readings, and for how many of them (one to three,
//! 0.2 s) one that leaps is held back before it is taken for what it is.
//! Assumes: a reading that is held back is told as such by its caller, and counts nowhere.
//! Never: holds a step back for good: what stays is taken.

use crate::sample::{Channel, ChannelSet};
use crate::trackers::arc::LOWEST_ARC_VOLTAGE;
use crate::trackers::contradiction::ARC_VOLTAGES;
use crate::units::{Current, FlowRate, Length, Temperature, WireSpeed};

/// Sampled no faster than this, one reading of a short circuit weighs as much as a fault, µs.
const SLOW_US: u32 = 10_000;
/// Voltage drops that come more often than this are the metal transfer, µs.
const RARE_US: u64 = 2_000_000;
/// Beyond three times the mean, no current is a short circuit's within this, raw.
const CURRENT_MARGIN: u32 = Current::from_milli(100_000).to_bits() as u32;

/// A reading that was held back for as long as it may be, and is taken.
const TAKEN: u8 = 4;
/// Channels of what is moved to and fro.
const MOVED: ChannelSet = ChannelSet::EMPTY.with(Channel::Torch).with(Channel::Carriage);
/// So many spikes in a band are a fault of its channel. Common practice, no source.
const MANY_SPIKES: u8 = 3;

/// How far a reading moves at most: so much at any time, and so much more a millisecond, raw. Wider than
/// any drive or flow of the trade: common practice, no source.
const REACH: [(u32, u32); Channel::COUNT] = {
    const fn of(base: i32, per_ms: i32) -> (u32, u32) {
        (base as u32, per_ms as u32)
    }
    [
        of(i32::MAX, 0),
        of(i32::MAX, 0),
        of(FlowRate::from_milli(6_000).to_bits(), 0),
        of(Length::from_milli(5_000).to_bits(), Length::from_milli(500).to_bits()),
        // 4 degrees, and 90 a second.
        of(47_721_858, 1_073_742),
        of(WireSpeed::from_milli(2_500_000).to_bits(), 0),
        of(FlowRate::from_milli(3_000).to_bits(), 0),
        of(Temperature::from_milli(40_000).to_bits(), 0),
        of(Length::from_milli(10_000).to_bits(), Length::from_milli(500).to_bits()),
    ]
};

/// What is no leap under the arc, without sign, raw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Reach {
    /// Of the current.
    pub(crate) amps_to: u32,
    /// Of the voltage.
    pub(crate) volts_from: u32,
    pub(crate) volts_to: u32,
    /// Signs that a reading must not turn; 0: none is clear.
    pub(crate) amps_sign: i32,
    pub(crate) volts_sign: i32,
    /// No arc has this voltage, whatever the current.
    pub(crate) open_from: u32,
    /// Gas and wire show that the arc burns on.
    pub(crate) backed: bool,
}

/// Counts the readings held back.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Leaps {
    held: [u8; Channel::WATCHED],
    /// Channels with a reading to leap from.
    known: ChannelSet,
    /// The last drop of the voltage.
    drop_us: u64,
    /// Channels whose reading is held back now for a value that nothing measured has.
    absurd: ChannelSet,
    /// So many such readings in this band that were gone in a moment.
    spikes: [u8; Channel::WATCHED],
}

impl Leaps {
    pub(crate) const fn new() -> Self {
        Self {
            held: [0; Channel::WATCHED],
            known: ChannelSet::EMPTY,
            drop_us: 0,
            absurd: ChannelSet::EMPTY,
            spikes: [0; Channel::WATCHED],
        }
    }
    /// Spikes are counted from here on.
    pub(crate) fn begin_band(&mut self) {
        self.spikes = [0; Channel::WATCHED];
    }
    /// Does a channel spike again and again? Once or twice a band is any cable's right.
    pub(crate) fn spikes(&self, channel: Channel) -> bool {
        self.spikes.get(channel.place()).is_some_and(|&spikes| spikes >= MANY_SPIKES)
    }
    /// What lies before says nothing of what comes next.
    pub(crate) fn forget(&mut self) {
        *self = Self::new();
    }
    /// Is no reading of current or voltage held back?
    pub(crate) const fn is_calm(&self) -> bool {
        let [amps, volts, ..] = self.held;
        amps == 0 && volts == 0
    }
    /// Did the last reading of a channel leap, and stay for longer than a leap is held back?
    pub(crate) fn stays(&self, channel: Channel) -> bool {
        self.held.get(channel.place()).is_some_and(|&held| held > 1)
    }
    /// The slow channels that were read: from here on there is a reading to leap from.
    pub(crate) const fn know(&mut self, read: ChannelSet) {
        self.known = self.known.union(read);
    }
    /// Must a reading of a slow channel, `waited_us` after its last at `last`, be held back?
    pub(crate) fn holds(&mut self, channel: Channel, raw: i32, last: i32, waited_us: u64) -> bool {
        let Some(&(base, per_ms)) = REACH.get(channel as usize) else { return false };
        let lapse_ms = (waited_us.min(5_000_000) >> 10) as u32;
        let reach = base.saturating_add(per_ms.saturating_mul(lapse_ms));
        let is_known = self.known.contains(channel);
        // An angle wraps, so that its difference does.
        let is_angle = channel as u8 == Channel::Spindle as u8;
        let moved = if is_angle { raw.wrapping_sub(last).unsigned_abs() } else { raw.abs_diff(last) };
        // A weave seen at uneven times leaps by itself, and a carriage that is moved by hand.
        let absurd = !MOVED.contains(channel);
        self.count(channel, (is_known && moved > reach, absurd), waited_us)
    }
    /// Which of current and voltage leap in this sample and are held back. `period_us` is the time
    /// between samples.
    pub(crate) fn electrical(
        &mut self,
        now_us: u64,
        (amps, volts): (Option<i32>, Option<i32>),
        mean_volts: i32,
        (reach, current_off): (Reach, u32),
        period_us: u32,
    ) -> ChannelSet {
        let mut held = ChannelSet::EMPTY;
        let near_mean = |volts: i32| {
            let mean = mean_volts.unsigned_abs();
            volts.unsigned_abs().abs_diff(mean) <= mean >> 3
        };
        let turns = |raw: i32, sign: i32| sign.saturating_mul(raw.signum()) < 0;
        let live = amps.is_some_and(|amps| amps.unsigned_abs() >= current_off);
        if let Some(amps) = amps {
            let size = amps.unsigned_abs();
            // A current that is out beside the voltage of the arc: the meter, or the arc in a moment.
            let lost = !live && volts.is_some_and(near_mean);
            let leaps = size > reach.amps_to || live && turns(amps, reach.amps_sign) || lost;
            if lost && reach.backed && volts.is_some_and(|volts| ARC_VOLTAGES.contains(&volts.unsigned_abs()))
            {
                self.hold_on(Channel::Current, false);
                held = held.with(Channel::Current);
            } else if self.count(Channel::Current, (leaps, !lost), u64::from(period_us)) {
                held = held.with(Channel::Current);
            }
        }
        if let Some(volts) = volts {
            let size = volts.unsigned_abs();
            let turned = size >= LOWEST_ARC_VOLTAGE >> 1 && turns(volts, reach.volts_sign);
            let high = live && size > reach.volts_to || turned;
            let low = live && size < reach.volts_from;
            let leaps = high || low && self.is_rare(now_us, period_us);
            if live && size >= reach.open_from && reach.backed {
                self.hold_on(Channel::Voltage, true);
                held = held.with(Channel::Voltage);
            } else if self.count(Channel::Voltage, (leaps, high), u64::from(period_us)) {
                held = held.with(Channel::Voltage);
            }
            if low {
                self.drop_us = now_us;
            }
        }
        held
    }
    /// Is a drop of the voltage a lonely one, or one that goes on being held back?
    fn is_rare(&self, now_us: u64, period_us: u32) -> bool {
        let rare_us = RARE_US.max(u64::from(period_us).saturating_mul(20));
        let [_, held, ..] = self.held;
        held > 0 || self.drop_us == 0 || now_us.saturating_sub(self.drop_us) >= rare_us
    }
    /// Counts a reading that `leaps`, and is absurd where no metal transfer or arc can have made it.
    fn count(&mut self, channel: Channel, (leaps, absurd): (bool, bool), waited_us: u64) -> bool {
        let Some(held) = self.held.get_mut(channel.place()) else { return false };
        if !leaps {
            if *held == 0 {
                return false;
            }
            let is_back = *held < TAKEN && self.absurd.contains(channel);
            *held = 0;
            if is_back {
                self.count_spike(channel);
            }
            return false;
        }
        self.absurd = if absurd { self.absurd.with(channel) } else { self.absurd.without(channel) };
        let most = match waited_us {
            0..=66_000 => 3,
            66_001..=100_000 => 2,
            _ => 1,
        };
        *held = held.saturating_add(1);
        if *held > most {
            *held = TAKEN;
        }
        *held < TAKEN
    }
    /// A reading went for a moment where nothing measured goes, or to the end of its sensor's range.
    pub(crate) fn count_spike(&mut self, channel: Channel) {
        if let Some(spikes) = self.spikes.get_mut(channel.place()) {
            *spikes = spikes.saturating_add(1);
        }
    }
    /// Holds a reading back that contradicts the other channels, for as long as it does.
    fn hold_on(&mut self, channel: Channel, absurd: bool) {
        self.absurd = if absurd { self.absurd.with(channel) } else { self.absurd.without(channel) };
        if let Some(held) = self.held.get_mut(channel.place()) {
            *held = 1;
        }
    }
}

impl Reach {
    /// Around the means over the last second.
    pub(crate) fn around(mean_amps: i32, mean_volts: i32, period_us: u32) -> Self {
        let (amps, volts) = (mean_amps.unsigned_abs(), mean_volts.unsigned_abs());
        let clear = volts >= LOWEST_ARC_VOLTAGE;
        Self {
            amps_to: amps.saturating_mul(3).saturating_add(CURRENT_MARGIN),
            volts_from: if clear && period_us >= SLOW_US { volts >> 1 } else { 0 },
            volts_to: if clear {
                volts.saturating_add(volts >> 1).saturating_add(volts >> 2)
            } else {
                u32::MAX
            },
            amps_sign: mean_amps.signum(),
            volts_sign: if clear { mean_volts.signum() } else { 0 },
            open_from: u32::MAX,
            backed: false,
        }
    }
}
