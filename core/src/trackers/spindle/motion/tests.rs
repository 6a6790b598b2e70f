//! One point of the turning at a time, at the very limits that are stated.

use super::*;
use crate::trackers::spindle::{Direction, Leap, is_leap};
use crate::units::Angle;

type Tracker = SpindleTracker<32, 16>;
/// The usual speed: 2^-24 turn a microsecond.
const USUAL: i32 = 1_000_000;
const NOW: Point = Point { at_us: 50_000_000, angle: 70_000_000 };

/// The point so long before now, and so far behind.
const fn ago(age_us: u32, behind: i32) -> Point {
    Point { at_us: NOW.at_us - age_us, angle: NOW.angle - behind }
}
/// One whose counts are so large, 2^-24 turn.
fn counting(step: u32) -> Tracker {
    let mut tracker = Tracker::new();
    tracker.declare_resolution(step << 8);
    tracker.is_firm = true;
    tracker
}
/// With a share of the usual speed over the 0.6 s of the window, and over the newest 0.2 s, in percent.
fn shares(step: u32, share: i32, newest: i32) -> Tracker {
    let mut tracker = counting(step);
    for point in [ago(600_000, share * 6000), ago(200_000, newest * 2000), NOW] {
        push_over(&mut tracker.short, point);
    }
    tracker.anchor = Some(NOW);
    tracker
}

#[test]
fn windows_follow_from_error_step_and_noise() {
    let times = |tracker: &Tracker, usual| {
        let Times { window_us, step_us } = tracker.times(usual);
        (window_us, step_us)
    };
    let mut tracker = counting(256);
    assert_eq!(times(&tracker, 1000), (1_280_000, 256_000), "five errors");
    assert_eq!(times(&tracker, -1000), (1_280_000, 256_000));
    assert_eq!(times(&tracker, USUAL), (600_000, 256), "0.6 s at least");
    assert_eq!(times(&tracker, 0), (u32::MAX, u32::MAX), "of a pipe that stands");
    tracker.residual = 200;
    assert_eq!(
        times(&tracker, 1000),
        (1_875_000, 256_000),
        "nine times and three eighths what a point is off"
    );
    let mut tracker = counting(16);
    tracker.resolution.push(0, 4096 << 8);
    assert_eq!(times(&tracker, 10_000), (1_228_800, 409_600), "three readings");
}

#[test]
fn a_share_is_taken_over_seven_eighths_of_the_window_at_least() {
    let mut tracker = counting(1);
    for point in [ago(1_000_000, 0), ago(525_000, 525_000), ago(520_000, 0), NOW] {
        push_over(&mut tracker.short, point);
    }
    assert_eq!(tracker.share(NOW, 600_000, USUAL), Some(100));
    assert_eq!(tracker.share(NOW, 600_000, -USUAL), Some(-100));
    assert_eq!(tracker.share(NOW, 1_200_000, USUAL), None, "not looked at for so long");
}

/// Before a speed is known: 2 s after the strike, slower than 0.3 degrees a second over seven eighths of that.
#[test]
fn a_pipe_that_never_moved_stands_after_two_seconds() {
    let limit = i32::try_from(STANDING * 2).unwrap();
    for (waited_us, moved, expected) in [
        (2_000_000, limit - 1, Motion::Stalled),
        (2_000_000, limit, Motion::Unknown),
        (2_000_000, 1 - limit, Motion::Stalled),
        (2_000_000, -limit, Motion::Unknown),
        (1_999_999, 0, Motion::Unknown),
    ] {
        let mut tracker = counting(1);
        tracker.waiting_since_us = Some(NOW.at_us - waited_us);
        for point in [ago(2_000_000, moved), NOW] {
            push_over(&mut tracker.short, point);
        }
        assert_eq!(tracker.wait(NOW), expected, "{waited_us} {moved}");
    }
    // It is held against the point 1.75 s ago, whatever it did before or after.
    let mut tracker = counting(1);
    tracker.waiting_since_us = Some(NOW.at_us - 2_000_000);
    for point in
        [ago(2_000_000, 900_000), ago(1_750_000, 0), ago(1_600_000, 900_000), ago(800_000, 900_000), NOW]
    {
        push_over(&mut tracker.short, point);
    }
    assert_eq!(tracker.wait(NOW), Motion::Stalled);
    tracker.short.clear();
    assert_eq!(tracker.wait(NOW), Motion::Unknown, "nothing to be held against");
    assert_eq!(Tracker::new().wait(NOW), Motion::Unknown, "nothing is known of the reading");
}

