//! The machine at work: joint, drives, arc and faults together, from cold to cold.
//!
//! Decides: how drives, lines, arc and heat follow the stage the work is in, and the true value of every
//! channel at every moment.
//! Assumes: a stage lasts as long as `stages` says.
//! Never: adds the errors of instruments.

use super::arc::Setting;
use super::bead::Bead;
use super::burner::{Burner, Flame};
use super::drives::{Chuck, Line, Weave};
use super::effects::Effects;
use super::fault::Kind;
use super::habit::HabitKind;
use super::joint::{Joint, Laying};
use super::record::Recorder;
use super::scenario::{Scenario, Timing};
use super::schedule::{Moment, Schedule};
use super::shift::Shift;
use super::stage::{Stage, TACK_GAS_S, Weld};
use super::technician::{CORRECTED, Technician};
use super::truth::Truth;
use super::wall::{Source, Wall};
use bandward::Channel;

/// Longest step of drives, lines and heat, s.
const SLOW_STEP_S: f64 = 0.01;
/// The contactor closes this long before the wire touches, s.
const CONTACTOR_LEAD_S: f64 = 0.3;
/// The weave starts this long before the arc, s.
const WEAVE_LEAD_S: f64 = 1.0;
/// The carriage moves this fast, mm/s.
const CARRIAGE_MM_PER_S: f64 = 10.0;
/// The carriage leaves a joint and comes to one this fast, mm/s. Invented.
pub(super) const RAPID_MM_PER_S: f64 = 100.0;
/// The pipe is still this long after a band and before the next one, s.
const STILL_S: f64 = 1.0;
/// Valve, hose and flow meter together follow with this lag, s.
const GAS_LAG_S: f64 = 0.15;
/// The coolant circuit follows with this lag, s.
const COOLANT_LAG_S: f64 = 0.4;
/// Work is as hot as it should be within this, K.
const AS_HOT_WITHIN_K: f64 = 2.0;
/// Coolant runs this long before the gas, s.
const COOLANT_LEAD_S: f64 = 1.5;

/// The machine and the joint in it.
#[derive(Clone, Debug)]
pub struct Machine {
    pub(super) joint: Joint,
    pub(super) timing: Timing,
    pub(super) schedule: Schedule,
    pub(super) setting: Setting,
    pub(super) stage: Stage,
    pub(super) shift: Shift,
    /// Joint under work, from 1.
    pub(super) joint_number: u16,
    pub(super) band: u16,
    pub(super) time_s: f64,
    pub(super) weld_since_s: f64,
    pub(super) weld_since_deg: f64,
    pub(super) weld: Weld,
    pub(super) technician: Technician,
    /// Since the gas valve opened, and by how much the regulator surged then, s and a share.
    open_since: Option<(f64, f64)>,
    /// When and where the pipe began to turn between two bands, s and degrees.
    pub(super) turning_since: Option<(f64, f64)>,
    pub(super) effects: Effects,
    pub(super) burner: Burner,
    pub(super) weave: Weave,
    pub(super) chuck: Chuck,
    pub(super) counts_lost_deg: f64,
    pub(super) gas: Line,
    pub(super) coolant: Line,
    pub(super) wall: Wall,
    /// How long the work has been as hot as it is wrongly started at, s.
    pub(super) hot_for_s: f64,
    pub(super) carriage_mm: f64,
    pub(super) carriage_goal_mm: f64,
    pub(super) bead: Bead,
    pub(super) recorder: Recorder,
}

