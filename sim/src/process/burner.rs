//! The torch at work: source, wire end and drops together.
//!
//! Decides: what burns between wire and work, and the power and metal it brings.
//! Assumes: it is told when to strike and when to stop.
//! Never: knows where on the joint it is.

use super::arc::{Circuit, State};
use super::effects::Effects;
use super::joint::Joint;
use super::random::{Noise, Wander};
use super::transfer::{Conditions, Droplets};

/// Longest step of the arc, s.
const STEP_S: f64 = 0.001;
/// A source without an arc shows this, V. Invented, in the range of common practice.
const OPEN_CIRCUIT_V: f64 = 48.0;
/// A wire that has touched blows off to an arc of this length, mm. Invented.
const STRIKE_MM: f64 = 1.0;
/// A worn tip lets the point of contact wander in this time, s. Invented.
const CONTACT_S: f64 = 0.08;

/// Between wire and work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flame {
    /// No voltage.
    Off,
    /// Voltage, but no current.
    Open,
    /// Burning, or shorted by a drop.
    Lit,
}

/// What an arc did over some time; means over it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Burnt {
    /// Time it burned, s.
    pub time_s: f64,
    /// Current, A.
    pub current_a: f64,
    /// Voltage, V.
    pub voltage_v: f64,
    /// Product of the two, W.
    pub power_w: f64,
    /// Wire melted into the band, mm3.
    pub volume_mm3: f64,
}

/// The torch.
#[derive(Clone, Debug)]
pub struct Burner {
    circuit: Circuit,
    flame: Flame,
    state: State,
    voltage_v: f64,
    droplets: Droplets,
    contact: Wander,
}

impl Burner {
    /// A cold torch.
    pub fn new(circuit: Circuit, joint: &Joint, seed: u64) -> Self {
        Self {
            circuit,
            flame: Flame::Off,
            state: State { current_a: 0.0, stick_out_mm: joint.stick_out_mm },
            voltage_v: 0.0,
            droplets: Droplets::new(seed),
            contact: Wander::new(Noise::new(seed, 103)),
        }
    }
    /// The circuit.
    pub fn circuit(&self) -> &Circuit {
        &self.circuit
    }
    /// What is between wire and work.
    pub fn flame(&self) -> Flame {
        self.flame
    }
    /// Current, A, without sign.
    pub fn current_a(&self) -> f64 {
        if self.flame == Flame::Lit { self.state.current_a } else { 0.0 }
    }
    /// Voltage, V, without sign.
    pub fn voltage_v(&self) -> f64 {
        match self.flame {
            Flame::Off => 0.0,
            Flame::Open => OPEN_CIRCUIT_V,
            Flame::Lit => self.voltage_v,
        }
    }
    /// Short circuits since the last time this was asked.
    pub fn take_shorts(&mut self) -> u32 {
        std::mem::take(&mut self.droplets.shorts)
    }
    /// Turns voltage on or off without an arc.
    pub fn set(&mut self, flame: Flame, effects: &Effects) {
        if flame == Flame::Lit && self.flame != Flame::Lit {
            // The wire has touched and blown off: a short arc at no current yet.
            self.droplets.reset();
            let stick_out_mm = effects.setting.tip_to_work_mm - STRIKE_MM;
            self.state = State { current_a: 0.0, stick_out_mm };
        }
        self.flame = flame;
    }
    /// Lets `step_s` pass; the pipe is `lower_mm` further from the torch than it should be.
    pub fn advance(&mut self, effects: &Effects, joint: &Joint, lower_mm: f64, step_s: f64) -> Burnt {
        if self.flame != Flame::Lit {
            return Burnt::default();
        }
        self.contact.advance(step_s, effects.contact_wander_mm, CONTACT_S);
        let mut setting = effects.setting;
        // A worn tip touches the wire further up.
        setting.tip_to_work_mm += lower_mm + self.contact.value.abs();
        let conditions = |state: State| Conditions {
            current_a: state.current_a,
            length_mm: setting.tip_to_work_mm - state.stick_out_mm,
            feed_mm_per_s: setting.feed_mm_per_s,
            wire_diameter_mm: joint.wire_diameter_mm,
            gas_sprays: joint.gas_sprays,
            repelled_per_s: effects.repelled_per_s,
            pool_mm: effects.pool_mm,
        };
        let mut burnt = Burnt { time_s: step_s, ..Burnt::default() };
        let mut left_s = step_s;
        while left_s > 1e-12 {
            let part_s = left_s.min(STEP_S).min(self.droplets.longest_step_s());
            let gap = self.droplets.gap(&conditions(self.state));
            self.state = self.circuit.advance(&setting, self.state, gap, part_s);
            self.voltage_v = self.circuit.voltage(&setting, self.state, gap);
            self.droplets.advance(&conditions(self.state), part_s);
            let share = part_s / step_s;
            burnt.current_a += share * self.state.current_a;
            burnt.voltage_v += share * self.voltage_v;
            burnt.power_w += share * self.state.current_a * self.voltage_v;
            left_s -= part_s;
        }
        let section_mm2 = std::f64::consts::FRAC_PI_4 * joint.wire_diameter_mm * joint.wire_diameter_mm;
        burnt.volume_mm3 = setting.feed_mm_per_s * section_mm2 * joint.deposition_efficiency * step_s;
        burnt
    }
}
