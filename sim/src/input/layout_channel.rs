//! One channel of a layout file: which column it is, and the way from a cell to a reading.
//!
//! Decides: which keys go together: a unit with scale and offset, or two points.
//! Assumes: a live zero of 4 to 20 mA tells a broken loop by NAMUR NE 43 (from memory): under 3.6 mA or over 21 mA; and
//! the end of what it measures by 3.8 and 20.5 mA.
//! Never: opens the log.

use super::bounds::{Bounds, Extent};
use super::document::{Located, Section};
use super::layout::{ChannelColumn, Encoder, Motion, UnitBy};
use super::quantity::{Dimension, Unit};
use super::setting::raw_value;
use bandward::Channel;
use bandward::procedure::{Range, Rotation};

/// The live zero that everybody knows, mA, and what is beyond its ends a sign of a broken loop.
const CURRENT_LOOP: [f64; 2] = [4.0, 20.0];
const LOOP_IN_ORDER: (f64, f64) = (3.6, 21.0);
const LOOP_ENDS: (f64, f64) = (3.8, 20.5);
/// With fewer pulses a turn the short way from one to the next is not told.
const LEAST_PULSES: i64 = 4;

/// What a `unit` of a layout stands for.
#[derive(Clone, Copy)]
struct Written {
    unit: Unit,
    by: UnitBy,
    motion: Motion,
    is_counted: bool,
}

/// Reads the table of a channel and closes it.
pub(super) fn read_channel(section: Section<'_>, channel: Channel) -> Option<ChannelColumn> {
    section.require("column", "a name from the header row of the log, or the number of the column");
    let column = section.column("column");
    let points = read_points(&section, channel);
    if !section.has("from") && !section.has("to") {
        section.require("unit", &units_of(channel));
    }
    let encoder = if channel == Channel::Spindle { read_encoder(&section) } else { Encoder::default() };
    let written = read_unit(&section, channel, encoder);
    let (scale, offset) = read_scale(&section);
    let valid = section.two_numbers("valid").and_then(|ends| in_order(&section, &ends));
    let hold_us = read_hold(&section, channel);
    let sensor_range = if channel == Channel::Spindle { None } else { read_sensor_range(&section, channel) };
    section.finish();
    let column = column?.value;
    if let Some(points) = points {
        return Some(ChannelColumn {
            column,
            unit: Dimension::of_channel(channel).house_unit(),
            unit_by: UnitBy::Layout,
            scale: points.scale,
            offset: points.offset,
            encoder,
            sensor_range: sensor_range.or_else(|| points.ends(channel)),
            valid: valid.or(points.in_order),
            hold_us,
            motion: Motion::Position,
        });
    }
    let Written { unit, by, motion, .. } = written?;
    let unit_by = by;
    Some(ChannelColumn {
        column,
        unit,
        unit_by,
        scale,
        offset,
        encoder,
        sensor_range,
        valid,
        hold_us,
        motion,
    })
}

/// A straight line through two points.
struct Points {
    scale: f64,
    offset: f64,
    /// Where the sensor is in order.
    in_order: Option<(f64, f64)>,
}

impl Points {
    /// What a current loop can show, raw; an angle has no ends.
    fn ends(&self, channel: Channel) -> Option<Range> {
        self.in_order.filter(|_| channel != Channel::Spindle)?;
        let raw = |signal: f64| raw_value(signal * self.scale + self.offset, channel.fraction_bits());
        let (one, other) = (raw(LOOP_ENDS.0), raw(LOOP_ENDS.1));
        Some(Range { low: one.min(other), high: one.max(other) })
    }
}

