//! The order of events: from joint to joint, from band to band, from cold to cold.
//!
//! Decides: which stage follows which, and when.
//! Assumes: the technician stops the arc when the pipe has turned far enough, whatever the clock says.
//! Never: moves a drive.

use super::bead::Bead;
use super::burner::Flame;
use super::fault::Kind;
use super::habit::HabitKind;
use super::habit_plan::Tack;
use super::joint::Laying;
use super::machine::{Machine, RAPID_MM_PER_S};
use super::shift::Carriage;
use super::stage::{Stage, TACK_GAS_S, Weld};
use crate::heat::surroundings::Surroundings;

/// A weld is broken off when it takes this many times its usual time.
const PATIENCE: f64 = 4.0;
/// Nobody waits longer for the work to cool or to warm, s.
const LONGEST_WAIT_S: f64 = 3600.0;
/// A burner is held over the strip for so long when it is as hot as it should be, s. Invented.
const SOAK_S: f64 = 15.0;
/// Of an idle time, what is left when the old pipe is out and when the new one is in.
const PIPE_OUT: (f64, f64) = (2.0 / 3.0, 1.0 / 3.0);
/// Of an idle time, what is left when the carriage comes back.
const CARRIAGE_BACK: f64 = 0.3;

impl Machine {
    /// Goes on to the next stage when this one is over.
    pub(super) fn pass_stage(&mut self, step_s: f64) {
        self.stage = match self.stage {
            Stage::LeadIn(left_s) if left_s > 0.0 || self.must_warm(-left_s) => {
                Stage::LeadIn(left_s - step_s)
            }
            Stage::Between(left_s) if left_s > 0.0 || self.must_cool(-left_s) || self.must_warm(-left_s) => {
                Stage::Between(left_s - step_s)
            }
            Stage::LeadIn(_) | Stage::Between(_) => self.prepare(),
            Stage::Tack(since_s) => self.tack_on(since_s + step_s),
            Stage::Ready(left_s) if left_s > 0.0 => Stage::Ready(left_s - step_s),
            Stage::Ready(_) => self.strike(),
            Stage::Weld if self.goes_on() => self.next_pass(),
            Stage::Weld => self.weld_on(),
            Stage::After(since_s) if since_s < self.joint.gas_postflow_s + 0.5 => {
                Stage::After(since_s + step_s)
            }
            Stage::After(_) => self.leave(),
            Stage::Idle { left_s, whole_s } if left_s > 0.0 || self.is_carriage_away() => {
                self.idle(left_s - step_s, whole_s)
            }
            Stage::Idle { .. } => self.next_joint(),
            Stage::LeadOut(left_s) if left_s > 0.0 => Stage::LeadOut(left_s - step_s),
            Stage::LeadOut(_) => {
                self.recorder.joint_over(self.time_s);
                Stage::Done
            }
            Stage::Done => Stage::Done,
        };
    }

    /// Bands that are laid on the joint under work.
    fn bands(&self) -> u16 {
        self.shift.bands_of(self.joint_number, self.joint.bands)
    }

    fn must_cool(&self, waited_s: f64) -> bool {
        let below_c = self.hot_start_c().unwrap_or(self.joint.start_below_c);
        self.wall.seen_c(self.carriage_mm) > below_c && waited_s < LONGEST_WAIT_S
    }

    /// Where the work is started too hot: how hot, °C.
    pub(super) fn hot_start_c(&self) -> Option<f64> {
        self.schedule.size(Kind::WorkHot, self.band)
    }

    fn must_warm(&self, waited_s: f64) -> bool {
        let is_cold = |hot_c| self.hot_for_s < SOAK_S || !self.wall.is_warm_through(self.carriage_mm, hot_c);
        self.hot_start_c().is_some_and(is_cold) && waited_s < LONGEST_WAIT_S
    }

    /// A band is waited for, from now on for `wait_s` at least.
    pub(super) fn wait(&mut self, wait_s: f64) {
        self.light(false, wait_s);
    }

    fn light(&mut self, welding: bool, within_s: f64) {
        if let Some((from_s, to_s, rise_c)) = self.technician.light(welding, self.time_s, within_s) {
            self.recorder.habit(HabitKind::Flame, from_s, to_s, rise_c);
        }
    }

    fn prepare(&mut self) -> Stage {
        if let Some((since_s, since_deg)) = self.turning_since.take() {
            let turned_deg = self.chuck.pipe_deg - since_deg;
            self.recorder.habit(HabitKind::TurningBetween, since_s, self.time_s, turned_deg);
        }
        if self.tack().is_some() { self.begin_tack() } else { self.make_ready() }
    }

