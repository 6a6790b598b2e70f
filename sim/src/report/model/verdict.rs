//! What stands at the top of everything people are shown.
//!
//! Decides: the words of the verdict.
//! Never: judges; it sums up what the core found. Green is a proof, never the absence of an alarm.

use super::meaning;
use crate::input::quantity::UnitSystem;
use crate::replay::Replay;
use bandward::record::joint::Shortfall;
use bandward::rule::RuleSet;
use bandward::{BandRecord, JointRecord, Outcome, Rule};

/// More bands, or joints, than this are counted, not listed.
const LISTED: usize = 12;

/// The verdict.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// What it comes to.
    pub outcome: Outcome,
    /// Is something wrong for which no procedure is needed?
    pub has_faults: bool,
    /// The words that matter.
    pub words: &'static str,
    /// The rest of the sentence.
    pub rest: String,
    /// Why it is not proven, a line each.
    pub reasons: Vec<String>,
}

/// The words for an outcome.
pub const fn words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::NotAsked => "NOT JUDGED",
        Outcome::Proven => "WITHIN THE PROCEDURE",
        Outcome::NotProven => "NOT PROVEN",
        Outcome::Broken => "OUTSIDE THE PROCEDURE",
    }
}

impl Verdict {
    /// Of a replay.
    pub fn of(replay: &Replay) -> Self {
        let outcome = replay.outcome();
        let of_trace = replay.outcome_of_trace();
        let rest = match outcome {
            Outcome::NotProven if of_trace < outcome && !replay.dossier.of_log.is_empty() => {
                format!(": {}; the log leaves it open", laid(replay))
            }
            Outcome::NotProven if of_trace < outcome => {
                let is_agreed = !replay.dossier.identity.has_costs();
                let open = if is_agreed { "leaves it open" } else { "does not agree" };
                format!(": {}; what came with the trace {open}", laid(replay))
            }
            Outcome::Broken if of_trace < outcome => format!(": {}", broken_beside(replay)),
            Outcome::NotAsked => {
                let none = replay.bands.is_empty();
                let found = if none { "no band".to_owned() } else { count(replay.bands.len(), "band") };
                let why =
                    if replay.limits_nothing() { "the procedure limits nothing" } else { "no procedure" };
                format!(": {found} found, {why}")
            }
            Outcome::Proven => format!(": {}, every limit judged and held", laid(replay)),
            Outcome::NotProven => format!(": {}; nothing broken, not everything seen", laid(replay)),
            Outcome::Broken if has_found(replay) => {
                format!(": {}; {}", broken(replay), inspected(replay))
            }
            Outcome::Broken => format!(": {}", broken(replay)),
        };
        Self {
            outcome,
            has_faults: replay.has_faults(),
            words: words(outcome),
            rest,
            reasons: reasons(replay),
        }
    }
}

/// What breaks the joint though its trace does not.
fn broken_beside(replay: &Replay) -> String {
    let is_set_wrong = replay.dossier.setup == Some(Outcome::Broken);
    let setup = is_set_wrong.then(|| "by the setup before the arc".to_owned());
    let inspected = has_found(replay).then(|| inspected(replay));
    inspected.into_iter().chain(setup).collect::<Vec<_>>().join("; ")
}

/// Did an inspection find something outside?
fn has_found(replay: &Replay) -> bool {
    replay.dossier.inspection.as_ref().is_some_and(|found| found.effect() == Outcome::Broken)
}

/// What costs the proof beside the trace, in words.
fn costs_beside(replay: &Replay) -> Vec<String> {
    let dossier = &replay.dossier;
    let mut costs = dossier.of_log.clone();
    costs.extend(dossier.identity.costs(UnitSystem::Metric));
    costs.extend(dossier.inspection.iter().flat_map(super::inspection::open));
    if dossier.setup == Some(Outcome::NotProven) {
        costs.push("the setup before the arc is not proven".to_owned());
    }
    costs
}

/// What an inspection found outside.
fn inspected(replay: &Replay) -> String {
    let Some(found) = &replay.dossier.inspection else { return "by inspection".to_owned() };
    let bad = found.checks.iter().filter(|check| check.verdict.outcome() == Outcome::Broken);
    let mut bad = super::inspection::together(bad);
    let more = bad.len().saturating_sub(LISTED);
    bad.truncate(LISTED);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("by inspection: {}{more}", bad.join(", "))
}

fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// Bands, and joints where there are several.
fn laid(replay: &Replay) -> String {
    let bands = count(replay.bands.len(), "band");
    if replay.joints.len() > 1 {
        format!("{bands} on {}", count(replay.joints.len(), "joint"))
    } else {
        bands
    }
}

