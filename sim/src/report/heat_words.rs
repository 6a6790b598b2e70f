//! Temperatures and times of a heated joint, in words.

use crate::input::quantity::{Dimension, UnitSystem};

/// In place of figures that no model gives.
pub(super) const MELTS: &str = "the wall melts: the model no longer holds";

/// A temperature in whole degrees.
pub(super) fn degrees(value_c: f64, system: UnitSystem) -> String {
    let (number, symbol) = whole(value_c, system);
    format!("{number} {symbol}")
}

/// `12:30`, or `1:02:05` beyond an hour.
pub(super) fn clock(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

/// A whole degree is all that such figures are worth: the number, and its unit.
pub(super) fn whole(value_c: f64, system: UnitSystem) -> (String, &'static str) {
    let symbol = match system {
        UnitSystem::Metric => "degC",
        UnitSystem::Inch => "degF",
    };
    let shown = Dimension::Temperature.unit(symbol).map_or(value_c, |unit| unit.from_house(value_c));
    (format!("{shown:.0}"), symbol)
}
