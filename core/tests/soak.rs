//! Weeks on end in one run: thousands of joints, time past 2^32 and 2^40 us, every sum against wide integers.
//!
//! Decides: what a board must not lose or round away however long it runs.
//! Assumes: nothing of how the core adds up; the sums here are plain ones over all that was put in.
//! Never: lasts for more than seconds unless asked: `cargo test --release -p bandward --test soak -- --ignored` runs
//! a thousand hours.
#![allow(clippy::arithmetic_side_effects, clippy::indexing_slicing, clippy::unwrap_used)]

use bandward::procedure::Limits;
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, JointRecord, Monitor, Outcome, Procedure, Quantity, Sample,
    Sink, SoundProcedure,
};

const PERIOD_US: u64 = 20_000;
const BANDS: u16 = 3;
const ARC_SAMPLES: u64 = 60 * 50;
const PAUSE_SAMPLES: u64 = 40 * 50;
const JOINT_SAMPLES: u64 = BANDS as u64 * (ARC_SAMPLES + PAUSE_SAMPLES);
/// An arc of 80 minutes: longer than 2^32 us.
const LONG_ARC_SAMPLES: u64 = 80 * 60 * 50;
const HOUR_SAMPLES: u64 = 3600 * 50;

const WRITTEN: Procedure = {
    let mut procedure = Procedure::new()
        .limited(Quantity::Current, Limits::allowed(Current::amps(280).to(Current::amps(360))))
        .limited(Quantity::Voltage, Limits::allowed(Voltage::volts(30).to(Voltage::volts(33))))
        .limited(Quantity::GasFlow, Limits::allowed(FlowRate::litres_per_minute(15).or_more()));
    procedure.joint.bands = BANDS;
    procedure
};

/// One band, added up by hand.
#[derive(Clone, Copy, Default)]
struct Sums {
    samples: u32,
    current: i128,
    voltage: i128,
    power: i128,
    lowest_a: i32,
    highest_a: i32,
    first_us: u64,
    last_us: u64,
}

impl Sums {
    fn add(&mut self, time_us: u64, current: i32, voltage: i32) {
        if self.samples == 0 {
            *self = Self { first_us: time_us, lowest_a: current, highest_a: current, ..*self };
        }
        self.samples += 1;
        self.current += i128::from(current);
        self.voltage += i128::from(voltage);
        self.power += i128::from(current) * i128::from(voltage);
        self.lowest_a = self.lowest_a.min(current);
        self.highest_a = self.highest_a.max(current);
        self.last_us = time_us;
    }
    /// Is it the mean to the nearest? Halfway both neighbours are.
    fn has_mean(&self, sum: i128, mean: i32) -> bool {
        let count = i128::from(self.samples);
        2 * (i128::from(mean) * count - sum).abs() <= count
    }
}

/// Holds every record against the sums.
#[derive(Default)]
struct Auditor {
    band: Sums,
    bands: u64,
    joints: u64,
    alarms: u64,
    /// Over all records.
    arc_us: u128,
    samples: u128,
}

impl Sink for Auditor {
    fn event(&mut self, event: &Event) {
        self.alarms += u64::from(matches!(event, Event::Alarm(_)));
    }
    fn band(&mut self, record: &BandRecord) {
        let (current, voltage) = (record.current.unwrap(), record.voltage.unwrap());
        let which = format!("joint {}, band {}", record.joint, record.band);
        assert_eq!(u64::from(record.joint), self.joints + 1, "{which}");
        assert_eq!(u64::from(record.band), self.bands % u64::from(BANDS) + 1, "{which}");
        assert_eq!(record.samples, self.band.samples, "{which}");
        assert_eq!((record.start_us, record.end_us), (self.band.first_us, self.band.last_us), "{which}");
        assert!(self.band.has_mean(self.band.current, current.mean.to_bits()), "{which}");
        assert!(self.band.has_mean(self.band.voltage, voltage.mean.to_bits()), "{which}");
        assert_eq!(current.minimum.to_bits(), self.band.lowest_a, "{which}");
        assert_eq!(current.maximum.to_bits(), self.band.highest_a, "{which}");
        assert_eq!(record.arc_time_us, self.band.last_us - self.band.first_us, "{which}");
        // Of 24 fraction bits, down to 8.
        let power = i128::from(record.arc_power.unwrap().to_bits()) << 16;
        let count = i128::from(self.band.samples);
        assert!(2 * (power * count - self.band.power).abs() <= count << 16, "{which}");
        assert_eq!(record.outcome, Outcome::Proven, "{which}");
        self.bands += 1;
        self.arc_us += u128::from(record.arc_time_us);
        self.samples += u128::from(record.samples);
        self.band = Sums::default();
    }
    fn joint(&mut self, record: &JointRecord) {
        assert_eq!((record.bands, record.outcome), (BANDS, Outcome::Proven), "joint {}", record.joint);
        self.joints += 1;
    }
}

