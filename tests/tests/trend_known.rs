//! A trend knows what its records and its shop know: sound baselines, events, operators, seasons, steps.
//!
//! Decides: how often a steady shop may look unsteady, and how a fault must be told.
//! Assumes: records at the level of `replay --json`, made here at random: invented shops, each figure by a
//! formula of its own that shares nothing with the process model.
//! Never: takes a figure of the trend for what is expected.

use bandward_sim::identity::Context;
use bandward_sim::process::random::Noise;
use bandward_sim::trend::change::Shape;
use bandward_sim::trend::chart::{Cusum, Design, Ewma};
use bandward_sim::trend::event::Event;
use bandward_sim::trend::measure::Measure;
use bandward_sim::trend::record::{self, Record};
use bandward_sim::trend::reference::{FURTHEST, Reference};
use bandward_sim::trend::{Options, Series, Trend};
use bandward_tests::program;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Output;

/// Joints of a shop.
const JOINTS: usize = 70;
/// Joints before a fault begins.
const SOUND: usize = 33;
/// Key in the record, below it, mean and standard deviation of a figure: invented.
const FIGURES: [(&str, &str, f64, f64); 9] = [
    ("current_a", "mean", 320.0, 2.0),
    ("current_a", "sd", 5.5, 0.3),
    ("voltage_v", "mean", 31.0, 0.12),
    ("wire_mm_per_min", "", 7250.0, 25.0),
    ("gas_lpm", "mean", 17.5, 0.15),
    ("weave_width_mm", "", 25.0, 0.2),
    ("turn_time_s", "", 24.0, 0.15),
    ("arc_energy_kj_per_mm", "", 3.05, 0.02),
    ("band_height_mm", "", 2.8, 0.04),
];
const CURRENT: usize = 0;
const CURRENT_SPREAD: usize = 1;
const GAS: usize = 4;
const ENERGY: usize = 7;

/// What goes on in a shop.
#[derive(Clone, Copy, Default)]
#[allow(clippy::struct_excessive_bools, reason = "each is a habit of its own, and any may go with any")]
struct Shop {
    /// Three operators in blocks of eight joints, each with a way of their own.
    has_operators: bool,
    /// Half a year, from any day on: the figures follow the temperature.
    has_season: bool,
    /// A new spool every 14 joints, 2 % apart.
    has_spools: bool,
    /// Every fifteenth joint is broken by its own record, half of those at too little gas.
    has_flagged: bool,
    /// Every fifth joint has a crater fill.
    has_craters: bool,
    /// The share of its departure that a joint passes on to the next.
    share: f64,
}

const EVERYDAY: Shop = Shop {
    has_operators: true,
    has_season: true,
    has_spools: true,
    has_flagged: true,
    has_craters: true,
    share: 0.25,
};

/// The records of a shop; `fault` changes the figures of a joint, in standard deviations.
fn shop(seed: u64, shop: Shop, fault: impl Fn(usize, &mut [f64])) -> Vec<Record> {
    let mut noise = Noise::new(7_000 + seed, 3);
    let count = FIGURES.len();
    let mut normals = |scale: f64| (0..count).map(|_| scale * noise.normal()).collect::<Vec<f64>>();
    let ways = [normals(1.2), normals(1.2), normals(1.2)];
    let seasons = normals(1.0);
    let spools = normals(6.4 / 2.0);
    let day_zero = 365.0 * (normals(1.0)[0]).abs().fract();
    let mut passed = vec![0.0; count];
    let mut records = Vec::new();
    for joint in 0..JOINTS {
        let own = normals((1.0 - shop.share * shop.share).sqrt());
        let chance = normals(1.0);
        let operator = (chance[0].abs() * 10.0) as usize % 3;
        // A block of eight joints has the operator of its first.
        let operator = if joint % 8 == 0 { operator } else { operator_of(&records, operator) };
        let day = day_zero + joint as f64 * 180.0 / JOINTS as f64;
        let ambient = 15.0 + 12.0 * (day / 365.0 * std::f64::consts::TAU).sin() + 2.0 * chance[1];
        let spool = joint / 14;
        let mut off: Vec<f64> = (0..count).map(|at| shop.share * passed[at] + own[at]).collect();
        passed.clone_from(&off);
        for at in 0..count {
            off[at] += f64::from(u8::from(shop.has_operators)) * ways[operator][at];
            off[at] += f64::from(u8::from(shop.has_season)) * seasons[at] * (ambient - 15.0) / 8.0;
        }
        if shop.has_spools && spool > 0 {
            off[CURRENT] += spools[spool];
            off[ENERGY] += spools[spool];
        }
        if shop.has_craters && joint % 5 == 4 {
            off[CURRENT] -= 9.0;
            off[CURRENT_SPREAD] += 13.0;
            off[ENERGY] -= 8.0;
        }
        let is_flagged = shop.has_flagged && joint % 15 == 6;
        if is_flagged && joint % 2 == 0 {
            off[GAS] -= 25.0;
        }
        fault(joint, &mut off);
        let operator = ["A", "B", "C"][operator];
        let known = json!({ "operator": operator, "spool": format!("s{spool}"), "ambient_c": ambient });
        records.push(record(seed, joint, &off, is_flagged, &known));
    }
    record::parse("shop.json", &json!(records).to_string()).expect("sound records")
}

