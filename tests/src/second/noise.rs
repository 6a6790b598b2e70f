//! Noise that is not white: 1/f drift, ripple of a rectifier, and readings in steps.
//!
//! Decides: what disturbs a reading.
//! Assumes: called at rising times; any spacing, even or not.

use super::random::Chance;
use std::f64::consts::TAU;

/// 1/f noise: a sum of first-order processes an octave and a half apart, equally strong
/// (the construction of `McWhorter`). Right at any spacing, since each stage is carried on exactly.
#[derive(Clone, Debug)]
pub struct Pink {
    stages: [f64; Self::TAUS_S.len()],
}

impl Pink {
    const TAUS_S: [f64; 7] = [0.02, 0.06, 0.2, 0.6, 2.0, 7.0, 25.0];

    /// Started anywhere in its course.
    pub fn new(chance: &mut Chance) -> Self {
        Self { stages: std::array::from_fn(|_| chance.normal()) }
    }
    /// The next value, deviation 1 in all, after `dt_s`.
    pub fn next(&mut self, dt_s: f64, chance: &mut Chance) -> f64 {
        let mut sum = 0.0;
        for (stage, tau_s) in self.stages.iter_mut().zip(Self::TAUS_S) {
            let kept = (-dt_s / tau_s).exp();
            *stage = kept * *stage + (1.0 - kept * kept).sqrt() * chance.normal();
            sum += *stage;
        }
        sum / (Self::TAUS_S.len() as f64).sqrt()
    }
}

/// Ripple of a three-phase bridge, six pulses a mains period. The mains wanders, so that what a
/// slow logger makes of it wanders too.
#[derive(Clone, Debug)]
pub struct Ripple {
    pulse_hz: f64,
    turns: f64,
    wander: f64,
}

impl Ripple {
    /// On mains of 50 or 60 Hz.
    pub fn new(mains_hz: f64, chance: &mut Chance) -> Self {
        Self { pulse_hz: 6.0 * mains_hz, turns: chance.unit(), wander: 0.0 }
    }
    /// Carries on by `dt_s`; the value is of amplitude 1 with a weaker second harmonic.
    pub fn next(&mut self, dt_s: f64, chance: &mut Chance) -> f64 {
        let kept = (-dt_s / 20.0).exp();
        self.wander = kept * self.wander + (1.0 - kept * kept).sqrt() * chance.normal();
        self.turns = (self.turns + self.pulse_hz * (1.0 + 4e-4 * self.wander) * dt_s).fract();
        0.9 * (TAU * self.turns).sin() + 0.25 * (2.0 * TAU * self.turns + 0.7).sin()
    }
    /// What a filter of this time constant leaves of the ripple.
    pub fn left_by_filter(&self, tau_s: f64) -> f64 {
        1.0 / (1.0 + (TAU * self.pulse_hz * tau_s).powi(2)).sqrt()
    }
}

/// A reading in steps of `step`; 0 leaves it as it is.
pub fn in_steps(value: f64, step: f64) -> f64 {
    if step > 0.0 { (value / step).round() * step } else { value }
}

/// A first-order lag, carried on by `dt_s`.
pub fn lagged(state: f64, towards: f64, dt_s: f64, tau_s: f64) -> f64 {
    if tau_s <= 0.0 { towards } else { towards + (state - towards) * (-dt_s / tau_s).exp() }
}
