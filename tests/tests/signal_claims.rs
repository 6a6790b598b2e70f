//! What is said of channels: coarse readings that stand still, channels that freeze, read zero or
//! contradict each other, and single readings that leap. Made traces: self-consistency.

use bandward::procedure::{Limits, Polarity, Range};
use bandward::{AlarmKind, Channel, Procedure, Quantity, Rule, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, raw, watch, with};
use proptest::prelude::*;

const WIRED: [Channel; 9] = Channel::ALL;
const START_S: f64 = 5.0;
const END_S: f64 = 125.0;

/// How a logger reads: so many samples a second, each channel rounded to a step (0: full resolution).
#[derive(Clone, Copy, Debug)]
struct Logger {
    rate_hz: f64,
    steps: [f64; 9],
}

const FULL: Logger = Logger { rate_hz: 50.0, steps: [0.0; 9] };
/// Steps of 10 A, 1 V, 1 L/min and 5 degC, full elsewhere.
const COARSE: Logger = Logger { rate_hz: 50.0, steps: [10.0, 1.0, 1.0, 0.0, 0.0, 100.0, 1.0, 5.0, 1.0] };

/// A good weld: noise of 1.5 % in the current, of 0.3 V in the voltage, and of a percent elsewhere.
fn value(channel: Channel, s: f64, noise: &mut Noise) -> f64 {
    let lit = (START_S..END_S).contains(&s);
    let gas = (START_S - 3.0..END_S + 8.0).contains(&s);
    match channel {
        Channel::Current if lit => 280.0 + 4.0 * noise.normal(),
        Channel::Voltage if lit => 29.0 + 0.3 * noise.normal(),
        Channel::Current | Channel::Voltage => 0.05 * noise.normal().abs(),
        Channel::Gas if gas => 17.0 + 0.15 * noise.normal(),
        Channel::Torch if lit => 12.5 * (s * 8.0).sin() + 0.02 * noise.normal(),
        Channel::Spindle => (s * 3.2 + 0.02 * noise.normal()).rem_euclid(360.0),
        Channel::Wire if lit => 7000.0 + 40.0 * noise.normal(),
        Channel::Coolant => 6.0 + 0.05 * noise.normal(),
        Channel::Work => 150.0 + (s - START_S).clamp(0.0, 120.0) + 0.3 * noise.normal(),
        Channel::Carriage => 100.0,
        Channel::Gas | Channel::Torch | Channel::Wire => 0.0,
    }
}

impl Logger {
    /// One band of 120 s; `change` may make another value of what a channel reads, or none.
    fn watch(self, seed: u64, mut change: impl FnMut(Channel, f64, f64) -> Option<f64>) -> Heard {
        let mut noise = Noise::new(seed, 0);
        let samples = (0..((END_S + 15.0) * self.rate_hz) as u64).map(|index| {
            let s = index as f64 / self.rate_hz;
            WIRED.into_iter().zip(self.steps).fold(Sample::at((s * 1e6) as u64), |sample, (channel, step)| {
                let value = value(channel, s, &mut noise);
                let shown = if step > 0.0 { (value / step).round() * step } else { value };
                change(channel, s, shown).map_or(sample, |shown| with(sample, channel, shown))
            })
        });
        let period_us = (1e6 / self.rate_hz) as u32;
        watch(procedure(), acquisition(period_us, &WIRED), samples.collect::<Vec<_>>()).0
    }
}

/// Limits that a good weld keeps with little to spare.
fn procedure() -> Procedure {
    let limits = |low: f64, high: f64, floor: Option<f64>| Limits {
        recommended: None,
        allowed: Some(Range { low: raw(low, 12), high: raw(high, 12) }),
        floor: floor.map(|floor| raw(floor, 12)),
    };
    let mut procedure = Procedure::new()
        .with_limits(Quantity::Current, limits(265.0, 295.0, None))
        .and_then(|p| p.with_limits(Quantity::Voltage, limits(27.8, 30.2, Some(26.0))))
        .and_then(|p| p.with_limits(Quantity::GasFlow, limits(15.0, 19.0, Some(8.0))))
        .and_then(|p| p.with_limits(Quantity::GasPreflow, limits(2.0, 1e5, None)))
        .and_then(|p| p.with_limits(Quantity::CoolantFlow, limits(5.0, 8.0, Some(2.0))))
        .and_then(|p| p.with_limits(Quantity::WeaveRate, limits(60.0, 100.0, None)))
        .and_then(|p| p.with_limits(Quantity::WeaveWidth, limits(23.0, 27.0, None)))
        .and_then(|p| p.with_limits(Quantity::Preheat, limits(120.0, 200.0, None)))
        .expect("the ranges fit");
    procedure.polarity = Some(Polarity::ElectrodePositive);
    procedure
}

