//! The instruments: noise, ripple, steps, and sensors that lie.
//!
//! Decides: what is written of a state.
//! Assumes: read once a row; the filter before current and voltage is carried on between rows.

use super::kinds::Kind;
use super::machine::State;
use super::noise::{Pink, Ripple, in_steps, lagged};
use super::random::Chance;
use super::rig::Rig;
use super::troubles::Troubles;
use super::truth::FaultTruth;
use bandward::Channel;

type Values = [Option<f64>; Channel::COUNT];

/// The instruments of a rig at work.
#[derive(Clone, Debug)]
pub struct Instruments {
    rig: Rig,
    chance: Chance,
    ripple: Ripple,
    pinks: [Pink; Channel::COUNT],
    filtered: [f64; 2],
    held: [Option<f64>; Channel::COUNT],
}

/// 1/f noise, white noise, in the units of the channels and in their order.
const NOISE: [(f64, f64); Channel::COUNT] = [
    (4.0, 2.5),
    (0.12, 0.09),
    (0.08, 0.04),
    (0.04, 0.02),
    (0.0, 0.0),
    (12.0, 15.0),
    (0.05, 0.04),
    (0.8, 0.4),
    (0.01, 0.01),
];

/// Amplitude of the ripple before the filter: A, V.
const RIPPLE: [f64; 2] = [10.0, 1.2];

impl Instruments {
    /// Switched on.
    pub fn new(rig: &Rig, chance: &mut Chance) -> Self {
        let ripple = Ripple::new(rig.mains_hz, chance);
        let pinks = std::array::from_fn(|_| Pink::new(chance));
        let held = [None; Channel::COUNT];
        Self { rig: *rig, chance: chance.clone(), ripple, pinks, filtered: [0.0; 2], held }
    }
    /// Carries the filter on by `dt_s`.
    pub fn filter(&mut self, dt_s: f64, state: &State) {
        for (filtered, now) in self.filtered.iter_mut().zip([state.current_a, state.voltage_v]) {
            *filtered = lagged(*filtered, now, dt_s, self.rig.filter_s);
        }
    }
    /// Reads a row, `row_s` after the last.
    pub fn read(&mut self, row_s: f64, state: &State, faults: &[FaultTruth]) -> Values {
        let mut values = self.noisy(row_s, state);
        for truth in faults.iter().filter(|truth| Troubles::is_on(truth)) {
            self.lie(truth, &mut values);
        }
        for (value, channel) in values.iter_mut().zip(Channel::ALL) {
            if !self.rig.channels.contains(channel) {
                *value = None;
            }
        }
        values
    }
    fn noisy(&mut self, row_s: f64, state: &State) -> Values {
        let left = self.ripple.left_by_filter(self.rig.filter_s);
        let ripple = left * self.ripple.next(row_s, &mut self.chance) * f64::from(u8::from(state.burning));
        let [current_a, voltage_v] = self.filtered;
        let sign = voltage_v.signum();
        let clean = [
            current_a + sign * RIPPLE[0] * ripple,
            voltage_v + sign * RIPPLE[1] * ripple,
            state.gas_lpm,
            state.torch_mm,
            state.spindle_deg,
            state.wire_mm_min,
            state.coolant_lpm,
            state.work_c,
            state.carriage_mm,
        ];
        std::array::from_fn(|at| {
            let (pink, white) = NOISE[at];
            let (drift, chance) = (&mut self.pinks[at], &mut self.chance);
            let noise = pink * drift.next(row_s, chance) + white * chance.normal();
            // What is off reads a quiet zero: noise comes with what is measured.
            let share = if clean[at].abs() < 0.05 && at != Channel::Torch as usize { 0.1 } else { 1.0 };
            Some(in_steps(clean[at] + share * noise, self.rig.steps[at]))
        })
    }
    fn lie(&mut self, truth: &FaultTruth, values: &mut Values) {
        let kind = truth.fault.kind;
        if kind == Kind::CurrentInKiloampere {
            let value = &mut values[Channel::Current as usize];
            *value = value.map(|current_a| current_a * truth.fault.size());
        }
        if kind == Kind::NoBandSeen {
            values[Channel::Current as usize] = Some(0.0);
            values[Channel::Voltage as usize] = Some(0.0);
        }
        let Some(channel) = truth.fault.channel else { return };
        let value = &mut values[channel as usize];
        match kind {
            Kind::Frozen => {
                let held = &mut self.held[channel as usize];
                *held = held.or(*value);
                *value = *held;
            }
            Kind::Zero => *value = Some(0.0),
            Kind::Dead => *value = None,
            Kind::Spikes if self.chance.happens(1.0 / (20.0 * self.rig.rate_hz)) => {
                *value = value.map(|value| value + spike(channel));
            }
            _ => {}
        }
    }
}

/// What a spike adds, in the unit of the channel.
fn spike(channel: Channel) -> f64 {
    match channel {
        Channel::Current => 2000.0,
        Channel::Voltage => 90.0,
        Channel::Gas | Channel::Coolant => 60.0,
        Channel::Torch | Channel::Carriage => 250.0,
        Channel::Spindle => 120.0,
        Channel::Wire => 40_000.0,
        Channel::Work => 1_500.0,
    }
}
