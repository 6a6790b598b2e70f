//! The repair list: where a joint is to be ground, gouged or welded again, and why.
//!
//! Decides: which alarms are one bad stretch, where it is on the band, and what to do by the [`table`].
//! Assumes: alarms about the weld that warned or stopped; what was merely advised needs no repair.
//! Never: replaces the shop's qualified procedure, nor calls a place sound that no alarm named.

pub mod circle;
pub mod table;

use crate::alarm::Alarm;
use crate::findings::{Finding, Place};
use crate::inspection::{Check, Found, JudgedInspection, Verdict};
use crate::raw::value;
use bandward::{BandRecord, Rule, Severity};
use circle::{Arc, joined};
use std::f64::consts::PI;
use table::{Action, Extent, action};

/// Where something is to be repaired.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Whereabouts {
    /// From an angle round from the tie-in to another, in the direction of travel; over the tie-in where the first
    /// is the larger.
    Stretch {
        /// Where it begins, degrees.
        from_deg: f64,
        /// Where it ends, degrees.
        to_deg: f64,
        /// The same along the top of the band, mm, where its diameter is known.
        along_mm: Option<(f64, f64)>,
    },
    /// All round the band.
    AllRound,
    /// The trace does not tell the angle; from one time to another, µs.
    Unknown {
        /// When it began.
        from_us: u64,
        /// When it was over.
        to_us: u64,
    },
    /// All of the joint.
    Joint,
    /// Where the inspector found it: the inspection does not say where.
    AsFound,
}

/// The side of a band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BandSide {
    /// Towards the shoulder of the joint.
    Shoulder,
    /// Towards the band that was laid before, where the shoulder is not known.
    BandBefore(u16),
}

/// One entry of the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Repair {
    /// The joint of the log, from 1.
    pub joint: u16,
    /// The band, from 1; 0 for all of the joint.
    pub band: u16,
    /// Where.
    pub whereabouts: Whereabouts,
    /// Which side of the band, where that is known.
    pub side: Option<BandSide>,
    /// The worst alarm in it.
    pub severity: Severity,
    /// The alarms in it.
    pub rules: Vec<Rule>,
    /// What is to be expected and what to do, the worst first.
    pub actions: Vec<&'static Action>,
    /// What an inspector found, where it is in the list for that.
    pub found: Option<String>,
    /// The likeliest cause, where one was found.
    pub cause: Option<&'static str>,
}

/// What is known of the bands besides their records.
#[derive(Clone, Copy)]
pub struct Known<'a> {
    /// Diameter that a band is laid on, mm.
    pub diameter_mm: &'a dyn Fn(u16) -> Option<f64>,
    /// Are bands counted from the shoulder?
    pub is_from_shoulder: bool,
}