fn raised(heard: &Heard) -> Vec<(&'static str, Option<Channel>)> {
    let mut raised: Vec<_> = Rule::ALL
        .into_iter()
        .flat_map(|rule| heard.alarms(rule))
        .filter(|alarm| alarm.kind == AlarmKind::Raised)
        .map(|alarm| (alarm.rule.name(), alarm.channel))
        .collect();
    raised.dedup();
    raised
}

#[allow(clippy::unnecessary_wraps)] // one of several ways to read
fn as_read(_: Channel, _: f64, shown: f64) -> Option<f64> {
    Some(shown)
}

/// Holds a channel from `from_s` on at what it read then.
fn frozen(which: Channel, from_s: f64) -> impl FnMut(Channel, f64, f64) -> Option<f64> {
    let mut held = None;
    move |channel, s, shown| {
        if channel != which || s < from_s {
            return Some(shown);
        }
        Some(*held.get_or_insert(shown))
    }
}

#[test]
fn a_good_weld_raises_nothing_at_any_rate_and_resolution() {
    for (rate_hz, seeds) in [(5.0, 4), (10.0, 4), (50.0, 4), (500.0, 1)] {
        for seed in 0..seeds {
            for logger in [FULL, COARSE] {
                let logger = Logger { rate_hz, ..logger };
                let heard = logger.watch(seed, as_read);
                assert_eq!(raised(&heard), [], "{logger:?}, seed {seed}");
                assert_eq!(heard.bands.len(), 1);
            }
        }
    }
}

/// A steady arc whose voltage, rounded, stays on one value for seconds, and now and then leaves it.
#[test]
fn a_coarse_reading_that_rests_is_not_stuck() {
    for (step, rests_s) in [(0.5, 3.5), (0.5, 20.0), (1.0, 50.0), (1.0, 100.0)] {
        let volts = |channel, s: f64, shown| {
            let resting = channel == Channel::Voltage && (START_S..END_S).contains(&s);
            Some(if resting { 29.0 + if s % rests_s < 0.3 { step } else { 0.0 } } else { shown })
        };
        let heard = COARSE.watch(1, volts);
        assert_eq!(raised(&heard), [], "{step} V, rests for {rests_s} s");
    }
    for (step, rests_s) in [(1.0, 4.0), (5.0, 20.0), (10.0, 60.0)] {
        let amps = |channel, s: f64, shown| {
            let resting = channel == Channel::Current && (START_S..END_S).contains(&s);
            Some(if resting { 280.0 + if s % rests_s < 0.3 { step } else { 0.0 } } else { shown })
        };
        let heard = COARSE.watch(1, amps);
        assert_eq!(raised(&heard), [], "{step} A, rests for {rests_s} s");
    }
}

#[test]
fn a_frozen_electrical_channel_is_found_in_three_seconds() {
    for channel in [Channel::Current, Channel::Voltage] {
        for rate_hz in [20.0, 50.0, 500.0] {
            let heard = Logger { rate_hz, ..FULL }.watch(2, frozen(channel, 40.0));
            let found_s = heard.raised_s(Rule::SignalStuck).expect("it is frozen");
            assert!((43.0..43.5).contains(&found_s), "{channel:?} at {rate_hz} Hz: {found_s}");
        }
    }
}

/// Rounded so that it usually moves by a step or two, it is found after a minute.
#[test]
fn a_frozen_coarse_channel_is_found_in_a_minute_where_it_can_be() {
    let mut logger = FULL;
    logger.steps[Channel::Voltage as usize] = 0.5;
    let heard = logger.watch(3, frozen(Channel::Voltage, 40.0));
    let found_s = heard.raised_s(Rule::SignalStuck).expect("it is frozen");
    assert!((43.0..102.0).contains(&found_s), "{found_s}");
}

