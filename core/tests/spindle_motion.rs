//! The turning of the pipe, held against geometry: the truth is the angle put in, at every resolution.
#![allow(clippy::float_arithmetic, clippy::cast_precision_loss, clippy::arithmetic_side_effects)]

use bandward::trackers::spindle::{Direction, Motion, SpindleTracker};
use bandward::units::Angle;

type Tracker = SpindleTracker<24, 12>;

/// Slip and stall must last this long to raise an alarm, s (the rules' usual on-delay).
const SLIP_DELAY_S: f64 = 0.3;
const STALL_DELAY_S: f64 = 0.5;

/// Reproducible noise.
struct Dice(u64);

impl Dice {
    /// Between -1 and 1.
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// How the angle is read.
#[derive(Clone, Copy, Debug)]
struct Reading {
    rate_hz: f64,
    /// Angle of a count, degrees; 0 for none.
    count_deg: f64,
    /// Amplitude of an error once a turn, degrees.
    eccentric_deg: f64,
    /// Amplitude of white noise, degrees.
    white_deg: f64,
    /// Amplitude of a slow wander (each octave as strong), degrees.
    wander_deg: f64,
    sign: f64,
    start_deg: f64,
}

impl Reading {
    const fn new(rate_hz: f64, count_deg: f64) -> Self {
        Self {
            rate_hz,
            count_deg,
            eccentric_deg: 0.0,
            white_deg: 0.0,
            wander_deg: 0.0,
            sign: 1.0,
            start_deg: 0.0,
        }
    }
    fn read(&self, turned_deg: f64, time_s: f64, dice: &mut Dice) -> Angle {
        let wander: f64 =
            (0..8).map(|k| (time_s * f64::from(1 << k) * 0.05 + f64::from(k) * 1.7).sin()).sum();
        let true_deg = self.start_deg + self.sign * turned_deg;
        let shown = true_deg
            + self.eccentric_deg * true_deg.to_radians().sin()
            + self.white_deg * dice.next()
            + self.wander_deg * wander / 8.0_f64.sqrt();
        let counted =
            if self.count_deg > 0.0 { (shown / self.count_deg).floor() * self.count_deg } else { shown };
        Angle::from_microdegrees((counted * 1e6).round() as i64)
    }
}

/// What was found from the strike on.
#[derive(Clone, Debug, Default)]
struct Found {
    slip_s: Option<f64>,
    stall_s: Option<f64>,
    worst_turn_time: f64,
    turn_times: u32,
    judged_s: f64,
    directions: Vec<Direction>,
}

/// A band struck at `strike_s`; `turned_deg` tells the angle at a time.
fn weld(reading: Reading, strike_s: f64, end_s: f64, turn_s: f64, turned_deg: impl Fn(f64) -> f64) -> Found {
    let (mut tracker, mut found, mut dice) = (Tracker::new(), Found::default(), Dice(0x9E37_79B9_7F4A_7C15));
    let period_us = (1e6 / reading.rate_hz) as u64;
    let tick_us = period_us.max(20_000);
    let (mut slip_us, mut stall_us, mut tick_due_us, mut is_open) = (0, 0, 0, false);
    for time_us in (0..(end_s * 1e6) as u64).step_by(period_us as usize) {
        let time_s = time_us as f64 / 1e6;
        if !is_open && time_s >= strike_s {
            tracker.begin_band();
            is_open = true;
        }
        tracker.push(time_us, reading.read(turned_deg(time_s), time_s, &mut dice));
        if time_us < tick_due_us {
            continue;
        }
        tick_due_us = time_us + tick_us;
        tracker.tick(time_us + period_us);
        tracker.settle();
        if !is_open {
            continue;
        }
        let slips = tracker.motion() == Motion::Slipping && tracker.can_judge_slip();
        slip_us = if slips { slip_us + tick_us } else { 0 };
        stall_us = if tracker.motion() == Motion::Stalled { stall_us + tick_us } else { 0 };
        if slip_us as f64 / 1e6 >= SLIP_DELAY_S && found.slip_s.is_none() {
            found.slip_s = Some(time_s);
        }
        if stall_us as f64 / 1e6 >= STALL_DELAY_S && found.stall_s.is_none() {
            found.stall_s = Some(time_s);
        }
        if tracker.can_judge_slip() {
            found.judged_s += tick_us as f64 / 1e6;
        }
        if let Some(raw) = tracker.turn_time() {
            let off = (f64::from(raw) / 4096.0 / turn_s - 1.0).abs();
            found.worst_turn_time = found.worst_turn_time.max(off);
            found.turn_times += 1;
        }
        found.directions.extend(tracker.direction());
    }
    found
}

/// Counts of an encoder, degrees: 4096, 3600, 1000, 720, 360, 180, 72, 36, 12, 3, 2, 1 a turn; none.
const COUNTS: [f64; 13] =
    [0.0, 360.0 / 4096.0, 0.1, 0.36, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 120.0, 180.0, 360.0];

#[test]
fn a_sound_joint_neither_slips_nor_stalls_at_any_resolution_and_its_turn_time_is_right_or_absent() {
    let mut wrong = Vec::new();
    let (mut given, mut joints) = (0, 0);
    for turn_s in [20.0, 47.0, 61.7, 100.0, 200.0, 300.0] {
        for rate_hz in [0.5, 2.0, 5.0, 10.0, 50.0, 237.0] {
            for count_deg in COUNTS {
                for (strike_s, sign, start_deg) in [(3.0, 1.0, 0.0), (17.3, -1.0, 123.4)] {
                    let reading = Reading { sign, start_deg, ..Reading::new(rate_hz, count_deg) };
                    let end_s = strike_s + turn_s * 1.05;
                    let found = weld(reading, strike_s, end_s, turn_s, |s| s / turn_s * 360.0);
                    joints += 1;
                    given += u32::from(found.turn_times > 0);
                    let way = if sign < 0.0 { Direction::Decreasing } else { Direction::Increasing };
                    let wrong_way = count_deg < 180.0 && found.directions.iter().any(|&found| found != way);
                    if found.slip_s.is_some()
                        || found.stall_s.is_some()
                        || wrong_way
                        || found.worst_turn_time > 0.002
                    {
                        let Found { slip_s, stall_s, worst_turn_time, .. } = found;
                        wrong.push(format!("{turn_s} s, {rate_hz} Hz, {count_deg} deg, {sign}: slip {slip_s:?} stall {stall_s:?} off {worst_turn_time:.4} way {wrong_way}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {joints}\n{}", wrong.len(), wrong.join("\n"));
    assert!(given > joints / 5, "the time of a turn was given on {given} of {joints}");
}

#[test]
fn eccentricity_noise_and_wander_are_no_slip() {
    let mut wrong = Vec::new();
    for turn_s in [20.0, 60.0, 120.0, 200.0, 300.0] {
        for rate_hz in [2.0, 5.0, 10.0, 50.0, 237.0] {
            for count_deg in [0.0, 0.1, 0.5, 2.0] {
                for (eccentric_deg, white_deg, wander_deg) in
                    [(2.0, 0.0, 0.0), (1.0, 0.1, 0.0), (0.0, 0.5, 0.0), (0.0, 0.0, 0.1), (1.0, 0.2, 0.1)]
                {
                    let base = Reading::new(rate_hz, count_deg);
                    let reading = Reading { eccentric_deg, white_deg, wander_deg, ..base };
                    let found = weld(reading, 3.0, 3.0 + turn_s * 1.1, turn_s, |s| s / turn_s * 360.0);
                    if found.slip_s.is_some() || found.stall_s.is_some() {
                        wrong.push(format!("{turn_s} s {reading:?}: {:?} {:?}", found.slip_s, found.stall_s));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// The pipe turns at 30 % of its speed for 3 s.
#[test]
fn a_slip_of_three_seconds_is_found_down_to_half_a_degree() {
    let mut wrong = Vec::new();
    for turn_s in [60.0, 83.1, 120.0, 144.0, 180.0, 200.0] {
        for rate_hz in [5.0, 10.0, 50.0, 200.0, 1000.0] {
            for count_deg in [0.0, 360.0 / 4096.0, 0.1, 0.36, 0.5] {
                for slip_s in [25.0, 25.13, 25.29, 40.41, 31.77] {
                    let reading = Reading::new(rate_hz, count_deg);
                    let lost = |s: f64| 0.7 * (s - slip_s).clamp(0.0, 3.0);
                    let found = weld(reading, 3.0, 50.0, turn_s, |s| (s - lost(s)) / turn_s * 360.0);
                    let in_time = found.slip_s.is_some_and(|at| (slip_s..slip_s + 3.3).contains(&at));
                    if !in_time || found.stall_s.is_some() {
                        let Found { slip_s: at, stall_s, judged_s, .. } = found;
                        wrong.push(format!("{turn_s} s, {rate_hz} Hz, {count_deg} deg, at {slip_s}: slip {at:?} stall {stall_s:?} judged {judged_s:.1}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// A stall is found after 0.6 s or seven counts (the usual speed is known to a quarter only at first), and the
/// delay of the rule; it is no slip.
#[test]
fn a_stall_is_found_as_soon_as_the_counts_allow() {
    let mut wrong = Vec::new();
    for turn_s in [20.0, 60.0, 120.0, 200.0, 300.0] {
        for rate_hz in [5.0_f64, 10.0, 50.0, 200.0] {
            for count_deg in [0.0, 0.1, 0.5, 1.0, 2.0, 5.0] {
                for stall_s in [0.0, 0.17, 0.31] {
                    let count_s: f64 = count_deg / 360.0 * turn_s;
                    let stall_s = stall_s + 12.0 + 8.0 * count_s;
                    let allowed_s: f64 = (7.0 * count_s.max(1.0 / rate_hz)).max(1.0) + STALL_DELAY_S + 0.3;
                    let reading = Reading::new(rate_hz, count_deg);
                    let end_s = stall_s + allowed_s + 12.0;
                    let found = weld(reading, 3.0, end_s, turn_s, |s| s.min(stall_s) / turn_s * 360.0);
                    let in_time =
                        found.stall_s.is_some_and(|at| (stall_s..stall_s + allowed_s).contains(&at));
                    if stall_s - 3.0 < turn_s * 0.95 && (!in_time || found.slip_s.is_some()) {
                        let Found { slip_s, stall_s: at, .. } = found;
                        wrong.push(format!("{turn_s} s, {rate_hz} Hz, {count_deg} deg, at {stall_s}: slip {slip_s:?} stall {at:?}, allowed {allowed_s:.1}"));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

/// Turning fast, backwards or not at all before the arc; starting late; stopping early.
#[test]
fn what_the_pipe_does_around_the_band_is_no_fault() {
    let mut wrong = Vec::new();
    for turn_s in [20.0, 60.0, 120.0, 200.0] {
        for rate_hz in [5.0, 50.0, 200.0] {
            for count_deg in [0.0, 0.1, 0.5, 1.0] {
                for (before, start_s, stop_s) in
                    [(8.0, 0.0, 0.0), (-5.0, 0.5, 1.0), (0.0, 1.0, 2.0), (1.0, 0.0, 1.5), (0.0, 0.7, 1.0)]
                {
                    let strike_s = 10.0;
                    let welding_s = turn_s * 1.05;
                    let end_s = strike_s + start_s + welding_s + stop_s;
                    let turned = |s: f64| {
                        // It gets going over half a second.
                        let run_s = (s - strike_s - start_s).clamp(0.0, welding_s);
                        let run_s = if run_s < 0.5 { run_s * run_s } else { run_s - 0.25 };
                        (s.min(strike_s - 0.3) * before + run_s) / turn_s * 360.0
                    };
                    let found = weld(Reading::new(rate_hz, count_deg), strike_s, end_s, turn_s, turned);
                    if found.slip_s.is_some() || found.stall_s.is_some() {
                        wrong.push(format!("{turn_s} s, {rate_hz} Hz, {count_deg} deg, before {before}, start {start_s}, stop {stop_s}: slip {:?} stall {:?}", found.slip_s, found.stall_s));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn a_pipe_that_never_turns_under_the_arc_stalls_once_the_reading_has_shown_that_it_moves() {
    let turned = |s: f64| s.min(8.0) * 4.0;
    let found = weld(Reading::new(50.0, 0.1), 10.0, 20.0, 90.0, turned);
    assert!(found.stall_s.is_some_and(|at| (12.0..13.5).contains(&at)), "{found:?}");
    let found = weld(Reading::new(50.0, 0.1), 10.0, 200.0, 90.0, |_| 0.0);
    assert_eq!(found.stall_s, None, "a reading that never moved may be that of a dead encoder");
}

#[test]
fn a_declared_resolution_tells_a_pipe_that_never_turned() {
    let mut tracker = Tracker::new();
    tracker.declare_resolution(1 << 20);
    tracker.begin_band();
    assert!(!tracker.is_too_coarse());
    for index in 0..250 {
        tracker.push(index * 20_000, Angle::from_bits(77));
        tracker.tick((index + 1) * 20_000);
        tracker.settle();
    }
    assert_eq!(tracker.motion(), Motion::Stalled);
}

#[test]
fn too_coarse_to_judge_slip_is_said() {
    for (count_deg, too_coarse) in [(0.1, false), (0.5, false), (5.0, true), (30.0, true)] {
        let found = weld(Reading::new(50.0, count_deg), 3.0, 90.0, 100.0, |s| s * 3.6);
        assert_eq!(found.judged_s == 0.0, too_coarse, "{count_deg}: {}", found.judged_s);
        assert!(!found.directions.is_empty(), "{count_deg}");
    }
}

/// It turns back as fast as it turned: neither steady nor unseen.
#[test]
fn turning_back_is_slip() {
    for count_deg in [0.0, 0.1, 0.5] {
        let turned = |s: f64| if s < 30.0 { s * 3.0 } else { 180.0 - s * 3.0 };
        let found = weld(Reading::new(50.0, count_deg), 3.0, 34.0, 120.0, turned);
        assert!(found.slip_s.is_some_and(|at| at < 32.5), "{count_deg}: {found:?}");
        assert_eq!(found.directions.first(), Some(&Direction::Increasing));
        assert_eq!(found.directions.last(), Some(&Direction::Decreasing));
    }
}
