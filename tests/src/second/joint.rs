//! A joint, row by row.
//!
//! Decides: at which instants rows are written.
//! Assumes: the machine is stepped evenly between two rows, by 10 ms or less.

use super::fault::Fault;
use super::habits::Habits;
use super::instruments::Instruments;
use super::machine::Machine;
use super::plan::{Advance, acts};
use super::random::Chance;
use super::rig::Rig;
use super::troubles::Troubles;
use super::truth::Truth;
use super::upset::Upset;
use bandward_sim::trace::Row;

/// What joint is wanted.
#[derive(Clone, Debug)]
pub struct Order {
    /// The machine and logger.
    pub rig: Rig,
    /// The welder's habits.
    pub habits: Habits,
    /// What is wrong.
    pub faults: Vec<Fault>,
    /// What is otherwise than the shop aims at, all along the joint: who welds, which wire, how worn a tip.
    pub standing: Upset,
    /// How the bands are laid.
    pub advance: Advance,
    /// Of all that is left to chance.
    pub seed: u64,
}

/// Streams of chance of one seed.
const OF_THE_RIG: u64 = 1;
const OF_THE_HABITS: u64 = 2;
const OF_THE_PLAN: u64 = 3;
const OF_THE_MACHINE: u64 = 4;
const OF_THE_READINGS: u64 = 5;

impl Order {
    /// A good joint with everyday habits, at this rate.
    pub fn good(rate_hz: f64, seed: u64) -> Self {
        Self {
            rig: Rig::drawn(rate_hz, &mut Chance::new(seed, OF_THE_RIG)),
            habits: Habits::drawn(&mut Chance::new(seed, OF_THE_HABITS)),
            faults: Vec::new(),
            standing: Upset::default(),
            advance: Advance::Stands,
            seed,
        }
    }
    /// With a fault beside the habits.
    #[must_use]
    pub fn with_fault(mut self, fault: Fault) -> Self {
        self.faults.push(fault);
        self
    }
    /// By a welder and a gas line without habits, read finely.
    #[must_use]
    pub fn without_habits(mut self) -> Self {
        self.habits = Habits::NONE;
        self.rig = self.rig.plain();
        self
    }
    /// The joint.
    pub fn joint(&self) -> Joint {
        let mut plan = Chance::new(self.seed, OF_THE_PLAN);
        let acts = acts(&self.rig, &self.habits, &self.faults, self.advance, &mut plan);
        let troubles = Troubles::new(&self.faults, self.standing);
        let mut chance = Chance::new(self.seed, OF_THE_MACHINE);
        let mut readings = Chance::new(self.seed, OF_THE_READINGS);
        Joint {
            machine: Machine::new(&self.rig, &self.habits, acts, troubles, &mut chance),
            instruments: Instruments::new(&self.rig, &mut readings),
            rig: self.rig,
            chance: readings,
            row: 0,
            last_s: 0.0,
            last_spindle_deg: self.rig.encoder.zero_deg,
        }
    }
}

/// The rows of a joint, and what was put in.
#[derive(Clone, Debug)]
pub struct Joint {
    machine: Machine,
    instruments: Instruments,
    rig: Rig,
    chance: Chance,
    row: u64,
    last_s: f64,
    last_spindle_deg: f64,
}

/// The machine's longest step, s.
const LONGEST_S: f64 = 0.010_001;

impl Joint {
    /// What was put in: complete once every row has been taken.
    pub fn truth(mut self) -> Truth {
        self.machine.laid.end(self.last_s);
        let laid = self.machine.laid;
        Truth { bands: laid.bands, tacks: laid.tacks, faults: self.machine.troubles.into_truth() }
    }
    /// Time of the last row, s.
    pub fn last_s(&self) -> f64 {
        self.last_s
    }
    /// The last that the encoder said, degrees.
    pub fn last_spindle_deg(&self) -> f64 {
        self.last_spindle_deg
    }
}

impl Iterator for Joint {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        if self.machine.is_over() {
            return None;
        }
        self.row += 1;
        let period_s = 1.0 / self.rig.rate_hz;
        let late = self.rig.jitter * self.chance.between(-0.5, 0.5);
        let time_us = ((self.row as f64 + late) * period_s * 1e6).round();
        let row_s = time_us / 1e6 - self.last_s;
        self.last_s = time_us / 1e6;
        let steps = (row_s / LONGEST_S).ceil().max(1.0);
        let dt_s = row_s / steps;
        let mut state = self.machine.step(dt_s);
        self.instruments.filter(dt_s, &state);
        for _ in 1..steps as u32 {
            state = self.machine.step(dt_s);
            self.instruments.filter(dt_s, &state);
        }
        self.last_spindle_deg = state.spindle_deg;
        let mut row = Row::at(time_us as u64);
        row.values = self.instruments.read(row_s, &state, self.machine.troubles.all());
        Some(row)
    }
}
