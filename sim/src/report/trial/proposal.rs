//! What is proposed: the values, what each of them brings, and how they do where they were not fitted.
//!
//! Decides: how a person reads it, and what is handed over to be used.
//! Assumes: the proposal was run beside the present settings.
//! Never: hands over values that were not confirmed on traces kept out.

use super::results::Proposed;
use super::score_json;
use super::table::{HEADS, aligned, cells_of};
use super::{Results, effect};
use crate::report::style::{BAD, BOLD, FAINT, line};
use crate::trial::margins::WIDE;
use crate::trial::proposal::{Part, Proposal};
use crate::trial::rerun::Compared;
use crate::trial::score::RuleScore;
use crate::trial::suggest::{LEAST_FAULTS, TooFew};
use crate::trial::tunable::{Key, Tunable};
use bandward::Rule;
use bandward::rule::RuleSet;
use serde_json::{Value, json};

/// The proposal as text.
pub(super) fn text(text: &mut String, results: &Results<'_>, proposed: &Proposed) {
    let proposal = &proposed.proposal;
    line!(text, "");
    if proposal.parts.is_empty() {
        line!(
            text,
            "{BOLD}No change proposed.{BOLD:#} No setting that may be used costs less than the present ones, on \
             the traces and on those kept out."
        );
    } else {
        let head = if proposal.is_confirmed() { "Proposed" } else { "Tried, and not proposed" };
        line!(text, "{BOLD}{head}{BOLD:#}, at most {} s later in the mean:", results.wish.delay_allowance_s);
    }
    for part in &proposal.parts {
        for (tunable, value) in &part.values {
            line!(
                text,
                "  {tunable}: {} in place of {}",
                shown(*tunable, *value, results),
                now(*tunable, results)
            );
        }
        let found = effect::found(part.hits, part.faults, part.found);
        line!(text, "    {FAINT}{}; {found}{FAINT:#}", effect::words(part));
    }
    for warning in warnings(proposal) {
        line!(text, "  {BAD}warning:{BAD:#} {warning}");
    }
    remarks(text, results, proposal);
    if proposal.parts.is_empty() {
        return;
    }
    line!(text, "");
    outcome(text, results, proposal);
    if let Some(why) = &proposal.why_not {
        line!(text, "{BAD}Not to be used:{BAD:#} {why}. No settings are printed.");
    }
    if let Some(tables) = &proposed.tables {
        line!(text, "\n{}", tables.trim_end());
    }
    if let Some(written) = &proposed.written {
        line!(text, "\nThe procedure with these values is in {written}.");
    }
}

/// What was not kept, what nothing is known about, and what comes near a false alarm.
fn remarks(text: &mut String, results: &Results<'_>, proposal: &Proposal) {
    for dropped in &proposal.dropped {
        let values = dropped.values.iter();
        let values: Vec<_> = values
            .map(|(tunable, value)| format!("{tunable} {}", shown(*tunable, *value, results)))
            .collect();
        line!(text, "  {FAINT}not kept: {}: {}{FAINT:#}", values.join(", "), dropped.why);
    }
    for (tunable, why) in &proposal.unchanged.not_loosened {
        line!(text, "  --loosen-stop {tunable} had no effect: {why}");
    }
    for thin in &proposal.thin {
        line!(
            text,
            "  note: good welding was outside for `{}` up to {:.2} s at a time, and its on-delay is {} s, less than \
             {WIDE} times that; check its range",
            thin.rule.name(),
            thin.longest_s,
            thin.on_delay_s
        );
    }
    let none: Vec<_> = proposal.too_few.iter().filter(|few| few.faults == 0).collect();
    if !none.is_empty() {
        let names: Vec<_> = none.iter().map(|few| few.rule.name()).collect();
        line!(text, "  no fault found by an alarm of its own, and nothing proposed: {}", names.join(", "));
    }
    for (what, rules) in left(results, proposal) {
        if !rules.is_empty() {
            line!(text, "  {what}, and nothing proposed: {}", rules.join(", "));
        }
    }
    for few in proposal.too_few.iter().filter(|few| few.faults > 0 || few.false_alarms > 0) {
        line!(text, "  {}: {}", few.rule.name(), too_few(few));
    }
}

