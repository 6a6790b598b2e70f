//! A reading that hangs while the arc burns proves nothing, whatever it read before the strike and reads after the end.
//!
//! Expected is what is promised: a limit that was judged by a meter that stood still, though its digits show that it moves,
//! is not held. Digits and noise are invented: a flow of 17.3 +- 0.18 L/min in 0.01, nothing at all with the valve shut; a
//! current of 320 +- 6 A in 0.1.
#![cfg(feature = "gas")]
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used)]

use bandward::procedure::{Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, Monitor, Outcome, Procedure, Quantity, Rule, Sample, Sink,
    SoundProcedure,
};

const STRIKE_MS: u64 = 6_000;
const END_MS: u64 = 92_300;
const OVER_MS: u64 = 108_000;

#[derive(Clone, Copy, Debug)]
struct Frozen {
    channel: Channel,
    from_ms: u64,
    to_ms: u64,
}

#[derive(Default)]
struct Band(Option<BandRecord>);

impl Sink for Band {
    fn event(&mut self, _: &Event) {}
    fn band(&mut self, record: &BandRecord) {
        self.0 = Some(*record);
    }
}

/// Readings that are never the same for long (a linear congruential generator; constants of Knuth, MMIX, from memory).
struct Noise(u64);

impl Noise {
    /// Within so many thousandths to either side, in whole digits.
    fn within(&mut self, milli: i64, digit: i64) -> i64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let draw = i64::try_from(self.0 >> 33).unwrap();
        (draw % (2 * milli + 1) - milli) / digit * digit
    }
}

fn monitor(period_us: u32) -> Monitor {
    let limits = |low, high| Limits { recommended: None, allowed: Some(Range { low, high }), floor: None };
    let amps = |milli| Current::from_milli(milli).to_bits();
    let volts = |milli| Voltage::from_milli(milli).to_bits();
    let flow = |milli| FlowRate::from_milli(milli).to_bits();
    let procedure = Procedure::new()
        .with_limits(Quantity::Current, limits(amps(280_000), amps(360_000)))
        .and_then(|it| it.with_limits(Quantity::Voltage, limits(volts(29_000), volts(33_000))))
        .and_then(|it| it.with_limits(Quantity::GasFlow, limits(flow(14_000), flow(20_000))))
        .unwrap();
    let wired = ChannelSet::ELECTRICAL.with(Channel::Gas);
    Monitor::new(&SoundProcedure::try_from(procedure).unwrap(), Acquisition::every(period_us, wired))
}

/// What became of the lower limits of current and gas in a band of 86 s, out for one sample every so often.
fn watched(period_us: u32, frozen: Option<Frozen>, dips_ms: u64) -> [Outcome; 2] {
    watched_by(10, period_us, frozen, dips_ms)
}

/// The same with such a digit of the gas, thousandths.
fn watched_by(digit: i64, period_us: u32, frozen: Option<Frozen>, dips_ms: u64) -> [Outcome; 2] {
    let mut monitor = monitor(period_us);
    let (mut band, mut noise) = (Band::default(), Noise(u64::from(period_us)));
    let mut held = None;
    for time_us in (0..OVER_MS * 1_000).step_by(usize::try_from(period_us).unwrap()) {
        let ms = time_us / 1_000;
        let is_out = dips_ms > 0 && ms > STRIKE_MS && time_us % (dips_ms * 1_000) == 0;
        let burns = (STRIKE_MS..END_MS).contains(&ms) && !is_out;
        let flows = (STRIKE_MS - 1_800..END_MS + 7_000).contains(&ms);
        let mut amps = if burns { 320_000 + noise.within(6_000, 100) } else { noise.within(100, 100) };
        let volts = if burns { 31_400 + noise.within(500, 10) } else { noise.within(10, 10) };
        let mut gas = if flows { 17_300 + noise.within(180, digit) } else { 0 };
        if let Some(frozen) = frozen.filter(|it| (it.from_ms..it.to_ms).contains(&ms)) {
            match frozen.channel {
                Channel::Gas => gas = *held.get_or_insert(gas),
                _ => amps = *held.get_or_insert(amps),
            }
        }
        let sample = Sample::at(time_us)
            .current(Current::from_milli(amps))
            .voltage(Voltage::from_milli(volts))
            .gas(FlowRate::from_milli(gas));
        monitor.step(&sample, &mut band);
    }
    monitor.finish(&mut band);
    let proof = band.0.unwrap().proof;
    [Rule::CurrentLow, Rule::GasLow].map(|rule| proof.get(rule).outcome())
}

