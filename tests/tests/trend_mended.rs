//! What an attack from outside found in `trend`: crater fills, beginnings, what has cleared, shapes, gaps.
//!
//! Decides: how such shops must be told.
//! Assumes: invented shops of eight figures, each by a formula of its own; every fifth joint has a crater fill where
//! asked.
//! Never: takes a figure of the trend for what is expected.

use bandward::rule::Side;
use bandward_sim::input::quantity::{UnitSystem, format_difference};
use bandward_sim::input::unit::Dimension;
use bandward_sim::process::random::Noise;
use bandward_sim::trend::change::{Change, Shape};
use bandward_sim::trend::measure::Measure;
use bandward_sim::trend::record::{self, Record};
use bandward_sim::trend::{Options, Series, Trend};
use bandward_tests::program;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Output;

const JOINTS: usize = 70;
const SOUND: usize = 32;
const SEEDS: std::ops::Range<u64> = 0..10;
/// Key, the one below it, mean, standard deviation, and what a crater fill makes: invented.
const FIGURES: [(&str, &str, f64, f64, f64); 8] = [
    ("current_a", "mean", 310.0, 3.5, -22.0),
    ("current_a", "sd", 6.0, 0.4, 5.0),
    ("voltage_v", "mean", 31.0, 0.12, -0.8),
    ("gas_lpm", "mean", 17.5, 0.2, 0.0),
    ("wire_mm_per_min", "", 7200.0, 25.0, 0.0),
    ("turn_time_s", "", 84.0, 0.3, 0.0),
    ("arc_energy_kj_per_mm", "", 2.9, 0.035, -0.28),
    ("band_height_mm", "", 2.75, 0.03, 0.15),
];
const CURRENT: usize = 0;
const GAS: usize = 3;
const ENERGY: usize = 6;

/// The records of a shop as JSON; `fault` says how far off a figure is, in standard deviations.
fn shop(seed: u64, has_craters: bool, operators: usize, fault: impl Fn(usize, usize) -> f64) -> Vec<Value> {
    let mut noise = Noise::new(31_000 + seed, 7);
    let joint = |joint: usize| {
        let operator = (noise.normal().abs() * 100.0) as usize % operators;
        let mut band = json!({ "band": 1, "ending": "arc-off", "start_unseen": false, "within_procedure": true,
            "wire_feed_source": "measured" });
        for (at, (key, part, mean, deviation, crater)) in FIGURES.iter().enumerate() {
            let crater = if has_craters && joint % 5 == 4 { *crater } else { 0.0 };
            let value = json!(mean + deviation * (noise.normal() + fault(at, joint)) + crater);
            if part.is_empty() { band[*key] = value } else { band[*key][*part] = value }
        }
        let (month, day) = (1 + joint / 28, 1 + joint % 28);
        json!({
            "trace": { "path": format!("joint {joint}"), "start": format!("2026-{month:02}-{day:02}T08:00:00") },
            "outcome": "proven", "within_procedure": true, "bands": [band],
            "context": { "operator": format!("op{operator}"), "machine": "M1" },
        })
    };
    (0..JOINTS).map(joint).collect()
}

fn read(records: &[Value]) -> Vec<Record> {
    record::parse("shop.json", &json!(records).to_string()).expect("sound records")
}

fn trend(records: &[Value]) -> Trend {
    Trend::of(read(records), None, Options::default()).expect("no events")
}

fn series(trend: &Trend, measure: Measure) -> &Series {
    trend.series.iter().find(|series| series.measure == measure).expect("watched")
}

/// The torch 3 standard deviations of the current further away from joint 33 on.
fn torch(figure: usize, joint: usize) -> f64 {
    if joint >= SOUND && (figure == CURRENT || figure == ENERGY) { -3.0 } else { 0.0 }
}

#[test]
fn crater_fills_are_known_before_anything_is_fitted_and_hide_no_step() {
    let mut found = 0;
    for seed in SEEDS {
        let told = trend(&shop(seed, true, 2, torch));
        let right = told.craters.iter().filter(|joint| *joint % 5 == 4).count();
        assert!(right >= 12 && told.craters.len() - right <= 1, "shop {seed}: {:?}", told.craters);
        found += usize::from(series(&told, Measure::Current).drifting().is_some());
        // What a crater fill does not touch keeps its joints.
        assert!(series(&told, Measure::Gas).points.iter().all(|point| !point.is_crater));
        assert!(trend(&shop(seed, false, 2, torch)).craters.len() <= 1, "shop {seed}");
    }
    assert!(found >= 9, "{found} of 10");
}

