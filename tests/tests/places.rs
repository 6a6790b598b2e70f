//! Where bands are laid: side by side in one direction, each in its group, each in one place.
//!
//! The joint is made from formulas (`bandward_tests::plain_joint`); where the carriage and the torch are is
//! given, and what must come of it follows from geometry: bands of 23 mm steps, 22 to 24 mm allowed, and a
//! weave centre that may be 2 mm off.

use bandward::procedure::{Limits, Range};
use bandward::record::joint::{Shortfall, Shortfalls};
use bandward::rule::{Quantity, RuleSet};
use bandward::units::Length;
use bandward::{AlarmKind, Channel, Outcome, Procedure, Rule};
use bandward_tests::heard::{Heard, acquisition, raw, watch};
use bandward_tests::plain_joint::{OVERLAP_DEG, PlainJoint, STEP_MM};

type Place = fn(u32, f64) -> f64;

fn within(low: f64, high: f64) -> Limits {
    let range = Range { low: raw(low, 12), high: raw(high, 12) };
    Limits { recommended: None, allowed: Some(range), floor: None }
}

fn procedure(bands: u16, groups: [u8; 4]) -> Procedure {
    let mut procedure = Procedure::new()
        .with_limits(Quantity::StepOver, within(STEP_MM - 1.0, STEP_MM + 1.0))
        .and_then(|procedure| procedure.with_limits(Quantity::WeaveCentreDrift, within(-1.0, 2.0)))
        .and_then(|procedure| procedure.with_limits(Quantity::Overlap, within(5.0, 15.0)))
        .expect("ranges");
    (procedure.joint.bands, procedure.joint.groups) = (bands, groups);
    procedure
}

fn weld(procedure: Procedure, joint: PlainJoint) -> Heard {
    let period_us = (1e6 / joint.rate_hz) as u32;
    let wired: Vec<_> = Channel::ALL.into_iter().filter(|&channel| joint.without != Some(channel)).collect();
    watch(procedure, acquisition(period_us, &wired), joint.samples()).0
}

fn laid(bands: u32, carriage_mm: Place, torch_mm: Place) -> PlainJoint {
    PlainJoint { bands, carriage_mm, torch_mm, ..PlainJoint::default() }
}

const STEADY: Place = |_, _| 0.0;
const IN_LINE: Place = |band, _| f64::from(band) * STEP_MM;

fn broken(heard: &Heard) -> (Outcome, RuleSet) {
    let [joint] = heard.joints[..] else { panic!("{} joints", heard.joints.len()) };
    (joint.outcome, joint.broken)
}

fn rules(rules: &[Rule]) -> RuleSet {
    rules.iter().copied().fold(RuleSet::EMPTY, RuleSet::with)
}

/// Either way is a direction; back over a band is none.
#[test]
fn a_step_back_over_an_earlier_band_is_broken() {
    let down: Place = |band, _| 100.0 - f64::from(band) * STEP_MM;
    let back: Place = |band, _| f64::from(band % 2) * STEP_MM;
    let down_and_back: Place = |band, _| 100.0 - f64::from(band % 2) * STEP_MM;
    for place in [IN_LINE, down] {
        let heard = weld(procedure(3, [0; 4]), laid(3, place, STEADY));
        assert_eq!(broken(&heard), (Outcome::Proven, RuleSet::EMPTY));
    }
    for place in [back, down_and_back] {
        let heard = weld(procedure(3, [0; 4]), laid(3, place, STEADY));
        assert_eq!(broken(&heard), (Outcome::Broken, rules(&[Rule::StepOverLow])));
        let steps: Vec<_> = heard.bands.iter().map(|band| band.step_over.map(Length::to_milli)).collect();
        assert_eq!(steps, [None, Some(23_000), Some(-23_000)]);
    }
}

