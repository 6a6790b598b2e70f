//! A model of hardbanding, to make traces whose truth is known.
//!
//! Decides: what a joint looks like to the instruments, good or with faults put in.
//! Assumes: what each file in here says.
//! Never: is part of the monitor; the core knows nothing of it.
//!
//! A [`Scenario`] holds a [`Joint`], its [`Fault`]s and its sensors; [`Scenario::rows`]
//! makes the trace, [`Scenario::truth`] says what was put in. Every number is an `f64`; transcendental
//! functions come from `libm`, so that the same seed gives the same bytes on every machine.

pub mod arc;
pub mod bead;
mod burner;
mod defaults;
pub mod drives;
mod effects;
pub mod fault;
pub mod file;
mod file_fault;
mod file_habits;
mod file_set;
pub mod habit;
mod habit_plan;
pub mod joint;
mod machine;
pub mod random;
mod record;
mod rows;
pub mod scenario;
mod schedule;
pub mod sensor;
pub mod shift;
mod stage;
mod stages;
pub mod targets;
mod technician;
pub mod transfer;
pub mod truth;
mod wall;

pub use fault::{Fault, Kind, Start};
pub use habit::{HabitKind, Habits};
pub use joint::{Joint, Laying};
pub use rows::Rows;
pub use scenario::{Scenario, Timing};
pub use shift::{Carriage, Shift};
pub use targets::Targets;
pub use truth::Truth;
