//! The work as a pipe that conducts heat along itself and through its wall.
//!
//! Decides: what a sensor sees that looks at the outside, a distance ahead of the torch.
//! Assumes: heat lies evenly round the pipe, and that of the arc over the width of the band; still air around it until
//! it is put elsewhere; the sensor rides with the carriage.
//! Never: knows which band it is, or the temperature of the pool: the arc burns where the carriage stands.

use super::joint::Joint;
use crate::heat::cylinder::{Cylinder, Ring, graded_edges};
use crate::heat::surroundings::{LossTable, Surroundings};

/// Share of arc power that goes into the work: gas-shielded metal arc, EN 1011-1 (from memory).
const EFFICIENCY: f64 = 0.8;
/// Share of the full section that is steel, the bore taken out. Invented.
const SECTION_SHARE: f64 = 0.7;
/// What a burner brings into the steel for each mm² of its section, W/mm²: a small flame for a small pipe, 26 kW on 127 mm; the strip
/// warms by some 6 K a second. Invented.
const BURNER_W_PER_MM2: f64 = 3.0;
/// A burner is led so far beyond the place where the sensor looks, mm. Invented.
const BURNER_BEYOND_MM: f64 = 50.0;
/// A bore that is so much colder than the outside is warm through, K: as the burner makes up for what runs off along the
/// pipe, it never comes nearer. Invented.
const WARM_THROUGH_K: f64 = 20.0;
/// The pipe is worked out at steps of this length, s; between two of them the sensor sees a straight line.
const STEP_S: f64 = 0.25;
/// Cells along the bands, mm, through the wall, and pipe beyond the bands, mm.
const FINE_MM: f64 = 5.0;
const LAYERS: usize = 3;
const REACH_MM: f64 = 600.0;

/// What heats the pipe.
#[derive(Clone, Copy, Debug)]
pub enum Source {
    /// An arc of so many W; of none where it does not burn.
    Arc(f64),
    /// A burner that is led over the strip under the torch and on beyond the sensor.
    Burner,
}

/// The pipe.
#[derive(Clone, Debug)]
pub struct Wall {
    /// A step ago, and now.
    before: Cylinder,
    now: Cylinder,
    loss: LossTable,
    outer_mm: f64,
    band_width_mm: f64,
    ahead_mm: f64,
    burner_w: f64,
    /// Since `now`: how long, the heat in the meantime, J, and where it went.
    since_s: f64,
    heat_j: f64,
    ring_mm: (f64, f64),
}

impl Wall {
    /// The pipe of `joint` at a temperature in °C.
    pub fn new(joint: &Joint, temperature_c: f64) -> Self {
        let (outer_mm, ahead_mm) = (joint.outside_diameter_mm, joint.sensor_ahead_mm);
        let bore_mm = outer_mm * libm::sqrt(1.0 - SECTION_SHARE);
        let half_mm = 0.5 * joint.band_width_mm;
        let last_mm = joint.step_over_mm * f64::from(joint.bands.saturating_sub(1));
        // Fine wherever the sensor may look.
        let from_mm = (-half_mm).min(ahead_mm);
        let to_mm = last_mm + half_mm.max(ahead_mm);
        let edges = graded_edges(from_mm, to_mm, FINE_MM, REACH_MM);
        let pipe = Cylinder::new(outer_mm, bore_mm, edges, LAYERS, temperature_c);
        let section_mm2 = SECTION_SHARE * std::f64::consts::FRAC_PI_4 * outer_mm * outer_mm;
        Self {
            before: pipe.clone(),
            now: pipe,
            loss: LossTable::new(&Surroundings::still(joint.ambient_c), outer_mm),
            outer_mm,
            band_width_mm: joint.band_width_mm,
            ahead_mm,
            burner_w: BURNER_W_PER_MM2 * section_mm2,
            since_s: 0.0,
            heat_j: 0.0,
            ring_mm: (0.0, 0.0),
        }
    }
    /// What the sensor sees, °C, with the carriage at a place.
    pub fn seen_c(&self, carriage_mm: f64) -> f64 {
        let at_mm = carriage_mm + self.ahead_mm;
        let of = |pipe: &Cylinder| pipe.surface_c(at_mm, self.loss.ambient_c(), |at_c| self.loss.of(at_c));
        let (before_c, now_c) = (of(&self.before), of(&self.now));
        before_c + (now_c - before_c) * (self.since_s / STEP_S).min(1.0)
    }
    /// Is the pipe where the sensor looks at a temperature in °C down to its bore?
    pub fn is_warm_through(&self, carriage_mm: f64, temperature_c: f64) -> bool {
        self.now.wall_c(carriage_mm + self.ahead_mm)[0] >= temperature_c - WARM_THROUGH_K
    }
    /// Lets `step_s` pass.
    pub fn advance(&mut self, source: Source, carriage_mm: f64, step_s: f64) {
        let half_mm = 0.5 * self.band_width_mm;
        let strip_mm = (carriage_mm - half_mm, carriage_mm + half_mm);
        let (power_w, ring_mm) = match source {
            Source::Arc(power_w) => (EFFICIENCY * power_w, strip_mm),
            Source::Burner => (self.burner_w, self.under_burner_mm(carriage_mm, strip_mm)),
        };
        self.since_s += step_s;
        self.heat_j += power_w * step_s;
        if power_w > 0.0 {
            self.ring_mm = ring_mm;
        }
        if self.since_s < STEP_S - 1e-9 {
            return;
        }
        self.before.clone_from(&self.now);
        let (from_mm, to_mm) = self.ring_mm;
        let ring =
            (self.heat_j > 0.0).then_some(Ring { from_mm, to_mm, power_w: self.heat_j / self.since_s });
        let loss = &self.loss;
        self.now.advance(self.since_s, ring, loss.ambient_c(), |at_c| loss.of(at_c));
        (self.since_s, self.heat_j) = (0.0, 0.0);
    }
    fn under_burner_mm(&self, carriage_mm: f64, (from_mm, to_mm): (f64, f64)) -> (f64, f64) {
        let seen_mm = carriage_mm + self.ahead_mm;
        (from_mm.min(seen_mm - BURNER_BEYOND_MM), to_mm.max(seen_mm + BURNER_BEYOND_MM))
    }
    /// It is put into other surroundings, to cool there.
    pub fn put_into(&mut self, surroundings: &Surroundings) {
        self.loss = LossTable::new(surroundings, self.outer_mm);
    }
    /// Another pipe, or this one after somebody has heated or cooled all of it, at a temperature in °C.
    pub fn hold(&mut self, temperature_c: f64) {
        for pipe in [&mut self.before, &mut self.now] {
            pipe.hold(f64::NEG_INFINITY, f64::INFINITY, temperature_c);
        }
    }
}
