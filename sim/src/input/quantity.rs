//! Quantities as people read them.
//!
//! Decides: how a value reads in metric or inch.
//! Assumes: nothing.
//! Never: shows a value without its unit.

pub use super::unit::{Dimension, Unit};
use super::written_quantity::parse;

/// Which units people are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum UnitSystem {
    /// mm, L/min, m/min, °C.
    #[default]
    Metric,
    /// in (as fractions where they fit), cfh, ipm, °F.
    Inch,
}

impl UnitSystem {
    /// What it is called in files.
    pub const CHOICES: &'static [(&'static str, Self)] = &[("metric", Self::Metric), ("inch", Self::Inch)];
    /// What it is called in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Metric => "metric",
            Self::Inch => "inch",
        }
    }
    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Metric => Self::Inch,
            Self::Inch => Self::Metric,
        }
    }
}

/// How a value in the house unit reads: `format(26.9875, Dimension::Length, UnitSystem::Inch)` is
/// `1 1/16 in`.
pub fn format(value: f64, dimension: Dimension, system: UnitSystem) -> String {
    let (_, decimals) = shown_unit(dimension, system);
    let (reading, symbol) = shown(value, dimension, system);
    // A fall of half a degree an hour is not none.
    let is_slow = dimension == Dimension::CoolingRate && reading.abs() < 10.0;
    let decimals = if is_slow { 2 } else { decimals };
    let number = if symbol == "in" { inch_fraction(reading) } else { None };
    let number = number.unwrap_or_else(|| decimal(reading, decimals));
    format!("{number} {symbol}")
}

/// How the end of a range reads: rounded to its inside, so that whoever keeps to what is shown keeps to the range.
pub fn format_end(end: f64, is_low: bool, dimension: Dimension, system: UnitSystem) -> String {
    /// What is lost in the digits of a number is no difference.
    const AS_GOOD_AS: f64 = 1e-9;
    let text = format(end, dimension, system);
    let slack = AS_GOOD_AS * end.abs();
    let is_inside = |back: f64| if is_low { back >= end - slack } else { back <= end + slack };
    if parse(&text, dimension).is_ok_and(is_inside) {
        return text;
    }
    let (reading, symbol) = shown(end, dimension, system);
    let (_, decimals) = shown_unit(dimension, system);
    let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(0));
    let inside = if is_low { (reading * scale).ceil() } else { (reading * scale).floor() };
    format!("{} {symbol}", decimal(inside / scale, decimals))
}

/// How a difference reads: with three significant digits, however small it is.
pub fn format_difference(value: f64, dimension: Dimension, system: UnitSystem) -> String {
    const SIGNIFICANT: i32 = 3;
    const MOST: i32 = 9;
    let (reading, symbol) = shown(value, dimension, system);
    let size = reading.abs();
    let before_point = if size > 0.0 { size.log10().floor() as i32 + 1 } else { SIGNIFICANT };
    let decimals = (SIGNIFICANT - before_point).clamp(0, MOST);
    format!("{} {symbol}", decimal(reading, usize::try_from(decimals).unwrap_or(0)))
}

/// How a value reads beside the limit it has passed: with as many more digits as it takes not to read like
/// the limit itself.
pub fn format_beside(value: f64, limit: f64, dimension: Dimension, system: UnitSystem) -> String {
    let plain = format(value, dimension, system);
    if plain != format(limit, dimension, system) {
        return plain;
    }
    let (_, decimals) = shown_unit(dimension, system);
    let [(reading, symbol), (end, _)] = [value, limit].map(|number| shown(number, dimension, system));
    let digits = |number, decimals| decimal(number, decimals);
    let apart = (decimals..=decimals + MOST_MORE_DECIMALS)
        .find(|&decimals| digits(reading, decimals) != digits(end, decimals));
    apart.map_or(plain, |decimals| format!("{} {symbol}", digits(reading, decimals)))
}

