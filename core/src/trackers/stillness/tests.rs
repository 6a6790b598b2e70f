//! Readings that move and stand; and one step either side of every limit that is stated.

use super::*;

/// An arc burns now.
const fn lit_at(now_us: u64) -> (u64, u64) {
    (now_us, now_us)
}

/// A reading of `width` (raw) that is rounded to `step`, `rate` times a second, then stands still.
fn found_after_s(width: i32, step: i32, rate: u64) -> Option<u64> {
    let mut still = Stillness::EMPTY;
    let mut draw = 1_u64;
    let frozen = 40 * rate;
    for index in 0..400 * rate {
        let now_us = index * 1_000_000 / rate;
        if index < frozen {
            draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        }
        let noise = i32::try_from(draw >> 33).unwrap() % (width + 1);
        let reading = (100_000 + noise + step / 2).div_euclid(step) * step;
        still.take(lit_at(now_us), (reading, reading), 1, true);
        let found = still.stuck_since(now_us, 3_000_000);
        assert!(found.is_none() || index >= frozen, "{width} {step} {rate}: moves at {index}");
        if found.is_some() {
            return Some((index - frozen) / rate);
        }
    }
    None
}

#[test]
fn the_finer_a_reading_the_sooner_it_is_found() {
    for rate in [5, 50, 1000] {
        assert_eq!(found_after_s(4096, 1, rate).map(|s| s <= 6), Some(true), "{rate}");
        assert_eq!(found_after_s(4096, 410, rate).map(|s| s <= 6), Some(true), "{rate}");
        assert_eq!(found_after_s(4096, 1500, rate).map(|s| (59..=62).contains(&s)), Some(true), "{rate}");
        assert_eq!(found_after_s(2048, 4096, rate), None, "{rate}");
    }
}

/// A reading of 40 steps, 50 times a second, that stands for so many tenths of a second of a band of 60 s, each 5 s after
/// the one before, and is read by the logger every so many rows only.
fn stood_oddly(tenths: &[u64], stands_at: i32, held_for: u64) -> bool {
    let stands = |index: u64| {
        let mut each = tenths.iter().zip([750, 1000, 1250, 1500]);
        each.any(|(tenths, from)| (from..from + tenths * 5).contains(&index))
    };
    let mut last = 0;
    let mut still = Stillness::EMPTY;
    let mut draw = 1_u64;
    for index in 0..70 * 50_u64 {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let noise = i32::try_from((draw >> 33) % 40).unwrap();
        let reading = if stands(index) { stands_at } else { 5_000 + noise };
        if index % held_for == 0 {
            last = reading;
        }
        let reading = last;
        if index == 5 * 50 {
            still.begin_band(index * 20_000);
        }
        still.take(lit_at(index * 20_000), (reading, reading), 1, true);
    }
    still.end_band(70_000_000);
    still.stood_oddly()
}

#[test]
fn a_stand_in_a_band_is_odd_where_the_reading_moves_all_the_time_else_and_a_meter_at_rest_is_not() {
    let odd = |tenths: &[u64]| stood_oddly(tenths, 5_020, 1);
    assert_eq!([0, 17, 19, 40, 150].map(|tenths| odd(&[tenths])), [false, false, true, true, true]);
    assert!(odd(&[20, 28, 5, 28]) && !odd(&[10, 14, 17]));
    assert!(!odd(&[20, 15, 28]), "told only where it has changed");
    assert!(!stood_oddly(&[150], 0, 1), "at zero it rests");
    // One that is read once in half a second, or a second, stands all the time.
    for held_for in [25, 50] {
        assert!(!stood_oddly(&[20, 15], 5_020, held_for), "{held_for}");
    }
}

