//! A weave of known rate, width and centre; when it must be known, and when it is none, follows from the times stated.
#![allow(clippy::float_arithmetic, clippy::cast_precision_loss)]

use super::*;

const MM: f64 = 4096.0;
type Tracker = WeaveTracker<8>;

/// Cycles of 1 s (60 a minute), 24 mm wide around `centre_mm`.
#[derive(Clone, Copy)]
struct Torch {
    centre_mm: f64,
    width_mm: f64,
    cycle_us: u64,
    period_us: u64,
    triangle: bool,
}

const PLAIN: Torch =
    Torch { centre_mm: 30.0, width_mm: 24.0, cycle_us: 1_000_000, period_us: 20_000, triangle: false };

impl Torch {
    fn at(self, now_us: u64) -> i32 {
        let cycles = now_us as f64 / self.cycle_us as f64;
        let part = if self.triangle {
            let part = (cycles + 0.25).fract();
            1.0 - 4.0 * (part - 0.5).abs()
        } else {
            (cycles * core::f64::consts::TAU).sin()
        };
        ((self.centre_mm + self.width_mm / 2.0 * part) * MM).round() as i32
    }
    /// Moves the torch from one time to another, s.
    fn weave(self, tracker: &mut Tracker, from_s: f64, to_s: f64) {
        let (mut now_us, end_us) = ((from_s * 1e6) as u64, (to_s * 1e6) as u64);
        while now_us < end_us {
            tracker.push(now_us, self.at(now_us));
            now_us += self.period_us;
        }
        tracker.settle();
    }
}

fn mm(raw: i32) -> f64 {
    f64::from(raw) / MM
}
fn close(value: Option<i32>, expected_mm: f64, share: f64) -> bool {
    value.is_some_and(|value| (mm(value) - expected_mm).abs() <= share * expected_mm.abs())
}

#[test]
fn rate_width_and_centre_are_those_of_the_torch() {
    for sign in [1.0, -1.0] {
        for period_us in [2_000, 10_000, 20_000, 55_000] {
            let torch = Torch { centre_mm: 30.0 * sign, period_us, ..PLAIN };
            let mut tracker = Tracker::new();
            torch.weave(&mut tracker, 0.0, 12.0);
            let rate = f64::from(tracker.rate().unwrap()) / f64::from(1 << WeaveRate::FRACTION_BITS);
            assert!((rate - 60.0).abs() < 0.3, "{period_us}: {rate}");
            assert!(close(tracker.width(), 24.0, 0.01), "{period_us}: {:?}", tracker.width().map(mm));
            assert!(
                close(Some(tracker.centre()), 30.0 * sign, 0.02),
                "{period_us}: {}",
                mm(tracker.centre())
            );
            assert_eq!(tracker.settled_centre(), Some(tracker.centre()));
            let (least, most) = tracker.width_bounds().unwrap();
            // Half a spacing at either end, at the mean speed of twice the width a cycle.
            let missed = 2.0 * 24.0 * period_us as f64 / 1e6;
            let smoothed = if period_us <= 20_000 { 5.0 / 3.0 } else { 1.0 };
            assert!(mm(least) <= 24.01 && mm(most) >= 23.99, "{period_us}: {} {}", mm(least), mm(most));
            assert!(
                (mm(most - least) / (missed * smoothed) - 1.0).abs() < 0.12,
                "{period_us}: {}",
                mm(most - least)
            );
            assert!(!tracker.is_too_coarse());
            assert_eq!(tracker.looked_back_us(), 0);
        }
    }
}

/// Known with the fifth crossing either way, that is two whole cycles after the ends were reached; the centre after four.
#[test]
fn nothing_is_said_before_two_cycles() {
    let mut tracker = Tracker::new();
    let (mut known_ms, mut settled_ms, mut wide_ms) = (None, None, None);
    for now_ms in (0..8000_u64).step_by(20) {
        tracker.push(now_ms * 1000, PLAIN.at(now_ms * 1000));
        tracker.settle();
        assert_eq!(tracker.rate().is_some(), tracker.is_known());
        assert!(tracker.is_known() || tracker.width().is_none() && tracker.width_bounds().is_none());
        if tracker.is_known() {
            known_ms = known_ms.or(Some(now_ms));
            assert!(tracker.width_bounds().is_some());
        }
        if tracker.width().is_some() {
            wide_ms = wide_ms.or(Some(now_ms));
        }
        if tracker.settled_centre().is_some() {
            settled_ms = settled_ms.or(Some(now_ms));
        }
    }
    let (known_ms, settled_ms, wide_ms) = (known_ms.unwrap(), settled_ms.unwrap(), wide_ms.unwrap());
    assert!((3000..=4000).contains(&known_ms), "{known_ms}");
    assert!((4000..=5100).contains(&settled_ms), "{settled_ms}");
    assert!((4000..=6500).contains(&wide_ms), "{wide_ms}");
}

