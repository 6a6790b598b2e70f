//! A pipe that turns as it is told; what must be seen of it, and when, follows from the times and shares stated.
#![allow(clippy::float_arithmetic, clippy::cast_precision_loss)]

use super::*;

type Tracker = SpindleTracker<32, 16>;

fn degrees(degrees: f64) -> i32 {
    (degrees / 360.0 * 4_294_967_296.0).round() as i64 as i32
}
fn raw_degrees(raw: Option<i32>) -> Option<f64> {
    raw.map(|raw| f64::from(raw) / f64::from(1 << crate::units::Degrees::FRACTION_BITS))
}
fn raw_seconds(raw: i32) -> f64 {
    f64::from(raw) / f64::from(1 << crate::units::Duration::FRACTION_BITS)
}

/// A pipe whose angle is read every 20 ms in counts of `count_deg`.
struct Pipe {
    tracker: Tracker,
    now_us: u64,
    angle_deg: f64,
    count_deg: f64,
}

impl Pipe {
    fn new(count_deg: f64) -> Self {
        Self { tracker: Tracker::new(), now_us: 1_000_000, angle_deg: 0.0, count_deg }
    }
    fn read(&self) -> Angle {
        Angle::from_bits(degrees((self.angle_deg / self.count_deg).floor() * self.count_deg) as u32)
    }
    /// Turns at so many degrees a second for so long.
    fn turn(&mut self, speed: f64, seconds: f64) {
        self.turn_until(speed, seconds, |_| false);
    }
    /// The same until something holds; how long that took, s.
    fn turn_until(&mut self, speed: f64, seconds: f64, holds: impl Fn(&mut Tracker) -> bool) -> Option<f64> {
        for reading in 1..=(seconds * 50.0).round() as u32 {
            self.now_us += 20_000;
            self.angle_deg += speed * 0.02;
            let angle = self.read();
            self.tracker.push(self.now_us, angle);
            self.tracker.tick(self.now_us + 20_000);
            if holds(&mut self.tracker) {
                return Some(f64::from(reading) / 50.0);
            }
        }
        None
    }
    /// A band of a pipe that has turned steadily for so long since its strike.
    fn in_band(count_deg: f64, speed: f64, seconds: f64) -> Self {
        let mut pipe = Self::new(count_deg);
        pipe.turn(speed, 1.0);
        pipe.tracker.begin_band();
        pipe.turn(speed, seconds);
        assert_eq!(pipe.tracker.motion(), Motion::Steady);
        pipe
    }
}

#[test]
fn a_steady_pipe_is_known_by_its_speed_its_turn_and_its_way() {
    for sign in [1.0, -1.0] {
        let mut pipe = Pipe::in_band(0.01, sign * 6.0, 30.0);
        let tracker = &mut pipe.tracker;
        assert!((raw_degrees(tracker.speed()).unwrap() - 6.0).abs() < 0.1);
        assert!((raw_degrees(tracker.usual_speed()).unwrap() - 6.0).abs() < 0.05);
        assert!((raw_seconds(tracker.turn_time().unwrap()) - 60.0).abs() < 0.12);
        let (least, most) = tracker.turn_time_bounds().unwrap();
        assert!(raw_seconds(least) <= 60.0 && raw_seconds(most) >= 60.0);
        let expected = if sign > 0.0 { Direction::Increasing } else { Direction::Decreasing };
        assert_eq!(tracker.direction(), Some(expected));
        assert!(tracker.can_judge_slip() && tracker.can_judge_stall() && !tracker.is_too_coarse());
        assert!(!tracker.take_late_start() && tracker.take_stand_us().is_none() && !tracker.has_leapt());
        let turned = tracker.total() as f64 / 4_294_967_296.0 * 360.0;
        assert!((turned - sign * (31.0 - 0.02) * 6.0).abs() < 0.02, "{turned}");
        // A band that begins forgets all but the angle.
        let total = tracker.total();
        tracker.begin_band();
        assert_eq!((tracker.speed(), tracker.turn_time(), tracker.direction()), (None, None, None));
        assert_eq!((tracker.motion(), tracker.usual_speed()), (Motion::Unknown, None));
        assert!(!tracker.can_judge_slip());
        assert_eq!(tracker.total(), total);
        pipe.turn(sign * 3.0, 20.0);
        assert!((raw_degrees(pipe.tracker.usual_speed()).unwrap() - 3.0).abs() < 0.05);
        assert!((raw_seconds(pipe.tracker.turn_time().unwrap()) - 120.0).abs() < 0.24);
    }
}

