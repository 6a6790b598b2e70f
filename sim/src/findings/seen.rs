//! How clearly a sign is seen.
//!
//! Decides: what half a sign is, and what lies between none and a whole one.
//! Never: looks at a case.

use super::evidence::Evidence;

/// A sign in a case.
#[derive(Clone, Debug)]
pub struct Seen {
    /// How clearly it is seen, 0 to 1.
    pub degree: f64,
    /// What a person can check.
    pub evidence: Option<Evidence>,
}

/// 0 up to `low`, 1 from `high` on, straight between.
pub fn ramp(value: f64, low: f64, high: f64) -> f64 {
    ((value - low) / (high - low)).clamp(0.0, 1.0)
}

/// What cannot be seen here; it neither counts nor is told.
pub const UNSEEN: Seen = Seen { degree: 0.0, evidence: None };

/// Where a score starts when the alarm only advises; such an alarm is half a sign.
pub const ADVISED: f64 = 0.5;
