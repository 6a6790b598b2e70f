//! A reading that hangs while the arc burns proves nothing, whatever it read before the strike and reads after the end.
//!
//! Expected is what is promised: a limit that was judged by a meter that stood still, though its digits show that it moves,
//! is not held. Digits and noise are invented: a flow of 17.3 +- 0.18 L/min in 0.01, nothing at all with the valve shut; a
//! current of 320 +- 6 A in 0.1.
#![cfg(feature = "gas")]
#![allow(clippy::arithmetic_side_effects, clippy::indexing_slicing, clippy::unwrap_used)]

use bandward::procedure::{Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, Duration, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, Monitor, Outcome, Procedure, Quantity, Rule, Sample, Sink,
    SoundProcedure,
};

const STRIKE_MS: u64 = 6_000;
const END_MS: u64 = 92_300;

#[derive(Clone, Copy, Debug)]
struct Frozen {
    channel: Channel,
    from_ms: u64,
    to_ms: u64,
}

#[derive(Default)]
struct Bands(Vec<BandRecord>);

impl Sink for Bands {
    fn event(&mut self, _: &Event) {}
    fn band(&mut self, record: &BandRecord) {
        self.0.push(*record);
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
    let seconds = |seconds: u64| Duration::from_micros(seconds * 1_000_000).to_bits();
    let procedure = Procedure::new()
        .with_limits(Quantity::Current, limits(amps(280_000), amps(360_000)))
        .and_then(|it| it.with_limits(Quantity::Voltage, limits(volts(29_000), volts(33_000))))
        .and_then(|it| it.with_limits(Quantity::GasFlow, limits(flow(14_000), flow(20_000))))
        .and_then(|it| it.with_limits(Quantity::GasPreflow, limits(seconds(1), seconds(60))))
        .and_then(|it| it.with_limits(Quantity::GasPostflow, limits(seconds(3), seconds(60))))
        .unwrap();
    let wired = ChannelSet::ELECTRICAL.with(Channel::Gas);
    Monitor::new(&SoundProcedure::try_from(procedure).unwrap(), Acquisition::every(period_us, wired))
}

/// What is read: digits of the gas in thousandths, one sample every so many ms for which nothing burns, what is frozen.
#[derive(Clone, Copy)]
struct Read<'a> {
    period_us: u32,
    digit: i64,
    dips_ms: u64,
    frozen: &'a [Frozen],
    /// No gas reading in these.
    holes_ms: &'a [Range64],
    /// Only an arc makes the gas meter move.
    is_quiet: bool,
    /// The current is read through a time constant of so long.
    lag_us: u32,
}

impl Read<'_> {
    /// So often, with a gas in hundredths.
    const fn every(period_us: u32) -> Self {
        Self { period_us, digit: 10, dips_ms: 0, frozen: &[], holes_ms: &[], is_quiet: false, lag_us: 0 }
    }
}

/// From and to.
type Range64 = (u64, u64);

fn is_in(ms: u64, ranges: &[Range64]) -> bool {
    ranges.iter().any(|&(from, to)| (from..to).contains(&ms))
}