    /// The short arc that comes next before this band.
    pub(super) fn tack(&self) -> Option<Tack> {
        self.technician.plan.tacks.last().copied()
    }

    fn begin_tack(&mut self) -> Stage {
        if let Some(tack) = self.tack() {
            let from_s = self.time_s + TACK_GAS_S.0;
            self.recorder.habit(HabitKind::Tack, from_s, from_s + tack.arc_s, tack.arc_s);
        }
        Stage::Tack(0.0)
    }

    fn tack_on(&mut self, since_s: f64) -> Stage {
        let over = self.tack().is_none_or(|tack| since_s >= TACK_GAS_S.0 + tack.arc_s + tack.pause_s);
        if !over {
            return Stage::Tack(since_s);
        }
        // Its short circuits are none of the band's.
        self.burner.take_shorts();
        self.technician.plan.tacks.pop();
        if self.tack().is_some() { self.begin_tack() } else { self.make_ready() }
    }

    fn make_ready(&mut self) -> Stage {
        self.weave.park(&self.effects.weave);
        self.recorder.ready(self.band, self.time_s);
        Stage::Ready(self.joint.gas_preflow_s)
    }

    fn strike(&mut self) -> Stage {
        self.weld_since_deg = self.chuck.pipe_deg;
        self.begin_weld();
        self.burner.set(Flame::Lit, &self.effects);
        Stage::Weld
    }

    /// Everything that starts anew with a band under the arc.
    fn begin_weld(&mut self) {
        self.weld_since_s = self.time_s;
        self.weld = Weld::default();
        self.hot_for_s = 0.0;
        self.schedule.restart();
        self.bead = Bead::new(self.joint.outside_diameter_mm, self.joint.band_width_mm);
        self.recorder.arc_start(self.band, self.time_s, self.wall.seen_c(self.carriage_mm));
        if self.schedule.has(Kind::StoppedEarly, self.band) {
            self.technician.break_off();
        }
        self.technician.strike();
        self.light(true, self.joint.weld_s());
        let plan = &self.technician.plan;
        for &(from_s, lasts_s) in &plan.restrikes {
            let from_s = self.time_s + from_s;
            self.recorder.habit(HabitKind::Restrike, from_s, from_s + lasts_s, lasts_s);
        }
        let late_s = plan.spindle_late_s;
        self.recorder.habit(HabitKind::SpindleLate, self.time_s, self.time_s + late_s, late_s);
    }

    /// Is the next band laid without breaking the arc, from here on?
    fn goes_on(&self) -> bool {
        self.joint.laying != Laying::Separate && self.band < self.bands() && self.turned_deg() >= 360.0
    }

    fn next_pass(&mut self) -> Stage {
        self.end_band();
        self.recorder.left(self.time_s);
        self.begin_band(self.band + 1);
        self.technician.keep_burning();
        self.carriage_goal_mm += self.step_over_mm(self.band);
        self.weld_since_deg += 360.0;
        self.recorder.ready(self.band, self.time_s);
        self.begin_weld();
        Stage::Weld
    }

    fn weld_on(&mut self) -> Stage {
        if self.is_weld_over() { self.stop() } else { Stage::Weld }
    }

    fn is_weld_over(&mut self) -> bool {
        let overlap_deg = self.schedule.size(Kind::StoppedEarly, self.band).unwrap_or(self.joint.overlap_deg);
        let left_deg = 360.0 + overlap_deg - self.turned_deg();
        if left_deg <= 0.0 && self.weld.turned_s.is_none() {
            self.weld.turned_s = Some(self.time_s);
        }
        let early_s = self.technician.plan.spindle_early_s;
        let left_s = match self.weld.turned_s {
            Some(turned_s) => early_s - (self.time_s - turned_s),
            None => left_deg / self.effects.turning_deg_per_s + early_s,
        };
        if self.turned_deg() >= 360.0 && self.technician.begins_crater(self.time_s, left_s) {
            let over_s = self.time_s + self.technician.plan.crater_s;
            self.recorder.habit(HabitKind::CraterFill, self.time_s, over_s, self.technician.crater_current());
        }
        (self.weld.turned_s.is_some() && left_s <= 1e-9 && self.technician.has_filled(self.time_s))
            || self.time_s - self.weld_since_s > PATIENCE * self.joint.turn_time_s
    }