#[test]
fn an_operator_with_few_sound_joints_in_the_baseline_is_named() {
    let mut records = shop(1, false, 1, |_, _| 0.0);
    for joint in [3, 9, 40, 41, 42] {
        records[joint]["context"]["operator"] = json!("new");
    }
    let told = trend(&records);
    assert_eq!(told.few.iter().map(|few| (&few.operator[..], few.joints)).collect::<Vec<_>>(), [("new", 2)]);
    assert_eq!(trend(&shop(1, false, 1, |_, _| 0.0)).few, []);
}

#[test]
fn a_drift_begins_where_its_change_point_is_and_its_mean_is_of_what_came_since() {
    for seed in SEEDS {
        let step = |figure: usize, joint: usize| if joint >= SOUND && figure == GAS { -6.0 } else { 0.0 };
        let told = trend(&shop(seed, false, 1, step));
        let gas = series(&told, Measure::Gas);
        let (drift, baseline) = (gas.drifting().expect("it stands"), gas.baseline.expect("a baseline"));
        let change = drift.change.expect("a change point");
        assert_eq!(drift.since, change.at, "shop {seed}");
        assert!((change.from..=change.to).contains(&drift.since) && drift.since <= drift.signal, "{drift:?}");
        // 38 joints and 20 of the baseline: the standard error is 0.3 standard deviations of 0.2 at most.
        let off = (drift.mean - baseline.mean) / 0.2;
        assert!((off + 6.0).abs() < 1.2, "shop {seed}: {off}");
    }
}

#[test]
fn a_level_that_is_still_off_by_more_than_half_has_not_cleared() {
    let stays = |left: f64| {
        let standing = SEEDS.filter(|&seed| {
            let fault = |figure: usize, joint: usize| match joint {
                SOUND..50 if figure == GAS => -2.0,
                50.. if figure == GAS => -2.0 * left,
                _ => 0.0,
            };
            series(&trend(&shop(seed, false, 1, fault)), Measure::Gas).drifting().is_some()
        });
        standing.count()
    };
    assert!(stays(0.8) >= 9, "{} of 10 stay off", stays(0.8));
    assert!(stays(0.0) <= 1, "{} of 10 never clear", stays(0.0));
}

#[test]
fn a_slope_is_not_told_where_its_interval_is_wide_or_a_partner_stepped_within() {
    let slope = Change {
        side: Side::Low,
        shape: Shape::Slope,
        at: 22,
        from: 3,
        to: 34,
        size: -15.0,
        per_joint: Some(-0.5),
        deviate: 6.0,
    };
    let step = Change { shape: Shape::Step, at: 33, from: 31, to: 36, per_joint: None, ..slope };
    assert_eq!(slope.shown_by(false, &[]), slope);
    assert_eq!(slope.shown_by(false, &[Change { at: 40, ..step }]), slope);
    for told in [slope.shown_by(true, &[]), slope.shown_by(false, &[step])] {
        assert_eq!((told.shape, told.per_joint), (Shape::NotTold, None));
    }
}

#[test]
fn joints_of_a_steep_drift_do_not_stand_alone() {
    for seed in SEEDS {
        let steep = |figure: usize, joint: usize| {
            if figure == GAS { -((joint + 1).saturating_sub(SOUND) as f64) } else { 0.0 }
        };
        let told = trend(&shop(seed, false, 1, steep));
        let aside: Vec<_> =
            series(&told, Measure::Gas).set_aside().filter(|joint| *joint > SOUND + 6).collect();
        assert_eq!(aside, [0; 0], "shop {seed}");
    }
}

fn run(records: &[Value], arguments: &[&str], folder: &Path) -> Output {
    std::fs::write(folder.join("shop.json"), json!(records).to_string()).expect("written");
    program::run_in(folder, &[&["trend", "shop.json"], arguments].concat())
}