/// One and a half cycles without a crossing; from then on the rate is nothing and the width what still moves.
#[test]
fn a_weave_that_stops_is_told_after_a_cycle_and_a_half() {
    let mut tracker = Tracker::new();
    PLAIN.weave(&mut tracker, 0.0, 10.0);
    // It crossed its centre at 10.0 s and stands at an end.
    PLAIN.weave(&mut tracker, 10.0, 10.25);
    let end = PLAIN.at(10_250_000);
    for now_ms in (10_260..16_000_u64).step_by(20) {
        tracker.push(now_ms * 1000, end);
        tracker.settle();
        let expected = now_ms > 11_500;
        if now_ms.abs_diff(11_500) > 40 {
            assert_eq!(tracker.rate() == Some(0), expected, "{now_ms}");
            assert_eq!(tracker.width_bounds().is_none(), expected, "{now_ms}");
        }
        if now_ms > 12_600 {
            assert_eq!(tracker.width(), Some(0), "{now_ms}");
        }
    }
    assert!(!tracker.is_known());
    assert_eq!(tracker.settled_centre(), None);
    // It weaves again: known again after two cycles, around its centre.
    PLAIN.weave(&mut tracker, 16.0, 16.9);
    assert_eq!(tracker.rate(), None, "not before two cycles");
    PLAIN.weave(&mut tracker, 16.9, 24.0);
    assert!(close(tracker.width(), 24.0, 0.01));
    assert!(close(tracker.settled_centre(), 30.0, 0.01));
}

#[test]
fn before_the_first_cycle_it_is_waited_for_three_seconds() {
    let mut tracker = Tracker::new();
    for now_ms in (0..4000_u64).step_by(20) {
        tracker.push(now_ms * 1000, 5000);
        tracker.settle();
        assert_eq!(tracker.rate(), if now_ms > 3000 { Some(0) } else { None }, "{now_ms}");
    }
}

/// Less than a millimetre is no weave; a little more is.
#[test]
fn movement_below_a_millimetre_is_none() {
    for (width_mm, expected) in [(0.98, false), (1.1, true)] {
        let mut tracker = Tracker::new();
        Torch { width_mm, ..PLAIN }.weave(&mut tracker, 0.0, 12.0);
        assert_eq!(tracker.is_known(), expected, "{width_mm}");
    }
}

/// A torch that moves less than half the width for a whole cycle is told at once, one that moves more by its ends.
#[test]
fn a_weave_that_becomes_narrow_is_told_within_two_cycles() {
    for (width_mm, at_once) in [(5.0, true), (8.0, true), (14.0, false)] {
        let mut tracker = Tracker::new();
        PLAIN.weave(&mut tracker, 0.0, 10.0);
        let narrow = Torch { width_mm, ..PLAIN };
        narrow.weave(&mut tracker, 10.0, 12.1);
        assert_eq!(
            close(tracker.width(), width_mm, 0.02),
            at_once,
            "{width_mm}: {:?}",
            tracker.width().map(mm)
        );
        narrow.weave(&mut tracker, 12.1, 24.0);
        assert!(close(tracker.width(), width_mm, 0.02), "{width_mm}: {:?}", tracker.width().map(mm));
    }
}

/// One and a half times as wide: what came before was another weave.
#[test]
fn a_weave_that_becomes_wide_begins_anew() {
    let mut tracker = Tracker::new();
    Torch { width_mm: 8.0, ..PLAIN }.weave(&mut tracker, 0.0, 10.0);
    PLAIN.weave(&mut tracker, 10.0, 11.6);
    assert!(!tracker.is_known(), "the ends of before are gone");
    PLAIN.weave(&mut tracker, 11.6, 18.0);
    assert!(close(tracker.width(), 24.0, 0.01), "{:?}", tracker.width().map(mm));
}

