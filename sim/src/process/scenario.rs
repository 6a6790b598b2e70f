//! A joint to be made: what it is, what goes wrong, and how it is measured.
//!
//! Decides: what a scenario holds, and how rows come out of it.
//! Assumes: nothing.
//! Never: reads a file; see [`super::file`].

use super::defaults::default_fault;
use super::fault::{Fault, Kind};
use super::habit::Habits;
use super::joint::Joint;
use super::sensor::Sensor;
use super::shift::Shift;
use super::targets::Targets;
use super::truth::Truth;
use crate::trace::Row;
use bandward::sample::ChannelSet;
use bandward::{Channel, Rule};

/// Waits around the bands, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timing {
    /// Nothing happens before the first band.
    pub lead_in_s: f64,
    /// At least this between the gas of one band and of the next; longer where the work must cool.
    pub between_bands_s: f64,
    /// Nothing happens after the last band.
    pub lead_out_s: f64,
}

/// A joint to be made.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// Name.
    pub name: String,
    /// What a reader should know.
    pub note: String,
    /// Seed of every random number.
    pub seed: u64,
    /// Rows a second.
    pub sample_rate_hz: f64,
    /// How far a row may come early or late, as a share of the spacing, 0 to 0.45.
    pub jitter: f64,
    /// Channels that are wired.
    pub channels: ChannelSet,
    /// Does the spindle reading begin again at 0 after a turn?
    pub spindle_wraps: bool,
    /// The joint without its faults.
    pub joint: Joint,
    /// Waits.
    pub timing: Timing,
    /// How each channel is measured, in the order of [`Channel::ALL`].
    pub sensors: [Sensor; Channel::COUNT],
    /// What is done on every good joint.
    pub habits: Habits,
    /// Joints of the trace.
    pub shift: Shift,
    /// What goes wrong.
    pub faults: Vec<Fault>,
    /// The ranges of the procedure, for the sizes of faults.
    pub targets: Targets,
}

impl Scenario {
    /// A joint without fault that keeps `targets`, all channels wired.
    pub fn good(targets: Targets, sample_rate_hz: f64) -> Self {
        let joint = Joint::good(&targets);
        Self {
            name: "good joint".to_owned(),
            note: "invented".to_owned(),
            seed: 1,
            sample_rate_hz,
            jitter: 0.0,
            channels: ChannelSet::ALL,
            spindle_wraps: true,
            timing: Timing { lead_in_s: 3.0, between_bands_s: 6.0, lead_out_s: 3.0 },
            sensors: Channel::ALL.map(Sensor::usual),
            habits: Habits::NONE,
            shift: Shift::ONE,
            faults: Vec::new(),
            joint,
            targets,
        }
    }
    /// With another seed.
    #[must_use]
    pub fn with_seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }
    /// With the habits and the instruments of an ordinary day.
    #[must_use]
    pub fn everyday(mut self) -> Self {
        self.habits = Habits::EVERYDAY;
        for channel in Channel::ALL {
            let sensor = &mut self.sensors[channel as usize];
            *sensor = sensor.everyday(channel);
        }
        self
    }
    /// With one more fault.
    #[must_use]
    pub fn with_fault(mut self, fault: Fault) -> Self {
        self.faults.push(fault);
        self
    }
    /// With a fault of `rule` whose place and size come from `fault_seed`; `None` where no kind of fault is
    /// made for the rule.
    #[must_use]
    pub fn with_default_fault(self, rule: Rule, fault_seed: u64) -> Option<Self> {
        let fault = self.default_fault(Kind::of_rule(rule)?, fault_seed);
        Some(self.with_fault(fault))
    }
    /// A fault of `kind` whose place and size come from `fault_seed`.
    pub fn default_fault(&self, kind: Kind, fault_seed: u64) -> Fault {
        default_fault(kind, fault_seed, &self.joint, &self.targets, self.channels)
    }
    /// The rows and the truth about them.
    pub fn make(&self) -> (Vec<Row>, Truth) {
        let mut rows = self.rows();
        let made = rows.by_ref().collect();
        (made, rows.truth())
    }
    /// The truth about the rows.
    pub fn truth(&self) -> Truth {
        let mut rows = self.rows();
        rows.by_ref().for_each(drop);
        rows.truth()
    }
}