#[test]
fn nothing_is_known_of_a_pipe_that_was_not_read() {
    let mut tracker = Tracker::new();
    assert!(!tracker.is_seen() && tracker.is_too_coarse() && !tracker.can_judge_slip());
    assert_eq!((tracker.speed(), tracker.direction(), tracker.resolution()), (None, None, None));
    tracker.push(5, Angle::from_bits(77));
    assert!(tracker.is_seen());
    assert_eq!((tracker.total(), tracker.resolution()), (0, None));
    tracker.push(20_005, Angle::from_bits(100));
    assert_eq!((tracker.total(), tracker.resolution()), (23, Some(23)));
    tracker.declare_resolution(500);
    assert_eq!(tracker.resolution(), Some(500));
    tracker.declare_resolution(0);
    assert_eq!(tracker.resolution(), Some(23));
}

/// From 65 to 140 % of the usual speed it is steady; beyond, over the 0.6 s of the short speed, it slips.
#[test]
fn a_speed_far_off_the_usual_is_slip() {
    for sign in [1.0, -1.0] {
        for (share, slips) in
            [(0.62, true), (0.68, false), (1.37, false), (1.43, true), (2.0, true), (-1.0, true)]
        {
            let mut pipe = Pipe::in_band(0.01, sign * 6.0, 20.0);
            let found_s =
                pipe.turn_until(sign * 6.0 * share, 2.0, |tracker| tracker.motion() == Motion::Slipping);
            assert_eq!(found_s.is_some(), slips, "{share}: {found_s:?}");
            if slips {
                assert!(found_s.is_some_and(|found_s| found_s < 0.9), "{share}: {found_s:?}");
                assert_eq!((pipe.tracker.turn_time(), pipe.tracker.turn_time_bounds()), (None, None));
                assert!((raw_degrees(pipe.tracker.usual_speed()).unwrap() - 6.0).abs() < 1.2, "it waits");
            } else {
                assert_eq!(pipe.tracker.motion(), Motion::Steady, "{share}");
            }
        }
    }
}

/// A changed speed that lasts for more than 5 s is the new speed.
#[test]
fn slip_that_stays_is_the_new_speed() {
    let mut pipe = Pipe::in_band(0.01, 6.0, 20.0);
    let begun_s = pipe.turn_until(12.0, 2.0, |tracker| tracker.motion() == Motion::Slipping).unwrap();
    let over_s = pipe.turn_until(12.0, 8.0, |tracker| tracker.motion() != Motion::Slipping).unwrap();
    assert!((5.0..=5.25).contains(&over_s), "{begun_s} {over_s}");
    assert_eq!((pipe.tracker.motion(), pipe.tracker.usual_speed()), (Motion::Unknown, None));
    assert!(!pipe.tracker.can_judge_slip());
    assert_eq!(pipe.turn_until(12.0, 20.0, |tracker| tracker.motion() == Motion::Slipping), None);
    assert!((raw_seconds(pipe.tracker.turn_time().unwrap()) - 30.0).abs() < 0.06);
    assert!((raw_degrees(pipe.tracker.usual_speed()).unwrap() - 12.0).abs() < 0.1);
    assert!(!pipe.tracker.take_late_start(), "the start is long over");
}

/// A slip that ends within its time leaves the usual speed and the time of a turn as they were.
#[test]
fn a_short_slip_changes_nothing_of_the_turn() {
    let mut pipe = Pipe::in_band(0.01, 6.0, 20.0);
    pipe.turn(12.0, 2.0);
    assert_eq!(pipe.tracker.motion(), Motion::Slipping);
    let steady_s = pipe.turn_until(6.0, 3.0, |tracker| tracker.motion() == Motion::Steady).unwrap();
    assert!(steady_s < 0.7, "{steady_s}");
    pipe.turn(6.0, 10.0);
    assert!((raw_seconds(pipe.tracker.turn_time().unwrap()) - 60.0).abs() < 0.12);
    // The next slip has its own five seconds.
    pipe.turn(12.0, 4.5);
    assert_eq!(pipe.tracker.motion(), Motion::Slipping);
    assert_eq!(pipe.tracker.take_stand_us(), None, "it never stood");
}

