//! The metal transfer: voltage under its floor, and short circuits counted.

use bandward::procedure::{Limits, Range};
use bandward::{Channel, NotJudged, Procedure, Quantity, Rule, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, arc, raw, watch};

const WIRED: [Channel; 2] = [Channel::Current, Channel::Voltage];

/// Voltage: allowed 30 to 34 V, floor 29 V (common practice, no source: below it the transfer
/// changes). Short circuits: at most 5 a second.
fn procedure() -> Procedure {
    let volts = |volts| raw(volts, 12);
    let voltage = Limits {
        recommended: None,
        allowed: Some(Range { low: volts(30.0), high: volts(34.0) }),
        floor: Some(volts(29.0)),
    };
    let circuits =
        Limits { recommended: None, allowed: Some(Range { low: i32::MIN, high: 5 << 12 }), floor: None };
    Procedure::new()
        .with_limits(Quantity::Voltage, voltage)
        .and_then(|procedure| procedure.with_limits(Quantity::ShortCircuitRate, circuits))
        .unwrap()
}

/// An arc of 30 s at 32 V, and what `volts` makes of it; then 4 s without.
fn burn(period_us: u32, seed: u64, volts: impl Fn(f64) -> Option<f64>) -> Heard {
    let mut noise = Noise::new(seed, 0);
    let samples = (0..34_000_000 / u64::from(period_us)).map(|index| {
        let sample = Sample::at(index * u64::from(period_us));
        let time_s = sample.time_us as f64 / 1e6;
        if time_s >= 30.0 {
            return arc(sample, 0.0, 0.0);
        }
        arc(sample, 250.0, volts(time_s).unwrap_or(32.0) + 0.3 * noise.normal())
    });
    watch(procedure(), acquisition(period_us, &WIRED), samples.collect::<Vec<_>>()).0
}

/// From 10 s on 27 V: raised no later than 0.2 s after the on-delay of 0.5 s, and not before it.
#[test]
fn a_voltage_under_the_floor_is_told_in_time() {
    for period_us in [20, 100, 1000, 10_000, 20_000, 50_000, 100_000] {
        for phase_s in [0.0, 0.003, 0.0117, 0.0666] {
            if period_us == 20 && phase_s > 0.0 {
                continue;
            }
            let start_s = 10.0 + phase_s;
            let heard = burn(period_us, 1, |s| (s >= start_s).then_some(27.0));
            let after_s = heard.raised_s(Rule::TransferLowVoltage).expect("raised") - start_s;
            assert!((0.5..=0.7).contains(&after_s), "{period_us} us, {phase_s}: {after_s} s");
            assert_eq!(heard.raised_s(Rule::VoltageLow), None, "one thing has one name");
        }
    }
}

/// At slow rates it takes the on-delay to the next sample: the second bad one at 0.2 Hz.
#[test]
fn at_a_fifth_of_a_hertz_the_second_bad_sample_tells() {
    let level = |from_s: f64, bad: f64| move |s: f64| (s >= from_s).then_some(bad);
    for (bad, rule) in [(27.0, Rule::TransferLowVoltage), (29.5, Rule::VoltageLow), (36.0, Rule::VoltageHigh)]
    {
        let samples = (0..40).map(|index| {
            let sample = Sample::at(index * 5_000_000);
            let volts = level(100.0, bad)(sample.time_us as f64 / 1e6).unwrap_or(32.0);
            arc(sample, 250.0, volts)
        });
        let (heard, _) = watch(procedure(), acquisition(5_000_000, &WIRED), samples);
        assert_eq!(heard.raised_s(rule), Some(105.0), "{}", rule.name());
    }
}

/// A dip of 50 ms to 15 V, now and then.
#[test]
fn a_dip_of_50_ms_is_no_change_of_transfer() {
    for period_us in [100, 1000, 10_000, 20_000] {
        let heard = burn(period_us, 2, |s| (s > 5.0 && (s % 1.7) < 0.05).then_some(15.0));
        assert_eq!(heard.raised_s(Rule::TransferLowVoltage), None, "{period_us} us");
    }
}

/// Short circuits to 10 V of 1 to 5 ms at uneven times, counted from when the arc has settled to its
/// end: the record tells how many a second, to the very one.
#[test]
fn every_short_circuit_is_counted_once() {
    for period_us in [20, 50, 100, 250, 500] {
        for length_s in [0.001, 0.0023, 0.005] {
            for seed in 0..if period_us < 100 { 1 } else { 2 } {
                let mut noise = Noise::new(seed, 9);
                let mut starts = Vec::new();
                // Settled after 1 s; the rest of that tick is not counted yet.
                let mut at_s = 1.02;
                while at_s < 29.9 {
                    starts.push(at_s);
                    at_s += length_s + noise.uniform(0.004, 0.2);
                }
                let heard = burn(period_us, seed, |s| {
                    let index = starts.partition_point(|&start| start <= s);
                    (index > 0 && s < starts[index - 1] + length_s).then_some(10.0)
                });
                let rate = f64::from(heard.bands[0].short_circuits.unwrap().to_bits()) / 4096.0;
                let counted = rate * (heard.bands[0].arc_time_us as f64 / 1e6 - 1.0);
                let told = format!("{period_us} us, {length_s} s, seed {seed}: {counted}");
                assert!((counted - starts.len() as f64).abs() < 0.5, "{told}, {} made", starts.len());
                assert!(heard.raised_s(Rule::TransferShortCircuits).is_some(), "{told}");
            }
        }
    }
}

#[test]
fn a_quiet_arc_has_none() {
    let heard = burn(500, 3, |_| None);
    assert_eq!(heard.bands[0].short_circuits.unwrap().to_bits(), 0);
    assert_eq!(heard.raised_s(Rule::TransferShortCircuits), None);
}

/// Where a dip can fall between two samples, nothing is counted and it is said why.
#[test]
fn at_lower_rates_it_is_said_why_they_are_not_counted() {
    for (period_us, judged) in [(500, true), (510, false), (1000, false), (20_000, false)] {
        let samples = (0..10_000_000 / u64::from(period_us))
            .map(|index| arc(Sample::at(index * u64::from(period_us)), 250.0, 32.0));
        let (heard, monitor) = watch(procedure(), acquisition(period_us, &WIRED), samples);
        let reason = (!judged).then_some(NotJudged::RateTooLow { needed_mhz: 2_000_000 });
        assert_eq!(monitor.not_judged(Rule::TransferShortCircuits), reason, "{period_us} us");
        assert_eq!(heard.bands[0].short_circuits.is_some(), judged, "{period_us} us");
    }
}