fn operator_of(records: &[Value], new: usize) -> usize {
    let last = records.last().and_then(|record| record["context"]["operator"].as_str());
    last.map_or(new, |name| ["A", "B", "C"].iter().position(|one| *one == name).unwrap_or(new))
}

fn record(seed: u64, joint: usize, off: &[f64], is_flagged: bool, context: &Value) -> Value {
    let mut band = json!({ "band": 1, "ending": "arc-off", "start_unseen": false, "within_procedure": !is_flagged,
        "wire_feed_source": "measured" });
    for ((key, part, mean, deviation), off) in FIGURES.iter().zip(off) {
        let value = json!(mean + deviation * off);
        if part.is_empty() { band[*key] = value } else { band[*key][*part] = value }
    }
    let (month, day) = (1 + joint / 28, 1 + joint % 28);
    json!({
        "trace": { "path": format!("shop {seed} joint {joint}"), "start": format!("2026-{month:02}-{day:02}T08:00:00") },
        "outcome": if is_flagged { "broken" } else { "proven" }, "within_procedure": !is_flagged,
        "context": context, "bands": [band],
    })
}

fn trend(records: Vec<Record>) -> Trend {
    Trend::of(records, None, Options::default()).expect("no events")
}

/// The same shop, with nothing known of it. Where operators change in blocks and it gets warmer all the
/// time, a drift is told from those only after a while, as it must be: nobody else could.
fn bare(mut records: Vec<Record>) -> Vec<Record> {
    for record in &mut records {
        record.context = Context::default();
    }
    records
}

fn series(trend: &Trend, measure: Measure) -> &Series {
    trend.series.iter().find(|series| series.measure == measure).expect("it was read")
}

fn causes(trend: &Trend) -> Vec<&'static str> {
    trend.causes.iter().map(|likely| likely.cause.name).collect()
}

/// The claim of the issue: at most 5 of 100 steady shops look unsteady. Before operators, temperature and
/// spools were modelled it was about 30 of 40.
#[test]
fn at_most_five_of_a_hundred_steady_shops_are_called_unsteady() {
    let unsteady: Vec<u64> =
        (0..100).filter(|&seed| trend(shop(seed, EVERYDAY, |_, _| {})).is_steady() != Some(true)).collect();
    println!("{} of 100 steady shops look unsteady: {unsteady:?}", unsteady.len());
    assert!(unsteady.len() <= 5, "{unsteady:?}");
}

/// What is known must be told to be known: the same shops without their context do look unsteady, or this
/// test would prove nothing.
#[test]
fn the_same_shops_would_look_unsteady_to_one_who_knows_nothing() {
    let blind = |seed| trend(bare(shop(seed, EVERYDAY, |_, _| {}))).is_steady() != Some(true);
    let unsteady = (0..20).filter(|&seed| blind(seed)).count();
    assert!(unsteady >= 8, "{unsteady} of 20");
}

