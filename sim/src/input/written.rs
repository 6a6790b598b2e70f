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
    use super::*;

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
