//! Current, voltage and gas in; a lamp and a hold relay out: the smallest monitor worth wiring.
//!
//! The numbers are invented. It is a monitor, no safety device and no emergency stop.
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used, clippy::expect_used, clippy::panic)] // on a host

use bandward::procedure::Limits;
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, Monitor, Phase, Procedure, Quantity, Sample, Severity, Sink,
    SoundProcedure,
};

const WRITTEN: Procedure = Procedure::new()
    .limited(Quantity::Current, Limits::allowed(Current::amps(280).to(Current::amps(360))))
    .limited(
        Quantity::Voltage,
        Limits::allowed(Voltage::volts(30).to(Voltage::volts(33))).never_below(Voltage::volts(29).to_bits()),
    )
    .limited(
        Quantity::GasFlow,
        Limits::allowed(FlowRate::cubic_feet_per_hour(32).to(FlowRate::cubic_feet_per_hour(45))),
    );

/// Checked while it is compiled.
static PROCEDURE: SoundProcedure = match SoundProcedure::of(WRITTEN) {
    Ok(sound) => sound,
    Err(_) => panic!("the procedure makes no sense"),
};

/// What a board would send on; here it is printed.
struct Screen;

impl Sink for Screen {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event {
            println!("{:>6} ms  {}: {:?}", alarm.time_us / 1000, alarm.rule.name(), alarm.kind);
        }
    }
    fn band(&mut self, record: &BandRecord) {
        println!("band {}: {:?}", record.band, record.outcome);
    }
}

fn main() {
    let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
    let mut monitor = Monitor::new(&PROCEDURE, Acquisition::every(1_000, channels));
    let (mut lamp, mut hold) = (false, false);
    for time_ms in 0..20_000_u64 {
        // On a board: the converters. Here: an arc from 2 s to 18 s whose gas is lost at 10 s.
        let burns = (2_000..18_000).contains(&time_ms);
        let flows = time_ms < 10_000;
        let sample = Sample::at(time_ms * 1_000)
            .current(if burns { Current::amps(320) } else { Current::ZERO })
            .voltage(if burns { Voltage::from_milli(31_500) } else { Voltage::ZERO })
            .gas(if flows { FlowRate::litres_per_minute(17) } else { FlowRate::ZERO });
        monitor.step(&sample, &mut Screen);
        let worst = monitor.worst_active();
        let now = (worst >= Some(Severity::Warn), worst == Some(Severity::Stop));
        if now != (lamp, hold) {
            (lamp, hold) = now;
            println!("{time_ms:>6} ms  lamp {}, hold relay {}", on(lamp), on(hold));
        }
    }
    monitor.finish(&mut Screen);
    assert_eq!(monitor.phase(), Phase::Idle);
}

const fn on(is_on: bool) -> &'static str {
    if is_on { "on" } else { "off" }
}
