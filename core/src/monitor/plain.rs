//! The plain sample: current and voltage of a settled arc, or of none between bands, and nothing else.
//!
//! Decides: whether a sample is so plain that it changes nothing but sums and the count of short circuits, or without an
//! arc nothing but the last readings. On a board 99 of 100 are: the slow channels come a hundred times more seldom.
//! Assumes: it is worked out anew after every sample that was not plain and after every slot that may change
//! what it rests on: the phase, the means, the channels that are believed.
//! Never: decides anything that looking closer would decide otherwise.

use crate::sample::{Channel, ChannelSet, Sample};

/// Raw readings from `least` on, so many of them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    pub(super) least: i32,
    pub(super) width: u32,
}

impl Window {
    pub(super) const EMPTY: Self = Self { least: 0, width: 0 };

    #[inline]
    const fn holds(self, reading: i32) -> bool {
        (reading.wrapping_sub(self.least) as u32) < self.width
    }
}

/// What the next sample must be like to be plain.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plain {
    pub(super) current: Window,
    pub(super) voltage: Window,
}

impl Plain {
    /// No sample is plain.
    pub(super) const NEVER: Self = Self { current: Window::EMPTY, voltage: Window::EMPTY };

    /// Current and voltage of the sample, if it is plain.
    #[inline]
    pub(super) fn readings(&self, sample: &Sample) -> Option<(i32, i32)> {
        let (amps, volts) = (sample.reading(Channel::Current), sample.reading(Channel::Voltage));
        let plain =
            sample.is_just(ChannelSet::ELECTRICAL) && self.current.holds(amps) && self.voltage.holds(volts);
        plain.then_some((amps, volts))
    }
}
