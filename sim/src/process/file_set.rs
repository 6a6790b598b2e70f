//! A quantity of a scenario file, put where it belongs.
//!
//! Decides: how the range that a quantity may have is told.
//! Never: touches a value whose key is not written, or not rightly.

use crate::input::document::Section;
use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::input::written_quantity::QuantityError;
use std::ops::RangeInclusive;

/// Puts a quantity into its slot, where it is written and possible.
pub(super) fn set(
    section: &Section<'_>,
    key: &'static str,
    dimension: Dimension,
    range: RangeInclusive<f64>,
    slot: &mut f64,
) {
    let show = |value| format(value, dimension, UnitSystem::Metric);
    let allowed = match (range.start().is_finite(), range.end().is_finite()) {
        (true, true) => format!("{} to {}", show(*range.start()), show(*range.end())),
        (true, false) => format!("at least {}", show(*range.start())),
        _ => QuantityError::allowed(dimension),
    };
    if let Some(quantity) = section.quantity_within(key, dimension, range, &allowed) {
        *slot = quantity.value;
    }
}
