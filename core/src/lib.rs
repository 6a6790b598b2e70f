//! Watches the settings of a hardbanding weld, one sample at a time.
//!
//! A controller board beside the welder, or a host program with a recorded trace, feeds
//! [`Sample`]s to a [`Monitor`]; out come [`Event`]s (phases and alarms) and one
//! [`BandRecord`] for every band laid. The same samples give the same bytes on every machine.
//!
//! # Example
//! A procedure in code, checked while it is compiled; samples in, an alarm out. The numbers are invented.
//!
//! ```
//! use bandward::procedure::Limits;
//! use bandward::sample::ChannelSet;
//! use bandward::units::{Current, FlowRate, Voltage};
//! use bandward::{
//!     Acquisition, AlarmKind, BandRecord, Channel, Event, Monitor, Outcome, Procedure, Quantity, Rule, Sample,
//!     Sink, SoundProcedure,
//! };
//!
//! const WRITTEN: Procedure = Procedure::new()
//!     .limited(Quantity::Current, Limits::allowed(Current::amps(280).to(Current::amps(360))))
//!     .limited(Quantity::GasFlow, Limits::allowed(FlowRate::cubic_feet_per_hour(32).or_more()));
//! static PROCEDURE: SoundProcedure = match SoundProcedure::of(WRITTEN) {
//!     Ok(sound) => sound,
//!     Err(_) => panic!("the procedure makes no sense"),
//! };
//!
//! /// Keeps what the monitor says; on a board, a queue to the link.
//! #[derive(Default)]
//! struct Told {
//!     alarms: Vec<(Rule, u64)>,
//!     outcomes: Vec<Outcome>,
//! }
//!
//! impl Sink for Told {
//!     fn event(&mut self, event: &Event) {
//!         if let Event::Alarm(alarm) = event
//!             && alarm.kind == AlarmKind::Raised
//!         {
//!             self.alarms.push((alarm.rule, alarm.time_us / 1_000_000));
//!         }
//!     }
//!     fn band(&mut self, record: &BandRecord) {
//!         self.outcomes.push(record.outcome);
//!     }
//! }
//!
//! // A sample every millisecond, on three channels.
//! let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
//! let mut monitor = Monitor::new(&PROCEDURE, Acquisition::every(1_000, channels));
//! let mut told = Told::default();
//! for time_ms in 0..30_000 {
//!     // An arc from 5 s to 25 s; at 15 s its gas falls to 20 ft3/h.
//!     let burns = (5_000..25_000).contains(&time_ms);
//!     let gas_ft3_per_h = if time_ms < 15_000 { 35 } else { 20 };
//!     let sample = Sample::at(time_ms * 1_000)
//!         .current(if burns { Current::amps(320) } else { Current::ZERO })
//!         .voltage(if burns { Voltage::from_milli(31_500) } else { Voltage::ZERO })
//!         .gas(FlowRate::cubic_feet_per_hour(gas_ft3_per_h));
//!     monitor.step(&sample, &mut told);
//! }
//! monitor.finish(&mut told);
//!
//! assert_eq!(told.alarms, [(Rule::GasLow, 15)]); // warned within a second
//! assert_eq!(told.outcomes, [Outcome::Broken]);
//! ```
//!
//! Three channels to a lamp and a hold relay, a made signal and a slice of samples are whole programs under
//! `examples/`.
//!
//! # Features
//! All are on by default; current, voltage and wire feed are watched in every build.
//!
//! | feature | what it adds |
//! |---|---|
//! | `motion` | weave, spindle, step-over, overlap, band height; the channels torch, spindle and carriage |
//! | `transfer` | short circuits of the metal transfer |
//! | `gas` | gas flow, pre-flow and post-flow, coolant; the channels gas and coolant |
//! | `heat` | preheat and the temperature between bands; the channel work |
//! | `link` | the serial link, upload and hard limits |
//! | `journal` | records in flash, and with `link` the procedure |
//! | `blackbox` | the last seconds before a stop |
//! | `serde` | `Serialize` and `Deserialize`; comes with `link` and `journal` |
//! | `defmt` | logging on a board; off by default |
//!
//! Without its feature a channel counts as not wired, whatever the acquisition and the samples say, and a limit
//! on what nothing judges is refused (see [`watched`]): what is left out is never taken for good.
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

pub mod acquisition;
pub mod alarms;
#[cfg(feature = "blackbox")]
pub mod blackbox;
pub mod by_rule;
#[cfg(any(feature = "link", feature = "journal"))]
mod checksum;
#[cfg(any(feature = "link", feature = "blackbox"))]
pub mod delta;
pub mod event;
#[cfg(feature = "journal")]
pub mod flash;
pub mod heat;
#[doc(hidden)] // reached by this project's own programs; nothing is promised of it
pub mod judge;
#[cfg(feature = "link")]
pub mod link;
pub mod monitor;
pub mod procedure;
pub mod record;
pub mod rule;
pub mod sample;
#[doc(hidden)] // reached by this project's own programs; nothing is promised of it
pub mod statistics;
#[doc(hidden)] // reached by this project's own programs; nothing is promised of it
pub mod trackers;
pub mod units;
pub mod watched;

#[doc(inline)]
pub use acquisition::Acquisition;
#[doc(inline)]
pub use alarms::ActiveAlarm;
#[doc(inline)]
pub use event::{AlarmEvent, AlarmKind, Event, Position, Sink};
#[doc(inline)]
pub use monitor::{Monitor, SoFar};
#[doc(inline)]
pub use procedure::{Procedure, ProcedureError, SoundProcedure};
#[doc(inline)]
pub use record::band::BandRecord;
#[doc(inline)]
pub use record::coverage::NotJudged;
#[doc(inline)]
pub use record::joint::JointRecord;
#[doc(inline)]
pub use record::proof::Outcome;
#[doc(inline)]
pub use rule::{Quantity, Rule, Severity};
#[doc(inline)]
pub use sample::{Channel, Sample};
#[doc(inline)]
pub use trackers::arc::Phase;
