//! The machine at work: joint, drives, arc and faults together, from cold to cold.
//!
//! Decides: the order of events on a joint, and the true value of every channel at every moment.
//! Assumes: the technician stops the arc when the pipe has turned far enough, whatever the clock says.
//! Never: adds the errors of instruments.

use super::arc::{Circuit, Gap, Setting, State};
use super::bead::Bead;
use super::drives::{Chuck, Line, Weave};
use super::effects::Effects;
use super::fault::{Course, Fault, Kind, Stage as FaultStage, Start};
use super::heat::Body;
use super::joint::Joint;
use super::random::{Noise, Wander};
use super::record::Recorder;
use super::scenario::{Scenario, Timing};
use super::transfer::{Conditions, Droplets};
use super::truth::Truth;
use bandward::Channel;

/// Longest step of drives, lines and heat, s.
const SLOW_STEP_S: f64 = 0.01;
/// Longest step of the arc, s.
const ARC_STEP_S: f64 = 0.001;
/// A source without an arc shows this, V. Invented, in the range of common practice.
const OPEN_CIRCUIT_V: f64 = 48.0;
/// The contactor closes this long before the wire touches, s.
const CONTACTOR_LEAD_S: f64 = 0.3;
/// The weave starts this long before the arc, s.
const WEAVE_LEAD_S: f64 = 1.0;
/// A weld is broken off when it takes this many times its usual time.
const PATIENCE: f64 = 4.0;
/// Nobody waits longer for the work to cool, s.
const LONGEST_COOLING_S: f64 = 3600.0;
/// The carriage moves this fast, mm/s.
const CARRIAGE_MM_PER_S: f64 = 10.0;
/// Valve, hose and flow meter together follow with this lag, s.
const GAS_LAG_S: f64 = 0.15;
/// The coolant circuit follows with this lag, s.
const COOLANT_LAG_S: f64 = 0.4;
/// Coolant runs this long before the gas, s.
const COOLANT_LEAD_S: f64 = 1.5;

/// Where the work is between cold and cold.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    /// Nothing yet, for so long.
    LeadIn(f64),
    /// Moving to the next band and letting the work cool, for so long at least.
    Between(f64),
    /// Gas on, about to strike in so long.
    Ready(f64),
    /// The arc is meant to burn.
    Weld,
    /// Gas after the arc, since so long.
    After(f64),
    /// Nothing any more, for so long.
    LeadOut(f64),
    /// The trace is over.
    Done,
}

/// Between wire and work.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Arc {
    /// No voltage.
    Off,
    /// Voltage, but no current.
    Open,
    /// Burning, or shorted by a drop.
    Lit,
}

/// The machine and the joint in it.
#[derive(Clone, Debug)]
pub struct Machine {
    joint: Joint,
    timing: Timing,
    faults: Vec<Fault>,
    circuit: Circuit,
    setting: Setting,
    stage: Stage,
    band: u16,
    time_s: f64,
    weld_since_s: f64,
    weld_since_deg: f64,
    /// When a fault of the weld began in its band, s since the arc start.
    begun_s: Vec<Option<f64>>,
    effects: Effects,
    arc: Arc,
    state: State,
    voltage_v: f64,
    droplets: Droplets,
    contact: Wander,
    weave: Weave,
    chuck: Chuck,
    counts_lost_deg: f64,
    gas: Line,
    coolant: Line,
    body: Body,
    carriage_mm: f64,
    carriage_goal_mm: f64,
    bead: Bead,
    recorder: Recorder,
}

impl Machine {
    /// The machine of a scenario, before anything happens.
    pub fn new(scenario: &Scenario) -> Self {
        let joint = scenario.joint.clone();
        let (circuit, setting) = joint.circuit();
        let effects = Effects::none(&joint, setting);
        let cold = scenario.faults.iter().find(|fault| fault.kind == Kind::WorkCold && fault.band == 1);
        let start_c = cold.map_or(joint.preheat_c, |fault| fault.size);
        Self {
            timing: scenario.timing,
            faults: scenario.faults.clone(),
            circuit,
            setting,
            stage: Stage::LeadIn(scenario.timing.lead_in_s),
            band: 1,
            time_s: 0.0,
            weld_since_s: 0.0,
            weld_since_deg: 0.0,
            begun_s: vec![None; scenario.faults.len()],
            effects,
            arc: Arc::Off,
            state: State { current_a: 0.0, stick_out_mm: joint.stick_out_mm },
            voltage_v: 0.0,
            droplets: Droplets::new(scenario.seed),
            contact: Wander::new(Noise::new(scenario.seed, 103)),
            weave: Weave::default(),
            chuck: Chuck::default(),
            counts_lost_deg: 0.0,
            gas: Line::default(),
            coolant: Line::default(),
            body: Body::new(&joint, start_c),
            carriage_mm: 0.0,
            carriage_goal_mm: 0.0,
            bead: Bead::new(joint.outside_diameter_mm, joint.band_width_mm),
            recorder: Recorder::new(scenario),
            joint,
        }
    }

