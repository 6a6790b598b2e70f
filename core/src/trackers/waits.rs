//! For how long a channel was not seen within a band.
//!
//! Decides: which wait from one reading of a channel to the next is a gap: one that is far longer than the shortest.
//! Assumes: it is told of every wait, in whole ticks.
//! Never: takes a channel that is read seldom, and always so, for one with gaps.

use crate::acquisition::TICK_US;
use crate::sample::Channel;

/// A wait of more than so many of the shortest is a gap.
const MANY: u64 = 5;

/// The waits of all channels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Waits {
    /// The shortest, µs.
    shortest_us: [u32; Channel::WATCHED],
    /// What the gaps of the band come to, µs.
    unseen_us: [u32; Channel::WATCHED],
    /// A band is open.
    counts: bool,
}

impl Waits {
    /// Nothing yet.
    pub(crate) const NONE: Self =
        Self { shortest_us: [u32::MAX; Channel::WATCHED], unseen_us: [0; Channel::WATCHED], counts: false };

    pub(crate) const fn begin_band(&mut self) {
        (self.unseen_us, self.counts) = ([0; Channel::WATCHED], true);
    }
    pub(crate) const fn end_band(&mut self) {
        self.counts = false;
    }
    /// Takes the time from one reading to the next, where rows come every `period_us`. Is it a gap?
    #[inline]
    pub(crate) fn note(&mut self, channel: Channel, waited_us: u64, period_us: u64) -> bool {
        let Some(shortest_us) = self.shortest_us.get_mut(channel.place()) else { return false };
        let waited = u32::try_from(waited_us).unwrap_or(u32::MAX);
        *shortest_us = waited.min(*shortest_us);
        let shortest_us = *shortest_us;
        if waited_us <= u64::from(shortest_us).max(period_us).max(TICK_US).saturating_mul(MANY) {
            return false;
        }
        if let Some(unseen_us) = self.unseen_us.get_mut(channel.place()).filter(|_| self.counts) {
            *unseen_us = unseen_us.saturating_add(waited.saturating_sub(shortest_us));
        }
        true
    }
    /// What its gaps in the band come to, µs.
    pub(crate) fn unseen_us(&self, channel: Channel) -> u64 {
        self.unseen_us.get(channel.place()).copied().map_or(0, u64::from)
    }
}
