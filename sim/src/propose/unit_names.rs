//! Units as logs write them, in the name of a column or in a row of their own.
//!
//! Decides: which part of a name is a unit, and which unit a text is most like.
//! Assumes: nothing.
//! Never: looks at a reading.

use super::words::{self as known, is_in};
use crate::input::unit::{Dimension, Unit};
use crate::trace::bare_unit;
use bandward::Channel;

pub(super) const BRACKETS: [char; 6] = ['[', '(', '{', ']', ')', '}'];

/// The unit that a name carries: in brackets, or behind the last `_`, `/` or blank.
pub fn unit_in(name: &str) -> String {
    let bare = name.split(BRACKETS).next().unwrap_or(name).trim();
    let last = || bare.rsplit(['_', ' ']).next().filter(|last| last.len() < bare.len());
    // `A shunt` is a unit and what is meant.
    let first = || {
        texts_in_brackets(name).find_map(|text| text.split_whitespace().next().filter(|word| is_unit(word)))
    };
    let text = in_brackets(name).next().or_else(first).or_else(last).unwrap_or("").trim();
    match text {
        "min" => of_a_minute(bare),
        text if text.chars().count() <= 8 => spelled(text),
        _ => String::new(),
    }
}

/// What a name that ends in a minute is in: `wire_m_min`, `wire_mm_per_min`; where it says nothing of a length or a volume,
/// the project's own unit of a feed.
fn of_a_minute(name: &str) -> String {
    let mut parts = name.trim().rsplit(['_', ' ']).skip(1).filter(|part| *part != "per");
    let before = parts.next().unwrap_or_default().to_lowercase();
    let is_unit = ["l", "nl", "sl", "ml", "m", "mm", "cm", "in", "ft"].contains(&before.as_str());
    format!("{}/min", if is_unit { &before } else { "mm" })
}

/// The units that stand in brackets; what else stands there are words of the name: whose reading it is, or whether it is
/// one, and numbers.
fn in_brackets(name: &str) -> impl Iterator<Item = &str> {
    texts_in_brackets(name).filter(|text| is_unit(text))
}

/// What stands in brackets, of a list each by itself: `Gas flow (nozzle, L/min)`.
pub fn texts_in_brackets(name: &str) -> impl Iterator<Item = &str> {
    let texts = name.split(BRACKETS).skip(1).flat_map(|text| text.split([',', ';']));
    texts.map(str::trim).filter(|text| !text.is_empty())
}

/// Is it a unit, of whatever thing, with a factor before or behind it: `m3/h`, `0.1 A`, `A*10`?
pub(super) fn is_unit(text: &str) -> bool {
    let is_of_channel =
        |channel: &Channel| unit_like(Dimension::of_channel(*channel), &spelled(text)).is_some();
    let is_number = |part: &str| part.starts_with(|character: char| character.is_ascii_digit());
    let is_part = |part: &str| {
        let part = part.to_lowercase();
        let bare = part.trim_end_matches(['2', '3', '²', '³']);
        let is_raised = bare.len() == part.len() || is_in(known::RAISED, bare);
        is_raised && is_in(known::UNITS, bare) || part.chars().all(|character| "%°".contains(character))
    };
    let parts = || text.split(['/', '*', '·', ' ']).filter(|part| !part.is_empty());
    let ends_in_number = text.rsplit(' ').next().is_some_and(is_number);
    Channel::ALL.iter().any(is_of_channel)
        || is_turns_a_minute(text)
        || !ends_in_number && parts().all(|part| is_number(part) || is_part(part))
}

/// What may be a unit in the brackets of a name.
pub fn units_in_brackets(name: &str) -> impl Iterator<Item = String> {
    in_brackets(name).map(spelled)
}

/// Each part of a name that may be a unit. Outside of brackets some are words: a thermocouple of type K, a turn.
pub fn units_in(name: &str) -> Vec<String> {
    let bare = name.split(BRACKETS).next().unwrap_or(name);
    let is_between = |character: char| character.is_whitespace() || "_,;:|".contains(character);
    let parts = |text: &str| text.split(is_between).map(spelled).collect::<Vec<_>>();
    let mut units = parts(bare);
    units.retain(|part| !part.is_empty());
    units.retain(|part| !is_in("K V turn turns rev count counts cnt inc pulses", part));
    units.push(unit_in(name));
    units.extend(in_brackets(name).flat_map(parts));
    // `in mm` is no inch.
    let is_word = |at: usize| units[at].eq_ignore_ascii_case("in") && at + 1 < units.len();
    (0..units.len()).filter(|&at| !is_word(at)).map(|at| units[at].clone()).collect()
}

/// Units as columns are called by them, as a layout writes them.
fn spelled(text: &str) -> String {
    let known = [
        ("a", "A"),
        ("amps", "A"),
        ("amp", "A"),
        ("v", "V"),
        ("volts", "V"),
        ("lpm", "L/min"),
        ("c", "degC"),
        ("f", "degF"),
        ("°c", "degC"),
        ("°f", "degF"),
    ];
    let lower = text.to_lowercase();
    known.iter().find(|(written, _)| *written == lower).map_or(text, |(_, unit)| unit).to_owned()
}

/// Turns a minute, as written in a few languages (common practice, no source).
pub fn is_turns_a_minute(text: &str) -> bool {
    let known = ["rpm", "1/min", "u/min", "r/min", "rev/min", "tr/min", "giri/min", "min-1", "min⁻¹", "upm"];
    known.contains(&text.to_lowercase().as_str())
}

/// The unit of a dimension that a text means, whatever its letters.
pub fn unit_like(dimension: Dimension, text: &str) -> Option<Unit> {
    let text = bare_unit(text);
    if let Some(unit) = dimension.unit(text) {
        return Some(unit);
    }
    // Only where no two units differ by their letters alone: mA and MA would.
    let mut alike = dimension.units().iter().filter(|unit| unit.symbol.eq_ignore_ascii_case(text));
    let first = alike.next()?;
    alike.next().is_none().then_some(*first)
}
