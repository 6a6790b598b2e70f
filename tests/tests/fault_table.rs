//! Every rule's fault, put alone into a made joint, raises that rule and no other.

use bandward::{Procedure, Rule, Severity};
use bandward_sim::input::procedure_file::ProcedureFile;
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::{Replay, Replayer};
use bandward_sim::trace::TraceHeader;
use std::collections::BTreeSet;
use std::path::Path;

const SEEDS: u64 = 20;

fn quick_procedure() -> ProcedureFile {
    ProcedureFile::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("data/quick-procedure.toml"))
        .expect("the procedure is sound")
}

/// Samples a second a rule needs to be judged.
fn sample_rate_hz(rule: Option<Rule>) -> f64 {
    if rule == Some(Rule::TransferShortCircuits) { 2000.0 } else { 50.0 }
}

fn replay(scenario: &Scenario, procedure: &Procedure) -> Replay {
    let period_us = (1e6 / scenario.sample_rate_hz) as u32;
    let header = TraceHeader {
        path: scenario.name.clone(),
        channels: scenario.channels,
        period_us,
        gap_tolerance_us: (10 * period_us).max(250_000),
        evenly_spaced: true,
        unknown_columns: Vec::new(),
        start: None,
    };
    let mut replayer = Replayer::new(procedure, &header);
    for row in scenario.rows() {
        replayer.step(&row);
    }
    replayer.finish()
}

fn raised(replay: &Replay) -> BTreeSet<&'static str> {
    replay.alarms.iter().filter(|alarm| alarm.severity >= Severity::Warn).map(|alarm| alarm.rule.name()).collect()
}

fn told(replay: &Replay) -> String {
    replay
        .alarms
        .iter()
        .map(|alarm| {
            format!(
                "\n    {} {:?} {} band {} onset {:.2} raised {:.2} worst {:.2} limit {:?}",
                alarm.severity.name(),
                alarm.channel,
                alarm.rule.name(),
                alarm.band,
                alarm.onset_us as f64 / 1e6,
                alarm.raised_us as f64 / 1e6,
                alarm.in_unit(alarm.worst),
                alarm.limit.map(|limit| alarm.in_unit(limit)),
            )
        })
        .collect()
}

fn check(rule: Option<Rule>) -> Vec<String> {
    let file = quick_procedure();
    let mut wrong = Vec::new();
    for seed in 1..=SEEDS {
        let good = Scenario::good(Targets::of_file(&file), sample_rate_hz(rule)).with_seed(seed);
        let scenario = match rule {
            Some(rule) => good.with_default_fault(rule, seed),
            None => good,
        };
        let replay = replay(&scenario, &file.procedure);
        let expected: BTreeSet<_> = rule.iter().map(|rule| rule.name()).collect();
        if raised(&replay) != expected {
            wrong.push(format!("seed {seed}: expected {expected:?}{}", told(&replay)));
        }
    }
    wrong
}

#[test]
fn a_good_joint_raises_nothing() {
    let wrong = check(None);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

macro_rules! alone {
    ($($name:ident $rule:ident,)*) => {
        $(#[test] fn $name() {
            let wrong = check(Some(Rule::$rule));
            assert!(wrong.is_empty(), "{} of {SEEDS} seeds\n{}", wrong.len(), wrong.join("\n"));
        })*
        #[test]
        fn the_table_has_every_rule() {
            let named: BTreeSet<_> = [$(Rule::$rule),*].into_iter().collect();
            assert_eq!(named.len(), Rule::COUNT);
        }
    };
}

alone! {
    voltage_low VoltageLow,
    voltage_high VoltageHigh,
    current_low CurrentLow,
    current_high CurrentHigh,
    transfer_low_voltage TransferLowVoltage,
    transfer_short_circuits TransferShortCircuits,
    gas_low GasLow,
    gas_high GasHigh,
    gas_preflow GasPreflow,
    gas_postflow GasPostflow,
    weave_rate_low WeaveRateLow,
    weave_rate_high WeaveRateHigh,
    weave_width_low WeaveWidthLow,
    weave_width_high WeaveWidthHigh,
    weave_centre_drift WeaveCentreDrift,
    turn_time_fast TurnTimeFast,
    turn_time_slow TurnTimeSlow,
    spindle_slip SpindleSlip,
    spindle_stall SpindleStall,
    step_over_low StepOverLow,
    step_over_high StepOverHigh,
    overlap_short OverlapShort,
    arc_outage ArcOutage,
    polarity_wrong PolarityWrong,
    coolant_low CoolantLow,
    interpass_high InterpassHigh,
    preheat_low PreheatLow,
    signal_stuck SignalStuck,
    signal_railed SignalRailed,
    signal_missing SignalMissing,
    signal_late SignalLate,
}