/// How a value reads among others that it must not be mistaken for: in decimals, as many as tell all that
/// differ apart, at least what the unit is shown with.
pub fn in_decimals(value: f64, among: &[f64], dimension: Dimension, system: UnitSystem) -> String {
    let (symbol, least) = shown_unit(dimension, system);
    let digits = |value: f64, decimals: usize| format!("{:.decimals$}", shown(value, dimension, system).0);
    let is_told = |decimals: &usize| {
        among.iter().enumerate().all(|(at, one)| {
            among[..at].iter().all(|other| {
                one.total_cmp(other).is_eq() || digits(*one, *decimals) != digits(*other, *decimals)
            })
        })
    };
    let decimals = (least..=least + MOST_MORE_DECIMALS).find(is_told).unwrap_or(least);
    format!("{} {symbol}", digits(value, decimals))
}

/// Closer to a limit than this many more decimals tell, a value reads like the limit.
const MOST_MORE_DECIMALS: usize = 6;

/// The number and the unit that a value in the house unit is shown as.
pub fn shown(value: f64, dimension: Dimension, system: UnitSystem) -> (f64, &'static str) {
    let (symbol, _) = shown_unit(dimension, system);
    (dimension.unit(symbol).map_or(value, |unit| unit.from_house(value)), symbol)
}

/// With at most so many decimals, and no zeros at the end.
fn decimal(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// The unit that values of a dimension are shown in.
pub const fn shown_symbol(dimension: Dimension, system: UnitSystem) -> &'static str {
    shown_unit(dimension, system).0
}

/// The unit a dimension is shown in, and the most decimals.
const fn shown_unit(dimension: Dimension, system: UnitSystem) -> (&'static str, usize) {
    match (dimension, system) {
        (Dimension::Current, _) => ("A", 1),
        (Dimension::Voltage, _) => ("V", 2),
        (Dimension::Flow | Dimension::LiquidFlow, UnitSystem::Metric) => ("L/min", 2),
        (Dimension::LiquidFlow, UnitSystem::Inch) => ("gal/min", 2),
        (Dimension::Flow, UnitSystem::Inch) => ("cfh", 1),
        (Dimension::Length, UnitSystem::Metric) => ("mm", 2),
        (Dimension::Length, UnitSystem::Inch) => ("in", 3),
        (Dimension::WireSpeed, UnitSystem::Metric) => ("m/min", 2),
        (Dimension::WireSpeed, UnitSystem::Inch) => ("ipm", 1),
        (Dimension::Temperature | Dimension::TemperatureDifference, UnitSystem::Metric) => ("degC", 1),
        (Dimension::Temperature | Dimension::TemperatureDifference, UnitSystem::Inch) => ("degF", 1),
        (Dimension::Rate, _) => ("/min", 1),
        (Dimension::Duration, _) => ("s", 2),
        (Dimension::Angle, _) => ("deg", 1),
        (Dimension::EventRate, _) => ("/s", 2),
        (Dimension::Power, _) => ("W", 0),
        (Dimension::Share, _) => ("%", 1),
        (Dimension::SurfaceSpeed, UnitSystem::Metric) => ("mm/s", 3),
        (Dimension::SurfaceSpeed, UnitSystem::Inch) => ("ipm", 2),
        (Dimension::EnergyPerLength, UnitSystem::Metric) => ("kJ/mm", 3),
        (Dimension::EnergyPerLength, UnitSystem::Inch) => ("J/in", 0),
        (Dimension::Area, UnitSystem::Metric) => ("mm2", 1),
        (Dimension::Area, UnitSystem::Inch) => ("in2", 4),
        (Dimension::Mass, UnitSystem::Metric) => ("kg", 2),
        (Dimension::Mass, UnitSystem::Inch) => ("lb", 2),
        (Dimension::MassRate, UnitSystem::Metric) => ("kg/h", 2),
        (Dimension::MassRate, UnitSystem::Inch) => ("lb/h", 2),
        (Dimension::Volume, UnitSystem::Metric) => ("L", 0),
        (Dimension::Volume, UnitSystem::Inch) => ("ft3", 1),
        (Dimension::WindSpeed, UnitSystem::Metric) => ("m/s", 1),
        (Dimension::WindSpeed, UnitSystem::Inch) => ("mph", 1),
        (Dimension::Hydrogen, _) => ("mL/100g", 1),
        (Dimension::CoolingRate, UnitSystem::Metric) => ("degC/h", 0),
        (Dimension::CoolingRate, UnitSystem::Inch) => ("degF/h", 0),
    }
}