/// Runs so many joints, from a clock that already stands at `start_us`.
fn soak(joints: u64, start_us: u64) {
    soak_arcs(joints, start_us, ARC_SAMPLES);
}

/// As [`soak`], with arcs of so many samples.
fn soak_arcs(joints: u64, start_us: u64, arc_samples: u64) {
    let procedure = SoundProcedure::of(WRITTEN).unwrap();
    let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
    let mut monitor = Monitor::new(&procedure, Acquisition::every(PERIOD_US as u32, channels));
    let (mut auditor, mut dice) = (Auditor::default(), 0x9E37_79B9_7F4A_7C15_u64);
    let joint_samples = u64::from(BANDS) * (arc_samples + PAUSE_SAMPLES);
    let whole = joints * joint_samples;
    // And on until the gas after the last band is seen to stop.
    for number in 0..whole + PAUSE_SAMPLES {
        let time_us = start_us + number * PERIOD_US;
        let into_joint = number % joint_samples;
        if into_joint == 0 && (1..whole).contains(&number) {
            monitor.mark_joint(time_us, &mut auditor);
        }
        let into_band = into_joint % (arc_samples + PAUSE_SAMPLES);
        let burns = into_band >= PAUSE_SAMPLES;
        // From 5 s before the arc to 10 s after it.
        let flows = !(500..PAUSE_SAMPLES - 250).contains(&into_band);
        dice ^= dice << 13;
        dice ^= dice >> 7;
        dice ^= dice << 17;
        // Within 8 A and 0.5 V of the middle.
        let current = Current::amps(320).to_bits() + (dice & 0xFFFF) as i32 - 0x8000;
        let voltage = Voltage::from_milli(31_500).to_bits() + (dice >> 16 & 0xFFF) as i32 - 0x800;
        let gas = FlowRate::litres_per_minute(17).to_bits() + (dice >> 32 & 0xFFF) as i32 - 0x800;
        let gas = if flows { gas } else { 0 };
        let (current, voltage) = if burns { (current, voltage) } else { (0, 0) };
        if burns {
            auditor.band.add(time_us, current, voltage);
        }
        let sample = Sample::at(time_us)
            .with_raw(Channel::Current, current)
            .with_raw(Channel::Voltage, voltage)
            .with_raw(Channel::Gas, gas);
        monitor.step(&sample, &mut auditor);
    }
    monitor.finish(&mut auditor);
    assert_eq!((auditor.bands, auditor.joints), (joints * u64::from(BANDS), joints));
    let bands = u128::from(auditor.bands);
    assert_eq!(auditor.samples, bands * u128::from(arc_samples));
    assert_eq!(auditor.arc_us, bands * u128::from((arc_samples - 1) * PERIOD_US));
    assert_eq!(auditor.alarms, 0, "steady welding is silent");
    assert_eq!((monitor.gaps(), monitor.out_of_order()), (0, 0));
    let hours = joints * joint_samples / HOUR_SAMPLES;
    println!("{joints} joints, {bands} bands, {} samples under the arc, {hours} h", auditor.samples);
}

#[test]
fn time_passes_each_power_of_two_unseen() {
    // Ten minutes before each.
    for power in [32, 40, 48, 63] {
        soak(4, (1 << power) - 600_000_000);
    }
}

#[test]
fn eight_hours_lose_nothing() {
    soak(8 * HOUR_SAMPLES / JOINT_SAMPLES, 0);
}

#[test]
fn a_band_of_more_than_an_hour_is_added_up_whole() {
    soak_arcs(1, 0, LONG_ARC_SAMPLES);
}

#[test]
#[ignore = "a thousand hours take some minutes"]
fn a_thousand_hours_lose_nothing() {
    soak(1000 * HOUR_SAMPLES / JOINT_SAMPLES, 0);
}
