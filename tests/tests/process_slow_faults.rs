//! Faults that creep, faults that come together, and faults nobody would think of: what the monitor makes
//! of them, and that the model stands.

use bandward::{Channel, Rule, Severity};
use bandward_sim::alarm::Alarm;
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::fault::{Course, Fault, Start};
use bandward_sim::process::{Kind, Scenario, Targets, Truth};
use bandward_sim::replay::Replayer;
use bandward_tests::made::{follows, header};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::path::Path;

fn procedure() -> ProcedureFile {
    let text = include_str!("../data/procedures/quick-joint.toml");
    ProcedureFile::parse("quick-joint.toml", text).expect("a sound procedure")
}

fn good(sample_rate_hz: f64) -> Scenario {
    Scenario::good(Targets::of_file(&procedure()), sample_rate_hz)
}

/// Alarms of severity warn or stop, and the truth.
fn watch(scenario: &Scenario) -> (Vec<Alarm>, Truth) {
    let mut replayer = Replayer::new(&procedure().procedure, &header(scenario));
    let mut rows = scenario.rows();
    rows.by_ref().for_each(|row| replayer.step(&row));
    let mut alarms = replayer.finish().alarms;
    alarms.retain(|alarm| alarm.severity >= Severity::Warn);
    (alarms, rows.truth())
}

fn rules(alarms: &[Alarm]) -> BTreeSet<&'static str> {
    alarms.iter().map(|alarm| alarm.rule.name()).collect()
}

/// A creeping fault raises its own rule alone, but for what it cannot be without, and not before the value has left the allowed range.
#[test]
fn creeping_faults_are_heard_when_the_value_leaves_its_range() {
    let creeping = Kind::ALL
        .iter()
        .filter(|kind| kind.description().course == Course::Creeping && kind.description().rule.is_some());
    for &kind in creeping {
        for seed in 1..=10 {
            let scenario = good(50.0).with_seed(seed);
            let fault = scenario.default_fault(kind, seed);
            // Long enough to be seen to creep.
            let fault = Fault { start: Start::Seconds(4.0), duration_s: f64::INFINITY, ..fault };
            let (alarms, truth) = watch(&scenario.with_fault(fault));
            let truth = &truth.faults[0];
            let told = || format!("{kind:?} seed {seed}: {alarms:?}\n{truth:?}");
            let own = truth.rule().expect("one");
            let mut heard = rules(&alarms);
            heard.retain(|name| !follows(own).iter().any(|rule| rule.name() == *name));
            assert_eq!(heard, BTreeSet::from([own.name()]), "{}", told());
            // A second of noise either way.
            let first = alarms.iter().find(|alarm| alarm.rule == own).expect("it was heard");
            assert!(first.worst_us as f64 / 1e6 > truth.outside_from_s - 1.0, "{}", told());
            assert!(truth.outside_from_s > truth.start_s && truth.outside_from_s < truth.end_s);
        }
    }
}

/// Two faults in two bands are heard as two, each in its own band.
#[test]
fn faults_that_come_together_are_told_apart() {
    let pairs = [
        (Rule::CurrentLow, Rule::GasLow),
        (Rule::SpindleSlip, Rule::WeaveWidthLow),
        (Rule::VoltageHigh, Rule::CoolantLow),
        (Rule::ArcOutage, Rule::WeaveRateLow),
        (Rule::TurnTimeSlow, Rule::GasPostflow),
    ];
    for (first, second) in pairs {
        for seed in 1..=10 {
            let scenario = good(50.0).with_seed(seed);
            let in_band = |rule, band| {
                let kind = Kind::of_rule(rule).expect("a fault is made for the rule");
                Fault { band, ..scenario.default_fault(kind, seed) }
            };
            let both = scenario.clone().with_fault(in_band(first, 1)).with_fault(in_band(second, 2));
            let (alarms, _) = watch(&both);
            let mut heard: BTreeSet<_> = alarms.iter().map(|alarm| (alarm.rule, alarm.band)).collect();
            for (own, band) in [(first, 1), (second, 2)] {
                heard.retain(|&(rule, at)| at != band || !follows(own).contains(&rule));
            }
            assert_eq!(heard, BTreeSet::from([(first, 1), (second, 2)]), "seed {seed}: {alarms:?}");
        }
    }
}

