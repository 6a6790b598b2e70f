//! The watch over a board's inputs, one step either side of every limit.

use bandward::link::BoardFaults;
use bandward::procedure::Range;
use bandward::sample::ChannelSet;
use bandward::units::{Current, Voltage};
use bandward::{Acquisition, Channel, Procedure, Sample};
use bandward_firmware::input_watch::{ArcSense, InputWatch};

const PERIOD_US: u64 = 100;

fn acquisition() -> Acquisition {
    Acquisition::every(PERIOD_US as u32, ChannelSet::ELECTRICAL)
        .with_sensor_range(Channel::Current, Range { low: -1000, high: 1000 })
}

fn quiet(time_us: u64) -> Sample {
    Sample::at(time_us).with_raw(Channel::Current, 0).with_raw(Channel::Voltage, 0)
}

/// One that has run for some time, and the time of its last sample.
fn running() -> (InputWatch, u64) {
    let mut watch = InputWatch::new(acquisition(), 2_000_000);
    let end_us = 3_000_000;
    for time_us in (0..=end_us).step_by(PERIOD_US as usize) {
        assert!(watch.take(&quiet(time_us)));
    }
    assert_eq!(watch.faults(), BoardFaults::default());
    (watch, end_us)
}

#[test]
fn the_time_may_stand_for_a_tenth_of_a_second_and_no_longer() {
    let (mut watch, end_us) = running();
    for sample in 1..=1100_u64 {
        assert!(watch.take(&quiet(end_us)));
        assert_eq!(watch.faults().bad_clock, sample * PERIOD_US >= 100_000, "sample {sample}");
    }
    assert!(watch.take(&quiet(end_us + PERIOD_US)));
    assert!(!watch.faults().bad_clock, "it moves again");
}

#[test]
fn a_leap_is_more_than_a_second_or_any_step_back() {
    for (step_us, is_leap) in [(1_000_000_i64, false), (1_000_001, true), (-1, true), (1 << 32, true)] {
        let (mut watch, end_us) = running();
        assert_eq!(watch.take(&quiet(end_us.wrapping_add_signed(step_us))), !is_leap, "{step_us} us");
        assert_eq!(watch.faults().bad_clock, is_leap, "{step_us} us");
    }
}

/// Back on the old time after wrong ones: none of them was taken. On a new time: the eighth is.
#[test]
fn a_clock_that_was_set_is_believed_after_eight_samples() {
    let (mut watch, end_us) = running();
    for wrong in 0..5 {
        assert!(!watch.take(&quiet(end_us + 5_000_000 * (wrong + 1))), "they do not agree");
    }
    assert!(watch.take(&quiet(end_us + PERIOD_US)));
    for start_us in [7, end_us + 900_000_000] {
        let (mut watch, _) = running();
        let taken: Vec<_> = (0..10).map(|i| watch.take(&quiet(start_us + i * PERIOD_US))).collect();
        let refused = taken.iter().take_while(|is_taken| !**is_taken).count();
        assert_eq!((refused, taken.len()), (7, 10));
        assert!(taken[7..].iter().all(|&is_taken| is_taken));
        assert!(!watch.faults().bad_clock, "the fault is over; the board keeps it until acknowledged");
    }
}

#[test]
fn the_rate_may_be_a_quarter_off() {
    for (true_us, is_wrong) in [
        (126, true),
        (124, false),
        (100, false),
        (76, false),
        (74, true),
        (3000, true),
        (10, true),
        (1, true),
    ] {
        let mut watch = InputWatch::new(acquisition(), 2_000_000);
        let mut time_us = 0;
        // Three seconds by the count of samples, or by their time: a clock that creeps takes hours to get there.
        for _ in 0..30_000 {
            time_us += true_us;
            watch.take(&quiet(time_us));
        }
        assert_eq!(watch.faults().wrong_rate, is_wrong, "every {true_us} us");
    }
}

/// A hole of under a second is the monitor's to judge; it makes no wrong rate.
#[test]
fn one_hole_is_no_wrong_rate() {
    let (mut watch, end_us) = running();
    for time_us in (0..3_000_000).step_by(PERIOD_US as usize) {
        watch.take(&quiet(end_us + 900_000 + time_us));
        assert_eq!(watch.faults(), BoardFaults::default());
    }
}

