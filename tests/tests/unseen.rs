//! What was not seen is not proven, and is not called broken either: dead sensors, and holes in the data.
//!
//! The joints are made from formulas (`bandward_tests::plain_joint`); what is hidden of them is hidden here.

use bandward::procedure::{JointPlan, Limits, Range};
use bandward::record::joint::Shortfall;
use bandward::rule::Quantity;
use bandward::{Channel, Outcome, Procedure, Rule, Sample};
use bandward_tests::heard::{Heard, acquisition, raw, watch};
use bandward_tests::plain_joint::{PREFLOW_S, PlainJoint, STEP_MM};

/// A joint and the time until the next one's first sample, s.
const JOINT_S: f64 = 500.0;

/// Asks for two bands a joint, a pre-flow, an overlap and a step; a joint is done when the arc is off for 4 min.
fn asking() -> Procedure {
    let wanted = [
        (Quantity::Current, 280.0, 360.0),
        (Quantity::GasPreflow, 0.7 * PREFLOW_S, 1e3),
        (Quantity::Overlap, 5.0, 15.0),
        (Quantity::StepOver, STEP_MM - 1.0, STEP_MM + 1.0),
    ];
    let mut procedure = Procedure::new();
    for (quantity, low, high) in wanted {
        let [low, high] = [low, high].map(|value| raw(value, quantity.fraction_bits()));
        let limits = Limits { recommended: None, allowed: Some(Range { low, high }), floor: None };
        procedure = procedure.with_limits(quantity, limits).expect("a range");
    }
    procedure.joint = JointPlan { bands: 2, ends_with_arc_off_us: Some(240_000_000), ..JointPlan::NONE };
    procedure
}

/// Joints one after the other, with rows in between in which nothing happens.
fn shift(joints: u32) -> Vec<Sample> {
    let mut samples = Vec::new();
    for joint in 0..joints {
        let mut one: Vec<_> = PlainJoint::default().samples().collect();
        let rest = *one.last().expect("a joint has samples");
        let row_us = 20_000;
        while one.len() < (JOINT_S * 50.0) as usize {
            let time_us = one.last().expect("it has").time_us + row_us;
            one.push(at(rest, time_us));
        }
        let start_us = (f64::from(joint) * JOINT_S * 1e6) as u64;
        samples.extend(one.into_iter().map(|one| at(one, one.time_us + start_us)));
    }
    samples
}

/// The same readings at another time.
fn at(mut sample: Sample, time_us: u64) -> Sample {
    sample.time_us = time_us;
    sample
}

fn see(samples: impl IntoIterator<Item = Sample>) -> Heard {
    watch(asking(), acquisition(20_000, &Channel::ALL), samples).0
}

/// A channel that always reads zero between these times, s.
fn dead(channel: Channel, from_s: f64, to_s: f64) -> impl Fn(Sample) -> Sample {
    move |sample| {
        let is_dead = (from_s..to_s).contains(&(sample.time_us as f64 / 1e6));
        if is_dead { sample.with_raw(channel, 0) } else { sample }
    }
}

/// No rows between these times, s.
fn hole(from_s: f64, to_s: f64) -> impl Fn(&Sample) -> bool {
    move |sample| !(from_s..to_s).contains(&(sample.time_us as f64 / 1e6))
}

#[test]
fn a_shift_that_is_seen_whole_is_proven() {
    let heard = see(shift(3));
    let outcomes: Vec<_> = heard.joints.iter().map(|joint| joint.outcome).collect();
    assert_eq!(outcomes, [Outcome::Proven; 3]);
}

#[test]
fn a_joint_whose_arc_is_not_seen_is_told_as_a_joint() {
    let [from_s, to_s] = [JOINT_S, 2.0 * JOINT_S - 1.0];
    let samples = shift(3).into_iter();
    let samples = samples.map(dead(Channel::Current, from_s, to_s)).map(dead(Channel::Voltage, from_s, to_s));
    let heard = see(samples);
    let outcomes: Vec<_> = heard.joints.iter().map(|joint| joint.outcome).collect();
    assert_eq!(outcomes, [Outcome::Proven, Outcome::NotProven, Outcome::Proven]);
    assert!(heard.joints[1].shortfalls.contains(Shortfall::WeldingUnseen));
}

#[test]
fn a_joint_whose_rows_are_missing_leaves_a_joint_not_proven() {
    let keep = hole(JOINT_S - 20.0, 2.0 * JOINT_S - 20.0);
    let heard = see(shift(3).into_iter().filter(keep));
    let unseen = heard.joints.iter().filter(|joint| joint.shortfalls.contains(Shortfall::UnseenBetweenBands));
    assert_eq!(unseen.count(), 1, "{:?}", heard.joints);
    assert!(heard.joints.iter().all(|joint| joint.broken.is_empty()));
}

#[test]
fn a_dead_current_breaks_no_overlap() {
    let samples = shift(1).into_iter().map(dead(Channel::Current, 0.0, JOINT_S));
    let heard = see(samples);
    assert_eq!(heard.joints[0].outcome, Outcome::NotProven, "{:?}", heard.joints[0]);
    assert!(heard.bands.iter().all(|band| band.start_unseen && band.overlap.is_none()));
    assert!(!heard.alarms(Rule::SignalImplausible).is_empty());
}

#[test]
fn a_hole_is_not_proven_wherever_it_lies_and_breaks_nothing() {
    let strike_s = PlainJoint::strike_s(0);
    let second_s = PlainJoint::strike_s(1);
    for (from_s, to_s) in [
        (strike_s - 2.0, strike_s + 6.0),
        (strike_s + 20.0, strike_s + 22.0),
        (strike_s + 20.0, strike_s + 31.0),
        (strike_s + 50.0, second_s - 10.0),
        (strike_s - 8.0, second_s - 12.0),
        (second_s - 3.5, second_s - 1.0),
    ] {
        let heard = see(shift(1).into_iter().filter(hole(from_s, to_s)));
        let joint = heard.joints[0];
        assert_eq!(joint.outcome, Outcome::NotProven, "{from_s} s to {to_s} s: {joint:?}");
    }
}

#[test]
fn a_hole_between_bands_too_short_for_one_costs_nothing() {
    let from_s = PlainJoint::strike_s(1) - 15.0;
    let heard = see(shift(1).into_iter().filter(hole(from_s, from_s + 5.0)));
    assert_eq!(heard.joints[0].outcome, Outcome::Proven, "{:?}", heard.joints[0]);
}
