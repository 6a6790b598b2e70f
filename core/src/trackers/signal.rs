//! Sensors that lie: stuck, railed, missing.
//!
//! Decides: which channels can be believed.
//! Assumes: a current or voltage reading of a burning arc always moves in its last bit; other
//! channels may stand still honestly (a stopped torch or spindle has rules of its own).
//! Never: repairs a reading.

use crate::procedure::Range;
use crate::sample::{Channel, ChannelSet, Sample};
use crate::statistics::Gather;

/// Fewer equal readings than this are not called stuck, however long they took.
const LEAST_REPEATS: u32 = 30;

/// A reading that has stood still.
#[derive(Clone, Copy, Debug, Default)]
struct Still {
    value: i32,
    samples: u32,
    since_us: u64,
}

/// Watches the readings of all channels.
#[derive(Clone, Debug)]
pub struct SignalCheck {
    wired: ChannelSet,
    seen: ChannelSet,
    railed: ChannelSet,
    seen_us: [u64; Channel::COUNT],
    last: [i32; Channel::COUNT],
    /// Of current and voltage.
    still: [Still; 2],
}

impl SignalCheck {
    /// Watches the `wired` channels.
    pub fn new(wired: ChannelSet) -> Self {
        Self {
            wired,
            seen: ChannelSet::EMPTY,
            railed: ChannelSet::EMPTY,
            seen_us: [0; Channel::COUNT],
            last: [0; Channel::COUNT],
            still: [Still::default(); 2],
        }
    }
    /// Starts all waits at `now_us`.
    pub fn start(&mut self, now_us: u64) {
        self.seen_us = [now_us; Channel::COUNT];
        self.forget_repeats();
    }
    /// Starts counting equal readings anew: called as the arc starts, since a meter may well stand
    /// still without an arc.
    pub fn forget_repeats(&mut self) {
        self.still = [Still::default(); 2];
    }
    /// Takes a sample; returns the channels whose reading can be used. `ranges` is what the sensors
    /// can show.
    #[inline]
    pub fn observe(&mut self, sample: &Sample, ranges: &[Range; Channel::COUNT]) -> ChannelSet {
        let present = sample.present().intersection(self.wired);
        self.seen = self.seen.union(present);
        let [current, voltage, ..] = ranges;
        let mut usable = present;
        if is_beyond(sample.reading(Channel::Current), *current) {
            usable = usable.without(Channel::Current);
        }
        if is_beyond(sample.reading(Channel::Voltage), *voltage) {
            usable = usable.without(Channel::Voltage);
        }
        let others = present.minus(ChannelSet::ELECTRICAL);
        if !others.is_empty() {
            usable = usable.minus(self.look_at_others(sample, ranges, others));
        }
        if usable != present || !self.railed.is_empty() {
            self.note_railed(sample, present, usable);
        }
        usable
    }

    /// Looks at the channels that do not come with every sample; returns those that are railed.
    fn look_at_others(
        &mut self,
        sample: &Sample,
        ranges: &[Range; Channel::COUNT],
        others: ChannelSet,
    ) -> ChannelSet {
        let mut railed = ChannelSet::EMPTY;
        let mut left = others;
        while let Some(channel) = left.first() {
            left = left.without(channel);
            let raw = sample.reading(channel);
            if let Some(last) = self.last.get_mut(channel as usize) {
                *last = raw;
            }
            let beyond = ranges.get(channel as usize).is_some_and(|&range| is_beyond(raw, range));
            // An angle has no end of its range to be at.
            if beyond && channel as u8 != Channel::Spindle as u8 {
                railed = railed.with(channel);
            }
        }
        railed
    }

    fn note_railed(&mut self, sample: &Sample, present: ChannelSet, usable: ChannelSet) {
        let railed = present.minus(usable);
        for channel in railed.iter() {
            if let Some(last) = self.last.get_mut(channel as usize) {
                *last = sample.reading(channel);
            }
        }
        self.railed = self.railed.minus(present).union(railed);
    }

    /// Notes the channels seen since the last call as seen at `now_us`.
    pub fn tick(&mut self, now_us: u64) {
        for (channel, seen_us) in Channel::ALL.into_iter().zip(&mut self.seen_us) {
            if self.seen.contains(channel) {
                *seen_us = now_us;
            }
        }
        self.seen = ChannelSet::EMPTY;
    }

    /// Takes what current or voltage was under the arc up to `now_us`: readings that stood still have
    /// one value for their least and their greatest.
    pub fn note_under_arc(&mut self, channel: Channel, now_us: u64, gathered: &Gather) {
        let Some((least, greatest)) = gathered.extremes() else { return };
        if let Some(last) = self.last.get_mut(channel as usize) {
            *last = greatest;
        }
        let Some(still) = self.still.get_mut(channel as usize) else { return };
        if least != greatest {
            *still = Still::default();
        } else if still.samples > 0 && still.value == least {
            still.samples = still.samples.saturating_add(gathered.count());
        } else {
            *still = Still { value: least, samples: gathered.count(), since_us: now_us };
        }
    }
    /// Lets go of stuck channels whose reading moves again in this sample.
    pub fn release(&mut self, stuck: ChannelSet, sample: &Sample) {
        for (channel, still) in Channel::ALL.into_iter().zip(&mut self.still) {
            let present = sample.present().contains(channel) && stuck.contains(channel);
            if present && sample.reading(channel) != still.value {
                *still = Still::default();
            }
        }
    }

    /// Takes sound readings of current and voltage.
    #[inline]
    pub fn note_electrical(&mut self) {
        self.seen = self.seen.union(ChannelSet::ELECTRICAL);
    }
    /// Is any channel's last reading at or beyond the end of its sensor's range?
    pub const fn is_any_railed(&self) -> bool {
        !self.railed.is_empty()
    }
    /// Is its last reading at or beyond the end of the sensor's range?
    pub const fn is_railed(&self, channel: Channel) -> bool {
        self.railed.contains(channel)
    }
    /// The last reading (of current and voltage: about the last).
    pub fn last(&self, channel: Channel) -> i32 {
        self.last.get(channel as usize).copied().unwrap_or(0)
    }
    /// The end of the sensor's range nearest to the last reading.
    pub fn rail(&self, channel: Channel, range: Range) -> i32 {
        let last = self.last(channel);
        if last.abs_diff(range.low) < last.abs_diff(range.high) { range.low } else { range.high }
    }
    /// Since when the reading has stood still, if for at least `least_us` and long enough to be sure, µs.
    pub fn stuck_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let still = self.still.get(channel as usize)?;
        let still_us = now_us.saturating_sub(still.since_us);
        (still.samples >= LEAST_REPEATS && still_us >= least_us).then_some(still.since_us)
    }
    /// Since when there has been no reading of a wired channel, if for at least `least_us`, µs.
    pub fn missing_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let seen_us = *self.seen_us.get(channel as usize)?;
        let silent_us = now_us.saturating_sub(seen_us);
        (self.wired.contains(channel) && silent_us >= least_us).then_some(seen_us)
    }
}

#[inline]
const fn is_beyond(raw: i32, range: Range) -> bool {
    raw <= range.low || raw >= range.high
}
