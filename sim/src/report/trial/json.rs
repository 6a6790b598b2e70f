//! What a trial came to as one JSON object.
//!
//! Decides: the names of its fields.
//! Assumes: values in house units, named in the fields.
//! Never: leaves a setting out.

use super::score_json::{score, tunable};
use super::{Results, against, missed, proposal};
use crate::raw::seconds;
use crate::trial::marks::Mark;
use bandward::Rule;
use serde_json::{Map, Value, json};

/// The whole trial.
pub fn json(results: &Results<'_>) -> Value {
    let sums = results.sums;
    let rules: Map<_, _> = Rule::ALL
        .into_iter()
        .filter(|&rule| !sums.as_it_is(rule).is_empty())
        .map(|rule| (rule.name().to_owned(), score(&sums.as_it_is(rule), sums.sound_us)))
        .collect();
    let told: Vec<_> = results.told.iter().map(|(trace, told)| missed::json(trace, told)).collect();
    let (all, costs) = (results.as_it_is(), results.wish.costs);
    json!({
        "procedure": results.title,
        "severity": results.severity.name(),
        "grace_s": results.grace_s,
        "budget_per_hour": results.wish.budget_per_hour,
        "traces": sums.traces,
        "samples": sums.samples,
        "duration_s": seconds(sums.duration_us),
        "without_fault_s": seconds(sums.sound_us),
        "rules": rules,
        "all": score(&all, sums.sound_us),
        "stop": score(&all.of_stops(true), sums.sound_us),
        "warn": score(&all.of_stops(false), sums.sound_us),
        "costs": {
            "missed_stop": costs.missed_stop,
            "missed_warn": costs.missed_warn,
            "false_alarm": costs.false_alarm,
            "second": costs.second,
        },
        "cost": results.cost(&all),
        "told": told,
        "without_rule": without_rule(results),
        "sweep": (!results.sweeps.is_empty()).then(|| sweep(results)),
        "proposal": results.proposed.as_ref().map(|proposed| proposal::json(results, proposed)),
        "against": results.against.as_ref().map(|other| against::json(results, other)),
    })
}

/// What was wrong that no rule is about.
fn without_rule(results: &Results<'_>) -> Vec<Value> {
    let span = |(trace, mark): &(String, Mark)| {
        json!({
            "trace": trace,
            "kind": mark.kind,
            "start_s": seconds(mark.start_us),
            "end_s": seconds(mark.end_us),
        })
    };
    results.without_rule.iter().map(span).collect()
}

fn sweep(results: &Results<'_>) -> Value {
    let settings: Vec<_> = results
        .plan
        .points
        .iter()
        .map(|point| {
            json!({
                "values": point.values.iter().map(|(_, value)| value).collect::<Vec<_>>(),
                "as_it_is": results.is_present(point),
                "score": score(&results.at(point), results.sums.sound_us),
            })
        })
        .collect();
    let tunables: Vec<_> = results.sweeps.iter().map(|sweep| tunable(sweep.tunable)).collect();
    let rules: Vec<_> = results.about.iter().map(Rule::name).collect();
    json!({ "knobs": tunables, "rules": rules, "settings": settings })
}