/// Lucas and Crosier 1982 and Lucas and Saccucci 1990, the tables of `trend.rs`: with operators, a
/// temperature and events modelled the deviates still are those of a known mean and spread. The bound is a
/// share of the table, since what is expected of operators is no exact science; 3.5 standard errors.
#[test]
fn run_lengths_stay_those_published_whatever_is_modelled() {
    const RUNS: u32 = 1_500;
    let design = Design::default();
    for (name, published) in [("CUSUM", 465.4), ("EWMA", 499.7)] {
        let mut noise = Noise::new(23, 5);
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..RUNS {
            let ways = [0.0, noise.normal(), noise.normal()];
            let mut warmth = 0.0;
            let mut level = 300.0;
            let mut reference = Reference::new(4, 1e-6);
            let (mut ewma, mut cusum) = (Ewma::new(&design), Cusum::new(&design));
            let mut length = 0.0;
            for joint in 0.. {
                let operator = (joint / 4) % 3;
                warmth = 0.9 * warmth + 0.3 * noise.normal();
                if joint % 25 == 24 {
                    level += 10.0 * noise.normal();
                    reference.let_level_go();
                }
                let row =
                    [1.0, f64::from(u8::from(operator == 1)), f64::from(u8::from(operator == 2)), warmth];
                let reading = level + ways[operator] + 0.8 * warmth + noise.normal();
                let deviate = reference.deviate(&row, reading).filter(|_| joint >= 20);
                reference.learn(&row, reading);
                let Some(deviate) = deviate.map(|deviate| deviate.clamp(-FURTHEST, FURTHEST)) else {
                    continue;
                };
                length += 1.0;
                let is_signalled =
                    if name == "EWMA" { ewma.push(deviate).is_some() } else { cusum.push(deviate).is_some() };
                if is_signalled {
                    break;
                }
            }
            sum += length;
            squares += length * length;
        }
        let runs = f64::from(RUNS);
        let mean = sum / runs;
        let error = ((squares / runs - mean * mean) / runs).sqrt();
        println!("{name}: {mean:.1} +- {error:.1}, published {published}");
        assert!((mean - published).abs() <= 3.5 * error + 0.01 * published, "{name}: {mean} +- {error}");
    }
}

/// One flagged joint among the 20 of the baseline hid a gas loss for 23 joints, seven for good.
#[test]
fn flagged_joints_are_no_baseline_and_hide_no_gas_loss() {
    let plain = Shop::default();
    // Operators and warmth that are known and make no difference must not cost more than a joint or two.
    for (flagged, is_bare) in [(0, true), (1, true), (7, true), (0, false), (1, false)] {
        let found: Vec<usize> = (0..10)
            .filter_map(|seed| {
                let mut records = shop(seed, plain, |joint, off| {
                    off[GAS] -= 0.5 * (joint + 1).saturating_sub(SOUND) as f64;
                    if joint > 2 && joint <= 2 + flagged {
                        off[GAS] -= 25.0;
                    }
                });
                for record in records.iter_mut().skip(3).take(flagged) {
                    record.outcome = bandward::Outcome::NotProven;
                }
                let trend = trend(if is_bare { bare(records) } else { records });
                assert_eq!(trend.flagged().count(), flagged);
                let series = series(&trend, Measure::Gas);
                let drift = series.drifting()?;
                Some((series.points[drift.signal].joint + 1).saturating_sub(SOUND))
            })
            .collect();
        println!("{flagged} flagged, bare {is_bare}: named after so many joints: {found:?}");
        assert!(found.len() == 10 && found.iter().all(|after| *after <= 12), "{flagged}: {found:?}");
    }
}

#[test]
fn flagged_joints_are_a_baseline_where_asked_and_else_nothing_is_judged() {
    let mut records = shop(1, Shop::default(), |_, _| {});
    for record in &mut records {
        record.outcome = bandward::Outcome::NotProven;
    }
    let strict = trend(records.clone());
    assert_eq!((strict.is_steady(), strict.is_watched()), (None, false));
    let options = Options { has_flagged_baseline: true, ..Options::default() };
    let asked = Trend::of(records, None, options).expect("no events");
    assert_eq!(asked.is_steady(), Some(true));
}

