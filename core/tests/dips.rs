//! An arc whose current dips again and again, in time with the judging or not, hides no fault.
//!
//! The judging comes back to each rule every 20 ms: dips that come as often must not be all that it finds. Expected is what
//! is promised of every fault under the arc: it is told, once it has lasted for its delays.
#![cfg(all(feature = "gas", feature = "motion"))]
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used, clippy::struct_field_names)]

use bandward::procedure::{Limits, Polarity, Range, Rotation};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, AlarmKind, BandRecord, Channel, Event, Monitor, Outcome, Procedure, Quantity, Rule, Sample,
    Sink, SoundProcedure,
};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    NoGas,
    NoCoolant,
    LowVoltage,
    HalfCurrent,
    WrongPole,
    PipeStands,
    PipeTurnsBack,
}

impl Fault {
    /// Any of these tells of it.
    const fn rules(self) -> &'static [Rule] {
        match self {
            Self::NoGas => &[Rule::GasLow],
            Self::NoCoolant => &[Rule::CoolantLow],
            Self::LowVoltage => &[Rule::TransferLowVoltage],
            Self::HalfCurrent => &[Rule::CurrentLow],
            Self::WrongPole => &[Rule::PolarityWrong],
            Self::PipeStands => &[Rule::SpindleStall],
            Self::PipeTurnsBack => &[Rule::SpindleReversed],
        }
    }
}

/// `period_us` apart, from the 8th second on out for `out_us` of every `every_us`.
#[derive(Clone, Copy, Debug)]
struct Dips {
    period_us: u64,
    every_us: u64,
    out_us: u64,
}

#[derive(Default)]
struct Raised(Vec<(Rule, u64)>, Option<BandRecord>);

impl Sink for Raised {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event
            && alarm.kind == AlarmKind::Raised
        {
            self.0.push((alarm.rule, alarm.time_us));
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.1 = Some(*record);
    }
}

const WIRED: ChannelSet =
    ChannelSet::ELECTRICAL.with(Channel::Gas).with(Channel::Coolant).with(Channel::Spindle);
const BEGINS_US: u64 = 12_000_000;
/// The longest delay of these rules is 1 s, a mean is of 1 s, and a pipe is known to stand after some seconds; all of it
/// counts only while something is to be seen.
const TOLD_WITHIN_US: u64 = 12_000_000;

fn limits(low_milli: i64, high_milli: i64, raw: fn(i64) -> i32) -> Limits {
    Limits {
        recommended: None,
        allowed: Some(Range { low: raw(low_milli), high: raw(high_milli) }),
        floor: None,
    }
}

fn monitor(period_us: u64) -> Monitor {
    let amps: fn(i64) -> i32 = |milli| Current::from_milli(milli).to_bits();
    let volts: fn(i64) -> i32 = |milli| Voltage::from_milli(milli).to_bits();
    let flow: fn(i64) -> i32 = |milli| FlowRate::from_milli(milli).to_bits();
    let floor = Some(volts(26_000));
    let mut procedure = Procedure::new()
        .with_limits(Quantity::Current, limits(280_000, 360_000, amps))
        .and_then(|it| it.with_limits(Quantity::Voltage, Limits { floor, ..limits(29_000, 33_000, volts) }))
        .and_then(|it| it.with_limits(Quantity::GasFlow, limits(14_000, 20_000, flow)))
        .and_then(|it| it.with_limits(Quantity::CoolantFlow, limits(4_000, 10_000, flow)))
        .unwrap();
    procedure.polarity = Some(Polarity::ElectrodePositive);
    procedure.joint.rotation = Some(Rotation::Clockwise);
    let mut acquisition = Acquisition::every(u32::try_from(period_us).unwrap(), WIRED);
    acquisition.spindle_sense = Some(Rotation::Clockwise);
    Monitor::new(&SoundProcedure::try_from(procedure).unwrap(), acquisition)
}

