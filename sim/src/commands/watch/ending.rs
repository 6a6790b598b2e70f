//! How a watch ends.
//!
//! Decides: that nothing is proven where a board left a doubt, and what is told of it.
//! Never: makes better what is broken.

use crate::commands::Outcome;
use crate::output::terminal::remark;
use crate::watch::doubt::Doubt;
use crate::watch::ledger::Ledger;

pub(super) fn outcome(ledger: &Ledger) -> Outcome {
    Outcome::of(ledger.outcome(), ledger.has_faults())
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