/// The list of a trace, worst first within each band.
pub fn list(bands: &[BandRecord], alarms: &[Alarm], findings: &[Finding], known: &Known<'_>) -> Vec<Repair> {
    let bad: Vec<(&Alarm, &'static Action)> = alarms
        .iter()
        .filter(|alarm| alarm.severity >= Severity::Warn)
        .filter_map(|alarm| Some((alarm, action(alarm.rule)?)))
        .collect();
    let mut repairs = Vec::new();
    for record in bands {
        let of_band =
            bad.iter().filter(|(alarm, _)| (alarm.joint, alarm.band) == (record.joint, record.band));
        let of_band: Vec<_> = of_band.filter(|(_, action)| action.extent != Extent::Joint).copied().collect();
        band(&mut repairs, record, &of_band, findings, known);
    }
    let is_of_no_band =
        |alarm: &Alarm| !bands.iter().any(|record| (record.joint, record.band) == (alarm.joint, alarm.band));
    let whole = bad.iter().filter(|(alarm, action)| action.extent == Extent::Joint || is_of_no_band(alarm));
    let mut joints: Vec<u16> = whole.clone().map(|(alarm, _)| alarm.joint).collect();
    joints.sort_unstable();
    joints.dedup();
    for joint in joints {
        let of: Vec<_> = whole.clone().filter(|(alarm, _)| alarm.joint == joint).copied().collect();
        repairs.push(entry((joint, 0), Whereabouts::Joint, &of, findings, known));
    }
    repairs
}

/// What an inspector found by eye that is worse than allowed, or that the procedure says nothing of.
pub fn of_inspection(inspection: &JudgedInspection) -> Vec<Repair> {
    let of = |check: &Check| {
        let Found::Look(look, rank) = check.found else { return None };
        let is_bad = matches!(check.verdict, Verdict::Worse | Verdict::Undecided);
        let word = look.words().get(rank).filter(|_| is_bad)?;
        Some(Repair {
            joint: inspection.joint,
            band: check.band?,
            whereabouts: Whereabouts::AsFound,
            side: None,
            severity: Severity::Warn,
            rules: Vec::new(),
            actions: table::after_look(look).into_iter().collect(),
            found: Some(format!("by inspection: {}: {word}", look.key())),
            cause: None,
        })
    };
    inspection.checks.iter().filter_map(of).collect()
}

type Bad<'a> = (&'a Alarm, &'static Action);

fn band(
    repairs: &mut Vec<Repair>,
    record: &BandRecord,
    bad: &[Bad<'_>],
    findings: &[Finding],
    known: &Known<'_>,
) {
    let place = (record.joint, record.band);
    let (mut arcs, mut lost, mut round) = (Vec::new(), Vec::new(), Vec::new());
    for &(alarm, action) in bad {
        match span(alarm, action.extent, record) {
            _ if action.extent == Extent::Band => round.push((alarm, action)),
            Some((from_deg, to_deg)) => arcs.push(Arc::new(from_deg, to_deg, (alarm, action))),
            None => lost.push((alarm, action)),
        }
    }
    let height_mm = record.band_height.map_or(0.0, value);
    let circumference_mm = (known.diameter_mm)(record.band).map(|diameter| PI * (diameter + 2.0 * height_mm));
    let along = |deg: f64| circumference_mm.map(|all| all * deg / 360.0);
    for arc in joined(arcs) {
        let whereabouts = if arc.is_all_round() {
            Whereabouts::AllRound
        } else {
            let (from_deg, to_deg) = (arc.from_deg, arc.to_deg());
            Whereabouts::Stretch { from_deg, to_deg, along_mm: along(from_deg).zip(along(to_deg)) }
        };
        repairs.push(entry(place, whereabouts, &arc.of, findings, known));
    }
    if !round.is_empty() {
        repairs.push(entry(place, Whereabouts::AllRound, &round, findings, known));
    }
    if !lost.is_empty() {
        let from_us = lost.iter().map(|(alarm, _)| alarm.onset_us).min().unwrap_or(record.start_us);
        let to_us = lost.iter().map(|(alarm, _)| alarm.cleared_us.unwrap_or(record.end_us)).max();
        let to_us = to_us.unwrap_or(record.end_us).min(record.end_us).max(from_us);
        repairs.push(entry(place, Whereabouts::Unknown { from_us, to_us }, &lost, findings, known));
    }
}

/// From where to where, degrees turned since the band began; nothing where the trace does not tell.
fn span(alarm: &Alarm, extent: Extent, record: &BandRecord) -> Option<(f64, f64)> {
    let turned = record.turned.map(|turned| value(turned).max(0.0));
    match extent {
        Extent::Start => turned.map(|_| (0.0, alarm.gas_came_at.map_or(0.0, |came| value(came).max(0.0)))),
        Extent::End => turned.map(|turned| (turned.min(360.0), turned.max(360.0))),
        Extent::Stretch | Extent::Band | Extent::Joint | Extent::Found | Extent::Nowhere => {
            let from = value(alarm.bad_from.or(alarm.turned)?).max(0.0);
            let to = alarm.cleared_at.map(|cleared| value(cleared).max(0.0)).or(turned)?;
            Some((from, to.max(from)))
        }
    }
}

fn entry(
    (joint, band): (u16, u16),
    whereabouts: Whereabouts,
    bad: &[Bad<'_>],
    findings: &[Finding],
    known: &Known<'_>,
) -> Repair {
    let mut bad: Vec<_> = bad.to_vec();
    bad.sort_by_key(|(alarm, _)| (std::cmp::Reverse(alarm.severity), alarm.onset_us));
    let (mut rules, mut actions): (Vec<Rule>, Vec<&'static Action>) = (Vec::new(), Vec::new());
    for &(alarm, action) in &bad {
        if !rules.contains(&alarm.rule) {
            rules.push(alarm.rule);
        }
        if !actions.contains(&action) {
            actions.push(action);
        }
    }
    let is_beside_another = rules.iter().any(|rule| matches!(rule, Rule::StepOverLow | Rule::StepOverHigh));
    let side = match (is_beside_another && band > 1, known.is_from_shoulder) {
        (true, true) => Some(BandSide::Shoulder),
        (true, false) => Some(BandSide::BandBefore(band - 1)),
        (false, _) => None,
    };
    let is_here = |place: &&Place| {
        place.band == band
            && bad.iter().any(|(alarm, _)| {
                place.from_us <= alarm.cleared_us.unwrap_or(u64::MAX) && alarm.onset_us <= place.to_us
            })
    };
    // The likeliest here; of two alike, that of the joint.
    let of_joint = findings.iter().rev().filter(|finding| finding.joint == joint);
    let here = of_joint.filter_map(|finding| Some((finding.words, finding.places().find(is_here)?.score)));
    let cause = here.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(words, _)| words);
    let severity = bad.first().map_or(Severity::Warn, |(alarm, _)| alarm.severity);
    Repair { joint, band, whereabouts, side, severity, rules, actions, found: None, cause }
}
