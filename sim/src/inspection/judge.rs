//! What was found on finished bands, against the procedure.
//!
//! Decides: the verdict on each finding, and what the procedure limits and nobody inspected.
//! Assumes: the inspection is of the joint that was replayed; the caller has made sure.
//! Never: takes what was not measured for good.

use super::check::{Check, Found, Verdict, Wanted, check};
use super::cooling;
use super::course::HeightCourse;
use super::efficiency::{Compared, NoProposal, Proposal, propose};
use super::gauge::USUAL_AT_DEG;
use super::sheet::{InspectedBand, Inspection, Taken};
use crate::input::inspection_limits::Look;
use crate::input::procedure_file::ProcedureFile;
use crate::input::setting::Subject;
use crate::input::unit::Dimension;
use bandward::{Outcome, Quantity};

/// An inspection with its verdicts.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedInspection {
    /// What was found.
    pub inspection: Inspection,
    /// The joint of the log that it is of; 0 without a log.
    pub joint: u16,
    /// Everything that was looked at, or should have been.
    pub checks: Vec<Check>,
    /// Measured heights beside those that were to be expected.
    pub heights: Vec<Compared>,
    /// What they speak for.
    pub efficiency: Result<Proposal, NoProposal>,
    /// What in it cannot be: it costs the proof.
    pub doubts: Vec<String>,
}

impl JudgedInspection {
    /// Of an inspection, beside the heights expected of the bands of `joint` and the numbers of its bands and which of
    /// them open a group.
    pub fn of(
        inspection: &Inspection,
        procedure: Option<&ProcedureFile>,
        joint: u16,
        bands: &[(u16, bool)],
        courses: &[HeightCourse],
    ) -> Self {
        let inspection = inspection.clone();
        let mut checks = Vec::new();
        of_joint(&mut checks, &inspection, procedure, bands);
        for &(band, _) in bands {
            of_band(&mut checks, band, inspection.band(band), procedure);
        }
        let heights: Vec<_> = inspection.bands.iter().flat_map(|band| compared(band, courses)).collect();
        let is_measured = courses.iter().all(|course| course.is_feed_measured);
        let now = procedure.map_or(1.0, |file| file.wire.deposition_efficiency);
        let efficiency = propose(&heights, now, is_measured);
        let doubts = doubts(&inspection, bands);
        Self { inspection, joint, checks, heights, efficiency, doubts }
    }
    /// As bad as its worst finding.
    pub fn outcome(&self) -> Outcome {
        let found = self.checks.iter().map(|check| check.verdict.outcome()).max().unwrap_or_default();
        found.max(self.effect())
    }
    /// What it makes of the joint, at least. What is outside breaks it; what nobody can decide or compare, or what
    /// cannot be, costs its proof. What was not inspected leaves the trace's own proof as it is.
    pub fn effect(&self) -> Outcome {
        let looked_at = self.checks.iter().filter(|check| check.verdict != Verdict::NotInspected);
        let found = looked_at.map(|check| check.verdict.outcome()).filter(|one| *one > Outcome::Proven);
        let doubted = if self.doubts.is_empty() { Outcome::NotAsked } else { Outcome::NotProven };
        found.max().unwrap_or_default().max(doubted)
    }
    /// Findings that cost the proof and break nothing.
    pub fn open(&self) -> impl Iterator<Item = &Check> {
        self.checks
            .iter()
            .filter(|check| matches!(check.verdict, Verdict::Undecided | Verdict::NotCompared(_)))
    }
    /// By how much the bands are higher than was to be expected, mm: the mean of a band's readings, but for those
    /// that lie over its own start.
    pub fn higher_mm(&self, band: u16) -> Option<f64> {
        let readings = self.heights.iter().filter(|one| one.band == band && !one.is_overlapped);
        let off_by: Vec<f64> = readings.filter_map(|one| Some(one.measured_mm - one.expected_mm?)).collect();
        (!off_by.is_empty()).then(|| off_by.iter().sum::<f64>() / off_by.len() as f64)
    }
    /// What the procedure limits and nobody inspected.
    pub fn not_inspected(&self) -> impl Iterator<Item = &Check> {
        self.checks.iter().filter(|check| check.verdict == Verdict::NotInspected)
    }
}

/// What cannot be: bands that are not there, a joint that welding made thinner.
fn doubts(inspection: &Inspection, bands: &[(u16, bool)]) -> Vec<String> {
    let is_there = |band: u16| bands.iter().any(|(own, _)| *own == band);
    let strangers = inspection.bands.iter().map(|band| band.band).filter(|band| !is_there(*band));
    let mut doubts: Vec<String> =
        strangers.map(|band| format!("band {band} was inspected, and no such band was laid")).collect();
    let before = inspection.between.iter().map(|(band, _)| *band).filter(|band| !is_there(*band));
    doubts.extend(
        before.map(|band| format!("a temperature before band {band} was taken, and no such band was laid")),
    );
    let diameters = inspection.diameter_before_mm.zip(inspection.diameter_after_mm);
    if diameters.is_some_and(|(before_mm, after_mm)| after_mm < before_mm) {
        doubts.push("the diameter over the bands is smaller than that of the joint before".to_owned());
    }
    doubts
}

