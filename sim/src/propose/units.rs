//! Which unit a column is in.
//!
//! Decides: the unit that the cells, the row of units and the name of a column tell.
//! Assumes: `in` before another unit is the word.
//! Never: chooses between two units that are told of one column.

use super::sheet::Sheet;
use super::unit_names;
use super::unit_names::{is_turns_a_minute, unit_like};
use crate::input::unit::Dimension;
use bandward::Channel;

/// What is known of the unit of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum UnitGuess {
    /// This one, as a layout writes it.
    Known(String),
    /// It is not told.
    Unknown,
    /// Two are told, each as it is written.
    Contradicted(String, String),
    /// Counts of an encoder, of which nobody says how many make a turn.
    Counts,
    /// A signal of a sensor, of which nobody says what it stands for.
    Signal(&'static str),
}

/// The unit of a column: from its cells, the units row, or its name.
pub fn unit_of(sheet: &Sheet, column: usize, channel: Channel) -> UnitGuess {
    let dimension = Dimension::of_channel(channel);
    let text = sheet.unit_text(column);
    let first = of_text(sheet, column, channel, &text);
    let name = sheet.name(column);
    // `Gas flow (A) [L/min]`: line A, or amperes.
    let is_own = |told: &String| of_text(sheet, column, channel, told) != UnitGuess::Unknown;
    if first == UnitGuess::Unknown
        && let Some(own) = unit_names::units_in_brackets(&name).find(is_own)
    {
        return UnitGuess::Contradicted(text, own);
    }
    // Each that is told besides.
    let others = unit_names::units_in(&name).into_iter().chain(sheet.units_in_cells(column, dimension));
    for other in others {
        let unit = of_text(sheet, column, channel, &other);
        if first != UnitGuess::Unknown && unit != UnitGuess::Unknown && unit != first {
            return UnitGuess::Contradicted(text, other);
        }
    }
    let is_foreign = |told: &String| {
        of_text(sheet, column, channel, told) == UnitGuess::Unknown && is_of_another(told, channel)
    };
    if first != UnitGuess::Unknown
        && let Some(other) = unit_names::units_in_brackets(&name).find(is_foreign)
    {
        return UnitGuess::Contradicted(text, other);
    }
    if sheet.cells_have_units(column, dimension) { UnitGuess::Known("cell".to_owned()) } else { first }
}

/// What a text says of the unit of a column.
fn of_text(sheet: &Sheet, column: usize, channel: Channel, text: &str) -> UnitGuess {
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
    match unit_like(Dimension::of_channel(channel), text) {
        Some(unit) => UnitGuess::Known(unit.symbol.to_owned()),
        None => UnitGuess::Unknown,
    }
}

/// Is it a unit of another channel, and none of this one?
fn is_of_another(text: &str, channel: Channel) -> bool {
    let is_of = |channel: Channel| unit_like(Dimension::of_channel(channel), text).is_some();
    let is_turning = |channel: Channel| channel == Channel::Spindle && is_turns_a_minute(text);
    !is_of(channel) && Channel::ALL.into_iter().any(is_of) && !is_turning(channel)
}

fn is_within(sheet: &Sheet, column: usize, low: f64, high: f64) -> bool {
    sheet.range(column).is_some_and(|(least, greatest)| least >= low && greatest <= high)
}