/// The bands of arcs and a flow at these times.
fn bands(read: Read<'_>, arcs: &[Range64], flows: &[Range64]) -> Vec<BandRecord> {
    let Read { period_us, digit, dips_ms, frozen, holes_ms, is_quiet, lag_us } = read;
    let mut lagging = 0;
    let mut monitor = monitor(period_us);
    let (mut bands, mut noise) = (Bands::default(), Noise(u64::from(period_us)));
    let mut held = [None; 2];
    let over_ms = arcs.last().unwrap().1 + 15_700;
    for time_us in (0..over_ms * 1_000).step_by(usize::try_from(period_us).unwrap()) {
        let ms = time_us / 1_000;
        let is_out = dips_ms > 0 && ms > STRIKE_MS && time_us % (dips_ms * 1_000) == 0;
        let burns = is_in(ms, arcs) && !is_out;
        let mut amps = if burns { 320_000 + noise.within(6_000, 100) } else { noise.within(100, 100) };
        let volts = if burns { 31_400 + noise.within(500, 10) } else { noise.within(10, 10) };
        let stir = if is_quiet && !burns { 0 } else { noise.within(180, digit) };
        let mut gas = if is_in(ms, flows) { 17_300 + stir } else { 0 };
        lagging += (amps - lagging) * i64::from(period_us) / i64::from(lag_us + period_us);
        amps = lagging;
        for (place, reading) in [(Channel::Gas, &mut gas), (Channel::Current, &mut amps)] {
            let hangs = frozen.iter().any(|it| it.channel == place && (it.from_ms..it.to_ms).contains(&ms));
            let held = &mut held[usize::from(place == Channel::Current)];
            *held = hangs.then(|| held.unwrap_or(*reading));
            *reading = held.unwrap_or(*reading);
        }
        let mut sample =
            Sample::at(time_us).current(Current::from_milli(amps)).voltage(Voltage::from_milli(volts));
        if !is_in(ms, holes_ms) {
            sample = sample.gas(FlowRate::from_milli(gas));
        }
        monitor.step(&sample, &mut bands);
    }
    monitor.finish(&mut bands);
    bands.0
}

fn outcomes<const N: usize>(band: &BandRecord, rules: [Rule; N]) -> [Outcome; N] {
    rules.map(|rule| band.proof.get(rule).outcome())
}

/// What became of the lower limits of current and gas in a band of 86 s, out for one sample every so often.
fn watched(period_us: u32, frozen: Option<Frozen>, dips_ms: u64) -> [Outcome; 2] {
    let frozen: Vec<Frozen> = frozen.into_iter().collect();
    watched_by(Read { dips_ms, frozen: &frozen, ..Read::every(period_us) })
}