/// The rules of which nothing else is said; of a sweep, those it tried.
fn left(results: &Results<'_>, proposal: &Proposal) -> [(&'static str, Vec<&'static str>); 2] {
    let names = |rules: RuleSet| rules.iter().map(Rule::name).collect::<Vec<_>>();
    let not_tried = proposal.unchanged.not_tried;
    let not_tried = if results.sweeps.is_empty() { names(not_tried) } else { Vec::new() };
    [
        ("no value that may be used costs less", names(proposal.unchanged.best_now)),
        ("about an instrument, not tried", not_tried),
    ]
}

fn too_few(few: &TooFew) -> String {
    let faults = match few.faults {
        0 => "no fault found by its own alarms".to_owned(),
        1 => "1 fault found by its own alarms".to_owned(),
        faults => format!("{faults} faults found by its own alarms"),
    };
    let alarms = match few.false_alarms {
        0 => String::new(),
        1 => ", 1 false alarm".to_owned(),
        alarms => format!(", {alarms} false alarms"),
    };
    format!("{faults}{alarms}; nothing is proposed from fewer than {LEAST_FAULTS} faults")
}

fn warnings(proposal: &Proposal) -> Vec<String> {
    let loosened = proposal.parts.iter().filter(|part| part.loosens_a_stop);
    let warning = |part: &Part| {
        let names: Vec<_> = part.values.iter().map(|(tunable, _)| tunable.to_string()).collect();
        format!(
            "{}: a stop comes later, on less or for less time, as was asked with --loosen-stop",
            names.join(", ")
        )
    };
    loosened.map(warning).collect()
}

fn shown(tunable: Tunable, value: f64, results: &Results<'_>) -> String {
    // Delays and deadbands are settings of their own; rounded for people they would read like one another.
    match tunable.key {
        Key::OnDelay | Key::OffDelay => format!("{} s", (value * 1e6).round() / 1e6),
        _ => tunable.show(value, results.system),
    }
}

fn now(tunable: Tunable, results: &Results<'_>) -> String {
    let now = tunable.value(results.procedure).map(|now| shown(tunable, now, results));
    now.unwrap_or_else(|| "not given".to_owned())
}

/// What a value was, and why it is another now, on one line.
pub fn why(results: &Results<'_>, part: &Part, tunable: Tunable) -> String {
    let found = effect::found(part.hits, part.faults, part.found);
    let warning = if part.loosens_a_stop { "WARNING, looser on a stop, as asked; " } else { "" };
    format!("tuned: {warning}was {}; {}; {found}", now(tunable, results), effect::words(part))
}

/// How it does on the traces it was fitted on, and on those kept out.
fn outcome(text: &mut String, results: &Results<'_>, proposal: &Proposal) {
    let parts = [("fitted on", Some(&proposal.fitted)), ("kept out", proposal.kept_out.as_ref())];
    let heads = std::iter::once("").chain(HEADS).map(str::to_owned).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    let mut costs = String::new();
    for (name, compared) in parts.into_iter().filter_map(|(name, compared)| Some((name, compared?))) {
        for (what, score) in [("as it is", &compared.now), ("proposed", &compared.proposed)] {
            rows.push([vec![format!("{name}, {what}")], cells_of(score, compared.sound_us)].concat());
        }
        let [now, proposed] = [&compared.now, &compared.proposed].map(|score| results.cost(score));
        line!(&mut costs, "Cost, {name}: {now:.1} as it is, {proposed:.1} proposed.");
    }
    text.push_str(&aligned(&rows));
    text.push_str(&costs);
    let weights = results.wish.costs;
    line!(
        text,
        "{FAINT}Cost: a missed stop {}, any other missed fault {}, a false alarm {}, a second later or longer active \
         {}. Kept out: each of {} parts of the traces with what is fitted on the others. What is fitted on made \
         traces holds for joints like them.{FAINT:#}",
        weights.missed_stop,
        weights.missed_warn,
        weights.false_alarm,
        weights.second,
        proposal.folds
    );
}

