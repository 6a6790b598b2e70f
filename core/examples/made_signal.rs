//! A made weld, all channels but heat, watched at 1 kHz: bands, weave, turning and step-over as they come.
//!
//! The signal is a plain shape, not the process model of the host program; its numbers are invented.
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used, clippy::expect_used, clippy::panic)] // on a host

use bandward::procedure::{Limits, Rotation};
use bandward::sample::ChannelSet;
use bandward::units::{Angle, Current, Degrees, Duration, FlowRate, Length, Voltage, WeaveRate};
use bandward::{
    Acquisition, BandRecord, Channel, Event, JointRecord, Monitor, Outcome, Procedure, Quantity, Sample,
    Sink, SoundProcedure,
};

const BANDS: u64 = 3;
const TURN_MS: u64 = 60_000;
/// Ten degrees past the full turn.
const ARC_MS: u64 = TURN_MS + TURN_MS / 36;
const PAUSE_MS: u64 = 15_000;

const WRITTEN: Procedure = {
    let mut procedure = Procedure::new()
        .limited(Quantity::WeaveRate, Limits::allowed(range_of_cycles(70, 90)))
        .limited(Quantity::WeaveWidth, Limits::allowed(Length::inches(0, 7, 8).to(Length::inches(1, 1, 8))))
        .limited(Quantity::TurnTime, Limits::allowed(Duration::seconds(55).to(Duration::seconds(65))))
        .limited(Quantity::Overlap, Limits::allowed(Degrees::whole(5).to(Degrees::whole(20))))
        .limited(Quantity::StepOver, Limits::allowed(Length::millimetres(26).to(Length::millimetres(28))));
    procedure.joint.bands = BANDS as u16;
    procedure.joint.rotation = Some(Rotation::Clockwise);
    procedure
};

const fn range_of_cycles(low: i32, high: i32) -> bandward::procedure::Range {
    WeaveRate::cycles_per_minute(low).to(WeaveRate::cycles_per_minute(high))
}

static PROCEDURE: SoundProcedure = match SoundProcedure::of(WRITTEN) {
    Ok(sound) => sound,
    Err(_) => panic!("the procedure makes no sense"),
};

/// Half an inch either way, 80 cycles a minute, as a triangle.
fn torch(time_ms: u64) -> Length {
    let into_cycle_ms = time_ms % 750;
    let up = if into_cycle_ms < 375 { into_cycle_ms } else { 750 - into_cycle_ms };
    Length::from_milli(up as i64 * 25_400 / 375 - 12_700)
}

/// An arc moves its current by some amperes; one that stood still for half of a band would not be believed.
fn current(time_ms: u64) -> Current {
    Current::from_milli(316_000 + (time_ms * 7 % 17) as i64 * 500)
}

fn sample(time_ms: u64) -> Sample {
    let (band, into_ms) = (time_ms / (ARC_MS + PAUSE_MS), time_ms % (ARC_MS + PAUSE_MS));
    let burns = band < BANDS && (PAUSE_MS..).contains(&into_ms);
    let turned_ms = band * ARC_MS + into_ms.saturating_sub(PAUSE_MS);
    let sample = Sample::at(time_ms * 1_000)
        .gas(FlowRate::litres_per_minute(17))
        .spindle(Angle::from_microdegrees((turned_ms * 360_000_000 / TURN_MS) as i64))
        .carriage(Length::from_milli(band.min(BANDS - 1) as i64 * 27_000));
    if burns {
        sample.current(current(time_ms)).voltage(Voltage::from_milli(31_500)).torch(torch(time_ms))
    } else {
        sample.current(Current::ZERO).voltage(Voltage::ZERO).torch(Length::ZERO)
    }
}

struct Screen {
    joint: Outcome,
}

impl Sink for Screen {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event {
            println!("{:>7} ms  {}: {:?}", alarm.time_us / 1000, alarm.rule.name(), alarm.kind);
        }
    }
    fn band(&mut self, record: &BandRecord) {
        println!(
            "band {}: {}; overlap {:?} mdeg, step-over {:?} um",
            record.band,
            record.outcome.name(),
            record.overlap.map(Degrees::to_milli),
            record.step_over.map(Length::to_milli),
        );
    }
    fn joint(&mut self, record: &JointRecord) {
        println!("joint {}: {}", record.joint, record.outcome.name());
        self.joint = record.outcome;
    }
}

fn main() {
    let channels = ChannelSet::ELECTRICAL
        .with(Channel::Gas)
        .with(Channel::Torch)
        .with(Channel::Spindle)
        .with(Channel::Carriage);
    let acquisition =
        Acquisition { spindle_sense: Some(Rotation::Clockwise), ..Acquisition::every(1_000, channels) };
    let mut monitor = Monitor::new(&PROCEDURE, acquisition);
    let mut screen = Screen { joint: Outcome::NotAsked };
    for time_ms in 0..BANDS * (ARC_MS + PAUSE_MS) + PAUSE_MS {
        monitor.step(&sample(time_ms), &mut screen);
    }
    monitor.finish(&mut screen);
    assert_eq!(screen.joint, Outcome::Proven);
}
