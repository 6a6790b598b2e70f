//! What a written quantity is worth: a number, perhaps with a fraction, and a unit; or as a stopwatch tells it.
//!
//! Decides: what a text such as `1 1/16 in`, `2:39` or `40 in 30 s` is worth in the house unit.
//! Assumes: a stopwatch is read in minutes and seconds.
//! Never: guesses a unit that was not written; takes a decimal comma: in another language `1,500` is one and a half.

use super::unit::Dimension;
use super::written;

/// Why a text is no quantity of a dimension.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum QuantityError {
    /// There is no number at the start.
    NoNumber,
    /// The number is written with a decimal comma.
    DecimalComma,
    /// The number is too large to hold, or a fraction has a zero below its bar.
    NotFinite,
    /// The number is not written in plain digits.
    OddNumber,
    /// The number stands alone.
    NoUnit,
    /// Minutes and seconds with 60 seconds or more.
    TooManySeconds,
    /// The unit is unknown, or measures something else.
    WrongUnit(String),
}

impl QuantityError {
    /// What is wrong with `text` as a quantity of `dimension`.
    pub fn problem(&self, text: &str, dimension: Dimension) -> String {
        match self {
            Self::NoNumber => format!("`{text}` does not start with a number"),
            Self::DecimalComma => format!("`{text}` has a comma where a decimal point belongs"),
            Self::NotFinite => format!("`{text}` is too large, or a fraction with a zero below its bar"),
            Self::OddNumber => format!(
                "`{text}` is not one plain number: no powers of ten (1e3), no marks between thousands, one point or \
                 one fraction, and feet and inches as one of the two"
            ),
            Self::NoUnit => format!("`{text}` has no unit"),
            Self::TooManySeconds => format!("`{text}` has more than 59 seconds beside its minutes"),
            Self::WrongUnit(unit) => format!("`{unit}` in `{text}` is not a unit of {}", dimension.name()),
        }
    }
    /// What could stand there instead.
    pub fn allowed(dimension: Dimension) -> String {
        format!("a number and one of {}: such as \"{}\"", dimension.unit_list(), dimension.example())
    }
}

/// Reads a quantity, such as `1 1/16 in`, `2:39` or `40 in 30 s`, into the house unit of `dimension`.
///
/// # Errors
/// Says why the text is none.
pub fn parse(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let text = written::plain(text.trim());
    if let Some(value) = of_stopwatch(&text, dimension) {
        return if value.is_finite() { Ok(without_dust(value)) } else { Err(QuantityError::NotFinite) };
    }
    if dimension == Dimension::Duration && has_too_many_seconds(&text) {
        return Err(QuantityError::TooManySeconds);
    }
    let (number, rest) = split_number(&text)?;
    let symbol = rest.trim();
    if symbol.is_empty() {
        return Err(QuantityError::NoUnit);
    }
    if is_more_number(rest) {
        return Err(QuantityError::OddNumber);
    }
    let unit = dimension.unit(symbol).ok_or_else(|| QuantityError::WrongUnit(symbol.to_owned()))?;
    let value = without_dust(unit.to_house(number));
    if value.is_finite() { Ok(value) } else { Err(QuantityError::NotFinite) }
}

/// Does more of a number follow where a unit belongs: `1e3 A`, `7_200 mm/min`, `1'000 A`, `1.2.3 V`, `5'6"`?
fn is_more_number(rest: &str) -> bool {
    let has_digit = |text: &str| text.starts_with(|character: char| character.is_numeric());
    let after_mark = rest.strip_prefix(['e', 'E', '_', '\'', '’', '.', '+', '-', '/']);
    let after_sign = after_mark.map(|rest| rest.strip_prefix(['+', '-']).unwrap_or(rest));
    // `80 1/min` is a unit that begins with a digit, `28 1/2` is not.
    let is_per = rest.trim_start().strip_prefix("1/").is_some_and(|unit| !has_digit(unit));
    after_sign.is_some_and(has_digit) || (has_digit(rest.trim_start()) && !is_per)
}

