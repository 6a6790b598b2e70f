//! What a trial came to as one JSON object.
//!
//! Decides: the names of its fields.
//! Assumes: values in house units, named in the fields.
//! Never: leaves a setting out.

use super::{Results, against, missed, proposal};
use crate::raw::seconds;
use crate::trial::marks::Mark;
use crate::trial::score::{RuleScore, at_most_per_hour};
use crate::trial::tunable::Tunable;
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

/// The figures of a score; `sound_us` is the time in which nothing was wrong.
pub(super) fn score(score: &RuleScore, sound_us: u64) -> Value {
    let hours = (sound_us > 0).then(|| sound_us as f64 / 3.6e9);
    let share = score.share();
    json!({
        "faults": score.faults(),
        "found": score.hits(),
        "found_share": share.map(|share| share.share),
        "found_share_low": share.map(|share| share.low),
        "found_share_high": share.map(|share| share.high),
        "missed": score.missed(),
        "not_judged": score.not_judged(),
        "false_alarms": score.false_alarms,
        "false_stops": score.false_stops,
        "false_per_hour": hours.map(|hours| score.false_alarms as f64 / hours),
        "false_per_hour_at_most": hours.map(|hours| at_most_per_hour(score.false_alarms, hours)),
        "delay_median_s": score.delay_s(0.5),
        "delay_95_s": score.delay_s(0.95),
        "delay_mean_s": score.mean_delay_s(),
        "delay_mean_found_s": score.mean_delay_of_found_s(),
        "stands_after_median_s": score.stands_s(0.5),
        "stands_after_most_s": score.stands_s(1.0),
        "stop_delay_median_s": score.stop_delay_s(0.5),
        "stop_delay_95_s": score.stop_delay_s(0.95),
        "only_warned": score.only_warned(),
        "stood_already": score.stood_already(),
        "again": score.repeats,
        "beside": score.beside,
        "late": score.late,
    })
}

/// What a number of a procedure is called.
pub(super) fn tunable(tunable: Tunable) -> Value {
    json!({ "rule": tunable.rule.name(), "name": tunable.to_string(), "unit": tunable.unit() })
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
