//! Raw bits of the core as numbers.
//!
//! Decides: what a value is in its unit.
//! Never: converts to the units a reader wants; see [`crate::input::quantity`].

use bandward::units::FixedPoint;

/// The value of a core quantity in its unit.
pub fn value<Q: FixedPoint>(quantity: Q) -> f64 {
    from_raw(quantity.bits(), Q::FRACTION_BITS)
}

/// The value of raw bits with so many of them after the point.
pub fn from_raw(raw: i32, fraction_bits: u32) -> f64 {
    f64::from(raw) / (1_u64 << fraction_bits) as f64
}

/// Microseconds as seconds.
pub fn seconds(micros: u64) -> f64 {
    micros as f64 / 1e6
}
