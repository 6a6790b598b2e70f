//! Readings held against what is plausible in hardbanding.
//!
//! Decides: which channels, as a layout reads them, lie outside what a weld has while an arc burns, and in which other
//! unit, or exchanged with which other channel, they would lie within.
//! Assumes: the ranges below, which are wide (common practice, no source).
//! Never: changes a unit, or calls a reading wrong: a person decides.

use crate::input::layout::{Layout, Motion};
use crate::input::quantity::{self, UnitSystem};
use crate::input::unit::{Dimension, Unit};
use crate::trace::Row;
use bandward::Channel;
use std::ops::RangeInclusive;

/// Fewer rows with an arc than these tell nothing.
const LEAST_ROWS: usize = 5;
/// A current loop at rest stands at 4 mA; at its end at 20 (IEC 60381-1, from memory).
const LOOP: RangeInclusive<f64> = 3.6..=21.0;
const LOOP_ZERO: RangeInclusive<f64> = 3.9..=4.1;
/// An arc burns, by either of these: A, V.
const ARC_CURRENT: RangeInclusive<f64> = 50.0..=1000.0;
const ARC_VOLTAGE: RangeInclusive<f64> = 12.0..=45.0;
/// By so many times an arc stands out from the rest.
const STANDS_OUT: f64 = 10.0;
/// A carriage that goes to and fro by more than this may be a torch, mm.
const LEAST_WEAVE_MM: f64 = 3.0;
/// Channels that are easily exchanged.
const PAIRS: [(Channel, Channel); 3] = [
    (Channel::Current, Channel::Voltage),
    (Channel::Gas, Channel::Coolant),
    (Channel::Torch, Channel::Carriage),
];

/// What is plausible of a channel under the arc (common practice, no source), and of what it is told.
fn plausible(channel: Channel) -> (RangeInclusive<f64>, &'static str) {
    match channel {
        Channel::Current => (60.0..=900.0, "a welding current"),
        Channel::Voltage => (12.0..=50.0, "an arc voltage"),
        Channel::Gas => (10.0..=30.0, "a flow of shielding gas"),
        Channel::Coolant => (1.0..=25.0, "a flow of coolant"),
        Channel::Torch => (3.0..=100.0, "a weave of the torch, from end to end,"),
        Channel::Spindle => (0.8..=15.0, "a turning of the joint, degrees a second,"),
        Channel::Wire => (1000.0..=20_000.0, "a wire feed speed"),
        Channel::Work => (70.0..=380.0, "a preheated joint"),
        Channel::Carriage => (LEAST_WEAVE_MM..=3000.0, "a way of the carriage over a log"),
    }
}

/// What looks wrong, a sentence each, in the order of the channels.
pub fn doubts(rows: &[Row], layout: &Layout) -> Vec<(Channel, String)> {
    let lit = lit(rows);
    let looked_at = Channel::ALL.into_iter().filter(|channel| layout.channel(*channel).is_some());
    looked_at.filter_map(|channel| Some((channel, doubt(channel, rows, &lit, layout)?))).collect()
}

/// The rows with an arc: by the current where that is one of an arc, else by the voltage, else those that stand out.
pub(super) fn lit(rows: &[Row]) -> Vec<Row> {
    for (channel, range) in [(Channel::Current, ARC_CURRENT), (Channel::Voltage, ARC_VOLTAGE)] {
        let is_in = |row: &&Row| row.get(channel).is_some_and(|value| range.contains(&value.abs()));
        let lit: Vec<Row> = rows.iter().filter(is_in).copied().collect();
        if lit.len() >= LEAST_ROWS {
            return lit;
        }
    }
    let busy = [Channel::Voltage, Channel::Current].into_iter().map(|channel| busiest(channel, rows));
    busy.into_iter().find(|busy| busy.len() >= LEAST_ROWS).unwrap_or_default()
}

/// Where neither current nor voltage is one of an arc: the rows in which one of them is more than half of its
/// greatest, if it stands out from the others as an arc does, and noise does not.
fn busiest(channel: Channel, rows: &[Row]) -> Vec<Row> {
    let size = |row: &Row| row.get(channel).map_or(0.0, f64::abs);
    let greatest = rows.iter().map(size).fold(0.0, f64::max);
    let (busy, idle): (Vec<Row>, Vec<Row>) = rows.iter().partition(|row| size(row) > greatest / 2.0);
    let usual = |rows: &[Row]| median(rows.iter().map(size).collect()).unwrap_or(0.0);
    let stands_out = usual(&busy) > STANDS_OUT * usual(&idle) || busy.len() > 10 * idle.len();
    if stands_out { busy } else { Vec::new() }
}

