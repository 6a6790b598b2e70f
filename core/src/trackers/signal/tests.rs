//! Channels that rest, are railed or missing: what must be found follows from the times and steps that are stated.

use super::*;
use crate::units::{Current, Temperature, Voltage};

/// An arc burns now.
const fn lit_at(now_us: u64) -> (u64, u64) {
    (now_us, now_us)
}

const ALL: ChannelSet = ChannelSet::from_bits((1 << Channel::COUNT) - 1);
const RANGE: Range = Range { low: -1000, high: 1_000_000 };
const RANGES: [Range; Channel::COUNT] = [RANGE; Channel::COUNT];

fn sample(time_us: u64, readings: &[(Channel, i32)]) -> Sample {
    readings.iter().fold(Sample::at(time_us), |sample, &(channel, raw)| sample.with_raw(channel, raw))
}

#[test]
fn the_ends_of_a_range_are_beyond_it() {
    let range = Range { low: 10, high: 20 };
    for (raw, expected) in [(9, true), (10, true), (11, false), (19, false), (20, true), (21, true)] {
        assert_eq!(is_beyond(raw, range), expected, "{raw}");
    }
}

#[test]
fn every_watched_channel_has_a_place_of_its_own() {
    for (index, channel) in WATCHED.into_iter().enumerate() {
        assert_eq!(place(channel), Some(index));
    }
    for channel in [Channel::Torch, Channel::Spindle, Channel::Carriage] {
        assert_eq!(place(channel), None);
    }
}

/// Full steps of 0.05 V, 0.5 A, 0.1 L/min are what a coarse meter shows, give or take a thousandth.
#[test]
fn a_reading_off_the_steps_of_a_coarse_meter_is_fine() {
    let volts = |milli| is_fine(Channel::Voltage, Voltage::from_milli(milli).to_bits());
    for sign in [1, -1] {
        for (milli, expected) in [
            (28_000, false),
            (28_050, false),
            (29_050, false),
            (28_051, false),
            (28_049, false),
            (28_052, true),
            (28_048, true),
            (28_025, true),
        ] {
            assert_eq!(volts(sign * milli), expected, "{milli}");
        }
    }
    let amps = |milli| is_fine(Channel::Current, Current::from_milli(milli).to_bits());
    assert_eq!([320_000, 320_500, 320_100, 320_050].map(amps), [false, false, true, true]);
    let gas = |milli| is_fine(Channel::Gas, FlowRate::from_milli(milli).to_bits());
    assert_eq!([17_500, 17_400, 17_450, 17_420].map(gas), [false, false, true, true]);
    let coolant = |milli| is_fine(Channel::Coolant, FlowRate::from_milli(milli).to_bits());
    assert_eq!([6_000, 6_100, 6_150, 6_020].map(coolant), [false, false, true, true]);
    for channel in [Channel::Wire, Channel::Work, Channel::Torch] {
        assert!(!is_fine(channel, 12_345), "{channel:?}: no steps are known");
    }
}

/// A cubic foot an hour is 28.316847 L / 60 min, a tenth of a gallon 0.3785411784 L (exact definitions).
#[test]
fn meters_of_other_units_are_coarse_too() {
    for feet in [1, 7, 35, 99] {
        let raw = FlowRate::cubic_feet_per_hour(feet).to_bits();
        assert!(is_on_cubic_feet(raw) && is_on_cubic_feet(-raw), "{feet}");
        assert!(!is_fine(Channel::Gas, raw), "{feet}");
        let half = FlowRate::from_milli(i64::from(feet) * 471_947 / 1000 + 236).to_bits();
        assert!(!is_on_cubic_feet(half) && !is_on_cubic_feet(-half), "{feet} and a half");
    }
    let raw = FlowRate::cubic_feet_per_hour(35).to_bits();
    assert!(is_on_cubic_feet(raw + 1) && is_on_cubic_feet(raw - 1));
    assert!(!is_on_cubic_feet(raw + 3) && !is_on_cubic_feet(raw - 3));
    // A thousand tenths of a gallon are 378.541 L, within 0.002 L.
    for sign in [1, -1] {
        for (milli, expected) in
            [(378_541, true), (378_543, true), (378_539, true), (378_544, false), (378_538, false), (0, true)]
        {
            assert_eq!(is_on_tenths_of_a_gallon(sign * milli), expected, "{milli}");
        }
    }
    assert!(is_on_tenths_of_a_gallon(6_057) && !is_on_tenths_of_a_gallon(6_050));
    assert!(!is_fine(Channel::Coolant, FlowRate::from_milli(6_057).to_bits()));
}