/// Where two counts at a degree a second take longer: 43 microseconds a unit.
#[test]
fn a_coarse_reading_that_never_moved_is_waited_for_by_its_counts() {
    for (step, quiet_us, expected) in [
        (50_000, 2_150_000, Motion::Stalled),
        (50_000, 2_149_999, Motion::Unknown),
        (30_000, 9_000_000, Motion::Unknown),
    ] {
        let mut tracker = counting(step);
        tracker.waiting_since_us = Some(NOW.at_us - 10_000_000);
        tracker.anchor = Some(ago(quiet_us, 0));
        assert_eq!(tracker.wait(NOW), expected, "{step} {quiet_us}");
    }
}

#[test]
fn what_the_shares_of_the_usual_speed_come_to() {
    for (share, newest, expected) in [
        (9, 100, Motion::Stalled),
        (-9, 100, Motion::Stalled),
        (10, 100, Motion::Slipping),
        (10, 14, Motion::Pausing),
        (10, -14, Motion::Pausing),
        (10, 15, Motion::Slipping),
        (64, 64, Motion::Slipping),
        (65, 65, Motion::Steady),
        (140, 140, Motion::Steady),
        (141, 141, Motion::Slipping),
    ] {
        let mut tracker = shares(1, share, newest);
        assert_eq!(tracker.classify(NOW, USUAL, true), expected, "{share} {newest}");
        assert_eq!((tracker.times.window_us, tracker.times.step_us), (600_000, 1));
        let is_off = matches!(expected, Motion::Pausing | Motion::Slipping);
        assert_eq!(tracker.slip_since_us, is_off.then_some(NOW.at_us), "{share} {newest}");
    }
    // Without a firm usual speed nothing is slip; and a slip that was is over.
    let mut tracker = shares(1, 30, 30);
    (tracker.is_firm, tracker.is_late, tracker.slip_since_us) = (false, true, Some(5));
    assert_eq!(tracker.classify(NOW, USUAL, true), Motion::Steady);
    assert_eq!((tracker.is_late, tracker.slip_since_us), (false, None));
    // Not seen for long enough.
    let mut tracker = counting(1);
    push_over(&mut tracker.short, NOW);
    assert_eq!(tracker.classify(NOW, USUAL, true), Motion::Unknown);
}

/// One that stood turns again from half of its usual speed on; it stood until 0.6 s from now, at the least.
#[test]
fn a_pipe_that_stood_turns_again_at_half_its_speed() {
    for (newest, turns) in [(49, false), (50, true), (-49, false), (-50, true)] {
        let mut tracker = shares(1, 30, newest);
        tracker.still_since_us = Some(NOW.at_us - 3_000_000);
        let motion = tracker.classify(NOW, USUAL, true);
        assert_eq!(motion, if turns { Motion::Unknown } else { Motion::Stalled }, "{newest}");
        assert_eq!(tracker.take_stand_us(), turns.then_some(3_600_000));
        assert_eq!(tracker.still_since_us.is_none(), turns);
        if turns {
            assert_eq!(tracker.short.iter().copied().collect::<std::vec::Vec<_>>(), [NOW]);
        }
    }
    // Counts tell it at once.
    let mut tracker = shares(100_000, 100, 0);
    tracker.still_since_us = Some(NOW.at_us - 3_000_000);
    assert_eq!(tracker.classify(NOW, USUAL, true), Motion::Unknown);
    let mut tracker = Tracker::new();
    tracker.stood_us = 1;
    assert_eq!((tracker.take_stand_us(), tracker.take_stand_us()), (Some(1), None));
}