/// Below a tenth of the usual speed it stands; for how long it stood is told once it turns again.
#[test]
fn a_pipe_that_stands_is_stalled_until_it_turns_again() {
    for sign in [1.0, -1.0] {
        let mut pipe = Pipe::in_band(0.01, sign * 6.0, 20.0);
        let found_s = pipe.turn_until(0.0, 2.0, |tracker| tracker.motion() == Motion::Stalled).unwrap();
        assert!((0.5..=0.9).contains(&found_s), "{found_s}");
        pipe.turn(0.0, 5.0 - found_s);
        assert_eq!((pipe.tracker.motion(), pipe.tracker.take_stand_us()), (Motion::Stalled, None));
        let turns_s =
            pipe.turn_until(sign * 6.0, 2.0, |tracker| tracker.motion() != Motion::Stalled).unwrap();
        assert!(turns_s <= 0.3, "{turns_s}");
        assert_eq!(pipe.tracker.motion(), Motion::Unknown);
        let stood_s = f64::from(pipe.tracker.take_stand_us().unwrap()) / 1e6;
        assert!((4.8..=5.4).contains(&stood_s), "{stood_s}");
        assert_eq!(pipe.tracker.take_stand_us(), None, "told once");
        let slipped = pipe.turn_until(sign * 6.0, 10.0, |tracker| {
            matches!(tracker.motion(), Motion::Slipping | Motion::Stalled | Motion::Pausing)
        });
        assert_eq!((slipped, pipe.tracker.motion()), (None, Motion::Steady));
        assert!((raw_seconds(pipe.tracker.turn_time().unwrap()) - 60.0).abs() < 0.12);
    }
}

/// Once 350 degrees are turned the pipe may stand for 1.5 s; before it may not.
#[test]
fn past_the_turn_the_pipe_may_come_to_rest() {
    for (turned_s, may_rest) in [(57.0, false), (58.6, true), (61.0, true)] {
        let mut pipe = Pipe::in_band(0.01, 6.0, turned_s);
        let at_rest = |tracker: &mut Tracker| matches!(tracker.motion(), Motion::Pausing | Motion::Stalled);
        let rests_s = pipe.turn_until(0.0, 2.0, at_rest).unwrap();
        pipe.turn(0.0, 0.7);
        let expected = if may_rest { Motion::Pausing } else { Motion::Stalled };
        assert_eq!(pipe.tracker.motion(), expected, "{turned_s}");
        let stalled_s = pipe.turn_until(0.0, 3.0, |tracker| tracker.motion() == Motion::Stalled).unwrap();
        if may_rest {
            let since_s = rests_s + 0.7 + stalled_s;
            assert!((2.0..=2.5).contains(&since_s), "{since_s}");
        }
    }
}

/// Two seconds after the strike the pipe may stand; one that gets going later is told, once.
#[test]
fn a_pipe_that_gets_going_late_is_told() {
    for (stands_s, is_late) in [(0.0, false), (1.7, false), (2.4, true), (4.0, true)] {
        let mut pipe = Pipe::new(0.01);
        pipe.turn(6.0, 1.0);
        pipe.tracker.begin_band();
        let stalled_s = pipe.turn_until(0.0, stands_s, |tracker| tracker.motion() == Motion::Stalled);
        if stands_s >= 4.0 {
            assert!(stalled_s.is_some_and(|stalled_s| (2.0..=2.3).contains(&stalled_s)), "{stalled_s:?}");
            pipe.turn(0.0, stands_s - stalled_s.unwrap());
        } else if stands_s < 2.0 {
            assert_eq!(stalled_s, None);
        }
        pipe.turn(6.0, 12.0);
        assert_eq!(pipe.tracker.take_late_start(), is_late, "{stands_s}");
        assert!(!pipe.tracker.take_late_start(), "once");
        assert!(!pipe.tracker.has_leapt());
    }
}

/// After a hole in the data the speed is learnt anew, the angle goes on, and the usual speed of the band stays.
#[test]
fn a_hole_forgets_the_speed_and_not_the_angle() {
    let mut pipe = Pipe::in_band(0.01, 6.0, 20.0);
    pipe.turn(6.0, 0.06);
    let total = pipe.tracker.total();
    pipe.tracker.forget_speed();
    let tracker = &pipe.tracker;
    assert_eq!((tracker.speed(), tracker.turn_time(), tracker.motion()), (None, None, Motion::Unknown));
    assert_eq!(tracker.total(), total);
    assert!(tracker.usual_speed().is_some());
    // 2 s are missing, in which it turned by 12 degrees.
    pipe.now_us += 2_000_000;
    pipe.angle_deg += 12.0;
    let odd =
        pipe.turn_until(6.0, 10.0, |tracker| !matches!(tracker.motion(), Motion::Unknown | Motion::Steady));
    assert_eq!((odd, pipe.tracker.motion()), (None, Motion::Steady));
    assert!((raw_seconds(pipe.tracker.turn_time().unwrap()) - 60.0).abs() < 0.12);
    let turned = (pipe.tracker.total() - total) as f64 / 4_294_967_296.0 * 360.0;
    assert!((turned - 72.0).abs() < 0.02, "{turned}");
}

