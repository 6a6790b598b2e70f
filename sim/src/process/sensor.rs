//! What the instruments make of the truth.
//!
//! Decides: noise, resolution, drift, hum, ripple, how often a slow instrument gives a reading.
//! Assumes: errors of one channel know nothing of another's.
//! Never: changes what happens.

use super::drives::lag;
use super::random::{Noise, Pink};
use super::targets::ends;
use bandward::sample::ChannelSet;
use bandward::{Acquisition, Channel};

/// How one channel is measured, in the unit of its channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensor {
    /// Standard deviation of a reading.
    pub noise: f64,
    /// Smallest step of a reading; 0 for none.
    pub resolution: f64,
    /// Wander of the zero, a unit an hour.
    pub drift_per_hour: f64,
    /// Amplitude of mains hum.
    pub hum: f64,
    /// Time between two readings of a slow instrument, s; 0 reads every row.
    pub every_s: f64,
    /// Between two readings: repeat the last one (or leave the cell empty).
    pub hold: bool,
    /// Chance that a single reading is lost, 0 to 1.
    pub dropout: f64,
    /// Standard deviation of noise whose power falls with one over the frequency.
    pub pink: f64,
    /// Time constant of a slow meter, s.
    pub lag_s: f64,
    /// Amplitude of the rectifier's ripple.
    pub ripple: f64,
    /// Frequency of the ripple, Hz; 0 draws one near six times the mains.
    pub ripple_hz: f64,
    /// The disc of an encoder runs out of true: amplitude of its error once a turn, degrees.
    pub eccentricity_deg: f64,
}

/// Mains frequency, Hz.
const MAINS_HZ: f64 = 50.0;
/// How far the mains is from its frequency, either way, Hz. Common practice, no source.
const MAINS_OFF_HZ: f64 = 0.1;
/// Ripples a period of the mains, of a rectifier on three phases.
const PULSES: f64 = 6.0;

/// The ends of what a sensor of the usual kind can show, in the unit of its channel; infinite where open.
pub fn sensor_range(channel: Channel) -> (f64, f64) {
    let range = Acquisition::every(1_000_000, ChannelSet::ALL).sensor_range(channel);
    ends(range, (1_u64 << channel.fraction_bits()) as f64)
}

impl Sensor {
    /// An instrument as found on such machines. Invented, in the order of size of common practice.
    pub const fn usual(channel: Channel) -> Self {
        let (noise, resolution) = match channel {
            Channel::Current => (1.5, 0.1),
            Channel::Voltage | Channel::Gas => (0.08, 0.01),
            Channel::Torch => (0.05, 0.01),
            // 3600 counts a turn.
            Channel::Spindle => (0.0, 0.1),
            Channel::Wire => (15.0, 1.0),
            Channel::Coolant => (0.03, 0.01),
            Channel::Work => (0.3, 0.1),
            Channel::Carriage => (0.01, 0.01),
        };
        Self {
            noise,
            resolution,
            drift_per_hour: 0.0,
            hum: 0.0,
            every_s: 0.0,
            hold: false,
            dropout: 0.0,
            pink: 0.0,
            lag_s: 0.0,
            ripple: 0.0,
            ripple_hz: 0.0,
            eccentricity_deg: 0.0,
        }
    }
    /// The same as on an ordinary day: noise that wanders, ripple, a slow gas meter, an encoder out of
    /// true. Invented.
    #[must_use]
    pub const fn everyday(self, channel: Channel) -> Self {
        match channel {
            Channel::Current => Self { pink: 2.0, ripple: 6.0, ..self },
            Channel::Voltage => Self { pink: 0.1, ripple: 0.4, ..self },
            Channel::Gas => Self { pink: 0.1, lag_s: 2.0, ..self },
            Channel::Spindle => Self { eccentricity_deg: 0.3, ..self },
            Channel::Wire => Self { pink: 20.0, ..self },
            Channel::Coolant => Self { pink: 0.04, ..self },
            Channel::Work => Self { pink: 0.5, ..self },
            Channel::Torch | Channel::Carriage => self,
        }
    }
}

/// A sensor at work.
#[derive(Clone, Debug)]
pub struct Instrument {
    sensor: Sensor,
    noise: Noise,
    pink: Pink,
    ripple_hz: f64,
    /// Phase of ripple and eccentricity.
    phase: f64,
    next_s: f64,
    held: Option<f64>,
    /// What a slow meter shows, and when it was asked last, s.
    lagging: Option<(f64, f64)>,
    read_s: f64,
}