fn doubt(channel: Channel, rows: &[Row], lit: &[Row], layout: &Layout) -> Option<String> {
    let column = layout.channel(channel)?;
    let name = channel.name();
    if exchanged_in_motion(channel, lit) {
        let other = partner(channel)?;
        return Some(format!(
            "`{name}` goes one way while `{}` goes to and fro: are the two exchanged?",
            other.name()
        ));
    }
    if exchanged_at_rest(channel, rows, lit) {
        return Some(
            "`gas` flows without an arc while `coolant` does not: are the two exchanged?".to_owned(),
        );
    }
    let as_written = |value: f64| (column.unit.from_house(value) - column.offset) / column.scale;
    let is_position = matches!(channel, Channel::Torch | Channel::Carriage | Channel::Spindle);
    let is_loop = !is_position && channel != Channel::Work && is_loop(channel, rows, as_written);
    if is_loop {
        return Some(format!(
            "`{name}` never reads below 3.6 nor above 21 as written, and rests at 4: is it a signal of 4 to 20 mA (`from` \
             and `to`)?"
        ));
    }
    let seen = measure(channel, rows, lit)?;
    let (range, what) = plausible(channel);
    if range.contains(&seen) {
        return None;
    }
    let show = |value: f64| shown(channel, value);
    let mut other = Vec::new();
    let units = Dimension::of_channel(channel).units().iter();
    for unit in units.filter(|unit| unit.symbol != column.unit.symbol) {
        if let Some(there) = converted(channel, seen, column.unit, *unit, column.motion)
            && range.contains(&there)
        {
            other.push(format!("{} ({})", unit.symbol, show(there)));
        }
    }
    if channel == Channel::Spindle {
        other.extend(other_turning(seen, &range, column.motion, lit));
    }
    if let Some(partner) = partner(channel).filter(|&partner| fits_the_other(channel, partner, rows, lit)) {
        other.push(format!("exchanged with `{}`", partner.name()));
    }
    let written = if is_position || channel == Channel::Work {
        show(seen)
    } else {
        format!("{} ({} as written)", show(seen), rounded(as_written(seen)))
    };
    let question = if other.is_empty() {
        "is the unit right?".to_owned()
    } else {
        format!("is it {}?", other.join(", or "))
    };
    Some(format!(
        "`{name}` reads about {written} under the arc; {what} is mostly {} to {}: {question}",
        show(*range.start()),
        show(*range.end()),
    ))
}

/// What of a channel is held against its range: its usual size, how far it goes, or how fast it turns.
pub(super) fn measure(channel: Channel, rows: &[Row], lit: &[Row]) -> Option<f64> {
    let values = |rows: &[Row]| rows.iter().filter_map(|row| row.get(channel)).collect::<Vec<_>>();
    match channel {
        Channel::Torch => spread(channel, lit),
        Channel::Carriage => spread(channel, rows),
        Channel::Spindle => turning(lit),
        _ => {
            let value = median(values(lit).into_iter().map(f64::abs).collect())?;
            // A meter that shows nothing has no unit to be doubted.
            (channel == Channel::Work || value > 0.0).then_some(value)
        }
    }
}

/// How far a position goes from end to end; one that stands, but for its noise, tells nothing.
pub(super) fn spread(channel: Channel, rows: &[Row]) -> Option<f64> {
    let values = || rows.iter().filter_map(|row| row.get(channel));
    let spread = values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min);
    (spread > 0.3).then_some(spread)
}

/// How fast the joint turns, degrees a second; `None` where it stands.
fn turning(lit: &[Row]) -> Option<f64> {
    let angles: Vec<_> =
        lit.iter().filter_map(|row| Some((row.time_us as f64 / 1e6, row.get(Channel::Spindle)?))).collect();
    // Over a second or so, so that a coarse encoder has moved.
    let pairs = angles.iter().enumerate().filter_map(|(at, &(time_s, angle))| {
        let (end_s, end) = *angles[at..].iter().find(|(end_s, _)| end_s - time_s >= 1.0)?;
        let way = (end - angle).abs();
        let way = if way > 180.0 && way < 360.0 { 360.0 - way } else { way };
        (end_s - time_s <= 3.0).then(|| way / (end_s - time_s))
    });
    let step = angles.len() / 2000 + 1;
    median(pairs.step_by(step).collect()).filter(|speed| *speed > 0.0)
}