/// Slip and stall that stood before a hole or a band are none after it.
#[test]
fn a_hole_ends_what_stood_before_it() {
    for speed in [0.0, 12.0] {
        let mut pipe = Pipe::in_band(0.01, 6.0, 20.0);
        pipe.turn(speed, 3.0);
        assert!(matches!(pipe.tracker.motion(), Motion::Stalled | Motion::Slipping));
        pipe.tracker.forget_speed();
        pipe.turn(6.0, 3.0);
        assert_eq!((pipe.tracker.motion(), pipe.tracker.take_stand_us()), (Motion::Steady, None), "{speed}");
        pipe.turn(12.0, 4.5);
        assert_eq!(pipe.tracker.motion(), Motion::Slipping, "with five seconds of its own");
    }
}

/// Nine twentieths of a turn, 162 degrees, within a wait: the short way may not be the way it went. At the usual speed,
/// or 18 degrees a second where none is known; no wait below 2 s is looked at.
#[test]
fn a_wait_in_which_it_may_have_turned_half_loses_the_angle() {
    let after = |pipe: &mut Pipe, wait_s: f64| {
        let angle = pipe.read();
        pipe.tracker.push_after(pipe.now_us + (wait_s * 1e6) as u64, angle, false)
    };
    for (wait_s, is_lost) in [(8.8, false), (9.2, true)] {
        assert!(!after(&mut Pipe::new(0.01), wait_s), "the first");
        let mut pipe = Pipe::new(0.01);
        pipe.turn(6.0, 0.5);
        assert_eq!(after(&mut pipe, wait_s), is_lost, "{wait_s}");
        assert_eq!(pipe.tracker.speed().is_none(), is_lost, "{wait_s}");
    }
    for (speed, wait_s, is_lost) in [
        (6.0, 26.5, false),
        (6.0, 27.5, true),
        (100.0, 1.95, false),
        (100.0, 2.05, true),
        (70.0, 2.2, false),
        (70.0, 2.4, true),
    ] {
        let mut pipe = Pipe::in_band(0.01, speed, 20.0);
        let speed_before = pipe.tracker.speed();
        assert!(speed_before.is_some());
        assert_eq!(after(&mut pipe, wait_s), is_lost, "{speed} {wait_s}");
        assert_eq!(pipe.tracker.speed().is_none(), is_lost, "{speed} {wait_s}");
    }
}

/// One leap before a speed is known is an encoder that was set to zero; any other is one within the band.
#[test]
fn a_leap_is_one_at_the_start_or_within_the_band() {
    let leap = |pipe: &mut Pipe| {
        pipe.angle_deg += 90.0;
        pipe.turn(6.0, 0.1);
    };
    let mut pipe = Pipe::new(0.01);
    pipe.turn(6.0, 1.0);
    pipe.tracker.begin_band();
    pipe.turn(6.0, 0.5);
    let before = pipe.tracker.total();
    leap(&mut pipe);
    assert!(!pipe.tracker.has_leapt());
    let turned = (pipe.tracker.total() - before) as f64 / 4_294_967_296.0 * 360.0;
    assert!((turned - 0.48).abs() < 0.02, "the leap is no turning: {turned}");
    leap(&mut pipe);
    assert!(pipe.tracker.has_leapt(), "twice");
    pipe.tracker.begin_band();
    assert!(!pipe.tracker.has_leapt());
    pipe.turn(6.0, 20.0);
    leap(&mut pipe);
    assert!(pipe.tracker.has_leapt(), "within");
    #[cfg(feature = "motion")]
    {
        let mut pipe = Pipe::in_band(0.01, 6.0, 10.0);
        pipe.tracker.lose();
        assert!(pipe.tracker.has_leapt());
    }
}

