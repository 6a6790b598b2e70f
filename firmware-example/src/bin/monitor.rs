//! Links the monitor alone, with every call it has, to see how large it is. It is looked at, not run.
#![no_std]
#![no_main]

use bandward::event::{Event, Sink};
use bandward::{Acquisition, BandRecord, JointRecord, Monitor, Rule, Sample, SoundProcedure};
use bandward_firmware::mps2::exit;
use core::hint::black_box;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());

struct Nowhere;

impl Sink for Nowhere {
    fn event(&mut self, event: &Event) {
        black_box(event);
    }
    fn band(&mut self, record: &BandRecord) {
        black_box(record);
    }
    fn joint(&mut self, record: &JointRecord) {
        black_box(record);
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let given: Option<(SoundProcedure, Acquisition)> = black_box(None);
    let Some((procedure, acquisition)) = given else { exit(0) };
    let Some(monitor) = MONITOR.try_take() else { exit(0) };
    monitor.start(&procedure, acquisition);
    while let Some(sample) = black_box(None::<Sample>) {
        monitor.step(&sample, &mut Nowhere);
    }
    monitor.mark_joint(black_box(0), &mut Nowhere);
    black_box(monitor.so_far());
    monitor.acknowledge(black_box(0), &mut Nowhere);
    monitor.finish(&mut Nowhere);
    for rule in Rule::ALL {
        black_box(monitor.not_judged(rule));
    }
    exit(0)
}
