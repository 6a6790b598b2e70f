//! The trace of a made joint, row by row.
//!
//! Decides: when a row is taken, and what each instrument shows in it.
//! Assumes: nothing.
//! Never: keeps rows.

use super::machine::Machine;
use super::random::Noise;
use super::scenario::Scenario;
use super::sensor::{Instrument, quantised, sensor_range};
use super::truth::Truth;
use crate::trace::Row;
use bandward::Channel;
use bandward::sample::ChannelSet;

/// Makes the rows of a scenario; see [`Scenario::rows`].
#[derive(Clone, Debug)]
pub struct Rows {
    machine: Machine,
    instruments: [Instrument; Channel::COUNT],
    /// The last reading of each channel, for one that stands still.
    shown: [Option<f64>; Channel::COUNT],
    /// What a channel shows at the end of its range; an infinite range has none.
    rails: [f64; Channel::COUNT],
    channels: ChannelSet,
    spindle_wraps: bool,
    spindle_step: f64,
    sample_rate_hz: f64,
    jitter: f64,
    noise: Noise,
    row: u64,
    time_us: u64,
}

impl Rows {
    pub(super) fn new(scenario: &Scenario) -> Self {
        Self {
            machine: Machine::new(scenario),
            instruments: Channel::ALL
                .map(|channel| Instrument::new(scenario.sensors[channel as usize], channel, scenario.seed)),
            shown: [None; Channel::COUNT],
            rails: Channel::ALL.map(|channel| sensor_range(channel).1),
            channels: scenario.channels,
            spindle_wraps: scenario.spindle_wraps,
            spindle_step: scenario.sensors[Channel::Spindle as usize].resolution,
            sample_rate_hz: scenario.sample_rate_hz,
            jitter: scenario.jitter,
            noise: Noise::new(scenario.seed, 104),
            row: 0,
            time_us: 0,
        }
    }
    /// What happened so far: the whole truth when there is no row left.
    pub fn truth(&self) -> Truth {
        self.machine.truth()
    }

    fn next_time_us(&mut self) -> u64 {
        let mut periods = self.row as f64;
        if self.jitter > 0.0 && self.row > 0 {
            periods += self.jitter * self.noise.uniform(-1.0, 1.0);
        }
        self.row += 1;
        (periods * 1e6 / self.sample_rate_hz).round() as u64
    }

    fn read(&mut self) -> Row {
        let time_s = self.time_us as f64 / 1e6;
        let mut row = Row::at(self.time_us);
        for channel in self.channels.iter() {
            let index = channel as usize;
            let mut reading = self.instruments[index].read(self.machine.value(channel), time_s);
            let effects = self.machine.effects();
            if effects.frozen.contains(channel) {
                reading = self.shown[index];
            } else if effects.railed.contains(channel) && self.rails[index].is_finite() {
                reading = Some(self.rails[index]);
            } else if effects.dead.contains(channel) {
                reading = reading.map(|_| 0.0);
            }
            self.shown[index] = reading;
            if effects.missing.contains(channel) {
                reading = None;
            }
            row.values[index] = match channel {
                Channel::Spindle if self.spindle_wraps => reading.map(|angle| self.wrapped(angle)),
                _ => reading,
            };
        }
        row
    }

    /// 0 to less than 360 degrees, in whole steps of the encoder.
    fn wrapped(&self, angle_deg: f64) -> f64 {
        let within = quantised(angle_deg.rem_euclid(360.0), self.spindle_step);
        if within >= 360.0 { 0.0 } else { within }
    }
}

impl Iterator for Rows {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        loop {
            let time_us = self.next_time_us();
            self.machine.advance((time_us - self.time_us) as f64 / 1e6);
            self.time_us = time_us;
            if self.machine.is_done() {
                return None;
            }
            let row = self.read();
            if !self.machine.effects().rows_missing {
                return Some(row);
            }
        }
    }
}

impl Scenario {
    /// The rows of the trace, made as they are asked for, in memory that does not grow.
    pub fn rows(&self) -> Rows {
        Rows::new(self)
    }
}