/// 15 degrees, 180 degrees a second, two and a half counts; to zero 3 degrees and 60 degrees a second.
#[test]
fn a_leap_is_further_than_a_pipe_turns() {
    let leaps = |angle_deg: f64, moved_deg: f64, waited_us, step_deg: f64, stays| {
        let step = degrees(step_deg) as u32;
        is_leap(Angle::from_bits(degrees(angle_deg) as u32), degrees(moved_deg), waited_us, step, stays)
    };
    for sign in [1.0, -1.0] {
        for (angle_deg, moved_deg, waited_us, step_deg, stays, expected) in [
            (100.0, 14.9, 20_000, 0.1, false, false),
            (100.0, 15.1, 20_000, 0.1, false, true),
            (100.0, 89.0, 500_000, 0.1, false, false),
            (100.0, 91.0, 500_000, 0.1, false, true),
            (100.0, 24.9, 20_000, 10.0, false, false),
            (100.0, 25.1, 20_000, 10.0, false, true),
            (0.2, 2.9, 20_000, 0.1, false, false),
            (0.2, 3.7, 20_000, 0.1, false, true),
            (-0.2, 3.7, 20_000, 0.1, false, true),
            (0.3, 3.7, 20_000, 0.1, false, false),
            (0.0, 5.9, 100_000, 0.1, false, false),
            (0.0, 6.1, 100_000, 0.1, false, true),
            (0.0, 24.9, 20_000, 10.0, false, false),
            (0.0, 25.1, 20_000, 10.0, false, true),
            // Before the first move: to zero alone.
            (0.2, 3.1, 20_000, 0.0, false, true),
            (0.2, 2.9, 20_000, 0.0, false, false),
            (50.0, 90.0, 20_000, 0.0, false, false),
            // One that stays, held back before: by more than its counts and 3 degrees.
            (100.0, 3.1, 20_000, 0.1, true, true),
            (100.0, 2.9, 20_000, 0.1, true, false),
            (100.0, 24.9, 20_000, 10.0, true, false),
            (1.9, 3.1, 20_000, 0.0, true, true),
            (2.1, 3.1, 20_000, 0.0, true, false),
        ] {
            let found = leaps(angle_deg, sign * moved_deg, waited_us, step_deg, stays);
            assert_eq!(found, expected, "{angle_deg} {moved_deg} {waited_us} {step_deg} {stays}");
        }
    }
}

/// Nine halves of a count, and 0.6 s at least.
#[test]
fn a_count_is_overdue_after_four_and_a_half() {
    for (step_us, expected) in [(0, 600_000), (133_333, 600_000), (200_000, 900_000), (1_000_000, 4_500_000)]
    {
        assert_eq!(overdue_us(step_us), expected);
    }
    assert_eq!((along(5, 1), along(5, -1), along(-5, -1), along(5, 0)), (5, -5, 5, 5));
    let degrees = raw_degrees(Some(degrees_a_second(-(1 << 24) / 60))).unwrap();
    assert!((degrees - 6.0).abs() < 0.001, "{degrees}");
}

/// By counts: of 2 degrees at 6 degrees a second, each third of a second, a stall is found when one is overdue, 1.5 s;
/// of 10 degrees it would be 7.5 s, and cannot be seen.
#[test]
fn a_stall_of_a_coarse_reading_is_found_by_its_counts() {
    for (count_deg, found) in [(2.0, Some(1.5)), (6.0, Some(4.5)), (7.8, Some(5.85))] {
        let mut pipe = Pipe::in_band(count_deg, 6.0, 24.0);
        assert!(pipe.tracker.can_judge_stall(), "{count_deg}");
        pipe.turn_until(6.0, 3.0, |_| false);
        // It stands right after a count.
        let before = pipe.read();
        while pipe.read() == before {
            pipe.turn(6.0, 0.02);
        }
        let stalled_s = pipe.turn_until(0.0, 8.0, |tracker| tracker.motion() == Motion::Stalled);
        let expected_s: f64 = found.unwrap();
        assert!(
            stalled_s.is_some_and(|stalled_s| (stalled_s - expected_s).abs() < 0.6),
            "{count_deg}: {stalled_s:?}"
        );
    }
    let pipe = Pipe::in_band(10.0, 6.0, 30.0);
    assert!(!pipe.tracker.can_judge_stall());
}

/// Five counts within 2.4 s are needed for slip: of 2 degrees at 6 a second there are seven, of 4 degrees three.
#[test]
fn slip_of_a_coarse_reading_cannot_be_seen() {
    assert!(Pipe::in_band(2.0, 6.0, 40.0).tracker.can_judge_slip());
    let mut pipe = Pipe::in_band(4.0, 6.0, 40.0);
    assert!(pipe.tracker.is_too_coarse() && !pipe.tracker.can_judge_slip());
    assert_eq!(pipe.turn_until(12.0, 4.0, |tracker| tracker.motion() == Motion::Slipping), None);
}
