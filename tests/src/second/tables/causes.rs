//! Was the cause named?
//!
//! Decides: the table of causes.
//! Assumes: asked only where the fault broke its limit, or where no limit could tell it.

use super::faults::Outcome;
use super::of;
use std::collections::BTreeMap;
use std::fmt::Write;

/// The table, as Markdown.
pub fn markdown(outcomes: &[Outcome]) -> String {
    let mut kinds: BTreeMap<(usize, String), Vec<&Outcome>> = BTreeMap::new();
    let asked: Vec<_> = outcomes.iter().filter(|outcome| is_asked(outcome)).collect();
    for outcome in &asked {
        kinds.entry((outcome.fault.kind as usize, outcome.fault.name())).or_default().push(outcome);
    }
    let mut text =
        "| fault | cause asked for | first | among three | not named |\n|---|---|--:|--:|--:|\n".to_owned();
    for ((_, name), rows) in &kinds {
        let missing = rows.iter().filter(|row| row.score.cause_at.is_none()).count();
        let cause = rows[0].fault.causes().join(" or ");
        let (first, three) = (within(rows, 1), within(rows, 3));
        let _ = writeln!(text, "| {name} | {cause} | {first} | {three} | {missing} |");
    }
    let all: Vec<&Outcome> = asked.clone();
    let _ = writeln!(text, "\nFirst: {}; among three: {}.", within(&all, 1), within(&all, 3));
    text
}

/// Is a cause to name it, and did it break its limit?
pub fn is_asked(outcome: &Outcome) -> bool {
    let seen = outcome.score.breaks_limit && outcome.fault.can_be_seen_at(outcome.rate_hz);
    seen && !outcome.fault.facts().causes.is_empty()
}

/// In how many of these a right cause is among so many.
pub fn within(rows: &[&Outcome], places: usize) -> String {
    of(rows.iter().filter(|row| row.score.cause_at.is_some_and(|at| at < places)).count(), rows.len())
}
