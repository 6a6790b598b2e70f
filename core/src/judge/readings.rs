//! What is held against the ranges at this tick, one reading a quantity.
//!
//! Decides: how a reading that does not apply, or cannot be trusted, is kept apart from a value.
//! Assumes: values are raw (see [`Quantity::fraction_bits`]) and above `i32::MIN + 1`.
//! Never: judges.

use crate::rule::Quantity;

/// One quantity at one tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reading {
    /// No rule about it applies now.
    NotApplicable,
    /// It applies, and its channel gives nothing that can be trusted.
    Lost,
    /// The value, raw.
    Value(i32),
}

impl Reading {
    /// Applies only where `applies`; without a value it is lost.
    #[inline]
    pub(crate) fn when(applies: bool, value: Option<i32>) -> Self {
        match value {
            _ if !applies => Self::NotApplicable,
            None => Self::Lost,
            Some(value) => Self::Value(value),
        }
    }
}

const NOT_APPLICABLE: i32 = i32::MIN;
const LOST: i32 = i32::MIN + 1;

/// All quantities that this build watches, each as it was last read.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Readings([i32; Quantity::WATCHED]);

impl Readings {
    /// Before the first tick.
    pub(crate) const fn new() -> Self {
        Self([NOT_APPLICABLE; Quantity::WATCHED])
    }
    /// Keeps a reading.
    pub(crate) fn set(&mut self, quantity: Quantity, reading: Reading) {
        if let Some(slot) = self.0.get_mut(quantity.place()) {
            *slot = match reading {
                Reading::NotApplicable => NOT_APPLICABLE,
                Reading::Lost => LOST,
                Reading::Value(value) => value.max(LOST.saturating_add(1)),
            };
        }
    }
    /// The value, where there is one.
    pub(crate) fn value(&self, quantity: Quantity) -> Option<i32> {
        self.0.get(quantity.place()).copied().filter(|&raw| raw > LOST)
    }
}
