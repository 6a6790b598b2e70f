//! How samples come: the facts of the hardware, which no procedure changes.
//!
//! Decides: how long a tick is, and what a sensor can show where nobody says.
//! Assumes: nothing.
//! Never: holds running state.

use crate::procedure::{Range, Rotation};
use crate::sample::{Channel, ChannelSet};

/// Length of a tick where samples come fast enough, µs.
pub const TICK_US: u64 = 20_000;

/// How the samples come.
///
/// ```
/// use bandward::{Acquisition, Channel, procedure::Range};
/// use bandward::sample::ChannelSet;
///
/// let acquisition = Acquisition {
///     spindle_counts: Some(4096),
///     ..Acquisition::every(20_000, ChannelSet::ELECTRICAL.with(Channel::Spindle))
/// }
/// .with_sensor_range(Channel::Current, Range { low: 0, high: 600 << 12 });
/// assert_eq!(acquisition.sensor_range(Channel::Current).high, 600 << 12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Acquisition {
    /// Nominal time between samples, µs: 20 to 5,000,000; held at the ends of that range.
    pub period_us: u32,
    /// A longer wait than this between two samples is a finding, µs.
    pub gap_tolerance_us: u32,
    /// Channels that are wired and should give readings.
    pub channels: ChannelSet,
    /// Which way the joint turns, seen towards the chuck, while the angle grows; where it is not known, a
    /// band is only held against the first of its joint.
    pub spindle_sense: Option<Rotation>,
    /// Counts of the encoder in one turn of the joint, gears taken in; where it is not known, the step of the
    /// reading is learnt.
    pub spindle_counts: Option<u32>,
    /// What each sensor can show, raw, in the order of [`Channel::ALL`]; at or beyond its ends a reading is railed.
    pub sensor_ranges: [Range; Channel::COUNT],
}

impl Acquisition {
    /// A sample of `channels` every `period_us`; three periods, but half a second at least, are no gap; all else
    /// as where nobody says.
    pub const fn every(period_us: u32, channels: ChannelSet) -> Self {
        let three_us = period_us.saturating_mul(3);
        Self {
            period_us,
            gap_tolerance_us: if three_us > 500_000 { three_us } else { 500_000 },
            channels,
            spindle_sense: None,
            spindle_counts: None,
            sensor_ranges: WIDEST,
        }
    }
    /// What the sensor of a channel can show, raw.
    pub fn sensor_range(&self, channel: Channel) -> Range {
        self.sensor_ranges.get(channel as usize).copied().unwrap_or(OPEN)
    }
    /// With the range a sensor can show, raw. Where it is empty every reading is railed; an angle has no ends, and
    /// is never railed.
    #[must_use]
    pub fn with_sensor_range(mut self, channel: Channel, range: Range) -> Self {
        if let Some(slot) = self.sensor_ranges.get_mut(channel as usize) {
            *slot = range;
        }
        self
    }
    /// So long before and after the samples that show it may lie what began or ended between them, µs; nothing where they
    /// come fast.
    pub(crate) const fn slack_us(&self) -> u32 {
        if self.period_us > FAST_US { self.period_us } else { 0 }
    }
    /// How much of a wait counts towards a delay: no more than may pass without a gap, but always
    /// the `regular_us` that pass where nothing is late.
    pub(crate) fn counted_us(&self, elapsed_us: u64, regular_us: u64) -> u32 {
        let at_most_us = u64::from(self.gap_tolerance_us).max(regular_us);
        u32::try_from(elapsed_us.min(at_most_us)).unwrap_or(u32::MAX)
    }
}

/// Samples come fast where they are no further apart, µs: that is little beside any time of gas, and beside the angle that
/// closes a band. Common practice, no source.
pub(crate) const FAST_US: u32 = 150_000;

const OPEN: Range = Range { low: i32::MIN, high: i32::MAX };

/// Wider than any sensor of the trade: what lies beyond is physically impossible on this machine.
const WIDEST: [Range; Channel::COUNT] = [
    within(Channel::Current, -1500, 1500),
    within(Channel::Voltage, -150, 150),
    within(Channel::Gas, -5, 100),
    within(Channel::Torch, -2000, 2000),
    OPEN,
    within(Channel::Wire, -1000, 50_000),
    within(Channel::Coolant, -5, 100),
    within(Channel::Work, -50, 1500),
    within(Channel::Carriage, -100_000, 100_000),
];

const fn within(channel: Channel, low: i32, high: i32) -> Range {
    let bits = channel.fraction_bits();
    Range { low: low.wrapping_shl(bits), high: high.wrapping_shl(bits) }
}
