//! The diameters that a procedure's own bands are laid on.
//!
//! Decides: where the middle of each band lies, by the procedure's own edges, width and step; what must be told of a turn
//! time that is one for all of them.
//! Assumes: a band on a taper is laid on the diameter under its middle.
//! Never: looks at what was asked for instead; the plan does.

use crate::formulas::USUAL_OVERLAP_MM;
use crate::input::joint_field::SAME_DIAMETER;
use crate::input::place::Place;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, format};
use crate::input::setting::{Setting, Subject};
use bandward::Quantity;

/// The place of each band, in order, and where its middle lies, mm from the shoulder.
fn middles(procedure: &ProcedureFile) -> Vec<(Place, f64)> {
    let aim = |quantity| procedure.setting(Subject::Judged(quantity)).and_then(Setting::aim);
    let of_weave = || aim(Quantity::WeaveWidth).map(|weave| weave + procedure.run_out_mm());
    let width_mm = procedure.joint.band_width_mm.or_else(of_weave).unwrap_or(0.0);
    let step_mm = aim(Quantity::StepOver).unwrap_or((width_mm - USUAL_OVERLAP_MM).max(0.0));
    let groups = procedure.joint.groups.iter().filter(|&&bands| bands > 0).map(|&bands| u32::from(bands));
    let mut counts: Vec<_> = groups.collect();
    if counts.is_empty() {
        counts.push(procedure.joint.bands.unwrap_or(1));
    }
    let of_place = |(place, count): (&Place, u32)| {
        let (place, first_mm) = (*place, place.first_edge_mm + 0.5 * width_mm);
        (0..count).map(move |band| (place, first_mm + f64::from(band) * step_mm)).collect::<Vec<_>>()
    };
    procedure.places.iter().zip(counts).flat_map(of_place).collect()
}

/// Every diameter that its bands are laid on, mm: the joint's first, then those of places that have another one and of
/// bands that it puts on a taper; nothing where it gives no diameter of the joint.
pub fn diameters_mm(procedure: &ProcedureFile) -> Vec<f64> {
    let Some(joint_mm) = procedure.joint.outside_diameter_mm else { return Vec::new() };
    let is_meant = |(place, at_mm): &(Place, f64)| {
        place.taper.is_none_or(|taper| taper.may_carry_bands || *at_mm <= taper.from_mm)
    };
    let mut diameters = vec![joint_mm];
    let meant = middles(procedure).into_iter().filter(is_meant);
    diameters.extend(meant.map(|(place, at_mm)| place.diameter_at_mm(at_mm, joint_mm)));
    diameters.retain(|diameter_mm| *diameter_mm > 0.0);
    diameters
}

/// The diameter that a band (from 1) is laid on, mm, of a joint of this diameter; the joint's where the procedure
/// does not say where its bands lie.
pub fn of_band_mm(procedure: Option<&ProcedureFile>, band: u16, joint_mm: Option<f64>) -> Option<f64> {
    let joint_mm = joint_mm.or_else(|| procedure?.joint.outside_diameter_mm)?;
    let placed = procedure.map(middles).unwrap_or_default();
    let own = placed.get(usize::from(band).checked_sub(1)?);
    let diameter_mm = own.map_or(joint_mm, |(place, at_mm)| place.diameter_at_mm(*at_mm, joint_mm));
    Some(diameter_mm).filter(|diameter_mm| *diameter_mm > 0.0)
}

/// What is wrong with the procedure itself, with what its places do to its turn time: wherever bands are judged by it.
pub fn warnings(procedure: &ProcedureFile) -> Vec<String> {
    procedure.warnings().into_iter().chain(turn_time_as_written(procedure)).collect()
}

/// The monitor holds every turn against one range: a band on another diameter wants another.
fn turn_time_as_written(procedure: &ProcedureFile) -> Option<String> {
    let turn_time = procedure.setting(Subject::Judged(Quantity::TurnTime))?;
    let diameters = diameters_mm(procedure);
    let joint_mm = *diameters.first()?;
    let off = |one_mm: &f64| (one_mm / joint_mm - 1.0).abs();
    let furthest_mm = diameters.into_iter().max_by(|one, other| off(one).total_cmp(&off(other)))?;
    if off(&furthest_mm) <= SAME_DIAMETER {
        return None;
    }
    let system = procedure.units.unwrap_or(UnitSystem::Metric);
    let show = |value, dimension| format(value, dimension, system);
    let own = turn_time.aim().map_or(String::new(), |aim| {
        let scaled = aim * furthest_mm / joint_mm;
        format!(": {} there is the surface speed of the joint", show(scaled, Dimension::Duration))
    });
    Some(format!(
        "TURN TIME JUDGED AS WRITTEN, for {}, on every band of the procedure, and one lies on {}{own}. Judge the bands of \
         such a place by a procedure of their own",
        show(joint_mm, Dimension::Length),
        show(furthest_mm, Dimension::Length),
    ))
}

/// Of these, the one nearest to what was measured; the joint's where nothing was.
pub fn nearest_diameter_mm(procedure: &ProcedureFile, measured_mm: Option<f64>) -> Option<f64> {
    let diameters = diameters_mm(procedure);
    let Some(measured_mm) = measured_mm else { return diameters.first().copied() };
    let off = |one: &f64| (one - measured_mm).abs();
    diameters.into_iter().min_by(|one, other| off(one).total_cmp(&off(other)))
}
