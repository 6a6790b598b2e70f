//! What a joint takes: time, wire and gas.
//!
//! Decides: what a wire weighs.
//! Assumes: density of steel for what of the wire's section is solid.

use std::f64::consts::FRAC_PI_4;

/// Density of steel, kg/m³. Handbook value, from memory.
pub const STEEL_KG_PER_M3: f64 = 7850.0;

/// What a joint takes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Supply {
    /// Arc time of the joint, s.
    pub torch_time_s: Option<f64>,
    /// Wire melted over time, kg/h.
    pub melting_kg_per_h: Option<f64>,
    /// Wire that stays in the bands over time, kg/h.
    pub deposition_kg_per_h: Option<f64>,
    /// Wire of the joint, kg.
    pub wire_kg: Option<f64>,
    /// Was the wire taken as solid because nobody said what it is?
    pub is_taken_as_solid: bool,
    /// Gas of the joint with what flows before and after the arc, L.
    pub gas_l: Option<f64>,
    /// Wire on one spool, kg.
    pub spool_kg: f64,
    /// Was the spool said?
    pub is_spool_usual: bool,
    /// Gas out of one bottle, L.
    pub bottle_l: f64,
    /// Was the bottle said?
    pub is_bottle_usual: bool,
    /// Whole joints out of one spool.
    pub joints_per_spool: Option<u64>,
    /// Whole joints out of one bottle.
    pub joints_per_bottle: Option<u64>,
}

/// Wire melted over time, kg/h: section times speed times density.
pub fn melting_kg_per_h(wire_feed_mm_per_min: f64, wire_diameter_mm: f64) -> f64 {
    // mm³/min to m³/h: 60e-9.
    FRAC_PI_4 * wire_diameter_mm * wire_diameter_mm * wire_feed_mm_per_min * 60e-9 * STEEL_KG_PER_M3
}
