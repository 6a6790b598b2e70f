//! The short way for plain samples (current and voltage of a settled arc, or of none between bands, nothing else) decides
//! nothing otherwise than the long way. A reading on a channel that is not wired tells the monitor nothing and
//! keeps a sample from being plain: with it and without it, the same must come out.

use bandward::procedure::{AlarmSetting, ArcSettings, Limits, Polarity, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{Acquisition, Channel, Monitor, Procedure, Quantity, Rule, Sample};
use bandward_sim::replay::sound;
use bandward_tests::heard::Heard;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

/// A stretch of the weld: so many samples of one kind.
#[derive(Clone, Debug)]
struct Stretch {
    samples: u16,
    amps: i32,
    volts: i32,
    /// Readings move by up to so much, raw.
    noise: i32,
    wait: i64,
    gas: bool,
}

fn stretch() -> impl Strategy<Value = Stretch> {
    let milli = |range: std::ops::Range<i32>| range.prop_map(|milli| milli * 4);
    let amps = || milli(240_000..320_000);
    let volts = || milli(26_000..32_000);
    let odd_amps =
        prop_oneof![milli(0..60_000), milli(-320_000..-240_000), milli(380_000..440_000), any::<i32>()];
    let odd_volts =
        prop_oneof![milli(0..20_000), milli(-32_000..-26_000), milli(40_000..60_000), any::<i32>()];
    let dip = (1..250_u16, amps(), milli(0..22_000));
    let odd = prop_oneof![
        (1..400_u16, odd_amps.clone(), volts()),
        (1..400_u16, amps(), odd_volts.clone()),
        (1..400_u16, odd_amps, odd_volts),
    ];
    let rest = (1..9_000_u16, milli(-10_000..60_000), milli(-4_000..10_000));
    let readings = prop_oneof![6 => (500..9_000_u16, amps(), volts()), 4 => dip, 3 => odd, 3 => rest];
    let wait = prop_oneof![12 => Just(100_i64), 1 => 0..9_000_i64, 3 => -2_000..0_i64];
    let noise = prop_oneof![4 => 1..20_000_i32, 1 => Just(0)];
    (readings, noise, wait, any::<bool>()).prop_map(|((samples, amps, volts), noise, wait, gas)| Stretch {
        samples,
        amps,
        volts,
        noise,
        wait,
        gas,
    })
}

fn procedure(polarity: Option<Polarity>, outage_join_us: u32) -> Procedure {
    let range = |low, high| Range { low, high };
    let limits = |low: i32, high: i32| Limits {
        recommended: Some(range(low + (high - low) / 4, high - (high - low) / 4)),
        allowed: Some(range(low, high)),
        floor: None,
    };
    let mut procedure = Procedure::new()
        .with_limits(Quantity::Current, limits(250 << 12, 310 << 12))
        .and_then(|procedure| {
            let floor = Some(24 << 12);
            procedure.with_limits(Quantity::Voltage, Limits { floor, ..limits(27 << 12, 31 << 12) })
        })
        .and_then(|procedure| procedure.with_limits(Quantity::ShortCircuitRate, limits(0, 40 << 12)))
        .expect("the ranges fit");
    let soon = AlarmSetting { on_delay_us: 200_000, ..procedure.alarm(Rule::SignalStuck) };
    procedure = procedure.with_alarm(Rule::SignalStuck, soon).expect("the deadband is not negative");
    procedure.polarity = polarity;
    procedure.arc = ArcSettings {
        crater_fill_us: 4_000_000,
        current_on: Current::from_milli(30_000),
        current_off: Current::from_milli(20_000),
        open_circuit: Voltage::from_milli(50_000),
        strike_us: 50_000,
        outage_join_us,
        gap_join_us: 1_000_000,
    };
    procedure
}

fn samples(stretches: &[Stretch]) -> Vec<Sample> {
    let (mut now_us, mut draw) = (0_u64, 1_u64);
    let mut noise = |size: i32| {
        // Knuth's linear congruential generator (MMIX).
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let size = i64::from(size);
        i32::try_from(i64::try_from(draw >> 33).unwrap() % (2 * size + 1) - size).unwrap()
    };
    let mut samples = Vec::new();
    for stretch in stretches {
        for index in 0..stretch.samples {
            // Only the first comes late, early or out of order.
            let wait = if index == 0 { stretch.wait } else { 100 };
            now_us = now_us.saturating_add_signed(wait);
            let amps = stretch.amps.saturating_add(noise(stretch.noise));
            let volts = stretch.volts.saturating_add(noise(stretch.noise / 10));
            let sample =
                Sample::at(now_us).with_raw(Channel::Current, amps).with_raw(Channel::Voltage, volts);
            let with_gas = stretch.gas && index % 100 == 0;
            samples.push(if with_gas { sample.gas(FlowRate::from_milli(15_000)) } else { sample });
        }
    }
    samples
}

fn heard(procedure: &Procedure, samples: impl Iterator<Item = Sample>) -> Heard {
    let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
    let acquisition = Acquisition { gap_tolerance_us: 5_000, ..Acquisition::every(100, channels) }
        .with_sensor_range(Channel::Current, Range { low: -400 << 12, high: 400 << 12 })
        .with_sensor_range(Channel::Voltage, Range { low: -48 << 12, high: 48 << 12 });
    let (mut heard, mut monitor) = (Heard::default(), Monitor::new(&sound(procedure), acquisition));
    for sample in samples {
        monitor.step(&sample, &mut heard);
    }
    monitor.finish(&mut heard);
    heard
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn the_short_way_decides_nothing_otherwise(
        stretches in vec(stretch(), 1..60),
        polarity in proptest::option::of(select(vec![Polarity::ElectrodePositive, Polarity::ElectrodeNegative])),
        outage_join_us in select(vec![0, 100_000, 2_000_000]),
    ) {
        let procedure = procedure(polarity, outage_join_us);
        let samples = samples(&stretches);
        let short = heard(&procedure, samples.iter().copied());
        let long = heard(&procedure, samples.iter().map(|sample| sample.with_raw(Channel::Carriage, 0)));
        prop_assert_eq!(short.events, long.events);
        prop_assert_eq!(short.bands, long.bands);
    }
}

/// The same comes out of a stretch between two others whether its samples are taken the short way or the long way.
fn assert_alike(
    before: &Stretch,
    length: u16,
    (amps, volts): (i32, i32),
    noise: i32,
    wait: i64,
    after: &Stretch,
) {
    let between =
        Stretch { samples: length, amps: amps << 12, volts: volts << 12, noise, wait, gas: before.gas };
    let (procedure, trace) = (procedure(None, 1_000_000), samples(&[before.clone(), between, after.clone()]));
    let short = heard(&procedure, trace.iter().copied());
    let long = heard(&procedure, trace.iter().map(|sample| sample.with_raw(Channel::Carriage, 0)));
    assert!(!short.bands.is_empty());
    assert_eq!(short, long, "{amps} A {volts} V, {length} samples {wait} us later");
}

fn settled(gas: bool) -> Stretch {
    Stretch { samples: 9_000, amps: 280 << 12, volts: 29 << 12, noise: 4_000, wait: 100, gas }
}

/// Each thing that is not plain, in the middle of a settled arc.
#[test]
fn no_interruption_is_taken_for_plain() {
    for readings in [
        (420, 29),
        (280, 49),
        (280, 51),
        (280, 12),
        (280, 5),
        (15, 29),
        (-280, 29),
        (280, -29),
        (-420, 29),
        (280, -49),
        (20_000, 29),
        (0, 0),
    ] {
        for (length, noise) in [(1, 0), (40, 400), (400, 400), (4_000, 0)] {
            assert_alike(&settled(true), length, readings, noise, 100, &settled(true));
        }
    }
}

/// Each thing that is not plain while no arc burns, with gas and without, and what strikes one; then an arc.
#[test]
fn nothing_between_bands_is_taken_for_plain() {
    for gas in [false, true] {
        let rest = Stretch { samples: 9_000, amps: 0, volts: 0, noise: 4_000, wait: 100, gas };
        for readings in [
            (29, 7),
            (30, 7),
            (-30, 7),
            (31, -7),
            (29, 8),
            (10, -8),
            (0, 29),
            (0, 49),
            (0, 51),
            (280, 0),
            (280, 29),
            (-420, 2),
            (20_000, 1),
            (1, -20_000),
        ] {
            for (length, noise, wait) in
                [(1, 0, 100), (40, 400, 100), (400, 0, 4_900), (400, 400, 6_000), (4_000, 0, -150)]
            {
                assert_alike(&rest, length, readings, noise, wait, &settled(gas));
            }
        }
    }
}
