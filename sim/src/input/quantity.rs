//! Quantities as people write them: a number, perhaps with a fraction, and a unit.
//!
//! Decides: which units measure what, and how a value reads in metric or inch.
//! Assumes: 1 in = 25.4 mm and 1 ft = 0.3048 m exactly (international yard and pound agreement,
//! 1959); a US gallon is 231 cubic inches.
//! Never: guesses a unit that was not written.

/// What is measured. Every value of a dimension is held in its house unit, the first of its units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Electrical current, A.
    Current,
    /// Electrical tension, V.
    Voltage,
    /// Volume flow, L/min.
    Flow,
    /// Length or position, mm.
    Length,
    /// Wire feed speed, mm/min.
    WireSpeed,
    /// Temperature, °C.
    Temperature,
    /// Difference of two temperatures, °C.
    TemperatureDifference,
    /// Cycles a minute, 1/min.
    Rate,
    /// Time, s.
    Duration,
    /// Angle, degrees.
    Angle,
    /// Events a second, 1/s.
    EventRate,
    /// Electrical power, W.
    Power,
    /// A share of a whole, 0 to 1.
    Share,
}

/// A unit: how it is written, and the way from it to the house unit of its dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// The way it is written in messages.
    pub symbol: &'static str,
    /// House units in one of this unit.
    pub factor: f64,
    /// House units at the zero of this unit.
    pub offset: f64,
    aliases: &'static [&'static str],
}

impl Unit {
    /// The value in the house unit of a reading in this unit.
    pub fn to_house(self, reading: f64) -> f64 {
        reading * self.factor + self.offset
    }
    /// Counts of an encoder on the spindle, as an angle.
    pub const fn encoder_counts(counts_per_turn: f64) -> Self {
        unit("count", 360.0 / counts_per_turn, &[])
    }
    /// The reading in this unit of a value in the house unit.
    pub fn from_house(self, value: f64) -> f64 {
        (value - self.offset) / self.factor
    }
}

