//! What is asked for of a plan.

use crate::input::gas_mixture::GasMixture;

/// What is asked for; what is left out comes from the procedure or from the rules of the trade.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Request {
    /// Outside diameter of the joint, mm.
    pub outside_diameter_mm: Option<f64>,
    /// Time of one turn, s.
    pub turn_time_s: Option<f64>,
    /// Number of bands.
    pub bands: Option<u32>,
    /// Width to cover with bands, mm.
    pub total_width_mm: Option<f64>,
    /// Width of one finished band, mm.
    pub band_width_mm: Option<f64>,
    /// Width of the weave, mm.
    pub weave_width_mm: Option<f64>,
    /// Carriage step between bands, mm.
    pub step_over_mm: Option<f64>,
    /// Wire diameter, mm.
    pub wire_diameter_mm: Option<f64>,
    /// Wire feed, mm/min.
    pub wire_feed_mm_per_min: Option<f64>,
    /// Welding current, A.
    pub current_a: Option<f64>,
    /// Arc voltage, V.
    pub voltage_v: Option<f64>,
    /// Electrical stick-out, mm.
    pub stick_out_mm: Option<f64>,
    /// Shielding gas.
    pub gas_mixture: Option<GasMixture>,
    /// Gas flow, L/min.
    pub gas_flow_lpm: Option<f64>,
    /// From the shoulder to the near edge of the first band, mm.
    pub first_edge_mm: Option<f64>,
    /// How far round a band starts from the one before, degrees.
    pub start_stagger_deg: Option<f64>,
    /// What is left of old bands where the new ones go, mm.
    pub old_band_mm: Option<f64>,
    /// Temperature of the joint before the first band, °C.
    pub preheat_c: Option<f64>,
    /// Wire on one spool, kg.
    pub spool_kg: Option<f64>,
    /// Gas out of one bottle, L at the pressure of the shop.
    pub bottle_l: Option<f64>,
}