fn read_points(section: &Section<'_>, channel: Channel) -> Option<Points> {
    let from = section.two_numbers("from");
    let to = section.two_quantities("to", Dimension::of_channel(channel));
    for (key, other) in [("from", "to"), ("to", "from")] {
        if section.has(key) && !section.has(other) {
            let problem = format!("`{key}` without `{other}`");
            section.fault(section.place(), problem, "from = [4, 20] and to = [\"0 A\", \"600 A\"] together");
        }
    }
    for key in ["unit", "scale", "offset"] {
        if section.has("from") && section.has(key) {
            let problem = format!("two points, and `{key}` as well");
            section.fault(section.place(), problem, "`from` and `to`, or `unit` with `scale` and `offset`");
        }
    }
    let (from, to) = from.zip(to)?;
    let ([low, high], [low_value, high_value]) = (from.value, to.value);
    if high - low == 0.0 || high_value - low_value == 0.0 {
        section.fault(&from.place, "two points at the same place make no line", "two that differ");
        return None;
    }
    let scale = (high_value - low_value) / (high - low);
    let in_order = (from.value == CURRENT_LOOP).then_some(LOOP_IN_ORDER);
    Some(Points { scale, offset: low_value - low * scale, in_order })
}

fn read_scale(section: &Section<'_>) -> (f64, f64) {
    let scale = section.number("scale");
    if let Some(scale) = scale.as_ref().filter(|scale| scale.value == 0.0) {
        section.fault(&scale.place, "a scale of zero leaves nothing", "any number but 0");
    }
    (scale.map_or(1.0, |scale| scale.value), section.number("offset").map_or(0.0, |offset| offset.value))
}

fn in_order(section: &Section<'_>, ends: &Located<[f64; 2]>) -> Option<(f64, f64)> {
    let [low, high] = ends.value;
    if low < high {
        return Some((low, high));
    }
    section.fault(&ends.place, "the low end is not below the high end", "the low end first");
    None
}

fn read_hold(section: &Section<'_>, channel: Channel) -> Option<u64> {
    if section.has("hold") && matches!(channel, Channel::Torch | Channel::Spindle) {
        let problem = "a held reading of what moves all the time: a sensor that is dead would read as a fault of the weld";
        section.fault(
            section.place(),
            problem,
            "no `hold` of torch and spindle: an empty cell there is no reading",
        );
    }
    let allowed = "1 ms to 1 h: the longest a value may stand unwritten";
    let hold = section.quantity_within("hold", Dimension::Duration, 0.001..=3600.0, allowed)?;
    Some((hold.value * 1e6).round() as u64)
}

/// What the sensor can show; at or beyond its ends a reading is railed. An angle has no ends.
fn read_sensor_range(section: &Section<'_>, channel: Channel) -> Option<Range> {
    let range = section.extent("range", Dimension::of_channel(channel))?;
    let raw = |value: f64| raw_value(value, channel.fraction_bits());
    match range.value {
        Extent::Range(Bounds { low: Some(low), high: Some(high) }) if low < high => {
            Some(Range { low: raw(low), high: raw(high) })
        }
        Extent::Range(Bounds { low: Some(_), high: Some(_) }) => {
            section.fault(&range.place, "the low end is not below the high end", "the low end first");
            None
        }
        _ => {
            section.fault(&range.place, "a sensor's range has two ends", "the low end and the high end");
            None
        }
    }
}