/// Readings of a turning in another way of logging it.
fn other_turning(seen: f64, range: &RangeInclusive<f64>, motion: Motion, lit: &[Row]) -> Vec<String> {
    let mut other = Vec::new();
    if motion == Motion::Speed && range.contains(&(seen * 6.0)) {
        other.push("rpm".to_owned());
    }
    if motion == Motion::Speed && range.contains(&(seen / 6.0)) {
        other.push("deg/s".to_owned());
    }
    let is_whole = lit.iter().filter_map(|row| row.get(Channel::Spindle)).all(|angle| angle.fract() == 0.0);
    if motion == Motion::Position && seen > *range.end() && is_whole {
        other.push("counts of an encoder (`count` with `counts_per_turn`)".to_owned());
    }
    other
}

/// The value as it would be, had the column been in another unit; `None` where that cannot be told.
fn converted(channel: Channel, seen: f64, from: Unit, to: Unit, motion: Motion) -> Option<f64> {
    match channel {
        // Differences have no zero.
        Channel::Torch | Channel::Carriage => Some(seen / from.factor * to.factor),
        Channel::Spindle => (motion == Motion::Position).then_some(seen / from.factor * to.factor),
        _ => Some(to.to_house(from.from_house(seen))),
    }
}

/// Has a channel never been below 4 mA, though it rests there, nor above 20?
fn is_loop(channel: Channel, rows: &[Row], as_written: impl Fn(f64) -> f64) -> bool {
    let cells = || rows.iter().filter_map(|row| row.get(channel)).map(&as_written);
    let resting = cells().filter(|cell| LOOP_ZERO.contains(cell)).count();
    cells().all(|cell| LOOP.contains(&cell)) && resting >= LEAST_ROWS
}

fn partner(channel: Channel) -> Option<Channel> {
    PAIRS.iter().find_map(|&(one, other)| match channel {
        _ if channel == one => Some(other),
        _ if channel == other => Some(one),
        _ => None,
    })
}

/// Would each of the two lie within the other's range?
fn fits_the_other(channel: Channel, partner: Channel, rows: &[Row], lit: &[Row]) -> bool {
    let fits = |one: Channel, other: Channel| {
        measure(one, rows, lit).is_some_and(|value| plausible(other).0.contains(&value))
    };
    fits(channel, partner) && fits(partner, channel)
}

/// Does the torch, in the place of the carriage, go one way while the carriage goes to and fro?
fn exchanged_in_motion(channel: Channel, lit: &[Row]) -> bool {
    const TO_AND_FRO: usize = 6;
    channel == Channel::Torch
        && turns(Channel::Torch, lit) <= 1
        && turns(Channel::Carriage, lit) >= TO_AND_FRO
}

/// How often a position turns round, by more than a quarter of its way.
pub(super) fn turns(channel: Channel, lit: &[Row]) -> usize {
    let values: Vec<f64> = lit.iter().filter_map(|row| row.get(channel)).collect();
    let low = values.iter().copied().fold(f64::MAX, f64::min);
    let high = values.iter().copied().fold(f64::MIN, f64::max);
    let least = (high - low) / 4.0;
    if least.is_nan() || least <= 0.0 {
        return 0;
    }
    let (mut end, mut grows, mut turns) = (values[0], true, 0);
    for value in values {
        if (value > end) == grows {
            end = value;
        } else if (value - end).abs() > least {
            (end, grows, turns) = (value, !grows, turns + 1);
        }
    }
    turns
}

/// Does the gas flow on where the coolant, between the arcs, does not?
fn exchanged_at_rest(channel: Channel, rows: &[Row], lit: &[Row]) -> bool {
    if channel != Channel::Gas {
        return false;
    }
    let idle: Vec<&Row> =
        rows.iter().filter(|row| row.get(Channel::Current).is_some_and(|amps| amps.abs() < 1.0)).collect();
    let share_at_rest = |channel: Channel| {
        let usual = measure(channel, rows, lit)?;
        let rests =
            idle.iter().filter(|row| row.get(channel).is_some_and(|value| value < usual / 5.0)).count();
        (idle.len() >= 4 * LEAST_ROWS).then(|| rests as f64 / idle.len() as f64)
    };
    share_at_rest(Channel::Gas) < Some(0.05)
        && share_at_rest(Channel::Coolant) > Some(0.25)
        && share_at_rest(Channel::Gas).is_some()
}

pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

fn shown(channel: Channel, value: f64) -> String {
    if channel == Channel::Spindle {
        return rounded(value);
    }
    quantity::format(value, Dimension::of_channel(channel), UnitSystem::Metric)
}

/// To three digits.
fn rounded(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
