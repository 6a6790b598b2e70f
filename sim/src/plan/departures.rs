//! What a plan does other than its procedure, beside the values that leave a range.
//!
//! Decides: which wire, gas, number and place of bands count as another joint than the qualified one.
//! Assumes: an edge is set to within 1 mm (invented).
//! Never: judges a value against a range, but for the pile where bands overlap.

use super::{JointPlan, Request};
use crate::input::gas_mixture::GasMixture;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format_beside, in_both};
use crate::input::setting::Subject;
use crate::standing::departure;
use anyhow::bail;
use bandward::rule::Side;
use bandward::{Quantity, Severity};

/// An edge this far from the procedure's is another edge, mm. Invented.
const SAME_EDGE_MM: f64 = 1.0;

/// Wire, gas and first edge that are not the procedure's.
pub(super) fn unlike(request: &Request, procedure: &ProcedureFile) -> Vec<String> {
    let mut unlike = Vec::new();
    if let (Some(asked), Some(given)) = (request.wire_diameter_mm, procedure.wire.diameter_mm)
        && (asked - given).abs() > 0.02
    {
        let show = |value| in_both(value, Dimension::Length);
        unlike.push(format!("wire of {}; the procedure has {}", show(asked), show(given)));
    }
    if let (Some(asked), Some(given)) = (request.gas_mixture, procedure.gas.mixture)
        && asked.differs_from(&given)
    {
        unlike.push(match asked.drawback() {
            Some(drawback) => format!(
                "STOP: gas {asked}; the procedure has {given}, and {asked} is never for such wires unless the \
                 procedure names it (common practice, no source): {drawback}"
            ),
            None => format!(
                "gas {asked}; the procedure has {given}: another gas asks for other amps, volts and weave"
            ),
        });
    }
    if let (Some(asked), None) = (request.gas_mixture, procedure.gas.mixture)
        && let Some(drawback) = asked.drawback()
    {
        unlike
            .push(format!("gas {asked} does not do for such wires (common practice, no source): {drawback}"));
    }
    unlike.extend(other_edge(request, procedure));
    unlike
}

/// A gas that neither the procedure names nor practice knows for such wires.
pub(super) fn unknown_gas(request: &Request, procedure: &ProcedureFile) -> Option<String> {
    let gas = request.gas_mixture.filter(GasMixture::is_unknown_to_practice)?;
    procedure.gas.mixture.is_none().then(|| {
        format!(
            "gas {gas}: the procedure names none, and of this one practice says nothing for such wires (known are \
             argon, alone or with 2 to 5 % oxygen: common practice, no source): have it qualified first"
        )
    })
}

/// A first edge that is not where the procedure has it.
fn other_edge(request: &Request, procedure: &ProcedureFile) -> Option<String> {
    let (asked, given) = (request.first_edge_mm?, procedure.places.first()?.first_edge_mm);
    ((asked - given).abs() > SAME_EDGE_MM).then(|| {
        let [asked, given] = [asked, given].map(|edge| in_both(edge, Dimension::Length));
        format!("first band edge {asked} from the shoulder; the procedure has {given}")
    })
}

/// Another number of bands than the procedure's.
pub(super) fn other_bands(plan: &JointPlan, request: &Request, procedure: &ProcedureFile) -> Option<String> {
    let (planned, given) = (plan.bands?.count, procedure.joint.bands?);
    let is_asked = request.bands.is_some() || request.total_width_mm.is_some();
    (is_asked && planned != given).then(|| format!("{planned} band(s); the procedure has {given}"))
}

/// Refuses a number of bands that the procedure's groups do not add up to.
pub(super) fn refuse_groups(request: &Request, procedure: &ProcedureFile) -> anyhow::Result<()> {
    let groups: Vec<_> =
        procedure.joint.groups.iter().filter(|&&bands| bands > 0).map(u8::to_string).collect();
    let of_groups: u32 = procedure.joint.groups.iter().map(|&bands| u32::from(bands)).sum();
    match request.bands {
        Some(asked) if groups.len() > 1 && asked != of_groups => bail!(
            "{asked} bands do not lie in the procedure's groups of {}, which are {of_groups} in all; leave --bands \
             out, or write the groups you mean into [joint] of the procedure",
            groups.join(" and ")
        ),
        _ => Ok(()),
    }
}

/// Where bands overlap the metal of one lies on one step: a pile beyond the height that the procedure allows.
pub(super) fn piled(plan: &JointPlan, procedure: &ProcedureFile) -> Option<String> {
    let setting = procedure.setting(Subject::Judged(Quantity::BandHeight))?;
    let height = plan.overlapped_height_mm?;
    let left = departure(height, setting)
        .filter(|left| left.severity >= Severity::Warn && left.side == Side::High)?;
    let [metric, inch] = [UnitSystem::Metric, UnitSystem::Inch]
        .map(|system| format_beside(height, left.limit, Dimension::Length, system));
    let limit = in_both(left.limit, Dimension::Length);
    Some(format!("where bands overlap they pile to {metric} ({inch}); the procedure allows {limit} at most"))
}
