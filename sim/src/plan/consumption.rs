//! How much time, wire and gas a joint takes.
//!
//! Decides: which stretches of time count.
//! Assumes: what of the wire's section is solid is as the procedure says it, else all of it, so that a cored wire is
//! lighter than said; gas as volume at the pressure of the shop.
//! Never: adds for what is lost between joints.

use super::choice::aim;
use super::supply::{Supply, melting_kg_per_h};
use super::{JointPlan, Request};
use crate::input::parts::WireKind;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use bandward::Quantity;

/// A spool and a bottle where none is said (common practice, no source): 15 kg of wire; 50 L at
/// 200 bar, which is 10 m³ of gas.
pub(super) const USUAL_SPOOL_KG: f64 = 15.0;
pub(super) const USUAL_BOTTLE_L: f64 = 10_000.0;

/// Whole times that `part` goes into `whole`.
pub(super) fn times(whole: f64, part: f64) -> Option<u64> {
    (part > 0.0).then(|| (whole / part) as u64)
}

/// The aim for gas before or after the arc; the end of a range that is open on one side.
pub(super) fn time_of_gas(procedure: &ProcedureFile, quantity: Quantity) -> f64 {
    let subject = Subject::Judged(quantity);
    let end = || {
        let setting = procedure.setting(subject)?;
        setting.recommended.or(setting.allowed)?.ends().next()
    };
    aim(procedure, subject).or_else(end).unwrap_or(0.0)
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