/// A wait of more than half a cycle hides crossings: begun anew; half of one does not.
#[test]
fn a_hole_of_half_a_cycle_begins_anew() {
    for (hole_ms, is_kept) in [(480, true), (540, false)] {
        let mut tracker = Tracker::new();
        PLAIN.weave(&mut tracker, 0.0, 10.1);
        let after_s = 10.08 + f64::from(hole_ms) / 1e3;
        PLAIN.weave(&mut tracker, after_s, after_s + 0.001);
        assert_eq!(tracker.is_known(), is_kept, "{hole_ms}");
    }
}

/// Eight positions a cycle are asked for, with a sixty-fourth of grace.
#[test]
fn too_few_positions_give_no_width() {
    for (period_us, is_coarse) in [(110_000, false), (123_000, false), (130_000, true), (160_000, true)] {
        let mut tracker = Tracker::new();
        Torch { period_us, ..PLAIN }.weave(&mut tracker, 0.0, 20.0);
        assert!(tracker.is_known(), "{period_us}");
        assert_eq!(tracker.is_too_coarse(), is_coarse, "{period_us}");
        if is_coarse {
            assert_eq!((tracker.width(), tracker.width_bounds()), (None, None), "{period_us}");
        }
    }
}

/// A corner between few positions is known from many half cycles, and it is told how far back they lie.
#[test]
fn a_corner_is_known_from_many_cycles() {
    let mut tracker = Tracker::new();
    let torch = Torch { triangle: true, period_us: 82_576, ..PLAIN };
    torch.weave(&mut tracker, 0.0, 16.0);
    assert_eq!((tracker.width(), tracker.looked_back_us()), (None, 0));
    let mut found = None;
    for now_s in 16..90 {
        torch.weave(
            &mut tracker,
            f64::from(now_s) * 82_576.0 * 12.0 / 1e6,
            f64::from(now_s + 1) * 82_576.0 * 12.0 / 1e6,
        );
        if let Some(width) = tracker.width() {
            assert!(close(Some(width), 24.0, 0.01), "{now_s}: {}", mm(width));
            found = found.or(Some(tracker.looked_back_us()));
        }
    }
    let looked_s = found.unwrap() as f64 / 1e6;
    // Twenty half cycles of one way round at least, sixty at most.
    assert!((19.0..=60.0).contains(&looked_s), "{looked_s}");
    let (least, most) = tracker.width_bounds().unwrap();
    assert!(mm(least) <= 24.0 && mm(most) >= 23.9);
}

/// A band keeps the half cycles of a weave that is known and runs on, and none of one that rests or came to nothing.
#[test]
fn a_band_keeps_the_half_cycles_of_a_weave_that_runs_on_alone() {
    for (cycles_s, rest_s, is_kept) in [(1.6, 0.1, false), (8.0, 0.1, true), (8.0, 1.2, false)] {
        let mut tracker = Tracker::new();
        PLAIN.weave(&mut tracker, 0.0, cycles_s);
        assert!(tracker.last_crossing_us.is_some());
        tracker.begin_band(((cycles_s + rest_s) * 1e6) as u64);
        assert_eq!(tracker.last_crossing_us.is_some(), is_kept, "{cycles_s} {rest_s}");
    }
    // One that rested between two of its crossings, however it runs on.
    let mut tracker = Tracker::new();
    PLAIN.weave(&mut tracker, 0.0, 8.0);
    for crossings in [&mut tracker.upward, &mut tracker.downward] {
        for at_us in crossings.iter_mut().skip(3) {
            *at_us += 400_000;
        }
    }
    tracker.begin_band(8_100_000);
    assert!(tracker.last_crossing_us.is_none());
    Tracker::new().begin_band(u64::MAX);
}

#[test]
fn what_is_cleared_has_seen_nothing() {
    let mut tracker = Tracker::new();
    PLAIN.weave(&mut tracker, 0.0, 10.0);
    tracker.clear();
    assert_eq!((tracker.rate(), tracker.width(), tracker.settled_centre()), (None, None, None));
    assert!(tracker.previous.is_none() && !tracker.is_known());
}

/// A crossing is counted with the time since the last one the same way round: a cycle. Not before a low and a high
/// end were reached, which takes the first two seconds, and one more for the first way round again.
#[test]
fn each_half_cycle_is_counted_with_its_period() {
    let mut tracker = Tracker::new();
    let mut periods = [0_u64; 20];
    let mut count = 0;
    for now_ms in (0..9000_u64).step_by(20) {
        tracker.push(now_ms * 1000, PLAIN.at(now_ms * 1000));
        if let Some(period_us) = tracker.settle() {
            periods[count] = period_us;
            count += 1;
        }
    }
    assert!((10..=13).contains(&count), "{count}");
    assert!(periods[..count].iter().all(|period_us| period_us.abs_diff(1_000_000) < 3_000), "{periods:?}");
}

