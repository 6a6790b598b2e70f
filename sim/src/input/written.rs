//! The ways people at a bench write a quantity or a word.
//!
//! Decides: what `5½`, `2:39`, `2 min 39 s`, `40 in 30 s`, `cw` and `DC+` mean.
//! Assumes: a stopwatch is read in minutes and seconds.
//! Never: takes a decimal comma: in another language `1,500` is one and a half.

use super::quantity::{Dimension, parse, split_number};

/// Fractions that are one character.
const FRACTIONS: [(char, &str); 15] = [
    ('½', "1/2"),
    ('¼', "1/4"),
    ('¾', "3/4"),
    ('⅛', "1/8"),
    ('⅜', "3/8"),
    ('⅝', "5/8"),
    ('⅞', "7/8"),
    ('⅓', "1/3"),
    ('⅔', "2/3"),
    ('⅕', "1/5"),
    ('⅖', "2/5"),
    ('⅗', "3/5"),
    ('⅘', "4/5"),
    ('⅙', "1/6"),
    ('⅚', "5/6"),
];

/// A text with its fractions written out: `5½ in` is `5 1/2 in`.
pub(super) fn plain(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for character in text.chars() {
        match FRACTIONS.iter().find(|(fraction, _)| *fraction == character) {
            Some((_, written)) => {
                if plain.ends_with(|before: char| before.is_ascii_digit()) {
                    plain.push(' ');
                }
                plain.push_str(written);
            }
            None if character == '⁄' => plain.push('/'),
            None => plain.push(character),
        }
    }
    plain
}

/// What is written in a way of its own, in the house unit: times of a stopwatch, and cycles counted by one.
pub(super) fn of_stopwatch(text: &str, dimension: Dimension) -> Option<f64> {
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
pub(super) fn has_too_many_seconds(text: &str) -> bool {
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

/// The word of a file for what a shop says.
pub fn spoken(text: &str) -> &str {
    match text.to_lowercase().as_str() {
        "cw" | "clockwise" => "clockwise",
        "ccw" | "acw" | "anticlockwise" | "anti-clockwise" | "counterclockwise" | "counter-clockwise" => {
            "counter-clockwise"
        }
        "dc+" | "dcep" | "dcrp" | "ep" | "electrode positive" | "reverse" | "reverse polarity" => "DCEP",
        "dc-" | "dc−" | "dcen" | "dcsp" | "en" | "electrode negative" | "straight" | "straight polarity" => {
            "DCEN"
        }
        "y" | "yes" => "yes",
        "n" | "no" => "no",
        "l" | "left" => "left",
        "r" | "right" => "right",
        "not compatible" | "non-compatible" => "incompatible",
        "not cooled" | "air" | "air-cooled" | "gas-cooled" => "not cooled",
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::super::bounds::{self, Bounds, Extent};
    use super::*;

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

    #[test]
    fn what_a_shop_says_is_a_word_of_the_file() {
        for (said, word) in [
            ("cw", "clockwise"),
            ("CCW", "counter-clockwise"),
            ("DC+", "DCEP"),
            ("dc-", "DCEN"),
            ("Left", "left"),
            ("L", "left"),
            ("r", "right"),
            ("Clockwise", "clockwise"),
            ("Counter-Clockwise", "counter-clockwise"),
            ("EP", "DCEP"),
            ("en", "DCEN"),
            ("Straight", "DCEN"),
            ("reverse", "DCEP"),
            ("not compatible", "incompatible"),
            ("y", "yes"),
            ("Y", "yes"),
            ("No", "no"),
            ("air-cooled", "not cooled"),
        ] {
            assert_eq!(spoken(said), word);
        }
    }
}