fn watched_by(read: Read<'_>) -> [Outcome; 2] {
    let bands = bands(read, &[(STRIKE_MS, END_MS)], &[(STRIKE_MS - 1_800, END_MS + 7_000)]);
    outcomes(bands.last().unwrap(), [Rule::CurrentLow, Rule::GasLow])
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
    let read =
        |period_us, frozen: &[Frozen]| watched_by(Read { digit: 100, frozen, ..Read::every(period_us) });
    for period_us in [20_000, 10_000] {
        assert_eq!(read(period_us, &[]), [Outcome::Proven; 2], "{period_us} us");
        for (after_ms, past_ms) in [(25_000, 3_000), (45_000, 4_000), (45_000, 6_500), (55_000, 2_000)] {
            let (from_ms, to_ms) = (STRIKE_MS + after_ms, END_MS + past_ms);
            let frozen = Frozen { channel: Channel::Gas, from_ms, to_ms };
            let [_, gas] = read(period_us, &[frozen]);
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

/// However often it moves between, and whatever was not read meanwhile.
#[test]
fn a_reading_that_hangs_for_a_moment_again_and_again_is_not_proven() {
    for (period_us, channel) in
        [Channel::Gas, Channel::Current].into_iter().flat_map(|it| [(20_000, it), (1_000, it)])
    {
        for (length_ms, times, proves) in
            [(900, 8, true), (1_400, 8, true), (2_000, 1, false), (2_200, 5, false), (2_800, 5, false)]
        {
            let hangs = |time: u64| {
                let from_ms = STRIKE_MS + 12_000 + time * 8_000;
                Frozen { channel, from_ms, to_ms: from_ms + length_ms }
            };
            let frozen: Vec<Frozen> = (0..times).map(hangs).collect();
            let read = Read { frozen: &frozen, ..Read::every(period_us) };
            let found = watched_by(read)[usize::from(channel == Channel::Gas)];
            assert_eq!(
                found == Outcome::Proven,
                proves,
                "{channel:?} {period_us} us: {times} times {length_ms} ms"
            );
        }
    }
    for hole_ms in [120, 300, 450] {
        let from_ms = STRIKE_MS + 20_000;
        let frozen = [Frozen { channel: Channel::Gas, from_ms, to_ms: from_ms + 9_000 }];
        let holes_ms = [2_500, 5_000].map(|after_ms| (from_ms + after_ms, from_ms + after_ms + hole_ms));
        let read = Read { frozen: &frozen, holes_ms: &holes_ms, ..Read::every(20_000) };
        assert_ne!(watched_by(read)[1], Outcome::Proven, "holes of {hole_ms} ms");
    }
}

/// Whoever hears of a flow by a meter that hangs hears of none: neither before the arc nor after it.
#[test]
fn gas_that_hangs_before_or_after_the_arc_has_no_time_that_counts() {
    const TIMES: [Rule; 2] = [Rule::GasPreflow, Rule::GasPostflow];
    let arcs = [(6_000, 70_000), (90_000, 150_000)];
    // Before: 2 s, after: 6 s, by the valve; of the second band there is none before.
    let flows = [(4_000, 76_000), (89_950, 156_000)];
    for period_us in [20_000, 1_000] {
        let read = |frozen: &[Frozen], flows: &[Range64]| {
            let bands = bands(Read { frozen, ..Read::every(period_us) }, &arcs, flows);
            [0, 1].map(|band| outcomes(&bands[band], TIMES))
        };
        let gas = |from_ms, to_ms| [Frozen { channel: Channel::Gas, from_ms, to_ms }];
        assert_eq!(read(&[], &flows), [[Outcome::Proven; 2], [Outcome::Broken, Outcome::Proven]]);
        assert_eq!(read(&[], &[(4_000, 76_000), (88_000, 156_000)]), [[Outcome::Proven; 2]; 2]);
        for until_ms in [90_200, 93_000] {
            let [_, [before, _]] = read(&gas(74_000, until_ms), &flows);
            assert_eq!(before, Outcome::NotProven, "{period_us} us, {until_ms}");
        }
        for (since_ms, until_ms) in [(69_500, 74_000), (67_000, 76_500), (70_050, 73_500)] {
            let [[_, after], _] = read(&gas(since_ms, until_ms), &[(4_000, 70_100), (88_000, 156_000)]);
            assert_eq!(after, Outcome::NotProven, "{period_us} us, {since_ms} to {until_ms}");
        }
        // From the first sample on, into the first arc.
        let [[before, _], _] = read(&gas(0, 6_800), &[(0, 50), (5_950, 76_000), (88_000, 156_000)]);
        assert_eq!(before, Outcome::NotProven, "{period_us} us");
        // It hangs when enough was seen to flow.
        let [[_, after], _] = read(&gas(73_500, 78_000), &flows);
        assert_eq!(after, Outcome::Proven, "{period_us} us");
    }
}

/// It moves under the arc alone: what stands before and after it is what flows.
#[test]
fn gas_whose_meter_is_quiet_without_an_arc_is_proven() {
    for period_us in [20_000, 1_000] {
        let arcs = [(6_000, 70_000), (90_000, 150_000)];
        let read = Read { is_quiet: true, ..Read::every(period_us) };
        for band in bands(read, &arcs, &[(4_000, 76_000), (80_000, 156_000)]) {
            let found = outcomes(&band, [Rule::GasLow, Rule::GasPreflow, Rule::GasPostflow]);
            assert_eq!(found, [Outcome::Proven; 3], "{period_us} us, band {}", band.band);
        }
    }
}

/// At the end of the arc the volts are gone before the amps, which go down by and by: no meter is dead.
#[test]
fn volts_beside_a_damped_current_are_proven() {
    for (period_us, lag_us) in [(20_000, 150_000), (10_000, 150_000)] {
        let read = Read { lag_us, ..Read::every(period_us) };
        let found = bands(read, &[(6_000, 70_000), (90_000, 150_000)], &[(4_000, 76_000), (88_000, 156_000)]);
        for band in found {
            let found = outcomes(&band, [Rule::CurrentLow, Rule::VoltageLow]);
            assert_eq!(found, [Outcome::Proven; 2], "{period_us} us, {lag_us} us, band {}", band.band);
        }
    }
}
