//! What the monitor says while it watches.
//!
//! Decides: the form of every message.
//! Assumes: the receiver keeps what it needs; nothing is stored here.
//! Never: formats text.

pub use crate::alarms::point::{AlarmEvent, AlarmKind};
pub use crate::judge::judgement::{Judgement, Moment, Position};
use crate::record::band::BandRecord;
use crate::record::joint::JointRecord;
use crate::rule::Rule;
use crate::trackers::arc::Phase;

/// Something worth telling.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Event {
    /// The arc phase changed.
    Phase {
        /// When, in microseconds.
        time_us: u64,
        /// The new phase.
        phase: Phase,
        /// The band it belongs to.
        band: u16,
    },
    /// An arc that became no band: it went out within seconds and hardly turned.
    Tack {
        /// When it was struck, in microseconds.
        time_us: u64,
        /// How long it burned, µs.
        arc_time_us: u64,
    },
    /// An alarm changed.
    Alarm(AlarmEvent),
}

/// Takes what the monitor says, as it says it.
///
/// ```
/// use bandward::{BandRecord, Event, Sink};
///
/// /// The simplest one; see [`Monitor`](bandward::Monitor) for its use.
/// #[derive(Default)]
/// struct Counts { events: u32, bands: u32 }
///
/// impl Sink for Counts {
///     fn event(&mut self, _: &Event) { self.events += 1; }
///     fn band(&mut self, _: &BandRecord) { self.bands += 1; }
/// }
/// ```
pub trait Sink {
    /// Something happened.
    fn event(&mut self, event: &Event);
    /// A band is finished; this is its record.
    fn band(&mut self, record: &BandRecord);
    /// A joint is done; this is its record.
    #[inline]
    fn joint(&mut self, record: &JointRecord) {
        let _ = record;
    }
    /// A rule, not one about a channel, was judged at `moment`. Where it watches a range, `found` is
    /// the value alone, before range and deadband, and `voltage-low` is not yet held back by an active
    /// `transfer-low-voltage`: whoever tries other settings does both. Goes unheard where nobody listens.
    #[inline]
    fn found(&mut self, rule: Rule, found: &Judgement, moment: &Moment) {
        let _ = (rule, found, moment);
    }
}
