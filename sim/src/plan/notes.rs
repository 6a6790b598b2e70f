//! What should be known beside the figures of a plan.
//!
//! Decides: which notes there are, and which one setting would bring the height in.
//! Assumes: height goes with wire feed and turn time, and against the width laid (conservation of volume).
//! Never: changes a figure.

use super::{JointPlan, Judged, Origin, placed};
use crate::formulas;
use crate::input::joint_field::SAME_DIAMETER;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, UnitSystem, in_both};
use crate::input::setting::{Setting, Subject};
use crate::setup::not_of_nozzle;
use crate::standing::departure;
use bandward::procedure::Polarity;
use bandward::rule::Side;
use bandward::{Quantity, Severity};

pub(super) fn notes(plan: &JointPlan, procedure: &ProcedureFile) -> Vec<String> {
    let mut notes = Vec::new();
    notes.extend(another_diameter(plan, procedure));
    notes.extend(plan.bands.and_then(|bands| bands.note()));
    notes.extend(placed::notes(plan, procedure));
    notes.extend(plan.over_old_band.map(|over| over.note(plan.band_height_mm, procedure)));
    notes.extend(not_of_nozzle(procedure));
    let system = procedure.units.unwrap_or(UnitSystem::Metric);
    notes.extend(
        procedure.temperature_place(system).map(|place| format!("{place}: its limits are of that place")),
    );
    notes.extend(height(plan, procedure));
    notes.extend(overlapped(plan, procedure));
    if plan.band_height_mm.is_some() && procedure.wire.is_fill_assumed() {
        notes.push(
            "fill of the cored wire not in the procedure: 100 % assumed, as of a solid wire. A cored one lays less \
             metal; give `fill` in [wire], from its maker or from the weight of a metre"
                .to_owned(),
        );
    }
    if plan.wire_feed_mm_per_min.is_some_and(|feed| feed.origin == Origin::MeltedByCurrent) {
        let arc = in_both(formulas::USUAL_ARC_LENGTH_MM, Dimension::Length);
        notes.push(format!(
            "wire feed is estimated for a solid wire on the positive pole, {arc} of the stick-out being arc; a cored \
             wire melts faster"
        ));
    }
    if procedure.wire.polarity == Some(Polarity::ElectrodeNegative)
        && plan.wire_feed_mm_per_min.is_none_or(|feed| feed.origin == Origin::ForHeight)
    {
        notes.push(formulas::NEGATIVE_POLE.to_owned());
    }
    if plan.torch_offset_mm.is_some_and(|(offset, _)| offset.origin == Origin::BenchmarkAngle) {
        notes.push(
            "torch offset: the trade's 3/4 to 1 1/2 in on 5 in, at the same angle (17 to 37 degrees); a table \
             published for submerged arc gives less (12 mm for pipe of 25 to 75 mm, 22 mm for 75 to 450 mm), \
             since its pool freezes later under slag"
                .to_owned(),
        );
    }
    notes
}

/// Is the procedure written for another diameter?
pub(super) fn is_of_another_diameter(diameter_mm: f64, procedure: &ProcedureFile) -> bool {
    let own_mm = procedure.joint.outside_diameter_mm;
    own_mm.is_some_and(|own_mm| (diameter_mm / own_mm - 1.0).abs() > SAME_DIAMETER)
}

fn another_diameter(plan: &JointPlan, procedure: &ProcedureFile) -> Option<String> {
    let own_mm = procedure.joint.outside_diameter_mm?;
    let show = |value| in_both(value, Dimension::Length);
    if !plan.is_of_another_diameter {
        return None;
    }
    Some(format!(
        "the procedure is written for a joint of {}: turn time and torch offset, and their ranges, are scaled here \
         to the same surface speed and the same angle. A monitor judges by the procedure as it is written, and \
         another diameter may need another qualified procedure",
        show(own_mm)
    ))
}

