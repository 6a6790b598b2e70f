//! Where on the joint each band lies, and where round it the band starts.
//!
//! Decides: the edges of every band, from the shoulder where that is known, and what of it lies on the taper.
//! Assumes: bands are laid from the shoulder towards the pipe, a step apart; a taper begins at the joint's diameter.
//! Never: moves a band; what does not fit its place is told.

use super::JointPlan;
use super::placement::{PlacedBand, Stretch};
use crate::input::place::Finish;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{Dimension, in_both};
use crate::input::setting::Subject;
use crate::plan::choice::aim;
use crate::standing::departure;
use bandward::{Quantity, Severity};

/// A flush band stands no more than 1/32 in off the joint, either way. Common practice, no source.
const FLUSH_WITHIN_MM: f64 = 25.4 / 32.0;
/// A band begins no nearer to the shoulder than 1 in. Common practice, no source.
const CLEAR_OF_SHOULDER_MM: f64 = 25.4;
/// Less than this is no distance, mm.
const NOTHING_MM: f64 = 1e-3;

/// What does not fit its place.
pub(super) fn misplaced(plan: &JointPlan) -> Vec<String> {
    let show = |value| in_both(value, Dimension::Length);
    let mut told = Vec::new();
    for stretch in plan.placement.iter().flat_map(|placement| &placement.stretches) {
        if let Some(taper) = stretch.taper().filter(|taper| !taper.may_carry_bands)
            && stretch.end_mm() > taper.from_mm + NOTHING_MM
        {
            told.push(format!(
                "the bands of the {} reach {} onto the taper, which begins {} from the shoulder; the procedure \
                 puts none there",
                stretch.name(),
                show(stretch.end_mm() - taper.from_mm),
                show(taper.from_mm),
            ));
        }
        if let Some(band) = stretch.bands.iter().find(|band| band.is_beyond(plan.outside_diameter_mm)) {
            told.push(format!(
                "band {} would lie, or its far edge, beyond the end of the taper",
                band.number
            ));
        }
        let is_deep =
            |over: &OverEdge| plan.band_height_mm.is_none_or(|height_mm| over.deeper_mm > height_mm);
        told.extend(over_edge(plan, stretch).filter(is_deep).map(|over| {
            format!(
                "{}, which is more than the band is high: no torch stands right to both sides of such an edge, and the \
                 pool runs off it (common practice, no source). Move the bands off the edge",
                over.words()
            )
        }));
        told.extend(not_flush(plan, stretch));
    }
    told.extend(on_each_other(plan));
    told
}

/// A band that lies over the edge where the taper begins, on a taper that carries bands.
struct OverEdge {
    band: u32,
    /// So much of it lies beyond the edge, mm.
    beyond_mm: f64,
    /// So much deeper lies the joint under its far edge, mm.
    deeper_mm: f64,
}

impl OverEdge {
    fn words(&self) -> String {
        let show = |value| in_both(value, Dimension::Length);
        format!(
            "band {} lies over the edge where the taper begins: {} of its width are beyond it, and under its far edge the \
             joint lies {} deeper",
            self.band,
            show(self.beyond_mm),
            show(self.deeper_mm)
        )
    }
}

/// The first such band of a place; one that ends beyond the taper is told as that.
fn over_edge(plan: &JointPlan, stretch: &Stretch) -> Option<OverEdge> {
    let from_mm = stretch.taper().filter(|taper| taper.may_carry_bands)?.from_mm;
    let is_over =
        |band: &&PlacedBand| band.from_mm < from_mm - NOTHING_MM && band.to_mm > from_mm + NOTHING_MM;
    let band = stretch.bands.iter().find(is_over).filter(|band| !band.is_beyond(plan.outside_diameter_mm))?;
    let [near_mm, far_mm] = band.edge_diameters_mm;
    Some(OverEdge { band: band.number, beyond_mm: band.to_mm - from_mm, deeper_mm: (near_mm - far_mm) / 2.0 })
}