/// Without an arc it may freeze too: from 1.8 s on, and ten readings, and four times what it rests.
#[test]
fn a_reading_freezes_where_it_moved_under_the_arc() {
    let freezes = |width, repeats, stood: u32, rest, value| {
        let still = Stillness { step: 10, width, repeats, since: 1000, rest, value, ..Stillness::EMPTY };
        still.freezes_since(u64::from(1000 + stood) << UNIT_BITS).map(|(since_us, _)| since_us)
    };
    assert_eq!(freezes(40, 10, 1758, 0, 500), Some(1_024_000));
    assert_eq!(freezes(40, 10, 1757, 0, 500), None);
    assert_eq!(freezes(40, 9, 1758, 0, 500), None);
    assert_eq!(freezes(39, 10, 1758, 0, 500), None, "too coarse to tell");
    assert_eq!(freezes(40, 10, 1758, 0, 10), None, "it rests");
    assert!(freezes(40, 10, 2000, 500, 500).is_some() && freezes(40, 10, 1999, 500, 500).is_none());
}

/// Four equal looks are no quiet meter that reads by chance what it stood at.
#[test]
fn a_reading_that_hangs_into_the_arc_hung_before_it() {
    let hung = |looks: u64, value: i32| {
        let mut still = Stillness { step: 10, width: 400, ..Stillness::EMPTY };
        for index in 0..20 {
            still.take((index * 140_000, 0), (value, value), 1, false);
        }
        still.begin_band(2_800_000);
        still.forget_repeats();
        for index in 20..40 {
            let read = if index < 20 + looks { value } else { value + 10 };
            still.take(lit_at(index * 140_000), (read, read), 1, true);
        }
        still.hung_before_us(false)
    };
    assert_eq!([0, 1, 3].map(|looks| hung(looks, 500)), [0; 3]);
    assert!([4, 9].map(|looks| hung(looks, 500)).iter().all(|&us| (2_790_000..=2_800_000).contains(&us)));
    assert_eq!(hung(9, 0), 0, "at zero it rests");
}

/// What was not read is no part of a stand, and does not end it.
#[test]
fn a_stand_goes_on_over_a_hole() {
    let stuck = |hole_us: u64| {
        let mut still = Stillness { step: 10, width: 40, ..Stillness::EMPTY };
        for index in 0..200_u64 {
            let now_us = index * 20_000 + if index < 100 { 0 } else { hole_us };
            if index == 100 {
                still.skip(now_us, hole_us + 20_000);
            }
            still.take(lit_at(now_us), (500, 500), 1, true);
        }
        still.stuck_since(hole_us + 3_980_000, 3_000_000).is_some_and(|since_us| since_us <= hole_us + 40_000)
    };
    assert!(stuck(0) && stuck(500_000) && stuck(60_000_000));
    // It cannot have stood since before it stood.
    let mut still = Stillness { since: 5_000, repeats: 3, ..Stillness::EMPTY };
    still.skip(5_500 << UNIT_BITS, 9_000 << UNIT_BITS);
    assert_eq!(still.since, 5_500);
}

/// A current read 50 times a second, in steps of `step`, that moves for `moves_s` of a band of 60 s and then
/// stands at 320 A.
fn stood_for_half(moves_s: u64, step: i32) -> bool {
    let mut still = Stillness::EMPTY;
    still.begin_band(0);
    for index in 0..60 * 50_u64 {
        let noise = if index < moves_s * 50 { (index % 7) as i32 * step } else { 0 };
        let reading = 320 * 4096 + noise;
        still.take(lit_at(index * 20_000), (reading, reading), 1, true);
    }
    still.end_band(60_000_000);
    still.stood_for_half()
}

#[test]
fn a_current_that_stands_for_half_of_a_band_does_so_unless_it_is_read_coarsely() {
    assert_eq!([0, 20, 45].map(|moves_s| stood_for_half(moves_s, 4096)), [true, true, false]);
    assert!(!stood_for_half(20, 10 * 4096), "in steps of 10 A it may");
}

