//! Letters large enough to be read from two metres.
//!
//! Decides: their shape, five dots high.
//! Assumes: the words of the verdict; a letter without a shape is left blank, and a test looks for one.
//! Never: anything with colour.

/// Dots from top to bottom.
pub const DOTS_HIGH: usize = 5;

const SHAPES: [(char, [&str; DOTS_HIGH]); 19] = [
    (' ', ["  ", "  ", "  ", "  ", "  "]),
    ('A', [" # ", "# #", "###", "# #", "# #"]),
    ('D', ["## ", "# #", "# #", "# #", "## "]),
    ('E', ["###", "#  ", "## ", "#  ", "###"]),
    ('G', ["####", "#   ", "# ##", "#  #", "####"]),
    ('H', ["# #", "# #", "###", "# #", "# #"]),
    ('I', ["#", "#", "#", "#", "#"]),
    ('J', ["  #", "  #", "  #", "# #", "###"]),
    ('K', ["# #", "# #", "## ", "# #", "# #"]),
    ('L', ["#  ", "#  ", "#  ", "#  ", "###"]),
    ('N', ["#  #", "## #", "# ##", "#  #", "#  #"]),
    ('O', ["###", "# #", "# #", "# #", "###"]),
    ('P', ["###", "# #", "###", "#  ", "#  "]),
    ('R', ["## ", "# #", "## ", "# #", "# #"]),
    ('S', ["###", "#  ", "###", "  #", "###"]),
    ('T', ["###", " # ", " # ", " # ", " # "]),
    ('U', ["# #", "# #", "# #", "# #", "###"]),
    ('V', ["# #", "# #", "# #", "# #", " # "]),
    ('W', ["#   #", "#   #", "# # #", "## ##", "#   #"]),
];

/// A word as rows of dots.
pub fn dots(word: &str) -> [Vec<bool>; DOTS_HIGH] {
    let mut rows: [Vec<bool>; DOTS_HIGH] = Default::default();
    for letter in word.chars() {
        let Some((_, shape)) = SHAPES.iter().find(|(known, _)| *known == letter) else { continue };
        for (row, dots) in rows.iter_mut().zip(shape) {
            if !row.is_empty() {
                row.push(false);
            }
            row.extend(dots.chars().map(|dot| dot == '#'));
        }
    }
    rows
}

/// Lines of text with a word in two rows of dots a line, three lines in all: for small windows.
pub fn small(word: &str) -> Vec<String> {
    let rows = dots(word);
    let none = vec![false; rows[0].len()];
    let pair = |upper: &[bool], lower: &[bool]| {
        let both = upper.iter().zip(lower);
        both.map(|dots| match dots {
            (true, true) => '█',
            (true, false) => '▀',
            (false, true) => '▄',
            (false, false) => ' ',
        })
        .collect()
    };
    vec![pair(&rows[0], &rows[1]), pair(&rows[2], &rows[3]), pair(&rows[4], &none)]
}

/// Lines of text with a word, a dot a line and two characters wide: for large windows.
pub fn large(word: &str) -> Vec<String> {
    let line = |row: &Vec<bool>| row.iter().map(|&dot| if dot { "██" } else { "  " }).collect();
    dots(word).iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::verdict::WORDS;

    #[test]
    fn every_letter_of_the_verdict_has_a_shape_of_even_rows() {
        for letter in WORDS.iter().flat_map(|word| word.chars()) {
            assert!(SHAPES.iter().any(|(known, _)| *known == letter), "{letter}");
        }
        for (letter, shape) in SHAPES {
            assert!(shape.iter().all(|row| row.len() == shape[0].len()), "{letter}");
        }
    }
    #[test]
    fn both_sizes_show_the_same_dots() {
        assert_eq!(small("IT"), ["█ ▀█▀", "█  █ ", "▀  ▀ "]);
        assert_eq!(large("I").len(), DOTS_HIGH);
    }
}
