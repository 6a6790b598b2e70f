//! Every rule's fault, put alone into a made joint, raises that rule and no other, but for what the fault
//! cannot be without.

use bandward::{Channel, Event, Rule, Severity};
use bandward_sim::process::scenario::Scenario;
use bandward_sim::process::targets::Targets;
use bandward_sim::replay::Replay;
use bandward_tests::heard::{acquisition, watch};
use bandward_tests::made::{follows, quick_procedure, replay};
use bandward_tests::plain_joint::PlainJoint;
use std::collections::BTreeSet;

const SEEDS: u64 = 20;
/// A joint of 2000 samples a second is as long as forty others.
const FAST_SEEDS: u64 = 4;

/// Samples a second a rule needs to be judged, and how many joints of that.
fn rate_and_seeds(rule: Rule) -> (f64, u64) {
    let is_fast = matches!(rule, Rule::TransferShortCircuits | Rule::TransferShortCircuitsLow);
    if is_fast { (2000.0, FAST_SEEDS) } else { (50.0, SEEDS) }
}

fn raised(replay: &Replay) -> BTreeSet<&'static str> {
    replay
        .alarms
        .iter()
        .filter(|alarm| alarm.severity >= Severity::Warn)
        .map(|alarm| alarm.rule.name())
        .collect()
}

fn told(replay: &Replay) -> String {
    let lines: Vec<String> = replay
        .alarms
        .iter()
        .map(|alarm| {
            format!(
                "\n    {} {} band {}, raised {:.2} s, worst {:.2}, limit {:?}",
                alarm.severity.name(),
                alarm.rule.name(),
                alarm.band,
                alarm.raised_us as f64 / 1e6,
                alarm.in_unit(alarm.worst),
                alarm.limit.map(|limit| alarm.in_unit(limit)),
            )
        })
        .collect();
    lines.concat()
}

fn check(rule: Rule) -> Vec<String> {
    let file = quick_procedure();
    let mut wrong = Vec::new();
    let (sample_rate_hz, seeds) = rate_and_seeds(rule);
    for seed in 1..=seeds {
        let good = Scenario::good(Targets::of_file(&file), sample_rate_hz).with_seed(seed);
        let Some(scenario) = good.with_default_fault(rule, seed) else { return check_plain(rule) };
        let replay = replay(&scenario, &file.procedure).0;
        let raised = raised(&replay);
        let may =
            |name: &&&str| **name == rule.name() || follows(rule).iter().any(|one| one.name() == **name);
        if !raised.contains(rule.name()) || raised.iter().filter(may).count() < raised.len() {
            wrong.push(format!("seed {seed}: expected {}{}", rule.name(), told(&replay)));
        }
    }
    wrong
}

/// A rule for which the process model makes no fault: a joint from formulas alone that breaks its limit.
/// One that falls the wrong way round from its second band on is spindle-reversed.
fn check_plain(rule: Rule) -> Vec<String> {
    let (rate_hz, _) = rate_and_seeds(rule);
    let joint = PlainJoint { rate_hz, ..PlainJoint::that_shows(rule) };
    let procedure = PlainJoint::procedure_it_breaks(rule).unwrap_or_default();
    let heard = watch(procedure, acquisition((1e6 / rate_hz) as u32, &Channel::ALL), joint.samples()).0;
    let raised: BTreeSet<_> = heard
        .events
        .iter()
        .filter_map(|event| match event {
            Event::Alarm(alarm) if alarm.severity >= Severity::Warn => Some(alarm.rule.name()),
            _ => None,
        })
        .collect();
    if raised == BTreeSet::from([rule.name()]) {
        return Vec::new();
    }
    vec![format!("plain joint: expected {}, heard {raised:?}", rule.name())]
}

#[test]
fn a_good_joint_raises_nothing_not_even_an_advise_at_any_rate() {
    let file = quick_procedure();
    for (rate_hz, seeds) in [(10.0, 5), (50.0, SEEDS), (200.0, 5), (2000.0, 2)] {
        for seed in 1..=seeds {
            let scenario = Scenario::good(Targets::of_file(&file), rate_hz).with_seed(seed);
            let replay = replay(&scenario, &file.procedure).0;
            assert!(replay.alarms.is_empty(), "{rate_hz} Hz, seed {seed}:{}", told(&replay));
            assert_eq!(replay.bands.len(), 2, "{rate_hz} Hz, seed {seed}");
        }
    }
}

macro_rules! alone {
    ($($name:ident $rule:ident,)*) => {
        $(#[test] fn $name() {
            let wrong = check(Rule::$rule);
            assert!(wrong.is_empty(), "{} seeds\n{}", wrong.len(), wrong.join("\n"));
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
    transfer_short_circuits_low TransferShortCircuitsLow,
    gas_low GasLow,
    gas_high GasHigh,
    gas_preflow GasPreflow,
    gas_preflow_long GasPreflowLong,
    gas_postflow GasPostflow,
    gas_postflow_long GasPostflowLong,
    weave_rate_low WeaveRateLow,
    weave_rate_high WeaveRateHigh,
    weave_width_low WeaveWidthLow,
    weave_width_high WeaveWidthHigh,
    weave_centre_drift WeaveCentreDrift,
    turn_time_fast TurnTimeFast,
    turn_time_slow TurnTimeSlow,
    spindle_slip SpindleSlip,
    spindle_stall SpindleStall,
    spindle_reversed SpindleReversed,
    step_over_low StepOverLow,
    step_over_high StepOverHigh,
    overlap_short OverlapShort,
    overlap_long OverlapLong,
    arc_outage ArcOutage,
    polarity_wrong PolarityWrong,
    coolant_low CoolantLow,
    coolant_high CoolantHigh,
    wire_feed_low WireFeedLow,
    wire_feed_high WireFeedHigh,
    band_height_low BandHeightLow,
    band_height_high BandHeightHigh,
    interpass_low InterpassLow,
    interpass_high InterpassHigh,
    preheat_low PreheatLow,
    preheat_high PreheatHigh,
    cooling_fast CoolingFast,
    signal_stuck SignalStuck,
    signal_railed SignalRailed,
    signal_missing SignalMissing,
    signal_implausible SignalImplausible,
    signal_late SignalLate,
}