/// Two groups of bands: one of two, one of one, then of two and two.
#[test]
fn groups_are_shown_by_the_carriage() {
    let not_shown = Shortfalls::NONE.with(Shortfall::GroupsNotProven);
    let travel: Place = |band, _| [0.0, 23.0, 300.0][band as usize];
    let short: Place = |band, _| [0.0, 23.0, 63.0][band as usize];
    let early: Place = |band, _| [0.0, 300.0, 323.0][band as usize];
    let none: Place = |band, _| [0.0, 23.0, 23.0][band as usize];
    let back: Place = |band, _| [0.0, 23.0, 0.0][band as usize];
    let cases: [(Place, Outcome, Shortfalls); 6] = [
        (travel, Outcome::Proven, Shortfalls::NONE),
        (short, Outcome::Proven, Shortfalls::NONE),
        (early, Outcome::NotProven, not_shown),
        (IN_LINE, Outcome::NotProven, not_shown),
        (none, Outcome::Broken, not_shown),
        (back, Outcome::Broken, not_shown),
    ];
    for (index, (place, outcome, shortfalls)) in cases.into_iter().enumerate() {
        let heard = weld(procedure(3, [2, 1, 0, 0]), laid(3, place, STEADY));
        let joint = heard.joints[0];
        assert_eq!((joint.outcome, joint.shortfalls), (outcome, shortfalls), "case {index}");
    }
    // The second group comes back to the first: 9 mm are left of a step.
    let over: Place = |band, _| [0.0, 23.0, 78.0, 55.0, 32.0][band as usize];
    let heard = weld(procedure(5, [2, 3, 0, 0]), laid(5, over, STEADY));
    assert_eq!(broken(&heard), (Outcome::Broken, rules(&[Rule::StepOverLow])));
    assert_eq!(heard.bands[4].step_over.map(Length::to_milli), Some(9_000));
    // Without a carriage nobody can tell.
    let blind = PlainJoint { without: Some(Channel::Carriage), ..laid(2, IN_LINE, STEADY) };
    let heard = weld(procedure(2, [1, 1, 0, 0]), blind);
    assert_eq!((heard.joints[0].outcome, heard.joints[0].shortfalls), (Outcome::NotProven, not_shown));
}

/// The place of a band that was not seen says nothing of the steps beside it.
#[test]
fn a_step_from_a_band_that_was_not_seen_is_not_proven() {
    let second_s = PlainJoint::strike_s(1) - 20.0..PlainJoint::strike_s(2) - 20.0;
    let joint = laid(3, IN_LINE, STEADY);
    let samples = joint.samples().map(|sample| {
        let is_blind = second_s.contains(&(sample.time_us as f64 / 1e6));
        let kept = sample.present().iter().filter(|&channel| channel != Channel::Carriage || !is_blind);
        kept.fold(bandward::Sample::at(sample.time_us), |to, channel| {
            to.with_raw(channel, sample.reading(channel))
        })
    });
    let (heard, _) = watch(procedure(3, [0; 4]), acquisition(20_000, &Channel::ALL), samples);
    assert_eq!(broken(&heard), (Outcome::NotProven, RuleSet::EMPTY));
    assert!(heard.bands[2].not_proven().contains(Rule::StepOverLow), "{:?}", heard.bands[2].step_over);
}

/// Within a band the carriage creeps on, goes away and comes back, or is nudged by hand.
#[test]
fn a_carriage_that_leaves_its_band_is_broken() {
    let creeps: Place = |band, turns| IN_LINE(band, 0.0) + if band == 1 { turns * 7.0 } else { 0.0 };
    let in_the_first: Place = |band, turns| IN_LINE(band, 0.0) + if band == 0 { turns * 7.0 } else { 0.0 };
    let goes_and_comes: Place =
        |band, turns| IN_LINE(band, 0.0) + if band == 2 && (0.3..0.5).contains(&turns) { -6.0 } else { 0.0 };
    let nudged: Place = |band, turns| IN_LINE(band, 0.0) + if turns > 0.4 { 0.3 } else { 0.0 };
    for (index, place) in [creeps, in_the_first, goes_and_comes].into_iter().enumerate() {
        let heard = weld(procedure(3, [0; 4]), laid(3, place, STEADY));
        let (outcome, broken) = broken(&heard);
        assert_eq!(outcome, Outcome::Broken, "case {index}");
        assert!(broken.contains(Rule::WeaveCentreDrift), "case {index}: {broken:?}");
        let of_the_band = heard.bands[[1, 0, 2][index]].broken();
        assert!(of_the_band.contains(Rule::WeaveCentreDrift), "case {index}: {of_the_band:?}");
    }
    // A wrong step is told once.
    let long: Place = |band, _| f64::from(band) * (STEP_MM + 3.0);
    let heard = weld(procedure(2, [0; 4]), laid(2, long, STEADY));
    let raised =
        heard.alarms(Rule::StepOverHigh).iter().filter(|alarm| alarm.kind == AlarmKind::Raised).count();
    assert_eq!(raised, 1);
    let heard = weld(procedure(3, [0; 4]), laid(3, nudged, STEADY));
    assert_eq!(broken(&heard), (Outcome::Proven, RuleSet::EMPTY));
    // The step alone tells it too.
    let mut alone = Procedure::new()
        .with_limits(Quantity::StepOver, within(STEP_MM - 1.0, STEP_MM + 1.0))
        .expect("a range");
    alone.joint.bands = 3;
    let heard = weld(alone, laid(3, creeps, STEADY));
    assert!(heard.bands[1].broken().contains(Rule::StepOverHigh), "{:?}", heard.bands[1].step_over);
}

