//! A band that is struck while the one before still waits for its gas: both are whole, in order, to the sample.
//!
//! The figures come from how the samples are made, not from the monitor.
#![allow(clippy::arithmetic_side_effects, clippy::indexing_slicing, clippy::unwrap_used, clippy::panic)]

use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, Monitor, Phase, Procedure, Sample, Sink, SoundProcedure,
};

/// What came, in order: a strike and its time, or a band and its first and last instant and number of samples.
#[derive(Debug, PartialEq, Eq)]
enum Came {
    Strike(u64),
    Band { start_us: u64, end_us: u64, samples: u32, arc_time_us: u64, gas: Option<i64> },
}

#[derive(Default)]
struct Order(Vec<Came>);

impl Sink for Order {
    fn event(&mut self, event: &Event) {
        if let Event::Phase { time_us, phase: Phase::Strike, .. } = event {
            self.0.push(Came::Strike(*time_us));
        }
    }
    fn band(&mut self, record: &BandRecord) {
        let &BandRecord { start_us, end_us, samples, arc_time_us, .. } = record;
        let gas = record.gas.map(|gas| gas.mean.to_milli());
        self.0.push(Came::Band { start_us, end_us, samples, arc_time_us, gas });
    }
}

/// Two arcs of six seconds, half a second apart, under gas that flows on. `offset` is how far the slow channel comes
/// after the strikes, in samples; none where it does not come.
fn watched(period_us: u64, slow_every: u64, offset: u64) -> Vec<Came> {
    let mut procedure = Procedure::new();
    procedure.arc.outage_join_us = 100_000;
    procedure.arc.strike_us = 50_000;
    let channels = ChannelSet::ELECTRICAL.with(Channel::Gas);
    let acquisition = Acquisition::every(u32::try_from(period_us).unwrap(), channels);
    let mut monitor = Monitor::new(&SoundProcedure::try_from(procedure).unwrap(), acquisition);
    let mut order = Order::default();
    for index in 0..14_000_000 / period_us {
        let time_us = index * period_us;
        let burns = [1_000_000..7_000_000, 7_500_000..13_500_000].iter().any(|arc| arc.contains(&time_us));
        // Never quite still.
        let noise = i64::try_from(index % 7).unwrap();
        let (amps, volts) = if burns { (300_000 + noise * 300, 29_000 + noise * 50) } else { (noise, noise) };
        let mut sample =
            Sample::at(time_us).current(Current::from_milli(amps)).voltage(Voltage::from_milli(volts));
        if index % slow_every == offset {
            sample = sample.gas(FlowRate::from_milli(18_000));
        }
        monitor.step(&sample, &mut order);
    }
    monitor.finish(&mut order);
    order.0
}

#[test]
fn the_band_before_goes_out_first_and_both_are_whole() {
    // At 10 kHz a band is begun over the next samples, at 1 kHz at once; the gas comes with the strike, among those
    // samples, and long after.
    for (period_us, slow_every, offset) in [
        (100, 100, 0),
        (100, 100, 1),
        (100, 100, 30),
        (100, 100, 99),
        (100, 1, 0),
        (1_000, 1, 0),
        (1_000, 10, 3),
    ] {
        let samples = u32::try_from(6_000_000 / period_us).unwrap();
        let band = |start_us: u64| Came::Band {
            start_us,
            end_us: start_us + 6_000_000 - period_us,
            samples,
            arc_time_us: 6_000_000 - period_us,
            gas: Some(18_000),
        };
        let (first, second) = (1_000_000, 7_500_000);
        let right = [Came::Strike(first), band(first), Came::Strike(second), band(second)];
        assert_eq!(watched(period_us, slow_every, offset), right, "{period_us} us, {slow_every}, {offset}");
    }
}
