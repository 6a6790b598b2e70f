//! The technician at the machine: habits as they act.
//!
//! Decides: what a habit does to settings and to the pyrometer at one moment.
//! Assumes: it is asked in order of time, and told when a band begins and when its arc is struck.
//! Never: moves the machine on, and touches nothing while no habit is switched on.

use super::arc::Circuit;
use super::effects::Effects;
use super::habit::Habits;
use super::habit_plan::BandPlan;
use super::joint::Joint;
use super::random::{Noise, Wander};
use super::scenario::Scenario;
use super::targets::Targets;
use bandward::Quantity;

/// A correction has reached its goal after this time, s. Invented.
const CORRECTION_S: f64 = 1.0;
/// Corrections stay this share of a range away from its ends.
const INSIDE: f64 = 0.2;
/// A flame comes and goes in this time, s. Invented.
const FLAME_EASE_S: f64 = 0.3;
/// A flame flickers by this share of itself, within this time, s. Invented.
const FLICKER: (f64, f64) = (0.15, 0.2);

/// Names of what is corrected, in the order of their settings.
pub const CORRECTED: [&str; 3] = ["current", "voltage", "turn time"];

/// One setting under the hand: its value against that of the good joint.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Hand {
    most: f64,
    inside: (f64, f64),
    now: f64,
    goal: f64,
}

/// The technician.
#[derive(Clone, Debug)]
pub struct Technician {
    habits: Habits,
    seed: u64,
    /// What is meant to be done on this band.
    pub plan: BandPlan,
    hands: [Hand; 3],
    noise: Noise,
    next_correction_s: f64,
    /// When a flame comes and goes, and how much it shows.
    flame: Option<(f64, f64, f64)>,
    flicker: Wander,
    crater_since_s: Option<f64>,
}

