//! The score of a rule, and what was tried of it, for machines.
//!
//! Never: writes a number that was not computed: what is absent is `null`.

use crate::trial::score::{RuleScore, at_most_per_hour};
use crate::trial::tunable::Tunable;
use serde_json::{Value, json};

/// The figures of a score; `sound_us` is the time in which nothing was wrong.
pub(super) fn score(score: &RuleScore, sound_us: u64) -> Value {
    let hours = (sound_us > 0).then(|| sound_us as f64 / 3.6e9);
    let share = score.share();
    json!({
        "faults": score.faults(),
        "found": score.hits(),
        "found_share": share.map(|share| share.share),
        "found_share_low": share.map(|share| share.low),
        "found_share_high": share.map(|share| share.high),
        "missed": score.missed(),
        "not_judged": score.not_judged(),
        "false_alarms": score.false_alarms,
        "false_stops": score.false_stops,
        "false_per_hour": hours.map(|hours| score.false_alarms as f64 / hours),
        "false_per_hour_at_most": hours.map(|hours| at_most_per_hour(score.false_alarms, hours)),
        "delay_median_s": score.delay_s(0.5),
        "delay_95_s": score.delay_s(0.95),
        "delay_mean_s": score.mean_delay_s(),
        "delay_mean_found_s": score.mean_delay_of_found_s(),
        "stands_after_median_s": score.stands_s(0.5),
        "stands_after_most_s": score.stands_s(1.0),
        "stop_delay_median_s": score.stop_delay_s(0.5),
        "stop_delay_95_s": score.stop_delay_s(0.95),
        "only_warned": score.only_warned(),
        "stood_already": score.stood_already(),
        "again": score.repeats,
        "beside": score.beside,
        "late": score.late,
    })
}

/// What a number of a procedure is called.
pub(super) fn tunable(tunable: Tunable) -> Value {
    json!({ "rule": tunable.rule.name(), "name": tunable.to_string(), "unit": tunable.unit() })
}
