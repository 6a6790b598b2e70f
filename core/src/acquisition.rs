//! How samples come.
//!
//! Decides: how long a tick is.
//! Assumes: nothing.
//! Never: holds running state.

use crate::procedure::Rotation;
use crate::sample::ChannelSet;
use serde::{Deserialize, Serialize};

/// Length of a tick where samples come fast enough, µs.
pub const TICK_US: u64 = 20_000;

/// How the samples come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
}

impl Acquisition {
    /// How much of a wait counts towards a delay: no more than may pass without a gap, but always
    /// the `regular_us` that pass where nothing is late.
    pub(crate) fn counted_us(&self, elapsed_us: u64, regular_us: u64) -> u32 {
        let at_most_us = u64::from(self.gap_tolerance_us).max(regular_us);
        u32::try_from(elapsed_us.min(at_most_us)).unwrap_or(u32::MAX)
    }
}
