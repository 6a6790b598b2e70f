//! What the monitor says while it watches.
//!
//! Decides: the form of every message.
//! Assumes: the receiver keeps what it needs; nothing is stored here.
//! Never: formats text.

use crate::alarm::{Judgement, Moment};
use crate::arc::Phase;
use crate::band::BandRecord;
use crate::rule::{Rule, Severity};
use crate::sample::Channel;
use crate::units::Degrees;
use serde::{Deserialize, Serialize};

/// What happened to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum AlarmKind {
    /// It became active.
    Raised,
    /// It was active and got worse.
    Escalated,
    /// Its cause is gone (a latched alarm stays until acknowledged).
    Cleared,
    /// A person has seen it.
    Acknowledged,
    /// Acknowledged long ago and still active: it asks for attention again.
    Repeated,
    /// A person put it away for a stated time.
    Shelved,
    /// It is watched again.
    Unshelved,
}

/// Where on the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Position {
    /// The band, counted from 1; 0 before the first.
    pub band: u16,
    /// Angle turned since the band began, in the direction of travel; may exceed a turn. Absent
    /// without a spindle reading.
    pub turned: Option<Degrees>,
}

/// A change of one alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlarmEvent {
    /// When, in microseconds.
    pub time_us: u64,
    /// What happened.
    pub kind: AlarmKind,
    /// The rule.
    pub rule: Rule,
    /// The channel, for rules about one.
    pub channel: Option<Channel>,
    /// The worst severity reached so far.
    pub severity: Severity,
    /// When its cause began, before any on-delay, in microseconds.
    pub onset_us: u64,
    /// Where its cause began.
    pub position: Position,
    /// The worst value so far, raw; see [`Rule::measure`].
    pub worst: i32,
    /// The limit that was passed, raw, if there is one.
    pub limit: Option<i32>,
}

/// Something worth telling.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
    /// An alarm changed.
    Alarm(AlarmEvent),
}

/// Takes what the monitor says, as it says it.
pub trait Sink {
    /// Something happened.
    fn event(&mut self, event: &Event);
    /// A band is finished; this is its record.
    fn band(&mut self, record: &BandRecord);
    /// A rule, not one about a channel, was judged at `moment`. Where it watches a range, `found` is
    /// the value alone, before range and deadband, and `voltage-low` is not yet held back by an active
    /// `transfer-low-voltage`: whoever tries other settings does both. Goes unheard where nobody listens.
    #[inline]
    fn found(&mut self, rule: Rule, found: &Judgement, moment: &Moment) {
        let _ = (rule, found, moment);
    }
}