#[test]
fn work_that_stood_before_the_band_and_never_in_it_stood_oddly() {
    let before = |stood_s: u64| {
        let mut still = Stillness::EMPTY;
        for index in 0..90 * 50_u64 {
            let moves = index < (30 - stood_s) * 50 || index >= 30 * 50;
            let reading = if moves { 200_000 + i32::try_from(index).unwrap() } else { 210_000 };
            if index == 30 * 50 {
                still.begin_band(index * 20_000);
                still.forget_repeats();
            }
            still.take(lit_at(index * 20_000), (reading, reading), 1, true);
        }
        still.end_band(90_000_000);
        still.stood_oddly_before()
    };
    assert_eq!([0, 2, 20].map(before), [false, false, true]);
}

#[test]
fn one_that_never_moved_has_no_habit_to_be_held_against() {
    let mut still = Stillness::EMPTY;
    for index in 0..10_000 {
        still.take(lit_at(index * 20_000), (77, 77), 1, true);
    }
    assert_eq!(still.stuck_since(200_000_000, 3_000_000), None);
    assert_eq!(still.never_moved_since(200_000_000, 30_000_000), Some(512), "within a unit of time");
}

/// Of stands of this length, in units, in this order, of so many readings each.
fn stands(lengths: &[u32], repeats: u16) -> Stands {
    lengths.iter().fold(Stands::EMPTY, |stands, &length| stands.with(length, 0, repeats))
}

#[test]
fn the_longest_stand_the_next_and_the_sum_are_kept() {
    let of = |lengths: &[u32]| {
        let Stands { longest, next, sum, count, .. } = stands(lengths, 1);
        (longest, next, sum, count)
    };
    assert_eq!(of(&[5, 9, 7]), (9, 7, 21, 3));
    assert_eq!(of(&[9, 5, 7]), (9, 7, 21, 3));
    assert_eq!(of(&[9, 7, 5]), (9, 7, 21, 3));
    assert_eq!(of(&[9, 9]), (9, 9, 18, 2));
    // Many readings in the longest, be there as many as need be, and only there.
    assert!(stands(&[9], LEAST_REPEATS).many && !stands(&[9], LEAST_REPEATS - 1).many);
    assert!(stands(&[9], 30).many && stands(&[9], 30).with(9, 0, 1).many, "the first of two as long");
    assert!(!stands(&[9], 1).with(8, 0, 30).many && !stands(&[9], 30).with(10, 0, 1).many);
}

/// 3 s; more than four times the next; more than eight times the mean.
#[test]
fn a_stand_is_odd_beside_the_others() {
    let odd = |longest, next, sum, count| Stands { longest, next, sum, count, ..Stands::EMPTY }.are_odd();
    assert!(odd(2930, 0, 0, 0) && !odd(2929, 0, 0, 0));
    assert!(odd(4001, 1000, 0, 1) && !odd(4000, 1000, 0, 1));
    assert!(odd(8001, 0, 3000, 3) && !odd(8000, 0, 3000, 3));
    assert!(odd(2930, 732, 0, 0) && !odd(2930, 733, 0, 0));
}

#[test]
fn a_stand_at_the_end_of_a_band_counts() {
    let ended = |repeats, value, step, since, ended_us| {
        let mut still = Stillness { since, value, step, repeats, ..Stillness::EMPTY };
        still.end_band(ended_us);
        still.stands.longest
    };
    assert_eq!(ended(1, 5, 4, 1000, 3000 << UNIT_BITS), 2000);
    assert_eq!(ended(0, 5, 4, 1000, 3000 << UNIT_BITS), 0, "it moves");
    assert_eq!(ended(1, 4, 4, 1000, 3000 << UNIT_BITS), 0, "within a step of zero it rests");
    assert_eq!(ended(1, 5, 4, 3001, 3000 << UNIT_BITS), 0, "it stood still after the end");
    let begun = |repeats| {
        let mut still = Stillness { repeats, since: 1000, stands: stands(&[9], 1), ..Stillness::EMPTY };
        still.begin_band(3000 << UNIT_BITS);
        (still.stands.before, still.stands.longest)
    };
    assert_eq!((begun(1), begun(0)), ((2000, 0), (0, 0)));
}