/// The proposal for machines.
pub(super) fn json(results: &Results<'_>, proposed: &Proposed) -> Value {
    let proposal = &proposed.proposal;
    let costs = &results.wish.costs;
    let value = |(which, value): &(Tunable, f64)| {
        json!({
            "knob": score_json::tunable(*which),
            "present": which.value(results.procedure),
            "proposed": value,
        })
    };
    let values = |values: &[(Tunable, f64)]| values.iter().map(value).collect::<Vec<_>>();
    let part = |part: &Part| {
        json!({
            "values": values(&part.values),
            "because": effect::because(part),
            "worst_late_s": part.worst_late_s,
            "loosens_stop": part.loosens_a_stop,
            "found": {
                "found": part.hits,
                "of": part.faults,
                "low": part.found.map(|share| share.low),
                "high": part.found.map(|share| share.high),
            },
            "effect": effect::json(&part.effect, costs),
            "held_out": { "cost_as_it_is": part.kept_out.0, "cost_proposed": part.kept_out.1 },
        })
    };
    let few = |few: &TooFew| {
        json!({
            "rule": few.rule.name(),
            "faults": few.faults,
            "false_alarms": few.false_alarms,
            "why": too_few(few),
        })
    };
    let confirmed = if proposal.is_confirmed() { proposal.values() } else { Vec::new() };
    let dropped = proposal.dropped.iter();
    let dropped = dropped.map(|dropped| json!({ "values": values(&dropped.values), "why": dropped.why }));
    let thin = proposal.thin.iter().map(|thin| {
        json!({
            "rule": thin.rule.name(),
            "good_welding_outside_s": thin.longest_s,
            "on_delay_s": thin.on_delay_s,
        })
    });
    json!({
        "confirmed": proposal.is_confirmed(),
        "why_not": proposal.why_not,
        "written": proposed.written,
        "delay_allowance_s": results.wish.delay_allowance_s,
        "folds": proposal.folds,
        "values": values(&confirmed),
        "changes": proposal.parts.iter().map(part).collect::<Vec<_>>(),
        "interplay": effect::json(&proposal.interplay, costs),
        "whole": effect::json(&proposal.whole, costs),
        "not_confirmed": dropped.collect::<Vec<_>>(),
        "nothing_proposed": proposal.too_few.iter().map(few).collect::<Vec<_>>(),
        "unchanged": left(results, proposal).into_iter().flat_map(|(why, rules)| {
            rules.into_iter().map(move |rule| json!({ "rule": rule, "why": why }))
        }).collect::<Vec<_>>(),
        "not_loosened": proposal.unchanged.not_loosened.iter().map(|(which, why)| {
            json!({ "knob": score_json::tunable(*which), "why": why })
        }).collect::<Vec<_>>(),
        "warnings": warnings(proposal),
        "thin_margins": thin.collect::<Vec<_>>(),
        "fitted_on": compared(results, &proposal.fitted),
        "not_fitted_on": proposal.kept_out.as_ref().map(|kept_out| compared(results, kept_out)),
    })
}

fn compared(results: &Results<'_>, compared: &Compared) -> Value {
    let score = |score: &RuleScore| score_json::score(score, compared.sound_us);
    let severity = |is_stop| {
        json!({
            "as_it_is": score(&compared.now.of_stops(is_stop)),
            "proposed": score(&compared.proposed.of_stops(is_stop)),
        })
    };
    json!({
        "traces": compared.traces,
        "without_fault_s": crate::raw::seconds(compared.sound_us),
        "as_it_is": score(&compared.now),
        "proposed": score(&compared.proposed),
        "cost_as_it_is": results.cost(&compared.now),
        "cost_proposed": results.cost(&compared.proposed),
        "by_severity": { "stop": severity(true), "warn": severity(false) },
    })
}