#[test]
fn a_frozen_slow_channel_is_found_within_the_band() {
    for (channel, within_s) in
        [(Channel::Gas, 22.0), (Channel::Wire, 22.0), (Channel::Coolant, 22.0), (Channel::Work, 62.0)]
    {
        let heard = FULL.watch(4, frozen(channel, 40.0));
        let alarms = heard.alarms(Rule::SignalStuck);
        let alarm = alarms.first().unwrap_or_else(|| panic!("{channel:?} is frozen"));
        assert_eq!(alarm.channel, Some(channel));
        let found_s = alarm.time_us as f64 / 1e6 - 40.0;
        assert!(found_s <= within_s, "{channel:?}: {found_s}");
        assert_eq!(raised(&heard).len(), 1, "{:?}", raised(&heard));
    }
}

/// Gas that reads the same before, under and after the arc, to the last bit of a fine meter; a coarse one
/// may do so where the valve is left open.
#[test]
fn gas_that_never_moves_is_stuck_where_the_meter_is_fine() {
    for (flow, is_stuck) in [(17.2371, true), (17.0, false), (16.5, false), (36.0 * 0.471_947_44, false)] {
        let heard =
            FULL.watch(5, |channel, _, shown| Some(if channel == Channel::Gas { flow } else { shown }));
        assert_eq!(heard.raised_s(Rule::SignalStuck).is_some(), is_stuck, "{flow} L/min");
    }
}

/// A gas meter that freezes under the arc shows no post-flow.
#[test]
fn a_frozen_gas_meter_is_no_post_flow() {
    let heard = FULL.watch(6, frozen(Channel::Gas, 60.0));
    assert_eq!(heard.bands[0].gas_postflow, None);
}

/// A frozen torch is a weave that stopped, as before; a carriage stands still all the time.
#[test]
fn a_frozen_torch_is_told_by_the_weave() {
    let heard = FULL.watch(7, frozen(Channel::Torch, 40.0));
    assert!(heard.raised_s(Rule::WeaveRateLow).is_some());
    assert_eq!(heard.raised_s(Rule::SignalStuck), None);
}

#[test]
fn a_wire_channel_that_reads_nothing_under_the_arc_is_told() {
    for (feed, is_told) in [(0.0, true), (60.0, true), (1500.0, false)] {
        let heard = FULL.watch(8, |channel, s, shown| {
            Some(if channel == Channel::Wire && s > 40.0 { feed + (s * 7.0).sin() } else { shown })
        });
        assert_eq!(heard.raised_s(Rule::SignalImplausible).is_some(), is_told, "{feed} mm/min");
        if is_told {
            assert_eq!(raised(&heard), [("signal-implausible", Some(Channel::Wire))], "{feed} mm/min");
        }
    }
}

/// The current reads nothing beside an arc's voltage, gas, feed and turning: it is told, and the band is
/// followed by its voltage.
#[test]
fn a_current_that_reads_nothing_beside_an_arc_is_told() {
    let heard = FULL
        .watch(9, |channel, _, shown| Some(if channel == Channel::Current { shown / 1000.0 } else { shown }));
    let told = heard.alarms(Rule::SignalImplausible);
    assert_eq!(told.first().map(|alarm| alarm.channel), Some(Some(Channel::Current)));
    let told_s = told[0].time_us as f64 / 1e6;
    assert!((START_S + 2.9..START_S + 3.6).contains(&told_s), "{told_s}");
    let [band] = heard.bands[..] else { panic!("{} bands", heard.bands.len()) };
    assert!((END_S - 0.2..END_S + 0.2).contains(&(band.end_us as f64 / 1e6)), "{}", band.end_us);
}

#[test]
fn a_voltage_that_reads_nothing_beside_a_live_current_is_told() {
    let heard = FULL.watch(10, |channel, s, shown| {
        Some(if channel == Channel::Voltage && s > 40.0 { shown / 1000.0 } else { shown })
    });
    let told = heard.alarms(Rule::SignalImplausible);
    assert_eq!(told.first().map(|alarm| alarm.channel), Some(Some(Channel::Voltage)));
    // Until then it is taken for what it is.
    assert!(heard.raised_s(Rule::TransferLowVoltage).is_some());
}

