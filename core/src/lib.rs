//! Watches the settings of a hardbanding weld, one sample at a time.
//!
//! A controller board beside the welder, or a host program with a recorded trace, feeds
//! [`Sample`]s to a [`Monitor`]; out come [`Event`]s (phases and alarms) and one
//! [`BandRecord`] for every band laid. The same samples give the same bytes on every machine.
//!
//! Decides: whether the arc burns, how every watched quantity stands against its range, which
//! alarms are active, what a finished band was like.
//! Assumes: time comes with the samples, in microseconds; readings are calibrated.
//! Never: allocates, panics, reads a clock, does I/O, uses floating point. It is a monitor, not a
//! safety device and not an emergency stop.
#![no_std]
// A test that overflows or misses an element should stop right there.
#![cfg_attr(test, allow(clippy::arithmetic_side_effects, clippy::indexing_slicing, clippy::unwrap_used))]

#[cfg(test)]
extern crate std;

pub mod alarm;
pub mod arc;
pub mod band;
pub mod blackbox;
pub mod delta;
pub mod electrical;
pub mod envelope;
pub mod event;
pub mod gas;
pub mod hard_limits;
pub mod heat;
pub mod journal;
mod judge;
pub mod log;
pub mod monitor;
pub mod procedure;
pub mod procedure_store;
pub mod reading;
pub mod rule;
pub mod sample;
pub mod signal;
pub mod spindle;
pub mod statistics;
mod tally;
pub mod transfer;
pub mod units;
pub mod upload;
pub mod weave;
pub mod wire;

pub use arc::Phase;
pub use band::BandRecord;
pub use event::{AlarmEvent, AlarmKind, Event, Position, Sink};
pub use monitor::{Acquisition, Monitor, NotJudged};
pub use procedure::Procedure;
pub use reading::ActiveAlarm;
pub use rule::{Quantity, Rule, Severity};
pub use sample::{Channel, Sample};
