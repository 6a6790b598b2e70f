//! The table of a trial: a row a rule, as text and for a page.
//!
//! Decides: which figures of a score are shown, and how.
//! Assumes: every row has as many cells as the first.
//! Never: counts.

use super::super::style::line;
use super::Results;
use crate::raw::seconds;
use crate::trial::Sums;
use crate::trial::score::{RuleScore, at_most_per_hour};
use bandward::Rule;

/// Heads of the figures of a score.
pub(super) const HEADS: [&str; 9] =
    ["faults", "found", "missed", "not judged", "false/h", "median s", "95 % s", "repeats", "secondary"];

/// The figures of a score.
pub(super) fn cells(score: &RuleScore, sums: &Sums) -> Vec<String> {
    let dash = || "-".to_owned();
    let count = |count: u64| if count == 0 { dash() } else { count.to_string() };
    let delay = |share| score.delay_s(share).map_or_else(dash, |delay_s| format!("{delay_s:.2}"));
    let rate = score.false_alarms as f64 / sums.sound_hours();
    let rate = if score.false_alarms == 0 { dash() } else { format!("{rate:.2}") };
    vec![
        count(score.faults()),
        count(score.hits()),
        count(score.missed),
        count(score.not_judged),
        rate,
        delay(0.5),
        delay(0.95),
        count(score.repeats),
        count(score.beside),
    ]
}

/// A row a rule, and one for all.
pub(super) fn rule_rows(results: &Results<'_>) -> Vec<Vec<String>> {
    let row = |name: &str, score: &RuleScore| [vec![name.to_owned()], cells(score, results.sums)].concat();
    let heads = std::iter::once("rule").chain(HEADS).map(str::to_owned).collect();
    let rules = Rule::ALL.into_iter().filter(|&rule| !results.sums.as_it_is(rule).is_empty());
    let rows = rules.map(|rule| row(rule.name(), results.sums.as_it_is(rule)));
    std::iter::once(heads).chain(rows).chain([row("all", &results.as_it_is())]).collect()
}

/// The first column to the left, the others to the right.
pub(super) fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.first().map_or(0, Vec::len);
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<_> = (0..columns).map(width).collect();
    let mut text = String::new();
    for row in rows {
        let padded = row.iter().zip(&widths).enumerate().map(|(column, (cell, &width))| {
            if column == 0 { format!("{cell:width$}") } else { format!("{cell:>width$}") }
        });
        line!(&mut text, "{}", padded.collect::<Vec<_>>().join("  ").trim_end());
    }
    text
}

/// The rules as a table for a page in Markdown.
pub fn markdown(results: &Results<'_>) -> String {
    let rows = rule_rows(results);
    let mut text = String::new();
    for (index, row) in rows.iter().enumerate() {
        line!(&mut text, "| {} |", row.join(" | "));
        if index == 0 {
            line!(&mut text, "|---|{}", "---:|".repeat(row.len() - 1));
        }
    }
    line!(&mut text, "");
    let sums = results.sums;
    let hours = sums.sound_hours();
    let count = results.as_it_is().false_alarms;
    line!(
        &mut text,
        "{} traces, {} samples, {:.2} h, {hours:.2} h of them without fault; {count} false alarms, with 95 % \
         confidence at most {:.2} an hour.",
        sums.traces,
        sums.samples,
        seconds(sums.duration_us) / 3600.0,
        at_most_per_hour(count, hours)
    );
    text
}
