//! The text of a proposed layout.
//!
//! Decides: what is written, and what stands there as a comment because the log does not tell it.
//! Never: writes a value that is not in the log, or that follows from it.

use super::sheet::Sheet;
use super::time::TimeGuess;
use super::{Guess, UnitGuess};
use crate::input::unit::Dimension;
use bandward::Channel;
use std::fmt::Write as _;

/// The text of the layout file.
pub fn text(
    name: &str,
    sheet: &Sheet,
    time: Option<&TimeGuess>,
    guesses: &[Guess],
    marks: &[&str],
    holds: &[Option<u64>],
    warnings: &mut Vec<String>,
) -> String {
    let mut text = format!(
        "# A layout of {}, proposed by `bandward layout` from its first {} rows. Check every line of it.\n",
        comment(name),
        sheet.rows.len()
    );
    time_table(&mut text, sheet, time);
    csv_table(&mut text, sheet, time, marks);
    text.push_str("\n[channels]\n");
    for (guess, hold) in guesses.iter().zip(holds) {
        channel(&mut text, sheet, guess, *hold, warnings);
    }
    let missing: Vec<_> = Channel::ALL
        .iter()
        .filter(|channel| guesses.iter().all(|guess| guess.channel != **channel))
        .map(|channel| channel.name())
        .collect();
    if !missing.is_empty() {
        let _ = writeln!(text, "# Without a column, so far as the names tell: {}.", missing.join(", "));
    }
    text
}

fn time_table(text: &mut String, sheet: &Sheet, time: Option<&TimeGuess>) {
    text.push_str("\n[time]\n");
    let column = |column: usize| column_text(sheet, column);
    let _ = match time {
        None => writeln!(
            text,
            "# interval = \"\"  # no column tells the time: the spacing of the rows, such as \"20 ms\""
        ),
        Some(TimeGuess::Clock { date, time: (at, format) }) => {
            let mut said = Ok(());
            if let Some((day, format)) = date {
                said = writeln!(
                    text,
                    "date = {}\ndate_format = {}{}",
                    column(*day),
                    quoted(format),
                    of_year(format)
                );
            }
            said.and_then(|()| {
                writeln!(text, "time = {}\ntime_format = {}{}", column(*at), quoted(format), of_year(format))
            })
        }
        Some(TimeGuess::Count(at, "s")) => writeln!(text, "seconds = {}", column(*at)),
        Some(TimeGuess::Count(at, unit)) => {
            writeln!(text, "epoch = {}\nunit = \"{unit}\"  # from its name, or its size", column(*at))
        }
        Some(TimeGuess::Elapsed(at)) => writeln!(text, "elapsed = {}", column(*at)),
    };
}

/// What is told of a year of two digits.
fn of_year(format: &str) -> &'static str {
    if format.contains("%y") { "  # two digits of the year, of 1969 to 2068" } else { "" }
}

fn csv_table(text: &mut String, sheet: &Sheet, time: Option<&TimeGuess>, marks: &[&str]) {
    text.push_str("\n[csv]\n");
    let delimiter =
        if sheet.delimiter == b'\t' { "tab".to_owned() } else { char::from(sheet.delimiter).to_string() };
    let _ = writeln!(text, "delimiter = {}", quoted(&delimiter));
    if sheet.decimal_comma {
        text.push_str("decimal_comma = true\n");
    }
    if sheet.skip_rows > 0 {
        let _ = writeln!(text, "skip_rows = {}  # lines above the table", sheet.skip_rows);
    }
    if !sheet.has_header() {
        text.push_str("header = false  # columns are told by their number\n");
    }
    if sheet.has_units() {
        text.push_str("units_row = true  # a row of units below the header\n");
    }
    if time.is_some_and(|time| time.is_newest_first(sheet)) {
        text.push_str("order = \"newest first\"\n");
    }
    if !marks.is_empty() {
        let list: Vec<_> = marks.iter().map(|mark| quoted(mark)).collect();
        let _ = writeln!(text, "missing = [{}]", list.join(", "));
    }
}