#[test]
fn a_channel_is_missing_after_its_time_and_only_where_it_is_wired() {
    let mut check = SignalCheck::new(ALL.without(Channel::Wire));
    check.start(1_000_000);
    assert!(!check.is_seen(Channel::Gas));
    assert_eq!(check.missing_since(Channel::Gas, 2_999_999, 2_000_000), None);
    assert_eq!(check.missing_since(Channel::Gas, 3_000_000, 2_000_000), Some(1_000_000));
    assert_eq!(check.missing_since(Channel::Wire, 9_000_000, 2_000_000), None, "not wired");
    let usable = check.observe(&sample(2_000_000, &[(Channel::Gas, 5), (Channel::Wire, 5)]), &RANGES, true);
    assert_eq!(usable, ChannelSet::EMPTY.with(Channel::Gas));
    check.tick(2_000_000, 20_000);
    assert!(check.is_seen(Channel::Gas) && !check.is_seen(Channel::Wire) && !check.is_seen(Channel::Work));
    assert_eq!(check.missing_since(Channel::Gas, 3_999_999, 2_000_000), None);
    assert_eq!(check.missing_since(Channel::Gas, 4_000_000, 2_000_000), Some(2_000_000));
    assert_eq!(check.missing_since(Channel::Work, 4_000_000, 2_000_000), Some(1_000_000));
    check.note_electrical();
    check.tick(4_000_000, 20_000);
    assert_eq!(check.missing_since(Channel::Current, 5_000_000, 2_000_000), None);
    assert_eq!(check.missing_since(Channel::Voltage, 5_000_000, 2_000_000), None);
    check.start(7_000_000);
    assert_eq!(check.missing_since(Channel::Work, 8_999_999, 2_000_000), None, "waits begin anew");
}

/// At the end of its range a reading is not used; it is railed until it is seen elsewhere; and an angle has no end.
#[test]
fn a_railed_reading_is_not_used() {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    for (channel, raw, is_usable) in [
        (Channel::Current, RANGE.high, false),
        (Channel::Current, RANGE.low, false),
        (Channel::Current, 0, true),
        (Channel::Voltage, RANGE.high, false),
        (Channel::Voltage, RANGE.low + 1, true),
        (Channel::Gas, RANGE.low, false),
        (Channel::Gas, 5, true),
        (Channel::Spindle, i32::MIN, true),
        (Channel::Work, RANGE.high, false),
    ] {
        let usable = check.observe(&sample(0, &[(channel, raw)]), &RANGES, true);
        assert_eq!(usable.contains(channel), is_usable, "{channel:?} {raw}");
        assert_eq!(check.is_railed(channel), !is_usable, "{channel:?} {raw}");
    }
    // The work is railed still, though this sample has none.
    let usable = check.observe(&sample(0, &[(Channel::Gas, 6), (Channel::Current, 1)]), &RANGES, true);
    assert_eq!(usable, ChannelSet::EMPTY.with(Channel::Gas).with(Channel::Current));
    assert!(check.is_railed(Channel::Work) && check.is_any_railed());
    assert_eq!((check.last(Channel::Work), check.last(Channel::Gas)), (RANGE.high, 6));
    // From the end of the range it comes back by a leap that is not held back.
    let usable = check.observe(&sample(0, &[(Channel::Work, 100)]), &RANGES, true);
    assert!(usable.contains(Channel::Work));
    assert!(!check.is_any_railed());
}