/// Bands of two places at the same end that lie on each other by more than bands of one place do.
fn on_each_other(plan: &JointPlan) -> Option<String> {
    let usual_mm = plan.bands.and_then(|bands| Some(bands.band_width_mm - bands.step_over_mm?.value));
    let most_mm = usual_mm.unwrap_or(0.0).max(0.0) + NOTHING_MM;
    let stretches = &plan.placement.as_ref()?.stretches;
    let end = |stretch: &Stretch| stretch.place.map(|place| place.end);
    let pairs = stretches.iter().enumerate().flat_map(|(index, one)| {
        let others =
            stretches[index + 1..].iter().filter(move |other| end(one).is_some() && end(one) == end(other));
        others.flat_map(move |other| {
            one.bands.iter().flat_map(move |a| other.bands.iter().map(move |b| (one, a, b)))
        })
    });
    let on = |a: &PlacedBand, b: &PlacedBand| a.to_mm.min(b.to_mm) - a.from_mm.max(b.from_mm);
    let (stretch, a, b) = pairs.into_iter().find(|(_, a, b)| on(a, b) > most_mm)?;
    Some(format!(
        "band {} of the {} would lie on band {} by {}",
        b.number,
        stretch.name(),
        a.number,
        in_both(on(a, b), Dimension::Length)
    ))
}

/// A flush band that would not be level with the joint, by its groove and the height that is laid.
fn not_flush(plan: &JointPlan, stretch: &Stretch) -> Option<String> {
    let Finish::Flush { groove_depth_mm } = stretch.place?.finish else { return None };
    let alone_mm = plan.band_height_mm?;
    let highest_mm = plan.overlapped_height_mm.filter(|_| stretch.bands.len() > 1).unwrap_or(alone_mm);
    // What is left of an old band lies below the new one.
    let highest_mm = highest_mm + plan.over_old_band.map_or(0.0, |over| over.left_mm);
    let lowest_mm = alone_mm.min(highest_mm);
    let show = |value| in_both(value, Dimension::Length);
    let (proud_mm, hollow_mm) = (highest_mm - groove_depth_mm, groove_depth_mm - lowest_mm);
    let (off_mm, way) = if proud_mm >= hollow_mm { (proud_mm, "proud of") } else { (hollow_mm, "below") };
    (off_mm > FLUSH_WITHIN_MM).then(|| {
        format!(
            "the flush bands of the {} would stand {} {way} the joint in a groove of {}; a flush band is within \
             1/32 in (common practice, no source)",
            stretch.name(),
            show(off_mm),
            show(groove_depth_mm),
        )
    })
}

/// A band that begins nearer to the shoulder than is sensible.
fn near_shoulder(stretch: &Stretch) -> Option<String> {
    let nearest = stretch.bands.iter().filter(|_| stretch.is_from_shoulder);
    let band = nearest.min_by(|one, other| one.from_mm.total_cmp(&other.from_mm))?;
    (band.from_mm < CLEAR_OF_SHOULDER_MM - NOTHING_MM).then(|| {
        let show = |value| in_both(value, Dimension::Length);
        let begins = if band.from_mm <= NOTHING_MM {
            "at the shoulder itself".to_owned()
        } else {
            format!("{} from the shoulder", show(band.from_mm))
        };
        format!(
            "CAUTION: band {} of the {} begins {begins}, the face that seals the connection: heat, spatter or grinding \
             near it ruin it; bands are kept {} clear of it (common practice, no source). Measure where the edge is \
             meant to be",
            band.number,
            stretch.name(),
            show(CLEAR_OF_SHOULDER_MM)
        )
    })
}

