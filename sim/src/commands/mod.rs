//! One file a subcommand.

pub mod completions;
pub mod config;
pub mod context;
pub mod embed;
pub mod inspect;
pub mod inspect_dialogue;
pub mod keys;
pub mod layout;
pub mod manual;
pub mod next_step;
pub mod pictures;
pub mod plan;
pub mod plan_heat;
pub mod procedure;
#[cfg(feature = "register")]
pub mod register;
pub mod replay;
pub mod setup;
pub mod setup_dialogue;
pub mod setup_unfinished;
pub mod synth;
pub mod trend;
pub mod trial;
mod trial_arguments;
pub mod value;
pub mod watch;

/// How a command that did its work ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Everything asked for is proven, or there was nothing to judge and it was done: exit code 0.
    Done,
    /// Something is broken: exit code 1.
    Broken,
    /// Nothing is broken, and not everything is proven: exit code 3.
    NotProven,
}

impl Outcome {
    /// Of what was judged; faults that need no procedure to be wrong count where none was given.
    pub const fn of(outcome: bandward::Outcome, has_faults: bool) -> Self {
        match outcome {
            bandward::Outcome::NotAsked if !has_faults => Self::Done,
            bandward::Outcome::Proven => Self::Done,
            bandward::Outcome::NotProven => Self::NotProven,
            bandward::Outcome::NotAsked | bandward::Outcome::Broken => Self::Broken,
        }
    }
    /// The worse of two, broken being the worst.
    #[must_use]
    pub const fn worse(self, other: Self) -> Self {
        match (self, other) {
            (Self::Broken, _) | (_, Self::Broken) => Self::Broken,
            (Self::NotProven, _) | (_, Self::NotProven) => Self::NotProven,
            (Self::Done, Self::Done) => Self::Done,
        }
    }
}