/// Counts that take longer than a fifteenth of a second tell by their coming: overdue after 0.6 s at least.
#[test]
fn a_coarse_reading_tells_by_its_counts() {
    for (step, quiet_us, expected) in [
        (66_666, 600_000, Motion::Steady),
        (66_667, 600_000, Motion::Stalled),
        (66_667, 599_999, Motion::Steady),
        (40_000, 9_000_000, Motion::Steady),
        (100_000, 0, Motion::Steady),
    ] {
        let mut tracker = shares(step, 100, 0);
        tracker.anchor = Some(ago(quiet_us, 0));
        assert_eq!(tracker.classify(NOW, USUAL, true), expected, "{step} {quiet_us}");
    }
    for (share, has_moved, was_late, expected) in [
        (150, true, false, Motion::Slipping),
        (150, false, false, Motion::Pausing),
        (150, false, true, Motion::Slipping),
        (141, true, false, Motion::Slipping),
        (59, true, false, Motion::Slipping),
        (60, true, false, Motion::Pausing),
        (64, true, false, Motion::Pausing),
    ] {
        let mut tracker = shares(100_000, share, 0);
        tracker.is_late = was_late;
        assert_eq!(tracker.classify(NOW, USUAL, has_moved), expected, "{share} {has_moved} {was_late}");
    }
    // Five counts within 2.4 s, and no more.
    for (step, is_coarse) in [(480_000, false), (480_001, true)] {
        let mut tracker = shares(step, 0, 0);
        assert_eq!(
            tracker.classify(NOW, USUAL, false),
            if is_coarse { Motion::Steady } else { Motion::Unknown }
        );
        assert_eq!(tracker.is_too_coarse(), is_coarse);
    }
}

#[test]
fn a_pipe_may_rest_once_its_turn_is_done() {
    for (turned, still_us, expected) in [
        (Some(TURN_DONE), 1_499_999, Motion::Pausing),
        (Some(TURN_DONE), 1_500_000, Motion::Stalled),
        (Some(TURN_DONE - 1), 0, Motion::Stalled),
        (None, 0, Motion::Stalled),
    ] {
        let mut tracker = counting(1);
        tracker.total = 77;
        tracker.band_start = turned.map(|turned| 77 - i64::try_from(turned).unwrap());
        tracker.still_since_us = Some(NOW.at_us - still_us);
        (tracker.is_late, tracker.slip_since_us) = (true, Some(5));
        assert_eq!(tracker.stand(NOW), expected, "{turned:?} {still_us}");
        assert_eq!((tracker.is_late, tracker.slip_since_us), (false, None));
    }
}

#[test]
fn slip_is_the_new_speed_after_five_seconds() {
    for (since_us, expected) in [(5_000_000, Motion::Slipping), (5_000_001, Motion::Unknown)] {
        let mut tracker = counting(1);
        let _ = tracker.long.push(NOW, 1);
        (tracker.reference, tracker.is_late, tracker.waiting_since_us) = (Some(USUAL), true, Some(3));
        tracker.slip_since_us = Some(NOW.at_us - since_us);
        assert_eq!(tracker.slip(NOW), expected);
        let is_over = expected == Motion::Unknown;
        assert_eq!(tracker.reference.is_none(), is_over);
        assert_eq!(tracker.slip_since_us.is_none(), is_over);
        assert_eq!(tracker.waiting_since_us.is_none(), is_over);
        assert_eq!(tracker.long.span().is_none(), is_over);
        assert_eq!((tracker.is_firm, tracker.is_late), (!is_over, !is_over));
        assert_eq!(tracker.take_stand_us(), None);
    }
    // What looked like coming to rest was none: it stood since then.
    let mut tracker = counting(1);
    (tracker.motion, tracker.slip_since_us) = (Motion::Pausing, Some(NOW.at_us - 400_000));
    assert_eq!((tracker.slip(NOW), tracker.take_stand_us()), (Motion::Slipping, Some(400_000)));
}

/// The long window waits while it slips or stands, and while a count is overdue: twice its time, and 0.6 s.
#[test]
fn the_long_window_takes_what_is_steady() {
    for (motion, step_us, quiet_us, takes) in [
        (Motion::Steady, 1, 600_000, true),
        (Motion::Steady, 1, 600_001, false),
        (Motion::Steady, 400_000, 800_000, true),
        (Motion::Steady, 400_000, 800_001, false),
        (Motion::Unknown, 1, 0, false),
    ] {
        let mut tracker = counting(1);
        (tracker.motion, tracker.reference, tracker.times.step_us) = (motion, Some(USUAL), step_us);
        tracker.anchor = Some(ago(quiet_us, 0));
        tracker.extend_long(NOW);
        assert_eq!(tracker.long.span().is_some(), takes, "{motion:?} {step_us} {quiet_us}");
    }
    for motion in [Motion::Slipping, Motion::Pausing, Motion::Stalled] {
        let mut tracker = counting(1);
        let _ = tracker.long.push(NOW, 1);
        tracker.motion = motion;
        tracker.extend_long(NOW);
        assert_eq!(tracker.long.span(), None);
    }
}