const fn unit(symbol: &'static str, factor: f64, aliases: &'static [&'static str]) -> Unit {
    Unit { symbol, factor, offset: 0.0, aliases }
}

const MM_PER_INCH: f64 = 25.4;
const MM_PER_FOOT: f64 = 304.8;
/// Cubic foot in litres, a foot being 3.048 dm.
const LITRES_PER_CUBIC_FOOT: f64 = 3.048 * 3.048 * 3.048;
/// US gallon in litres: 231 cubic inches, an inch being 0.254 dm.
const LITRES_PER_GALLON: f64 = 231.0 * 0.254 * 0.254 * 0.254;

const CURRENT: &[Unit] = &[unit("A", 1.0, &["amp", "amps"]), unit("kA", 1e3, &[]), unit("mA", 1e-3, &[])];
const VOLTAGE: &[Unit] = &[unit("V", 1.0, &["volt", "volts"]), unit("mV", 1e-3, &[]), unit("kV", 1e3, &[])];
const FLOW: &[Unit] = &[
    unit("L/min", 1.0, &["l/min", "lpm", "LPM"]),
    unit("ft3/h", LITRES_PER_CUBIC_FOOT / 60.0, &["ft³/h", "ft^3/h", "ft3/hr", "cfh", "CFH"]),
    unit("m3/h", 1000.0 / 60.0, &["m³/h", "m^3/h"]),
    unit("gal/min", LITRES_PER_GALLON, &["gpm", "GPM"]),
];
const LENGTH: &[Unit] = &[
    unit("mm", 1.0, &[]),
    unit("in", MM_PER_INCH, &["inch", "inches", "\"", "″"]),
    unit("cm", 10.0, &[]),
    unit("m", 1000.0, &[]),
    unit("ft", MM_PER_FOOT, &["'"]),
];
const WIRE_SPEED: &[Unit] = &[
    unit("mm/min", 1.0, &[]),
    unit("m/min", 1000.0, &[]),
    unit("in/min", MM_PER_INCH, &["ipm", "IPM", "inch/min"]),
    unit("cm/min", 10.0, &[]),
    unit("mm/s", 60.0, &[]),
];
const CELSIUS: Unit = unit("degC", 1.0, &["°C", "C"]);
const FAHRENHEIT: Unit = unit("degF", 5.0 / 9.0, &["°F", "F"]);
const TEMPERATURE: &[Unit] = &[
    CELSIUS,
    Unit { offset: -160.0 / 9.0, ..FAHRENHEIT },
    Unit { symbol: "K", factor: 1.0, offset: -273.15, aliases: &[] },
];
const TEMPERATURE_DIFFERENCE: &[Unit] = &[CELSIUS, FAHRENHEIT, unit("K", 1.0, &[])];
const RATE: &[Unit] = &[
    unit("/min", 1.0, &["1/min", "cycles/min", "cycle/min", "per min"]),
    unit("Hz", 60.0, &["/s", "1/s", "cycles/s"]),
];
const DURATION: &[Unit] = &[
    unit("s", 1.0, &["sec"]),
    unit("ms", 1e-3, &[]),
    unit("min", 60.0, &[]),
    unit("h", 3600.0, &[]),
    unit("us", 1e-6, &["µs", "μs"]),
];
const ANGLE: &[Unit] = &[
    unit("deg", 1.0, &["°", "degrees"]),
    unit("turn", 360.0, &["turns", "rev"]),
    unit("rad", 180.0 / std::f64::consts::PI, &[]),
];
const EVENT_RATE: &[Unit] =
    &[unit("/s", 1.0, &["1/s", "Hz", "per s"]), unit("/min", 1.0 / 60.0, &["1/min", "per min"])];
const POWER: &[Unit] = &[unit("W", 1.0, &[]), unit("kW", 1e3, &[])];
const SHARE: &[Unit] = &[unit("%", 0.01, &["percent"])];

impl Dimension {
    /// The units it may be written in.
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::Current => CURRENT,
            Self::Voltage => VOLTAGE,
            Self::Flow => FLOW,
            Self::Length => LENGTH,
            Self::WireSpeed => WIRE_SPEED,
            Self::Temperature => TEMPERATURE,
            Self::TemperatureDifference => TEMPERATURE_DIFFERENCE,
            Self::Rate => RATE,
            Self::Duration => DURATION,
            Self::Angle => ANGLE,
            Self::EventRate => EVENT_RATE,
            Self::Power => POWER,
            Self::Share => SHARE,
        }
    }
    /// What it is called in a sentence, with its article.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Current => "a current",
            Self::Voltage => "a voltage",
            Self::Flow => "a flow",
            Self::Length => "a length",
            Self::WireSpeed => "a wire feed speed",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a temperature difference",
            Self::Rate => "a rate of cycles",
            Self::Duration => "a time",
            Self::Angle => "an angle",
            Self::EventRate => "a rate of events",
            Self::Power => "a power",
            Self::Share => "a share",
        }
    }
    /// One that reads well in a message.
    pub const fn example(self) -> &'static str {
        match self {
            Self::Current => "300 A",
            Self::Voltage => "31 V",
            Self::Flow => "16.5 L/min",
            Self::Length => "1 1/16 in",
            Self::WireSpeed => "7.5 m/min",
            Self::Temperature => "150 degC",
            Self::TemperatureDifference => "5 degC",
            Self::Rate => "80 /min",
            Self::Duration => "90 s",
            Self::Angle => "12 deg",
            Self::EventRate => "5 /s",
            Self::Power => "9 kW",
            Self::Share => "95 %",
        }
    }
    /// Its units as a list to show.
    pub fn unit_list(self) -> String {
        let symbols: Vec<_> = self.units().iter().map(|unit| unit.symbol).collect();
        symbols.join(", ")
    }
    /// The unit written `text`, if it measures this.
    pub fn unit(self, text: &str) -> Option<Unit> {
        let written = |unit: &&Unit| unit.symbol == text || unit.aliases.contains(&text);
        self.units().iter().find(written).copied()
    }
}