    /// Is the trace over?
    pub fn is_done(&self) -> bool {
        self.stage == Stage::Done
    }
    /// What faults do at this moment.
    pub fn effects(&self) -> &Effects {
        &self.effects
    }
    /// What happened so far.
    pub fn truth(&self) -> Truth {
        self.recorder.truth()
    }

    /// The true value of a channel.
    pub fn value(&self, channel: Channel) -> f64 {
        let swapped =
            self.faults.iter().any(|fault| fault.kind == Kind::LeadsSwapped && fault.band == self.band);
        let sign = if swapped == self.joint.electrode_positive { -1.0 } else { 1.0 };
        match channel {
            Channel::Current => sign * if self.arc == Arc::Lit { self.state.current_a } else { 0.0 },
            Channel::Voltage => sign * self.voltage_v,
            Channel::Gas => self.gas.flow_lpm,
            Channel::Torch => self.weave.position_mm(&self.effects.weave),
            Channel::Spindle => {
                let encoder_deg = self.chuck.pipe_deg - self.counts_lost_deg;
                if self.joint.clockwise { encoder_deg } else { -encoder_deg }
            }
            Channel::Wire if self.arc == Arc::Off => 0.0,
            Channel::Wire => self.effects.setting.feed_mm_per_s * 60.0,
            Channel::Coolant => self.coolant.flow_lpm,
            Channel::Work => self.body.temperature_c,
            Channel::Carriage => self.carriage_mm,
        }
    }

    /// Lets `step_s` pass.
    pub fn advance(&mut self, step_s: f64) {
        let steps = libm::ceil(step_s / SLOW_STEP_S - 1e-9).max(1.0);
        for _ in 0..steps as u64 {
            self.tick(step_s / steps);
        }
    }

    fn tick(&mut self, step_s: f64) {
        self.pass_stage(step_s);
        self.gather_effects();
        self.move_drives(step_s);
        self.burn(step_s);
        self.time_s += step_s;
    }

    /// Size of a fault that acts where a band begins or ends.
    fn size_of(&self, kind: Kind, band: u16) -> Option<f64> {
        self.faults.iter().find(|fault| fault.kind == kind && fault.band == band).map(|fault| fault.size)
    }

    fn turned_deg(&self) -> f64 {
        self.chuck.pipe_deg - self.weld_since_deg
    }

    /// Goes on to the next stage when this one is over.
    fn pass_stage(&mut self, step_s: f64) {
        self.stage = match self.stage {
            Stage::LeadIn(left_s) if left_s > 0.0 => Stage::LeadIn(left_s - step_s),
            Stage::Between(left_s) if left_s > 0.0 || self.must_cool(-left_s) => {
                Stage::Between(left_s - step_s)
            }
            Stage::LeadIn(_) | Stage::Between(_) => self.make_ready(),
            Stage::Ready(left_s) if left_s > 0.0 => Stage::Ready(left_s - step_s),
            Stage::Ready(_) => self.strike(),
            Stage::Weld if self.is_weld_over() => self.stop(),
            Stage::Weld => Stage::Weld,
            Stage::After(since_s) if since_s < self.joint.gas_postflow_s + 0.5 => {
                Stage::After(since_s + step_s)
            }
            Stage::After(_) => self.leave(),
            Stage::LeadOut(left_s) if left_s > 0.0 => Stage::LeadOut(left_s - step_s),
            Stage::LeadOut(_) | Stage::Done => Stage::Done,
        };
    }

    fn must_cool(&self, waited_s: f64) -> bool {
        self.body.temperature_c > self.joint.start_below_c
            && waited_s < LONGEST_COOLING_S
            && self.size_of(Kind::WorkHot, self.band).is_none()
    }

