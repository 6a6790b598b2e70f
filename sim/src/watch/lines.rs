//! What happens, one JSON object a line, for machines.
//!
//! Decides: field names; units are in the names, values in metric.
//! Assumes: nothing.
//! Never: writes a number that was not computed: what is absent is `null`; nor a band or a joint of a bench test without
//! that mark.

use super::board_faults;
use super::doubt::Doubt;
use super::ledger::News;
use super::order::shown_crc;
use super::remote::believed;
use crate::output::named;
use crate::raw::{from_raw, seconds, value};
use crate::report::json;
use crate::report::rounded::rounded;
use crate::trace::columns::column_name;
use crate::within::within;
use bandward::Outcome;
use bandward::flash::journal::Kept;
use bandward::link::Telemetry;
use bandward::{AlarmEvent, AlarmKind, Channel, Event, Phase, Quantity, Rule};
use serde_json::{Map, Value, json};
use std::path::Path;

/// One line of what was said.
pub fn line(news: &News) -> Value {
    match news {
        News::Event(Event::Phase { time_us, phase, band }) => json!({
            "event": "phase", "time_s": seconds(*time_us), "phase": phase_name(*phase),
            "band": (*band > 0).then_some(*band),
        }),
        News::Event(Event::Tack { time_us, arc_time_us }) => json!({
            "event": "tack", "time_s": seconds(*time_us), "arc_time_s": seconds(*arc_time_us),
        }),
        News::Event(Event::Alarm(alarm)) => alarm_line(alarm),
        News::Band(record) => json!({ "event": "band", "record": json::band(record) }),
        News::Joint(record) => json!({ "event": "joint", "record": json::joint(record) }),
        News::Bench(kept) => match &**kept {
            Kept::Band(record) | Kept::BenchBand(record) => {
                json!({ "event": "band", "bench_test": true, "record": json::band(record) })
            }
            Kept::Joint(record) | Kept::BenchJoint(record) => {
                json!({ "event": "joint", "bench_test": true, "record": json::joint(record) })
            }
        },
    }
}

/// What was asked for besides a watch, and did not come about, in words.
#[derive(Clone, Copy, Debug, Default)]
pub struct Failed<'a> {
    /// A recording ended by itself.
    pub recording: Option<&'a str>,
    /// Anything else.
    pub other: Option<&'a str>,
}

/// The last line of a watch of a board, with why it proves nothing: whoever reads that all is within must find all that was
/// asked for.
pub fn end_of_board(judged: Outcome, doubts: &[Doubt], failed: Failed<'_>) -> Value {
    let told = [("recording-ended", failed.recording), ("not-done", failed.other)];
    let told = told.into_iter().filter_map(|(name, why)| Some((name, why?)));
    let reasons: Vec<_> =
        doubts.iter().map(|doubt| doubt.name).chain(told.clone().map(|(name, _)| name)).collect();
    let mut line = end(if reasons.is_empty() { judged } else { judged.max(Outcome::NotProven) });
    line["reasons"] = json!(reasons);
    for (name, why) in told {
        line[name.replace('-', "_")] = json!(why);
    }
    line
}

/// The last line.
pub fn end(outcome: Outcome) -> Value {
    json!({ "event": "end", "outcome": outcome.name(), "within_procedure": within(outcome) })
}

/// A recording begins.
pub fn recording(path: &Path) -> Value {
    json!({ "event": "recording", "file": named(path) })
}

/// A recording has ended by itself.
pub fn recording_ended(why: &str) -> Value {
    json!({ "event": "recording-ended", "why": why })
}

/// There is a link to a board.
pub fn linked(board: &str, procedure_crc: u32) -> Value {
    json!({ "event": "linked", "board": board, "procedure_crc": shown_crc(procedure_crc) })
}

/// The link to a board is lost.
pub fn lost(board: &str, why: &str) -> Value {
    json!({ "event": "link-lost", "board": board, "why": why })
}

/// The state of a board: what it reads, what it judges, what it drives.
pub fn state(telemetry: &Telemetry, (bad, missed): (u32, u32)) -> Value {
    let row = believed(telemetry);
    let readings: Map<String, Value> = Channel::ALL
        .into_iter()
        .filter_map(|channel| Some((column_name(channel).to_owned(), json!(rounded(row.get(channel)?)))))
        .collect();
    let judged: Map<String, Value> = Quantity::ALL
        .into_iter()
        .zip(telemetry.judged)
        .filter_map(|(quantity, raw)| {
            let value = rounded(from_raw(raw?, quantity.fraction_bits()));
            Some((quantity.table_name().to_owned(), json!({ "value": value, "unit": quantity.symbol() })))
        })
        .collect();
    json!({
        "event": "state",
        "time_s": seconds(telemetry.readings.time_us),
        "phase": phase_name(telemetry.phase),
        "band": (telemetry.position.band > 0).then_some(telemetry.position.band),
        "readings": readings,
        "judged": judged,
        "alarms": telemetry.alarms.iter().flatten().map(|alarm| alarm.rule.name()).collect::<Vec<_>>(),
        "unacknowledged": telemetry.returned.iter().map(Rule::name).collect::<Vec<_>>(),
        "board_faults": board_faults::names(&telemetry.faults),
        "bench_test": telemetry.is_bench,
        "relay_energised": telemetry.outputs.relay_energised,
        "lamp": telemetry.outputs.lamp.name(),
        "horn": telemetry.outputs.horn,
        "black_box_frozen": telemetry.black_box_frozen,
        "frames_bad": bad,
        "frames_lost": missed,
        "reports_dropped": telemetry.dropped,
    })
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
        "turned_deg": alarm.position.turned.map(|degrees| rounded(value(degrees))),
        "worst": rounded(from_raw(alarm.worst, bits)),
        "limit": alarm.limit.map(|limit| rounded(from_raw(limit, bits))),
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