/// Where the height is outside: the one setting that brings it to its aim and stays in its own range.
fn height(plan: &JointPlan, procedure: &ProcedureFile) -> Option<String> {
    let subject = Subject::Judged(Quantity::BandHeight);
    let judged = plan.judged.iter().find(|judged| judged.subject == subject)?;
    judged.departure?;
    let height = in_both(judged.value, Dimension::Length);
    let times = judged.setting.value_to_set()? / judged.value;
    let on_this = |subject| procedure.setting_on(subject, Some(plan.outside_diameter_mm));
    let stays = |subject, value: f64| {
        let worst = on_this(subject).and_then(|setting: Setting| departure(value, &setting));
        worst.is_none_or(|left| left.severity < Severity::Warn)
    };
    let turn_s = turn_for(plan, procedure, judged, times);
    let feed = plan.wire_feed_mm_per_min.map(|feed| feed.value * times);
    let which = if stays(Subject::Judged(Quantity::TurnTime), turn_s) {
        let way = if times > 1.0 { "slower" } else { "faster" };
        format!("a turn of {}, {way} than planned, brings it in", in_both(turn_s, Dimension::Duration))
    } else if let Some(feed) = feed.filter(|feed| stays(Subject::Judged(Quantity::WireFeed), *feed)) {
        format!("a wire feed of {} brings it in; the amps go with it", in_both(feed, Dimension::WireSpeed))
    } else {
        "neither turn time nor wire feed brings it in within its own range: check wire, width and procedure"
            .to_owned()
    };
    Some(format!("band height {height}: {which}"))
}

/// The turn time that brings the height to its aim; where that leaves what is recommended of turning, the nearest
/// within it, with room to its end, if the height is in there as well.
fn turn_for(plan: &JointPlan, procedure: &ProcedureFile, height: &Judged, times: f64) -> f64 {
    let turn_s = plan.turn_time_s.value * times;
    let turning = procedure.setting_on(Subject::Judged(Quantity::TurnTime), Some(plan.outside_diameter_mm));
    let recommended = turning.and_then(|setting| setting.recommended);
    let ends = recommended.and_then(|range| Some((range.low?, range.high?)));
    let Some((low, high)) = ends else { return turn_s };
    let room = EDGE * (high - low);
    let nearest_s = turn_s.clamp(low + room, high - room);
    let is_in = departure(height.value * nearest_s / plan.turn_time_s.value, &height.setting).is_none();
    if (low..=high).contains(&turn_s) || !is_in { turn_s } else { nearest_s }
}

/// Room left to the end of a range, as a share of it. Invented.
const EDGE: f64 = 0.1;

/// Where bands overlap the metal of one lies on one step, so it piles higher than a band by itself: which way to go,
/// in keeping with what is said of the band by itself.
fn overlapped(plan: &JointPlan, procedure: &ProcedureFile) -> Option<String> {
    let setting = procedure.setting(Subject::Judged(Quantity::BandHeight))?;
    let height = plan.overlapped_height_mm?;
    let left = departure(height, setting).filter(|left| left.severity >= Severity::Warn)?;
    let alone = plan.band_height_mm.and_then(|alone| departure(alone, setting)).map(|alone| alone.side);
    let [height, limit] = [height, left.limit].map(|length| in_both(length, Dimension::Length));
    Some(match (left.side, alone) {
        (Side::Low, Some(Side::Low)) => format!(
            "where bands overlap they come to {height} only, below {limit}: what brings a band by itself in brings \
             them up, too"
        ),
        (Side::Low, _) => {
            format!(
                "where bands overlap they come to {height} only, below {limit}: more metal, or a shorter step"
            )
        }
        (Side::High, Some(Side::Low)) => format!(
            "where bands overlap they pile to {height}, beyond {limit}: a longer step; not less metal, since a band \
             by itself is low already"
        ),
        (Side::High, Some(Side::High)) => format!(
            "where bands overlap they pile to {height}, beyond {limit}: less metal, as for a band by itself, brings \
             it down, too"
        ),
        (Side::High, None) => {
            format!("where bands overlap they pile to {height}, beyond {limit}: a longer step, or less metal")
        }
    })
}