    fn stop(&mut self) -> Stage {
        self.burner.set(Flame::Off, &self.effects);
        self.end_band();
        if let Some(turned_s) = self.weld.turned_s {
            self.recorder.habit(HabitKind::SpindleEarly, turned_s, self.time_s, self.time_s - turned_s);
        }
        // A spiral has led the carriage on.
        if self.joint.laying == Laying::Spiral {
            self.carriage_goal_mm = self.carriage_mm;
        }
        Stage::After(0.0)
    }

    fn end_band(&mut self) {
        let shorts = self.burner.take_shorts();
        self.recorder.arc_end(self.time_s, self.turned_deg(), shorts, self.bead.heights_mm(10));
    }

    fn begin_band(&mut self, band: u16) {
        self.band = band;
        self.technician.begin_band(self.joint_number, band);
        self.recorder.begin_band(self.joint_number, band);
    }

    /// Carriage step before a band.
    pub(super) fn step_over_mm(&self, band: u16) -> f64 {
        let faults = [Kind::StepShort, Kind::StepLong].into_iter();
        let mut faults = faults;
        faults.find_map(|kind| self.schedule.size(kind, band)).unwrap_or(self.joint.step_over_mm)
    }

    fn leave(&mut self) -> Stage {
        self.recorder.left(self.time_s);
        if self.band >= self.bands() {
            return self.leave_joint();
        }
        self.begin_band(self.band + 1);
        self.carriage_goal_mm += self.step_over_mm(self.band);
        self.turning_since =
            (self.technician.plan.turning_before != 0.0).then_some((self.time_s, self.chuck.pipe_deg));
        self.wait(self.timing.between_bands_s);
        Stage::Between(self.timing.between_bands_s)
    }

    fn leave_joint(&mut self) -> Stage {
        let is_last = self.joint_number >= self.shift.joints;
        let goal_mm = match self.shift.carriage {
            _ if is_last && !self.technician.sends_carriage_home() => self.carriage_goal_mm,
            Carriage::Stays if !is_last => self.carriage_goal_mm,
            Carriage::Far(far_mm) if !is_last => far_mm,
            _ => 0.0,
        };
        let way_mm = (goal_mm - self.carriage_mm).abs();
        let there_s = self.time_s + way_mm / RAPID_MM_PER_S;
        self.recorder.habit(HabitKind::CarriageAway, self.time_s, there_s, way_mm);
        self.carriage_goal_mm = goal_mm;
        self.recorder.joint_left(self.time_s);
        if let Some(surroundings) = self.surroundings(is_last) {
            self.wall.put_into(&surroundings);
        }
        if is_last {
            return Stage::LeadOut(self.timing.lead_out_s);
        }
        let whole_s = self.shift.idle_s * self.technician.idle_share(self.joint_number);
        Stage::Idle { left_s: whole_s, whole_s }
    }

    /// What the joint is put into to cool, where that is not the still air of the shop.
    fn surroundings(&self, is_last: bool) -> Option<Surroundings> {
        let windy = |wind_m_per_s| Surroundings { wind_m_per_s, ..Surroundings::still(self.joint.ambient_c) };
        let wind = self.schedule.size(Kind::CooledUncovered, self.band).map(windy);
        wind.or_else(|| self.joint.cools_in.filter(|_| is_last))
    }

    fn is_carriage_away(&self) -> bool {
        (self.carriage_mm - self.carriage_goal_mm).abs() > 1e-9
    }

    /// Pipe out, pipe in, carriage back.
    fn idle(&mut self, left_s: f64, whole_s: f64) -> Stage {
        let left = left_s / whole_s;
        if left < PIPE_OUT.1 {
            self.wall.hold(self.schedule.start_c(self.joint_number + 1).unwrap_or(self.joint.preheat_c));
        } else if left < PIPE_OUT.0 {
            self.wall.hold(self.joint.ambient_c);
        }
        if left < CARRIAGE_BACK && self.shift.carriage != Carriage::Stays {
            self.carriage_goal_mm = 0.0;
        }
        Stage::Idle { left_s, whole_s }
    }

    fn next_joint(&mut self) -> Stage {
        self.recorder.joint_over(self.time_s);
        self.wall.put_into(&Surroundings::still(self.joint.ambient_c));
        self.joint_number += 1;
        self.schedule.begin_joint(self.joint_number);
        self.begin_band(1);
        self.wait(self.timing.lead_in_s);
        Stage::LeadIn(self.timing.lead_in_s)
    }
}
