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
            found = found.or(Some((now_s, tracker.looked_back_us())));
        }
    }
    let (_, looked_us) = found.unwrap();
    let looked_s = looked_us as f64 / 1e6;
    // Twenty half cycles of one way round at least, sixty at most.
    assert!((19.0..=60.0).contains(&looked_s), "{looked_s}");
    let (least, most) = tracker.width_bounds().unwrap();
    assert!(mm(least) <= 24.0 && mm(most) >= 23.9);
}

/// Half cycles of a tack that came to no weave are forgotten by a band that begins more than a second later.
#[test]
fn a_band_forgets_half_cycles_that_came_to_nothing() {
    for (cycles_s, rest_s, is_kept) in [(1.6, 0.8, true), (1.6, 1.7, false), (8.0, 1.2, true)] {
        let mut tracker = Tracker::new();
        PLAIN.weave(&mut tracker, 0.0, cycles_s);
        let crossed_before = tracker.last_crossing_us;
        assert!(crossed_before.is_some());
        tracker.begin_band(((cycles_s + rest_s) * 1e6) as u64);
        assert_eq!(tracker.last_crossing_us.is_some(), is_kept, "{cycles_s} {rest_s}");
    }
    let mut tracker = Tracker::new();
    PLAIN.weave(&mut tracker, 0.0, 1.6);
    let last_us = tracker.last_crossing_us.unwrap();
    tracker.begin_band(last_us + 1_000_000);
    assert!(tracker.last_crossing_us.is_some(), "a second is no rest");
    tracker.begin_band(last_us + 1_000_001);
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
