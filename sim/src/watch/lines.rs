//! What happens, one JSON object a line, for machines.
//!
//! Decides: field names; units are in the names, values in metric.
//! Assumes: nothing.
//! Never: writes a number that was not computed: what is absent is `null`.

use super::ledger::News;
use crate::replay::{from_raw, seconds, value};
use crate::report::json;
use bandward::{AlarmEvent, AlarmKind, Channel, Event, Phase};
use serde_json::{Value, json};

/// One line of what was said.
pub fn line(news: &News) -> Value {
    match news {
        News::Event(Event::Phase { time_us, phase, band }) => json!({
            "event": "phase", "time_s": seconds(*time_us), "phase": phase_name(*phase),
            "band": (*band > 0).then_some(*band),
        }),
        News::Event(Event::Alarm(alarm)) => alarm_line(alarm),
        News::Band(record) => json!({ "event": "band", "record": json::band(record) }),
    }
}

/// The last line.
pub fn end(within_procedure: bool) -> Value {
    json!({ "event": "end", "within_procedure": within_procedure })
}

fn alarm_line(alarm: &AlarmEvent) -> Value {
    let bits = alarm.rule.measure(alarm.channel).fraction_bits();
    json!({
        "event": "alarm",
        "time_s": seconds(alarm.time_us),
        "kind": kind_name(alarm.kind),
        "rule": alarm.rule.name(),
        "channel": alarm.channel.map(Channel::name),
        "severity": alarm.severity.name(),
        "band": (alarm.position.band > 0).then_some(alarm.position.band),
        "onset_s": seconds(alarm.onset_us),
        "turned_deg": alarm.position.turned.map(|degrees| json::rounded(value(degrees))),
        "worst": json::rounded(from_raw(alarm.worst, bits)),
        "limit": alarm.limit.map(|limit| json::rounded(from_raw(limit, bits))),
    })
}

const fn kind_name(kind: AlarmKind) -> &'static str {
    match kind {
        AlarmKind::Raised => "raised",
        AlarmKind::Escalated => "escalated",
        AlarmKind::Cleared => "cleared",
        AlarmKind::Acknowledged => "acknowledged",
        AlarmKind::Repeated => "repeated",
        AlarmKind::Shelved => "shelved",
        AlarmKind::Unshelved => "unshelved",
    }
}

const fn phase_name(phase: Phase) -> &'static str {
    match phase {
        Phase::Idle => "idle",
        Phase::PreFlow => "pre-flow",
        Phase::Strike => "strike",
        Phase::Arc => "arc",
        Phase::Outage => "outage",
        Phase::PostFlow => "post-flow",
    }
}
