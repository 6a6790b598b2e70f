//! The same samples twice give the same events: a slice is replayed as it was, then with other settings.
//!
//! This is how a threshold is tried before it is trusted. The numbers are invented.
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used, clippy::expect_used, clippy::panic)] // on a host

use bandward::procedure::Limits;
use bandward::sample::ChannelSet;
use bandward::units::{Current, Voltage};
use bandward::{
    Acquisition, AlarmKind, BandRecord, Event, Monitor, Procedure, Quantity, Rule, Sample, Sink,
    SoundProcedure,
};

/// Counts how often a rule was raised.
struct Count {
    rule: Rule,
    raised: u32,
}

impl Sink for Count {
    fn event(&mut self, event: &Event) {
        if let Event::Alarm(alarm) = event
            && alarm.rule == self.rule
            && alarm.kind == AlarmKind::Raised
        {
            self.raised += 1;
        }
    }
    fn band(&mut self, _: &BandRecord) {}
}

/// How often the voltage counts as too low in `samples`, with this low end of the range.
fn times_too_low(samples: &[Sample], low: Voltage) -> u32 {
    let procedure = Procedure::new().limited(Quantity::Voltage, Limits::allowed(low.or_more()));
    let procedure = SoundProcedure::of(procedure).expect("a low end alone makes sense");
    let mut monitor = Monitor::new(&procedure, Acquisition::every(10_000, ChannelSet::ELECTRICAL));
    let mut count = Count { rule: Rule::VoltageLow, raised: 0 };
    for sample in samples {
        monitor.step(sample, &mut count);
    }
    monitor.finish(&mut count);
    count.raised
}

fn main() {
    // 40 s of arc, 100 samples a second; every 10 s the voltage sags from 31.5 V to 30.2 V for 3 s.
    let samples: Vec<Sample> =
        (0..4_000_u64)
            .map(|number| {
                let sags = number % 1_000 >= 700;
                Sample::at(number * 10_000)
                    .current(Current::amps(320))
                    .voltage(Voltage::from_milli(if sags { 30_200 } else { 31_500 }))
            })
            .collect();
    for low_v in [30, 31] {
        let times = times_too_low(&samples, Voltage::volts(low_v));
        println!("low end at {low_v} V: voltage-low {times} times");
        assert_eq!(times, if low_v == 30 { 0 } else { 4 });
        assert_eq!(times, times_too_low(&samples, Voltage::volts(low_v)), "the same again");
    }
}