/// 20 s, and half of its time; a reading of one step in 64 is coarse.
#[test]
fn a_stand_for_half_of_a_band_is_long() {
    let for_half = |longest, sum, many, step| {
        let stands = Stands { longest, sum, many, value: 6400, ..Stands::EMPTY };
        // What it reads now, with the arc out, is none of it.
        Stillness { value: 0, step, stands, ..Stillness::EMPTY }.stood_for_half()
    };
    assert!(for_half(19_531, 39_062, true, 1) && !for_half(19_530, 0, true, 1));
    assert!(!for_half(19_531, 39_063, true, 1) && !for_half(19_531, 0, false, 1));
    assert!(for_half(19_531, 0, true, 100) && !for_half(19_531, 0, true, 101));
    let fine = |step| Stillness { value: -6400, step, ..Stillness::EMPTY }.is_seen_fine();
    assert_eq!([0, 1, 100, 101].map(fine), [false, true, true, false]);
}

/// 20 s, where it usually moves by more than a step: six fifths of it; for less, one and a half.
#[test]
fn a_flow_that_visits_three_digits_does_not_rest_on_one() {
    let odd = |width, longest| {
        let stands = Stands { longest, sum: longest, count: 100, ..Stands::EMPTY };
        let still = Stillness { step: 10, width, stands, ..Stillness::EMPTY };
        (still.flow_stood_oddly(), still.stood_oddly())
    };
    assert_eq!(odd(12, 19_531), (true, false));
    assert_eq!(odd(11, 19_531), (false, false), "between two digits alone");
    assert_eq!(odd(12, 19_530), (false, false));
    assert_eq!(odd(15, 19_530), (true, true));
    let never_read = Stillness { stands: Stands { longest: 19_531, ..Stands::EMPTY }, ..Stillness::EMPTY };
    assert!(!never_read.flow_stood_oddly());
}

/// The band is over, and the arc out, before it moves again.
#[test]
fn a_stand_past_the_end_of_its_band_counts_once() {
    let mut still = Stillness { value: 500, step: 1, repeats: 5, since: 1000, ..Stillness::EMPTY };
    still.end_band(3000 << UNIT_BITS);
    still.take((4000 << UNIT_BITS, 3000 << UNIT_BITS), (600, 600), 1, false);
    assert_eq!((still.stands.longest, still.stands.next, still.stands.count), (2000, 0, 1));
}

/// 20 s, and fifteen sixteenths of its time, of many readings: it moved at its ends alone.
#[test]
fn a_stand_for_nearly_all_of_a_band_is_flat() {
    let flat = |longest, sum, many| {
        let stands = Stands { longest, sum, many, moved: true, ..Stands::EMPTY };
        Stillness { stands, ..Stillness::EMPTY }.was_flat()
    };
    assert!(flat(19_531, 19_531, true) && !flat(19_530, 19_530, true));
    assert!(flat(30_000, 32_000, true) && !flat(30_000, 32_001, true));
    assert!(!flat(30_000, 30_000, false));
}

/// Half a degree is read finely; a reading that never moved is not known to be.
#[test]
fn a_reading_is_as_fine_as_its_smallest_step() {
    let read_in = |step| Stillness { step, ..Stillness::EMPTY }.is_read_in(128);
    assert_eq!([0, 1, 128, 129].map(read_in), [false, true, true, false]);
}

#[test]
fn a_stand_before_the_band_is_odd_beside_those_in_it() {
    let odd = |before, longest| {
        Stillness { stands: Stands { longest, before, ..Stands::EMPTY }, ..Stillness::EMPTY }
            .stood_oddly_before()
    };
    assert!(odd(2930, 0) && !odd(2929, 0));
    assert!(odd(4001, 1000) && !odd(4000, 1000));
    assert!(odd(2930, 732) && !odd(2930, 733));
}

