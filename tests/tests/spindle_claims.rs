//! Turn time, slip and stall from an encoder read 50 times a second.

use bandward::procedure::{Limits, Range};
use bandward::units::Angle;
use bandward::{BandRecord, Channel, Procedure, Quantity, Rule, Sample};
use bandward_sim::process::random::Noise;
use bandward_tests::heard::{Heard, acquisition, arc, watch};

/// How the encoder is read.
#[derive(Clone, Copy, Debug)]
struct Encoder {
    /// 1 or -1.
    direction: f64,
    /// Steps a turn.
    steps: f64,
    /// Deviation of the angle, degrees.
    jitter_deg: f64,
    /// Readings come early or late by up to this share of the spacing.
    time_jitter: f64,
    /// One reading in so many is missing.
    missing: Option<u64>,
}

impl Encoder {
    fn angle(&self, turns: f64, noise: &mut Noise) -> Angle {
        let degrees = self.direction * turns * 360.0 + noise.normal() * self.jitter_deg;
        let stepped = (degrees / 360.0 * self.steps).floor() / self.steps * 360.0;
        Angle::from_microdegrees((stepped * 1e6).round() as i64)
    }
    /// An arc of `arc_s` over a spindle that has turned `turns` at a time.
    fn watch(&self, procedure: Procedure, arc_s: f64, seed: u64, turns: impl Fn(f64) -> f64) -> Heard {
        let mut noise = Noise::new(seed, 0);
        let samples = (0..(arc_s * 50.0) as u64 + 500).map(|index| {
            let time_s = (index as f64 + noise.uniform(-self.time_jitter, self.time_jitter)).max(0.0) / 50.0;
            let sample = Sample::at((time_s * 1e6) as u64);
            let burns = (5.0..5.0 + arc_s).contains(&time_s);
            let sample = if burns { arc(sample, 250.0, 28.0) } else { arc(sample, 0.0, 0.0) };
            let is_missing = self.missing.is_some_and(|one_in| index % one_in == 0);
            if is_missing { sample } else { sample.spindle(self.angle(turns(time_s), &mut noise)) }
        });
        let wired = acquisition(20_000, &[Channel::Current, Channel::Voltage, Channel::Spindle]);
        watch(procedure, wired, samples.collect::<Vec<_>>()).0
    }
}

const GOOD: Encoder =
    Encoder { direction: 1.0, steps: 4096.0, jitter_deg: 0.05, time_jitter: 0.2, missing: Some(17) };

fn turn_time_s(band: &BandRecord) -> f64 {
    f64::from(band.turn_time.expect("it turns").to_bits()) / 4096.0
}

#[test]
fn the_time_of_a_turn_is_right_within_a_fifth_of_a_percent() {
    for turn_s in [40.0, 75.3, 120.0, 200.0] {
        for direction in [1.0, -1.0] {
            for (seed, start_turns) in [(1, 0.0), (2, 0.4), (3, 0.999)] {
                let encoder = Encoder { direction, ..GOOD };
                let heard =
                    encoder.watch(Procedure::new(), turn_s * 1.04, seed, |s| start_turns + s / turn_s);
                let band = &heard.bands[0];
                let got_s = turn_time_s(band);
                let told = format!("{encoder:?} {turn_s} s, seed {seed}: {got_s} s");
                assert!((got_s / turn_s - 1.0).abs() < 0.002, "{told}");
                let turned = f64::from(band.turned.unwrap().to_bits()) / 4096.0;
                assert!((turned - 1.04 * 360.0).abs() < 0.8, "{told}, {turned} degrees");
                let overlap = f64::from(band.overlap.unwrap().to_bits()) / 4096.0;
                assert!((overlap - 0.04 * 360.0).abs() < 0.8, "{told}, {overlap} degrees over");
                assert_eq!(heard.alarms(Rule::SpindleSlip), [], "{told}");
                assert_eq!(heard.alarms(Rule::SpindleStall), [], "{told}");
            }
        }
    }
}

/// The judged turn time, over the last seconds, is right too: one percent beyond either end of the range
/// is told, one percent inside is not.
#[test]
fn a_turn_time_beside_its_range_is_told() {
    let limits =
        Limits { recommended: None, allowed: Some(Range { low: 110 << 12, high: 130 << 12 }), floor: None };
    let procedure = Procedure::new().with_limits(Quantity::TurnTime, limits).unwrap();
    for (turn_s, fast, slow) in
        [(108.5, true, false), (111.5, false, false), (128.3, false, false), (131.8, false, true)]
    {
        let heard = Encoder { direction: -1.0, ..GOOD }.watch(procedure.clone(), 60.0, 4, |s| s / turn_s);
        assert_eq!(heard.raised_s(Rule::TurnTimeFast).is_some(), fast, "{turn_s}");
        assert_eq!(heard.raised_s(Rule::TurnTimeSlow).is_some(), slow, "{turn_s}");
    }
}

