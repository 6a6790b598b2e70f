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
pub(super) const HEADS: [&str; 13] = [
    "faults",
    "found",
    "found, %",
    "missed",
    "not judged",
    "false/h",
    "median s",
    "95 % s",
    "mean s",
    "after s",
    "repeats",
    "secondary",
    "late",
];

/// What the heads mean.
pub(super) const LEGEND: &str = "found, %: where the share lies with 95 % confidence; s: from the fault to its \
    alarm, the mean with the missed faults in it, each up to the end of its grace; after: how long an alarm is \
    still active after the fault, at most; repeats: further alarms about a fault that was found; secondary: \
    alarms of other rules while it lasted or in its grace; late: \
    alarms that a fault may bring later on, not counted as false, at this band or a later one";

/// The figures of a score.
pub(super) fn cells(score: &RuleScore, sums: &Sums) -> Vec<String> {
    cells_of(score, sums.sound_us)
}

/// The figures of a score of traces in which nothing was wrong for so long.
pub(super) fn cells_of(score: &RuleScore, sound_us: u64) -> Vec<String> {
    let dash = || "-".to_owned();
    let count = |count: u64| if count == 0 { dash() } else { count.to_string() };
    let time = |time_s: Option<f64>| time_s.map_or_else(dash, |time_s| format!("{time_s:.2}"));
    let rate = score.false_alarms as f64 / (sound_us as f64 / 3.6e9);
    let rate = if score.false_alarms == 0 { dash() } else { format!("{rate:.2}") };
    let share = score.share().map(|share| format!("{:.0}-{:.0}", share.low_percent(), share.high_percent()));
    vec![
        count(score.faults()),
        count(score.hits()),
        share.unwrap_or_else(dash),
        count(score.missed()),
        count(score.not_judged()),
        rate,
        time(score.delay_s(0.5)),
        time(score.delay_s(0.95)),
        time(score.mean_delay_s()),
        time(score.stands_s(1.0)),
        count(score.repeats),
        count(score.beside),
        count(score.late),
    ]
}

/// A row a rule, and one for all.
pub(super) fn rule_rows(results: &Results<'_>) -> Vec<Vec<String>> {
    let row = |name: &str, score: &RuleScore| [vec![name.to_owned()], cells(score, results.sums)].concat();
    let heads = std::iter::once("rule").chain(HEADS).map(str::to_owned).collect();
    let rules = Rule::ALL.into_iter().filter(|&rule| !results.sums.as_it_is(rule).is_empty());
    let rows = rules.map(|rule| row(rule.name(), &results.sums.as_it_is(rule)));
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
