//! Which quantities are drawn.

use bandward::Quantity;

/// The quantities that have a course; the others are one figure a band.
pub const DRAWN: [Quantity; 9] = [
    Quantity::Current,
    Quantity::Voltage,
    Quantity::ShortCircuitRate,
    Quantity::GasFlow,
    Quantity::WeaveRate,
    Quantity::WeaveWidth,
    Quantity::WeaveCentreDrift,
    Quantity::TurnTime,
    Quantity::CoolantFlow,
];

pub(super) fn drawn_index(quantity: Quantity) -> usize {
    DRAWN.iter().position(|&drawn| drawn == quantity).unwrap_or(0)
}