#[test]
fn a_crossing_lies_between_its_positions() {
    assert_eq!(interpolate(1000, -10, 2000, 30, 0), 1250);
    assert_eq!(interpolate(1000, 30, 2000, -10, 0), 1750);
    assert_eq!(interpolate(1000, 5, 2000, 5, 5), 2000, "no way at all");
    assert_eq!(interpolate(1000, 10, 2000, 20, 40), 2000, "beyond both");
}

#[test]
fn a_rate_is_cycles_a_minute() {
    let raw = |rate: i32| Some(WeaveRate::cycles_per_minute(rate).to_bits());
    assert_eq!(rate_per_minute(3, 2_000_000), raw(90));
    assert_eq!(rate_per_minute(0, 2_000_000), raw(0));
    assert_eq!(rate_per_minute(1, 0), None);
    assert_eq!(rate_per_minute(u64::MAX, 1), Some(i32::MAX));
    let mut crossings = Deque::<u32, 4>::new();
    assert_eq!(cycles(&crossings), (0, 0));
    for at_us in [u32::MAX - 999_999, 0, 1_000_000] {
        push_over(&mut crossings, at_us);
    }
    assert_eq!(cycles(&crossings), (2, 2_000_000));
}

/// Half of a cycle is no hole, and a microsecond more is one.
#[test]
fn a_hole_is_longer_than_half_a_cycle() {
    for (wait_us, is_kept) in [(50_000, true), (50_001, false)] {
        let mut tracker = Tracker::new();
        tracker.period_us = 100_000;
        tracker.push(0, 5);
        tracker.push(wait_us, 6);
        assert_eq!(tracker.previous.is_some(), is_kept, "{wait_us}");
    }
}

/// A side is taken once the torch moved a millimetre, and it is the one beyond the centre.
#[test]
fn a_side_is_taken_beyond_the_centre() {
    for (position, side) in
        [(LEAST_WIDTH - 1, Side::Unknown), (LEAST_WIDTH, Side::Above), (-LEAST_WIDTH, Side::Below)]
    {
        let mut tracker = Tracker::new();
        tracker.push(0, 0);
        tracker.push(20_000, position);
        assert_eq!(tracker.side, side, "{position}");
    }
    let with_ends = |position: i32, side: Side| {
        let mut tracker = Tracker::new();
        tracker.push(0, 0);
        (tracker.low, tracker.high, tracker.side) = (0, 100_000, side);
        tracker.push(20_000, position);
        tracker
    };
    assert_eq!(with_ends(50_000, Side::Unknown).side, Side::Below, "on the centre");
    assert_eq!(with_ends(50_001, Side::Unknown).side, Side::Above);
    // Clearly on a side: by more than a fifth of the width.
    for (position, side, is_clear) in [
        (70_000, Side::Above, false),
        (70_001, Side::Above, true),
        (30_000, Side::Below, false),
        (29_999, Side::Below, true),
    ] {
        assert_eq!(with_ends(position, side).guard_passed, is_clear, "{position}");
    }
}

#[test]
fn of_equal_positions_the_first_is_the_end() {
    let mut tracker = Tracker::new();
    tracker.push(0, 0);
    for position in [1, 2, 3, 5, 5, 3, 2, 1, 0, -3, -3, 0, 1, 2] {
        tracker.note_around(position);
    }
    assert_eq!(tracker.around_high, Some([1, 2, 3, 5, 5, 3, 2]));
    assert_eq!(tracker.around_low, Some([2, 1, 0, -3, -3, 0, 1]));
}

/// A cycle of 64 ms and a sixty-fourth of grace has 65 positions at one a millisecond.
#[test]
fn positions_a_cycle_are_counted_with_grace() {
    let tracker = Tracker { gap_us: 1000, period_us: 64_000, ..Tracker::new() };
    assert!(!tracker.has_fewer_than(65) && tracker.has_fewer_than(66));
}

