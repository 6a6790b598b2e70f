//! What is proposed: the values, and how they do where they were fitted and where they were not.
//!
//! Decides: how a person reads it, and what they paste into their procedure.
//! Assumes: the proposal was run beside the present settings.
//! Never: hides what it was fitted on.

use super::{HEADS, Proposal, Results, aligned, cells, false_alarms};
use crate::report::style::{BOLD, FAINT, line};
use crate::trial::Sums;
use crate::trial::knob::Key;
use crate::trial::score::RuleScore;
use bandward::Rule;

impl Proposal {
    /// All rules together: as it is, and as proposed.
    pub fn scores(&self, sums: &Sums) -> [RuleScore; 2] {
        let now = Sums::together(Rule::ALL.into_iter().map(|rule| sums.as_it_is(rule)));
        let proposed = self.plan.points.first().map_or_else(
            || now.clone(),
            |point| Sums::together(Rule::ALL.into_iter().map(|rule| sums.at(&self.plan, point, rule))),
        );
        [now, proposed]
    }
}

/// The proposal as text.
pub fn text(text: &mut String, results: &Results<'_>, proposal: &Proposal) {
    line!(text, "");
    if proposal.values.is_empty() {
        line!(text, "{BOLD}Proposed: leave it as it is.{BOLD:#}");
    } else {
        line!(text, "{BOLD}Proposed{BOLD:#}, for at most {} false alarms an hour:", results.budget_per_hour);
        for (knob, value) in &proposal.values {
            let now = knob.value(results.procedure).map(|now| knob.show(now, results.system));
            let now = now.unwrap_or_else(|| "not given".to_owned());
            line!(text, "  {knob}: {} in place of {now}", knob.show(*value, results.system));
        }
    }
    line!(text, "");
    let heads = std::iter::once("").chain(HEADS).map(str::to_owned).collect();
    let mut rows: Vec<Vec<String>> = vec![heads];
    for (name, sums) in [("fitted on", &proposal.fit), ("not fitted on", &proposal.held)] {
        let [now, proposed] = proposal.scores(sums);
        rows.push([vec![format!("{name}, as it is")], cells(&now, sums)].concat());
        rows.push([vec![format!("{name}, proposed")], cells(&proposed, sums)].concat());
    }
    text.push_str(&aligned(&rows));
    for (name, sums) in [("Fitted on", &proposal.fit), ("Not fitted on", &proposal.held)] {
        let [_, proposed] = proposal.scores(sums);
        line!(
            text,
            "{name} {} traces, proposed: {}",
            sums.traces,
            false_alarms(&proposed, sums, results.budget_per_hour)
        );
    }
    line!(
        text,
        "{FAINT}Of traces with the same faults every second one was kept out of the fitting. What is fitted on \
         made traces holds for joints like them.{FAINT:#}"
    );
    tables(text, proposal);
}

/// Tables for a procedure file.
fn tables(text: &mut String, proposal: &Proposal) {
    let mut open = None;
    for (knob, value) in &proposal.values {
        let key = match knob.key {
            Key::OnDelay => "on_delay",
            Key::OffDelay => "off_delay",
            Key::Deadband => "deadband",
            Key::Allowed | Key::Recommended | Key::Floor => continue,
        };
        if open != Some(knob.rule) {
            line!(text, "\n[alarm.{}]", knob.rule.name());
            open = Some(knob.rule);
        }
        let unit = knob.dimension().units().first().map_or("", |unit| unit.symbol);
        // To a millionth, as far as a setting goes.
        let value = (value * 1e6).round() / 1e6;
        line!(text, "{key} = \"{value} {unit}\"");
    }
}
