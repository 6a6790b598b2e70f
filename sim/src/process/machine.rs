//! The machine at work: joint, drives, arc and faults together, from cold to cold.
//!
//! Decides: the order of events on a joint, and the true value of every channel at every moment.
//! Assumes: the technician stops the arc when the pipe has turned far enough, whatever the clock says.
//! Never: adds the errors of instruments.

use super::arc::Setting;
use super::bead::Bead;
use super::burner::{Burner, Flame};
use super::drives::{Chuck, Line, Weave};
use super::effects::Effects;
use super::fault::Kind;
use super::heat::Body;
use super::joint::Joint;
use super::record::Recorder;
use super::scenario::{Scenario, Timing};
use super::schedule::{Moment, Schedule};
use super::truth::Truth;
use bandward::Channel;

/// Longest step of drives, lines and heat, s.
const SLOW_STEP_S: f64 = 0.01;
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

/// The machine and the joint in it.
#[derive(Clone, Debug)]
pub struct Machine {
    joint: Joint,
    timing: Timing,
    schedule: Schedule,
    setting: Setting,
    stage: Stage,
    band: u16,
    time_s: f64,
    weld_since_s: f64,
    weld_since_deg: f64,
    effects: Effects,
    burner: Burner,
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
        let schedule = Schedule::new(&scenario.faults);
        let start_c = schedule.size(Kind::WorkCold, 1).unwrap_or(joint.preheat_c);
        Self {
            timing: scenario.timing,
            schedule,
            setting,
            stage: Stage::LeadIn(scenario.timing.lead_in_s),
            band: 1,
            time_s: 0.0,
            weld_since_s: 0.0,
            weld_since_deg: 0.0,
            effects,
            burner: Burner::new(circuit, &joint, scenario.seed),
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
        let swapped = self.schedule.has(Kind::LeadsSwapped, self.band);
        let sign = if swapped == self.joint.electrode_positive { -1.0 } else { 1.0 };
        match channel {
            Channel::Current => sign * self.burner.current_a(),
            Channel::Voltage => sign * self.burner.voltage_v(),
            Channel::Gas => self.gas.flow_lpm,
            Channel::Torch => self.weave.position_mm(&self.effects.weave),
            Channel::Spindle => {
                let encoder_deg = self.chuck.pipe_deg - self.counts_lost_deg;
                if self.joint.clockwise { encoder_deg } else { -encoder_deg }
            }
            Channel::Wire if self.burner.flame() == Flame::Off => 0.0,
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
        self.move_lines(step_s);
        self.burn(step_s);
        self.time_s += step_s;
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
            && !self.schedule.has(Kind::WorkHot, self.band)
    }

    fn make_ready(&mut self) -> Stage {
        self.weave.park(&self.effects.weave);
        self.recorder.ready(self.band, self.time_s);
        Stage::Ready(self.joint.gas_preflow_s)
    }

    fn strike(&mut self) -> Stage {
        self.weld_since_s = self.time_s;
        self.weld_since_deg = self.chuck.pipe_deg;
        self.schedule.restart();
        self.bead = Bead::new(self.joint.outside_diameter_mm, self.joint.band_width_mm);
        self.recorder.arc_start(self.band, self.time_s, self.body.temperature_c);
        self.burner.set(Flame::Lit, &self.effects);
        Stage::Weld
    }

    fn is_weld_over(&self) -> bool {
        let overlap_deg = self.schedule.size(Kind::StoppedEarly, self.band).unwrap_or(self.joint.overlap_deg);
        self.turned_deg() >= 360.0 + overlap_deg
            || self.time_s - self.weld_since_s > PATIENCE * self.joint.turn_time_s
    }

    fn stop(&mut self) -> Stage {
        self.burner.set(Flame::Off, &self.effects);
        let shorts = self.burner.take_shorts();
        self.recorder.arc_end(self.time_s, self.turned_deg(), shorts, self.bead.heights_mm(10));
        Stage::After(0.0)
    }

    fn leave(&mut self) -> Stage {
        self.recorder.left(self.time_s);
        if self.band >= self.joint.bands {
            return Stage::LeadOut(self.timing.lead_out_s);
        }
        self.band += 1;
        let step = [Kind::StepShort, Kind::StepLong]
            .into_iter()
            .find_map(|kind| self.schedule.size(kind, self.band));
        self.carriage_goal_mm += step.unwrap_or(self.joint.step_over_mm);
        Stage::Between(self.timing.between_bands_s)
    }

    fn gather_effects(&mut self) {
        let since_s = self.time_s - self.weld_since_s;
        let turned_deg = self.turned_deg();
        let moment = match self.stage {
            Stage::Ready(_) => Moment::Ready,
            Stage::Weld => Moment::Weld { since_s, turned_deg, left_s: self.joint.weld_s() - since_s },
            _ => Moment::Other,
        };
        let mut effects = Effects::none(&self.joint, self.setting);
        self.schedule.each_active(self.band, moment, |index, fault, share| {
            effects.add(fault, share, &self.joint, self.burner.circuit());
            if moment != Moment::Ready {
                self.recorder.acts(index, self.time_s, turned_deg);
            }
        });
        self.effects = effects;
    }

    fn move_drives(&mut self, step_s: f64) {
        let effects = &self.effects;
        let ready_left_s = match self.stage {
            Stage::Ready(left_s) => left_s,
            Stage::Weld => 0.0,
            _ => f64::INFINITY,
        };
        if ready_left_s <= WEAVE_LEAD_S {
            self.weave.advance(&effects.weave, step_s);
        }
        let turning = if ready_left_s <= WEAVE_LEAD_S { effects.turning_deg_per_s } else { 0.0 };
        let before_deg = self.chuck.pipe_deg;
        self.chuck.advance(turning, effects.slip, self.joint.unevenness, step_s);
        self.counts_lost_deg += effects.counts_lost * (self.chuck.pipe_deg - before_deg);
        let way_mm = CARRIAGE_MM_PER_S * step_s;
        self.carriage_mm += (self.carriage_goal_mm - self.carriage_mm).clamp(-way_mm, way_mm);
        if let (Stage::Ready(_), Some(size)) = (self.stage, self.schedule.size(Kind::WorkHot, self.band)) {
            self.body.hold(size);
        }
    }

    fn move_lines(&mut self, step_s: f64) {
        let preflow_s = self.schedule.size(Kind::GasValveLate, self.band).unwrap_or(self.joint.gas_preflow_s);
        let postflow_s =
            self.schedule.size(Kind::GasValveEarly, self.band).unwrap_or(self.joint.gas_postflow_s);
        let open = match self.stage {
            Stage::Ready(left_s) => left_s <= preflow_s,
            Stage::Weld => true,
            Stage::After(since_s) => since_s < postflow_s,
            _ => false,
        };
        let effects = &self.effects;
        self.gas.advance(if open { effects.gas_lpm } else { 0.0 }, GAS_LAG_S, step_s);
        let pumping = match self.stage {
            Stage::LeadIn(left_s) | Stage::Between(left_s) => left_s <= COOLANT_LEAD_S,
            Stage::Ready(_) | Stage::Weld | Stage::After(_) => true,
            Stage::LeadOut(_) | Stage::Done => false,
        };
        self.coolant.advance(if pumping { effects.coolant_lpm } else { 0.0 }, COOLANT_LAG_S, step_s);
    }

    /// The arc over `step_s`, and the heat and metal it brings.
    fn burn(&mut self, step_s: f64) {
        let flame = match self.stage {
            Stage::Weld if self.effects.arc_out => Flame::Open,
            Stage::Weld => Flame::Lit,
            Stage::Ready(left_s) if left_s <= CONTACTOR_LEAD_S => Flame::Open,
            _ => Flame::Off,
        };
        self.burner.set(flame, &self.effects);
        let lower_mm = self.joint.runout_mm * libm::sin(self.chuck.pipe_deg.to_radians());
        let burnt = self.burner.advance(&self.effects, &self.joint, lower_mm, step_s);
        self.body.advance(burnt.power_w, step_s);
        self.bead.lay(self.turned_deg(), burnt.volume_mm3);
        self.recorder.burns(&burnt);
    }
}
