//! What a build without some feature does with what it does not watch: it refuses it, or says that it is not
//! judged. Run with `--no-default-features --features ...` for each set; with all features nothing is refused.
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used, clippy::panic)]

use bandward::event::{Event, Sink};
use bandward::procedure::{Limits, ProcedureError, Range, Rotation};
use bandward::sample::{ChannelSet, Sample};
use bandward::units::{Current, FlowRate, Temperature, Voltage};
use bandward::{Acquisition, BandRecord, Channel, JointRecord, Monitor, NotJudged, Outcome, Procedure};
use bandward::{Quantity, Rule, SoundProcedure};

const AT_MOST: Limits =
    Limits { recommended: None, allowed: Some(Range { low: 0, high: 1 << 20 }), floor: None };

#[test]
fn a_limit_that_nothing_judges_is_refused() {
    for quantity in Quantity::ALL {
        let given = Procedure::new().with_limits(quantity, AT_MOST);
        match (quantity.is_watched(), given) {
            (true, Ok(mut procedure)) => {
                // The one limit that goes with another.
                procedure.cooling_until = (quantity == Quantity::Cooling).then_some(Temperature::ZERO);
                assert_eq!(procedure.check(), Ok(()), "{quantity:?}");
            }
            (false, Err(ProcedureError::NoJudge(refused, _))) => assert_eq!(refused, quantity),
            (_, other) => panic!("{quantity:?}: {other:?}"),
        }
    }
}

#[test]
fn a_direction_of_turning_is_refused_without_motion() {
    let mut procedure = Procedure::new();
    procedure.joint.rotation = Some(Rotation::Clockwise);
    let expected = if cfg!(feature = "motion") { Ok(()) } else { Err(ProcedureError::NoMotion) };
    assert_eq!(procedure.check(), expected);
}

#[test]
fn a_rule_is_watched_with_its_quantity_and_its_channels() {
    for rule in Rule::ALL {
        let of_quantity = rule.watches().is_none_or(|(quantity, _)| quantity.is_watched());
        let of_channels = rule.needs().iter().all(Channel::is_watched);
        assert_eq!(rule.is_watched(), of_quantity && of_channels, "{rule:?}");
    }
}

#[derive(Default)]
struct Kept(Vec<BandRecord>);

impl Sink for Kept {
    fn event(&mut self, _: &Event) {}
    fn band(&mut self, record: &BandRecord) {
        self.0.push(*record);
    }
    fn joint(&mut self, _: &JointRecord) {}
}

/// A minute of an invented arc, every channel wired and read at 100 Hz.
fn weld() -> (Monitor, BandRecord) {
    let volts = Limits { recommended: None, allowed: Some(range(20_000, 40_000)), floor: None };
    let procedure = Procedure::new().with_limits(Quantity::Voltage, volts).unwrap();
    let mut monitor =
        Monitor::new(&SoundProcedure::of(procedure).unwrap(), Acquisition::every(10_000, ChannelSet::ALL));
    let mut kept = Kept::default();
    for step in 0..7_000_u64 {
        let lit = (300..6_300).contains(&step);
        let noise = ((step.wrapping_mul(2_654_435_761) >> 20) & 0xff) as i32;
        let mut sample = Sample::at(step * 10_000);
        for channel in Channel::ALL {
            let raw = match channel {
                Channel::Current if lit => Current::from_milli(300_000).to_bits() + noise,
                Channel::Voltage if lit => Voltage::from_milli(30_000).to_bits() + noise,
                Channel::Current | Channel::Voltage => 0,
                Channel::Gas | Channel::Coolant => FlowRate::from_milli(18_000).to_bits() + noise,
                Channel::Spindle => (step as u32).wrapping_mul(795_364) as i32,
                _ => noise + 4096,
            };
            sample = sample.with_raw(channel, raw);
        }
        monitor.step(&sample, &mut kept);
    }
    monitor.finish(&mut kept);
    assert_eq!(kept.0.len(), 1, "{:?}", kept.0);
    (monitor, kept.0.remove(0))
}

fn range(low_milli: i64, high_milli: i64) -> Range {
    let raw = |milli: i64| (milli * (1 << Quantity::Voltage.fraction_bits()) / 1000) as i32;
    Range { low: raw(low_milli), high: raw(high_milli) }
}

#[test]
fn what_is_left_out_is_told_as_not_judged_and_measured_by_nobody() {
    let (monitor, record) = weld();
    assert!(record.current.is_some() && record.voltage.is_some());
    assert!(record.proof.get(Rule::VoltageLow).outcome() != Outcome::Broken);
    for rule in Rule::ALL.into_iter().filter(|rule| !rule.is_watched()) {
        assert!(monitor.not_judged(rule).is_some(), "{rule:?}");
        let missing = rule.needs().minus(ChannelSet::WATCHED);
        if let (None, Some(channel)) = (rule.watches(), missing.first()) {
            let told = monitor.not_judged(rule);
            let fits = matches!(told, Some(NotJudged::NoChannel(_) | NotJudged::NoRange));
            assert!(fits, "{rule:?}: {told:?} beside {channel:?}");
        }
    }
    assert_eq!(record.gas.is_some(), cfg!(feature = "gas"));
    assert_eq!(record.turned.is_some(), cfg!(feature = "motion"));
    assert_eq!(record.work_at_start.is_some(), cfg!(feature = "heat"));
    if cfg!(not(feature = "transfer")) {
        assert_eq!(record.short_circuits, None);
    }
}
