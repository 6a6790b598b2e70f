//! One joint worked out before the arc: how fast it turns, what it takes, how the bands come out.
//!
//! Decides: which value is used where several could be (what was asked for, then the procedure, then
//! the rules of the trade), and what follows from it.
//! Assumes: values in house units; steady settings; a band is one turn and its overlap.
//! Never: judges a weld; a plan says what to expect, not what will be.

mod bands;
mod belonging;
mod choice;
mod consumption;
mod departures;
pub mod heat;
mod joint_plan;
mod notes;
mod old_band;
pub mod placed;
pub mod placement;
mod request;
pub mod supply;

pub use bands::Bands;
pub use choice::{Chosen, Origin};
pub use joint_plan::{JointPlan, Judged};
pub use old_band::OverOldBand;
pub use placement::Placement;
pub use request::Request;
pub use supply::Supply;

use crate::formulas::{self, Deposit, benchmark_turn_time};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::laid;
use crate::setup::consistency::FILL_NOT_KNOWN;
use crate::standing::departure;
use anyhow::bail;
use bandward::Quantity;
use bandward::procedure::Polarity;
use choice::aim;
use placement::torch_offset;

pub use crate::heat::preheat::THERMAL_EFFICIENCY;

/// Plans a joint.
///
/// # Errors
/// No diameter is known, or a value that cannot be worked with.
pub fn plan(request: &Request, procedure: &ProcedureFile) -> anyhow::Result<JointPlan> {
    let diameter = request.outside_diameter_mm.or(procedure.joint.outside_diameter_mm);
    let Some(outside_diameter_mm) = diameter else {
        bail!("the procedure gives no diameter of the joint; add --diameter, such as --diameter \"5 in\"");
    };
    departures::refuse_groups(request, procedure)?;
    let turn_time_s = turn_time(request, procedure, outside_diameter_mm);
    let Some(speed_mm_per_s) = formulas::surface_speed(outside_diameter_mm, turn_time_s.value) else {
        bail!("a turn cannot take {} s", turn_time_s.value);
    };
    let of_procedure = |subject| aim(procedure, Subject::Judged(subject));
    let current_a = Chosen::first(request.current_a, of_procedure(Quantity::Current));
    let voltage_v = Chosen::first(request.voltage_v, of_procedure(Quantity::Voltage));
    let for_bore = |bore| Chosen { value: formulas::benchmark_gas_flow(bore), origin: Origin::NozzleBore };
    let gas_flow_lpm = Chosen::first(request.gas_flow_lpm, of_procedure(Quantity::GasFlow))
        .or(procedure.gas.nozzle_bore_mm.map(for_bore));
    let wire_diameter_mm = Chosen::first(request.wire_diameter_mm, procedure.wire.diameter_mm);
    let band_width_mm = laid_width(request, procedure);
    let deposit = wire_diameter_mm.zip(band_width_mm).map(|(wire, width)| Deposit {
        wire_feed_mm_per_min: 0.0,
        wire_diameter_mm: wire.value,
        deposition_efficiency: procedure.wire.metal_share(),
        speed_mm_per_s,
        width_mm: width.value,
    });
    let wire_feed_mm_per_min = wire_feed(request, procedure, wire_diameter_mm, current_a, deposit);
    let band_height_mm = deposit
        .zip(wire_feed_mm_per_min)
        .and_then(|(deposit, feed)| Deposit { wire_feed_mm_per_min: feed.value, ..deposit }.height_mm());
    let power_w = current_a.zip(voltage_v).map(|(current, voltage)| current.value * voltage.value);
    let bands = band_width_mm.and_then(|width| Bands::lay(request, procedure, width.value));
    let band_area_mm2 = band_height_mm.zip(band_width_mm).map(|(height, width)| height * width.value);
    let step = bands.and_then(|bands| bands.step_over_mm);
    let mut plan = JointPlan {
        outside_diameter_mm,
        turn_time_s,
        surface_speed_mm_per_s: speed_mm_per_s,
        wire_diameter_mm,
        wire_feed_mm_per_min,
        current_a,
        voltage_v,
        gas_flow_lpm,
        band_width_mm,
        torch_offset_mm: torch_offset(procedure, outside_diameter_mm),
        band_height_mm,
        overlapped_height_mm: band_area_mm2
            .zip(step.filter(|step| bands.is_some_and(|bands| step.value < bands.band_width_mm)))
            .map(|(area, step)| area / step.value),
        band_area_mm2,
        arc_energy_kj_per_mm: power_w.and_then(|power_w| formulas::arc_energy(power_w, speed_mm_per_s)),
        bands,
        placement: bands
            .map(|bands| Placement::of(&bands, request, procedure, (outside_diameter_mm, turn_time_s.value))),
        over_old_band: OverOldBand::of(request, procedure),
        supply: Supply::default(),
        judged: Vec::new(),
        fits: Vec::new(),
        is_of_another_diameter: notes::is_of_another_diameter(outside_diameter_mm, procedure),
        unproven: departures::unknown_gas(request, procedure).into_iter().collect(),
        unlike: departures::unlike(request, procedure),
        warnings: laid::warnings(procedure),
        notes: Vec::new(),
    };
    if plan.band_height_mm.is_some() && limits_height(procedure) && procedure.wire.is_fill_assumed() {
        plan.unproven.push(FILL_NOT_KNOWN.to_owned());
    }
    if procedure.excluded().is_some() {
        plan.unproven.push("no joint satisfies both [preheat] and [interpass] of the procedure".to_owned());
    }
    plan.unlike.extend(departures::other_bands(&plan, request, procedure));
    plan.unlike.extend(departures::piled(&plan, procedure));
    plan.unlike.extend(plan.over_old_band.and_then(|over| over.refused(procedure)));
    plan.unlike.extend(placed::misplaced(&plan));
    plan.unproven.extend(placed::judged_as_written(&plan, procedure));
    plan.supply = Supply::of(&plan, request, procedure);
    plan.judged = judged(&plan, request, procedure);
    plan.fits = belonging::fits(&plan, request, procedure);
    plan.notes = notes::notes(&plan, procedure);
    Ok(plan)
}

