//! Text that fits the screen it is read on.
//!
//! Decides: where a line that is too long is broken, and how far its rest is set in.
//! Assumes: a screen of 80 columns, the least there is; characters one column wide.
//! Never: breaks a word, nor counts a colour as a character.

/// Columns of the narrowest screen.
pub const WIDTH: usize = 80;
/// A column of a table that begins further right leaves too little room for the rest of its lines.
const DEEPEST: usize = WIDTH - 24;

/// The text with every line broken that is too long; the rest is set in below the column, or the point of
/// a list, that the line ends with.
pub fn fit(text: &str) -> String {
    let mut fitted = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        fit_line(&mut fitted, line);
    }
    fitted
}

fn fit_line(fitted: &mut String, line: &str) {
    let indent = hanging_indent(line);
    let mut rest = line;
    let mut used = 0;
    while let Some(at) = breaking_point(rest, WIDTH - used, indent.saturating_sub(used)) {
        fitted.push_str(&rest[..at]);
        fitted.push('\n');
        fitted.extend(std::iter::repeat_n(' ', indent));
        rest = &rest[at + 1..];
        used = indent;
    }
    fitted.push_str(rest);
}

/// Bytes of a line and the column each begins at; escape sequences take no column.
fn columns(line: &str) -> impl Iterator<Item = (usize, usize, char)> {
    let mut column = 0;
    let mut is_escape = false;
    line.char_indices().filter_map(move |(at, character)| {
        is_escape |= character == '\u{1b}';
        let shown = (!is_escape && character != '\n').then_some((at, column, character));
        column += usize::from(shown.is_some());
        is_escape &= character != 'm';
        shown
    })
}

/// Where the last column of a table begins, or the words of a point, as far as that is not too far right.
fn hanging_indent(line: &str) -> usize {
    let mut indent = 0;
    let mut spaces = 2;
    let mut is_point = false;
    for (_, column, character) in columns(line) {
        if character == ' ' {
            spaces += 1;
            if is_point {
                indent = column + 1;
            }
            is_point = false;
            continue;
        }
        is_point = spaces >= 2 && character == '-' && column <= DEEPEST;
        if spaces >= 2 && column <= DEEPEST {
            indent = column;
        }
        spaces = 0;
    }
    indent
}

/// The byte of the space at which a line too long for `room` is broken, beyond column `least`: before a
/// bracket rather than inside it, where that leaves most of the line; `None` where it fits or cannot be
/// broken.
fn breaking_point(line: &str, room: usize, least: usize) -> Option<usize> {
    let mut last = None;
    let mut bracket = None;
    let mut before = None;
    for (at, column, character) in columns(line) {
        if column >= room && last.is_some() {
            return bracket.or(last);
        }
        match character {
            '(' if 2 * column > room => bracket = before,
            ')' => bracket = None,
            _ => {}
        }
        before = (character == ' ' && column > least).then_some(at);
        last = before.or(last);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn widest(text: &str) -> usize {
        text.lines().map(|line| columns(line).count()).max().unwrap_or(0)
    }

    #[test]
    fn what_fits_is_left_alone() {
        let line = "x".repeat(WIDTH - 2) + " y\n";
        assert_eq!(fit(&line), line);
        assert_eq!(fit(""), "");
        assert_eq!(fit("a\n\n  b"), "a\n\n  b");
    }

    #[test]
    fn the_rest_hangs_below_its_column_or_point() {
        let words = "word ".repeat(20);
        let fitted = fit(&format!("  ADVISORY  {words}"));
        assert!(fitted.contains(&format!("\n{}word", " ".repeat(12))), "{fitted}");
        let fitted = fit(&format!("    - {words}"));
        assert!(fitted.contains(&format!("\n{}word", " ".repeat(6))), "{fitted}");
        assert!(widest(&fitted) <= WIDTH);
    }

    #[test]
    fn brackets_stay_together_and_colours_count_for_nothing() {
        let line = format!("{}\u{1b}[2m16 to 19 L/min (allowed 15 to 22 L/min)\u{1b}[0m\n", " ".repeat(55));
        let fitted = fit(&line);
        assert!(fitted.contains("16 to 19 L/min\n"), "{fitted}");
        assert!(widest(&fitted) <= WIDTH);
        let styled = format!("\u{1b}[1m{}\u{1b}[0m y\n", "x".repeat(WIDTH - 2));
        assert_eq!(fit(&styled), styled);
    }

    #[test]
    fn a_word_longer_than_the_screen_stays_whole() {
        let long = "x".repeat(2 * WIDTH);
        assert_eq!(fit(&long), long);
        assert_eq!(fit(&format!("a {long} b\n")), format!("a\n{long}\nb\n"));
    }
}
