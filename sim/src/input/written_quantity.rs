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
