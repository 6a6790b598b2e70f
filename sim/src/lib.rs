//! Host side of `bandward`: reads procedures and traces, makes traces, and runs them through the
//! monitoring core.

pub mod alarm;
pub mod commands;
pub mod demo;
pub mod findings;
pub mod fleet;
pub mod formulas;
pub mod heat;
pub mod input;
pub mod laid;
pub mod link;
pub mod output;
pub mod plan;
pub mod preferences;
pub mod process;
pub mod program;
pub mod raw;
pub mod recording;
pub mod replay;
pub mod report;
pub mod setup;
pub mod standing;
pub mod trace;
pub mod trend;
pub mod trial;
pub mod watch;
