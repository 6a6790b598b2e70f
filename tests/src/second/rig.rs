//! One shop's machine and its logger: what stays the same from joint to joint.
//!
//! Decides: encoder, oscillator, gas line, and how each reading is taken.
//! Assumes: a logger that is slow filters its readings; a fast one hardly does.

use super::random::Chance;
use super::spindle::Encoder;
use super::weave::Swing;
use bandward::Channel;
use bandward::sample::ChannelSet;

/// A machine and its logger.
#[derive(Clone, Copy, Debug)]
pub struct Rig {
    /// Rows a second.
    pub rate_hz: f64,
    /// Share of the row's spacing by which its time wanders.
    pub jitter: f64,
    /// Columns.
    pub channels: ChannelSet,
    /// Mains, Hz.
    pub mains_hz: f64,
    /// Time constant of the filter before current and voltage, s.
    pub filter_s: f64,
    /// Steps of the readings, in the order of the channels, in their units.
    pub steps: [f64; Channel::COUNT],
    /// How the torch swings.
    pub swing: Swing,
    /// How the pipe's angle is read.
    pub encoder: Encoder,
    /// Surge of the regulator over the set flow, share of it.
    pub surge: f64,
    /// How the surge dies down, s.
    pub surge_tau_s: f64,
    /// Lag of the gas meter, s.
    pub gas_meter_s: f64,
}

/// Rates at which shops log.
pub const RATES_HZ: [f64; 6] = [5.0, 10.0, 20.0, 50.0, 50.0, 100.0];

impl Rig {
    /// Any shop's, at this rate, with every channel.
    pub fn drawn(rate_hz: f64, chance: &mut Chance) -> Self {
        let slow = rate_hz <= 20.0;
        let surges = chance.happens(0.7);
        Self {
            rate_hz,
            jitter: chance.pick(&[0.0, 0.0, 0.05, 0.2]),
            channels: all_channels(),
            mains_hz: chance.pick(&[50.0, 60.0]),
            filter_s: if slow { chance.pick(&[0.01, 0.05]) } else { chance.pick(&[0.001, 0.002, 0.01]) },
            steps: steps(chance),
            swing: chance.pick(&Swing::ALL),
            encoder: Encoder::drawn(chance),
            surge: if surges { chance.between(0.15, 0.7) } else { 0.0 },
            surge_tau_s: chance.between(1.5, 3.0),
            gas_meter_s: chance.pick(&[0.05, 0.2, 0.5, 1.0, 2.0]),
        }
    }
    /// Without surge and lag, and with fine readings.
    #[must_use]
    pub fn plain(mut self) -> Self {
        (self.surge, self.gas_meter_s, self.jitter) = (0.0, 0.05, 0.0);
        self.steps = self.steps.map(|_| 0.01);
        self.steps[Channel::Spindle as usize] = 0.0;
        self
    }
    /// With some of the lesser channels missing, as in many a shop.
    #[must_use]
    pub fn with_gaps(mut self, chance: &mut Chance) -> Self {
        for channel in [Channel::Wire, Channel::Coolant, Channel::Work, Channel::Carriage] {
            if chance.happens(0.4) {
                self.channels = self.channels.without(channel);
            }
        }
        self
    }
}

fn all_channels() -> ChannelSet {
    Channel::ALL.into_iter().fold(ChannelSet::EMPTY, ChannelSet::with)
}

/// A shop's converters and displays: from 12 bits to whole volts and tens of amperes.
fn steps(chance: &mut Chance) -> [f64; Channel::COUNT] {
    Channel::ALL.map(|channel| match channel {
        Channel::Current => chance.pick(&[0.2, 1.0, 2.0, 5.0, 10.0]),
        Channel::Voltage => chance.pick(&[0.02, 0.1, 0.5, 1.0]),
        Channel::Gas => chance.pick(&[0.01, 0.1, 0.5]),
        Channel::Torch => chance.pick(&[0.01, 0.05, 0.1]),
        Channel::Spindle => 0.0,
        Channel::Wire => chance.pick(&[1.0, 10.0, 50.0]),
        Channel::Coolant | Channel::Carriage => chance.pick(&[0.01, 0.1]),
        Channel::Work => chance.pick(&[0.1, 1.0]),
    })
}