#[test]
fn moving_and_flat_are_told_by_repeats() {
    let with =
        |repeats, moved| Stillness { repeats, stands: Stands { moved, ..Stands::EMPTY }, ..Stillness::EMPTY };
    assert!(with(29, false).moves() && !with(30, false).moves());
    assert!(with(1, false).was_flat() && !with(0, false).was_flat() && !with(1, true).was_flat());
    assert!(with(1, false).never_moved() && !with(0, false).never_moved());
    assert!(!Stillness { step: 1, ..with(1, false) }.never_moved());
    // Half steps: 4 halves of a step of 10 are 20.
    let spans = |width| Stillness { step: 10, width, ..Stillness::EMPTY }.spans(4);
    assert!(spans(20) && !spans(19) && !Stillness { width: 99, ..Stillness::EMPTY }.spans(4));
}

/// The smallest difference: within a reading, to the one before, and to the ends of the window.
#[test]
fn a_step_is_the_smallest_difference() {
    let step = |still: Stillness, least, greatest| {
        let mut still = still;
        still.note_step(least, greatest);
        still.step
    };
    let read = Stillness { value: 100, since: 1, ..Stillness::EMPTY };
    let in_window = Stillness { window_readings: 1, low: 50, high: 200, ..read };
    assert_eq!(step(in_window, 103, 190), 3, "to the one before");
    assert_eq!(step(in_window, 130, 137), 7, "within");
    assert_eq!(step(in_window, 55, 150), 5, "to the lowest");
    assert_eq!(step(in_window, 150, 206), 6, "to the highest");
    assert_eq!(step(in_window, 100, 200), 50, "none at all tells nothing");
    assert_eq!(step(Stillness { step: 2, ..in_window }, 103, 190), 2, "smaller before");
    assert_eq!(step(read, 103, 103), 3, "without an arc too");
    assert_eq!(step(read, 93, 98), 2, "and from the greatest to the one before");
    let before = Stillness { value: 100, ..Stillness::EMPTY };
    assert_eq!((step(before, 103, 103), step(before, 103, 107)), (0, 4), "nothing was read before");
}

/// A window of a second and ten readings; a habit grows by an eighth, shrinks by a quarter, and begins with half.
#[test]
fn a_habit_is_learnt_from_windows() {
    let learnt = |width, low, high, length: u16, readings, passed_over| {
        let mut still = Stillness { width, low, high, passed_over, window_start: 65_000, ..Stillness::EMPTY };
        (still.window_readings, still.rest) = (readings, 320);
        still.widen(u32::from(65_000_u16.wrapping_add(length)) + (7 << 16), (low, high), 1);
        (still.width, still.window_readings, still.rest)
    };
    assert_eq!(learnt(0, 10, 90, 977, 9, 0), (40, 0, 300));
    assert_eq!(learnt(0, 10, 90, 976, 9, 0), (0, 10, 320), "less than a second");
    assert_eq!(learnt(0, 10, 90, 977, 8, 0), (0, 9, 320), "nine readings");
    assert_eq!(learnt(160, 10, 90, 977, 9, 0), (140, 0, 300), "a quarter of what is less");
    assert_eq!(learnt(16, 10, 90, 977, 9, 0), (24, 0, 300), "an eighth of what is more");
    assert_eq!(learnt(16, 10, 10, 977, 9, 0), (16, 0, 320), "it stood");
    assert_eq!(learnt(16, 10, 90, 977, 9, 1), (16, 0, 320), "passed over");
    // A new window begins with its own reading.
    let mut still = Stillness { low: -99, high: 99, ..Stillness::EMPTY };
    still.widen(70_000, (3, 5), 2);
    assert_eq!((still.low, still.high, still.window_readings), (3, 5, 2));
    assert_eq!(u32::from(still.window_start), 70_000 - 65_536);
    still.widen(70_001, (1, 9), 1);
    assert_eq!((still.low, still.high, still.window_readings), (1, 9, 3));
    still.forget_repeats();
    assert_eq!((still.repeats, still.window_readings, still.passed_over), (0, 0, 2));
    let mut still = Stillness { window_readings: 5, repeats: 5, ..Stillness::EMPTY };
    still.skip(0, 0);
    assert_eq!((still.repeats, still.window_readings), (5, 0));
}

