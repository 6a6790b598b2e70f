//! An alarm in words: where and when it stood, and what was measured.
//!
//! Decides: the words.
//! Never: leaves out how long an alarm stood.

use crate::alarm::Alarm;
use crate::input::quantity::{UnitSystem, format, format_beside};
use crate::input::unit::Dimension;
use crate::raw::seconds;
use bandward::rule::{Measure, Quantity};
use bandward::{Channel, Rule};

/// Where on the joint an alarm stood, and when.
pub fn place_and_time(alarm: &Alarm) -> String {
    let mut words = Vec::new();
    if alarm.band > 0 {
        words.push(format!("band {}", alarm.band));
    }
    if let Some((turn, degrees)) = alarm.place() {
        let turn = if turn > 1 { format!(" of turn {turn}") } else { String::new() };
        words.push(format!("from {degrees:.0} deg{turn}"));
    }
    words.push(format!("from {:.2} s", seconds(alarm.onset_us)));
    words.push(match alarm.cleared_us {
        Some(cleared_us) => format!("cleared at {:.2} s", seconds(cleared_us)),
        None => "still active at the end".to_owned(),
    });
    words.join(", ")
}

/// The worst value and the limit it passed, as the start of a sentence.
pub fn measured(alarm: &Alarm, system: UnitSystem) -> String {
    let Some(dimension) = dimension(alarm.rule.measure(alarm.channel)) else { return String::new() };
    let show = |raw: i32| format(alarm.in_unit(raw), dimension, system);
    match (alarm.rule, alarm.limit) {
        (Rule::SpindleSlip | Rule::SpindleStall, normal) => {
            let normal = normal.map_or(String::new(), |normal| format!(", normal {}/s", show(normal)));
            format!("{}/s{normal}; ", show(alarm.worst))
        }
        (Rule::PolarityWrong | Rule::SignalLate, _) | (_, None) => format!("{}; ", show(alarm.worst)),
        (_, Some(limit)) => {
            let [worst, end] = [alarm.worst, limit].map(|raw| alarm.in_unit(raw));
            format!("{}, limit {}; ", format_beside(worst, end, dimension, system), show(limit))
        }
    }
}

/// What a measure of the core is shown as; an angle reading of the spindle says nothing here.
fn dimension(measure: Measure) -> Option<Dimension> {
    Some(match measure {
        Measure::Quantity(quantity) => Dimension::of_quantity(quantity),
        Measure::Duration => Dimension::Duration,
        Measure::SpindleSpeed => Dimension::Angle,
        Measure::Reading(Channel::Current) => Dimension::Current,
        Measure::Reading(Channel::Voltage) => Dimension::Voltage,
        Measure::Reading(Channel::Gas | Channel::Coolant) => Dimension::of_quantity(Quantity::GasFlow),
        Measure::Reading(Channel::Torch | Channel::Carriage) => Dimension::Length,
        Measure::Reading(Channel::Wire) => Dimension::WireSpeed,
        Measure::Reading(Channel::Work) => Dimension::Temperature,
        Measure::Reading(Channel::Spindle) => return None,
    })
}