/// An end that was not seen for eight half cycles is kept, and not for nine; once seen, it is counted anew.
#[test]
fn an_end_that_is_not_seen_again_is_forgotten() {
    let mut tracker = Tracker::new();
    PLAIN.weave(&mut tracker, 0.0, 12.0);
    assert_eq!((tracker.unseen_tops, tracker.unseen_bottoms), (0, 0));
    for upward in [true, false] {
        (tracker.around_high, tracker.around_low) = (None, None);
        for time in 1..=9 {
            tracker.take_end(12_000_000, upward);
            let (known, unseen) = if upward {
                (&tracker.tops, tracker.unseen_tops)
            } else {
                (&tracker.bottoms, tracker.unseen_bottoms)
            };
            assert_eq!((known.is_empty(), unseen), (time == 9, time), "{upward} {time}");
        }
    }
    PLAIN.weave(&mut tracker, 12.02, 14.0);
    assert_eq!((tracker.unseen_tops, tracker.unseen_bottoms), (0, 0));
}

fn queue<const N: usize>(values: &[i32]) -> Deque<i32, N> {
    let mut queue = Deque::new();
    for &value in values {
        push_over(&mut queue, value);
    }
    queue
}
const fn crossing(upward: bool) -> Crossing {
    Crossing { at_us: 900, upward, position: 77, within: (3, 4), is_new: true }
}

/// Half as wide again is another weave: not the half itself.
#[test]
fn a_wider_half_cycle_forgets_the_ends_of_before() {
    for (high, is_kept) in [(1500, true), (1501, false)] {
        let mut tracker = Tracker { low: 0, high, crossing: Some(crossing(true)), ..Tracker::new() };
        (tracker.lows, tracker.highs) = (queue(&[0, 0]), queue(&[1000, 1000]));
        (tracker.tops, tracker.bottoms) = (queue(&[1000]), queue(&[0]));
        (tracker.mean_low, tracker.mean_high) = (Some(0), Some(1000));
        push_over(&mut tracker.upward, 1);
        push_over(&mut tracker.downward, 2);
        tracker.settle_end();
        assert_eq!(tracker.began, (3, 4));
        let left = [
            !tracker.lows.is_empty(),
            !tracker.highs.is_empty(),
            !tracker.tops.is_empty(),
            !tracker.bottoms.is_empty(),
            !tracker.upward.is_empty(),
            !tracker.downward.is_empty(),
        ];
        assert_eq!(left, [is_kept; 6], "{high}");
    }
}

/// A crossing counts once both ends were reached; the next half cycle has an end of its own.
#[test]
fn a_crossing_of_a_centre_between_ends_that_were_not_reached_is_none() {
    for (lows, highs, counts) in [(1, 0, false), (0, 1, false), (1, 1, true)] {
        for upward in [true, false] {
            let mut tracker =
                Tracker { low: -5, high: 9, crossing: Some(crossing(upward)), ..Tracker::new() };
            (tracker.lows, tracker.highs) = (queue(&[-5][..lows]), queue(&[9][..highs]));
            assert_eq!(tracker.settle(), None);
            assert_eq!(tracker.upward.len() + tracker.downward.len(), usize::from(counts));
            assert_eq!((tracker.low, tracker.high), if upward { (-5, 77) } else { (77, 9) });
            assert_eq!(tracker.lows.len() + tracker.highs.len(), lows + highs, "it came from rest");
        }
    }
}

/// How wide it was for certain is noted while the torch moves over half of that; before a cycle is known, always.
#[test]
fn how_wide_it_was_is_not_taken_from_a_narrow_cycle() {
    for (moved, wide, expected) in [(None, 5000, 700), (Some(500), 1001, 700), (Some(500), 1002, 1002)] {
        let mut tracker =
            Tracker { low: 0, high: 700, wide, crossing: Some(crossing(true)), ..Tracker::new() };
        (tracker.lows, tracker.highs) = (queue(&[0, 0]), queue(&[700, 700]));
        (tracker.mean_low, tracker.mean_high) = (Some(0), Some(700));
        for at_us in [1, 2, 3] {
            push_over(&mut tracker.upward, at_us);
            push_over(&mut tracker.downward, at_us);
        }
        if let Some(moved) = moved {
            tracker.span.set_part(2);
            for now_us in 1..=3 {
                tracker.span.push(now_us, 0);
                tracker.span.push(now_us, moved);
            }
        }
        tracker.upward.clear();
        push_over(&mut tracker.upward, 2);
        push_over(&mut tracker.upward, 3);
        let _ = tracker.settle();
        assert!(tracker.is_known());
        assert_eq!(tracker.wide, expected, "{moved:?} {wide}");
    }
}

