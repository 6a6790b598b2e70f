//! Two procedures on the same traces.
//!
//! Decides: how a person reads what each finds, misses and cries, and how late.
//! Never: says which is better; what it costs is told for both.

use super::Results;
use super::results::Against;
use super::score_json::score;
use super::table::{HEADS, aligned, cells};
use crate::raw::seconds;
use crate::report::style::{BAD, BOLD, FAINT, line};
use crate::trial::bench::Difference;
use crate::trial::score::{Miss, RuleScore};
use crate::trial::tally::Fate;
use bandward::{Channel, Rule, Severity};
use serde_json::{Map, Value, json};

/// More faults than this are not listed as text.
const LISTED: usize = 60;

pub(super) fn text(text: &mut String, results: &Results<'_>, other: &Against) {
    line!(text, "\n{BOLD}Against {}{BOLD:#}", other.title);
    for warning in &other.warnings {
        line!(text, "{BAD}warning:{BAD:#} {warning}");
    }
    let heads = std::iter::once("").chain(HEADS).map(str::to_owned).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    let (own, others) = (results.as_it_is(), results.of_variant(other.variant));
    for (what, score) in [
        ("this, all", own.clone()),
        ("other, all", others.clone()),
        ("this, stops", own.of_stops(true)),
        ("other, stops", others.of_stops(true)),
        ("this, others", own.of_stops(false)),
        ("other, others", others.of_stops(false)),
    ] {
        rows.push([vec![what.to_owned()], cells(&score, results.sums)].concat());
    }
    for rule in Rule::ALL {
        let [own, others] = [results.sums.as_it_is(rule), results.sums.of_variant(other.variant, rule)];
        if own != others {
            rows.push([vec![format!("this, {}", rule.name())], cells(&own, results.sums)].concat());
            rows.push([vec![format!("other, {}", rule.name())], cells(&others, results.sums)].concat());
        }
    }
    text.push_str(&aligned(&rows));
    line!(text, "Cost: this {:.1}, the other {:.1}.", results.cost(&own), results.cost(&others));
    if other.differences.is_empty() {
        line!(text, "Every fault fares alike with both.");
    } else {
        line!(text, "\n{} faults fare otherwise:", other.differences.len());
    }
    for (trace, difference) in other.differences.iter().take(LISTED) {
        line!(
            text,
            "  {} at {:.2} s of {trace}: this {}; the other {}",
            difference.rule.name(),
            seconds(difference.start_us),
            fate_in_words(difference.rule, difference.this),
            fate_in_words(difference.rule, difference.other)
        );
    }
    if other.differences.len() > LISTED {
        line!(text, "{FAINT}and {} more{FAINT:#}", other.differences.len() - LISTED);
    }
}

fn fate_in_words(rule: Rule, fate: Fate) -> String {
    match fate {
        Fate::Found { by, hit } => {
            let by = if by == rule { String::new() } else { format!(" by {}", by.name()) };
            let stop = hit.stop_delay_us.map(|us| format!(", stopped after {:.2} s", seconds(us)));
            let stop = stop.unwrap_or_default();
            let (delay_s, stands_s) = (seconds(hit.delay_us), seconds(hit.stands_us));
            let stood = hit.stood_us.map(|us| format!(" (stood already, {:.2} s before)", seconds(us)));
            let stood = stood.unwrap_or_default();
            format!("found{by} after {delay_s:.2} s{stood}{stop}, active {stands_s:.2} s after its end")
        }
        Fate::Missed(Miss { only_warned: true, .. }) => "missed: only a warning, no stop".to_owned(),
        Fate::Missed(Miss { is_stop: true, .. }) => "missed: no stop".to_owned(),
        Fate::Missed(_) => "missed".to_owned(),
        Fate::NotJudged(_) => "not judged".to_owned(),
    }
}

pub(super) fn json(results: &Results<'_>, other: &Against) -> Value {
    let sound_us = results.sums.sound_us;
    let (own, others) = (results.as_it_is(), results.of_variant(other.variant));
    let pair = |own: &RuleScore, other: &RuleScore| json!({ "this": score(own, sound_us), "other": score(other, sound_us) });
    let rules: Map<_, _> = Rule::ALL
        .into_iter()
        .map(|rule| (rule, results.sums.as_it_is(rule), results.sums.of_variant(other.variant, rule)))
        .filter(|(_, own, others)| !own.is_empty() || !others.is_empty())
        .map(|(rule, own, others)| (rule.name().to_owned(), pair(&own, &others)))
        .collect();
    let false_alarms =
        [("this", &results.told), ("other", &other.told)].into_iter().flat_map(|(of, told)| {
            told.iter().filter(|(_, told)| told.is_false_alarm()).map(move |(trace, told)| {
                json!({
                    "trace": trace,
                    "rule": told.rule.name(),
                    "channel": told.channel.map(Channel::name),
                    "time_s": seconds(told.time_us),
                    "of": of,
                })
            })
        });
    json!({
        "procedure": other.title,
        "warnings": other.warnings,
        "all": pair(&own, &others),
        "stop": pair(&own.of_stops(true), &others.of_stops(true)),
        "warn": pair(&own.of_stops(false), &others.of_stops(false)),
        "rules": rules,
        "cost": { "this": results.cost(&own), "other": results.cost(&others) },
        "differences": other.differences.iter().map(difference).collect::<Vec<_>>(),
        "false_alarms": false_alarms.collect::<Vec<_>>(),
    })
}

fn difference((trace, difference): &(String, Difference)) -> Value {
    let severity = if difference.is_stop { Severity::Stop } else { Severity::Warn };
    json!({
        "trace": trace,
        "rule": difference.rule.name(),
        "severity": severity.name(),
        "start_s": seconds(difference.start_us),
        "end_s": seconds(difference.end_us),
        "this": fate(difference.this),
        "other": fate(difference.other),
    })
}

fn fate(fate: Fate) -> Value {
    match fate {
        Fate::Found { by, hit } => json!({
            "outcome": "found",
            "stops": hit.stop_delay_us.is_some(),
            "stop_delay_s": hit.stop_delay_us.map(seconds),
            "by": by.name(),
            "delay_s": seconds(hit.delay_us),
            "stood_already": hit.stood_us.is_some(),
            "stands_after_s": seconds(hit.stands_us),
        }),
        Fate::Missed(miss) => json!({
            "outcome": "missed",
            "only_warned": miss.only_warned,
            "by": null,
            "delay_s": null,
            "stands_after_s": null,
        }),
        Fate::NotJudged(_) => {
            json!({ "outcome": "not judged", "by": null, "delay_s": null, "stands_after_s": null })
        }
    }
}
