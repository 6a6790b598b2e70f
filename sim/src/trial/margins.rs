//! How far a setting keeps from false alarms.
//!
//! Decides: from where on a margin is wide enough. The factor is common practice, no source.
//! Never: chooses a setting; see [`super::suggest`].

use bandward::Rule;

/// An on-delay so many times as long as good welding was ever outside is wide enough.
pub const WIDE: f64 = 2.0;

/// An on-delay is lengthened only where the shortest fault found by the rule's own alarms was outside so many
/// times as long: what lasts half as long as the shortest one seen is found still.
pub const FAULT_OUTLASTS: f64 = 2.0;

/// From fewer faults found by the rule's own alarms nothing of it is loosened. With none of six lost, up to
/// 39 % of such faults may be (1 - 0.05^(1/6), one-sided 95 %; by the rule of three, 3/n, from more): a count
/// that a shop can bring together does not settle it, and the factor above and the cost of one more missed
/// fault go with it.
pub const LEAST_TO_LOOSEN: u64 = 6;

/// A rule that good welding comes near, with the settings proposed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thin {
    /// The rule.
    pub rule: Rule,
    /// How long good welding was outside at a time, at most, s.
    pub longest_s: f64,
    /// The on-delay, s.
    pub on_delay_s: f64,
}
