//! A gas flow that does not go with the procedure's own nozzle.
//!
//! Decides: when the two are told.
//! Assumes: 35 ft3/h at 3/4 in, for a larger nozzle about as the square of its bore (common practice, no source).
//! Never: judges by it: the qualified flow decides.

use crate::formulas::benchmark_gas_flow;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::setting::{Setting, Subject};
use bandward::Quantity;

/// How far a procedure's gas flow may be from what is usual for its nozzle before it is told. Invented.
const GAS_PLAY: f64 = 0.25;

/// In words, where the two are far apart.
pub fn not_of_nozzle(procedure: &ProcedureFile) -> Option<String> {
    let bore_mm = procedure.gas.nozzle_bore_mm?;
    let flow = procedure.setting(Subject::Judged(Quantity::GasFlow)).and_then(Setting::aim)?;
    let usual = benchmark_gas_flow(bore_mm);
    let in_both = |value, dimension| {
        let [metric, inch] =
            [UnitSystem::Metric, UnitSystem::Inch].map(|units| format(value, dimension, units));
        format!("{metric} ({inch})")
    };
    ((flow / usual - 1.0).abs() > GAS_PLAY).then(|| {
        let [flow, usual] = [flow, usual].map(|flow| in_both(flow, Dimension::Flow));
        let bore = in_both(bore_mm, Dimension::Length);
        format!(
            "the procedure's gas flow, {flow}, is not what is usual for its nozzle of {bore}: about {usual}, more in wind"
        )
    })
}