/// A whole band off the line of those before it; a reading that moves with the carriage is none.
#[test]
fn a_band_off_the_line_of_the_others_is_broken() {
    let third_off: Place = |band, _| if band == 2 { 3.2 } else { 0.0 };
    let second_off: Place = |band, _| if band == 1 { -3.0 } else { 0.0 };
    let with_carriage: Place = |band, _| 400.0 + IN_LINE(band, 0.0);
    let with_carriage_off: Place = |band, _| IN_LINE(band, 0.0) + if band == 2 { 3.2 } else { 0.0 };
    let drift = rules(&[Rule::WeaveCentreDrift]);
    // No more than 2 mm from the one before, and 3.4 mm from the first.
    let walking: Place = |band, _| f64::from(band) * 1.7;
    let cases: [(Place, usize, Outcome); 5] = [
        (walking, 2, Outcome::Broken),
        (third_off, 2, Outcome::Broken),
        (second_off, 1, Outcome::Broken),
        (with_carriage_off, 2, Outcome::Broken),
        (with_carriage, 0, Outcome::Proven),
    ];
    for (index, (torch, band, outcome)) in cases.into_iter().enumerate() {
        let heard = weld(procedure(3, [0; 4]), laid(3, IN_LINE, torch));
        let found = if outcome == Outcome::Broken { drift } else { RuleSet::EMPTY };
        assert_eq!(broken(&heard), (outcome, found), "case {index}");
        assert_eq!(heard.bands[band].broken(), found, "case {index}");
    }
    // Each group has its own line, and without a carriage less than half a step is still no step.
    let other_place: Place = |band, _| f64::from(band) * 300.0;
    let heard = weld(procedure(2, [1, 1, 0, 0]), laid(2, other_place, second_off));
    assert_eq!(broken(&heard), (Outcome::Proven, RuleSet::EMPTY));
    let blind = PlainJoint { without: Some(Channel::Carriage), ..laid(3, IN_LINE, third_off) };
    assert_eq!(broken(&weld(procedure(3, [0; 4]), blind)), (Outcome::Broken, drift));
}

/// One arc, the carriage a step further with every turn: the last band runs on over its start.
#[test]
fn a_spiral_has_as_many_bands_as_turns() {
    let spiral: Place = |_, turns| turns * STEP_MM;
    let tight: Place = |_, turns| turns * (STEP_MM - 3.0);
    let turns = |count: f64, place| PlainJoint {
        last_band_deg: count * 360.0 + OVERLAP_DEG,
        ..laid(1, place, STEADY)
    };
    let heard = weld(procedure(3, [0; 4]), turns(3.0, spiral));
    assert_eq!(broken(&heard), (Outcome::Proven, RuleSet::EMPTY));
    let steps: Vec<_> = heard.bands.iter().map(|band| band.step_over.map(Length::to_milli)).collect();
    assert!(
        matches!(steps[..], [None, Some(one), Some(two)] if (one - 23_000_i64).abs() < 200 && (two - 23_000_i64).abs() < 200),
        "{steps:?}"
    );
    let heard = weld(procedure(3, [0; 4]), turns(3.0, tight));
    assert_eq!(broken(&heard), (Outcome::Broken, rules(&[Rule::StepOverLow])));
    let short = weld(procedure(3, [0; 4]), turns(2.0, spiral));
    assert_eq!(
        short.joints[0].shortfalls,
        Shortfalls::NONE.with(Shortfall::BandBrokenOff),
        "10 degrees of it"
    );
    let long = weld(procedure(3, [0; 4]), turns(4.0, spiral));
    assert_ne!(long.joints[0].outcome, Outcome::Proven);
    assert!(long.joints[0].shortfalls.contains(Shortfall::BandsExtra));
}