/// To a thousand-millionth of the house unit, so that a size written in two units is the same size.
fn without_dust(value: f64) -> f64 {
    if value.abs() < 1e6 { (value * 1e9).round() / 1e9 } else { value }
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

/// What is written in a way of its own, in the house unit: times of a stopwatch, and cycles counted by one.
fn of_stopwatch(text: &str, dimension: Dimension) -> Option<f64> {
    match dimension {
        Dimension::Duration => minutes_and_seconds(text).or_else(|| parts(text)),
        Dimension::Rate => counted(text),
        Dimension::CoolingRate => fallen(text),
        _ => None,
    }
}

/// Minutes and seconds of `2:39` and of `2′39″`, also with plain or curly marks.
fn watch_parts(text: &str) -> Option<(&str, &str)> {
    let of_primes = || {
        let (minutes, seconds) = text.split_once(['′', '\'', '’'])?;
        let ends = ["″", "\"", "”", "''", "′′"];
        Some((minutes.trim(), ends.iter().find_map(|end| seconds.trim().strip_suffix(end))?.trim()))
    };
    text.split_once(':').or_else(of_primes)
}

/// Is it written as minutes and seconds, with 60 seconds or more?
fn has_too_many_seconds(text: &str) -> bool {
    let is_number = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit()) && !part.is_empty();
    watch_parts(text).is_some_and(|(minutes, seconds)| {
        let whole = seconds.split('.').next().unwrap_or_default();
        is_number(minutes) && is_number(whole) && whole.parse().is_ok_and(|whole: f64| whole >= 60.0)
    })
}

/// `2:39`, `2:39.5`, `2′39″`.
fn minutes_and_seconds(text: &str) -> Option<f64> {
    let (minutes, seconds) = watch_parts(text)?;
    let is_digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let whole = seconds.split('.').next()?;
    if !is_digits(minutes) || whole.len() != 2 || !is_digits(&seconds.replacen('.', "", 1)) {
        return None;
    }
    let (minutes, seconds): (f64, f64) = (minutes.parse().ok()?, seconds.parse().ok()?);
    (seconds < 60.0).then_some(minutes * 60.0 + seconds)
}

/// `2 min 39 s`, `1 h 5 min`, `1m24s`: each part smaller than the one before.
fn parts(text: &str) -> Option<f64> {
    let (mut rest, mut sum, mut last, mut count) = (text.trim(), 0.0, f64::INFINITY, 0);
    while !rest.is_empty() {
        let (number, after) = split_number(rest).ok()?;
        let after = after.trim_start();
        let end = after.find(|character: char| !character.is_alphabetic()).unwrap_or(after.len());
        // Beside hours or seconds `m` is no metre.
        let name = if &after[..end] == "m" { "min" } else { &after[..end] };
        let unit = Dimension::Duration.unit(name)?;
        if unit.factor >= last || number < 0.0 {
            return None;
        }
        (sum, last, count) = (sum + unit.to_house(number), unit.factor, count + 1);
        rest = after[end..].trim_start();
    }
    (count > 1).then_some(sum)
}

/// `40 in 30 s`: forty complete cycles by the stopwatch.
fn counted(text: &str) -> Option<f64> {
    let (count, time) = text.split_once(" in ")?;
    let (count, rest) = split_number(count.trim()).ok()?;
    if !["", "cycles", "oscillations"].contains(&rest.trim()) {
        return None;
    }
    let seconds = parse(time, Dimension::Duration).ok().filter(|seconds| *seconds > 0.0)?;
    Some(60.0 * count / seconds)
}

/// `90 degF in 10 min`: what a thermometer fell by the watch, in K/h.
fn fallen(text: &str) -> Option<f64> {
    let (fall, time) = text.split_once(" in ")?;
    let fall_k = parse(fall.trim(), Dimension::TemperatureDifference).ok()?;
    let seconds = parse(time.trim(), Dimension::Duration).ok().filter(|seconds| *seconds > 0.0)?;
    Some(fall_k * 3600.0 / seconds)
}

#[cfg(test)]
mod tests {
    use super::super::bounds::{self, Bounds, Extent};
    use super::*;

    fn house(text: &str, dimension: Dimension) -> f64 {
        parse(text, dimension).unwrap_or_else(|error| panic!("{}", error.problem(text, dimension)))
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
        for odd in [
            "1.5 1/2 in",
            "1e3 mm",
            "1E+3 mm",
            "7_200 mm",
            "1'000 mm",
            "1’000 mm",
            "1.2.3 mm",
            "5'6\"",
            "5 6 mm",
        ] {
            assert_eq!(error(odd), QuantityError::OddNumber, "{odd}");
        }
        let told = QuantityError::OddNumber.problem("1e3 mm", Dimension::Length);
        assert!(told.contains("no powers of ten"), "{told}");
        assert_eq!(error("28 MM"), QuantityError::WrongUnit("MM".to_owned()));
    }