/// A long window from so long ago, so far behind, and a share of that over the short one, in percent.
fn settling(step: u32, age_us: u32, behind: i32, share: Option<i32>) -> Tracker {
    let mut tracker = counting(step);
    (tracker.is_firm, tracker.start) = (false, Start::Waited);
    let _ = tracker.long.push(ago(age_us, behind), 1);
    if let Some(share) = share {
        let speed = i64::from(behind) * 1_000_000 / i64::from(age_us);
        for age_us in [1_000_000, 600_000] {
            let behind = speed * i64::from(age_us) / 1_000_000 * i64::from(share) / 100;
            push_over(&mut tracker.short, ago(age_us, i32::try_from(behind).unwrap()));
        }
        push_over(&mut tracker.short, NOW);
    }
    tracker.extend_long(NOW);
    tracker
}

#[test]
fn a_usual_speed_is_taken_over_three_seconds_and_four_counts() {
    for (step, age_us, behind, share, expected) in [
        (1, 3_000_000, 3_000_000, Some(100), Some(USUAL)),
        (1, 3_000_000, -3_000_000, Some(100), Some(-USUAL)),
        (1, 2_999_999, 2_999_999, Some(100), None),
        // No slower than 0.3 degrees a second.
        (1, 3_000_000, 3 * STANDING as i32, Some(100), Some(STANDING as i32)),
        (1, 3_000_000, 3 * STANDING as i32 - 3, Some(100), None),
        // Even: the last 0.6 s within a quarter of it.
        (1, 3_000_000, 3_000_000, Some(75), Some(USUAL)),
        (1, 3_000_000, 3_000_000, Some(74), None),
        (1, 3_000_000, 3_000_000, Some(125), Some(USUAL)),
        (1, 3_000_000, 3_000_000, Some(126), None),
        (1, 3_000_000, 3_000_000, None, None),
        // Four counts; too coarse for the short window, it is not asked.
        (750_000, 3_000_000, 3_000_000, None, Some(USUAL)),
        (750_001, 3_000_000, 3_000_000, None, None),
        (480_000, 3_000_000, 3_000_000, None, None),
        (480_001, 3_000_000, 3_000_000, None, Some(USUAL)),
        (300_000, 3_000_000, 3_000_000, None, None),
    ] {
        let tracker = settling(step, age_us, behind, share);
        assert_eq!(tracker.reference, expected, "{step} {age_us} {behind} {share:?}");
        if expected.is_some() {
            assert_eq!(tracker.long.span(), Some((0, 0)), "begun anew at the newest point");
            assert_eq!(tracker.times.step_us, tracker.times(tracker.reference.unwrap()).step_us);
            assert_eq!(tracker.times.window_us, tracker.times(tracker.reference.unwrap()).window_us);
        }
    }
    // What was not as fast is let go.
    assert_eq!(settling(1, 3_000_000, 3_000_000, Some(74)).long.span(), Some((0, 0)));
    for (step, is_firm) in [(187_500, true), (187_501, false)] {
        let tracker = settling(step, 3_000_000, 3_000_000, Some(100));
        assert_eq!((tracker.reference, tracker.is_firm), (Some(USUAL), is_firm), "sixteen counts");
    }
}

/// A firm usual speed is followed by one as firm; one that is not by any.
#[test]
fn a_usual_speed_is_followed_as_it_becomes_firm() {
    for (step, was_firm, expected) in
        [(1, true, USUAL), (1, false, USUAL), (300_000, true, 5), (300_000, false, USUAL)]
    {
        let mut tracker = counting(step);
        (tracker.reference, tracker.is_firm, tracker.motion) = (Some(5), was_firm, Motion::Steady);
        tracker.anchor = Some(NOW);
        let _ = tracker.long.push(ago(3_000_000, 3_000_000), 1);
        tracker.extend_long(NOW);
        assert_eq!(tracker.reference, Some(expected), "{step} {was_firm}");
        assert_eq!(tracker.is_firm, was_firm || step == 1);
    }
}

