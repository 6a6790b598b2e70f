//! Where the bands of a joint lie, and what each of them is laid with.

use super::Request;
use super::bands::Bands;
use super::choice::{Chosen, Origin};
use crate::formulas;
use crate::input::bounds::Bounds;
use crate::input::joint_field::SAME_DIAMETER;
use crate::input::place::{Place, Taper};
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;

/// A band in its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedBand {
    /// Its number on the joint, from 1.
    pub number: u32,
    /// Its near edge, mm.
    pub from_mm: f64,
    /// Its far edge, mm.
    pub to_mm: f64,
    /// Where round the joint it starts, degrees on from the first band's start, the way the joint is laid.
    pub start_deg: f64,
    /// Outside diameter of the joint under its middle, mm; zero and less beyond the end of a taper.
    pub diameter_mm: f64,
    /// And under its near and its far edge, mm.
    pub edge_diameters_mm: [f64; 2],
    /// Time of one turn that keeps the surface speed there, s.
    pub turn_time_s: f64,
    /// Torch offset from the top centre there, mm, and the range around it: the same angle.
    pub torch_offset_mm: Option<(f64, Bounds)>,
}

/// The bands of one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// What the procedure says of the place.
    pub place: Option<Place>,
    /// Are its edges counted from the shoulder? Else from the near edge of its first band.
    pub is_from_shoulder: bool,
    /// Its bands, nearest to the shoulder first.
    pub bands: Vec<PlacedBand>,
}

/// All bands in their places.
#[derive(Clone, Debug, PartialEq)]
pub struct Placement {
    /// The places, in order.
    pub stretches: Vec<Stretch>,
    /// How far round a band starts from the one before, degrees.
    pub stagger_deg: Chosen,
}

impl Stretch {
    /// The far edge of the last band, mm.
    pub fn end_mm(&self) -> f64 {
        self.bands.last().map_or(0.0, |band| band.to_mm)
    }
    /// The taper of the place.
    pub fn taper(&self) -> Option<Taper> {
        self.place.and_then(|place| place.taper)
    }
    /// The outside diameter at a distance along it, mm, on a joint of `joint_mm`.
    pub fn diameter_at_mm(&self, at_mm: f64, joint_mm: f64) -> f64 {
        self.place.map_or(joint_mm, |place| place.diameter_at_mm(at_mm, joint_mm))
    }
    /// What it is called.
    pub fn name(&self) -> &'static str {
        self.place.map_or("joint", |place| place.end.name())
    }
}

impl Placement {
    /// Bands on a joint of `joint_mm` that turns once in `turn_s`.
    pub(super) fn of(
        bands: &Bands,
        request: &Request,
        procedure: &ProcedureFile,
        (joint_mm, turn_s): (f64, f64),
    ) -> Self {
        let given = Chosen::first(request.start_stagger_deg, procedure.joint.start_stagger_deg);
        let stagger_deg = given.unwrap_or(Chosen { value: USUAL_STAGGER_DEG, origin: Origin::Usual });
        let step_mm = bands.step_over_mm.map_or(0.0, |step| step.value);
        let mut number = 0;
        let mut stretch = |count: u32, place: Option<Place>, asked_mm: Option<f64>| {
            let first_mm = asked_mm.or(place.map(|place| place.first_edge_mm));
            let placed = (0..count).map(|index| {
                let from_mm = first_mm.unwrap_or(0.0) + f64::from(index) * step_mm;
                let start_deg = (f64::from(number + index) * stagger_deg.value).rem_euclid(360.0);
                let to_mm = from_mm + bands.band_width_mm;
                let middle_mm = f64::midpoint(from_mm, to_mm);
                let at_mm = |at_mm| place.map_or(joint_mm, |place| place.diameter_at_mm(at_mm, joint_mm));
                let diameter_mm = at_mm(middle_mm);
                let offset = torch_offset(procedure, diameter_mm.max(0.0));
                PlacedBand {
                    number: number + index + 1,
                    from_mm,
                    to_mm,
                    start_deg,
                    diameter_mm,
                    edge_diameters_mm: [at_mm(from_mm), at_mm(to_mm)],
                    turn_time_s: turn_s * diameter_mm.max(0.0) / joint_mm,
                    torch_offset_mm: offset.map(|(at, range)| (at.value, range)),
                }
            });
            let bands = placed.collect();
            number += count;
            Stretch { place, is_from_shoulder: first_mm.is_some(), bands }
        };
        let stretches = if bands.groups > 1 {
            let groups = procedure.joint.groups.iter().filter(|&&count| count > 0).enumerate();
            let asked_mm = |index| request.first_edge_mm.filter(|_| index == 0);
            let place = |index| procedure.places.get(index).copied();
            groups.map(|(index, &count)| stretch(count.into(), place(index), asked_mm(index))).collect()
        } else {
            vec![stretch(bands.count, procedure.places.first().copied(), request.first_edge_mm)]
        };
        Self { stretches, stagger_deg }
    }
}

impl PlacedBand {
    /// Does it lie, or one of its edges, beyond the end of a taper, on no joint at all?
    pub fn is_beyond(&self, joint_mm: f64) -> bool {
        let [near_mm, far_mm] = self.edge_diameters_mm;
        self.diameter_mm.min(near_mm).min(far_mm) < LEAST_SHARE * joint_mm
    }
    /// Is it laid on another diameter than that of the joint?
    pub fn is_on_another_diameter(&self, joint_mm: f64) -> bool {
        (self.diameter_mm / joint_mm - 1.0).abs() > SAME_DIAMETER
    }
}

/// The torch offset on this diameter: the procedure's, or the trade's at the same angle.
pub(super) fn torch_offset(procedure: &ProcedureFile, diameter_mm: f64) -> Option<(Chosen, Bounds)> {
    let own = procedure.setting(Subject::TorchOffset);
    let Some(setting) = procedure.setting_on(Subject::TorchOffset, Some(diameter_mm)) else {
        let (low, high) = formulas::benchmark_offset(diameter_mm);
        let value = f64::midpoint(low, high);
        return Some((Chosen { value, origin: Origin::BenchmarkAngle }, Bounds::between(low, high)));
    };
    let origin = if own == Some(&setting) { Origin::Procedure } else { Origin::SameAngle };
    Some((Chosen { value: setting.value_to_set()?, origin }, setting.allowed.or(setting.recommended)?))
}

/// Starts a quarter of a turn apart, where nobody says: no two ends above each other. Common practice, no source.
const USUAL_STAGGER_DEG: f64 = 90.0;
/// No taper goes below so much of its joint: the pipe begins before that. Common practice, no source.
const LEAST_SHARE: f64 = 0.5;
