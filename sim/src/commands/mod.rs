//! One file a subcommand.

pub mod completions;
pub mod config;
pub mod manual;
pub mod next_step;
pub mod pictures;
pub mod plan;
pub mod replay;
pub mod setup;
pub mod setup_dialogue;
pub mod synth;
pub mod trend;
pub mod trial;
pub mod value;
pub mod watch;

/// How a command that did its work ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing outside the procedure: exit code 0.
    WithinProcedure,
    /// Something outside it: exit code 1.
    OutsideProcedure,
}