/// The bands that are broken, by joint where there are several.
fn broken(replay: &Replay) -> String {
    let is_broken = |band: &&BandRecord| band.outcome == Outcome::Broken;
    let several = replay.joints.len() > 1;
    let places: Vec<String> =
        replay
            .bands
            .iter()
            .filter(is_broken)
            .map(|band| {
                if several {
                    format!("joint {} band {}", band.joint, band.band)
                } else {
                    band.band.to_string()
                }
            })
            .collect();
    let more = places.len().saturating_sub(LISTED);
    let listed = places[..places.len() - more].join(", ");
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let has_cooled_fast = replay.joints.iter().any(|joint| joint.broken.contains(Rule::CoolingFast));
    let bands = match (places.len(), several) {
        (0, _) if has_cooled_fast => return "cooled too fast after the last band".to_owned(),
        (0, _) => "between bands".to_owned(),
        (_, true) => format!("{listed}{more}"),
        (1, false) => format!("band {listed}"),
        (_, false) => format!("bands {listed}{more}"),
    };
    if has_cooled_fast { format!("{bands}; cooled too fast after the last band") } else { bands }
}

/// Why it is not all proven: of each joint what is missing, of each band the limits, told by their reason.
fn reasons(replay: &Replay) -> Vec<String> {
    let several = replay.joints.len() > 1;
    let mut reasons: Vec<String> = costs_beside(replay);
    for joint in &replay.joints {
        let name = if several { format!("joint {}: ", joint.joint) } else { String::new() };
        reasons.extend(joint.shortfalls.iter().map(|one| format!("{name}{}", shortfall(one, joint))));
        reasons.extend(cooling(joint).map(|why| format!("{name}{why}")));
        let bands = replay.bands.iter().filter(|band| band.joint == joint.joint);
        for (why, bands, rules) in by_reason(bands) {
            let bands = bands.iter().map(u16::to_string).collect::<Vec<_>>().join(", ");
            let rules = rules.iter().map(Rule::name).collect::<Vec<_>>().join(", ");
            reasons.push(format!("{name}band {bands}: {rules}: {why}"));
        }
    }
    let more = reasons.len().saturating_sub(LISTED);
    reasons.truncate(LISTED);
    if more > 0 {
        reasons.push(format!("and {more} more: --json lists all"));
    }
    reasons
}

/// Why it is not known how the joint cooled.
fn cooling(joint: &JointRecord) -> Option<String> {
    let rule = Rule::CoolingFast;
    let why = joint.cooling.why().filter(|_| joint.not_proven.contains(rule))?;
    Some(format!("after the last band: {}: {}", rule.name(), meaning::why(why, rule)))
}

fn shortfall(shortfall: Shortfall, joint: &JointRecord) -> String {
    let words = meaning::shortfall(shortfall);
    match shortfall {
        Shortfall::BandsMissing | Shortfall::BandsExtra => {
            format!("{words}: {} laid, {} wanted", joint.bands, joint.bands_expected)
        }
        _ => words.to_owned(),
    }
}

/// The limits that are not proven: bands with the same reason for the same rules together.
fn by_reason<'a>(bands: impl Iterator<Item = &'a BandRecord>) -> Vec<(String, Vec<u16>, RuleSet)> {
    let mut told: Vec<(String, Vec<u16>, RuleSet)> = Vec::new();
    for band in bands {
        let mut of_band: Vec<(String, RuleSet)> = Vec::new();
        let measuring = band.violated.iter().filter(|rule| rule.is_about_measuring());
        let faults = measuring.map(|rule| ("the measuring failed in the band".to_owned(), rule));
        let limits = band.not_proven();
        let open = band
            .proof
            .iter()
            .filter(|&(rule, _)| limits.contains(rule))
            .filter_map(|(rule, proof)| Some((meaning::why(proof.why()?, rule), rule)));
        for (why, rule) in faults.chain(open) {
            match of_band.iter_mut().find(|(known, _)| *known == why) {
                Some((_, rules)) => *rules = rules.with(rule),
                None => of_band.push((why, RuleSet::EMPTY.with(rule))),
            }
        }
        for (why, rules) in of_band {
            match told.iter_mut().find(|(known, _, same)| *known == why && *same == rules) {
                Some((_, bands, _)) => bands.push(band.band),
                None => told.push((why, vec![band.band], rules)),
            }
        }
    }
    told
}

/// What stands beside a band: its outcome and the rules that make it so.
pub fn of_band(band: &BandRecord) -> (&'static str, RuleSet) {
    match band.outcome {
        Outcome::NotAsked if band.violated.is_empty() => ("not judged", RuleSet::EMPTY),
        Outcome::NotAsked => ("not judged", band.violated),
        Outcome::Proven => ("within", RuleSet::EMPTY),
        Outcome::NotProven => ("NOT PROVEN", band.not_proven()),
        Outcome::Broken => ("OUTSIDE", band.broken()),
    }
}
