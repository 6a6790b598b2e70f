//! The machine: source, feeder, torch, gas, spindle, weave, carriage and joint, together.
//!
//! Decides: what truly happens at each instant.
//! Assumes: stepped by 10 ms or less.

use super::arc::{self, Arc, Drive, Feeder};
use super::control::{Asked, Control};
use super::gas::GasLine;
use super::habits::Habits;
use super::heat::Heat;
use super::laid::Laid;
use super::noise::{Pink, lagged};
use super::plan::Act;
use super::random::Chance;
use super::rig::Rig;
use super::shop::{self, Gauge};
use super::spindle::Spindle;
use super::troubles::{Moment, Troubles};
use super::upset::Upset;
use super::weave::Weave;

/// What instruments can read at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub struct State {
    /// Current, A.
    pub current_a: f64,
    /// Voltage, V.
    pub voltage_v: f64,
    /// Gas at the meter, L/min.
    pub gas_lpm: f64,
    /// Torch, mm.
    pub torch_mm: f64,
    /// What the encoder says, degrees.
    pub spindle_deg: f64,
    /// Speed that the tachometer sees, mm/min.
    pub wire_mm_min: f64,
    /// Coolant, L/min.
    pub coolant_lpm: f64,
    /// What the pyrometer sees, degrees Celsius.
    pub work_c: f64,
    /// Carriage, mm.
    pub carriage_mm: f64,
    /// Does the arc burn?
    pub burning: bool,
}

/// What this machine is set to: a little different on every joint.
#[derive(Clone, Copy, Debug)]
struct Settings {
    source_v: f64,
    feed_mm_s: f64,
    tip_to_work_mm: f64,
    turning: f64,
    weave_per_min: f64,
    weave_mm: f64,
    coolant_lpm: f64,
}

/// The machine at work.
#[derive(Clone, Debug)]
pub struct Machine {
    settings: Settings,
    control: Control,
    /// The faults.
    pub troubles: Troubles,
    /// The bands so far.
    pub laid: Laid,
    chance: Chance,
    time_s: f64,
    arc: Option<Arc>,
    arc_s: f64,
    feeder: Feeder,
    gas: GasLine,
    heat: Heat,
    spindle: Spindle,
    weave: Weave,
    height_noise: Pink,
    slip_noise: Pink,
    flicker: f64,
    run_out_mm: f64,
    pyrometer_k: f64,
    mean: [f64; 2],
    band: usize,
}

