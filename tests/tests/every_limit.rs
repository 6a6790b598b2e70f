//! No limit without a judge: every quantity, side and tier that a procedure can give, each alone.
//!
//! The joint is made from formulas (`bandward_tests::plain_joint`), so what each quantity reads is known from
//! its constants. A limit beyond that value holds, one short of it is broken; a channel that is missing, or
//! goes blind, proves nothing.

use bandward::procedure::{Limits, Range, Rotation};
use bandward::record::joint::{Shortfall, Shortfalls};
use bandward::record::proof::Proof;
use bandward::rule::{Quantity, Side};
use bandward::units::Length;
use bandward::{Acquisition, Channel, Outcome, Procedure, Rule, Severity};
use bandward_tests::heard::{Heard, acquisition, raw, watch};
use bandward_tests::plain_joint::{DIAMETER_MM, PlainJoint, WIRE_MM, cool};
use proptest::prelude::*;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Tier {
    Recommended,
    Allowed,
    Floor,
}

/// A procedure that gives one end of one range of one quantity.
fn asking(quantity: Quantity, side: Side, tier: Tier, limit: f64) -> Procedure {
    let limit = raw(limit, quantity.fraction_bits());
    let range = match side {
        Side::Low => Range { low: limit, high: i32::MAX },
        Side::High => Range { low: i32::MIN, high: limit },
    };
    let limits = Limits {
        recommended: (tier == Tier::Recommended).then_some(range),
        allowed: (tier == Tier::Allowed).then_some(range),
        floor: (tier == Tier::Floor).then_some(limit),
    };
    let mut procedure = Procedure::new();
    procedure.geometry.outside_diameter = Some(Length::from_milli((DIAMETER_MM * 1000.0) as i64));
    procedure.geometry.wire_diameter = Some(Length::from_milli((WIRE_MM * 1000.0) as i64));
    procedure.cooling_until = cool(quantity);
    procedure.with_limits(quantity, limits).expect("one end of a range fits itself")
}

fn rate_hz(quantity: Quantity) -> f64 {
    // Short circuits of 2 ms are counted from 2 kHz on.
    if quantity == Quantity::ShortCircuitRate { 2000.0 } else { 50.0 }
}

fn wired(rate_hz: f64, without: Option<Channel>) -> Acquisition {
    let channels: Vec<_> = Channel::ALL.into_iter().filter(|&channel| Some(channel) != without).collect();
    acquisition((1e6 / rate_hz) as u32, &channels)
}

fn weld(procedure: Procedure, joint: PlainJoint) -> Heard {
    watch(procedure, wired(joint.rate_hz, joint.without), joint.samples()).0
}

/// Every end that some rule watches.
fn ends() -> impl Iterator<Item = (Quantity, Side, Tier, Rule)> {
    Quantity::ALL.into_iter().flat_map(|quantity| {
        let of_side = move |side| {
            let tiers: &[Tier] = match side {
                Side::Low => &[Tier::Recommended, Tier::Allowed, Tier::Floor],
                Side::High => &[Tier::Recommended, Tier::Allowed],
            };
            tiers.iter().filter_map(move |&tier| {
                let rule = match (quantity, tier) {
                    (Quantity::Voltage, Tier::Floor) => Rule::TransferLowVoltage,
                    _ => quantity.rule(side)?,
                };
                Some((quantity, side, tier, rule))
            })
        };
        [Side::Low, Side::High].into_iter().flat_map(of_side)
    })
}

/// The limit that lies this share of the value outside (or inside) of what is read.
fn limit(quantity: Quantity, side: Side, share: f64, is_broken: bool) -> f64 {
    let value = PlainJoint::reads(quantity);
    let distance = (value.abs() * share).max(0.3);
    match (side, is_broken) {
        (Side::Low, true) | (Side::High, false) => value + distance,
        (Side::Low, false) | (Side::High, true) => value - distance,
    }
}

fn broken_alone(quantity: Quantity, side: Side, tier: Tier, rule: Rule, share: f64) {
    let at = format!("{quantity:?} {side:?} {tier:?} {share}");
    let joint = PlainJoint { rate_hz: rate_hz(quantity), ..PlainJoint::that_shows(rule) };
    let heard = weld(asking(quantity, side, tier, limit(quantity, side, share, true)), joint);
    let raised = heard.alarms(rule);
    let worst = raised.iter().map(|alarm| alarm.severity).max();
    let [done] = heard.joints[..] else { panic!("{at}: {} joints", heard.joints.len()) };
    let severity = match tier {
        Tier::Recommended => Severity::Advise,
        Tier::Allowed => Severity::Warn,
        Tier::Floor => Severity::Stop,
    };
    assert_eq!(worst, Some(severity), "{at}: {rule:?}");
    let expected = if tier == Tier::Recommended { Outcome::Proven } else { Outcome::Broken };
    assert_eq!(done.outcome, expected, "{at}: {done:?}");
}

