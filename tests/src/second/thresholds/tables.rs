//! The tables of the outside evidence for `trial --suggest`.
//!
//! Decides: what is shown of splits and of adversarial sets.

use super::adversarial::Outcome;
use super::bench::{Split, Start};
use super::count::{BySeverity, Count};
use std::fmt::Write;

/// Between these lines the README shows them.
pub const BEGINS: &str = "<!-- from trial-report --update -->\n";
/// As [`BEGINS`].
pub const ENDS: &str = "<!-- end of trial-report -->\n";

/// All splits of the starting procedures.
pub fn splits(rows: &[(Start, Vec<Split>)]) -> String {
    let mut text = "On the unseen halves, all splits together:\n\n\
                    | starting procedure | severity | faults | found before | after | false alarms an hour before | after | \
                    mean delay s before | after |\n|---|---|--:|--:|--:|--:|--:|--:|--:|\n"
        .to_owned();
    for (start, splits) in rows {
        for (at, severity) in ["stop", "warn"].into_iter().enumerate() {
            let sum = |of: &dyn Fn(&Split) -> BySeverity| {
                splits.iter().fold(Count::default(), |mut sum, split| {
                    sum.add(of(split)[at]);
                    sum
                })
            };
            line(&mut text, start.name(), severity, &sum(&|split| split.before), &sum(&|split| split.after));
        }
    }
    text.push_str(
        "\n| starting procedure | splits | with settings given out | settings changed | stop settings later, looser or milder | \
         stops later on unseen joints | splits with fewer found or more false alarms | contradictions |\n\
         |---|--:|--:|--:|--:|--:|--:|--:|\n",
    );
    for (start, splits) in rows {
        let count = |of: &dyn Fn(&Split) -> usize| splits.iter().map(of).sum::<usize>();
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            start.name(),
            splits.len(),
            count(&|split| usize::from(split.written)),
            count(&|split| split.changes.len()),
            count(&looser),
            count(&|split| split.later_stops.len()),
            count(&|split| usize::from(is_worse(split))),
            count(&|split| split.complaints.len()),
        );
    }
    text
}

/// Settings that make a stop later, looser or milder.
pub fn looser(split: &Split) -> usize {
    split.changes.iter().filter(|change| change.looser_stop).count()
}

fn is_worse(split: &Split) -> bool {
    split
        .before
        .iter()
        .zip(&split.after)
        .any(|(before, after)| after.found < before.found || after.false_alarms > before.false_alarms)
}

fn line(text: &mut String, start: &str, severity: &str, before: &Count, after: &Count) {
    let seconds = |count: &Count| count.delay_s().map_or("-".to_owned(), |delay_s| format!("{delay_s:.2}"));
    let _ = writeln!(
        text,
        "| {start} | {severity} | {} | {} | {} | {:.2} | {:.2} | {} | {} |",
        before.faults,
        before.found,
        after.found,
        before.false_per_hour(),
        after.false_per_hour(),
        seconds(before),
        seconds(after),
    );
}

/// The adversarial sets.
pub fn adversarial(rows: &[(String, Outcome)]) -> String {
    let mut text = "| joints to tune on | joints | faults | settings given out | about rules without a fault | \
                    stops later, looser or milder | rules told as having too few faults | told rate of one of one |\n\
                    |---|--:|--:|---|--:|--:|--:|---|\n"
        .to_owned();
    for (name, outcome) in rows {
        let interval =
            outcome.interval.map_or("-".to_owned(), |(low, high)| format!("{low:.3} to {high:.3}"));
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {} | {} | {} | {interval} |",
            outcome.joints,
            outcome.faults,
            if outcome.written { "yes" } else { "no" },
            outcome.unfounded.len(),
            outcome.looser_stops.len(),
            outcome.told,
        );
    }
    text
}

/// What is to be looked into: every looser or later stop, every contradiction, every unfounded change.
pub fn findings(rows: &[(Start, Vec<Split>)], sets: &[(String, Outcome)]) -> Vec<String> {
    let mut findings = Vec::new();
    for (start, splits) in rows {
        for (at, split) in splits.iter().enumerate() {
            let mut note =
                |words: String| findings.push(format!("{}, split {}: {words}", start.name(), at + 1));
            let loose = split.changes.iter().filter(|change| change.looser_stop);
            loose.for_each(|change| note(format!("looser stop: {}", change.what)));
            split.later_stops.iter().for_each(|stop| note(format!("later stop: {stop}")));
            split.complaints.iter().for_each(|words| note(words.clone()));
        }
    }
    for (name, outcome) in sets {
        outcome.unfounded.iter().for_each(|what| findings.push(format!("{name}: unfounded: {what}")));
        outcome.looser_stops.iter().for_each(|what| findings.push(format!("{name}: looser stop: {what}")));
    }
    findings
}
