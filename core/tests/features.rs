//! What a build without some feature does with what it does not watch: it refuses it, or says that it is not
//! judged. Run with `--no-default-features --features ...` for each set; with all features nothing is refused.
#![allow(clippy::arithmetic_side_effects, clippy::indexing_slicing, clippy::unwrap_used, clippy::panic)]

use bandward::by_rule::ByRule;
use bandward::event::{Event, Sink};
use bandward::procedure::{AlarmSetting, Limits, ProcedureError, Range, Rotation};
use bandward::rule::Side;
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

/// A procedure written in code has no place for a range that nothing judges, and is refused for it as one is that has.
#[test]
fn a_limit_that_nothing_judges_is_refused_in_code_too() {
    let swapped = Limits { allowed: Some(Range { low: 2, high: 1 }), ..AT_MOST };
    for (quantity, limits) in Quantity::ALL.into_iter().flat_map(|each| [(each, AT_MOST), (each, swapped)]) {
        let written = Procedure::new().limited(quantity, limits);
        if quantity.is_watched() {
            assert_eq!(written.limits(quantity), Some(&limits));
        } else {
            let refused = ProcedureError::NoJudge(quantity, Side::High);
            assert_eq!(written.check(), Err(refused));
            assert_eq!(SoundProcedure::of(written), Err(refused));
        }
    }
}

/// What this build leaves out keeps the value that all begin with, and has its place on the wire all the same.
#[test]
fn every_rule_has_a_value_in_every_build() {
    let mut values = ByRule::all(7_u8);
    for rule in Rule::ALL {
        values.set(rule, 100 + rule as u8);
    }
    let expected = Rule::ALL.map(|rule| if rule.is_watched() { 100 + rule as u8 } else { 7 });
    assert!(values.iter().eq(Rule::ALL.into_iter().zip(expected)));
    assert_eq!(Rule::ALL.map(|rule| values.get(rule)), expected);
    #[cfg(feature = "link")]
    {
        let mut room = [0; 128];
        // A byte below 128 is itself in the postcard format, and one above is followed by a 1.
        let written = postcard::to_slice(&expected.as_slice(), &mut room).unwrap()[1..].to_vec();
        assert_eq!(postcard::to_slice(&values, &mut [0; 128]).unwrap(), written.as_slice());
        assert_eq!(postcard::from_bytes::<ByRule<u8>>(&written), Ok(values));
    }
}

/// How an alarm behaves that this build never raises: as usual, unless it came over a wire, where host and board know a
/// procedure by the checksum of all that it says.
#[test]
fn a_setting_of_what_is_not_watched_goes_over_the_wire_unchanged() {
    for rule in Rule::ALL {
        let usual = rule.default_setting();
        let other = AlarmSetting { latched: !usual.latched, ..usual };
        let procedure = Procedure::new().with_alarm(rule, other).unwrap();
        let is_kept = rule.is_watched() || cfg!(feature = "serde");
        assert_eq!(procedure.alarm(rule), if is_kept { other } else { usual });
        #[cfg(feature = "link")]
        {
            let mut room = [0; 1024];
            let written = postcard::to_slice(&procedure, &mut room).unwrap();
            assert_eq!(postcard::from_bytes::<Procedure>(written).as_ref(), Ok(&procedure));
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
