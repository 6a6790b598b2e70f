//! What was judged of a trace, and what was not.
//!
//! Decides: which rules are told together.
//! Never: leaves out a rule that applied and was not judged.

use super::meaning;
use crate::replay::Replay;
use bandward::NotJudged;

/// Nominal rows a second.
pub fn sample_rate_hz(replay: &Replay) -> f64 {
    1e6 / f64::from(replay.trace.period_us)
}

/// Each reason why rules were not judged, with the rules.
pub fn reasons_not_judged(replay: &Replay) -> Vec<(String, Vec<&'static str>)> {
    let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for &(rule, reason) in replay.not_judged.iter().filter(|(_, reason)| *reason != NotJudged::NeverApplied) {
        let words = meaning::reason(reason, sample_rate_hz(replay));
        match reasons.iter_mut().find(|(known, _)| *known == words) {
            Some((_, rules)) => rules.push(rule.name()),
            None => reasons.push((words, vec![rule.name()])),
        }
    }
    reasons
}
