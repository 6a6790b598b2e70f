//! Whether slow channels, and the voltage, move as those of a living meter must.
//!
//! Decides: which channels went to rest without an arc (the wire stopped, the voltage left what an arc has, the
//! valve shut), and which stood still for seconds under the arc though they never do.
//! Assumes: each channel is looked at in turn, some times a second.
//! Never: calls a coarse reading dead that may rest honestly; and never blames the weld.

use crate::sample::{Channel, ChannelSet};
use crate::trackers::contradiction::{ARC_VOLTAGES, LEAST_FEED};
use crate::trackers::signal::SignalCheck;

/// Channels that go to rest between bands.
const RESTING: ChannelSet = ChannelSet::EMPTY.with(Channel::Gas).with(Channel::Wire).with(Channel::Voltage);
/// Channels that flow, and that are told of standing still for this long, µs.
const FLOWING: ChannelSet = ChannelSet::EMPTY.with(Channel::Gas).with(Channel::Wire).with(Channel::Coolant);
const FROZEN_US: u64 = 6_000_000;

/// What was seen of the channels since the last band.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lively {
    rested: ChannelSet,
    doubted: ChannelSet,
}

impl Lively {
    pub(crate) const fn new() -> Self {
        Self { rested: ChannelSet::EMPTY, doubted: ChannelSet::EMPTY }
    }
    /// Looks at one channel; `lit` while an arc burns, `flows` while gas does.
    pub(crate) fn look(
        &mut self,
        channel: Channel,
        now_us: u64,
        (lit, flows): (bool, bool),
        signal: &SignalCheck,
    ) {
        let size = signal.last(channel).unsigned_abs();
        let rests = match channel {
            Channel::Gas => !flows,
            Channel::Wire => !lit && size < LEAST_FEED,
            Channel::Voltage => !lit && !ARC_VOLTAGES.contains(&size),
            _ => false,
        };
        if rests && signal.is_seen(channel) {
            self.rested = self.rested.with(channel);
        }
        if lit && FLOWING.contains(channel) && signal.stands_since(channel, now_us, FROZEN_US).is_some() {
            self.doubted = self.doubted.with(channel);
        }
    }
    /// A channel contradicts the others under the arc.
    pub(crate) fn doubt(&mut self, channel: Channel) {
        self.doubted = self.doubted.with(channel);
    }
    /// A band begins.
    pub(crate) fn begin_band(&mut self) {
        self.doubted = ChannelSet::EMPTY;
    }
    /// Another band lies behind, with an end of its arc: a wire and a voltage must rest before or after the next
    /// one too. Gas may flow on from one band to the next.
    pub(crate) fn end_band(&mut self) {
        self.rested = self.rested.minus(ChannelSet::EMPTY.with(Channel::Wire).with(Channel::Voltage));
    }
    /// The next joint begins, and a valve shuts once in it.
    pub(crate) fn begin_joint(&mut self) {
        self.rested = self.rested.without(Channel::Gas);
    }
    /// Those `among` the channels of a band that is over whose readings may be those of a dead meter.
    pub(crate) fn doubtful(self, among: ChannelSet, signal: &SignalCheck) -> ChannelSet {
        let mut doubtful = RESTING.minus(self.rested).union(self.doubted).union(signal.stood_oddly(among));
        if signal.never_moved(Channel::Work) {
            doubtful = doubtful.with(Channel::Work);
        }
        doubtful.intersection(among)
    }
}
