//! What the instruments make of the truth.
//!
//! Decides: noise, resolution, drift, hum, how often a slow instrument gives a reading.
//! Assumes: errors of one channel know nothing of another's.
//! Never: changes what happens.

use super::random::Noise;
use bandward::Channel;

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
}

/// Mains frequency, Hz.
const MAINS_HZ: f64 = 50.0;

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
        Self { noise, resolution, drift_per_hour: 0.0, hum: 0.0, every_s: 0.0, hold: false, dropout: 0.0 }
    }
}

/// A sensor at work.
#[derive(Clone, Debug)]
pub struct Instrument {
    sensor: Sensor,
    noise: Noise,
    next_s: f64,
    held: Option<f64>,
}

impl Instrument {
    /// A sensor with its own stream of noise.
    pub fn new(sensor: Sensor, channel: Channel, seed: u64) -> Self {
        Self { sensor, noise: Noise::new(seed, 200 + channel as u64), next_s: 0.0, held: None }
    }
    /// The reading of `truth` at `time_s`, if there is one.
    pub fn read(&mut self, truth: f64, time_s: f64) -> Option<f64> {
        let sensor = self.sensor;
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
        let lost = sensor.dropout > 0.0 && self.noise.uniform(0.0, 1.0) < sensor.dropout;
        self.held = Some(quantised(value, sensor.resolution));
        self.held.filter(|_| !lost)
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