/// Why a text is no quantity of a dimension.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum QuantityError {
    /// There is no number at the start.
    NoNumber,
    /// The number is written with a decimal comma.
    DecimalComma,
    /// The number is too large to hold, or a fraction has a zero below its bar.
    NotFinite,
    /// The number stands alone.
    NoUnit,
    /// The unit is unknown, or measures something else.
    WrongUnit(String),
}

impl QuantityError {
    /// What is wrong, as a sentence about a `dimension`.
    pub fn problem(&self, dimension: Dimension) -> String {
        let name = dimension.name();
        match self {
            Self::NoNumber => format!("{name} starts with a number"),
            Self::DecimalComma => "a decimal point is written `.`, not `,`".to_owned(),
            Self::NotFinite => "the number is too large, or a fraction has a zero below its bar".to_owned(),
            Self::NoUnit => "the unit is missing".to_owned(),
            Self::WrongUnit(unit) => format!("`{unit}` is not a unit of {name}"),
        }
    }
    /// What could stand there instead.
    pub fn allowed(dimension: Dimension) -> String {
        format!("a number and one of {}: such as \"{}\"", dimension.unit_list(), dimension.example())
    }
}

/// Reads a quantity, such as `1 1/16 in`, into the house unit of `dimension`.
///
/// # Errors
/// Says why the text is none.
pub fn parse(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let (number, rest) = split_number(text.trim())?;
    let symbol = rest.trim();
    if symbol.is_empty() {
        return Err(QuantityError::NoUnit);
    }
    let unit = dimension.unit(symbol).ok_or_else(|| QuantityError::WrongUnit(symbol.to_owned()))?;
    let value = unit.to_house(number);
    if value.is_finite() { Ok(value) } else { Err(QuantityError::NotFinite) }
}

/// The number at the start of a text, and what follows it. Understands `1.5`, `3/4`, `1 1/16` and
/// `1-1/16`, each with a sign.
pub(super) fn split_number(text: &str) -> Result<(f64, &str), QuantityError> {
    let (sign, unsigned) = match text.strip_prefix(['-', '−']) {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let (size, rest) = split_unsigned(unsigned)?;
    if size.is_finite() { Ok((sign * size, rest)) } else { Err(QuantityError::NotFinite) }
}

fn split_unsigned(text: &str) -> Result<(f64, &str), QuantityError> {
    let (first, rest) = split_digits(text);
    if let Some(fraction) = rest.strip_prefix('.') {
        let (decimals, rest) = split_digits(fraction);
        if first.is_empty() && decimals.is_empty() {
            return Err(QuantityError::NoNumber);
        }
        let number = &text[..text.len() - rest.len()];
        return Ok((number.parse().map_err(|_| QuantityError::NoNumber)?, rest));
    }
    if first.is_empty() {
        return Err(QuantityError::NoNumber);
    }
    if rest.starts_with(',') {
        return Err(QuantityError::DecimalComma);
    }
    if let Some((fraction, rest)) = split_fraction(text) {
        return Ok((fraction, rest));
    }
    let whole: f64 = first.parse().map_err(|_| QuantityError::NoNumber)?;
    // A unit may start with "1/" too: only digits on both sides of the bar make a fraction.
    let after = rest.trim_start();
    let after = if after.len() == rest.len() { rest.strip_prefix('-').unwrap_or("") } else { after };
    match split_fraction(after) {
        Some((fraction, rest)) => Ok((whole + fraction, rest)),
        None => Ok((whole, rest)),
    }
}

fn split_fraction(text: &str) -> Option<(f64, &str)> {
    let (above, rest) = split_digits(text);
    let (below, rest) = split_digits(rest.strip_prefix('/')?);
    if above.is_empty() || below.is_empty() {
        return None;
    }
    // Zero below the bar gives infinity or no number, which the caller refuses.
    Some((above.parse::<f64>().ok()? / below.parse::<f64>().ok()?, rest))
}

fn split_digits(text: &str) -> (&str, &str) {
    let end = text.find(|character: char| !character.is_ascii_digit()).unwrap_or(text.len());
    text.split_at(end)
}

/// Which units people are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitSystem {
    /// mm, L/min, m/min, °C.
    #[default]
    Metric,
    /// in (as fractions where they fit), ft3/h, in/min, °F.
    Inch,
}