/// A sample of a good band, or of one with `fault`; `is_out`: in a dip. Invented.
fn sample(time_us: u64, fault: Option<Fault>, is_out: bool) -> Sample {
    let lit = time_us >= 3_000_000;
    // Never quite still; of another period than dips and ticks.
    let noise = i64::try_from(time_us / 100 % 13).unwrap();
    let is = |wanted| fault == Some(wanted);
    let (mut amps, mut volts) =
        if lit { (320_000 + noise * 300, 31_000 + noise * 40) } else { (noise, noise) };
    if is(Fault::HalfCurrent) {
        amps /= 2;
    }
    if is(Fault::LowVoltage) {
        volts = 14_000 + noise * 40;
    }
    if is_out {
        (amps, volts) = (200 + noise, 200 + noise);
    }
    if is(Fault::WrongPole) {
        (amps, volts) = (-amps, -volts);
    }
    let mut sample =
        Sample::at(time_us).current(Current::from_milli(amps)).voltage(Voltage::from_milli(volts));
    if time_us.is_multiple_of(20_000) {
        let gas = if is(Fault::NoGas) { 0 } else { 17_000 + noise * 20 };
        let coolant = if is(Fault::NoCoolant) { 50 } else { 6_000 + noise * 20 };
        // A turn in 84 s.
        let turned = |us: u64| ((u128::from(us) << 32) / 84_000_000) as u32;
        let angle = match fault {
            Some(Fault::PipeStands) => turned(BEGINS_US),
            Some(Fault::PipeTurnsBack) => turned(BEGINS_US).wrapping_sub(turned(time_us - BEGINS_US)),
            _ => turned(time_us),
        };
        sample = sample
            .gas(FlowRate::from_milli(gas))
            .coolant(FlowRate::from_milli(coolant))
            .spindle(bandward::units::Angle::from_bits(angle));
    }
    sample
}

#[test]
fn a_fault_is_told_whatever_the_phase_of_the_dips() {
    let one = |period_us, every_us, out_us| Dips { period_us, every_us, out_us };
    let kinds = [
        one(1_000, 5_000, 1_000),
        one(1_000, 20_000, 1_000),
        one(1_000, 20_000, 10_000),
        one(1_000, 40_000, 20_000),
        one(1_000, 50_000, 40_000),
        one(1_000, 100_000, 60_000),
        one(500, 10_000, 5_000),
    ];
    let faults = [
        Fault::NoGas,
        Fault::NoCoolant,
        Fault::LowVoltage,
        Fault::HalfCurrent,
        Fault::WrongPole,
        Fault::PipeStands,
        Fault::PipeTurnsBack,
    ];
    let mut missed = Vec::new();
    for dips in kinds {
        let mut good = monitor(dips.period_us);
        let mut raised = Raised::default();
        for time_us in (0..BEGINS_US).step_by(usize::try_from(dips.period_us).unwrap()) {
            good.step(&sample(time_us, None, false), &mut raised);
        }
        assert_eq!(raised.0, [], "{dips:?}");
        let offsets = (dips.every_us.min(20_000) / dips.period_us).min(20);
        for (fault, offset) in
            faults.iter().flat_map(|&fault| (0..offsets).map(move |offset| (fault, offset)))
        {
            let mut monitor = good.clone();
            let mut raised = Raised::default();
            let mut time_us = BEGINS_US;
            while time_us < BEGINS_US + TOLD_WITHIN_US
                && !raised.0.iter().any(|(rule, _)| fault.rules().contains(rule))
            {
                let is_out = (time_us - offset * dips.period_us) % dips.every_us < dips.out_us;
                monitor.step(&sample(time_us, Some(fault), is_out), &mut raised);
                time_us += dips.period_us;
            }
            if !raised.0.iter().any(|(rule, _)| fault.rules().contains(rule)) {
                missed.push((fault, dips, offset, raised.0));
            }
        }
    }
    assert!(missed.is_empty(), "{} missed, the first {:#?}", missed.len(), missed.first());
}

