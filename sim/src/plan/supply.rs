//! What a joint takes: time, wire and gas.
//!
//! Decides: which stretches of time count.
//! Assumes: density of steel for what of the wire's section is solid, as the procedure says it, else for all of
//! it, so that a cored wire is lighter than said; gas as volume at the pressure of the shop.
//! Never: adds for what is lost between joints.

use super::choice::aim;
use super::{JointPlan, Request};
use crate::input::parts::WireKind;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use bandward::Quantity;
use std::f64::consts::FRAC_PI_4;

/// Density of steel, kg/m³. Handbook value, from memory.
pub const STEEL_KG_PER_M3: f64 = 7850.0;
/// A spool and a bottle where none is said (common practice, no source): 15 kg of wire; 50 L at
/// 200 bar, which is 10 m³ of gas.
const USUAL_SPOOL_KG: f64 = 15.0;
const USUAL_BOTTLE_L: f64 = 10_000.0;

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

/// Whole times that `part` goes into `whole`.
fn times(whole: f64, part: f64) -> Option<u64> {
    (part > 0.0).then(|| (whole / part) as u64)
}

impl Supply {
    pub(super) fn of(plan: &JointPlan, request: &Request, procedure: &ProcedureFile) -> Self {
        let of_procedure = |quantity| aim(procedure, Subject::Judged(quantity));
        let turns = 1.0 + of_procedure(Quantity::Overlap).unwrap_or(0.0) / 360.0;
        let count = plan.bands.map(|bands| f64::from(bands.count));
        let placed = plan.placement.iter().flat_map(|placement| &placement.stretches);
        // What lies on no joint takes no time that could be told.
        let mut bands = placed.clone().flat_map(|stretch| &stretch.bands);
        let is_beyond = bands.any(|band| band.is_beyond(plan.outside_diameter_mm));
        let turn_times_s: f64 = placed.flat_map(|stretch| &stretch.bands).map(|band| band.turn_time_s).sum();
        let torch_time_s = count.filter(|_| !is_beyond).map(|_| turns * turn_times_s);
        let melting_kg_per_h = plan
            .wire_feed_mm_per_min
            .zip(plan.wire_diameter_mm)
            .map(|(feed, wire)| procedure.wire.solid_share() * melting_kg_per_h(feed.value, wire.value));
        let wire_kg = torch_time_s.zip(melting_kg_per_h).map(|(seconds, rate)| rate * seconds / 3600.0);
        let without_arc_s = [Quantity::GasPreflow, Quantity::GasPostflow]
            .map(|quantity| time_of_gas(procedure, quantity))
            .iter()
            .sum::<f64>();
        let gas_s = torch_time_s.zip(count).map(|(seconds, count)| seconds + count * without_arc_s);
        let gas_l = gas_s.zip(plan.gas_flow_lpm).map(|(seconds, flow)| flow.value * seconds / 60.0);
        let spool_kg = request.spool_kg.unwrap_or(USUAL_SPOOL_KG);
        let bottle_l = request.bottle_l.unwrap_or(USUAL_BOTTLE_L);
        Self {
            torch_time_s,
            melting_kg_per_h,
            deposition_kg_per_h: melting_kg_per_h.map(|rate| rate * procedure.wire.deposition_efficiency),
            wire_kg,
            is_taken_as_solid: procedure.wire.fill.is_none() && procedure.wire.kind != Some(WireKind::Solid),
            gas_l,
            spool_kg,
            is_spool_usual: request.spool_kg.is_none(),
            bottle_l,
            is_bottle_usual: request.bottle_l.is_none(),
            joints_per_spool: wire_kg.and_then(|kg| times(spool_kg, kg)),
            joints_per_bottle: gas_l.and_then(|litres| times(bottle_l, litres)),
        }
    }
}

/// The aim for gas before or after the arc; the end of a range that is open on one side.
fn time_of_gas(procedure: &ProcedureFile, quantity: Quantity) -> f64 {
    let subject = Subject::Judged(quantity);
    let end = || {
        let setting = procedure.setting(subject)?;
        setting.recommended.or(setting.allowed)?.ends().next()
    };
    aim(procedure, subject).or_else(end).unwrap_or(0.0)
}
