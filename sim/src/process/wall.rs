//! The work as a pipe that conducts heat along itself and through its wall.
//!
//! Decides: what a sensor sees that looks at the outside, a distance ahead of the torch.
//! Assumes: heat lies evenly round the pipe and over the width of the band; still air around it; the sensor rides
//! with the carriage.
//! Never: knows which band it is: the arc burns where the carriage stands.

use super::heat::{EFFICIENCY, SECTION_SHARE};
use super::joint::Joint;
use crate::heat::cylinder::{Cylinder, Ring, graded_edges};
use crate::heat::surroundings::{LossTable, Surroundings};

/// The pipe is worked out at steps of this length, s; between two of them the sensor sees a straight line.
const STEP_S: f64 = 0.25;
/// Cells along the bands, mm, through the wall, and pipe beyond the bands, mm.
const FINE_MM: f64 = 5.0;
const LAYERS: usize = 3;
const REACH_MM: f64 = 600.0;

/// The pipe.
#[derive(Clone, Debug)]
pub struct Wall {
    /// A step ago, and now.
    before: Cylinder,
    now: Cylinder,
    loss: LossTable,
    band_width_mm: f64,
    ahead_mm: f64,
    /// Since `now`: how long, and the arc's heat in the meantime.
    since_s: f64,
    heat_j: f64,
}

impl Wall {
    /// The pipe of `joint` at a temperature in °C, its sensor so far ahead of the torch.
    pub fn new(joint: &Joint, ahead_mm: f64, temperature_c: f64) -> Self {
        let outer_mm = joint.outside_diameter_mm;
        let bore_mm = outer_mm * libm::sqrt(1.0 - SECTION_SHARE);
        let half_mm = 0.5 * joint.band_width_mm;
        let last_mm = joint.step_over_mm * f64::from(joint.bands.saturating_sub(1));
        // Fine wherever the sensor may look.
        let from_mm = (-half_mm).min(ahead_mm);
        let to_mm = last_mm + half_mm.max(ahead_mm);
        let edges = graded_edges(from_mm, to_mm, FINE_MM, REACH_MM);
        let pipe = Cylinder::new(outer_mm, bore_mm, edges, LAYERS, temperature_c);
        Self {
            before: pipe.clone(),
            now: pipe,
            loss: LossTable::new(&Surroundings::still(joint.ambient_c), outer_mm),
            band_width_mm: joint.band_width_mm,
            ahead_mm,
            since_s: 0.0,
            heat_j: 0.0,
        }
    }
    /// What the sensor sees, °C.
    pub fn seen_c(&self, carriage_mm: f64) -> f64 {
        let at_mm = carriage_mm + self.ahead_mm;
        let of = |pipe: &Cylinder| pipe.surface_c(at_mm, self.loss.ambient_c(), |at_c| self.loss.of(at_c));
        let (before_c, now_c) = (of(&self.before), of(&self.now));
        before_c + (now_c - before_c) * (self.since_s / STEP_S).min(1.0)
    }
    /// Lets `step_s` pass under an arc of `power_w`.
    pub fn advance(&mut self, power_w: f64, carriage_mm: f64, step_s: f64) {
        self.since_s += step_s;
        self.heat_j += EFFICIENCY * power_w * step_s;
        if self.since_s < STEP_S - 1e-9 {
            return;
        }
        self.before.clone_from(&self.now);
        let half_mm = 0.5 * self.band_width_mm;
        let ring = Ring {
            from_mm: carriage_mm - half_mm,
            to_mm: carriage_mm + half_mm,
            power_w: self.heat_j / self.since_s,
        };
        let loss = &self.loss;
        self.now.advance(self.since_s, Some(ring), loss.ambient_c(), |at_c| loss.of(at_c));
        (self.since_s, self.heat_j) = (0.0, 0.0);
    }
    /// It loses its heat otherwise from here on.
    pub fn put_into(&mut self, loss: LossTable) {
        self.loss = loss;
    }
    /// Somebody heats or cools it to a temperature in °C.
    pub fn hold(&mut self, temperature_c: f64) {
        for pipe in [&mut self.before, &mut self.now] {
            pipe.hold(f64::NEG_INFINITY, f64::INFINITY, temperature_c);
        }
    }
}
