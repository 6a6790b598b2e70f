//! An outcome as a yes or a no, where one of the two is asked for.
//!
//! Never: calls within what is not proven.

use bandward::Outcome;

/// Is it proven to be within the procedure? nothing where no procedure asks for anything.
pub const fn within(outcome: Outcome) -> Option<bool> {
    match outcome {
        Outcome::NotAsked => None,
        Outcome::Proven => Some(true),
        Outcome::NotProven | Outcome::Broken => Some(false),
    }
}