/// From 2 kHz up the monitor counts every short circuit of the truth once.
#[test]
fn the_monitor_counts_the_short_circuits_that_were_made() {
    for (rate_hz, per_s, seeds) in [(2000.0, 12.0, 3), (5000.0, 30.0, 1), (10_000.0, 60.0, 1)] {
        for seed in 1..=seeds {
            let scenario = good(rate_hz).with_seed(seed);
            let fault = scenario.default_fault(Kind::GasMixtureWrong, seed);
            let scenario = scenario.with_fault(Fault { size: per_s, ..fault });
            let header = header(&scenario);
            let mut replayer = Replayer::new(&procedure().procedure, &header);
            let mut rows = scenario.rows();
            rows.by_ref().for_each(|row| replayer.step(&row));
            let truth = rows.truth();
            for (record, truth) in replayer.finish().bands.iter().zip(&truth.bands) {
                let rate = record.short_circuits.expect("fast enough to count").to_milli() as f64 / 1e3;
                // Counted from when the strike has settled, one second after it.
                let counted = rate * (record.arc_time_us as f64 / 1e6 - 1.0);
                let made = f64::from(truth.short_circuits);
                assert!((counted - made).abs() < 0.6, "{rate_hz} Hz, seed {seed}: {counted} of {made}");
            }
        }
    }
}

/// Row times a person can wait for: an hour at the lowest rate used here.
const MOST_ROWS: usize = 2_000_000;

fn any_fault() -> impl Strategy<Value = Fault> {
    let start = prop_oneof![
        (0.0..40.0).prop_map(Start::Seconds),
        (0.0..400.0).prop_map(Start::Degrees),
        Just(Start::Seconds(0.0)),
    ];
    let duration = prop_oneof![0.01..60.0, Just(f64::INFINITY)];
    (0..Kind::ALL.len(), 1_u16..4, start, duration, 0.0..=1.0, prop::option::of(0..Channel::COUNT)).prop_map(
        |(kind, band, start, duration_s, share, channel)| {
            let kind = Kind::ALL[kind];
            let (low, high) = (*kind.possible_sizes().start(), *kind.possible_sizes().end());
            let channel = channel.map(|channel| Channel::ALL[channel]);
            Fault { kind, joint: 1, band, start, duration_s, size: low + share * (high - low), channel }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever goes wrong, at any rate: readings stay numbers, time goes on, the joint comes to an end,
    /// and neither the model nor the monitor falls over.
    #[test]
    fn the_model_stands_whatever_goes_wrong(
        faults in prop::collection::vec(any_fault(), 0..6),
        rate_hz in prop_oneof![Just(0.2), Just(1.0), 0.2..20.0, Just(50.0)],
        jitter in 0.0..0.45,
        seed in any::<u64>(),
    ) {
        let mut scenario = good(rate_hz).with_seed(seed);
        scenario.jitter = jitter;
        scenario.faults = faults;
        let mut last_us = None;
        let mut count = 0;
        for row in scenario.rows() {
            prop_assert!(last_us.is_none_or(|last_us| row.time_us > last_us));
            prop_assert!(row.values.iter().flatten().all(|value| value.is_finite()), "{row:?}");
            last_us = Some(row.time_us);
            count += 1;
            prop_assert!(count < MOST_ROWS);
        }
        let truth = scenario.truth();
        prop_assert_eq!(truth.bands.len(), usize::from(scenario.joint.bands));
        prop_assert!(serde_json::to_string(&truth).is_ok_and(|json| !json.contains("null,null")));
        watch(&scenario);
    }

    /// Texts near to a scenario, line by line.
    #[test]
    fn no_scenario_file_makes_the_reader_panic(lines in prop::collection::vec(prop_oneof![
        "\\[(scenario|joint|time|sensor\\.gas|\\[fault\\])\\]?",
        "(name|note|procedure|rule|kind|channel|between) ?=? ?\"[a-z-]{0,12}\"?",
        "(rule|kind) = \"(gas-low|chuck-slip|reading-railed|weave-slow)\"",
        "(band|seed|bands) = -?[0-9]{0,3}",
        "(start|from|size|duration|noise|every|current|turn_time|sample_rate) = \"-?[0-9.]{0,5} ?(s|deg|A|%|L/min|Hz)?\"",
        any::<String>(),
    ], 0..14)) {
        let text = lines.join("\n");
        if let Err(error) = Scenario::parse("x.toml", &text, Path::new("nowhere"), None) {
            prop_assert!(!error.to_string().is_empty());
        }
    }
}