/// The pipe slips (turns at a third of its speed, or at twice) or stands from 40 s on, for 4 s.
#[test]
fn slip_and_stall_are_found_within_two_seconds() {
    for turn_s in [40.0, 120.0, 200.0] {
        for direction in [1.0, -1.0] {
            for (speed, rule, other) in [
                (0.0, Rule::SpindleStall, Rule::SpindleSlip),
                (0.33, Rule::SpindleSlip, Rule::SpindleStall),
                (2.0, Rule::SpindleSlip, Rule::SpindleStall),
            ] {
                for seed in 0..4 {
                    let turns = |s: f64| (s + (speed - 1.0) * (s - 40.0).clamp(0.0, 4.0)) / turn_s;
                    let heard = Encoder { direction, ..GOOD }.watch(Procedure::new(), 60.0, seed, turns);
                    let told = format!("{turn_s} s a turn, speed {speed}, way {direction}, seed {seed}");
                    let raised_s = heard.raised_s(rule).unwrap_or_else(|| panic!("not found: {told}"));
                    assert!((40.0..=42.0).contains(&raised_s), "{raised_s} s: {told}");
                    assert_eq!(heard.raised_s(other), None, "{told}");
                }
            }
        }
    }
}

/// A pipe that stands for too short a time to be a stall slips: the worse fault is not passed over.
#[test]
fn a_short_stand_is_told_as_slip() {
    let mut missed = Vec::new();
    for turn_s in [40.0, 84.0, 120.0] {
        for stands_s in [0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5] {
            for (share, seed) in [(0.0, 0), (0.05, 1), (0.1, 2), (0.0, 3)] {
                let turns = |s: f64| (s + (share - 1.0) * (s - 40.0).clamp(0.0, stands_s)) / turn_s;
                let heard = GOOD.watch(Procedure::new(), 60.0, seed, turns);
                let raised_s = [Rule::SpindleSlip, Rule::SpindleStall].map(|rule| heard.raised_s(rule));
                if !raised_s.into_iter().flatten().any(|at_s| (40.0..=42.5).contains(&at_s)) {
                    missed.push(format!(
                        "{share} of {turn_s} s a turn for {stands_s} s, seed {seed}: {raised_s:?}"
                    ));
                }
            }
        }
    }
    assert!(missed.is_empty(), "{missed:#?}");
}

/// A reading that wraps at 360 and one that runs on are the same angle.
#[test]
fn wrapping_and_running_on_are_the_same() {
    for degrees in [0.25, 181.0, 359.99, -0.01, -540.5] {
        for turns in [-3_i64, -1, 1, 40] {
            let micro = (degrees * 1e6) as i64;
            let on = Angle::from_microdegrees(micro + turns * 360_000_000);
            assert_eq!(on, Angle::from_microdegrees(micro));
        }
    }
}

/// A band of 1.04 turns at so many readings a second, through an encoder of so many counts a turn.
fn coarse(rate_hz: f64, counts: f64, turn_s: f64, direction: f64, late_s: f64) -> Heard {
    let mut noise = Noise::new(1, 0);
    let encoder = Encoder { direction, steps: counts, jitter_deg: 0.0, time_jitter: 0.0, missing: None };
    let (strike_s, arc_s) = (8.03, late_s + turn_s * 1.04);
    let samples = (0..((strike_s + arc_s + 5.0) * rate_hz) as u64).map(|index| {
        let time_s = index as f64 / rate_hz;
        let burns = (strike_s..strike_s + arc_s).contains(&time_s);
        let sample = Sample::at((time_s * 1e6) as u64);
        let sample = if burns { arc(sample, 250.0, 28.0) } else { arc(sample, 0.0, 0.0) };
        // Turned back, four times as fast, until just before the strike.
        let turns = (time_s - strike_s - late_s).max(0.0) - 4.0 * time_s.min(strike_s - 0.2);
        sample.spindle(encoder.angle(turns / turn_s, &mut noise))
    });
    let period_us = (1e6 / rate_hz) as u32;
    let wired = acquisition(period_us, &[Channel::Current, Channel::Voltage, Channel::Spindle]);
    watch(Procedure::new(), wired, samples.collect::<Vec<_>>()).0
}

/// From one count a turn on, at any rate: no alarm; what is given is right.
#[test]
fn a_coarse_encoder_raises_nothing_and_gives_only_what_it_can_tell() {
    let (mut times, mut overlaps) = (0, 0);
    for turn_s in [20.0, 61.0, 120.0, 300.0] {
        for (rate_hz, counts) in [0.5, 2.0, 5.0, 50.0]
            .into_iter()
            .flat_map(|rate| [1.0, 12.0, 72.0, 360.0, 4096.0].map(|n| (rate, n)))
        {
            for (direction, late_s) in [(1.0, 0.0), (-1.0, 1.0)] {
                let heard = coarse(rate_hz, counts, turn_s, direction, late_s);
                let told = format!("{turn_s} s, {rate_hz} Hz, {counts} counts, way {direction}");
                assert_eq!(heard.alarms(Rule::SpindleSlip), [], "{told}");
                assert_eq!(heard.alarms(Rule::SpindleStall), [], "{told}");
                let Some(band) = heard.bands.first() else { continue };
                if band.turn_time.is_some() {
                    times += 1;
                    let got_s = turn_time_s(band);
                    assert!((got_s / turn_s - 1.0).abs() <= 0.002, "{told}: {got_s} s");
                }
                if let Some(overlap) = band.overlap {
                    overlaps += 1;
                    let off = f64::from(overlap.to_bits()) / 4096.0 - 14.4;
                    assert!(off.abs() <= 1.0, "{told}: {off} degrees off");
                }
            }
        }
    }
    assert!(times > 50 && overlaps >= 10, "{times} times of a turn, {overlaps} overlaps given");
}
