//! Everything together: one call a sample.

use crate::event::Sink;
use crate::procedure::Procedure;
use crate::rule::Rule;
use crate::sample::{Channel, ChannelSet, Sample};
use serde::{Deserialize, Serialize};

/// How the samples come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acquisition {
    /// Nominal time between samples, µs: 20 to 5,000,000.
    pub period_us: u32,
    /// A longer wait than this between two samples is a finding, µs.
    pub gap_tolerance_us: u32,
    /// Channels that are wired and should give readings.
    pub channels: ChannelSet,
}

/// Why a rule is not judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum NotJudged {
    /// The procedure gives no range for it.
    NoRange,
    /// A channel it needs is not wired.
    NoChannel(Channel),
    /// It needs at least this sample rate, in thousandths of a hertz.
    RateTooLow {
        /// Needed rate, mHz.
        needed_mhz: u32,
    },
    /// A channel it needs was lost for a time.
    ChannelLost(Channel),
    /// The arc already burned in the first sample.
    StartUnseen,
    /// The data ended before it could be judged.
    EndUnseen,
    /// It never applied: there was no arc, or no second band.
    NeverApplied,
}

/// Watches one machine.
pub struct Monitor {
    procedure: Procedure,
}

impl Monitor {
    /// Starts watching.
    pub fn new(procedure: Procedure, _acquisition: Acquisition) -> Self {
        Self { procedure }
    }
    /// The procedure it watches by.
    pub fn procedure(&self) -> &Procedure {
        &self.procedure
    }
    /// Takes one sample; never fails: what it finds goes to `sink`.
    pub fn step(&mut self, _sample: &Sample, _sink: &mut impl Sink) {}
    /// Ends the watch: closes an open band with the last sample.
    pub fn finish(&mut self, _sink: &mut impl Sink) {}
    /// Acknowledges every active alarm.
    pub fn acknowledge(&mut self, _time_us: u64, _sink: &mut impl Sink) {}
    /// Why a rule is not judged, or has not been for a time.
    pub fn not_judged(&self, _rule: Rule) -> Option<NotJudged> {
        None
    }
}