fn limits_height(procedure: &ProcedureFile) -> bool {
    procedure.setting(Subject::Judged(Quantity::BandHeight)).is_some()
}

/// The turn time asked for; the procedure's, at its own surface speed on another diameter; or the
/// benchmark's.
fn turn_time(request: &Request, procedure: &ProcedureFile, diameter_mm: f64) -> Chosen {
    if let Some(value) = request.turn_time_s {
        return Chosen { value, origin: Origin::Asked };
    }
    let given = aim(procedure, Subject::Judged(Quantity::TurnTime));
    match (given, procedure.joint.outside_diameter_mm) {
        (Some(value), Some(own_mm)) if (own_mm - diameter_mm).abs() > 1e-6 => {
            Chosen { value: value * diameter_mm / own_mm, origin: Origin::SurfaceSpeedKept }
        }
        (Some(value), _) => Chosen { value, origin: Origin::Procedure },
        (None, _) => Chosen { value: benchmark_turn_time(diameter_mm), origin: Origin::Benchmark },
    }
}

/// The width that is laid: as asked for, the weave asked for and what the pool runs out to, the
/// procedure's band, or its weave and the run-out.
fn laid_width(request: &Request, procedure: &ProcedureFile) -> Option<Chosen> {
    let weave = |weave: Option<f64>| {
        let value = weave? + procedure.run_out_mm();
        Some(Chosen { value, origin: Origin::WeaveAndRunOut })
    };
    let asked = request.band_width_mm.map(|value| Chosen { value, origin: Origin::Asked });
    let given = procedure.joint.band_width_mm.map(|value| Chosen { value, origin: Origin::Procedure });
    let aim = aim(procedure, Subject::Judged(Quantity::WeaveWidth));
    asked.or_else(|| weave(request.weave_width_mm)).or(given).or_else(|| weave(aim))
}

/// The wire feed asked for, the procedure's, what the current melts, or what its height takes.
fn wire_feed(
    request: &Request,
    procedure: &ProcedureFile,
    wire: Option<Chosen>,
    current: Option<Chosen>,
    deposit: Option<Deposit>,
) -> Option<Chosen> {
    let stick_out_mm = request.stick_out_mm.or(aim(procedure, Subject::StickOut));
    let is_negative = procedure.wire.polarity == Some(Polarity::ElectrodeNegative);
    let melted = || {
        // See `formulas::NEGATIVE_POLE`.
        let extension_mm = formulas::electrode_extension(stick_out_mm.filter(|_| !is_negative)?);
        let feed = formulas::wire_feed_from_current(current?.value, extension_mm, wire?.value)?;
        Some(Chosen { value: feed, origin: Origin::MeltedByCurrent })
    };
    let for_height = || {
        let feed = deposit?.wire_feed_for_height(aim(procedure, Subject::Judged(Quantity::BandHeight))?)?;
        Some(Chosen { value: feed, origin: Origin::ForHeight })
    };
    Chosen::first(request.wire_feed_mm_per_min, aim(procedure, Subject::Judged(Quantity::WireFeed)))
        .or_else(melted)
        .or_else(for_height)
}

fn judged(plan: &JointPlan, request: &Request, procedure: &ProcedureFile) -> Vec<Judged> {
    let of = |chosen: Option<Chosen>| chosen.map(|chosen| chosen.value);
    let values = [
        (Subject::Judged(Quantity::TurnTime), Some(plan.turn_time_s.value)),
        (Subject::Judged(Quantity::WireFeed), of(plan.wire_feed_mm_per_min)),
        (Subject::Judged(Quantity::BandHeight), plan.band_height_mm),
        (Subject::Judged(Quantity::Current), of(plan.current_a)),
        (Subject::Judged(Quantity::Voltage), of(plan.voltage_v)),
        (Subject::Judged(Quantity::GasFlow), of(plan.gas_flow_lpm)),
        (Subject::Judged(Quantity::StepOver), plan.bands.and_then(|bands| of(bands.step_over_mm))),
        (Subject::Judged(Quantity::WeaveWidth), request.weave_width_mm),
        (Subject::StickOut, request.stick_out_mm),
        (Subject::Judged(Quantity::Preheat), request.preheat_c),
    ];
    let judge = |(subject, value): (Subject, Option<f64>)| {
        // What goes with the diameter is judged on this one: the same surface speed, the same angle.
        let (value, setting) = (value?, procedure.setting_on(subject, Some(plan.outside_diameter_mm))?);
        Some(Judged { subject, value, setting, departure: departure(value, &setting) })
    };
    values.into_iter().filter_map(judge).collect()
}
