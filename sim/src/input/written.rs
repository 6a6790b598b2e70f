//! The ways people at a bench write a fraction or a word.
//!
//! Decides: what `5½`, `cw` and `DC+` mean.
//! Assumes: nothing.
//! Never: changes a word that it does not know.

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
    use super::super::quantity::Dimension;
    use super::super::written_quantity::parse;
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
