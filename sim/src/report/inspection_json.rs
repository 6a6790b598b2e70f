//! A judged inspection as JSON, for machines.
//!
//! Decides: the keys; sizes are in the house unit named beside them.
//! Never: leaves a key out; what is not known is `null`.

use super::model::inspection::{found, not_inspected, subject, wanted};
use super::rounded::rounded;
use crate::input::quantity::UnitSystem;
use crate::inspection::efficiency::{Compared, NoProposal, Proposal};
use crate::inspection::sheet::Taken;
use crate::inspection::{Check, Found, JudgedInspection, Verdict};
use crate::within::within;
use serde_json::{Value, json};

/// The inspection as one object.
pub fn json(inspection: &JudgedInspection) -> Value {
    let of = &inspection.inspection;
    json!({
        "file": of.file,
        "sha256": of.sha256,
        "joint": (inspection.joint > 0).then_some(inspection.joint),
        "by": of.by,
        "date": of.date,
        "outcome": inspection.outcome().name(),
        "within_procedure": within(inspection.outcome()),
        "preheat": of.preheat.map(taken),
        "between_bands": of.between.iter().map(|(band, one)| {
            json!({ "before_band": band, "temperature_c": rounded(one.temperature_c), "at": time(one) })
        }).collect::<Vec<_>>(),
        "cooling": of.cooling.map(|[from, to]| json!({ "from": taken(from), "to": taken(to) })),
        "findings": inspection.checks.iter().map(check).collect::<Vec<_>>(),
        "not_inspected": not_inspected(inspection),
        "heights": inspection.heights.iter().map(height).collect::<Vec<_>>(),
        "deposition_efficiency": inspection.efficiency.ok().map(|proposal| proposed(&proposal)),
        "deposition_efficiency_reason": inspection.efficiency.err().map(NoProposal::words),
        "doubts": inspection.doubts,
    })
}

fn taken(taken: Taken) -> Value {
    json!({ "temperature_c": rounded(taken.temperature_c), "at": time(&taken) })
}

fn time(taken: &Taken) -> Option<String> {
    taken.at.map(|at| at.to_string())
}

fn check(check: &Check) -> Value {
    let number = match check.found {
        Found::Size(size, _) => Some(rounded(size)),
        Found::Hardness(hardness) => Some(rounded(hardness.number)),
        Found::Nothing | Found::Look(..) => None,
    };
    let verdict = match check.verdict {
        Verdict::Within => "within",
        Verdict::Departs(left) => left.severity.name(),
        Verdict::Worse => "worse than allowed",
        Verdict::NotInspected => "not inspected",
        Verdict::Undecided => "undecided",
        Verdict::NotCompared(_) => "not compared",
        Verdict::NotAsked => "not asked",
    };
    json!({
        "what": subject(check),
        "title": check.title,
        "band": check.band,
        "at_deg": check.at_deg.map(rounded),
        "value": number,
        "found": found(check, UnitSystem::Metric),
        "wanted": Some(wanted(check, UnitSystem::Metric)).filter(|words| !words.is_empty()),
        "verdict": verdict,
    })
}

fn height(one: &Compared) -> Value {
    json!({
        "band": one.band,
        "at_deg": rounded(one.at_deg),
        "measured_mm": rounded(one.measured_mm),
        "expected_mm": one.expected_mm.map(rounded),
        "difference_mm": one.expected_mm.map(|expected| rounded(one.measured_mm - expected)),
        "width_ratio": one.width_ratio.map(rounded),
        "ratio": one.ratio().map(rounded),
    })
}

fn proposed(proposal: &Proposal) -> Value {
    let [low, high] = proposal.interval().map(rounded);
    json!({
        "ratio": rounded(proposal.ratio),
        "standard_error": rounded(proposal.standard_error),
        "bands": proposal.bands,
        "readings": proposal.readings,
        "now": rounded(proposal.now),
        "proposed": rounded(proposal.efficiency()),
        "low": low,
        "high": high,
        "is_a_change": proposal.is_a_change(),
        "is_possible": proposal.is_possible(),
        "is_sure": proposal.is_sure(),
    })
}