/// Coming to the end of the range again and again is spiking: three times in a band are many.
#[test]
fn rails_that_come_and_go_are_spikes() {
    let mut check = SignalCheck::new(ALL);
    check.begin_band(0);
    for round in 1..=3 {
        for _ in 0..5 {
            let _ = check.observe(&sample(0, &[(Channel::Gas, RANGE.high)]), &RANGES, true);
        }
        assert_eq!(check.spikes(Channel::Gas), round == 3, "{round}");
        let _ = check.observe(&sample(0, &[(Channel::Gas, 5)]), &RANGES, true);
    }
    check.begin_band(0);
    assert!(!check.spikes(Channel::Gas), "a band has spikes of its own");
}

/// The end that a railed reading is nearest to; in the middle the upper one.
#[test]
fn the_nearest_end_is_told() {
    let range = Range { low: -100, high: 100 };
    let mut check = SignalCheck::new(ALL);
    for (raw, end) in [(-100, -100), (-1, -100), (0, 100), (1, 100), (100, 100)] {
        check.note_odd(Some(raw), None);
        assert_eq!(check.rail(Channel::Current, range), end, "{raw}");
    }
    check.note_odd(None, Some(7));
    assert_eq!((check.last(Channel::Current), check.last(Channel::Voltage)), (100, 7));
}

/// 10 L/min more than nothing within a moment is a leap, held back three times at 50 a second where it may wait.
#[test]
fn a_leap_is_held_back_where_it_may_wait() {
    let gas = |milli| FlowRate::from_milli(milli).to_bits();
    let ranges = [Range { low: i32::MIN, high: i32::MAX }; Channel::COUNT];
    for (may_wait, held) in [(true, 3), (false, 0)] {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        let mut times_held = 0;
        for index in 0..10_u64 {
            let raw = if index < 3 { gas(5_000) } else { gas(15_000) };
            let usable = check.observe(&sample(index * 20_000, &[(Channel::Gas, raw)]), &ranges, may_wait);
            check.tick(index * 20_000, 20_000);
            times_held += i32::from(!usable.contains(Channel::Gas));
            assert_eq!(check.last(Channel::Gas) == raw, usable.contains(Channel::Gas), "{index}");
        }
        assert_eq!(times_held, held, "{may_wait}");
    }
    // After a gap there is nothing to leap from.
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    let _ = check.observe(&sample(0, &[(Channel::Gas, gas(5_000))]), &ranges, true);
    check.after_gap();
    assert!(!check.observe(&sample(9, &[(Channel::Gas, gas(15_000))]), &ranges, true).is_empty());
    check.start(20);
    assert!(!check.observe(&sample(29, &[(Channel::Gas, gas(5_000))]), &ranges, true).is_empty());
}

/// An angle that leaps is told as such when it stays, and no longer once it moves on.
#[test]
fn an_angle_that_leapt_is_told_with_the_reading_that_is_taken() {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    let mut leapt = [None; 9];
    for index in 0..9_u64 {
        let angle = if index < 3 { 0 } else { 1 << 30 };
        let usable = check.observe(&sample(index * 20_000, &[(Channel::Spindle, angle)]), &RANGES, true);
        check.tick(index * 20_000, 20_000);
        if usable.contains(Channel::Spindle) {
            leapt[index as usize] = Some(check.angle_leapt());
        }
        // Another channel changes nothing about it.
        let before = check.angle_leapt();
        let _ = check.observe(&sample(index * 20_000, &[(Channel::Gas, 5)]), &RANGES, true);
        assert_eq!(check.angle_leapt(), before);
    }
    let (leapt_at, quiet, held) = (Some(true), Some(false), None);
    assert_eq!(leapt, [quiet, quiet, quiet, held, held, held, leapt_at, quiet, quiet]);
}