impl Technician {
    /// For a scenario, before its first band.
    pub fn new(scenario: &Scenario) -> Self {
        let (habits, joint, seed) = (scenario.habits, &scenario.joint, scenario.seed);
        let hand = |quantity, most, usual| Hand {
            most,
            inside: inside(&scenario.targets, quantity, usual),
            now: 1.0,
            goal: 1.0,
        };
        Self {
            hands: [
                hand(Quantity::Current, habits.hand_current, joint.current_a),
                hand(Quantity::Voltage, habits.hand_voltage, joint.voltage_v),
                hand(Quantity::TurnTime, habits.hand_turn_time, joint.turn_time_s),
            ],
            plan: BandPlan::draw(&habits, seed, 1, 1),
            noise: Noise::new(seed, 105),
            next_correction_s: f64::INFINITY,
            flame: None,
            flicker: Wander::new(Noise::new(seed, 106)),
            crater_since_s: None,
            habits,
            seed,
        }
    }
    /// A band (from 1) of a joint (from 1) is next.
    pub fn begin_band(&mut self, joint: u16, band: u16) {
        self.plan = BandPlan::draw(&self.habits, self.seed, joint, band);
    }
    /// It is laid on under the arc of the one before.
    pub fn keep_burning(&mut self) {
        self.plan.continue_under_the_arc();
    }
    /// It will be broken off: no care is taken of its end.
    pub fn break_off(&mut self) {
        self.plan.break_off();
    }
    /// Does the carriage go home after the last joint?
    pub fn sends_carriage_home(&self) -> bool {
        self.habits.carriage_home
    }
    /// How long it takes to change the pipe after a joint, against the usual time.
    pub fn idle_share(&self, joint: u16) -> f64 {
        Noise::new(self.seed.wrapping_add(u64::from(joint)), 107).uniform(0.7, 1.3)
    }
    /// The arc was struck.
    pub fn strike(&mut self) {
        self.crater_since_s = None;
        self.next_correction_s = self.habits.hand_every_s * self.noise.uniform(0.3, 1.0);
    }
    /// A flame comes, where one is planned for this time: `welding` or waiting, from `time_s` on for
    /// `within_s` at most. Gives its start, its end and how much it shows.
    pub fn light(&mut self, welding: bool, time_s: f64, within_s: f64) -> Option<(f64, f64, f64)> {
        let flame = self.plan.flame.filter(|flame| flame.welding == welding)?;
        let from_s = time_s + flame.from * within_s;
        let to_s = (from_s + flame.lasts_s).min(time_s + within_s);
        self.flame = Some((from_s, to_s, flame.rise_c));
        self.flame
    }
    /// What the pyrometer shows above the work, °C.
    pub fn flame_c(&self, time_s: f64) -> f64 {
        let Some((from_s, to_s, rise_c)) = self.flame else { return 0.0 };
        let ease = ((time_s - from_s) / FLAME_EASE_S).min((to_s - time_s) / FLAME_EASE_S).clamp(0.0, 1.0);
        rise_c * ease * (1.0 + self.flicker.value)
    }
    /// Is the arc out, half a step of `step_s` after `since_s` of weld?
    pub fn is_restriking(&self, since_s: f64, step_s: f64) -> bool {
        let middle_s = since_s + 0.5 * step_s;
        self.plan.restrikes.iter().any(|&(from_s, lasts_s)| (from_s..from_s + lasts_s).contains(&middle_s))
    }
    /// Lets `step_s` pass after `since_s` of weld. Where a correction begins: which of [`CORRECTED`],
    /// and where it will lead.
    pub fn weld(&mut self, since_s: f64, step_s: f64) -> Option<(usize, f64)> {
        for hand in &mut self.hands {
            let way = hand.most * step_s / CORRECTION_S;
            hand.now += (hand.goal - hand.now).clamp(-way, way);
        }
        if since_s < self.next_correction_s {
            return None;
        }
        self.next_correction_s = since_s + self.habits.hand_every_s * self.noise.uniform(0.5, 1.5);
        let which = self.noise.pick(self.hands.len());
        let share = self.noise.uniform(-1.0, 1.0);
        let hand = &mut self.hands[which];
        hand.goal = (1.0 + share * hand.most).clamp(hand.inside.0, hand.inside.1);
        (hand.most > 0.0).then_some((which, hand.goal))
    }
    /// Lets `step_s` pass for the flame.
    pub fn flicker(&mut self, step_s: f64) {
        if self.flame.is_some() {
            self.flicker.advance(step_s, FLICKER.0, FLICKER.1);
        }
    }
    /// The arc will end in `left_s`, a full turn is welded: is it time to begin with the crater?
    pub fn begins_crater(&mut self, time_s: f64, left_s: f64) -> bool {
        let begins =
            self.plan.crater_s > 0.0 && self.crater_since_s.is_none() && left_s <= self.plan.crater_s;
        if begins {
            self.crater_since_s = Some(time_s);
        }
        begins
    }
    /// Is the crater filled, or none to be filled?
    pub fn has_filled(&self, time_s: f64) -> bool {
        self.plan.crater_s <= 0.0
            || self.crater_since_s.is_some_and(|since_s| time_s - since_s >= self.plan.crater_s - 1e-9)
    }
    /// Share of the current that a filled crater leaves.
    pub fn crater_current(&self) -> f64 {
        self.habits.crater_current
    }
    /// Puts settings where the hand has them.
    pub fn set(&self, effects: &mut Effects, joint: &Joint, circuit: &Circuit, time_s: f64) {
        let [current, voltage, turn_time] = self.hands.map(|hand| hand.now);
        let filled = self.crater_since_s.map_or(0.0, |since_s| (time_s - since_s) / self.plan.crater_s);
        let down = |left: f64| 1.0 - (1.0 - left) * filled.min(1.0);
        let (current, voltage) =
            (current * down(self.habits.crater_current), voltage * down(self.habits.crater_voltage));
        // What was found by solving is only solved again where it has to be, so that a joint without
        // habits stays as it is to the bit.
        let is_one = |share: f64| share.to_bits() == 1.0_f64.to_bits();
        if !is_one(current) || !is_one(voltage) {
            let (current_a, voltage_v) = (current * joint.current_a, voltage * joint.voltage_v);
            effects.setting = circuit.with_current_and_voltage(effects.setting, current_a, voltage_v);
        }
        if !is_one(turn_time) {
            effects.turning_deg_per_s /= turn_time;
        }
    }
    /// Flow beyond the set one, as a share, `open_s` after the valve opened with `surge`.
    pub fn surging(&self, surge: f64, open_s: f64) -> f64 {
        // A twentieth is left after three time constants.
        if surge > 0.0 { surge * libm::exp(-3.0 * open_s / self.habits.gas_surge_s) } else { 0.0 }
    }
    /// Time after which the surge is over, s.
    pub fn surge_s(&self) -> f64 {
        self.habits.gas_surge_s
    }
}

/// Where a correction may lead: well inside the recommended range, else the allowed one, as shares of
/// the usual value; never further from it than where the good joint is itself outside.
fn inside(targets: &Targets, quantity: Quantity, usual: f64) -> (f64, f64) {
    let bounds = targets.bounds(quantity);
    let range = bounds.and_then(|bounds| bounds.recommended.or(bounds.allowed));
    range.map_or((f64::NEG_INFINITY, f64::INFINITY), |(low, high)| {
        let margin = if (high - low).is_finite() { INSIDE * (high - low) } else { 0.0 };
        (((low + margin) / usual).min(1.0), ((high - margin) / usual).max(1.0))
    })
}
