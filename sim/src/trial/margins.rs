//! How far a setting keeps from false alarms.
//!
//! Decides: from where on a margin is wide enough. The factor is common practice, no source.
//! Never: chooses a setting; see [`super::suggest`].

use bandward::Rule;

/// An on-delay so many times as long as good welding was ever outside is wide enough.
pub const WIDE: f64 = 2.0;

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