/// The encoder behind the angle.
fn read_encoder(section: &Section<'_>) -> Encoder {
    let unit = section.text("unit").map(|unit| unit.value);
    let is_counts = unit.as_deref() == Some("count");
    let is_pulses = matches!(unit.as_deref(), Some("pulses" | "switch"));
    let counts = section.whole("counts_per_turn", 1..1_000_000_001);
    let gears = section.number("gear_ratio");
    if let Some(gears) = gears.as_ref().filter(|gears| gears.value <= 0.0) {
        section.fault(
            &gears.place,
            "gears that turn nothing",
            "above 0: turns of the encoder in one of the joint",
        );
    }
    let wraps_at = section.whole("wraps_at", 2..(1_i64 << 53));
    for (key, is_there, fits) in
        [("gear_ratio", gears.is_some(), is_counts || is_pulses), ("wraps_at", wraps_at.is_some(), is_counts)]
    {
        if is_there && !fits {
            let problem = format!("`{key}` is about an encoder that is logged in counts");
            section.fault(section.place(), problem, "unit = \"count\", or no such key");
        }
    }
    let gears = gears.map_or(1.0, |gears| gears.value);
    let counts_per_turn =
        counts.as_ref().filter(|_| is_counts || is_pulses).map(|counts| counts.value as f64 * gears);
    if let Some(counts) = counts.filter(|_| is_pulses && counts_per_turn < Some(LEAST_PULSES as f64)) {
        let problem = "too few pulses a turn: from one to the next the joint could have turned either way";
        section.fault(&counts.place, problem, format!("{LEAST_PULSES} or more in a turn of the joint"));
    }
    let ways = [("clockwise", Rotation::Clockwise), ("counter-clockwise", Rotation::CounterClockwise)];
    Encoder {
        counts_per_turn,
        wraps_at: wraps_at.map(|wrap| wrap.value as f64),
        grows: section.choice("grows", &ways).map(|way| way.value),
    }
}

fn read_unit(section: &Section<'_>, channel: Channel, encoder: Encoder) -> Option<Written> {
    let text = section.text("unit")?;
    let dimension = Dimension::of_channel(channel);
    let written = written(text.value.trim(), channel, encoder);
    if written.is_none() {
        let problem = format!("`{}` is not a unit of {}", text.value, dimension.name());
        section.fault(&text.place, problem, units_of(channel));
    }
    if written.is_some_and(|written| written.is_counted) {
        section.require("counts_per_turn", "the counts of the encoder in one turn of its shaft");
    }
    if written.is_some_and(|written| written.by == UnitBy::Cell) && section.has("offset") {
        section.fault(
            section.place(),
            "an offset in which of the units?",
            "no `offset` with unit = \"cell\"",
        );
    }
    written
}

/// What the text of a unit stands for.
fn written(text: &str, channel: Channel, encoder: Encoder) -> Option<Written> {
    let dimension = Dimension::of_channel(channel);
    let plain = |unit| Written { unit, by: UnitBy::Layout, motion: Motion::Position, is_counted: false };
    if let Some(unit) = dimension.unit(text) {
        return Some(plain(unit));
    }
    let house = dimension.house_unit();
    // Where the counts are missing there was a fault.
    let counts = Unit::encoder_counts(encoder.counts_per_turn.unwrap_or(1.0));
    let counted = |motion| Written { motion, is_counted: true, ..plain(counts) };
    let speed = |degrees_per_s| Written { motion: Motion::Speed, ..plain(Unit::speed(degrees_per_s)) };
    match (text, channel) {
        ("cell", _) => Some(Written { by: UnitBy::Cell, ..plain(house) }),
        ("units row", _) => Some(Written { by: UnitBy::UnitsRow, ..plain(house) }),
        ("count", Channel::Spindle) => Some(counted(Motion::Position)),
        ("pulses", Channel::Spindle) => Some(counted(Motion::Pulses)),
        ("switch", Channel::Spindle) => Some(counted(Motion::Switch)),
        // 360 degrees a turn, 60 seconds a minute.
        ("rpm", Channel::Spindle) => Some(speed(6.0)),
        ("deg/s", Channel::Spindle) => Some(speed(1.0)),
        _ => None,
    }
}

fn units_of(channel: Channel) -> String {
    let list = Dimension::of_channel(channel).unit_list();
    let other = "\"cell\" (behind each number), \"units row\" (below the header)";
    if channel == Channel::Spindle {
        format!(
            "{list}; rpm, deg/s (a speed, added up); count, pulses (since the row before), switch (0 or 1), each \
             with `counts_per_turn`; {other}"
        )
    } else {
        format!("{list}; {other}")
    }
}