/// A slow channel, read 10 times a second, that wobbles by `wobble` for 100 s and then stands for `stood_s` s at
/// `stands`: since when it is stuck, in s after it stood still.
fn stuck(channel: Channel, stands: i32, wobble: i32, stood_s: u64) -> Option<u64> {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    check.forget_repeats();
    let frozen = 1000;
    let last = frozen + stood_s * 10;
    for index in 0..=last {
        let now_us = index * 100_000;
        let raw = if index < frozen { stands + (index * 7919 % 101) as i32 * wobble / 100 } else { stands };
        let _ = check.observe(&sample(now_us, &[(channel, raw)]), &RANGES.map(|_| FAR), false);
        check.tick(now_us, 100_000);
        check.note_slow(channel, lit_at(now_us), true);
    }
    let now_us = last * 100_000;
    assert_eq!(check.last(channel), stands);
    check.stuck_since(channel, now_us, 3_000_000).map(|since_us| {
        // To a thousandth of a second, the unit that times are kept in.
        assert!(since_us.abs_diff(frozen * 100_000) < 1100, "{since_us}");
        (now_us - since_us + 500_000) / 1_000_000
    })
}
const FAR: Range = Range { low: i32::MIN, high: i32::MAX };

/// Slow meters may rest for 20 s, the work for 60 s; one that never moved for three times as long, where it is fine.
#[test]
fn a_slow_channel_is_stuck_after_its_rest() {
    let gas = FlowRate::from_milli(17_450).to_bits();
    for (stood_s, expected) in [(10, None), (19, None), (21, Some(21)), (40, Some(40))] {
        assert_eq!(stuck(Channel::Gas, gas, 400, stood_s), expected, "gas {stood_s}");
    }
    let work = Temperature::from_milli(200_000).to_bits();
    for (stood_s, expected) in [(30, None), (59, None), (61, Some(61)), (100, Some(100))] {
        assert_eq!(stuck(Channel::Work, work, 4000, stood_s), expected, "work {stood_s}");
    }
}

/// Since when a slow channel that never moved is stuck, if it is, after so many seconds at 10 readings a second.
fn never_moved(channel: Channel, raw: i32, seconds: u64) -> Option<u64> {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    assert!(!check.never_moved(channel));
    for index in 0..=seconds * 10 {
        let _ = check.observe(&sample(index * 100_000, &[(channel, raw)]), &RANGES.map(|_| FAR), true);
        check.tick(index * 100_000, 100_000);
        check.note_slow(channel, lit_at(index * 100_000), true);
    }
    assert!(check.never_moved(channel) && !check.moves(channel));
    check.stuck_since(channel, seconds * 1_000_000, 3_000_000)
}

#[test]
fn a_fine_reading_that_never_moved_is_stuck_after_a_minute_and_a_coarse_one_never() {
    let flow = |milli| FlowRate::from_milli(milli).to_bits();
    assert_eq!(never_moved(Channel::Gas, flow(17_450), 59), None);
    assert!(never_moved(Channel::Gas, flow(17_450), 61).is_some_and(|since_us| since_us < 1100));
    assert_eq!(never_moved(Channel::Gas, flow(17_500), 300), None, "a coarse meter shows that");
    assert_eq!(never_moved(Channel::Coolant, flow(6_150), 300), None, "a pump may be as steady");
    assert_eq!(never_moved(Channel::Work, 12_345, 300), None, "no steps of it are known");
}

/// A voltage under the arc, read a hundred times a tick of 20 ms, at `raw` from the start on.
fn flat_voltage(raw: i32, seconds: u64) -> Option<u64> {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    for tick in 0..=seconds * 50 {
        let mut gathered = Gather::EMPTY;
        for _ in 0..100 {
            gathered.push(raw);
        }
        check.note_under_arc(Channel::Voltage, tick * 20_000, &gathered, true);
    }
    assert_eq!(check.last(Channel::Voltage), raw);
    check.stuck_since(Channel::Voltage, seconds * 1_000_000, 3_000_000)
}

#[test]
fn a_fine_voltage_that_never_moved_is_stuck_after_half_a_minute() {
    let volts = |milli| Voltage::from_milli(milli).to_bits();
    assert_eq!(flat_voltage(volts(28_025), 29), None);
    assert!(flat_voltage(volts(28_025), 31).is_some_and(|since_us| since_us < 1100));
    assert_eq!(flat_voltage(volts(28_050), 100), None);
}