/// Eight half steps wide: 30 readings; three: 200 and a minute; each four times as long as it rested of late.
#[test]
fn a_stand_is_held_against_its_habit() {
    let stuck = |width, repeats, stood: u32, rest, least_us| {
        let still = Stillness { step: 10, width, repeats, since: 1000, rest, ..Stillness::EMPTY };
        still.stuck_since(u64::from(1000 + stood) << UNIT_BITS, least_us).is_some()
    };
    assert!(stuck(40, 30, 5000, 0, 5_120_000) && !stuck(40, 30, 4999, 0, 5_120_000));
    assert!(!stuck(40, 29, 5000, 0, 0));
    assert!(stuck(40, 30, 400, 100, 0) && !stuck(40, 30, 399, 100, 0));
    assert!(!stuck(39, 199, 90_000, 0, 0) && stuck(39, 200, 90_000, 0, 0));
    assert!(stuck(15, 200, 58_594, 0, 0) && !stuck(15, 200, 58_593, 0, 0), "a minute");
    assert!(stuck(15, 200, 90_000, 0, 92_160_000) && !stuck(15, 200, 89_999, 0, 92_160_000));
    assert!(!stuck(14, 999, 90_000, 0, 0));
    let never = |step, repeats| {
        Stillness { step, repeats, ..Stillness::EMPTY }
            .never_moved_since(9000 << UNIT_BITS, 9_216_000)
            .is_some()
    };
    assert!(never(0, 200) && !never(0, 199) && !never(1, 200));
}

/// What stood still and moves again: how long is kept as its rest, unless it was stuck, and as a stand of the band.
#[test]
fn how_long_it_rested_is_learnt_as_it_moves() {
    let moved = |rest, repeats, stood: u32, lit: u32, settled| {
        let mut still =
            Stillness { value: 500, step: 10, width: 100, repeats, rest, since: 1000, ..Stillness::EMPTY };
        let times_us = (u64::from(1000 + stood) << UNIT_BITS, u64::from(1000 + lit) << UNIT_BITS);
        still.take(times_us, (600, 600), 3, settled);
        assert_eq!((still.value, still.since, still.repeats), (600, 1000 + stood, 3));
        (still.rest, still.stands.longest)
    };
    assert_eq!(moved(0, 5, 700, 700, true), (700, 700));
    assert_eq!(moved(900, 5, 700, 700, true), (900, 700), "it rested for longer");
    assert_eq!(moved(0, 5, 700, 700, false), (0, 700), "the arc is not settled");
    assert_eq!(moved(0, 5, 700, 600, false), (0, 600), "the arc went out before it moved");
    assert_eq!(moved(0, 5, 700, 0, false), (0, 0), "the arc went out before it stood");
    assert_eq!(moved(0, 0, 700, 700, true), (0, 0), "it did not stand");
    assert_eq!(moved(0, 30, 2930, 2930, true), (0, 2930), "it was stuck");
    assert_eq!(moved(0, 30, 2929, 2929, true), (2929, 2929), "for less than three seconds it was not");
    let mut still = Stillness { value: 10, step: 10, repeats: 5, ..Stillness::EMPTY };
    still.take(lit_at(900 << UNIT_BITS), (600, 700), 3, true);
    assert_eq!(
        (still.stands.longest, still.repeats, still.value),
        (0, 0, 700),
        "within a step of zero it rests"
    );
    // As it stands on, its readings are counted.
    let mut still = Stillness { value: 500, repeats: 5, since: 7, ..Stillness::EMPTY };
    still.take(lit_at(900 << UNIT_BITS), (500, 500), 3, true);
    assert_eq!((still.repeats, still.since), (8, 7));
}
