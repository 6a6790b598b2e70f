//! What judging one rule at one tick comes to, and when and where that was.
//!
//! Decides: nothing.
//! Assumes: nothing.
//! Never: knows about alarms.

use crate::rule::Severity;
use crate::units::Degrees;

/// Where on the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Position {
    /// The band, counted from 1; 0 before the first.
    pub band: u16,
    /// Angle turned since the band began, in the direction of travel; may exceed a turn. Absent
    /// without a spindle reading.
    pub turned: Option<Degrees>,
}

/// The moment of a tick.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Now, µs.
    pub now_us: u64,
    /// Since the last tick, µs.
    pub elapsed_us: u32,
    /// Where on the joint.
    pub position: Position,
}

/// What a rule found at one tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Judgement {
    /// The rule does not apply now: as good as inside.
    NotApplicable,
    /// It applies and cannot be judged: everything stays as it is.
    Unknown,
    /// It was judged.
    Judged {
        /// Severity the value calls for; `None` inside.
        level: Option<Severity>,
        /// The value, raw.
        value: i32,
        /// The limit it was held against, raw.
        limit: Option<i32>,
        /// When the cause began, where the rule knows better than by counting ticks.
        since_us: Option<u64>,
    },
}
