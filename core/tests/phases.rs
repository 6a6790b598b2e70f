//! Whoever keeps the phase that was told last knows whether an arc burns.
//!
//! Expected is what is promised: [`Event::Phase`] tells of every change. Currents and times are invented.
#![allow(clippy::arithmetic_side_effects, clippy::unwrap_used)]

use bandward::procedure::{Limits, Range};
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage};
use bandward::{
    Acquisition, BandRecord, Channel, Event, Monitor, Phase, Procedure, Quantity, Sample, Sink,
    SoundProcedure,
};

struct Told(Phase);

impl Sink for Told {
    fn event(&mut self, event: &Event) {
        if let Event::Phase { phase, .. } = event {
            self.0 = *phase;
        }
    }
    fn band(&mut self, _: &BandRecord) {}
}

fn monitor(wired: ChannelSet) -> Monitor {
    let range =
        Range { low: Current::from_milli(280_000).to_bits(), high: Current::from_milli(360_000).to_bits() };
    let limits = Limits { recommended: None, allowed: Some(range), floor: None };
    let procedure = Procedure::new().with_limits(Quantity::Current, limits).unwrap();
    let procedure = SoundProcedure::try_from(procedure).unwrap();
    Monitor::new(&procedure, Acquisition::every(10_000, wired))
}

/// An arc from 5 s to 25 s, and so long after its end nothing for so long, or a clock that is set back.
fn follow(after_ms: u64, hole_ms: u64, set_back: bool, with_gas: bool) {
    let wired = ChannelSet::ELECTRICAL;
    let mut monitor = monitor(if with_gas { wired.with(Channel::Gas) } else { wired });
    let mut told = Told(monitor.phase());
    let from_ms = 25_000 + after_ms;
    for ms in (0..90_000).step_by(10).filter(|ms| !(from_ms..from_ms + hole_ms).contains(ms)) {
        let burns = (5_000..25_000).contains(&ms);
        let at_ms = if set_back && ms >= from_ms { ms - 20_000 } else { ms };
        let mut sample = Sample::at(at_ms * 1_000);
        sample = if burns {
            let amps = 316_000 + stir(ms) * 50;
            sample.current(Current::from_milli(amps)).voltage(Voltage::from_milli(31_500 + stir(ms)))
        } else {
            sample.current(Current::ZERO).voltage(Voltage::ZERO)
        };
        if with_gas {
            let flows = (3_000..31_000).contains(&ms);
            sample = sample.gas(FlowRate::from_milli(if flows { 17_500 + stir(ms) } else { 0 }));
        }
        monitor.step(&sample, &mut told);
        assert_eq!(
            told.0,
            monitor.phase(),
            "{ms} ms; {after_ms} ms after the arc, for {hole_ms} ms, {set_back}"
        );
    }
    monitor.finish(&mut told);
    assert_eq!(told.0, monitor.phase(), "finished");
}

fn stir(ms: u64) -> i64 {
    i64::try_from(ms * 7 % 17).unwrap() * 10
}

#[test]
fn the_phase_that_was_told_last_is_the_phase() {
    for with_gas in [false, true] {
        for after_ms in [0, 100, 500, 1_000, 2_900, 3_500, 8_000] {
            for hole_ms in [0, 600, 1_000, 3_000, 9_000, 11_000, 60_000] {
                follow(after_ms, hole_ms, false, with_gas);
            }
            follow(after_ms, 0, true, with_gas);
        }
    }
    // In mid arc.
    for hole_ms in [600, 9_000, 11_000] {
        for before_ms in [1, 5_000, 19_000] {
            let from_ms = 25_000 - before_ms;
            let mut monitor = monitor(ChannelSet::ELECTRICAL);
            let mut told = Told(monitor.phase());
            for ms in (0..60_000).step_by(10).filter(|ms| !(from_ms..from_ms + hole_ms).contains(ms)) {
                let burns = (5_000..25_000).contains(&ms);
                let amps = if burns { 320_000 + stir(ms) * 50 } else { 0 };
                let volts = if burns { 31_000 + stir(ms) } else { 0 };
                let sample = Sample::at(ms * 1_000);
                let sample = sample.current(Current::from_milli(amps)).voltage(Voltage::from_milli(volts));
                monitor.step(&sample, &mut told);
                assert_eq!(
                    told.0,
                    monitor.phase(),
                    "{ms} ms; {before_ms} ms before the end, for {hole_ms} ms"
                );
            }
        }
    }
}