    #[test]
    fn what_people_at_a_bench_write() {
        for (text, dimension, value) in [
            ("2:39", Dimension::Duration, 159.0),
            ("0:05.5", Dimension::Duration, 5.5),
            ("2′39″", Dimension::Duration, 159.0),
            ("2'39\"", Dimension::Duration, 159.0),
            ("2’ 39.5”", Dimension::Duration, 159.5),
            ("2 min 39 s", Dimension::Duration, 159.0),
            ("2min39s", Dimension::Duration, 159.0),
            ("1 h 5 min", Dimension::Duration, 3900.0),
            ("5½ in", Dimension::Length, 139.7),
            ("½ in", Dimension::Length, 12.7),
            ("6⅝\"", Dimension::Length, 168.275),
            ("6 5/8\"", Dimension::Length, 168.275),
            ("6 5⁄8”", Dimension::Length, 168.275),
            ("35 scfh", Dimension::Flow, 35.0 * 28.316_846_592 / 60.0),
            ("1m24s", Dimension::Duration, 84.0),
            ("1m 24s", Dimension::Duration, 84.0),
            ("1h5m", Dimension::Duration, 3900.0),
            ("90 degF in 10 min", Dimension::CoolingRate, 300.0),
            ("50 K in 10 min", Dimension::CoolingRate, 300.0),
            ("25 °C in 1 h", Dimension::CoolingRate, 25.0),
            ("0.6 cfm", Dimension::Flow, 0.6 * 28.316_846_592),
            ("80 osc/min", Dimension::Rate, 80.0),
            ("80 oscillations per minute", Dimension::Rate, 80.0),
            ("40 in 30 s", Dimension::Rate, 80.0),
            ("40 cycles in 30 s", Dimension::Rate, 80.0),
            ("20 in 0:15", Dimension::Rate, 80.0),
            ("80 cpm", Dimension::Rate, 80.0),
            ("80 CPM", Dimension::Rate, 80.0),
            ("120 seconds", Dimension::Duration, 120.0),
            ("2 minutes 39 seconds", Dimension::Duration, 159.0),
            ("2 mins", Dimension::Duration, 120.0),
            ("320 Amps", Dimension::Current, 320.0),
            ("31.5 Volts", Dimension::Voltage, 31.5),
            ("37 cubic feet per hour", Dimension::Flow, 37.0 * 28.316_846_592 / 60.0),
            ("285 inches per minute", Dimension::WireSpeed, 285.0 * 25.4),
        ] {
            let read = parse(text, dimension).unwrap_or_else(|error| panic!("{text}: {error:?}"));
            assert!((read - value).abs() < 1e-9, "{text}: {read}");
        }
        let range = bounds::parse("5½ to 6½ in", Dimension::Length);
        assert_eq!(range, Ok(Extent::Range(Bounds::between(139.7, 165.1))));
        let range = bounds::parse("1:50 to 2:10", Dimension::Duration);
        assert_eq!(range, Ok(Extent::Range(Bounds::between(110.0, 130.0))));
    }

    #[test]
    fn what_could_mean_two_things_is_refused() {
        for (text, dimension) in [
            ("2:75", Dimension::Duration),
            ("2:5", Dimension::Duration),
            ("2:39", Dimension::Length),
            ("2′75″", Dimension::Duration),
            ("2'39\"", Dimension::Length),
            ("39 s 2 min", Dimension::Duration),
            ("2 min 39", Dimension::Duration),
            ("40 in 0 s", Dimension::Rate),
            ("40 mm in 30 s", Dimension::Rate),
            ("88,9 mm", Dimension::Length),
            // A metre, or a minute.
            ("2 m", Dimension::Duration),
            ("50 in 10 min", Dimension::CoolingRate),
            ("50 K in 0 min", Dimension::CoolingRate),
            ("2,5 min", Dimension::Duration),
        ] {
            assert!(parse(text, dimension).is_err(), "{text}");
        }
    }
}