/// It stood for what is left of the time since the strike once the way is taken off, and a count.
#[test]
fn a_start_is_late_after_more_than_two_seconds() {
    for (since_us, is_late) in [(5_000_001, false), (5_000_002, true)] {
        let mut tracker = counting(1);
        (tracker.is_firm, tracker.start) = (false, Start::Waited);
        tracker.band_start = Some(i64::from(NOW.angle - 3_000_000) << 8);
        tracker.waiting_since_us = Some(NOW.at_us - since_us);
        let _ = tracker.long.push(ago(3_000_000, 3_000_000), 1);
        for point in [ago(600_000, 600_000), NOW] {
            push_over(&mut tracker.short, point);
        }
        tracker.extend_long(NOW);
        assert_eq!(tracker.reference, Some(USUAL));
        assert_eq!((tracker.take_late_start(), tracker.take_late_start()), (is_late, false), "{since_us}");
    }
}

/// Three quarters of a count along the usual way, one and a half against it, is a move.
#[test]
fn a_move_is_clear_of_a_flicker_between_counts() {
    for (reference, moved, expected) in [
        (Some(1), 300, false),
        (Some(1), 301, true),
        (Some(1), -600, false),
        (Some(1), -601, true),
        (Some(-1), -301, true),
        (Some(-1), 600, false),
        (None, 301, true),
        (None, -301, true),
        (None, -300, false),
    ] {
        let mut tracker = counting(400);
        tracker.reference = reference;
        assert!(!tracker.note_move(ago(100, moved)), "the first");
        assert_eq!(tracker.note_move(NOW), expected, "{reference:?} {moved}");
        assert_eq!(tracker.quiet_us(NOW), if expected { 0 } else { 100 });
    }
    assert_eq!(Tracker::new().quiet_us(NOW), 0);
    assert_eq!((Tracker::new().step(), Tracker::new().error()), (0, 1));
}

/// A thirty-second of what a point is off the line of the two before, where the points are as far apart to a quarter.
#[test]
fn how_far_points_lie_off_their_line_is_learnt() {
    for (wait_us, before_us, residual, off, expected) in [
        (100_000, 100_000, 0, 3200, 100),
        (100_000, 100_000, 0, -3200, 100),
        (100_000, 100_000, 6400, 3200, 6300),
        (100_000, 100_000, 3200, 6400, 3300),
        (400_000, 300_000, 0, 3200, 100),
        (400_000, 299_999, 0, 3200, 0),
        (300_000, 375_000, 0, 3200, 100),
        (300_000, 375_001, 0, 3200, 0),
    ] {
        let mut tracker = counting(1);
        tracker.residual = residual;
        for point in [ago(wait_us + before_us, 5000 + 5000 + off), ago(wait_us, 5000 + off)] {
            push_over(&mut tracker.short, point);
        }
        tracker.learn_residual(NOW);
        assert_eq!(tracker.residual, expected, "{wait_us} {before_us} {residual} {off}");
    }
}

/// The mean of its readings, in time and angle; and readings of before a hole are in no point.
#[test]
fn a_point_is_the_mean_of_its_readings() {
    let mut tracker = Tracker::new();
    tracker.push(1_000_000, Angle::from_bits(0));
    tracker.push(1_050_000, Angle::from_bits(256 * 90));
    tracker.forget_speed();
    for (at_us, angle) in [(2_000_000, 100), (2_020_000, 110), (2_070_000, 150)] {
        tracker.push(at_us, Angle::from_bits(256 * angle));
    }
    tracker.tick(2_099_999);
    assert!(tracker.short.is_empty(), "a tenth of a second is not over");
    tracker.tick(2_100_000);
    assert_eq!(tracker.short.back(), Some(&Point { at_us: 2_030_000, angle: 120 }));
    for (at_us, angle) in [(2_110_000, 200), (2_150_000, 240)] {
        tracker.push(at_us, Angle::from_bits(256 * angle));
    }
    tracker.tick(2_210_000);
    assert_eq!(tracker.short.back(), Some(&Point { at_us: 2_130_000, angle: 220 }));
}

