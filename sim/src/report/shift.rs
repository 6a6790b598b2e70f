//! What many logs come to, as text: what stands before the joints, and what stands after them.
//!
//! Decides: the order: verdict, stops, machines, rules, and the logs that failed at the end.
//! Assumes: colours are taken out by the caller where they are not wanted.
//! Never: leaves a log that failed uncounted, nor says by colour alone what words do not say.

use super::fit::fit;
use super::model::alarms::place_and_time;
use super::model::verdict::words;
use super::style::{BAD, BOLD, GOOD, OPEN, line};
use crate::shift::{Shift, Tally};
use bandward::Outcome;

/// Stops listed at a terminal; more are counted.
const LISTED: usize = 20;

/// What stands before the joints.
pub fn summary(shift: &Shift, procedure_name: Option<&str>) -> String {
    let mut text = String::new();
    let text = &mut text;
    line!(text, "{BOLD}{}{BOLD:#}", logs(shift));
    let judged_by =
        procedure_name.map_or("no procedure given".to_owned(), |name| format!("procedure: {name}"));
    line!(text, "{judged_by}");
    for note in notes(shift) {
        line!(text, "{note}");
    }
    line!(text, "");
    let (style, words, rest) = verdict(shift);
    line!(text, "{style}{words}{style:#}{rest}");
    line!(text, "");
    stops(text, shift);
    machines(text, shift);
    rules(text, shift);
    fit(text)
}

/// What stands after the joints: the logs that failed, and why.
pub fn failures(shift: &Shift) -> String {
    let mut text = String::new();
    if !shift.failures.is_empty() {
        line!(&mut text, "{BAD}not read{BAD:#}: {}", count(shift.failures.len() as u64, "log"));
        for failure in &shift.failures {
            line!(&mut text, "  {}: {}", failure.path, failure.why);
        }
    }
    fit(&text)
}

/// How many logs there were, and how many of them were read.
pub fn logs(shift: &Shift) -> String {
    let failed = shift.failures.len();
    let failed = if failed == 0 { String::new() } else { format!(", {failed} of them not read") };
    format!("{}{failed}; {}", count(shift.logs(), "log"), count(shift.all.joints, "joint"))
}

/// What a person should know about the logs that is no fault.
pub fn notes(shift: &Shift) -> Vec<String> {
    let mut notes = Vec::new();
    if shift.without_joint > 0 {
        notes.push(format!("no joint found in {}", count(shift.without_joint, "log")));
    }
    if shift.faulty > 0 {
        notes.push(format!("faults found without a procedure in {}", count(shift.faulty, "log")));
    }
    if shift.worsened > 0 {
        notes.push(format!(
            "worse than by their traces alone, by inspection, setup or identity: {}",
            count(shift.worsened, "joint")
        ));
    }
    if shift.named_again > 0 {
        notes.push(format!("named more than once and counted once: {}", count(shift.named_again, "log")));
    }
    if shift.passed_over > 0 {
        notes.push(format!(
            "ignored in folders, no logs by their names: {}",
            count(shift.passed_over, "file")
        ));
    }
    notes
}

/// The words of the verdict and the rest of its sentence.
pub fn verdict_words(shift: &Shift) -> (&'static str, String) {
    let Tally { joints, proven, broken, not_proven, not_judged } = shift.all;
    let parts = [
        (broken, "broken"),
        (not_proven, "not proven"),
        (proven, "proven"),
        (not_judged, "not judged"),
        (shift.failures.len() as u64, "logs not read"),
    ];
    let told: Vec<_> = parts
        .into_iter()
        .filter(|&(number, _)| number > 0)
        .map(|(number, what)| match (number, what) {
            (1, "logs not read") => "1 log not read".to_owned(),
            _ => format!("{number} {what}"),
        })
        .collect();
    let told = if told.is_empty() { String::new() } else { format!(": {}", told.join(", ")) };
    (words(shift.outcome()), format!(": {}{told}", count(joints, "joint")))
}

fn verdict(shift: &Shift) -> (anstyle::Style, &'static str, String) {
    let style = match shift.outcome() {
        Outcome::Proven => GOOD,
        Outcome::NotProven => OPEN,
        Outcome::NotAsked if shift.faulty == 0 => BOLD,
        Outcome::NotAsked | Outcome::Broken => BAD,
    };
    let (words, rest) = verdict_words(shift);
    (style, words, rest)
}

fn stops(text: &mut String, shift: &Shift) {
    if shift.stops.is_empty() {
        return;
    }
    line!(text, "{BAD}stops{BAD:#}: {}", count(shift.stop_count, "alarm"));
    for stop in shift.stops.iter().take(LISTED) {
        line!(text, "  {}  {}, {}", stop.alarm.rule.name(), stop.path, place_and_time(&stop.alarm));
    }
    let more = shift.stop_count.saturating_sub(LISTED as u64);
    if more > 0 {
        line!(text, "  and {more} more: each joint below lists its own");
    }
    line!(text, "");
}

fn machines(text: &mut String, shift: &Shift) {
    if shift.machines.keys().all(Option::is_none) {
        return;
    }
    let name = |machine: &Option<String>| machine.clone().unwrap_or_else(|| "not known".to_owned());
    let width = shift.machines.keys().map(|machine| name(machine).chars().count()).max().unwrap_or(0).max(10);
    line!(text, "{BOLD}{:width$}{BOLD:#}  joints  proven  broken  not proven  not judged", "by machine");
    for (machine, tally) in &shift.machines {
        let Tally { joints, proven, broken, not_proven, not_judged } = tally;
        line!(
            text,
            "{:width$}  {joints:6}  {proven:6}  {broken:6}  {not_proven:10}  {not_judged:10}",
            name(machine)
        );
    }
    line!(text, "");
}

fn rules(text: &mut String, shift: &Shift) {
    if shift.rules.is_empty() {
        return;
    }
    let width = shift.rules.keys().map(|rule| rule.name().len()).max().unwrap_or(0).max(15);
    line!(text, "{BOLD}{:width$}{BOLD:#}  broken  not proven  alarms  stops", "joints, by rule");
    for (rule, tally) in &shift.rules {
        line!(
            text,
            "{:width$}  {:6}  {:10}  {:6}  {:5}",
            rule.name(),
            tally.broken,
            tally.not_proven,
            tally.alarmed,
            tally.stopped
        );
    }
    line!(text, "");
}

fn count(number: u64, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}
