//! How a watch ends.

use crate::commands::Outcome;
use crate::watch::ledger::Ledger;

pub(super) fn outcome(ledger: &Ledger) -> Outcome {
    Outcome::of(ledger.outcome(), ledger.has_faults())
}