/// What should be known of where the bands lie.
pub(super) fn notes(plan: &JointPlan, procedure: &ProcedureFile) -> Vec<String> {
    let mut notes = Vec::new();
    let Some(placement) = &plan.placement else { return notes };
    if placement.stretches.iter().any(|stretch| !stretch.is_from_shoulder) {
        notes.push(
            "band edges are counted from the near edge of the first band: neither the procedure (a [[place]] with \
             first_edge) nor --first-edge says how far from the shoulder that is"
                .to_owned(),
        );
    }
    notes.extend(placement.stretches.iter().filter_map(near_shoulder));
    for stretch in &placement.stretches {
        notes.extend(stretch.bands.iter().filter_map(|band| on_another_diameter(plan, stretch, band)));
        let is_shallow =
            |over: &OverEdge| plan.band_height_mm.is_some_and(|height_mm| over.deeper_mm <= height_mm);
        notes.extend(over_edge(plan, stretch).filter(is_shallow).map(|over| over.words()));
    }
    let overlap_deg = aim(procedure, Subject::Judged(Quantity::Overlap)).unwrap_or(0.0);
    let stagger_deg = placement.stagger_deg.value;
    let nearest_deg = stagger_deg.min(360.0 - stagger_deg);
    if plan.bands.is_some_and(|bands| bands.count > 1) && nearest_deg <= overlap_deg {
        notes.push(format!(
            "starts {} apart lie within the {} that a band overlaps its own start: the ends come to lie side by side",
            in_both(nearest_deg, Dimension::Angle),
            in_both(overlap_deg, Dimension::Angle),
        ));
    }
    notes
}

/// A band whose far edge lies where the taper is no thicker than the bore: there is no such place.
pub fn beyond_bore(plan: &JointPlan, bore_mm: f64) -> Option<String> {
    let stretches = plan.placement.iter().flat_map(|placement| &placement.stretches);
    stretches.into_iter().find_map(|stretch| {
        let left_mm = |at_mm: f64| stretch.diameter_at_mm(at_mm, plan.outside_diameter_mm);
        let band = stretch.bands.iter().find(|band| left_mm(band.to_mm) <= bore_mm)?;
        Some(format!(
            "band {} of the {} would lie where the joint is no thicker than the bore of {}: check first edge, diameter, \
             taper and bore",
            band.number,
            stretch.name(),
            in_both(bore_mm, Dimension::Length),
        ))
    })
}

/// Bands whose right turn time a monitor would judge outside: it knows one diameter.
pub(super) fn judged_as_written(plan: &JointPlan, procedure: &ProcedureFile) -> Option<String> {
    let setting = procedure.setting(Subject::Judged(Quantity::TurnTime))?;
    let is_outside = |band: &&PlacedBand| {
        band.is_on_another_diameter(plan.outside_diameter_mm)
            && !band.is_beyond(plan.outside_diameter_mm)
            && departure(band.turn_time_s, setting).is_some_and(|found| found.severity >= Severity::Warn)
    };
    let mut bands =
        plan.placement.iter().flat_map(|placed| &placed.stretches).flat_map(|stretch| &stretch.bands);
    let band = bands.find(is_outside)?;
    Some(format!(
        "the turn of band {}, {}, is right for its diameter, and outside for a monitor, which judges by the procedure as \
         it is written: its place takes a procedure of its own",
        band.number,
        in_both(band.turn_time_s, Dimension::Duration),
    ))
}

/// A band whose middle lies on the taper, or in a place of another diameter: its own turn and offset.
fn on_another_diameter(plan: &JointPlan, stretch: &Stretch, band: &PlacedBand) -> Option<String> {
    if band.is_beyond(plan.outside_diameter_mm) {
        return None;
    }
    let middle_mm = f64::midpoint(band.from_mm, band.to_mm);
    let taper = stretch.taper().filter(|taper| middle_mm - taper.from_mm > NOTHING_MM);
    if taper.is_none() && !band.is_on_another_diameter(plan.outside_diameter_mm) {
        return None;
    }
    let offset = band.torch_offset_mm.map_or(String::new(), |(offset_mm, _)| {
        format!(" and a torch offset of {} the angle", in_both(offset_mm, Dimension::Length))
    });
    let leans = taper.map_or(String::new(), |taper| {
        format!("; the torch leans with the taper, {}", in_both(taper.angle_deg, Dimension::Angle))
    });
    let on_taper = if taper.is_some() { "lies on the taper" } else { "lies in a place of its own" };
    Some(format!(
        "the middle of band {} {on_taper}, where the joint measures {}: a turn of {} keeps the surface speed{offset}{leans}. \
         A monitor judges its turn time by the procedure as it is written",
        band.number,
        in_both(band.diameter_mm, Dimension::Length),
        in_both(band.turn_time_s, Dimension::Duration),
    ))
}
