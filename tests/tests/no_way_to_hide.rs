//! A procedure cannot make a fault pass: not by a mild severity, not by a long delay.
//!
//! The joint is made from formulas (`bandward_tests::plain_joint`); the faults are put into its samples here.

use bandward::procedure::{AlarmSetting, Limits, Polarity, Range};
use bandward::record::proof::{Proof, Why};
use bandward::rule::Quantity;
use bandward::{Channel, Outcome, Procedure, Rule, Sample, Severity};
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};
use bandward_tests::plain_joint::{PlainJoint, TURN_S};

/// Each fault of the weld, from 30 s of the second band on.
const FAULTS: [Rule; 4] = [Rule::ArcOutage, Rule::SpindleSlip, Rule::SpindleStall, Rule::PolarityWrong];
const FROM_S: f64 = 30.0;

/// Asks for an overlap and a turn time wide enough for every fault here, and for the pole.
fn asking() -> Procedure {
    let mut procedure = Procedure::new();
    procedure.polarity = Some(Polarity::ElectrodePositive);
    let range = |quantity: Quantity, low: f64, high: f64| {
        let of = |value| raw(value, quantity.fraction_bits());
        Limits { recommended: None, allowed: Some(Range { low: of(low), high: of(high) }), floor: None }
    };
    let turn_time = range(Quantity::TurnTime, 0.8 * TURN_S, 1.25 * TURN_S);
    let procedure = procedure.with_limits(Quantity::TurnTime, turn_time).expect("a range");
    let overlap = range(Quantity::Overlap, -60.0, 60.0);
    procedure.with_limits(Quantity::Overlap, overlap).expect("a range")
}

/// The sample as it reads with the fault that `rule` is about.
fn spoilt(rule: Rule, sample: Sample) -> Sample {
    let since_s = sample.time_us as f64 / 1e6 - PlainJoint::strike_s(1) - FROM_S;
    let behind_deg = |lasts_s: f64, share: f64| share * since_s.clamp(0.0, lasts_s) * 360.0 / TURN_S;
    let turned = |behind_deg: f64| {
        let angle_deg =
            (sample.time_us as f64 / 1e6).min(PlainJoint::strike_s(1) + TURN_S * 370.0 / 360.0 + 0.5) * 360.0
                / TURN_S;
        with(sample, Channel::Spindle, angle_deg - behind_deg)
    };
    match rule {
        Rule::ArcOutage if (0.0..1.0).contains(&since_s) => {
            with(with(sample, Channel::Current, 0.0), Channel::Voltage, 0.0)
        }
        Rule::PolarityWrong if since_s >= 0.0 => {
            let minus = |sample: Sample, channel| sample.with_raw(channel, -sample.reading(channel));
            minus(minus(sample, Channel::Current), Channel::Voltage)
        }
        Rule::SpindleSlip => turned(behind_deg(3.0, 0.7)),
        Rule::SpindleStall => turned(behind_deg(3.0, 1.0)),
        _ => sample,
    }
}

fn weld(procedure: Procedure, rule: Option<Rule>) -> Heard {
    let samples = PlainJoint::default().samples();
    let samples = samples.map(|sample| rule.map_or(sample, |rule| spoilt(rule, sample)));
    watch(procedure, acquisition(20_000, &Channel::ALL), samples).0
}

fn setting(rule: Rule, change: impl Fn(&mut AlarmSetting)) -> Procedure {
    let mut setting = rule.default_setting();
    change(&mut setting);
    asking().with_alarm(rule, setting).expect("a setting")
}

#[test]
fn without_a_fault_all_is_proven() {
    let heard = weld(asking(), None);
    assert_eq!(heard.joints[0].outcome, Outcome::Proven, "{:?}", heard.bands[1].not_proven());
}

#[test]
fn a_fault_of_the_weld_breaks_however_mild_its_alarm() {
    for rule in FAULTS {
        for severity in [Severity::Advise, Severity::Warn, Severity::Stop] {
            let heard = weld(setting(rule, |setting| setting.severity = severity), Some(rule));
            assert_eq!(heard.joints[0].outcome, Outcome::Broken, "{rule:?} {severity:?}");
            assert!(heard.bands[1].broken().contains(rule), "{rule:?}: {:?}", heard.bands[1].broken());
        }
    }
}

#[test]
fn what_may_be_told_too_late_is_not_proven() {
    let watched = [Rule::TurnTimeFast, Rule::TurnTimeSlow];
    let measuring = [Rule::SignalStuck, Rule::SignalRailed, Rule::SignalMissing, Rule::SignalImplausible];
    for rule in FAULTS.into_iter().chain(watched).chain(measuring) {
        let procedure = setting(rule, |setting| setting.on_delay_us = 60_000_000);
        for fault in [None, FAULTS.contains(&rule).then_some(rule)] {
            let heard = weld(procedure.clone(), fault);
            assert_eq!(heard.joints[0].outcome, Outcome::NotProven, "{rule:?} {fault:?}");
            let open = if rule.is_about_measuring() { Rule::TurnTimeSlow } else { rule };
            let proof = heard.bands[1].proof.get(open);
            assert!(
                matches!(proof, Proof::NotProven { why: Why::DelayTooLong, .. }),
                "{rule:?} {fault:?}: {proof:?}"
            );
        }
    }
}

#[test]
fn what_is_known_once_a_band_knows_no_delay() {
    for rule in Rule::ALL.into_iter().filter(|rule| rule.is_of_a_moment()) {
        let setting = AlarmSetting { on_delay_us: 600_000_000, ..rule.default_setting() };
        let procedure = PlainJoint::procedure_it_breaks(rule).expect("it watches a quantity");
        let procedure = procedure.with_alarm(rule, setting).expect("a setting");
        let samples = PlainJoint::that_shows(rule).samples();
        let heard = watch(procedure, acquisition(20_000, &Channel::ALL), samples).0;
        assert_eq!(heard.joints[0].outcome, Outcome::Broken, "{rule:?}");
    }
}