#[test]
fn a_baseline_that_drifts_is_told() {
    let told = |per_joint: f64| {
        (0..20)
            .filter(|&seed| {
                let records =
                    shop(seed, Shop::default(), |joint, off| off[GAS] += per_joint * joint.min(20) as f64);
                series(&trend(bare(records)), Measure::Gas).is_start_unsteady()
            })
            .count()
    };
    assert!(told(0.3) >= 18, "{} of 20", told(0.3));
    assert!(told(0.0) <= 1, "{} of 20", told(0.0));
}

/// A new spool that takes 4 % less current: 6.4 standard deviations here.
fn with_spool(seed: u64) -> Vec<Record> {
    shop(seed, Shop::default(), |joint, off| {
        if joint >= SOUND {
            off[CURRENT] -= 6.4;
            off[ENERGY] -= 6.4;
        }
    })
}

#[test]
fn a_known_spool_is_no_drift_and_one_that_is_not_known_is_a_step() {
    let (mut steps, mut misled) = (0, 0);
    for seed in 0..34 {
        // The context of these records tells a spool every 14 joints; here the event alone is known.
        let mut records = with_spool(seed);
        for record in &mut records {
            record.context.spool = None;
        }
        let event = Event::parse(&format!("spool@{}", SOUND + 1)).expect("an event");
        let options = Options { events: vec![event], ..Options::default() };
        let known = Trend::of(records.clone(), None, options).expect("a joint");
        misled += usize::from(known.is_steady() != Some(true));
        let blind = trend(records);
        let drift = series(&blind, Measure::Current).drifting().expect("it stands");
        let change = drift.change.expect("a change point");
        assert!(
            series(&blind, Measure::Current).points[change.at].joint.abs_diff(SOUND) <= 1,
            "shop {seed}: {change:?}"
        );
        assert!(!causes(&blind).contains(&"torch-creeping-up"), "shop {seed}: {:?}", causes(&blind));
        steps += usize::from(change.shape == Shape::Step && causes(&blind).first() == Some(&"wire-batch"));
    }
    println!("{misled} of 34 new spools called a drift, {steps} unknown ones a step of the wire");
    // Of 34 steady shops 1.7 may look unsteady at 5 of 100; more than 4 are one in 30 (Poisson).
    assert!(misled <= 4, "{misled} of 34 known spools are called a drift");
    assert!(steps >= 32, "{steps} of 34 told as a step of the wire");
}

#[test]
fn a_slope_is_told_from_a_step() {
    let told = |fault: &dyn Fn(f64) -> f64| -> Vec<Shape> {
        (0..20)
            .map(|seed| {
                let records = shop(seed, Shop::default(), |joint, off| {
                    off[GAS] -= fault((joint + 1).saturating_sub(SOUND) as f64);
                });
                let trend = trend(bare(records));
                let drift = series(&trend, Measure::Gas).drifting().expect("it stands");
                drift.change.expect("a change point").shape
            })
            .collect()
    };
    let count = |shapes: &[Shape], wanted: Shape| shapes.iter().filter(|shape| **shape == wanted).count();
    let slopes = told(&|since| 0.4 * since);
    let steps = told(&|since| 3.0 * f64::from(u8::from(since > 0.0)));
    println!("slopes {slopes:?}, steps {steps:?}");
    assert!(count(&slopes, Shape::Slope) >= 19 && count(&slopes, Shape::Step) == 0, "{slopes:?}");
    assert!(count(&steps, Shape::Step) >= 19 && count(&steps, Shape::Slope) == 0, "{steps:?}");
}

/// The interval is one of 95 % confidence (Siegmund 1988): of 60 true change points all but 9 at least
/// lie in it (three and a half standard errors more than the 3 that are expected not to).
#[test]
fn the_interval_of_a_change_point_holds_what_it_claims() {
    let told: Vec<bool> = (0..60)
        .filter_map(|seed| {
            let records = shop(seed, Shop::default(), |joint, off| {
                off[GAS] -= if joint >= SOUND { 2.5 } else { 0.0 };
            });
            let trend = trend(bare(records));
            let series = series(&trend, Measure::Gas);
            let change = series.drifting()?.change?;
            Some((change.from..=change.to).contains(&SOUND))
        })
        .collect();
    let inside = told.iter().filter(|inside| **inside).count();
    println!("{inside} of {} change points lie in their interval", told.len());
    assert!(told.len() >= 57 && inside >= told.len() - 9, "{inside} of {}", told.len());
}