/// Inches as a whole and a fraction to 1/16 or 1/32, where one lies within 0.002 in (0.05 mm).
fn inch_fraction(inches: f64) -> Option<String> {
    let thirty_seconds = (inches.abs() * 32.0).round();
    if (inches.abs() * 32.0 - thirty_seconds).abs() > 0.064 || thirty_seconds > 1e6 {
        return None;
    }
    let count = thirty_seconds as u64;
    let (whole, mut above, mut below) = (count / 32, count % 32, 32);
    while above != 0 && above % 2 == 0 {
        above /= 2;
        below /= 2;
    }
    let sign = if inches < 0.0 && count != 0 { "-" } else { "" };
    Some(match (whole, above) {
        (_, 0) => format!("{sign}{whole}"),
        (0, _) => format!("{sign}{above}/{below}"),
        _ => format!("{sign}{whole} {above}/{below}"),
    })
}

/// A value in metric and inch, for sentences.
pub(crate) fn in_both(value: f64, dimension: Dimension) -> String {
    let [metric, inch] = [UnitSystem::Metric, UnitSystem::Inch].map(|units| format(value, dimension, units));
    if metric == inch { metric } else { format!("{metric} ({inch})") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_of_a_range_are_shown_within_it() {
        let ends = |low, high, dimension| {
            [(low, true), (high, false)]
                .map(|(end, is_low)| format_end(end, is_low, dimension, UnitSystem::Inch))
        };
        assert_eq!(ends(20.0, 28.0, Dimension::Length), ["0.788 in", "1.102 in"]);
        assert_eq!(ends(27.0, 27.0, Dimension::Length), ["1.063 in", "1 1/16 in"]);
        assert_eq!(ends(25.4, 25.4, Dimension::Length), ["1 in", "1 in"]);
        assert_eq!(ends(6_620.0, 7_920.0, Dimension::WireSpeed), ["260.7 ipm", "311.8 ipm"]);
        assert_eq!(format_end(20.0, true, Dimension::Length, UnitSystem::Metric), "20 mm");
    }

    /// 2.375 mm is 0.0935 in: within the 0.002 in in which a fraction is shown, and below 3/32 in.
    #[test]
    fn a_value_does_not_read_like_the_limit_it_has_passed() {
        let beside = |value, limit, system| format_beside(value, limit, Dimension::Length, system);
        assert_eq!(beside(2.375, 2.381_25, UnitSystem::Inch), "0.0935 in");
        assert_eq!(beside(2.375, 3.175, UnitSystem::Inch), "3/32 in");
        assert_eq!(beside(2.381_25, 2.381_25, UnitSystem::Inch), "3/32 in");
        assert_eq!(beside(18.998, 19.0, UnitSystem::Metric), "18.998 mm");
        assert_eq!(beside(0.001, 0.0, UnitSystem::Metric), "0.001 mm");
    }

    #[test]
    fn values_read_as_people_write_them() {
        let inch = |mm| format(mm, Dimension::Length, UnitSystem::Inch);
        assert_eq!(inch(26.9875), "1 1/16 in");
        assert_eq!(inch(19.05), "3/4 in");
        assert_eq!(inch(2.38125), "3/32 in");
        assert_eq!(inch(88.9), "3 1/2 in");
        assert_eq!(inch(50.8), "2 in");
        assert_eq!(inch(28.0), "1.102 in");
        assert_eq!(inch(-19.05), "-3/4 in");
        assert_eq!(inch(0.0), "0 in");
        assert_eq!(format(16.518_160_512, Dimension::Flow, UnitSystem::Inch), "35 cfh");
        assert_eq!(format(7500.0, Dimension::WireSpeed, UnitSystem::Metric), "7.5 m/min");
        assert_eq!(format(150.0, Dimension::Temperature, UnitSystem::Inch), "302 degF");
        assert_eq!(format(-0.001, Dimension::Voltage, UnitSystem::Metric), "0 V");
        assert_eq!(format(0.95, Dimension::Share, UnitSystem::Metric), "95 %");
        for (fall, shown) in [(0.5, "0.5 degC/h"), (9.56, "9.56 degC/h"), (403.756, "404 degC/h")] {
            assert_eq!(format(fall, Dimension::CoolingRate, UnitSystem::Metric), shown);
        }
    }
}