/// Points of the last 2.6 s are kept, and two at least.
#[test]
fn points_are_kept_for_as_long_as_slip_may_take() {
    let kept = |ages_us: &[u32]| {
        let mut tracker = counting(1);
        for &age_us in ages_us {
            push_over(&mut tracker.short, ago(age_us, 0));
        }
        tracker.push(u64::from(NOW.at_us), Angle::from_bits(0));
        tracker.tick(u64::from(NOW.at_us) + 100_000);
        tracker.short.len()
    };
    assert_eq!(kept(&[2_600_000, 1_000_000, 500_000]), 4);
    assert_eq!(kept(&[2_600_001, 1_000_000, 500_000]), 3);
    assert_eq!(kept(&[2_600_001]), 2);
    assert_eq!(kept(&[2_700_000, 2_600_001]), 2);
}

#[test]
fn what_is_forgotten_of_the_motion_is_all_of_it() {
    let mut tracker = counting(1);
    let _ = tracker.long.push(NOW, 1);
    (tracker.motion, tracker.anchor, tracker.is_late) = (Motion::Slipping, Some(NOW), true);
    (tracker.slip_since_us, tracker.still_since_us, tracker.waiting_since_us) = (Some(1), Some(2), Some(3));
    push_over(&mut tracker.short, NOW);
    tracker.forget_speed();
    assert!(tracker.long.span().is_none() && tracker.short.is_empty() && tracker.anchor.is_none());
    assert_eq!((tracker.motion, tracker.is_late), (Motion::Unknown, false));
    assert_eq!((tracker.slip_since_us, tracker.still_since_us, tracker.waiting_since_us), (None, None, None));
    assert!(matches!(tracker.leap, Leap::None));
}

/// Over a second and more than four counts, or what points are off; else as the usual speed says, while it is steady.
#[test]
fn a_way_is_clear_after_four_counts() {
    let way = |age_us, behind, residual, reference, motion| {
        let mut tracker = counting(400);
        (tracker.residual, tracker.reference, tracker.motion) = (residual, reference, motion);
        for point in [ago(age_us, behind), NOW] {
            push_over(&mut tracker.short, point);
        }
        tracker.direction()
    };
    let (up, down) = (Some(Direction::Increasing), Some(Direction::Decreasing));
    assert_eq!(way(1_000_000, 1601, 0, None, Motion::Unknown), up);
    assert_eq!(way(1_000_000, -1601, 0, None, Motion::Unknown), down);
    assert_eq!(way(1_000_000, 1600, 0, None, Motion::Unknown), None);
    assert_eq!(way(999_999, 1601, 0, None, Motion::Unknown), None);
    assert_eq!(way(1_000_000, 1601, 401, None, Motion::Unknown), None);
    assert_eq!(way(1_000_000, 1605, 401, None, Motion::Unknown), up);
    assert_eq!(way(1_000_000, 0, 0, Some(-5), Motion::Steady), down);
    assert_eq!(way(1_000_000, 0, 0, Some(1), Motion::Steady), up);
    assert_eq!(way(1_000_000, 0, 0, Some(-5), Motion::Unknown), None);
}

/// The speed now goes over half of the window, of 2.4 s at most.
#[test]
fn the_speed_now_is_that_of_half_a_window() {
    let mut tracker = counting(1);
    for point in [ago(2_400_000, 0), ago(1_200_000, 1_200_000), ago(600_000, 0), NOW] {
        push_over(&mut tracker.short, point);
    }
    tracker.times.window_us = u32::MAX;
    let speed = tracker.speed_now();
    assert_eq!(speed, Some(crate::units::turns_to_degrees(i64::from(USUAL) * 256).to_bits()));
}

/// No further than a limit is within it.
#[test]
fn a_move_of_a_limit_is_no_leap() {
    use crate::trackers::spindle::{LEAST_LEAP, LEAST_RESET, ZERO};
    let far = Angle::from_bits(1 << 30);
    for (angle, moved, step, stays, expected) in [
        (far, LEAST_RESET, 1, true, false),
        (far, LEAST_RESET + 1, 1, true, true),
        (far, LEAST_LEAP, 1, false, false),
        (far, LEAST_LEAP + 1, 1, false, true),
        (Angle::from_bits(ZERO), LEAST_RESET, 1, false, false),
        (Angle::from_bits(ZERO), LEAST_RESET + 1, 1, false, true),
        (Angle::from_bits(ZERO + 1), LEAST_RESET + 1, 1, false, false),
    ] {
        assert_eq!(is_leap(angle, moved as i32, 0, step, stays), expected, "{angle:?} {moved} {stays}");
    }
}