/// Every fifth joint 9 standard deviations low must not blind the chart to a slope of half a one.
#[test]
fn a_crater_fill_in_every_fifth_joint_does_not_blind_the_chart() {
    let found: Vec<usize> = (0..20)
        .filter_map(|seed| {
            let craters = Shop { has_craters: true, ..Shop::default() };
            let records = shop(seed, craters, |joint, off| {
                off[CURRENT] -= 0.5 * (joint + 1).saturating_sub(SOUND) as f64;
            });
            let trend = trend(bare(records));
            let series = series(&trend, Measure::Current);
            Some((series.points[series.drifting()?.signal].joint + 1).saturating_sub(SOUND))
        })
        .collect();
    println!("named after so many joints: {found:?}");
    assert!(found.len() == 20 && found.iter().all(|after| *after <= 15), "{found:?}");
}

/// Two machines, one of which loses gas: each has its own charts, and only one drifts.
#[test]
fn machines_are_never_mixed() {
    let mut records = shop(3, Shop::default(), |_, _| {});
    let other = shop(4, Shop::default(), |joint, off| {
        off[GAS] -= 0.5 * (joint + 1).saturating_sub(SOUND) as f64;
        off[CURRENT] += 20.0;
    });
    for record in &mut records {
        record.context.machine = Some("M1".to_owned());
    }
    records.extend(other.into_iter().map(|mut record| {
        record.context.machine = Some("M2".to_owned());
        record
    }));
    let trend = trend(records);
    assert_eq!(trend.groups.len(), 2);
    let drifting: Vec<_> = trend.drifting().map(|(series, _)| (series.group, series.measure)).collect();
    assert_eq!(drifting, [(1, Measure::Gas)]);
    assert!(trend.causes.iter().all(|likely| likely.group == 1));
}

fn run(arguments: &[&str], folder: &Path) -> Output {
    program::run_in(folder, &[&["trend"], arguments].concat())
}

#[test]
fn the_command_takes_events_from_a_file_and_says_what_it_knew() {
    let folder = tempfile::tempdir().expect("a folder");
    let records: Vec<Value> = (0..JOINTS)
        .map(|joint| {
            let mut noise = Noise::new(5, joint as u64);
            let off: Vec<f64> = (0..FIGURES.len())
                .map(|at| noise.normal() - if at == CURRENT && joint >= SOUND { 6.4 } else { 0.0 })
                .collect();
            record(1, joint, &off, false, &json!({ "machine": "M1" }))
        })
        .collect();
    std::fs::write(folder.path().join("shop.json"), json!(records).to_string()).expect("written");
    let at = format!("[[event]]\nkind = \"spool\"\nrecord = \"shop 1 joint {SOUND}\"\nname = \"lot 17\"\n");
    std::fs::write(folder.path().join("events.toml"), at).expect("written");
    let blind = run(&["shop.json", "--json"], folder.path());
    let told: Value = serde_json::from_slice(&blind.stdout).expect("JSON");
    assert_eq!((blind.status.code(), &told["steady"]), (Some(1), &json!(false)));
    let current = &told["quantities"][0];
    assert_eq!(current["quantity"], "current_a");
    assert_eq!(current["drift"]["change"]["shape"], "step");
    assert_eq!(current["drift"]["change"]["at_joint"], SOUND + 1);
    let known = run(&["shop.json", "--events", "events.toml", "--json"], folder.path());
    let told: Value = serde_json::from_slice(&known.stdout).expect("JSON");
    assert_eq!((known.status.code(), &told["steady"]), (Some(0), &json!(true)));
    assert_eq!(told["events"][0]["name"], "lot 17");
    assert_eq!(told["events"][0]["from_joint"], SOUND + 1);
    let text = run(&["shop.json", "--events", "events.toml"], folder.path());
    assert!(String::from_utf8_lossy(&text.stdout).contains("new spool (lot 17) from joint 34 on"));
    let refused = run(&["shop.json", "--event", "spool@71"], folder.path());
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("there are 70 joints"));
}