/// Before it is known three seconds after the last crossing, then one and a half cycles.
#[test]
fn a_weave_without_a_crossing_is_waited_for() {
    let mut tracker = Tracker { last_crossing_us: Some(0), period_us: 1_000_000, ..Tracker::new() };
    assert!(!tracker.is_stopped(3_000_000) && tracker.is_stopped(3_000_001));
    for at_us in [1, 2, 3] {
        push_over(&mut tracker.upward, at_us);
        push_over(&mut tracker.downward, at_us);
    }
    assert!(!tracker.is_stopped(1_500_000) && tracker.is_stopped(1_500_001));
    let tracker = Tracker { started_us: 5, ..Tracker::new() };
    assert!(!tracker.is_stopped(3_000_005) && tracker.is_stopped(3_000_006));
}

#[test]
fn a_weave_that_stopped_goes_on_from_where_the_torch_is() {
    let mut tracker = Tracker { gap_us: 9, wide: 8, low: -100, high: 100, ..Tracker::new() };
    tracker.forget_cycles(5, 77);
    assert_eq!((tracker.previous, tracker.started_us, tracker.stopped), (Some((5, 77)), 5, true));
    assert_eq!((tracker.low, tracker.high, tracker.recent), (77, 77, [77; 2]));
    assert_eq!((tracker.gap_us, tracker.wide, tracker.around), (9, 8, [77; AROUND]));
}

/// The mean of two tops and two bottoms at least; a cycle of less than half the width is told itself.
#[test]
fn the_width_is_that_of_two_ends_each() {
    for (tops, bottoms, expected) in [(2, 2, Some(13)), (1, 2, None), (2, 1, None), (1, 1, None)] {
        let mut tracker = Tracker::new();
        (tracker.tops, tracker.bottoms) = (queue(&[10, 12][..tops]), queue(&[1, 3][..bottoms]));
        assert_eq!(tracker.width(), expected, "{tops} {bottoms}");
        let mut phases = Phases::NONE;
        for index in 0..20_u32 {
            phases.push(u64::from(index), 500, (index % 8, 8), 80);
        }
        tracker.phases_top = phases;
        assert_eq!(tracker.looked_back_us(), if expected.is_some() { 0 } else { 19 });
    }
    let mut tracker = Tracker::new();
    tracker.span.set_part(2);
    for now_us in 1..=3 {
        tracker.span.push(now_us, 0);
        tracker.span.push(now_us, 500);
    }
    tracker.wide = 1000;
    assert_eq!(tracker.width(), None, "half is not less than half");
    tracker.wide = 1002;
    assert_eq!(tracker.width(), Some(500));
    assert_eq!(mean(&queue::<4>(&[5])), Some(5));
    assert_eq!(mean(&queue::<4>(&[])), None);
}

/// Open by 5 at either end: a hundredth of 1000, and more than one of 999.
#[test]
fn many_cycles_give_the_width_to_a_hundredth() {
    let phases = |high: i32| {
        let mut phases = Phases::NONE;
        for index in 0..20_u32 {
            let height = if index < 10 { high } else { high - 100 };
            phases.push(u64::from(index), height, (index % 8, 8), 400);
        }
        assert_eq!(phases.end(), Some((high + 2, 5)));
        phases
    };
    for (bottom, expected) in [(-4, Some(1000)), (-5, None)] {
        let tracker = Tracker { phases_top: phases(1000), phases_bottom: phases(bottom), ..Tracker::new() };
        assert_eq!(tracker.width(), expected);
    }
}

/// Twice what was reached, a position; five thirds of that where three are averaged.
#[test]
fn bounds_follow_from_the_positions_a_cycle() {
    let mut tracker = Tracker { low: 0, high: 3000, period_us: 1_000_000, gap_us: 1, ..Tracker::new() };
    for at_us in [1, 2, 3] {
        push_over(&mut tracker.upward, at_us);
        push_over(&mut tracker.downward, at_us);
    }
    for (positions, expected) in
        [(0, None), (1, Some(9000)), (30, Some(3200)), (47, Some(3127)), (48, Some(3208))]
    {
        tracker.positions_per_cycle = positions;
        assert_eq!(tracker.width_bounds(), expected.map(|most| (3000, most)), "{positions}");
    }
    // A centre wants four ends either way.
    for (lows, highs) in [(4, 3), (3, 4), (4, 4)] {
        (tracker.lows, tracker.highs) = (queue(&[0; 4][..lows]), queue(&[3000; 4][..highs]));
        assert_eq!(tracker.settled_centre().is_some(), lows + highs == 8);
    }
}