/// A voltage that moved and then stands is stuck after the time that is asked for, with no rest.
#[test]
fn an_electrical_channel_has_no_rest() {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    let tick = |check: &mut SignalCheck, index: u64, moves: bool| {
        let mut gathered = Gather::EMPTY;
        for reading in 0..100 {
            gathered
                .push(115_000 + if moves { (reading * 7919 + index as i32 * 104_729) % 401 * 4 } else { 0 });
        }
        check.note_under_arc(Channel::Voltage, index * 20_000, &gathered, true);
    };
    for index in 0..1000 {
        tick(&mut check, index, true);
    }
    for index in 1000..1200 {
        tick(&mut check, index, false);
        let since = check.stuck_since(Channel::Voltage, index * 20_000, 3_000_000);
        assert_eq!(since.is_some(), index >= 1151, "{index}");
        // Asked for no time at all: with the first tick that is flat.
        assert!(check.stuck_since(Channel::Voltage, index * 20_000, 0).is_some(), "{index}");
    }
    assert!(check.stands_since(Channel::Voltage, 24_000_000, 3_000_000).is_some());
    // Nothing was gathered: nothing is known.
    let (last, gathered) = (check.last(Channel::Voltage), Gather::EMPTY);
    check.note_under_arc(Channel::Voltage, 24_000_000, &gathered, true);
    assert_eq!(check.last(Channel::Voltage), last);
    // It is let go by a reading that is another, of a stuck channel that is in the sample.
    let stuck = ChannelSet::EMPTY.with(Channel::Voltage);
    let is_stuck = |check: &SignalCheck| check.stuck_since(Channel::Voltage, 24_000_000, 3_000_000).is_some();
    check.release(stuck, &sample(24_000_000, &[(Channel::Voltage, 115_000)]));
    assert!(is_stuck(&check), "the same reading");
    check.release(stuck, &sample(24_000_000, &[(Channel::Current, 7)]));
    assert!(is_stuck(&check), "another channel");
    check.release(ChannelSet::EMPTY, &sample(24_000_000, &[(Channel::Voltage, 115_001)]));
    assert!(is_stuck(&check), "not of those that are stuck");
    check.release(stuck, &sample(24_000_000, &[(Channel::Voltage, 115_001)]));
    assert!(!is_stuck(&check));
}

#[test]
fn what_does_not_come_is_no_reading_of_a_slow_channel() {
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    let raw = FlowRate::from_milli(17_450).to_bits();
    let _ = check.observe(&sample(0, &[(Channel::Gas, raw)]), &RANGES.map(|_| FAR), true);
    for index in 0..1000 {
        check.tick(index * 100_000, 100_000);
        check.note_slow(Channel::Gas, lit_at(index * 100_000), true);
    }
    assert!(check.moves(Channel::Gas), "one reading is none that stands");
    assert_eq!(check.stuck_since(Channel::Gas, 100_000_000, 3_000_000), None);
}

/// Gaps of the band: a wait far longer than the shortest, less the shortest. Read each 0.1 s, 2 s are missing once.
#[test]
fn what_is_not_seen_of_a_channel_is_counted_within_a_band() {
    let mut check = SignalCheck::new(ChannelSet::EMPTY.with(Channel::Gas).with(Channel::Wire));
    check.start(0);
    let both = ChannelSet::EMPTY.with(Channel::Gas).with(Channel::Wire);
    let see = |check: &mut SignalCheck, now_ms: u64, gas: bool, wire: bool| {
        let mut sample = Sample::at(now_ms * 1000);
        if gas {
            sample = sample.with_raw(Channel::Gas, now_ms as i32);
        }
        if wire {
            sample = sample.with_raw(Channel::Wire, now_ms as i32);
        }
        let _ = check.observe(&sample, &RANGES.map(|_| FAR), true);
        check.tick(now_ms * 1000, 100_000);
    };
    for tenth in 1..10 {
        see(&mut check, tenth * 100, true, true);
    }
    see(&mut check, 3000, true, true);
    assert_eq!(check.unseen_us(both), 0, "no band yet");
    check.begin_waits();
    for tenth in 31..=60 {
        see(&mut check, tenth * 100, !(41..60).contains(&tenth), true);
    }
    assert_eq!(check.unseen_us(ChannelSet::EMPTY.with(Channel::Gas)), 1_900_000);
    assert_eq!(check.unseen_us(ChannelSet::EMPTY.with(Channel::Wire)), 0);
    assert_eq!((check.unseen_us(both), check.nothing_seen_us()), (1_900_000, 0));
    see(&mut check, 9000, true, true);
    assert_eq!((check.unseen_us(both), check.nothing_seen_us()), (4_800_000 + 2_900_000, 2_900_000));
    check.end_band(9_000_000);
    see(&mut check, 20_000, true, true);
    assert_eq!(check.nothing_seen_us(), 2_900_000, "the band is over");
}

