//! What a change brings, in words and for machines.
//!
//! Decides: which figures of an effect are worth a word, and their order: what is gained first.
//! Never: works an effect out; see [`crate::trial::propose`].

use crate::trial::cost::{Costs, Figures};
use crate::trial::interval::Share;
use crate::trial::proposal::Part;
use serde_json::{Value, json};

/// What a part of a proposal brings: gains, then what they cost.
pub(super) fn words(part: &Part) -> String {
    let effect = &part.effect;
    let mean_s = |sum_us: i64| sum_us as f64 / 1e6 / part.faults.max(1) as f64;
    let mut words: Vec<(bool, String)> = Vec::new();
    let mut count = |count: i64, what: &str, more_is_good: bool| {
        if count != 0 {
            let word = if count > 0 { "more" } else { "fewer" };
            words.push(((count > 0) == more_is_good, format!("{} {word} {what}", count.abs())));
        }
    };
    count(effect.found, if effect.found.abs() == 1 { "fault found" } else { "faults found" }, true);
    let alarms = if effect.false_alarms.abs() == 1 { "false alarm" } else { "false alarms" };
    count(effect.false_alarms, alarms, false);
    let mut time = |sum_us: i64, less: &str, more: &str| {
        let mean_s = mean_s(sum_us);
        if mean_s.abs() >= 0.005 {
            let word = if mean_s < 0.0 { less } else { more };
            words.push((mean_s < 0.0, format!("{:.2} s {word}", mean_s.abs())));
        }
    };
    time(effect.late_us, "sooner in the mean", "later in the mean");
    time(effect.stands_us, "shorter after the fault", "longer after the fault");
    if part.worst_late_s >= 0.005 {
        words.push((false, format!("{:.2} s later at worst", part.worst_late_s)));
    }
    words.sort_by_key(|(is_gain, _)| !is_gain);
    words.into_iter().map(|(_, word)| word).collect::<Vec<_>>().join(", ")
}

/// `12 of 12 faults found (95 % confidence: 74 to 100 %)`.
pub(super) fn found(hits: u64, faults: u64, share: Option<Share>) -> String {
    let Some(share) = share else { return "no fault".to_owned() };
    format!(
        "{hits} of {faults} faults found (95 % confidence: {:.0} to {:.0} %)",
        share.low_percent(),
        share.high_percent()
    )
}

/// An effect, all of it.
pub(super) fn json(effect: &Figures, costs: &Costs) -> Value {
    let seconds = |micros: i64| micros as f64 / 1e6;
    json!({
        "found": effect.found,
        "found_stop": effect.found_stops,
        "missed_stop": effect.missed_stops,
        "missed_warn": effect.missed_warns,
        "not_judged": effect.not_judged,
        "false_alarms": effect.false_alarms,
        "false_stops": effect.false_stops,
        "late_s": seconds(effect.late_us),
        "stands_s": seconds(effect.stands_us),
        "cost": effect.cost(costs),
    })
}

/// What is gained, for machines.
pub(super) fn because(part: &Part) -> Vec<Value> {
    let effect = &part.effect;
    let mean_s = |sum_us: i64| -sum_us as f64 / 1e6 / part.faults.max(1) as f64;
    let gains = [
        (effect.found > 0, json!({ "finds_more": { "by": effect.found } })),
        (effect.false_alarms < 0, json!({ "fewer_false_alarms": { "by": -effect.false_alarms } })),
        (effect.late_us < 0, json!({ "sooner": { "by_s": mean_s(effect.late_us) } })),
        (effect.stands_us < 0, json!({ "stands_less": { "by_s": mean_s(effect.stands_us) } })),
    ];
    gains.into_iter().filter(|(is_gain, _)| *is_gain).map(|(_, gain)| gain).collect()
}