impl Machine {
    /// The machine of a scenario, before anything happens.
    pub fn new(scenario: &Scenario) -> Self {
        let joint = scenario.joint.clone();
        let (circuit, setting) = joint.circuit();
        let effects = Effects::none(&joint, setting);
        let schedule = Schedule::new(&scenario.faults);
        let start_c = schedule.start_c(1).unwrap_or(joint.preheat_c);
        let mut machine = Self {
            timing: scenario.timing,
            schedule,
            setting,
            stage: Stage::LeadIn(scenario.timing.lead_in_s),
            shift: scenario.shift.clone(),
            joint_number: 1,
            band: 1,
            time_s: 0.0,
            weld_since_s: 0.0,
            weld_since_deg: 0.0,
            weld: Weld::default(),
            technician: Technician::new(scenario),
            open_since: None,
            turning_since: None,
            effects,
            burner: Burner::new(circuit, &joint, scenario.seed),
            weave: Weave::default(),
            chuck: Chuck::default(),
            counts_lost_deg: 0.0,
            gas: Line::default(),
            coolant: Line::default(),
            wall: Wall::new(&joint, start_c),
            hot_for_s: 0.0,
            carriage_mm: 0.0,
            carriage_goal_mm: 0.0,
            bead: Bead::new(joint.outside_diameter_mm, joint.band_width_mm),
            recorder: Recorder::new(scenario),
            joint,
        };
        machine.wait(scenario.timing.lead_in_s);
        machine
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
        self.recorder.truth(self.time_s)
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
            Channel::Work => self.wall.seen_c(self.carriage_mm) + self.technician.flame_c(self.time_s),
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
        self.gather_effects(step_s);
        self.move_drives(step_s);
        self.move_lines(step_s);
        self.burn(step_s);
        self.time_s += step_s;
    }

    pub(super) fn turned_deg(&self) -> f64 {
        self.chuck.pipe_deg - self.weld_since_deg
    }

    fn gather_effects(&mut self, step_s: f64) {
        let since_s = self.time_s - self.weld_since_s;
        let turned_deg = self.turned_deg();
        let moment = match self.stage {
            Stage::Ready(_) => Moment::Ready,
            Stage::Weld => Moment::Weld { since_s, turned_deg, left_s: self.joint.weld_s() - since_s },
            _ => Moment::Other,
        };
        let mut effects = Effects::none(&self.joint, self.setting);
        if self.stage == Stage::Weld {
            if let Some((which, goal)) = self.technician.weld(since_s, step_s) {
                self.recorder.correction(self.time_s, CORRECTED[which], goal);
            }
            self.technician.set(&mut effects, &self.joint, self.burner.circuit(), self.time_s);
            effects.arc_out = self.technician.is_restriking(since_s, step_s);
        }
        self.technician.flicker(step_s);
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
        let turning = self.turning_deg_per_s(ready_left_s <= WEAVE_LEAD_S);
        let before_deg = self.chuck.pipe_deg;
        self.chuck.advance(turning, effects.slip, self.joint.unevenness, step_s);
        self.counts_lost_deg += effects.counts_lost * (self.chuck.pipe_deg - before_deg);
        self.move_carriage(step_s);
    }

    /// What the drive of the chuck is told, degrees a second; `welding` or about to.
    fn turning_deg_per_s(&self, welding: bool) -> f64 {
        let late_s = self.technician.plan.spindle_late_s;
        match self.stage {
            Stage::Between(left_s)
                if left_s >= STILL_S && left_s <= self.timing.between_bands_s - STILL_S =>
            {
                self.technician.plan.turning_before * self.effects.turning_deg_per_s
            }
            Stage::Tack(_) => self.tack().map_or(0.0, |tack| tack.creep_deg_per_s),
            Stage::Weld if self.time_s - self.weld_since_s < late_s || self.weld.turned_s.is_some() => 0.0,
            Stage::Ready(_) if late_s > 0.0 => 0.0,
            _ if welding => self.effects.turning_deg_per_s,
            _ => 0.0,
        }
    }

    fn move_carriage(&mut self, step_s: f64) {
        let rapid = matches!(self.stage, Stage::Idle { .. } | Stage::LeadOut(_));
        let way_mm = if rapid { RAPID_MM_PER_S } else { CARRIAGE_MM_PER_S } * step_s;
        let ahead_mm = match (self.stage, self.joint.laying) {
            (Stage::Weld, Laying::Spiral) => self.step_over_mm(self.band + 1) * self.turned_deg() / 360.0,
            _ => 0.0,
        };
        let goal_mm = self.carriage_goal_mm + ahead_mm;
        self.carriage_mm += (goal_mm - self.carriage_mm).clamp(-way_mm, way_mm);
    }

