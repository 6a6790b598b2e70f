//! How warm the work is.
//!
//! Decides: the temperature beside the band: by conduction in the wall where a scenario says where the sensor
//! looks, else by one lump.
//! Assumes: the lump is of even temperature, takes up arc heat and loses it to the shop.
//! Never: knows the temperature of the pool.

use super::joint::Joint;
use super::wall::Wall;
use crate::heat::surroundings::{LossTable, Surroundings};

/// Share of arc power that goes into the work: gas-shielded metal arc, EN 1011-1 (from memory).
pub(super) const EFFICIENCY: f64 = 0.8;
/// Length of pipe that warms with the band, mm. Invented.
const LENGTH_MM: f64 = 600.0;
/// Share of the full section that is steel, the bore taken out. Invented.
pub(super) const SECTION_SHARE: f64 = 0.7;
/// Heat a volume of steel takes up, J/(mm3 K): 7850 kg/m3 and 500 J/(kg K), from memory.
const STEEL_J_PER_MM3_K: f64 = 7850e-9 * 500.0;
/// Time in which the work loses most of its heat, s. Invented.
const COOLING_S: f64 = 900.0;

/// The work.
#[derive(Clone, Debug)]
pub enum Body {
    /// One lump.
    Lump(Lump),
    /// A pipe that conducts.
    Wall(Box<Wall>),
}

impl Body {
    /// The work of `joint` at a temperature in °C.
    pub fn new(joint: &Joint, temperature_c: f64) -> Self {
        match joint.sensor_ahead_mm {
            Some(ahead_mm) => Self::Wall(Box::new(Wall::new(joint, ahead_mm, temperature_c))),
            None => Self::Lump(Lump::new(joint, temperature_c)),
        }
    }
    /// What the sensor sees, °C, with the carriage at a place.
    pub fn temperature_c(&self, carriage_mm: f64) -> f64 {
        match self {
            Self::Lump(lump) => lump.temperature_c,
            Self::Wall(wall) => wall.seen_c(carriage_mm),
        }
    }
    /// Lets `step_s` pass under an arc of `power_w`.
    pub fn advance(&mut self, power_w: f64, carriage_mm: f64, step_s: f64) {
        match self {
            Self::Lump(lump) => lump.advance(power_w, step_s),
            Self::Wall(wall) => wall.advance(power_w, carriage_mm, step_s),
        }
    }
    /// It is put into other surroundings, to cool there.
    pub fn put_into(&mut self, surroundings: &Surroundings, outside_diameter_mm: f64) {
        let loss = LossTable::new(surroundings, outside_diameter_mm);
        match self {
            Self::Lump(lump) => {
                lump.loss = Some((loss, std::f64::consts::PI * outside_diameter_mm * LENGTH_MM));
            }
            Self::Wall(wall) => wall.put_into(loss),
        }
    }
    /// Somebody heats or cools it to a temperature in °C.
    pub fn hold(&mut self, temperature_c: f64) {
        match self {
            Self::Lump(lump) => lump.temperature_c = temperature_c,
            Self::Wall(wall) => wall.hold(temperature_c),
        }
    }
}

/// The work as one lump.
#[derive(Clone, Debug)]
pub struct Lump {
    temperature_c: f64,
    ambient_c: f64,
    capacity_j_per_k: f64,
    /// The loss where the surroundings are given, and the surface that has it, mm².
    loss: Option<(LossTable, f64)>,
}

impl Lump {
    fn new(joint: &Joint, temperature_c: f64) -> Self {
        let diameter = joint.outside_diameter_mm;
        let section_mm2 = std::f64::consts::FRAC_PI_4 * diameter * diameter * SECTION_SHARE;
        Self {
            temperature_c,
            ambient_c: joint.ambient_c,
            capacity_j_per_k: section_mm2 * LENGTH_MM * STEEL_J_PER_MM3_K,
            loss: None,
        }
    }
    fn advance(&mut self, power_w: f64, step_s: f64) {
        let loss_w_per_k = match &self.loss {
            Some((loss, surface_mm2)) => loss.of(self.temperature_c) * surface_mm2,
            None => self.capacity_j_per_k / COOLING_S,
        };
        let gain_w = EFFICIENCY * power_w - loss_w_per_k * (self.temperature_c - self.ambient_c);
        self.temperature_c += gain_w * step_s / self.capacity_j_per_k;
    }
}
