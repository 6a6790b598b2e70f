//! What is proposed: the values, why, and how they do where they were fitted and where they were not.
//!
//! Decides: how a person reads it, and what they paste into their procedure.
//! Assumes: the proposal was run beside the present settings.
//! Never: hides what it was fitted on.

use super::table::{HEADS, aligned, cells};
use super::{Results, false_alarms};
use crate::report::style::{BAD, BOLD, FAINT, line};
use crate::trial::Sums;
use crate::trial::bench::Proposal;
use crate::trial::margins::WIDE;
use crate::trial::score::RuleScore;
use crate::trial::suggest::{Because, Change, Suggestion};
use crate::trial::tunable::{Key, Tunable};
use bandward::Rule;

/// All rules together: as it is, and as proposed.
pub(super) fn scores(proposal: &Proposal, sums: &Sums) -> [RuleScore; 2] {
    let now = Sums::together(Rule::ALL.into_iter().map(|rule| sums.as_it_is(rule)));
    let proposed = proposal.plan.points.first().map_or_else(
        || now.clone(),
        |point| Sums::together(Rule::ALL.into_iter().map(|rule| sums.at(&proposal.plan, point, rule))),
    );
    [now, proposed]
}

/// The proposal as text.
pub(super) fn text(text: &mut String, results: &Results<'_>, suggestion: &Suggestion, proposal: &Proposal) {
    line!(text, "");
    if suggestion.changes.is_empty() {
        line!(
            text,
            "{BOLD}No change proposed.{BOLD:#} No setting that was tried finds more, or keeps further from \
             false alarms, or is sooner by more than {} s.",
            results.wish.delay_allowance_s
        );
    } else {
        let wish = results.wish;
        line!(
            text,
            "{BOLD}Proposed{BOLD:#}, for at most {} false alarms an hour; up to {} s later for a wider margin:",
            wish.budget_per_hour,
            wish.delay_allowance_s
        );
        suggestion.changes.iter().for_each(|change| one_change(text, results, change));
    }
    for thin in &suggestion.thin {
        line!(
            text,
            "  note: good welding was outside for `{}` up to {:.2} s at a time, and its on-delay is {} s: none that \
             finds as much outlasts that {WIDE} times within the allowance; check its range",
            thin.rule.name(),
            thin.longest_s,
            thin.on_delay_s
        );
    }
    line!(text, "");
    outcome(text, results, proposal);
    tables(text, &suggestion.values());
}

fn one_change(text: &mut String, results: &Results<'_>, change: &Change) {
    for (tunable, value) in &change.values {
        let now = tunable.value(results.procedure).map(|now| tunable.show(now, results.system));
        let now = now.unwrap_or_else(|| "not given".to_owned());
        line!(text, "  {tunable}: {} in place of {now}", tunable.show(*value, results.system));
    }
    let because: Vec<_> = change.because.iter().map(|because| words(results, change, *because)).collect();
    line!(text, "    {FAINT}{}{FAINT:#}", because.join("; "));
}

fn words(results: &Results<'_>, change: &Change, because: Because) -> String {
    match because {
        Because::FindsMore { found, now } => format!("finds {found} faults, not {now}"),
        Because::FewerFalseAlarms { count, now } => format!("{count} false alarms, not {now}"),
        Because::WiderMargin { longest_s, margin } => {
            let more = if margin >= WIDE { " or more" } else { "" };
            format!(
                "good welding was outside for up to {longest_s:.2} s at a time; the on-delay is {margin:.1} times \
                 that{more}"
            )
        }
        Because::WiderDeadband { deviation } => {
            let tunable = change
                .values
                .iter()
                .map(|(tunable, _)| *tunable)
                .find(|tunable| tunable.key == Key::Deadband);
            let deviation =
                tunable.map_or_else(String::new, |tunable| tunable.show(deviation, results.system));
            format!("on good welding the value wanders by {deviation} (standard deviation)")
        }
        Because::Sooner { by_s } => format!("{by_s:.2} s sooner"),
        Because::FewerRepeats { count, now } => format!("{count} alarms about what was known, not {now}"),
    }
}

/// How it does on both halves of the traces.
fn outcome(text: &mut String, results: &Results<'_>, proposal: &Proposal) {
    let parts = [("fitted on", &proposal.fit), ("not fitted on", &proposal.held)];
    let heads = std::iter::once("").chain(HEADS).map(str::to_owned).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    for (name, sums) in parts.into_iter().filter(|(_, sums)| sums.traces > 0) {
        let [now, proposed] = scores(proposal, sums);
        rows.push([vec![format!("{name}, as it is")], cells(&now, sums)].concat());
        rows.push([vec![format!("{name}, proposed")], cells(&proposed, sums)].concat());
    }
    text.push_str(&aligned(&rows));
    for (name, sums) in [("Fitted on", &proposal.fit), ("Not fitted on", &proposal.held)] {
        let [now, proposed] = scores(proposal, sums);
        if sums.traces == 0 {
            line!(text, "{BAD}No trace was kept out:{BAD:#} how it does on other traces is not known.");
            continue;
        }
        let budget_per_hour = results.wish.budget_per_hour;
        let verdict = false_alarms(&proposed, sums, budget_per_hour);
        let traces = if sums.traces == 1 { "trace" } else { "traces" };
        line!(text, "{name} {} {traces}, proposed: {verdict}", sums.traces);
        let is_over = proposed.false_alarms as f64 > budget_per_hour * sums.sound_hours();
        if proposed.missed > now.missed || (is_over && proposed.false_alarms > now.false_alarms) {
            line!(text, "{BAD}{name}, it does worse than what there is:{BAD:#} do not use it unchecked.");
        }
    }
    line!(
        text,
        "{FAINT}Of traces with the same faults every second one was kept out of the fitting. What is fitted on \
         made traces holds for joints like them.{FAINT:#}"
    );
}

/// Tables for a procedure file.
fn tables(text: &mut String, values: &[(Tunable, f64)]) {
    let mut open = None;
    for (tunable, value) in values {
        let key = match tunable.key {
            Key::OnDelay => "on_delay",
            Key::OffDelay => "off_delay",
            Key::Deadband => "deadband",
            Key::Allowed | Key::Recommended | Key::Floor => continue,
        };
        if open != Some(tunable.rule) {
            line!(text, "\n[alarm.{}]", tunable.rule.name());
            open = Some(tunable.rule);
        }
        // To a millionth, as far as a setting goes.
        let value = (value * 1e6).round() / 1e6;
        line!(text, "{key} = \"{value} {}\"", tunable.unit());
    }
}