/// An open circuit with gas before the arc is no contradiction.
#[test]
fn an_open_circuit_in_the_pre_flow_is_no_contradiction() {
    let heard = FULL.watch(11, |channel, s, shown| {
        let open = channel == Channel::Voltage && (START_S - 3.0..START_S).contains(&s);
        Some(if open { 60.0 } else { shown })
    });
    assert_eq!(raised(&heard), []);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// One to `most` readings of any channel leap, anywhere under the arc: nothing is raised, and neither
    /// a mean nor an extreme of the record goes there.
    #[test]
    fn a_leap_breaks_nothing(
        seed in 0_u64..1000,
        at_s in 12.0_f64..110.0,
        count in 1_u64..=3,
        which in proptest::sample::select(vec![
            (Channel::Current, 2000.0), (Channel::Current, 1400.0), (Channel::Current, 0.0),
            (Channel::Voltage, 0.0), (Channel::Voltage, -40.0), (Channel::Voltage, 120.0),
            (Channel::Gas, 0.0), (Channel::Gas, 90.0), (Channel::Torch, 400.0), (Channel::Spindle, 111.0),
            (Channel::Wire, 30_000.0), (Channel::Coolant, 0.0), (Channel::Work, 900.0),
            (Channel::Carriage, 5000.0),
        ]),
        rate in proptest::sample::select(vec![10.0, 50.0]),
    ) {
        let (channel, spike) = which;
        // At ten a second two fit into the time that a reading is held back.
        let count = if rate < 20.0 { count.min(1) } else { count };
        let first = (at_s * rate) as u64;
        let heard = Logger { rate_hz: rate, ..FULL }.watch(seed, |each, s, shown| {
            let index = (s * rate).round() as u64;
            let hit = each == channel && (first..first + count).contains(&index);
            let spike = if channel == Channel::Spindle { (shown + spike) % 360.0 } else { spike };
            Some(if hit { spike } else { shown })
        });
        prop_assert_eq!(raised(&heard), vec![], "{:?} {} Hz", which, rate);
        prop_assert_eq!(heard.bands.len(), 1);
        let band = &heard.bands[0];
        prop_assert_eq!(band.outages, 0);
        let (amps, volts, gas) = (band.current.unwrap(), band.voltage.unwrap(), band.gas.unwrap());
        prop_assert!(amps.maximum.to_milli() < 310_000 && amps.minimum.to_milli() > 250_000, "{:?}", amps);
        prop_assert!(volts.maximum.to_milli() < 32_000 && volts.minimum.to_milli() > 26_000, "{:?}", volts);
        prop_assert!(gas.maximum.to_milli() < 19_000 && gas.minimum.to_milli() > 15_000, "{:?}", gas);
        prop_assert!(band.coolant_minimum.unwrap().to_milli() > 5_000);
        prop_assert!((6_900_000..7_100_000).contains(&band.wire_feed.unwrap().to_milli()));
        let width = band.weave_width.map(bandward::units::Length::to_milli);
        prop_assert!(width.is_none_or(|width| (24_000..26_000).contains(&width)), "{:?}", width);
    }

    /// A step that stays is no leap: whatever is lost for good is found.
    #[test]
    fn a_step_that_stays_is_taken(seed in 0_u64..1000, at_s in 15.0_f64..80.0) {
        for (channel, to, rule) in [
            (Channel::Gas, 3.0, Rule::GasLow),
            (Channel::Coolant, 0.5, Rule::CoolantLow),
            (Channel::Current, 420.0, Rule::CurrentHigh),
            (Channel::Current, 1000.0, Rule::CurrentHigh),
            (Channel::Voltage, 12.0, Rule::TransferLowVoltage),
            (Channel::Voltage, -29.0, Rule::PolarityWrong),
        ] {
            let heard = FULL.watch(seed, |each, s, shown| {
                let lost = each == channel && (at_s..END_S).contains(&s);
                Some(if lost { to * (1.0 + 0.001 * (s * 9.0).sin()) } else { shown })
            });
            let found_s = heard.raised_s(rule).unwrap_or(f64::INFINITY) - at_s;
            prop_assert!(found_s < 2.2, "{:?} {}: {} s", channel, rule.name(), found_s);
        }
    }
}