    fn make_ready(&mut self) -> Stage {
        self.weave.park(&self.effects.weave);
        self.recorder.ready(self.band, self.time_s);
        Stage::Ready(self.joint.gas_preflow_s)
    }

    fn strike(&mut self) -> Stage {
        self.weld_since_s = self.time_s;
        self.weld_since_deg = self.chuck.pipe_deg;
        self.begun_s.fill(None);
        self.bead = Bead::new(self.joint.outside_diameter_mm, self.joint.band_width_mm);
        self.recorder.arc_start(self.band, self.time_s, self.body.temperature_c);
        self.light();
        Stage::Weld
    }

    /// The wire has touched and blown off: a short arc at no current yet.
    fn light(&mut self) {
        self.arc = Arc::Lit;
        self.droplets.reset();
        self.state = State { current_a: 0.0, stick_out_mm: self.effects.setting.tip_to_work_mm - 1.0 };
    }

    fn is_weld_over(&self) -> bool {
        let overlap_deg = self.size_of(Kind::StoppedEarly, self.band).unwrap_or(self.joint.overlap_deg);
        self.turned_deg() >= 360.0 + overlap_deg
            || self.time_s - self.weld_since_s > PATIENCE * self.joint.turn_time_s
    }

    fn stop(&mut self) -> Stage {
        self.arc = Arc::Off;
        self.recorder.arc_end(self.time_s, self.turned_deg(), self.droplets.shorts, self.bead.heights_mm(10));
        self.droplets.shorts = 0;
        Stage::After(0.0)
    }

    fn leave(&mut self) -> Stage {
        self.recorder.left(self.time_s);
        if self.band >= self.joint.bands {
            return Stage::LeadOut(self.timing.lead_out_s);
        }
        self.band += 1;
        let step =
            [Kind::StepShort, Kind::StepLong].into_iter().find_map(|kind| self.size_of(kind, self.band));
        self.carriage_goal_mm += step.unwrap_or(self.joint.step_over_mm);
        Stage::Between(self.timing.between_bands_s)
    }

    fn gather_effects(&mut self) {
        self.effects = Effects::none(&self.joint, self.setting);
        let since_s = self.time_s - self.weld_since_s;
        for index in 0..self.faults.len() {
            let fault = self.faults[index];
            if fault.band != self.band || fault.kind.description().stage != FaultStage::Weld {
                continue;
            }
            let share = match self.stage {
                Stage::Weld => self.share_of(index, since_s),
                // What is wrong from the very start was wrong before the arc.
                Stage::Ready(_) if fault.start == Start::Seconds(0.0) => {
                    (fault.kind.description().course == Course::Sudden).then_some(1.0)
                }
                _ => None,
            };
            if let Some(share) = share {
                self.effects.add(&fault, share, &self.joint, &self.circuit);
                if self.stage == Stage::Weld {
                    self.recorder.acts(index, self.time_s, self.turned_deg());
                }
            }
        }
    }

    /// How much of a fault of the weld acts now; `None` outside its time.
    fn share_of(&mut self, index: usize, since_s: f64) -> Option<f64> {
        let fault = self.faults[index];
        let due = match fault.start {
            Start::Seconds(start_s) => since_s >= start_s,
            Start::Degrees(from_deg) => self.turned_deg() >= from_deg,
        };
        if self.begun_s[index].is_none() && due {
            self.begun_s[index] = Some(since_s);
        }
        let lasted_s = since_s - self.begun_s[index]?;
        (lasted_s < fault.duration_s).then(|| fault.share(lasted_s, self.joint.weld_s() - since_s + lasted_s))
    }

