//! Sensors that lie: stuck, railed, missing.
//!
//! Decides: which channels can be believed.
//! Assumes: a current or voltage reading of a burning arc always moves in its last bit; other
//! channels may stand still honestly (a stopped torch or spindle has rules of its own).
//! Never: repairs a reading.

use crate::procedure::Range;
use crate::sample::{Channel, ChannelSet, Sample};

/// Fewer equal readings than this are not called stuck, however long they took.
const LEAST_REPEATS: u16 = 30;

#[derive(Clone, Copy, Debug, Default)]
struct ChannelState {
    last: i32,
    repeats: u16,
    seen_us: u64,
    same_since_us: u64,
}

/// Watches the readings of all channels.
#[derive(Clone, Debug)]
pub struct SignalCheck {
    states: [ChannelState; Channel::COUNT],
    wired: ChannelSet,
    seen: ChannelSet,
    railed: ChannelSet,
}

impl SignalCheck {
    /// Watches the `wired` channels.
    pub const fn new(wired: ChannelSet) -> Self {
        const UNSEEN: ChannelState = ChannelState { last: 0, repeats: 0, seen_us: 0, same_since_us: 0 };
        Self { states: [UNSEEN; Channel::COUNT], wired, seen: ChannelSet::EMPTY, railed: ChannelSet::EMPTY }
    }
    /// Starts all waits at `now_us`.
    pub fn start(&mut self, now_us: u64) {
        for state in &mut self.states {
            *state = ChannelState { seen_us: now_us, same_since_us: now_us, ..*state };
        }
    }
    /// Starts counting equal readings anew: called as the arc starts, since a meter may well stand
    /// still without an arc.
    pub fn forget_repeats(&mut self, now_us: u64) {
        for state in &mut self.states {
            state.same_since_us = now_us;
            state.repeats = 0;
        }
    }
    /// Takes a sample; returns the channels whose reading can be used. `ranges` is what the sensors
    /// can show.
    #[inline]
    pub fn observe(&mut self, sample: &Sample, ranges: &[Range; Channel::COUNT]) -> ChannelSet {
        let present = sample.present().intersection(self.wired);
        self.seen = self.seen.union(present);
        let mut railed = ChannelSet::EMPTY;
        let mut left = present;
        while let Some(channel) = left.first() {
            left = left.without(channel);
            let index = channel as usize;
            let (Some(state), Some(range)) = (self.states.get_mut(index), ranges.get(index)) else {
                break;
            };
            let raw = sample.reading(channel);
            if raw == state.last {
                state.repeats = state.repeats.saturating_add(1);
            } else {
                state.last = raw;
                state.repeats = 0;
                state.same_since_us = sample.time_us;
            }
            // An angle has no end of its range to be at.
            if (raw <= range.low || raw >= range.high) && channel as u8 != Channel::Spindle as u8 {
                railed = railed.with(channel);
            }
        }
        self.railed = self.railed.minus(present).union(railed);
        present.minus(railed)
    }
    /// Notes the channels seen since the last call as seen at `now_us`.
    pub fn tick(&mut self, now_us: u64) {
        for (channel, state) in Channel::ALL.into_iter().zip(&mut self.states) {
            if self.seen.contains(channel) {
                state.seen_us = now_us;
            }
        }
        self.seen = ChannelSet::EMPTY;
    }
    /// Is its last reading at or beyond the end of the sensor's range?
    pub const fn is_railed(&self, channel: Channel) -> bool {
        self.railed.contains(channel)
    }
    /// The last reading.
    pub fn last(&self, channel: Channel) -> i32 {
        self.states.get(channel as usize).map_or(0, |state| state.last)
    }
    /// The end of the sensor's range nearest to the last reading.
    pub fn rail(&self, channel: Channel, range: Range) -> i32 {
        let last = i64::from(self.last(channel));
        let low = last.abs_diff(i64::from(range.low));
        let high = last.abs_diff(i64::from(range.high));
        if low < high { range.low } else { range.high }
    }
    /// Since when the reading has stood still, if for at least `least_us` and long enough to be sure, µs.
    pub fn stuck_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let state = self.states.get(channel as usize)?;
        let still_us = now_us.saturating_sub(state.same_since_us);
        (state.repeats >= LEAST_REPEATS && still_us >= least_us).then_some(state.same_since_us)
    }
    /// Since when there has been no reading of a wired channel, if for at least `least_us`, µs.
    pub fn missing_since(&self, channel: Channel, now_us: u64, least_us: u64) -> Option<u64> {
        let state = self.states.get(channel as usize)?;
        let silent_us = now_us.saturating_sub(state.seen_us);
        (self.wired.contains(channel) && silent_us >= least_us).then_some(state.seen_us)
    }
}