#[test]
fn a_meter_that_lives_proves() {
    for (period_us, dips_ms) in [(20_000, 0), (1_000, 0), (20_000, 100), (20_000, 3_000)] {
        assert_eq!(watched(period_us, None, dips_ms), [Outcome::Proven; 2], "{period_us} us, {dips_ms} ms");
    }
}

/// Its zero before and after is no digit of it; where the end of the arc goes by unseen, it hung under the arc.
#[test]
fn gas_that_hangs_under_the_arc_is_not_proven() {
    for period_us in [20_000, 1_000] {
        for after_ms in [0, 200, 500, 1_200, 2_000, 3_000, 43_000] {
            for to_ms in [-1_000, 0, 1_000, 2_900, 3_000, 3_100, 4_000, 6_900, 15_700] {
                let to_ms = END_MS.saturating_add_signed(to_ms);
                let frozen = Frozen { channel: Channel::Gas, from_ms: STRIKE_MS + after_ms, to_ms };
                let [_, gas] = watched(period_us, Some(frozen), 0);
                assert_ne!(gas, Outcome::Proven, "{period_us} us, {frozen:?}");
            }
        }
    }
}

/// It shows three digits, and comes to life when the band is over and its stand was counted.
#[test]
fn gas_of_few_digits_that_hangs_past_the_end_is_not_proven() {
    for period_us in [20_000, 10_000] {
        assert_eq!(watched_by(100, period_us, None, 0), [Outcome::Proven; 2], "{period_us} us");
        for (after_ms, past_ms) in [(25_000, 3_000), (45_000, 4_000), (45_000, 6_500), (55_000, 2_000)] {
            let (from_ms, to_ms) = (STRIKE_MS + after_ms, END_MS + past_ms);
            let frozen = Frozen { channel: Channel::Gas, from_ms, to_ms };
            let [_, gas] = watched_by(100, period_us, Some(frozen), 0);
            assert_ne!(gas, Outcome::Proven, "{period_us} us, {frozen:?}");
        }
    }
}

/// It moves again in the very moment of a dip, or not.
#[test]
fn gas_that_hangs_through_dips_is_not_proven() {
    for (dips_ms, length_ms) in [(100, 40_000), (100, 80_000), (500, 80_000), (500, 10_010), (100, 5_000)] {
        for after_ms in [300, 320, 3_000] {
            let from_ms = STRIKE_MS + after_ms;
            let frozen = Frozen { channel: Channel::Gas, from_ms, to_ms: from_ms + length_ms };
            let [_, gas] = watched(20_000, Some(frozen), dips_ms);
            assert_ne!(gas, Outcome::Proven, "{dips_ms} ms, {frozen:?}");
        }
    }
}

/// Few readings before it hung show fine digits as well as many.
#[test]
fn a_current_that_hangs_is_not_proven() {
    for period_us in [2_000, 1_000] {
        for after_ms in [0, 100, 500, 1_000, 1_100, 5_000] {
            for to_ms in [END_MS, END_MS + 300, END_MS + 2_000] {
                let frozen = Frozen { channel: Channel::Current, from_ms: STRIKE_MS + after_ms, to_ms };
                let [current, _] = watched(period_us, Some(frozen), 0);
                assert_ne!(current, Outcome::Proven, "{period_us} us, {frozen:?}");
            }
        }
    }
}
