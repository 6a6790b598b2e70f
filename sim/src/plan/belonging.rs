//! Whether the numbers of a plan belong together.
//!
//! Decides: which of them are compared: as if they had been measured, by the judge of a setup.
//! Assumes: the weave is the band's width less what the pool runs out to.
//! Never: compares what the plan itself worked out from the others.

use super::{JointPlan, Origin, Request};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::{Setting, Subject};
use crate::setup::consistency::{Belonging, Fit, fits as fits_of};
use crate::setup::{Item, SetupSheet};

pub(super) fn fits(plan: &JointPlan, request: &Request, procedure: &ProcedureFile) -> Vec<Fit> {
    let step = plan.bands.and_then(|bands| bands.step_over_mm);
    // A step that was fitted to the band, and a feed that was worked out from the amps, say nothing.
    let given = |origin: Origin| !matches!(origin, Origin::WidthLessOverlap | Origin::MeltedByCurrent);
    let stick_out_mm = request.stick_out_mm.or(procedure.setting(Subject::StickOut).and_then(Setting::aim));
    let weave_mm = plan.band_width_mm.map(|band| band.value - procedure.run_out_mm());
    let feed = plan.wire_feed_mm_per_min.filter(|feed| given(feed.origin));
    let values = [
        (Item::OutsideDiameter, Some(plan.outside_diameter_mm)),
        (Item::TURN_TIME, Some(plan.turn_time_s.value)),
        (Item::WireDiameter, plan.wire_diameter_mm.map(|wire| wire.value)),
        (Item::WIRE_FEED, feed.map(|feed| feed.value)),
        (Item::CURRENT, plan.current_a.map(|current| current.value)),
        (Item::STICK_OUT, stick_out_mm),
        (Item::WEAVE_WIDTH, weave_mm.filter(|weave| *weave > 0.0)),
        (Item::STEP_OVER, step.filter(|step| given(step.origin)).map(|step| step.value)),
        (Item::GAS_FLOW, plan.gas_flow_lpm.map(|flow| flow.value)),
        (Item::NozzleBore, procedure.gas.nozzle_bore_mm),
    ];
    let mut sheet = SetupSheet::default();
    for (item, value) in values {
        if let Some(value) = value {
            sheet.put_size(item, value);
        }
    }
    // Height and pile are judged against their range already, and an old band has a note of its own.
    let is_of_plan = |fit: &Fit| {
        !matches!(fit.of, Belonging::Height | Belonging::OldBand | Belonging::Pile | Belonging::Preheat)
    };
    fits_of(&sheet, procedure).into_iter().filter(is_of_plan).collect()
}
