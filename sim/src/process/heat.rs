//! How warm the work is.
//!
//! Decides: the temperature beside the band.
//! Assumes: one body of even temperature that takes up arc heat and loses it to the shop.
//! Never: knows the temperature of the pool.

use super::joint::Joint;

/// Share of arc power that goes into the work: gas-shielded metal arc, EN 1011-1 (from memory).
const EFFICIENCY: f64 = 0.8;
/// Length of pipe that warms with the band, mm. Invented.
const LENGTH_MM: f64 = 600.0;
/// Share of the full section that is steel, the bore taken out. Invented.
const SECTION_SHARE: f64 = 0.7;
/// Heat a volume of steel takes up, J/(mm3 K): 7850 kg/m3 and 500 J/(kg K), from memory.
const STEEL_J_PER_MM3_K: f64 = 7850e-9 * 500.0;
/// Time in which the work loses most of its heat, s. Invented.
const COOLING_S: f64 = 900.0;

/// The work.
#[derive(Clone, Debug)]
pub struct Body {
    /// Temperature, °C.
    pub temperature_c: f64,
    ambient_c: f64,
    capacity_j_per_k: f64,
}

impl Body {
    /// The work of `joint` at a temperature in °C.
    pub fn new(joint: &Joint, temperature_c: f64) -> Self {
        let diameter = joint.outside_diameter_mm;
        let section_mm2 = std::f64::consts::FRAC_PI_4 * diameter * diameter * SECTION_SHARE;
        Self {
            temperature_c,
            ambient_c: joint.ambient_c,
            capacity_j_per_k: section_mm2 * LENGTH_MM * STEEL_J_PER_MM3_K,
        }
    }
    /// Lets `step_s` pass under an arc of `power_w`.
    pub fn advance(&mut self, power_w: f64, step_s: f64) {
        let loss_w_per_k = self.capacity_j_per_k / COOLING_S;
        let gain_w = EFFICIENCY * power_w - loss_w_per_k * (self.temperature_c - self.ambient_c);
        self.temperature_c += gain_w * step_s / self.capacity_j_per_k;
    }
    /// Somebody heats or cools it to a temperature in °C.
    pub fn hold(&mut self, temperature_c: f64) {
        self.temperature_c = temperature_c;
    }
}
