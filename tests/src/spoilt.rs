//! A plain joint with something wrong, or with a habit, put into its samples by formulas.
//!
//! Decides: what a channel reads meanwhile.
//! Assumes: windows are in seconds from the start of the data, see [`in_band`].
//! Never: uses the welding process of the program.

use crate::heard::{arc, with};
use crate::plain_joint::{OVERLAP_DEG, PlainJoint, TURN_S};
use bandward::{Channel, Sample};
use bandward_sim::trace::row::value_from_raw;
use std::ops::Range;

/// How long the arc of a whole band burns, s.
pub const BAND_S: f64 = TURN_S * (360.0 + OVERLAP_DEG) / 360.0;
/// Angle a second, degrees.
const SPEED_DEG_S: f64 = 360.0 / TURN_S;

/// All of the data.
pub const ALWAYS: Range<f64> = f64::NEG_INFINITY..f64::INFINITY;

/// From here to there after the strike of a band (from 0), s.
pub fn in_band(band: u32, from_s: f64, to_s: f64) -> Range<f64> {
    PlainJoint::strike_s(band) + from_s..PlainJoint::strike_s(band) + to_s
}

type Change = Box<dyn Fn(f64, Sample) -> Option<Sample>>;

/// A plain joint and what is done to its samples, in this order.
pub struct Spoilt {
    joint: PlainJoint,
    changes: Vec<Change>,
}

impl From<PlainJoint> for Spoilt {
    fn from(joint: PlainJoint) -> Self {
        Self { joint, changes: Vec::new() }
    }
}

impl Spoilt {
    /// With any change.
    #[must_use]
    pub fn with(mut self, change: impl Fn(f64, Sample) -> Option<Sample> + 'static) -> Self {
        self.changes.push(Box::new(change));
        self
    }
    /// In this window a channel reads what the formula makes of the time since the window began, s, and of what
    /// it read.
    #[must_use]
    pub fn reads(
        self,
        channel: Channel,
        window: Range<f64>,
        formula: impl Fn(f64, f64) -> f64 + 'static,
    ) -> Self {
        self.with(move |now_s, sample| {
            let raw = sample.raw(channel).filter(|_| window.contains(&now_s));
            let change = |raw| formula(now_s - window.start, value_from_raw(channel, raw));
            Some(raw.map_or(sample, |raw| with(sample, channel, change(raw))))
        })
    }
    /// In this window a channel reads so many times what it read.
    #[must_use]
    pub fn times(self, channel: Channel, factor: f64, window: Range<f64>) -> Self {
        self.reads(channel, window, move |_, value| factor * value)
    }
    /// In this window a channel reads so much more.
    #[must_use]
    pub fn plus(self, channel: Channel, more: f64, window: Range<f64>) -> Self {
        self.reads(channel, window, move |_, value| value + more)
    }
    /// In this window the pipe turns so many times as fast; from then on the angle stays behind or ahead.
    #[must_use]
    pub fn turning(self, factor: f64, window: Range<f64>) -> Self {
        let lasts_s = window.end - window.start;
        let ahead_deg = move |since_s: f64| (factor - 1.0) * SPEED_DEG_S * since_s.clamp(0.0, lasts_s);
        self.reads(Channel::Spindle, window.start..f64::INFINITY, move |since_s, angle_deg| {
            angle_deg + ahead_deg(since_s)
        })
    }
    /// In this window no arc burns.
    #[must_use]
    pub fn dark(self, window: Range<f64>) -> Self {
        self.times(Channel::Current, 0.0, window.clone()).times(Channel::Voltage, 0.0, window)
    }
    /// In this window an arc burns that is no band.
    #[must_use]
    pub fn tack(self, window: Range<f64>) -> Self {
        self.with(move |now_s, sample| {
            Some(if window.contains(&now_s) { arc(sample, 300.0, 30.5) } else { sample })
        })
    }
    /// In this window there are no data.
    #[must_use]
    pub fn hole(self, window: Range<f64>) -> Self {
        self.with(move |now_s, sample| (!window.contains(&now_s)).then_some(sample))
    }
    /// Its samples a second.
    pub fn rate_hz(&self) -> f64 {
        self.joint.rate_hz
    }
    /// All its samples.
    pub fn samples(&self) -> impl Iterator<Item = Sample> {
        self.joint.samples().filter_map(|sample| {
            let now_s = sample.time_us as f64 / 1e6;
            self.changes.iter().try_fold(sample, |sample, change| change(now_s, sample))
        })
    }
}
