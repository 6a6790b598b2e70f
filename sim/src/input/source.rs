//! The text of a TOML file, made readable where TOML itself is broken.
//!
//! Decides: which lines to leave out so that the rest of a broken file can still be read.
//! Assumes: nothing.
//! Never: moves anything: a place in what is left is the same place in the file.

use super::diagnostic::InputError;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// More faults of TOML itself than anybody wants to read at once.
const MOST_FAULTS: usize = 6;

const TOML_LINES: &str =
    "lines such as `key = \"text\"` or `key = [\"text\", \"text\"]`, once each, below a `[table]`";

/// The text of a TOML file.
pub struct Source {
    /// Name of the file, as the user gave it.
    pub file: String,
    /// The text as it is in the file.
    pub text: String,
    /// The text with spaces in place of what TOML cannot read.
    pub(super) readable: String,
    /// What TOML cannot read.
    pub(super) faults: Vec<InputError>,
}

impl Source {
    /// Takes a text apart. One fault a round: the stretch it spoils is left out before the next, so
    /// that no fault is told that is only the echo of another.
    pub fn new(file: &str, text: &str) -> Self {
        let mut readable = text.to_owned();
        let mut faults = Vec::new();
        while let Some(fault) = first_fault(&readable) {
            let error = InputError::in_text(file, text, fault.place, "");
            let problem = format!("not valid TOML: {}", fault.message);
            faults.push(error.problem(problem).allowed(TOML_LINES));
            blank(&mut readable, fault.spoilt);
            if faults.len() == MOST_FAULTS {
                readable.clear();
            }
        }
        Self { file: file.to_owned(), text: text.to_owned(), readable, faults }
    }
}

struct Fault {
    place: Range<usize>,
    message: String,
    spoilt: Range<usize>,
}

fn first_fault(text: &str) -> Option<Fault> {
    let (root, errors) = DeTable::parse_recoverable(text);
    let start_of = |error: &toml::de::Error| error.span().map_or(0, |span| span.start);
    let error = errors.iter().min_by_key(|error| start_of(error))?;
    let place = error.span().unwrap_or(0..0);
    let message = error.message().to_owned();
    let value = leaf_around(root.get_ref(), place.start)
        .filter(|value| value.start < line_of(text, place.start).start);
    let Some(value) = value else {
        return Some(Fault { spoilt: spoilt_by(text, place.start), place, message });
    };
    let whole = line_of(text, value.start).start..line_of(text, value.end).end;
    let unclosed = errors.iter().find(|error| error.message().starts_with("unclosed"));
    if unclosed.is_none() && value.end < text.trim_end().len() {
        return Some(Fault { place, message, spoilt: whole });
    }
    // It ran on into what follows: the fault is where it begins, and what follows is sound.
    let line = line_of(text, value.start);
    let message = unclosed.map_or(message, |error| error.message().to_owned());
    Some(Fault { place: value.start..line.end, message, spoilt: line })
}

/// The value that is no table and holds byte `at`.
fn leaf_around(table: &DeTable<'_>, at: usize) -> Option<Range<usize>> {
    table.iter().find_map(|(_, value): (_, &Spanned<DeValue<'_>>)| match value.get_ref() {
        DeValue::Table(inner) => leaf_around(inner, at),
        _ => Some(value.span()).filter(|span| (span.start..=span.end).contains(&at)),
    })
}

/// A line whose fault is its own spoils itself; the name of a table spoils the whole table.
fn spoilt_by(text: &str, at: usize) -> Range<usize> {
    let line = line_of(text, at);
    if !text[line.clone()].trim_start().starts_with('[') {
        return line;
    }
    let next_table = text[line.end..].find("\n[").map_or(text.len(), |next| line.end + next);
    line.start..next_table
}

/// The line around byte `at`, without its end.
fn line_of(text: &str, at: usize) -> Range<usize> {
    let at = (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0);
    let start = text[..at].rfind('\n').map_or(0, |newline| newline + 1);
    let end = text[at..].find('\n').map_or(text.len(), |newline| at + newline);
    start..end
}

/// Puts spaces in place of everything but the ends of lines. A stretch that is blank already, which
/// TOML should find no fault in, takes the whole text with it, so that every round gets further.
fn blank(text: &mut String, stretch: Range<usize>) {
    let is_blank = text[stretch.clone()].trim().is_empty();
    let stretch = if is_blank { 0..text.len() } else { stretch };
    let spaces: String =
        text[stretch.clone()].bytes().map(|byte| if byte == b'\n' { '\n' } else { ' ' }).collect();
    text.replace_range(stretch, &spaces);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines_at_fault(text: &str) -> Vec<usize> {
        let source = Source::new("x", text);
        assert_eq!(source.readable.len(), text.len());
        source.faults.iter().map(|fault| fault.line).collect()
    }

    #[test]
    fn each_fault_is_told_once_and_where_it_is() {
        assert!(lines_at_fault("a = 1\n").is_empty());
        assert_eq!(lines_at_fault("a = [\"1\", \"2\"\nb = 2\n[c]\nd = 3\n"), [1]);
        assert_eq!(lines_at_fault("a = \"x\nb = 2\nc = y z\n"), [1, 3]);
        assert_eq!(lines_at_fault("[a\nb = 1\nb = 2\n[c]\nd = 1\nd = 2\n"), [1, 6]);
        assert_eq!(lines_at_fault("[a]\n[b]\nx = 1\n[a]\nx = 1\nx = 2\n"), [4]);
        assert_eq!(lines_at_fault("a = [\n 1,\n 2 3,\n]\nb = \n"), [3, 5]);
        assert_eq!(lines_at_fault("a = '''\nb = 2\nc = 1"), [1]);
    }
}
