//! A miss and a false alarm, with what was seen.
//!
//! Decides: in which unit a miss is told.
//! Never: looks at a trace.

use crate::input::quantity::{UnitSystem, format};
use crate::input::unit::Dimension;
use crate::raw::{from_raw, seconds};
use crate::trial::miss::Seen;
use crate::trial::pass::{Missed, Told};
use bandward::rule::Measure;
use bandward::{Channel, Rule, Severity};
use serde_json::{Value, json};

/// Its limit, its worst value, how long it was outside and what stood.
pub(super) fn words(told: &Told, missed: &Missed, system: UnitSystem) -> String {
    let seen = &missed.seen;
    if !missed.is_judged {
        return "could not be judged: no range, no channel, or sampled too slowly".to_owned();
    }
    let mut words = Vec::new();
    match (seen.worst, seen.limit) {
        (Some(worst), Some(limit)) => {
            let [worst, limit] = [worst, limit].map(|raw| show(told, raw, system));
            words.push(format!("worst value {worst}, limit {limit}"));
        }
        (Some(worst), None) => words.push(format!("worst value {}", show(told, worst, system))),
        (None, _) if told.rule.is_about_a_channel() => {}
        (None, _) => words.push("not judged meanwhile".to_owned()),
    }
    if seen.worst.is_some() {
        words.push(match seen.outside_us {
            0 => "never outside".to_owned(),
            outside_us => format!(
                "outside for {:.2} s, at most {:.2} s at a time",
                seconds(outside_us),
                seconds(seen.longest_us)
            ),
        });
    }
    let instead: Vec<_> = seen.instead.iter().map(Rule::name).collect();
    words.push(match instead.as_slice() {
        [] => "no alarm stood".to_owned(),
        names => format!("active meanwhile: {}", names.join(", ")),
    });
    words.join("; ")
}

fn show(told: &Told, raw: i32, system: UnitSystem) -> String {
    let measure = told.rule.measure(told.channel);
    let value = from_raw(raw, measure.fraction_bits());
    match measure {
        Measure::Quantity(quantity) => format(value, Dimension::of_quantity(quantity), system),
        other => format!("{value:.2} {}", unit(other).unwrap_or_default()),
    }
}

/// The unit of a value; a reading is told in that of its channel, which the rule does not know.
const fn unit(measure: Measure) -> Option<&'static str> {
    match measure {
        Measure::Quantity(quantity) => Some(quantity.symbol()),
        Measure::Duration => Some("s"),
        Measure::SpindleSpeed => Some("deg/s"),
        Measure::Reading(_) => None,
    }
}

/// The same for machines.
pub(super) fn json(trace: &str, told: &Told) -> Value {
    let mut object = json!({
        "trace": trace,
        "what": what(told),
        "rule": told.rule.name(),
        "channel": told.channel.map(Channel::name),
        "time_s": seconds(told.time_us),
    });
    if let (Some(missed), Some(fields)) = (&told.missed, object.as_object_mut()) {
        let seen: &Seen = &missed.seen;
        let measure = told.rule.measure(told.channel);
        let house = |raw: i32| from_raw(raw, measure.fraction_bits());
        let severity = if missed.is_stop { Severity::Stop } else { Severity::Warn };
        for (key, value) in [
            ("rules", json!(missed.rules.iter().map(|rule| rule.name()).collect::<Vec<_>>())),
            ("severity", json!(severity.name())),
            ("value", json!(seen.worst.map(house))),
            ("limit", json!(seen.limit.map(house))),
            ("unit", json!(unit(measure))),
            ("outside_s", json!(seconds(seen.outside_us))),
            ("longest_outside_s", json!(seconds(seen.longest_us))),
            ("instead", json!(seen.instead.iter().map(Rule::name).collect::<Vec<_>>())),
        ] {
            fields.insert(key.to_owned(), value);
        }
    }
    object
}

/// Which of the three it is.
pub(super) fn what(told: &Told) -> &'static str {
    match &told.missed {
        None => "false alarm",
        Some(missed) if missed.is_judged => "missed",
        Some(_) => "not judged",
    }
}