#[test]
fn every_end_of_every_range_is_judged_when_it_alone_is_broken() {
    for (quantity, side, tier, rule) in ends() {
        broken_alone(quantity, side, tier, rule, 0.15);
    }
}

#[test]
fn every_end_of_every_range_is_proven_when_it_holds() {
    for (quantity, side, tier, rule) in ends() {
        let joint = PlainJoint { rate_hz: rate_hz(quantity), ..PlainJoint::that_shows(rule) };
        let heard = weld(asking(quantity, side, tier, limit(quantity, side, 0.15, false)), joint);
        let at = format!("{quantity:?} {side:?} {tier:?}");
        assert!(heard.alarms(rule).is_empty(), "{at}: {:?}", heard.alarms(rule));
        assert_eq!(heard.joints[0].outcome, Outcome::Proven, "{at}: {:?}", heard.bands[0].proof.get(rule));
        let proofs = heard.bands.iter().map(|band| band.proof.get(rule)).chain([heard.joints[0].cooling]);
        assert!(proofs.into_iter().any(|proof| matches!(proof, Proof::Held { .. })), "{at}: held by no band");
    }
}

/// The channel without which a quantity cannot be judged.
fn eye(quantity: Quantity) -> Channel {
    match quantity {
        Quantity::Current => Channel::Current,
        Quantity::Voltage | Quantity::ShortCircuitRate => Channel::Voltage,
        Quantity::GasFlow | Quantity::GasPreflow | Quantity::GasPostflow => Channel::Gas,
        Quantity::WeaveRate | Quantity::WeaveWidth | Quantity::WeaveCentreDrift => Channel::Torch,
        Quantity::TurnTime | Quantity::Overlap => Channel::Spindle,
        Quantity::StepOver => Channel::Carriage,
        Quantity::CoolantFlow => Channel::Coolant,
        Quantity::Preheat | Quantity::Interpass | Quantity::Cooling => Channel::Work,
        Quantity::WireFeed | Quantity::BandHeight => Channel::Wire,
    }
}

#[test]
fn a_limit_whose_channel_is_missing_is_not_proven() {
    for (quantity, side, tier, rule) in ends() {
        let joint = PlainJoint {
            rate_hz: rate_hz(quantity),
            without: Some(eye(quantity)),
            ..PlainJoint::that_shows(rule)
        };
        let heard = weld(asking(quantity, side, tier, limit(quantity, side, 0.15, false)), joint);
        assert_eq!(heard.joints[0].outcome, Outcome::NotProven, "{quantity:?} {side:?} {tier:?} {rule:?}");
    }
}

#[test]
fn a_limit_whose_channel_goes_blind_within_the_first_band_is_not_proven() {
    for (quantity, side, tier, rule) in ends() {
        let joint = PlainJoint {
            rate_hz: rate_hz(quantity),
            blind_from_s: Some((eye(quantity), PlainJoint::strike_s(0) + 25.0)),
            ..PlainJoint::that_shows(rule)
        };
        let heard = weld(asking(quantity, side, tier, limit(quantity, side, 0.15, false)), joint);
        let broken: Vec<_> = heard.joints[0].broken.iter().map(Rule::name).collect();
        let at = format!("{quantity:?} {side:?} {tier:?} {rule:?}: broken {broken:?}");
        assert_eq!(heard.joints[0].outcome, Outcome::NotProven, "{at}");
    }
}

#[test]
fn a_limit_that_is_judged_where_the_trace_allows_never_costs_the_green() {
    for quantity in [Quantity::ShortCircuitRate, Quantity::GasFlow, Quantity::TurnTime] {
        let joint = PlainJoint { without: Some(eye(quantity)), ..PlainJoint::default() };
        let procedure = asking(quantity, Side::High, Tier::Allowed, limit(quantity, Side::High, 0.15, false));
        let heard = weld(procedure.judged_where_possible(quantity), joint);
        let rule = quantity.rule(Side::High).expect("it is watched");
        assert_eq!(heard.joints[0].outcome, Outcome::Proven, "{quantity:?}");
        let proof = heard.bands[0].proof.get(rule);
        assert!(matches!(proof, Proof::NotProven { waived: true, .. }), "{quantity:?}: {proof:?}");
    }
}

