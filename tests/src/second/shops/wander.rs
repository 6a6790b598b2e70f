//! Everyday scatter from joint to joint.
//!
//! Decides: how much of the last joint's deviation is still there at the next.
//! Assumes: a first-order process; its deviations are those of the second generator's machine.

use crate::second::random::Chance;

/// What a joint is set to, as deviations from the shop's aim.
#[derive(Clone, Copy, Debug, Default)]
pub struct Setting {
    /// Source, V.
    pub source_v: f64,
    /// Wire feed, share.
    pub feed: f64,
    /// Torch height, mm.
    pub lift_mm: f64,
    /// Turning, share.
    pub turning: f64,
    /// Weave, cycles a minute.
    pub weave_per_min: f64,
    /// Gas, L/min.
    pub gas_lpm: f64,
    /// Coolant, L/min.
    pub coolant_lpm: f64,
    /// Preheat, K.
    pub preheat_k: f64,
}

/// Settings that wander.
#[derive(Clone, Copy, Debug)]
pub struct Wander {
    kept: f64,
    deviates: [f64; 8],
}

impl Wander {
    /// With this correlation from one joint to the next.
    pub fn new(kept: f64, chance: &mut Chance) -> Self {
        Self { kept, deviates: std::array::from_fn(|_| chance.around(0.0, 1.0)) }
    }
    /// The next joint's.
    pub fn next(&mut self, chance: &mut Chance) -> Setting {
        let fresh = (1.0 - self.kept * self.kept).sqrt();
        for deviate in &mut self.deviates {
            *deviate = self.kept * *deviate + fresh * chance.around(0.0, 1.0);
        }
        let [source, feed, lift, turning, weave, gas, coolant, preheat] = self.deviates;
        Setting {
            source_v: 0.15 * source,
            feed: 0.005 * feed,
            lift_mm: 0.35 * lift,
            turning: 0.004 * turning,
            weave_per_min: 1.0 * weave,
            gas_lpm: 0.3 * gas,
            coolant_lpm: 0.2 * coolant,
            preheat_k: 8.0 * preheat,
        }
    }
}
