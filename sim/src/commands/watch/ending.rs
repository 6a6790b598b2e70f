//! How a watch ends.
//!
//! Decides: that nothing is proven where a board left a doubt, or the file of a trace changed, and what is told of it.
//! Never: makes better what is broken.

use crate::commands::Outcome;
use crate::output::terminal::remark;
use crate::watch::doubt::Doubt;
use crate::watch::ledger::Ledger;

fn outcome(ledger: &Ledger) -> Outcome {
    Outcome::of(ledger.outcome(), ledger.has_faults())
}

/// Of a watch of a trace, with what happened to its file meanwhile; tells that.
pub(super) fn outcome_of_trace(ledger: &Ledger, change: Option<&str>) -> Outcome {
    let Some(change) = change else { return outcome(ledger) };
    remark(&format!("not proven: the file of the log changed: {change}"));
    outcome(ledger).worse(Outcome::NotProven)
}

/// Of a watch of a board; tells the doubts.
pub(super) fn outcome_of_board(ledger: &Ledger, doubts: &[Doubt]) -> Outcome {
    if doubts.is_empty() {
        return outcome(ledger);
    }
    let words: Vec<_> = doubts.iter().map(|doubt| doubt.words.as_str()).collect();
    remark(&format!("not proven: {}", words.join("; ")));
    outcome(ledger).worse(Outcome::NotProven)
}