#[test]
fn an_end_that_nothing_judges_is_refused() {
    for quantity in Quantity::ALL {
        for limits in [
            Limits { recommended: Some(Range { low: 1, high: 10 }), allowed: None, floor: None },
            Limits { recommended: None, allowed: Some(Range { low: 1, high: i32::MAX }), floor: None },
            Limits { recommended: None, allowed: None, floor: Some(1) },
        ] {
            let is_judged = quantity.rule(Side::Low).is_some();
            assert_eq!(Procedure::new().with_limits(quantity, limits).is_ok(), is_judged, "{quantity:?}");
        }
        assert!(quantity.rule(Side::High).is_some(), "{quantity:?}: every high end is judged");
    }
}

#[test]
fn a_pipe_that_turns_the_wrong_way_is_broken_on_one_band_and_not_proven_on_all() {
    let mut procedure = Procedure::new();
    procedure.joint.rotation = Some(Rotation::Clockwise);
    let turning = |falls_from_band| {
        let heard = weld(procedure.clone(), PlainJoint { falls_from_band, ..PlainJoint::default() });
        (heard.joints[0].outcome, heard.alarms(Rule::SpindleReversed).len())
    };
    assert_eq!(turning(None), (Outcome::Proven, 0));
    assert_eq!(turning(Some(0)), (Outcome::NotProven, 0), "pipe or encoder: it cannot be told");
    let (outcome, alarms) = turning(Some(1));
    assert_eq!(outcome, Outcome::Broken);
    assert!(alarms > 0);
    // Where it is known which way the joint turns while the angle grows, there is nothing to guess.
    let grows = Acquisition { spindle_sense: Some(Rotation::Clockwise), ..wired(50.0, None) };
    for (falls_from_band, outcome) in [(None, Outcome::Proven), (Some(0), Outcome::Broken)] {
        let joint = PlainJoint { falls_from_band, ..PlainJoint::default() };
        let heard = watch(procedure.clone(), grows, joint.samples()).0;
        assert_eq!(heard.joints[0].outcome, outcome, "{falls_from_band:?}");
    }
}

#[test]
fn a_joint_that_is_not_complete_is_not_proven() {
    let procedure = || asking(Quantity::Current, Side::Low, Tier::Allowed, 250.0);
    let laid = |bands, joint: PlainJoint| {
        let mut procedure = procedure();
        procedure.joint.bands = bands;
        let heard = weld(procedure, joint);
        (heard.joints[0].outcome, heard.joints[0].shortfalls)
    };
    let whole = PlainJoint::default();
    assert_eq!(laid(2, whole), (Outcome::Proven, Shortfalls::NONE));
    let (outcome, shortfalls) = laid(3, whole);
    assert_eq!(outcome, Outcome::NotProven);
    assert!(shortfalls.contains(Shortfall::BandsMissing));
    assert_eq!(laid(1, whole), (Outcome::NotProven, Shortfalls::NONE.with(Shortfall::BandsExtra)));
    let cut = PlainJoint { ends_s: PlainJoint::strike_s(1) + 20.0, ..whole };
    assert_eq!(laid(2, cut), (Outcome::NotProven, Shortfalls::NONE.with(Shortfall::DataEndedInBand)));
    let (outcome, shortfalls) = laid(2, PlainJoint { last_band_deg: 200.0, ..whole });
    assert_eq!(outcome, Outcome::Broken, "the arc went out within the band");
    assert!(shortfalls.contains(Shortfall::BandBrokenOff));
    let (outcome, shortfalls) = laid(2, PlainJoint { without: Some(Channel::Current), ends_s: 8.0, ..whole });
    assert_eq!(outcome, Outcome::NotProven);
    assert!(shortfalls.contains(Shortfall::NoBand));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn any_end_broken_by_any_distance_is_found(index in 0_usize..1000, share in 0.08_f64..0.9) {
        let all: Vec<_> = ends().filter(|(quantity, ..)| *quantity != Quantity::ShortCircuitRate).collect();
        let (quantity, side, tier, rule) = all[index % all.len()];
        broken_alone(quantity, side, tier, rule, share);
    }
}