/// By the new time nobody has missed it yet: what was silent is so until it speaks.
#[test]
fn a_silent_channel_is_silent_through_a_leap_of_the_clock() {
    let (mut watch, mut time_us) = running();
    let mute = |time_us| Sample::at(time_us).with_raw(Channel::Voltage, 0);
    for _ in 0..25_000 {
        time_us += PERIOD_US;
        watch.take(&mute(time_us));
    }
    assert!(watch.faults().silent.contains(Channel::Current));
    time_us += 30_000_000;
    for _ in 0..10_000 {
        time_us += PERIOD_US;
        watch.take(&mute(time_us));
        assert!(watch.faults().silent.contains(Channel::Current), "at {time_us} us");
    }
    assert!(!watch.faults().bad_clock, "the new time is taken");
    for _ in 0..2_000 {
        time_us += PERIOD_US;
        watch.take(&quiet(time_us));
    }
    assert!(watch.faults().silent.is_empty(), "it speaks again");
}

#[test]
fn a_channel_is_silent_without_a_reading_and_at_the_ends_of_its_range() {
    for (raw, is_silent) in [(None, true), (Some(1000), true), (Some(-1000), true), (Some(999), false)] {
        let (mut watch, end_us) = running();
        for time_us in (end_us + 1..=end_us + 2_100_000).step_by(PERIOD_US as usize) {
            let sample = quiet(time_us).without(Channel::Current);
            watch.take(&raw.map_or(sample, |raw| sample.with_raw(Channel::Current, raw)));
            let is_early = time_us <= end_us + 2_000_000;
            assert!(!is_early || watch.faults().silent.is_empty(), "{raw:?} at {time_us} us");
        }
        assert_eq!(watch.faults().silent.contains(Channel::Current), is_silent, "{raw:?}");
        assert!(!watch.faults().silent.contains(Channel::Gas), "not wired");
        watch.take(&quiet(end_us + 2_150_000));
        assert!(watch.faults().silent.is_empty(), "it is back");
    }
}

/// The current from which an arc burns, for 20 ms; where none is wired, 10 V.
#[test]
fn an_arc_is_one_that_lasts() {
    let arc = Procedure::new().arc;
    let current = |milli| (Channel::Current, Current::from_milli(milli).to_bits(), ChannelSet::ELECTRICAL);
    let voltage = |milli| {
        let channels = ChannelSet::EMPTY.with(Channel::Voltage);
        (Channel::Voltage, Voltage::from_milli(milli).to_bits(), channels)
    };
    for ((channel, raw, channels), is_arc) in [
        (current(40_000), true),
        (current(-40_000), true),
        (current(39_900), false),
        (voltage(10_000), true),
        (voltage(-10_000), true),
        (voltage(9_900), false),
    ] {
        let mut sense = ArcSense::default();
        let mut take = |time_us, raw: Option<i32>| {
            let sample = Sample::at(time_us);
            let sample = raw.map_or(sample, |raw| sample.with_raw(channel, raw));
            sense.take(&sample, &arc, channels);
            (sense.may_burn(), sense.burns())
        };
        assert_eq!(take(1_000, Some(raw)), (is_arc, false), "{channel:?} {raw}");
        assert_eq!(take(20_999, Some(raw)), (is_arc, false));
        assert_eq!(take(21_000, Some(raw)), (is_arc, is_arc));
        // Without a reading it is not known to be out; after two seconds nothing is known.
        assert_eq!(take(2_000_000, None), (is_arc, is_arc));
        assert_eq!(take(2_021_001, None), (false, false));
        assert_eq!(take(2_100_000, Some(raw)), (is_arc, false));
        // Out for longer than the low time of a pulsed current.
        assert_eq!(take(2_150_000, Some(0)), (is_arc, false));
        assert_eq!(take(2_150_001, Some(0)), (false, false));
    }
}