/// How a value in the house unit reads: `format(26.9875, Dimension::Length, UnitSystem::Inch)` is
/// `1 1/16 in`.
pub fn format(value: f64, dimension: Dimension, system: UnitSystem) -> String {
    let (symbol, decimals) = shown_unit(dimension, system);
    let reading = dimension.unit(symbol).map_or(value, |unit| unit.from_house(value));
    let number = if symbol == "in" { inch_fraction(reading) } else { None };
    let number = number.unwrap_or_else(|| decimal(reading, decimals));
    format!("{number} {symbol}")
}

/// With at most so many decimals, and no zeros at the end.
fn decimal(number: f64, decimals: usize) -> String {
    let text = format!("{number:.decimals$}");
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

/// The unit a dimension is shown in, and the most decimals.
const fn shown_unit(dimension: Dimension, system: UnitSystem) -> (&'static str, usize) {
    match (dimension, system) {
        (Dimension::Current, _) => ("A", 1),
        (Dimension::Voltage, _) => ("V", 2),
        (Dimension::Flow, UnitSystem::Metric) => ("L/min", 2),
        (Dimension::Flow, UnitSystem::Inch) => ("ft3/h", 1),
        (Dimension::Length, UnitSystem::Metric) => ("mm", 2),
        (Dimension::Length, UnitSystem::Inch) => ("in", 3),
        (Dimension::WireSpeed, UnitSystem::Metric) => ("m/min", 2),
        (Dimension::WireSpeed, UnitSystem::Inch) => ("in/min", 1),
        (Dimension::Temperature | Dimension::TemperatureDifference, UnitSystem::Metric) => ("degC", 1),
        (Dimension::Temperature | Dimension::TemperatureDifference, UnitSystem::Inch) => ("degF", 1),
        (Dimension::Rate, _) => ("/min", 1),
        (Dimension::Duration, _) => ("s", 2),
        (Dimension::Angle, _) => ("deg", 1),
        (Dimension::EventRate, _) => ("/s", 2),
        (Dimension::Power, _) => ("W", 0),
        (Dimension::Share, _) => ("%", 1),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn house(text: &str, dimension: Dimension) -> f64 {
        parse(text, dimension).unwrap_or_else(|error| panic!("{text}: {}", error.problem(dimension)))
    }

    /// International yard and pound agreement, 1959: 1 in = 25.4 mm, 1 ft = 0.3048 m, both exact.
    #[test]
    fn inches_and_feet_are_exact() {
        for (text, mm) in [
            ("1 in", 25.4),
            ("1 ft", 304.8),
            ("1'", 304.8),
            ("3/4 in", 19.05),
            ("1/8\"", 3.175),
            ("1 1/16 in", 26.9875),
            ("1-1/16\"", 26.9875),
            ("1 1/16in", 26.9875),
            ("-1 1/2 in", -38.1),
            ("17/16 inch", 26.9875),
            ("0.0625 in", 1.5875),
            (".5 in", 12.7),
            ("28 mm", 28.0),
            ("2.8 cm", 28.0),
        ] {
            assert!((house(text, Dimension::Length) - mm).abs() < 1e-9, "{text}");
        }
        assert!((house("300 in/min", Dimension::WireSpeed) - 7620.0).abs() < 1e-9);
        assert!((house("7.5 m/min", Dimension::WireSpeed) - 7500.0).abs() < 1e-9);
    }

    /// 35 ft3/h = 35 x 28.316846592 L / 60 min, computed from the foot of 1959.
    #[test]
    fn thirty_five_cubic_feet_an_hour_is_sixteen_and_a_half_litres_a_minute() {
        for text in ["35 ft3/h", "35 cfh", "35 ft³/h", "35 CFH"] {
            assert!((house(text, Dimension::Flow) - 16.518_160_512).abs() < 1e-9, "{text}");
        }
        assert!((house("1 gal/min", Dimension::Flow) - 3.785_411_784).abs() < 1e-12);
        assert!((house("1 m3/h", Dimension::Flow) - 16.666_666_666_7).abs() < 1e-9);
    }

    /// Water freezes at 32 °F and boils at 212 °F (definition of the scale, from memory).
    #[test]
    fn temperatures_shift_and_differences_do_not() {
        assert!((house("32 °F", Dimension::Temperature)).abs() < 1e-9);
        assert!((house("212 degF", Dimension::Temperature) - 100.0).abs() < 1e-9);
        assert!((house("150 degC", Dimension::Temperature) - 150.0).abs() < 1e-12);
        assert!((house("9 degF", Dimension::TemperatureDifference) - 5.0).abs() < 1e-9);
        assert!((house("5 K", Dimension::TemperatureDifference) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn the_same_quantity_in_its_units() {
        for (text, dimension, value) in [
            ("300 A", Dimension::Current, 300.0),
            ("0.3 kA", Dimension::Current, 300.0),
            ("29V", Dimension::Voltage, 29.0),
            ("90 s", Dimension::Duration, 90.0),
            ("2 min", Dimension::Duration, 120.0),
            ("500 ms", Dimension::Duration, 0.5),
            ("80 /min", Dimension::Rate, 80.0),
            ("80/min", Dimension::Rate, 80.0),
            ("80 1/min", Dimension::Rate, 80.0),
            ("80 cycles/min", Dimension::Rate, 80.0),
            ("1.4 Hz", Dimension::Rate, 84.0),
            ("5 /s", Dimension::EventRate, 5.0),
            ("300 /min", Dimension::EventRate, 5.0),
            ("12 deg", Dimension::Angle, 12.0),
            ("1/4 turn", Dimension::Angle, 90.0),
            ("9 kW", Dimension::Power, 9000.0),
            ("95 %", Dimension::Share, 0.95),
        ] {
            assert!((house(text, dimension) - value).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn what_is_no_quantity_says_why() {
        let error = |text: &str| parse(text, Dimension::Length).expect_err(text);
        assert_eq!(error(""), QuantityError::NoNumber);
        assert_eq!(error("mm"), QuantityError::NoNumber);
        assert_eq!(error("."), QuantityError::NoNumber);
        assert_eq!(error("28"), QuantityError::NoUnit);
        assert_eq!(error("16,5 mm"), QuantityError::DecimalComma);
        assert_eq!(error("1/0 in"), QuantityError::NotFinite);
        assert_eq!(error(&format!("{} mm", "9".repeat(400))), QuantityError::NotFinite);
        assert_eq!(error("28 V"), QuantityError::WrongUnit("V".to_owned()));
        assert_eq!(error("1.5 1/2 in"), QuantityError::WrongUnit("1/2 in".to_owned()));
        assert_eq!(error("28 MM"), QuantityError::WrongUnit("MM".to_owned()));
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
        assert_eq!(format(16.518_160_512, Dimension::Flow, UnitSystem::Inch), "35 ft3/h");
        assert_eq!(format(7500.0, Dimension::WireSpeed, UnitSystem::Metric), "7.5 m/min");
        assert_eq!(format(150.0, Dimension::Temperature, UnitSystem::Inch), "302 degF");
        assert_eq!(format(-0.001, Dimension::Voltage, UnitSystem::Metric), "0 V");
        assert_eq!(format(0.95, Dimension::Share, UnitSystem::Metric), "95 %");
    }
}