impl Machine {
    /// Set up for a joint.
    pub fn new(rig: &Rig, habits: &Habits, acts: Vec<Act>, troubles: Troubles, chance: &mut Chance) -> Self {
        let settings = Settings {
            source_v: arc::source_for(chance.around(shop::VOLTAGE_V, 0.15)),
            feed_mm_s: shop::FEED_MM_S * chance.around(1.0, 0.005),
            tip_to_work_mm: chance.around(shop::TIP_TO_WORK_MM, 0.35),
            turning: chance.around(1.0, 0.004),
            weave_per_min: chance.around(shop::WEAVE_PER_MIN, 1.0),
            weave_mm: chance.around(shop::WEAVE_MM, 0.15),
            coolant_lpm: chance.around(shop::COOLANT_LPM, 0.2),
        };
        let set_lpm = chance.around(shop::GAS_LPM, 0.3);
        Self {
            settings,
            control: Control::new(acts),
            troubles,
            laid: Laid::default(),
            time_s: 0.0,
            arc: None,
            arc_s: 0.0,
            feeder: Feeder::default(),
            gas: GasLine::new(set_lpm, rig.surge, rig.surge_tau_s, rig.gas_meter_s),
            heat: Heat::soaked(chance.around(shop::PREHEAT_C, 8.0)),
            spindle: Spindle::new(rig.encoder),
            weave: Weave::new(rig.swing, chance),
            height_noise: Pink::new(chance),
            slip_noise: Pink::new(chance),
            flicker: 0.0,
            run_out_mm: habits.run_out_mm,
            pyrometer_k: 0.0,
            mean: [0.0; 2],
            band: 0,
            chance: chance.clone(),
        }
    }
    /// Is the joint done?
    pub fn is_over(&self) -> bool {
        self.control.is_over()
    }
    /// Carries on by `dt_s`.
    pub fn step(&mut self, dt_s: f64) -> State {
        self.time_s += dt_s;
        let pipe_deg = self.spindle.pipe_deg;
        let asked = self.control.step(dt_s, pipe_deg);
        let moment = Moment {
            time_s: self.time_s,
            band: asked.band,
            welded_deg: self.control.welded_deg(pipe_deg),
            pipe_deg,
        };
        let upset = self.troubles.upset(&moment);
        self.turn_and_weave(dt_s, &asked, &upset);
        let wire_mm_s = self.burn(dt_s, &asked, &upset);
        self.gas.step(dt_s, asked.gas, upset.gas);
        if let Some(ring_c) = asked.ring_c {
            self.heat = Heat::soaked(ring_c);
        }
        let (current_a, voltage_v) = self.terminals(&asked, &upset);
        self.heat.step(dt_s, current_a * voltage_v);
        self.pyrometer_k = lagged(self.pyrometer_k, asked.flame_k, dt_s, 0.6);
        self.book(dt_s, &asked, &upset, wire_mm_s);
        let sign = if upset.reversed { -1.0 } else { 1.0 };
        State {
            current_a: sign * current_a,
            voltage_v: sign * voltage_v,
            gas_lpm: self.gas.metered_lpm(),
            torch_mm: self.weave.torch_mm,
            spindle_deg: self.spindle.reading_deg(),
            wire_mm_min: 60.0 * if upset.grip_seen { wire_mm_s } else { self.feeder.rolls_mm_s },
            coolant_lpm: self.settings.coolant_lpm * upset.coolant,
            work_c: self.heat.ring_c + self.pyrometer_k,
            carriage_mm: asked.carriage_mm,
            burning: self.arc.is_some(),
        }
    }
    fn turn_and_weave(&mut self, dt_s: f64, asked: &Asked, upset: &Upset) {
        let turning =
            asked.turning_deg_s * self.settings.turning * if asked.band > 0 { upset.turning } else { 1.0 };
        self.spindle.step(dt_s, turning, upset.held, upset.seen);
        if asked.weaving {
            let per_min = self.settings.weave_per_min * upset.weave_rate;
            let width_mm = self.settings.weave_mm * upset.weave_width;
            self.weave.step(dt_s, per_min, width_mm, upset.centre_mm, &mut self.chance);
        }
    }
    /// The arc and its wire; gives the speed of the wire, mm/s.
    fn burn(&mut self, dt_s: f64, asked: &Asked, upset: &Upset) -> f64 {
        let feed = if asked.source { self.settings.feed_mm_s * asked.feed * upset.feed } else { 0.0 };
        self.feeder.step(dt_s, feed);
        let slipping = 1.0 - upset.grip;
        // Rolls let go and bite again, so that the share lost is never even.
        let lost = slipping * (1.0 + 0.4 * self.slip_noise.next(dt_s, &mut self.chance)).clamp(0.0, 1.8);
        let wire_mm_s = self.feeder.rolls_mm_s * (1.0 - lost.min(1.0));
        if !asked.source || !asked.arc || upset.arc_out {
            (self.arc, self.arc_s) = (None, 0.0);
            return wire_mm_s;
        }
        let drive = self.drive(dt_s, asked, upset, wire_mm_s);
        self.arc_s += dt_s;
        if let Some(arc) = &mut self.arc {
            arc.step(dt_s, &drive);
        } else {
            self.laid.tacks += usize::from(asked.band == 0);
            self.arc = Some(Arc::struck(&drive));
        }
        wire_mm_s
    }
    fn drive(&mut self, dt_s: f64, asked: &Asked, upset: &Upset, wire_mm_s: f64) -> Drive {
        let kept = (-dt_s / 0.12).exp();
        self.flicker = kept * self.flicker + (1.0 - kept * kept).sqrt() * self.chance.normal();
        let once_a_turn = self.run_out_mm * self.spindle.pipe_deg.to_radians().cos();
        let edge = self.weave.torch_mm / (shop::WEAVE_MM / 2.0);
        let height_mm = self.settings.tip_to_work_mm + asked.lift_mm + upset.lift_mm + once_a_turn;
        let contact_mm = upset.worn_mm * (1.0 + 0.12 * self.flicker);
        let noise_mm = 0.25 * self.height_noise.next(dt_s, &mut self.chance) + 0.2 * edge * edge;
        Drive {
            source_v: self.settings.source_v + asked.source_v + upset.source_v,
            feed_mm_s: wire_mm_s,
            tip_to_work_mm: (height_mm + contact_mm + noise_mm).max(5.0),
            more_ohm: 0.000_3 * upset.worn_mm * (1.0 + self.flicker).max(0.0),
            more_falls_v: upset.wind_v * self.flicker,
        }
    }
    /// Current and voltage at the feeder.
    fn terminals(&self, asked: &Asked, upset: &Upset) -> (f64, f64) {
        match &self.arc {
            // The wire touches first.
            Some(_) if self.arc_s < 0.03 => (420.0, 13.0),
            Some(arc) => (arc.current_a, arc.voltage_v),
            None if asked.source => (0.0, self.settings.source_v + upset.source_v + 6.0),
            None => (0.0, 0.0),
        }
    }
    /// Keeps the books: bands laid, and what has left its range.
    fn book(&mut self, dt_s: f64, asked: &Asked, upset: &Upset, wire_mm_s: f64) {
        let speed = self.spindle.speed_deg_s.abs();
        let settled = self.arc_s > 2.5 && asked.band > 0 && !asked.crater && asked.turning_deg_s != 0.0;
        if asked.band != self.band {
            self.laid.end(self.time_s);
            self.band = asked.band;
        }
        if let Some(arc) = self.arc {
            let now = [arc.current_a, arc.voltage_v];
            for (mean, now) in self.mean.iter_mut().zip(now) {
                *mean = if self.arc_s < 1.0 { now } else { lagged(*mean, now, dt_s, 0.5) };
            }
            let width_mm = self.settings.weave_mm * upset.weave_width;
            self.laid.lay(dt_s, asked.band, self.time_s, self.spindle.pipe_deg, now, wire_mm_s / width_mm);
        }
        let while_settled = |value: f64| settled.then_some(value);
        let values = [
            while_settled(self.mean[0]),
            while_settled(self.mean[1]),
            while_settled(self.gas.nozzle_lpm()),
            while_settled(self.settings.weave_per_min * upset.weave_rate),
            while_settled(self.settings.weave_mm * upset.weave_width),
            while_settled(upset.centre_mm.abs()),
            while_settled(360.0 / speed.max(1e-3)),
            while_settled(self.settings.coolant_lpm * upset.coolant),
            while_settled(60.0 * wire_mm_s),
        ];
        debug_assert_eq!(values.len(), Gauge::ALL.len());
        self.troubles.observe(self.time_s, &values);
    }
}