/// A.5 again: before, neither a sample that was set aside nor the volts beside a current that is not read told of an arc, and
/// the flash was written beside one. Nor was one over whose clock was set back.
#[test]
fn an_arc_is_one_by_any_clock_and_without_a_current() {
    let arc = Procedure::new().arc;
    let amps = |amps: i64| Sample::at(5_000_000).current(Current::from_milli(1000 * amps));
    let mut sense = ArcSense::default();
    assert!(!sense.glimpse(&amps(20), &arc, ChannelSet::ELECTRICAL) && !sense.may_burn());
    assert!(sense.glimpse(&amps(300), &arc, ChannelSet::ELECTRICAL) && sense.may_burn());
    assert!(!sense.glimpse(&amps(300), &arc, ChannelSet::ELECTRICAL), "known");
    assert!(sense.take(&amps(0), &arc, ChannelSet::ELECTRICAL) && !sense.may_burn());
    // Volts alone, where a current is wired.
    for (milli, is_arc) in [(9_900, false), (31_000, true)] {
        let mut sense = ArcSense::default();
        for ms in 0..600 {
            let sample = Sample::at(ms * 1000).voltage(Voltage::from_milli(milli));
            sense.take(&sample, &arc, ChannelSet::ELECTRICAL);
        }
        assert_eq!((sense.may_burn(), sense.burns()), (is_arc, is_arc), "{milli} mV");
        // By turns with a current that there is not: the circuit is open.
        let mut sense = ArcSense::default();
        for ms in 0..600 {
            let sample = Sample::at(ms * 1000);
            let sample = if ms % 2 == 0 {
                sample.current(Current::ZERO)
            } else {
                sample.voltage(Voltage::from_milli(2 * milli))
            };
            sense.take(&sample, &arc, ChannelSet::ELECTRICAL);
            assert!(!sense.may_burn(), "{milli} mV at {ms} ms");
        }
    }
    // Whatever time it was by the clock by which a current was read last.
    let mut sense = ArcSense::default();
    sense.take(&Sample::at(3_600_000_000).current(Current::ZERO), &arc, ChannelSet::ELECTRICAL);
    for ms in 0..600 {
        let sample = Sample::at(ms * 1000).voltage(Voltage::from_milli(31_000));
        sense.take(&sample, &arc, ChannelSet::ELECTRICAL);
    }
    assert!(sense.burns());
    // The clock is set back by an hour while it burns.
    let mut sense = ArcSense::default();
    let mut take = |time_us, milli| {
        let sample = Sample::at(time_us).current(Current::from_milli(milli));
        sense.take(&sample, &arc, ChannelSet::ELECTRICAL);
        sense.may_burn()
    };
    assert!(take(3_600_000_000, 300_000) && take(1_000, 0) && take(51_000, 0) && !take(51_001, 0));
}

/// A.9 again: before, a clock that stood for just under a tenth of a second, again and again, was believed.
#[test]
fn a_clock_that_stands_again_and_again_is_a_wrong_rate() {
    let (mut watch, mut now_us) = running();
    for _ in 0..30 {
        for _ in 0..900 {
            watch.take(&quiet(now_us));
        }
        now_us += PERIOD_US;
    }
    assert!(watch.faults().wrong_rate);
}

/// A.1 again: before, each of these was no arc: it never lasted 20 ms above the current at which an arc is lit. On at
/// 40 A and off at 20 A, or on at 100 A and off at 50 A.
#[test]
fn a_pulsed_arc_is_one() {
    let amps = |amps: i64| Current::from_milli(1000 * amps).to_bits();
    let usual = Procedure::new().arc;
    let high = bandward::procedure::ArcSettings {
        current_on: Current::from_milli(100_000),
        current_off: Current::from_milli(50_000),
        ..usual
    };
    // Peak for so many ms, background for so many.
    for (arc, peak, background, is_arc) in [
        (usual, (350, 3), (30, 7), true),
        (usual, (300, 5), (35, 5), true),
        (high, (350, 3), (60, 7), true),
        (high, (350, 3), (95, 27), true),
        (high, (350, 3), (20, 40), true),
        (high, (99, 3), (95, 7), false),
        // A crackle of one reading in a hundred milliseconds.
        (usual, (350, 1), (0, 99), false),
    ] {
        let mut sense = ArcSense::default();
        for ms in 0..400_u64 {
            let (now, _) = if ms as i32 % (peak.1 + background.1) < peak.1 { peak } else { background };
            let sample = Sample::at(ms * 1000).with_raw(Channel::Current, amps(now));
            sense.take(&sample, &arc, ChannelSet::ELECTRICAL);
        }
        assert_eq!(sense.burns(), is_arc, "{peak:?} {background:?}");
    }
}
