//! An alarm in words: where and when it stood, and what was measured.
//!
//! Decides: the words.
//! Never: leaves out how long an alarm stood.

use crate::alarm::Alarm;
use crate::input::quantity::{UnitSystem, format, format_beside};
use crate::input::setting::Subject;
use crate::input::unit::Dimension;
use crate::raw::seconds;
use bandward::rule::Measure;
use bandward::{Channel, Quantity, Rule, Severity};
use std::collections::BTreeMap;

/// Places of those shown where there are more than `most`: the first, and as many of the worst, in order.
pub fn first_and_worst<T>(all: &[T], most: usize, severity: impl Fn(&T) -> Severity) -> Vec<usize> {
    if all.len() <= most {
        return (0..all.len()).collect();
    }
    let first = most / 2;
    let mut others: Vec<usize> = (first..all.len()).collect();
    // The order of time stays among those that are equally bad.
    others.sort_by_key(|&place| std::cmp::Reverse(severity(&all[place])));
    others.truncate(most - first);
    others.sort_unstable();
    (0..first).chain(others).collect()
}

/// How many alarms are not shown, and where they are.
pub fn not_shown(alarms: &[Alarm], shown: &[usize]) -> String {
    let mut bands = BTreeMap::<u16, usize>::new();
    for alarm in alarms {
        *bands.entry(alarm.band).or_default() += 1;
    }
    for &place in shown {
        bands.entry(alarms[place].band).and_modify(|count| *count -= 1);
    }
    bands.retain(|_, count| *count > 0);
    let told = bands.iter().take(MOST_PLACES).map(|(band, count)| match band {
        0 => format!("{count} before the first band"),
        band => format!("{count} in band {band}"),
    });
    let mut told: Vec<String> = told.collect();
    if bands.len() > MOST_PLACES {
        told.push(format!("the rest in {} other bands", bands.len() - MOST_PLACES));
    }
    told.join(", ")
}

/// Bands named as places of alarms that are not shown.
const MOST_PLACES: usize = 12;

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
            let quantity = alarm.rule.watches().map(|(quantity, _)| quantity);
            let is_of_strike = matches!(quantity, Some(Quantity::Preheat | Quantity::Interpass));
            let when = if is_of_strike { " as the arc was struck" } else { "" };
            format!("{}{when}, limit {}; ", format_beside(worst, end, dimension, system), show(limit))
        }
    }
}

/// What a measure of the core is shown as; an angle reading of the spindle says nothing here.
fn dimension(measure: Measure) -> Option<Dimension> {
    Some(match measure {
        Measure::Quantity(quantity) => Subject::Judged(quantity).dimension(),
        Measure::Duration => Dimension::Duration,
        Measure::SpindleSpeed => Dimension::Angle,
        Measure::Reading(Channel::Current) => Dimension::Current,
        Measure::Reading(Channel::Voltage) => Dimension::Voltage,
        Measure::Reading(Channel::Gas | Channel::Coolant) => Dimension::Flow,
        Measure::Reading(Channel::Torch | Channel::Carriage) => Dimension::Length,
        Measure::Reading(Channel::Wire) => Dimension::WireSpeed,
        Measure::Reading(Channel::Work) => Dimension::Temperature,
        Measure::Reading(Channel::Spindle) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use Severity::{Advise, Stop, Warn};

    #[test]
    fn of_many_the_first_and_the_worst_are_shown() {
        let all = [Advise, Advise, Warn, Advise, Stop, Advise, Warn, Stop];
        let shown = |most| first_and_worst(&all, most, |&severity| severity);
        assert_eq!(shown(8), [0, 1, 2, 3, 4, 5, 6, 7]);
        assert_eq!(shown(4), [0, 1, 4, 7]);
        assert_eq!(shown(6), [0, 1, 2, 4, 6, 7]);
    }
}
