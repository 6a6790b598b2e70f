//! A miss and a false alarm, with what was seen.
//!
//! Decides: in which unit a miss is told.
//! Never: looks at a trace.

use crate::input::quantity::{UnitSystem, format};
use crate::input::setting::Subject;
use crate::raw::{from_raw, seconds};
use crate::trial::miss::{Lasted, SeenBy};
use crate::trial::pass::{Missed, Told};
use bandward::procedure::Polarity;
use bandward::rule::Measure;
use bandward::{Channel, Rule, Severity};
use serde_json::{Value, json};

/// Its limit, its worst value, how long it was outside and what stood; for each rule that should have told.
pub(super) fn words(told: &Told, missed: &Missed, system: UnitSystem) -> String {
    if !missed.is_judged {
        return "could not be judged: no range, no channel, or sampled too slowly".to_owned();
    }
    let seen = &missed.seen;
    let mut words = Vec::new();
    if missed.only_warned() {
        words.push("only as a warning, no stop".to_owned());
    }
    let several = seen.by.len() > 1;
    for by in &seen.by {
        let own = words_of(by, told.channel, missed.is_stop, system);
        if !own.is_empty() {
            words.push(if several { format!("{}: {own}", by.rule.name()) } else { own });
        }
    }
    let instead: Vec<_> = seen.instead.iter().map(Rule::name).collect();
    words.push(match instead.as_slice() {
        [] => "no alarm stood".to_owned(),
        names => format!("active meanwhile: {}", names.join(", ")),
    });
    words.join("; ")
}

/// What one of its rules saw; of a fault that must stop the weld, by the limit that stops it.
fn words_of(by: &SeenBy, channel: Option<Channel>, is_stop: bool, system: UnitSystem) -> String {
    let show = |raw: i32| show(by.rule, channel, raw, system);
    let Some(worst) = by.worst else {
        return match by.rule {
            rule if rule.is_about_a_channel() => String::new(),
            Rule::ArcOutage => "the arc was never out".to_owned(),
            _ => "not judged meanwhile".to_owned(),
        };
    };
    if let Some(pole) = by.pole {
        return pole_in_words(pole, &by.outside);
    }
    let (limit, outside) = counted(by, is_stop);
    let worst = format!("{} {}", worst_in_words(by.rule), show(worst));
    let limit = match limit {
        Some(limit) if is_stop && by.floor.is_some() => {
            format!(", limit {} (the floor, which stops)", show(limit))
        }
        Some(limit) => format!(", limit {}", show(limit)),
        None if is_stop && !by.is_of_stop => return format!("{worst}; no limit of this rule stops the weld"),
        None => String::new(),
    };
    let outside = match outside.sum_us {
        0 if by.is_brief() => "for too short a time to be judged so".to_owned(),
        0 => "never outside".to_owned(),
        _ => format!("outside {}", lasted(outside)),
    };
    format!("{worst}{limit}; {outside}")
}

/// The limit that had to be passed, and for how long it was.
fn counted(by: &SeenBy, is_stop: bool) -> (Option<i32>, &Lasted) {
    if is_stop && !by.is_of_stop { (by.floor, &by.beyond_floor) } else { (by.limit, &by.outside) }
}

const fn worst_in_words(rule: Rule) -> &'static str {
    match rule {
        Rule::SpindleStall => "lowest speed",
        Rule::SpindleSlip => "speed furthest from the usual one",
        _ => "worst value",
    }
}

fn lasted(lasted: &Lasted) -> String {
    format!("for {:.2} s, at most {:.2} s at a time", seconds(lasted.sum_us), seconds(lasted.longest_us))
}

fn pole_in_words(pole: Polarity, wrong: &Lasted) -> String {
    let (own, other) = match pole {
        Polarity::ElectrodePositive => ("DCEP", "DCEN"),
        Polarity::ElectrodeNegative => ("DCEN", "DCEP"),
    };
    match wrong.sum_us {
        0 => format!("the pole read was {own} throughout, as the procedure says"),
        _ => format!("the pole read was {other}, not {own}, {}", lasted(wrong)),
    }
}

fn show(rule: Rule, channel: Option<Channel>, raw: i32, system: UnitSystem) -> String {
    let measure = rule.measure(channel);
    let value = from_raw(raw, measure.fraction_bits());
    match measure {
        Measure::Quantity(quantity) => format(value, Subject::Judged(quantity).dimension(), system),
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
        let seen = &missed.seen;
        let severity = if missed.is_stop { Severity::Stop } else { Severity::Warn };
        let values: Vec<_> = seen.by.iter().map(|by| json_of(by, told.channel, missed.is_stop)).collect();
        // Those of the rule that it is booked on stand by themselves.
        if let Some(first) = values.first().and_then(Value::as_object) {
            let own = first.iter().filter(|(key, _)| *key != "rule");
            fields.extend(own.map(|(key, value)| (key.clone(), value.clone())));
        }
        for (key, value) in [
            ("rules", json!(missed.rules.iter().map(|rule| rule.name()).collect::<Vec<_>>())),
            ("severity", json!(severity.name())),
            ("only_warned", json!(missed.only_warned())),
            ("values", json!(values)),
            ("instead", json!(seen.instead.iter().map(Rule::name).collect::<Vec<_>>())),
        ] {
            fields.insert(key.to_owned(), value);
        }
    }
    object
}

fn json_of(by: &SeenBy, channel: Option<Channel>, is_stop: bool) -> Value {
    let measure = by.rule.measure(channel);
    let house = |raw: i32| from_raw(raw, measure.fraction_bits());
    let (limit, outside) = counted(by, is_stop);
    let is_of_pole = by.pole.is_some();
    json!({
        "rule": by.rule.name(),
        "value": by.worst.filter(|_| !is_of_pole).map(house),
        "limit": limit.filter(|_| !is_of_pole).map(house),
        "unit": unit(measure).filter(|_| !is_of_pole),
        "outside_s": seconds(outside.sum_us),
        "longest_outside_s": seconds(outside.longest_us),
    })
}

/// Which of the three it is.
pub(super) fn what(told: &Told) -> &'static str {
    match &told.missed {
        None => "false alarm",
        Some(missed) if missed.is_judged => "missed",
        Some(_) => "not judged",
    }
}