/// Nor does an arc hide that never burns for two samples, from its strike on.
#[test]
fn an_arc_of_single_samples_is_judged() {
    for (every_us, lit_us) in
        [(5_000, 1_000), (10_000, 1_000), (20_000, 1_000), (10_000, 2_000), (50_000, 5_000)]
    {
        for offset in 0..20 {
            let mut monitor = monitor(1_000);
            let mut raised = Raised::default();
            for time_us in (0..30_000_000).step_by(1_000) {
                let is_out = (time_us + offset * 1_000) % every_us >= lit_us;
                monitor.step(
                    &sample(time_us, Some(Fault::NoGas).filter(|_| time_us > 2_000_000), is_out),
                    &mut raised,
                );
            }
            let told = raised.0.iter().find(|(rule, _)| *rule == Rule::GasLow);
            // 5 s until it is known to burn on, twice the strike, and the delay of the rule.
            assert!(
                told.is_some_and(|&(_, us)| us < 3_000_000 + 14_000_000),
                "{lit_us} of {every_us}: {:?}",
                raised.0
            );
        }
    }
}

/// A meter that stands still does so through a dip, and one that moves in the last moment of a band did not move in it.
#[test]
fn a_flow_that_stands_still_is_told_or_not_proven() {
    let watched = |frozen_ms: (u64, u64), every_us: u64| {
        let mut monitor = monitor(1_000);
        let mut raised = Raised::default();
        for time_us in (0..95_000_000).step_by(1_000) {
            let ms = time_us / 1_000;
            let is_out = ms > 90_000 || every_us > 0 && ms > 12_000 && time_us % every_us == 7_000;
            let mut sample = sample(time_us, None, is_out);
            let flows = (1_000..91_000).contains(&ms);
            if time_us.is_multiple_of(20_000) && (frozen_ms.0..frozen_ms.1).contains(&ms) {
                sample = sample.gas(FlowRate::from_milli(17_123));
            } else if time_us.is_multiple_of(20_000) && !flows {
                sample = sample.gas(FlowRate::from_milli(i64::try_from(time_us / 20_000 % 7).unwrap()));
            }
            monitor.step(&sample, &mut raised);
        }
        monitor.finish(&mut raised);
        let is_told = raised.0.iter().any(|(rule, _)| *rule == Rule::SignalStuck);
        (is_told, raised.1.map(|band| band.proof.get(Rule::GasLow).outcome()))
    };
    for every_us in [0, 20_000, 300_000, 3_000_000, 15_000_000] {
        assert_eq!(watched((0, 0), every_us), (false, Some(Outcome::Proven)), "moving, dips {every_us}");
        assert_eq!(
            watched((30_000, 92_000), every_us),
            (true, Some(Outcome::NotProven)),
            "frozen, dips {every_us}"
        );
    }
    for from_ms in [3_100, 4_000, 5_000] {
        assert_eq!(
            watched((from_ms, 89_700), 0).1,
            Some(Outcome::NotProven),
            "from {from_ms} ms nearly to the end"
        );
    }
}

/// Nor do the dips alone tell of a fault that is not there, beside what the arc itself is called.
#[test]
fn dips_alone_break_nothing_that_is_sound() {
    for (every_us, out_us) in [(20_000, 1_000), (20_000, 10_000), (100_000, 1_000), (500_000, 60_000)] {
        for offset_us in (0..20_000).step_by(1_000) {
            let mut monitor = monitor(1_000);
            let mut raised = Raised::default();
            for time_us in (0..20_000_000).step_by(1_000) {
                let is_out = time_us >= BEGINS_US && (time_us - offset_us) % every_us < out_us;
                monitor.step(&sample(time_us, None, is_out), &mut raised);
            }
            let of_the_arc = |rule| matches!(rule, Rule::CurrentLow | Rule::VoltageLow | Rule::ArcOutage);
            raised.0.retain(|&(rule, _)| !of_the_arc(rule));
            assert_eq!(raised.0, [], "out for {out_us} of {every_us} us, offset {offset_us}");
        }
    }
}