    fn move_drives(&mut self, step_s: f64) {
        let effects = &self.effects;
        let (ready_left_s, welding) = match self.stage {
            Stage::Ready(left_s) => (left_s, false),
            Stage::Weld => (0.0, true),
            _ => (f64::INFINITY, false),
        };
        if ready_left_s <= WEAVE_LEAD_S {
            self.weave.advance(&effects.weave, step_s);
        }
        let turning = if ready_left_s <= WEAVE_LEAD_S { effects.turning_deg_per_s } else { 0.0 };
        let before_deg = self.chuck.pipe_deg;
        self.chuck.advance(turning, effects.slip, self.joint.unevenness, step_s);
        self.counts_lost_deg += effects.counts_lost * (self.chuck.pipe_deg - before_deg);

        let preflow_s = self.size_of(Kind::GasValveLate, self.band).unwrap_or(self.joint.gas_preflow_s);
        let postflow_s = self.size_of(Kind::GasValveEarly, self.band).unwrap_or(self.joint.gas_postflow_s);
        let open = match self.stage {
            Stage::After(since_s) => since_s < postflow_s,
            _ => ready_left_s <= preflow_s,
        };
        self.gas.advance(if open { effects.gas_lpm } else { 0.0 }, GAS_LAG_S, step_s);
        let pumping = match self.stage {
            Stage::LeadIn(left_s) | Stage::Between(left_s) => left_s <= COOLANT_LEAD_S,
            Stage::Ready(_) | Stage::Weld | Stage::After(_) => true,
            Stage::LeadOut(_) | Stage::Done => false,
        };
        self.coolant.advance(if pumping { effects.coolant_lpm } else { 0.0 }, COOLANT_LAG_S, step_s);
        let way_mm = CARRIAGE_MM_PER_S * step_s;
        self.carriage_mm += (self.carriage_goal_mm - self.carriage_mm).clamp(-way_mm, way_mm);
        if let (Stage::Ready(_), Some(size)) = (self.stage, self.size_of(Kind::WorkHot, self.band)) {
            self.body.hold(size);
        }
        if !welding && ready_left_s.is_finite() && ready_left_s <= CONTACTOR_LEAD_S {
            self.arc = Arc::Open;
        }
    }

    /// The arc over `step_s`, and the heat and metal it brings.
    fn burn(&mut self, step_s: f64) {
        if self.stage == Stage::Weld {
            match (self.arc, self.effects.arc_out) {
                (Arc::Lit, true) => self.arc = Arc::Open,
                (Arc::Open | Arc::Off, false) => self.light(),
                _ => {}
            }
        }
        let power_w = match self.arc {
            Arc::Off => {
                self.voltage_v = 0.0;
                0.0
            }
            Arc::Open => {
                self.voltage_v = OPEN_CIRCUIT_V;
                0.0
            }
            Arc::Lit => self.burn_lit(step_s),
        };
        self.body.advance(power_w, step_s);
    }

    /// Mean power over the step, W.
    fn burn_lit(&mut self, step_s: f64) -> f64 {
        let wire_section =
            std::f64::consts::FRAC_PI_4 * self.joint.wire_diameter_mm * self.joint.wire_diameter_mm;
        self.contact.advance(step_s, self.effects.contact_wander_mm, 0.08);
        let mut setting = self.effects.setting;
        // The pipe runs out of true below the torch; a worn tip touches the wire further up.
        setting.tip_to_work_mm +=
            self.contact.value.abs() + self.joint.runout_mm * libm::sin(self.chuck.pipe_deg.to_radians());
        let conditions = |state: State| Conditions {
            current_a: state.current_a,
            length_mm: setting.tip_to_work_mm - state.stick_out_mm,
            feed_mm_per_s: setting.feed_mm_per_s,
            wire_diameter_mm: self.joint.wire_diameter_mm,
            gas_sprays: self.joint.gas_sprays,
            repelled_per_s: self.effects.repelled_per_s,
            pool_mm: self.effects.pool_mm,
        };
        let (mut left_s, mut energy_j) = (step_s, 0.0);
        while left_s > 1e-12 {
            let arc_step_s = left_s.min(ARC_STEP_S).min(self.droplets.longest_step_s());
            let gap: Gap = self.droplets.gap(&conditions(self.state));
            self.state = self.circuit.advance(&setting, self.state, gap, arc_step_s);
            self.voltage_v = self.circuit.voltage(&setting, self.state, gap);
            self.droplets.advance(&conditions(self.state), arc_step_s);
            energy_j += self.voltage_v * self.state.current_a * arc_step_s;
            self.recorder.burns(self.state.current_a, self.voltage_v, arc_step_s);
            left_s -= arc_step_s;
        }
        let laid = setting.feed_mm_per_s * wire_section * self.joint.deposition_efficiency * step_s;
        self.bead.lay(self.turned_deg(), laid);
        energy_j / step_s
    }
}
