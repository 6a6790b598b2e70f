//! Nothing is called steady that was not proven to be: what an attack from outside kept steady is in doubt.
//!
//! Assumes: invented shops of one quantity, 17.5 L/min of gas with a standard deviation of 0.2, 20 sound joints
//! and 40 more.

use bandward_sim::process::random::Noise;
use bandward_sim::trend::doubt::Doubt;
use bandward_sim::trend::event::Event;
use bandward_sim::trend::measure::Measure;
use bandward_sim::trend::record::{self, Record};
use bandward_sim::trend::{Options, Trend};
use serde_json::{Value, json};

const JOINTS: usize = 60;
const SEEDS: std::ops::Range<u64> = 0..10;

/// Records of a shop; `change` may write anything anew.
fn shop(seed: u64, change: impl Fn(usize, &mut Value)) -> Vec<Record> {
    let mut noise = Noise::new(seed, 11);
    let joint = |joint: usize| {
        let (month, day) = (1 + joint / 28, 1 + joint % 28);
        let mut record = json!({
            "trace": { "path": format!("joint {joint}"), "start": format!("2026-{month:02}-{day:02}T08:00:00") },
            "outcome": "proven", "within_procedure": true, "context": { "operator": "A", "machine": "M1" },
            "bands": [{ "band": 1, "ending": "arc-off", "start_unseen": false, "within_procedure": true,
                "gas_lpm": { "mean": 17.5 + 0.2 * noise.normal() }, "turn_time_s": 24.0 + 0.15 * noise.normal() }],
        });
        change(joint, &mut record);
        record
    };
    let records: Vec<Value> = (0..JOINTS).map(joint).collect();
    record::parse("shop.json", &json!(records).to_string()).expect("sound records")
}

fn trend(records: Vec<Record>, events: &[&str]) -> Trend {
    let events = events.iter().map(|event| Event::parse(event).expect("an event")).collect();
    Trend::of(records, None, Options { events, ..Options::default() }).expect("they have joints")
}

fn less_gas(record: &mut Value, by: f64) {
    let gas = &mut record["bands"][0]["gas_lpm"]["mean"];
    *gas = json!(gas.as_f64().expect("a figure") - by);
}

/// In every shop the gas is in doubt, and the whole is neither steady nor drifting; or it drifts.
fn is_doubted(told: &Trend, is_it: impl Fn(Doubt) -> bool) {
    if told.drifting().next().is_some() {
        return;
    }
    let doubts: Vec<_> = told.doubted().map(|(series, doubt)| (series.measure, doubt)).collect();
    assert!(doubts.iter().any(|&(measure, doubt)| measure == Measure::Gas && is_it(doubt)), "{doubts:?}");
    assert_eq!(told.is_steady(), None);
}

#[test]
fn a_steady_shop_is_in_no_doubt() {
    let doubted = SEEDS.filter(|&seed| trend(shop(seed, |_, _| {}), &[]).is_steady() != Some(true)).count();
    assert!(doubted <= 1, "{doubted} of 10");
}

#[test]
fn a_fault_on_every_second_or_third_joint_is_not_steady() {
    for (seed, every) in SEEDS.flat_map(|seed| [(seed, 2), (seed, 3)]) {
        let records = shop(seed, |joint, record| {
            if joint >= 30 && joint % every == 1 {
                less_gas(record, 8.0);
            }
        });
        is_doubted(&trend(records, &[]), |doubt| matches!(doubt, Doubt::OftenAlone { .. }));
    }
}

#[test]
fn a_newest_joint_far_off_is_not_steady() {
    for seed in SEEDS {
        let records = shop(seed, |joint, record| {
            if joint + 1 == JOINTS {
                less_gas(record, 16.0);
            }
        });
        is_doubted(&trend(records, &[]), |doubt| doubt == Doubt::NewestAlone);
    }
}

#[test]
fn a_reading_that_ends_is_not_steady() {
    for seed in SEEDS {
        let records = shop(seed, |joint, record| {
            if joint > 31 {
                record["bands"][0]["gas_lpm"] = Value::Null;
            }
        });
        is_doubted(&trend(records, &[]), |doubt| doubt == Doubt::Ended { last: 31 });
    }
}

#[test]
fn what_comes_with_an_event_or_an_operator_does_not_excuse_everything() {
    for seed in SEEDS {
        let operator = shop(seed, |joint, record| {
            if joint >= 30 {
                record["context"]["operator"] = json!("B");
                less_gas(record, 8.0);
            }
        });
        let bottle = shop(seed, |joint, record| {
            if joint >= 30 {
                less_gas(record, 10.0);
            }
        });
        for told in [trend(operator, &[]), trend(bottle, &["bottle@31"])] {
            is_doubted(
                &told,
                |doubt| matches!(doubt, Doubt::Explained { deviations, .. } if deviations < -10.0),
            );
        }
    }
}

#[test]
fn a_machine_without_a_chart_is_not_steady() {
    let records = shop(1, |joint, record| {
        if joint % 20 == 19 {
            record["context"]["machine"] = json!("M2");
        }
    });
    let told = trend(records, &[]);
    assert_eq!((told.unwatched().collect::<Vec<_>>(), told.is_steady()), (vec![1], None));
}

#[test]
fn a_joint_is_as_bad_as_its_worst_band() {
    let told =
        trend(shop(1, |joint, record| record["bands"][0]["within_procedure"] = json!(joint != 7)), &[]);
    assert_eq!(told.flagged().collect::<Vec<_>>(), [7]);
    assert!(told.is_outside());
}

#[test]
fn an_event_of_a_machine_that_is_not_there_is_refused() {
    let event = Event { machine: Some("M9".to_owned()), ..Event::parse("tip@31").expect("an event") };
    let told = Trend::of(shop(1, |_, _| {}), None, Options { events: vec![event], ..Options::default() });
    assert_eq!(told.expect_err("no such machine"), "joint 31: no joint was laid on machine `M9`");
}
