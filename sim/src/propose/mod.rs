//! A layout proposed from the first rows of a log.
//!
//! Decides: what each column seems to be, by its name, its unit and its cells.
//! Assumes: the first rows are like the rest.
//! Never: makes up a unit, a span or a count of an encoder: what the log does not tell is left out, as a comment
//! that says what is missing.

mod candidates;
mod names;
pub mod plausible;
mod sheet;
mod sparse;
pub mod still;
mod time;
mod words;
mod write;

use crate::input::unit::{Dimension, Unit};
use crate::trace::bare_unit;
use bandward::Channel;
use sheet::Sheet;
use time::TimeGuess;

/// What a proposal has for a channel.
#[derive(Clone, Debug, PartialEq)]
struct Guess {
    channel: Channel,
    column: usize,
    unit: UnitGuess,
    /// Least and greatest number in the first rows, as written.
    range: Option<(f64, f64)>,
}

/// What is known of the unit of a column.
#[derive(Clone, Debug, PartialEq)]
enum UnitGuess {
    /// This one, as a layout writes it.
    Known(String),
    /// It is not told.
    Unknown,
    /// Counts of an encoder, of which nobody says how many make a turn.
    Counts,
    /// A signal of a sensor, of which nobody says what it stands for.
    Signal(&'static str),
}

/// A proposed layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The text of the layout file, with comments.
    pub text: String,
    /// What is left out, and what a person should check.
    pub warnings: Vec<String>,
}

impl Proposal {
    /// Takes a channel out again, with the reason on the screen and above its line of the file.
    pub fn leave_out(&mut self, channel: Channel, reason: String) {
        let line = format!("{} = {{", channel.name());
        if let Some(at) = self.text.find(&format!("\n{line}")) {
            self.text.insert_str(at + 1, &format!("# {}\n# ", write::comment(&reason)));
        }
        self.warnings.push(reason);
    }
    /// Adds what a person should check of a channel, on the screen and above its line of the file.
    pub fn doubt(&mut self, channel: Channel, doubt: String) {
        let line = format!("{} = {{", channel.name());
        if let Some(at) = self.text.find(&format!("\n{line}")) {
            self.text.insert_str(at + 1, &format!("# check: {}\n", write::comment(&doubt)));
        }
        self.warnings.push(doubt);
    }
}

/// Proposes a layout for the first lines of a log; `name` is what it is called in the file.
///
/// # Errors
/// Says why the lines are no table.
pub fn propose(name: &str, head: &str) -> Result<Proposal, String> {
    let sheet = Sheet::of(head)?;
    let mut warnings = Vec::new();
    let time = time::guess(&sheet, &mut warnings);
    let taken = time.as_ref().map_or(Vec::new(), TimeGuess::columns);
    let columns = candidates::of(&sheet, &taken);
    let guesses: Vec<_> =
        Channel::ALL.iter().filter_map(|&channel| columns.chosen(&sheet, channel)).collect();
    warnings.extend(columns.warnings(&sheet));
    if guesses.is_empty() {
        warnings.push("no column has a name of a channel: fill in [channels] by hand".to_owned());
    }
    let marks = sheet.missing_marks(&taken);
    let holds = sparse::holds(&sheet, time.as_ref(), &guesses, &mut warnings);
    let mut text = write::text(name, &sheet, time.as_ref(), &guesses, &marks, &holds, &mut warnings);
    text.push_str(&columns.comments(&sheet));
    text.push_str(&write::not_known(&sheet, &columns.not_known(&sheet)));
    let mut proposal = Proposal { text, warnings };
    for guess in &guesses {
        if let Some(number) = names::number_behind(&sheet.name(guess.column)) {
            let name = sheet.shown_name(guess.column);
            proposal.doubt(
                guess.channel,
                format!("{name} has the number {number} behind its name: is it of this weld, or of a second arc, or a set value?"),
            );
        }
    }
    Ok(proposal)
}

/// The unit of a column: from its cells, the units row, or its name.
fn unit_of(sheet: &Sheet, column: usize, channel: Channel) -> UnitGuess {
    let dimension = Dimension::of_channel(channel);
    if sheet.cells_have_units(column, dimension) {
        return UnitGuess::Known("cell".to_owned());
    }
    let text = sheet.unit_text(column);
    if channel == Channel::Spindle {
        match text.to_lowercase().as_str() {
            text if is_turns_a_minute(text) => return UnitGuess::Known("rpm".to_owned()),
            "deg/s" | "°/s" => return UnitGuess::Known("deg/s".to_owned()),
            "count" | "counts" | "pulses" | "cnt" | "inc" => return UnitGuess::Counts,
            _ => {}
        }
    }
    let is_current_loop =
        text == "mA" && (channel != Channel::Current || is_within(sheet, column, 3.0, 22.0));
    if is_current_loop {
        return UnitGuess::Signal("mA");
    }
    if text == "V" && channel != Channel::Voltage {
        return UnitGuess::Signal("V");
    }
    match unit_like(dimension, &text) {
        Some(unit) => UnitGuess::Known(unit.symbol.to_owned()),
        None => UnitGuess::Unknown,
    }
}

/// Turns a minute, as written in a few languages (common practice, no source).
fn is_turns_a_minute(text: &str) -> bool {
    let known = ["rpm", "1/min", "u/min", "r/min", "rev/min", "tr/min", "giri/min", "min-1", "min⁻¹", "upm"];
    known.contains(&text.to_lowercase().as_str())
}

fn is_within(sheet: &Sheet, column: usize, low: f64, high: f64) -> bool {
    sheet.range(column).is_some_and(|(least, greatest)| least >= low && greatest <= high)
}

/// The unit of a dimension that a text means, whatever its letters.
fn unit_like(dimension: Dimension, text: &str) -> Option<Unit> {
    let text = bare_unit(text);
    if let Some(unit) = dimension.unit(text) {
        return Some(unit);
    }
    // Only where no two units differ by their letters alone: mA and MA would.
    let mut alike = dimension.units().iter().filter(|unit| unit.symbol.eq_ignore_ascii_case(text));
    let first = alike.next()?;
    alike.next().is_none().then_some(*first)
}
