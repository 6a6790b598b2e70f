//! What many logs come to, as the last of their JSON lines; and what stands in place of a log that failed.
//!
//! Decides: field names.
//! Never: leaves a log that failed unnamed.

use crate::raw::seconds;
use crate::shift::{Failure, RuleTally, Shift, Stop, Tally};
use bandward::Rule;
use serde_json::{Value, json};

/// The line of a log that failed.
pub fn failure(failure: &Failure) -> Value {
    json!({ "trace": { "path": failure.path }, "failed": failure.why })
}

/// The last line.
pub fn summary(shift: &Shift) -> Value {
    let of_machine = |(machine, tally): (&Option<String>, &Tally)| {
        let mut object = json!({ "machine": machine });
        put(&mut object, tally);
        object
    };
    let mut summary = json!({
        "logs": shift.logs(),
        "read": shift.read,
        "failed": shift.failures.iter().map(|failure| failure.path.as_str()).collect::<Vec<_>>(),
        "named_again": shift.named_again,
        "passed_over": shift.passed_over,
        "without_joint": shift.without_joint,
        "worsened": shift.worsened,
        "outcome": shift.outcome().name(),
    });
    put(&mut summary, &shift.all);
    summary["stop_alarms"] = json!(shift.stop_count);
    summary["stops"] = shift.stops.iter().map(stop).collect::<Vec<_>>().into();
    summary["by_machine"] = shift.machines.iter().map(of_machine).collect::<Vec<_>>().into();
    summary["by_rule"] = shift.rules.iter().map(of_rule).collect::<Vec<_>>().into();
    json!({ "summary": summary })
}

fn put(object: &mut Value, tally: &Tally) {
    object["joints"] = json!(tally.joints);
    object["proven"] = json!(tally.proven);
    object["broken"] = json!(tally.broken);
    object["not_proven"] = json!(tally.not_proven);
    object["not_judged"] = json!(tally.not_judged);
}

fn stop(stop: &Stop) -> Value {
    let alarm = &stop.alarm;
    json!({
        "path": stop.path,
        "rule": alarm.rule.name(),
        "joint": alarm.joint,
        "band": (alarm.band > 0).then_some(alarm.band),
        "raised_s": seconds(alarm.raised_us),
    })
}

fn of_rule((rule, tally): (&Rule, &RuleTally)) -> Value {
    json!({
        "rule": rule.name(),
        "broken": tally.broken,
        "not_proven": tally.not_proven,
        "alarmed": tally.alarmed,
        "stopped": tally.stopped,
    })
}