    fn move_lines(&mut self, step_s: f64) {
        let preflow_s = self.schedule.size(Kind::GasValveLate, self.band).unwrap_or(self.joint.gas_preflow_s);
        let postflow_s =
            self.schedule.size(Kind::GasValveEarly, self.band).unwrap_or(self.joint.gas_postflow_s);
        let open = match self.stage {
            Stage::Ready(left_s) => left_s <= preflow_s,
            Stage::Weld => true,
            Stage::After(since_s) => since_s < postflow_s,
            Stage::Tack(since_s) => {
                self.tack().is_some_and(|tack| since_s < tack.arc_s + TACK_GAS_S.0 + TACK_GAS_S.1)
            }
            _ => false,
        };
        let surging = self.surging(open, step_s);
        let effects = &self.effects;
        self.gas.advance(if open { effects.gas_lpm * (1.0 + surging) } else { 0.0 }, GAS_LAG_S, step_s);
        let pumping = match self.stage {
            Stage::LeadIn(left_s) | Stage::Between(left_s) => left_s <= COOLANT_LEAD_S,
            Stage::Tack(_) | Stage::Ready(_) | Stage::Weld | Stage::After(_) => true,
            Stage::Idle { .. } | Stage::LeadOut(_) | Stage::Done => false,
        };
        self.coolant.advance(if pumping { effects.coolant_lpm } else { 0.0 }, COOLANT_LAG_S, step_s);
    }

    /// Flow beyond the set one, as a share, where the valve is `open`.
    fn surging(&mut self, open: bool, step_s: f64) -> f64 {
        self.open_since = match self.open_since {
            _ if !open => None,
            Some((since_s, surge)) => Some((since_s + step_s, surge)),
            None => {
                let surge = self.technician.plan.surge;
                let over_s = self.time_s + self.technician.surge_s();
                self.recorder.habit(HabitKind::GasSurge, self.time_s, over_s, surge);
                Some((0.0, surge))
            }
        };
        self.open_since.map_or(0.0, |(since_s, surge)| self.technician.surging(surge, since_s))
    }

    /// The arc over `step_s`, and the heat and metal it brings.
    fn burn(&mut self, step_s: f64) {
        let flame = match self.stage {
            Stage::Weld if self.effects.arc_out => Flame::Open,
            Stage::Weld => Flame::Lit,
            Stage::Ready(left_s) if left_s <= CONTACTOR_LEAD_S => Flame::Open,
            Stage::Tack(since_s) => self.tack_flame(since_s),
            _ => Flame::Off,
        };
        self.burner.set(flame, &self.effects);
        let lower_mm = self.joint.runout_mm * libm::sin(self.chuck.pipe_deg.to_radians());
        let burnt = self.burner.advance(&self.effects, &self.joint, lower_mm, step_s);
        self.heat(burnt.power_w, step_s);
        self.bead.lay(self.turned_deg(), burnt.volume_mm3);
        self.recorder.burns(&burnt);
    }

    /// The heat of the arc, or of a burner that is led over the next strip for too long.
    fn heat(&mut self, arc_w: f64, step_s: f64) {
        let hot_c = match self.stage {
            Stage::LeadIn(_) | Stage::Between(_) => self.hot_start_c(),
            _ => None,
        };
        let below_k = hot_c.map(|hot_c| hot_c - self.wall.seen_c(self.carriage_mm));
        if below_k.is_some_and(|below_k| below_k < AS_HOT_WITHIN_K) {
            self.hot_for_s += step_s;
        }
        let is_burner_on = below_k.is_some_and(|below_k| below_k > 0.0);
        let source = if is_burner_on { Source::Burner } else { Source::Arc(arc_w) };
        self.wall.advance(source, self.carriage_mm, step_s);
    }

    fn tack_flame(&self, since_s: f64) -> Flame {
        let Some(tack) = self.tack() else { return Flame::Off };
        let lit_s = since_s - TACK_GAS_S.0;
        match lit_s {
            _ if (0.0..tack.arc_s).contains(&lit_s) => Flame::Lit,
            _ if (-CONTACTOR_LEAD_S..0.0).contains(&lit_s) => Flame::Open,
            _ => Flame::Off,
        }
    }
}