/// What a reading did before a start, or before its repeats were forgotten, does not make it stuck; what it did before a hole
/// does.
#[test]
fn a_reading_is_not_stuck_for_what_came_before_a_break() {
    let flow = FlowRate::from_milli(17_450).to_bits();
    let still = |check: &mut SignalCheck, from_s: u64, to_s: u64| {
        for index in from_s * 10..to_s * 10 {
            let _ =
                check.observe(&sample(index * 100_000, &[(Channel::Gas, flow)]), &RANGES.map(|_| FAR), true);
            check.tick(index * 100_000, 100_000);
            check.note_slow(Channel::Gas, lit_at(index * 100_000), true);
        }
    };
    let is_stuck = |check: &SignalCheck, at_s: u64| {
        check.stuck_since(Channel::Gas, at_s * 1_000_000, 3_000_000).is_some()
    };
    for (name, break_off) in [
        ("start", (|check: &mut SignalCheck| check.start(50_000_000)) as fn(&mut SignalCheck)),
        ("gap", SignalCheck::after_gap),
        ("repeats", SignalCheck::forget_repeats),
        ("nothing", |_| {}),
    ] {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        still(&mut check, 0, 50);
        break_off(&mut check);
        still(&mut check, 50, 70);
        assert_eq!(is_stuck(&check, 70), ["gap", "nothing"].contains(&name), "{name}");
        still(&mut check, 70, 115);
        assert!(is_stuck(&check, 115), "{name}");
    }
    // What was not read is no part of it.
    for (until_s, stuck) in [(63, true), (61, false)] {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        still(&mut check, 0, 50);
        still(&mut check, 52, until_s);
        assert_eq!(is_stuck(&check, until_s), stuck, "{until_s}");
    }
}

/// Of channels that never moved in a band: a voltage is odd, a current after 20 s, gas and coolant where they are read finely, no other.
#[test]
fn what_stood_oddly_in_a_band_is_told_by_its_channel() {
    let flow = |milli| FlowRate::from_milli(milli).to_bits();
    let flat = |channel: Channel, raw: i32| {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        check.begin_band(0);
        for tick in 0..1000 {
            let now_us = tick * 20_000;
            if ChannelSet::ELECTRICAL.contains(channel) {
                let mut gathered = Gather::EMPTY;
                gathered.push(raw);
                check.note_under_arc(channel, now_us, &gathered, true);
            } else {
                let _ = check.observe(&sample(now_us, &[(channel, raw)]), &RANGES.map(|_| FAR), true);
                check.tick(now_us, 20_000);
                check.note_slow(channel, lit_at(now_us), true);
            }
        }
        check.end_band(20_000_000);
        check.stood_oddly(ALL)
    };
    for (channel, raw, is_odd) in [
        (Channel::Voltage, Voltage::from_milli(28_000).to_bits(), true),
        (Channel::Current, Current::from_milli(320_000).to_bits(), true),
        (Channel::Gas, flow(17_450), true),
        (Channel::Gas, flow(17_500), false),
        (Channel::Coolant, flow(6_150), true),
        (Channel::Coolant, flow(6_000), false),
        (Channel::Wire, 12_345, false),
        (Channel::Work, 12_345, false),
    ] {
        let expected = if is_odd { ChannelSet::EMPTY.with(channel) } else { ChannelSet::EMPTY };
        assert_eq!(flat(channel, raw), expected, "{channel:?} {raw}");
    }
}