/// What stands on the page, without the breaks of its lines.
fn words(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn events_beside_the_joints_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let steady = shop(2, false, 1, |_, _| 0.0);
    let told =
        run(&steady, &["--event", "spool@2027-01-01T00:00:00", "--event", "tip@2025-01-01"], folder.path());
    let words = words(&told);
    assert!(words.contains("no joint comes after it"), "{words}");
    assert!(words.contains("no joint lies before it"), "{words}");
}

#[test]
fn what_records_lack_is_told_and_nothing_is_called_steady() {
    let folder = tempfile::tempdir().expect("a folder");
    let steady = shop(2, false, 1, |_, _| 0.0);
    assert_eq!(run(&steady, &[], folder.path()).status.code(), Some(0));
    let changed = |change: &dyn Fn(&mut Value)| {
        let mut records = steady.clone();
        change(&mut records[39]);
        let told = run(&records, &[], folder.path());
        assert_eq!(told.status.code(), Some(3), "{}", words(&told));
        words(&told)
    };
    for time in ["yesterday", "2026-13-45", "2026-02-30T07:15:00", "2026-03-04T25:00:00"] {
        let told = changed(&|record| record["trace"]["start"] = json!(time));
        assert!(told.contains(&format!("(joint 39): `{time}` is no time")), "{told}");
        let told = changed(&|record| record["context"]["welded_at"] = json!(time));
        assert!(told.contains(&format!("(joint 39): `{time}` is no time")), "{told}");
    }
    let told = changed(&|record| record["bands"] = json!([]));
    assert!(told.contains("(joint 39): no band"), "{told}");
    let told = changed(&|record| record["bands"][0]["current_a"]["mean"] = json!(-5.0));
    assert!(told.contains("mean current -5 cannot be true"), "{told}");
}

#[test]
fn a_row_of_events_with_more_fields_than_its_header_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("events.csv"), "joint,kind,name\n34,spool,lot 17, blue\n")
        .expect("written");
    let refused = run(&shop(2, false, 1, |_, _| 0.0), &["--events", "events.csv"], folder.path());
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("4 fields, where the header has 3"));
}

/// By hand: 25.4 mm are an inch.
#[test]
fn small_differences_keep_three_digits() {
    for (value, dimension, system, read) in [
        (0.002_134, Dimension::Voltage, UnitSystem::Metric, "0.00213 V"),
        (-0.5, Dimension::Current, UnitSystem::Metric, "-0.5 A"),
        (12.34, Dimension::Current, UnitSystem::Metric, "12.3 A"),
        (0.254, Dimension::Length, UnitSystem::Inch, "0.01 in"),
        (0.0, Dimension::Voltage, UnitSystem::Metric, "0 V"),
    ] {
        assert_eq!(format_difference(value, dimension, system), read);
    }
}

#[test]
fn a_step_within_a_short_baseline_is_told() {
    // 16 joints have a baseline of 8; from the fifth on the gas is ten standard deviations lower for good.
    let told = SEEDS.filter(|&seed| {
        let records =
            shop(seed, false, 1, |figure, joint| if figure == GAS && joint >= 4 { -10.0 } else { 0.0 });
        let trend = trend(&records[..16]);
        series(&trend, Measure::Gas).is_start_unsteady()
    });
    assert!(told.count() >= 9);
    let silent = SEEDS.filter(|&seed| {
        let trend = trend(&shop(seed, false, 1, |_, _| 0.0)[..16]);
        trend.series.iter().any(Series::is_start_unsteady)
    });
    assert!(silent.count() <= 1);
}

#[test]
fn another_spool_is_no_first_cause_where_the_records_name_one_spool() {
    let first = |names_spool: bool| {
        let mut records = shop(3, false, 1, torch);
        for record in &mut records {
            if names_spool {
                record["context"]["spool"] = json!("lot 1");
            }
        }
        let trend = trend(&records);
        let names: Vec<_> = trend.causes.iter().map(|likely| likely.cause.name).collect();
        assert!(names.contains(&"wire-batch") && names.contains(&"torch-knocked"), "{names:?}");
        names[0]
    };
    assert_eq!([first(false), first(true)], ["wire-batch", "torch-knocked"]);
}
