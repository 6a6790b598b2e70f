//! What a trial came to as one JSON object.
//!
//! Decides: the names of its fields.
//! Assumes: values in house units, named in the fields.
//! Never: leaves a setting out.

use super::Results;
use super::proposal::scores;
use crate::raw::seconds;
use crate::trial::Sums;
use crate::trial::bench::Proposal;
use crate::trial::score::{RuleScore, at_most_per_hour};
use crate::trial::suggest::{Because, Suggestion};
use crate::trial::tunable::Tunable;
use bandward::Rule;
use serde_json::{Map, Value, json};

/// The whole trial.
pub fn json(results: &Results<'_>) -> Value {
    let sums = results.sums;
    let rules: Map<_, _> = Rule::ALL
        .into_iter()
        .filter(|&rule| !sums.as_it_is(rule).is_empty())
        .map(|rule| (rule.name().to_owned(), score(sums.as_it_is(rule), sums)))
        .collect();
    let told: Vec<_> = results
        .told
        .iter()
        .map(|(trace, told)| {
            json!({
                "trace": trace,
                "what": if told.is_false_alarm { "false alarm" } else { "missed" },
                "rule": told.rule.name(),
                "channel": told.channel.map(bandward::Channel::name),
                "time_s": seconds(told.time_us),
            })
        })
        .collect();
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
        "all": score(&results.as_it_is(), sums),
        "stop": score(&results.of_rules_that_stop(), sums),
        "told": told,
        "sweep": (!results.sweeps.is_empty()).then(|| sweep(results)),
        "proposal": results.proposed.as_ref().map(|(why, proposal)| self::proposal(results, why, proposal)),
    })
}

fn score(score: &RuleScore, sums: &Sums) -> Value {
    let hours = (sums.sound_us > 0).then(|| sums.sound_hours());
    json!({
        "faults": score.faults(),
        "found": score.hits(),
        "missed": score.missed,
        "not_judged": score.not_judged,
        "false_alarms": score.false_alarms,
        "false_per_hour": hours.map(|hours| score.false_alarms as f64 / hours),
        "false_per_hour_at_most": hours.map(|hours| at_most_per_hour(score.false_alarms, hours)),
        "delay_median_s": score.delay_s(0.5),
        "delay_95_s": score.delay_s(0.95),
        "again": score.repeats,
        "beside": score.beside,
    })
}

fn tunable(tunable: Tunable) -> Value {
    json!({ "rule": tunable.rule.name(), "name": tunable.to_string(), "unit": tunable.unit() })
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
                "score": score(&results.at(point), results.sums),
            })
        })
        .collect();
    let tunables: Vec<_> = results.sweeps.iter().map(|sweep| tunable(sweep.tunable)).collect();
    let rules: Vec<_> = results.about.iter().map(Rule::name).collect();
    json!({ "knobs": tunables, "rules": rules, "settings": settings })
}

fn proposal(results: &Results<'_>, suggestion: &Suggestion, proposal: &Proposal) -> Value {
    let value = |(which, value): &(Tunable, f64)| json!({ "knob": tunable(*which), "present": which.value(results.procedure), "proposed": value });
    let changes: Vec<_> = suggestion
        .changes
        .iter()
        .map(|change| {
            json!({
                "values": change.values.iter().map(value).collect::<Vec<_>>(),
                "because": change.because.iter().map(because).collect::<Vec<_>>(),
            })
        })
        .collect();
    let thin = suggestion.thin.iter().map(|thin| {
        json!({
            "rule": thin.rule.name(),
            "good_welding_outside_s": thin.longest_s,
            "on_delay_s": thin.on_delay_s,
        })
    });
    let part = |sums: &Sums| {
        let [now, proposed] = scores(proposal, sums);
        json!({
            "traces": sums.traces,
            "without_fault_s": seconds(sums.sound_us),
            "as_it_is": score(&now, sums),
            "proposed": score(&proposed, sums),
        })
    };
    json!({
        "delay_allowance_s": results.wish.delay_allowance_s,
        "values": suggestion.values().iter().map(value).collect::<Vec<_>>(),
        "changes": changes,
        "thin_margins": thin.collect::<Vec<_>>(),
        "fitted_on": part(&proposal.fit),
        "not_fitted_on": part(&proposal.held),
    })
}

fn because(because: &Because) -> Value {
    match *because {
        Because::FindsMore { found, now } => json!({ "finds_more": { "found": found, "as_it_is": now } }),
        Because::FewerFalseAlarms { count, now } => {
            json!({ "fewer_false_alarms": { "count": count, "as_it_is": now } })
        }
        Because::WiderMargin { longest_s, margin } => {
            json!({ "wider_margin": { "good_welding_outside_s": longest_s, "on_delay_in_such_times": margin } })
        }
        Because::WiderDeadband { deviation } => json!({ "wider_deadband": { "deviation": deviation } }),
        Because::Sooner { by_s } => json!({ "sooner": { "by_s": by_s } }),
        Because::FewerRepeats { count, now } => {
            json!({ "fewer_repeats": { "count": count, "as_it_is": now } })
        }
    }
}