impl Instrument {
    /// A sensor with its own stream of noise.
    pub fn new(sensor: Sensor, channel: Channel, seed: u64) -> Self {
        let channel = channel as u64;
        // All instruments hang on the same mains.
        let mains_hz = MAINS_HZ + Noise::new(seed, 110).uniform(-MAINS_OFF_HZ, MAINS_OFF_HZ);
        Self {
            noise: Noise::new(seed, 200 + channel),
            pink: Pink::new(seed, 240 + channel),
            ripple_hz: if sensor.ripple_hz > 0.0 { sensor.ripple_hz } else { PULSES * mains_hz },
            phase: Noise::new(seed, 220 + channel).uniform(0.0, std::f64::consts::TAU),
            next_s: 0.0,
            held: None,
            lagging: None,
            read_s: 0.0,
            sensor,
        }
    }
    /// The reading of `truth` at `time_s`, if there is one.
    pub fn read(&mut self, truth: f64, time_s: f64) -> Option<f64> {
        let sensor = self.sensor;
        let truth = self.lagged(truth, time_s);
        if sensor.every_s > 0.0 && time_s + 1e-9 < self.next_s {
            return self.held.filter(|_| sensor.hold);
        }
        self.next_s += sensor.every_s;
        let mut value = truth + sensor.drift_per_hour * time_s / 3600.0;
        if sensor.noise > 0.0 {
            value += sensor.noise * self.noise.normal();
        }
        if sensor.hum > 0.0 {
            value += sensor.hum * libm::sin(std::f64::consts::TAU * MAINS_HZ * time_s);
        }
        if sensor.pink > 0.0 {
            value += sensor.pink * self.pink.advance(time_s - self.read_s);
        }
        if sensor.ripple > 0.0 {
            let turned = std::f64::consts::TAU * self.ripple_hz * time_s + self.phase;
            value += sensor.ripple * libm::sin(turned);
        }
        if sensor.eccentricity_deg > 0.0 {
            value += sensor.eccentricity_deg * libm::sin(truth.to_radians() + self.phase);
        }
        self.read_s = time_s;
        let lost = sensor.dropout > 0.0 && self.noise.uniform(0.0, 1.0) < sensor.dropout;
        self.held = Some(quantised(value, sensor.resolution));
        self.held.filter(|_| !lost)
    }
    /// What a slow meter makes of `truth`.
    fn lagged(&mut self, truth: f64, time_s: f64) -> f64 {
        if self.sensor.lag_s <= 0.0 {
            return truth;
        }
        let shown = match self.lagging {
            Some((shown, asked_s)) => lag(shown, truth, self.sensor.lag_s, time_s - asked_s),
            None => truth,
        };
        self.lagging = Some((shown, time_s));
        shown
    }
}

/// The nearest multiple of `step`, as the shortest decimal where one over the step is whole.
pub fn quantised(value: f64, step: f64) -> f64 {
    if step <= 0.0 {
        return value;
    }
    let inverse = (1.0 / step).round();
    if step < 1.0 && (inverse * step - 1.0).abs() < 1e-12 {
        (value * inverse).round() / inverse
    } else {
        (value / step).round() * step
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_are_short_decimals() {
        assert_eq!(quantised(300.149, 0.1).to_string(), "300.1");
        assert_eq!(quantised(1234.4, 5.0).to_string(), "1235");
        assert_eq!(quantised(0.123, 0.0).to_string(), "0.123");
    }

    #[test]
    fn a_slow_instrument_leaves_cells_empty_or_repeats() {
        let slow = Sensor { noise: 0.0, every_s: 0.5, ..Sensor::usual(Channel::Work) };
        let readings = |sensor| {
            let mut instrument = Instrument::new(sensor, Channel::Work, 1);
            (0..10).map(|row| instrument.read(f64::from(row), f64::from(row) * 0.1)).collect::<Vec<_>>()
        };
        let apart = readings(slow);
        assert_eq!((apart[0], apart[1], apart[5], apart[6]), (Some(0.0), None, Some(5.0), None));
        let held = readings(Sensor { hold: true, ..slow });
        assert_eq!((held[4], held[5], held[9]), (Some(0.0), Some(5.0), Some(5.0)));
    }
}