fn of_joint(
    checks: &mut Vec<Check>,
    inspection: &Inspection,
    procedure: Option<&ProcedureFile>,
    bands: &[(u16, bool)],
) {
    let setting = |quantity| procedure.and_then(|file| file.setting(Subject::Judged(quantity))).copied();
    let length = |size: Option<f64>| size.map_or(Found::Nothing, |mm| Found::Size(mm, Dimension::Length));
    let temperature = |taken: Option<Taken>| {
        taken.map_or(Found::Nothing, |taken| Found::Size(taken.temperature_c, Dimension::Temperature))
    };
    let mut add = |title, band, found, wanted| checks.extend(check(title, band, None, found, wanted));
    add("diameter before", None, length(inspection.diameter_before_mm), Wanted::Nothing);
    let after = procedure.and_then(|file| file.inspection.diameter_after);
    let after = after.map_or(Wanted::Nothing, |bounds| Wanted::Bounds(bounds, Dimension::Length));
    add("diameter after", None, length(inspection.diameter_after_mm), after);
    let wanted = |quantity| setting(quantity).map_or(Wanted::Nothing, Wanted::Setting);
    add("preheat", None, temperature(inspection.preheat), wanted(Quantity::Preheat));
    let later = bands.iter().filter(|(_, opens_group)| !opens_group).map(|(band, _)| *band);
    let told = inspection.between.iter().map(|(band, _)| *band);
    let mut before: Vec<u16> = later.chain(told).collect();
    before.sort_unstable();
    before.dedup();
    for band in before {
        let taken = inspection.between.iter().find(|(own, _)| *own == band).map(|(_, taken)| *taken);
        add("between bands, before", Some(band), temperature(taken), wanted(Quantity::Interpass));
    }
    checks.extend(cooling::checked(inspection.cooling, procedure));
}

fn of_band(
    checks: &mut Vec<Check>,
    band: u16,
    inspected: Option<&InspectedBand>,
    procedure: Option<&ProcedureFile>,
) {
    let limits = procedure.map(|file| file.inspection).unwrap_or_default();
    let height = procedure.and_then(|file| file.setting(Subject::Judged(Quantity::BandHeight))).copied();
    let height = height.map_or(Wanted::Nothing, Wanted::Setting);
    let width = limits.width.map_or(Wanted::Nothing, |bounds| Wanted::Bounds(bounds, Dimension::Length));
    let at_deg = inspected.map_or(&USUAL_AT_DEG[..], |one| &one.at_deg);
    let gauged = [
        ("height", height, inspected.map(|one| &one.heights_mm)),
        ("width", width, inspected.map(|one| &one.widths_mm)),
    ];
    for (title, wanted, sizes) in gauged {
        for (place, at) in at_deg.iter().copied().enumerate() {
            let size = sizes.and_then(|sizes| sizes.get(place).copied().flatten());
            let found = size.map_or(Found::Nothing, |mm| Found::Size(mm, Dimension::Length));
            checks.extend(check(title, Some(band), Some(at), found, wanted));
        }
    }
    let hardness = if limits.has_hardness() {
        Wanted::Hardness(limits.hardness_low, limits.hardness_high)
    } else {
        Wanted::Nothing
    };
    let readings = inspected.map_or(&[][..], |one| &one.hardness);
    if readings.is_empty() {
        checks.extend(check("hardness", Some(band), None, Found::Nothing, hardness));
    }
    for reading in readings {
        checks.extend(check("hardness", Some(band), None, Found::Hardness(*reading), hardness));
    }
    for (index, look) in Look::ALL.into_iter().enumerate() {
        let found =
            inspected.and_then(|one| one.looks[index]).map_or(Found::Nothing, |rank| Found::Look(look, rank));
        let wanted = limits.worst[index].map_or(Wanted::Nothing, |worst| Wanted::NoWorse(look, worst));
        checks.extend(check(look.key(), Some(band), None, found, wanted));
    }
}

/// The gauge readings of a band beside what was to be expected there.
fn compared(band: &InspectedBand, courses: &[HeightCourse]) -> Vec<Compared> {
    let course = courses.iter().find(|course| course.band == band.band);
    let reading = |(index, at_deg): (usize, f64)| {
        let width_mm = band.widths_mm.get(index).copied().flatten();
        let width = width_mm.zip(course.and_then(|course| course.width_mm));
        Some(Compared {
            band: band.band,
            at_deg,
            measured_mm: band.heights_mm.get(index).copied().flatten()?,
            within_mm: band.height_steps_mm.get(index).copied().unwrap_or(0.0),
            expected_mm: course.and_then(|course| course.at(at_deg)),
            width_ratio: width.map(|(measured, expected)| measured / expected),
            is_overlapped: course.is_some_and(|course| course.is_overlapped(at_deg)),
        })
    };
    band.at_deg.iter().copied().enumerate().filter_map(reading).collect()
}
