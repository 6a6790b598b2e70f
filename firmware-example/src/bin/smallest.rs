//! The least board: current, voltage and gas in 8 KiB of memory; tells how much of it is used.
//!
//! Decides: whether an invented arc that loses its gas raises the alarm and leaves a broken band.
//! Assumes: the emulated machine, with the map of the feature `least`; the readings are made here, at 100 Hz.
//! Never: passes where the alarm or the record is missing, or the stack came down to the statics: it then ends with 1.
#![no_std]
#![no_main]

use bandward::event::{AlarmKind, Event, Sink};
use bandward::procedure::{Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Monitor, Procedure, Quantity, Rule, Sample, SoundProcedure,
};
use bandward_firmware::mps2::{exit, stack_high_water, stack_room};
use semihosting::println;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());

/// At least 12 litres a minute.
static PROCEDURE: SoundProcedure = {
    let least = Range { low: FlowRate::from_milli(12_000).to_bits(), high: i32::MAX };
    let limits = Limits { recommended: None, allowed: Some(least), floor: None };
    match Procedure::new().with_limits(Quantity::GasFlow, limits) {
        Ok(procedure) => match SoundProcedure::of(procedure) {
            Ok(sound) => sound,
            Err(_) => panic!("it makes sense"),
        },
        Err(_) => panic!("the gas is watched"),
    }
};

const PERIOD_US: u32 = 10_000;

#[derive(Default)]
struct Found {
    alarm: bool,
    broken_band: bool,
}

impl Sink for Found {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event {
            self.alarm |= alarm.rule == Rule::GasLow && alarm.kind == AlarmKind::Raised;
        }
    }
    fn band(&mut self, record: &BandRecord) {
        self.broken_band |= record.violated.contains(Rule::GasLow);
    }
}

/// Gas from the second second on, the arc from the fourth to the twentieth, no gas from the twelfth.
fn reading_at(step: u32) -> Sample {
    let lit = (400..2000).contains(&step);
    let noise = i64::from(step.wrapping_mul(2_654_435_761) >> 24);
    let amps = if lit { 300_000 + noise * 20 } else { 0 };
    let volts = if lit { 28_000 + noise * 3 } else { 0 };
    let flow = if (200..1200).contains(&step) { 16_000 + noise } else { 0 };
    Sample::at(u64::from(step) * u64::from(PERIOD_US))
        .current(Current::from_milli(amps))
        .voltage(Voltage::from_milli(volts))
        .gas(FlowRate::from_milli(flow))
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let monitor = MONITOR.take();
    monitor.start(&PROCEDURE, Acquisition::every(PERIOD_US, ChannelSet::ELECTRICAL.with(Channel::Gas)));
    let mut found = Found::default();
    for step in 0..2600 {
        monitor.step(&reading_at(step), &mut found);
    }
    monitor.finish(&mut found);
    let stack = stack_high_water();
    println!("state_bytes={}", size_of::<Monitor>());
    println!("stack_bytes={stack}");
    exit(i32::from(!(found.alarm && found.broken_band && stack < stack_room())))
}