/// One stand of 15 s in a band of readings that move otherwise is odd, for any channel, and only of that band.
#[test]
fn one_long_stand_is_odd() {
    for channel in [Channel::Gas, Channel::Wire, Channel::Coolant, Channel::Work] {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        for index in 0..140 * 50_u64 {
            let now_us = index * 20_000;
            if index == 5 * 50 || index == 75 * 50 {
                check.begin_band(now_us);
            }
            let stands = (20 * 50..35 * 50).contains(&index);
            let raw = 70_000 + if stands { 0 } else { (index * 7919 % 401) as i32 };
            let _ = check.observe(&sample(now_us, &[(channel, raw)]), &RANGES.map(|_| FAR), false);
            check.tick(now_us, 20_000);
            check.note_slow(channel, lit_at(now_us), true);
            if index == 70 * 50 {
                check.end_band(now_us);
                assert_eq!(check.stood_oddly(ALL), ChannelSet::EMPTY.with(channel));
            }
        }
        check.end_band(140_000_000);
        assert_eq!(check.stood_oddly(ALL), ChannelSet::EMPTY, "{channel:?}: the next band moves");
    }
    // A stand that lasts until the band ends counts as well.
    let mut check = SignalCheck::new(ALL);
    check.start(0);
    check.begin_band(0);
    for index in 0..60 * 50_u64 {
        let raw = 70_000 + if index < 40 * 50 { (index * 7919 % 401) as i32 } else { 0 };
        let _ = check.observe(&sample(index * 20_000, &[(Channel::Wire, raw)]), &RANGES.map(|_| FAR), false);
        check.tick(index * 20_000, 20_000);
        check.note_slow(Channel::Wire, lit_at(index * 20_000), true);
    }
    assert_eq!(check.stood_oddly(ALL), ChannelSet::EMPTY, "not yet over");
    check.end_band(60_000_000);
    assert_eq!(check.stood_oddly(ALL), ChannelSet::EMPTY.with(Channel::Wire));
}

#[test]
fn what_is_not_watched_neither_moved_nor_stood() {
    let check = SignalCheck::new(ChannelSet::EMPTY);
    assert_eq!(check.nothing_seen_us(), 0);
    for channel in [Channel::Torch, Channel::Spindle, Channel::Carriage] {
        assert!(!check.never_moved(channel) && !check.moves(channel));
        assert_eq!(check.stuck_since(channel, u64::MAX, 0), None);
    }
}

/// Five times its mean is no current of an arc at 320 A: held back.
#[test]
fn a_leap_of_the_current_is_told() {
    let mut check = SignalCheck::new(ALL);
    let (amps, volts) = (Current::from_milli(320_000).to_bits(), Voltage::from_milli(30_000).to_bits());
    let reach = (Reach::around(amps, volts, 1000), 1);
    let mut leaps = |amps| check.leaping(1_000_000, (Some(amps), Some(volts)), volts, reach, 1000);
    assert_eq!(leaps(amps), ChannelSet::EMPTY);
    assert_eq!(leaps(5 * amps), ChannelSet::EMPTY.with(Channel::Current));
    assert!(!check.is_calm());
    let _ = check.leaping(1_001_000, (Some(amps), Some(volts)), volts, reach, 1000);
    assert!(check.is_calm());
}

/// A work temperature that stood still for 20 s before the band, and never so in it.
#[test]
fn work_that_stood_before_the_band_is_odd() {
    for (channel, is_odd) in [(Channel::Work, true), (Channel::Wire, false)] {
        let mut check = SignalCheck::new(ALL);
        check.start(0);
        for index in 0..90 * 50_u64 {
            let moves = !(10 * 50..30 * 50).contains(&index);
            let raw = if moves { 200_000 + index as i32 } else { 210_000 };
            if index == 30 * 50 {
                check.begin_band(index * 20_000);
                check.forget_repeats();
            }
            let _ = check.observe(&sample(index * 20_000, &[(channel, raw)]), &RANGES.map(|_| FAR), false);
            check.tick(index * 20_000, 20_000);
            check.note_slow(channel, lit_at(index * 20_000), true);
        }
        check.end_band(90_000_000);
        assert_eq!(check.stood_oddly(ALL).contains(channel), is_odd, "{channel:?}");
    }
}