fn channel(text: &mut String, sheet: &Sheet, guess: &Guess, hold_s: Option<u64>, warnings: &mut Vec<String>) {
    let hold = hold_s.map_or_else(String::new, |hold_s| format!(", hold = \"{hold_s} s\""));
    let (name, column) = (guess.channel.name(), column_text(sheet, guess.column));
    let range = guess.range.map_or("no number in the first rows".to_owned(), |(least, greatest)| {
        format!("{least} to {greatest} in the first rows")
    });
    let mut left_out = |lacks: &str| warnings.push(format!("`{name}` is left out: {lacks}"));
    let units = Dimension::of_channel(guess.channel).unit_list();
    let _ = match &guess.unit {
        UnitGuess::Known(unit) if sheet.has_unit_in_row(guess.column, unit) => {
            writeln!(text, "{name} = {{ column = {column}, unit = \"units row\"{hold} }}  # {unit}; {range}")
        }
        UnitGuess::Known(unit) => {
            writeln!(text, "{name} = {{ column = {column}, unit = {}{hold} }}  # {range}", quoted(unit))
        }
        UnitGuess::Unknown => {
            left_out("the log does not tell its unit");
            writeln!(
                text,
                "# {name} = {{ column = {column}, unit = \"\"{hold} }}  # {range}; a unit of {units}"
            )
        }
        UnitGuess::Contradicted(one, other) => {
            left_out(&format!("its column tells two units, `{one}` and `{other}`: choose one"));
            writeln!(
                text,
                "# {name} = {{ column = {column}, unit = \"\"{hold} }}  # {range}; {} or {}?",
                comment(one),
                comment(other)
            )
        }
        UnitGuess::Counts => {
            left_out("the log does not tell how many counts make a turn");
            writeln!(
                text,
                "# {name} = {{ column = {column}, unit = \"count\", counts_per_turn = {hold} }}  # {range}"
            )
        }
        UnitGuess::Signal(signal) => {
            left_out("the log holds a signal and does not tell what it stands for");
            let from = if *signal == "mA" { "[4, 20]" } else { "[0, 10]" };
            writeln!(
                text,
                "# {name} = {{ column = {column}, from = {from}, to = [\"\", \"\"]{hold} }}  # {range} {signal}: what do the \
                 ends stand for?"
            )
        }
    };
}

/// The lines of columns of which a person has to choose, as comments, each with what is open.
pub fn open(sheet: &Sheet, columns: &[(String, Guess)]) -> String {
    let mut text = String::new();
    for (reason, guess) in columns {
        let _ = writeln!(text, "# {}:\n# {}", comment(reason), line(sheet, guess));
    }
    text
}

/// The line of a column, without a mark of a comment.
pub fn line(sheet: &Sheet, guess: &Guess) -> String {
    let mut line = String::new();
    channel(&mut line, sheet, guess, None, &mut Vec::new());
    line.trim_start_matches("# ").trim_end().to_owned()
}

/// A column as a layout tells it: by name, or by number where there is no name of its own.
fn column_text(sheet: &Sheet, column: usize) -> String {
    if sheet.is_named(column) { quoted(&sheet.name(column)) } else { (column + 1).to_string() }
}

/// TOML's own quoting, but on one line: it may stand in a comment.
fn quoted(text: &str) -> String {
    let quoted = toml::Value::String(text.to_owned()).to_string();
    if quoted.contains('\n') {
        // What JSON writes is TOML too, but for one character that has to be escaped there alone.
        serde_json::Value::from(text).to_string().replace('\u{7f}', "\\u007f")
    } else {
        quoted
    }
}

/// A text that stays on its line.
pub fn comment(text: &str) -> String {
    text.chars().filter(|character| !character.is_control()).collect()
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn a_name_over_several_lines_stays_on_one() {
        for name in
            ["Amps", "Amps \"(A)\"", "lv\nTime\r\n\"Amps\"", "a\n\u{7f}\u{1}\\\t\u{85}\u{2028}b", "\n"]
        {
            let written = quoted(name);
            assert!(!written.contains(['\n', '\r']), "{written}");
            let read: toml::Table = format!("name = {written}").parse().expect("TOML");
            assert_eq!(read["name"].as_str(), Some(name), "{written}");
        }
    }
}
