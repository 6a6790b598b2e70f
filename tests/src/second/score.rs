//! Was a fault found?
//!
//! Decides: which alarm tells which fault, and how late.
//! Assumes: an alarm of an expected rule, raised while the fault lasts or shortly after, tells it.

use super::truth::FaultTruth;
use super::watched::{Signed, Watched};
use bandward::Severity;

/// How long after a fault an alarm may still be its own, s: rules that wait for a band's end, and gas after it.
const AFTERWARDS_S: f64 = 25.0;
/// An alarm may come so long before, where pre-flow is told as the arc starts, s.
const BEFORE_S: f64 = 1.0;

/// What came of one fault.
#[derive(Clone, Copy, Debug)]
pub struct Score {
    /// Seconds from leaving the range (or from the start, where nothing measures it) to the alarm.
    pub delay_s: Option<f64>,
    /// Did it take its quantity out of the allowed range at all?
    pub breaks_limit: bool,
    /// Was the joint not signed green?
    pub not_green: bool,
    /// Place of its cause among all found, from 0.
    pub cause_at: Option<usize>,
    /// A rule that warned or stopped, and should not have.
    pub other_rule: Option<&'static str>,
}

/// Scores a fault.
pub fn score(truth: &FaultTruth, watched: &Watched) -> Score {
    let facts = truth.fault.facts();
    let is_loud = |severity: Severity| severity >= Severity::Warn;
    let loud = || watched.alarms.iter().filter(|alarm| is_loud(alarm.severity));
    let from_s = truth.outside_s.or(truth.start_s);
    let until_s = truth.end_s.unwrap_or(f64::INFINITY) + AFTERWARDS_S;
    let tells = |from_s: f64| {
        loud()
            .filter(|alarm| facts.rules.contains(&alarm.rule))
            .find(|alarm| alarm.until_s >= from_s - BEFORE_S && alarm.raised_s <= until_s)
    };
    Score {
        delay_s: from_s.and_then(|from_s| Some((tells(from_s)?.raised_s - from_s).max(0.0))),
        breaks_limit: facts.gauge.is_none() || truth.outside_s.is_some(),
        not_green: watched.signed != Signed::Proven,
        cause_at: watched.causes.iter().position(|(cause, _)| facts.causes.contains(cause)),
        other_rule: loud().find(|alarm| !facts.rules.contains(&alarm.rule)).map(|alarm| alarm.rule),
    }
}
