//! Counts instructions, stack and state of the monitor on the emulated board.
#![no_std]
#![no_main]

use bandward::event::{Event, Sink};
use bandward::units::Current;
use bandward::{BandRecord, Monitor, Sample};
use bandward_firmware::mps2::{INSTRUCTIONS_A_TICK, Ticks, exit, stack_high_water};
use bandward_firmware::pattern::{PROCEDURE, Pattern, acquisition};
use core::hint::black_box;
use semihosting::println;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());

/// Samples timed together: a tick more or less is then nothing.
const BATCH: usize = 1000;

struct Counting {
    events: u32,
    bands: u32,
}

impl Sink for Counting {
    fn event(&mut self, event: &Event) {
        black_box(event);
        self.events += 1;
    }
    fn band(&mut self, record: &BandRecord) {
        black_box(record);
        self.bands += 1;
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(peripherals) = cortex_m::Peripherals::take() else { exit(1) };
    let ticks = Ticks::start(peripherals.SYST);
    let monitor = MONITOR.take();
    monitor.start(&PROCEDURE, acquisition());
    println!("start_stack_bytes={}", stack_high_water());
    one_by_one(&ticks, monitor);
    // Before the batches, which are kept on the stack too.
    println!("stack_bytes={}", stack_high_water());
    monitor.restart(acquisition());
    whole_batches(&ticks, monitor);
    println!("state_bytes={}", size_of::<Monitor>());
    println!("sample_bytes={}", size_of::<Sample>());
    exit(0)
}

/// Means: over everything, and over batches with the arc burning all through. Not inlined, so that its
/// batch is not on the stack of the rest.
#[inline(never)]
fn whole_batches(ticks: &Ticks, monitor: &mut Monitor) {
    let mut sink = Counting { events: 0, bands: 0 };
    let mut pattern = Pattern::new();
    let mut batch = [Sample::at(0); BATCH];
    let (mut all, mut arc, mut batches, mut arc_batches) = (0_u64, 0_u64, 0_u64, 0_u64);
    loop {
        let mut filled = 0;
        for (slot, sample) in batch.iter_mut().zip(&mut pattern) {
            *slot = sample;
            filled += 1;
        }
        if filled < BATCH {
            break;
        }
        let taken = u64::from(ticks.of(|| {
            for sample in &batch {
                monitor.step(black_box(sample), &mut sink);
            }
        }));
        all += taken;
        batches += 1;
        let current = batch.iter().filter_map(|sample| sample.raw(bandward::Channel::Current));
        if current.min().is_some_and(|lowest| lowest > Current::from_milli(100_000).to_bits()) {
            arc += taken;
            arc_batches += 1;
        }
    }
    monitor.finish(&mut sink);
    let mean =
        |ticks: u64, batches: u64| ticks * u64::from(INSTRUCTIONS_A_TICK) / (batches * BATCH as u64).max(1);
    println!("mean_instructions={}", mean(all, batches));
    println!("mean_arc_instructions={}", mean(arc, arc_batches));
    println!("events={}", sink.events);
    println!("bands={}", sink.bands);
}

/// The worst single sample, and where: each timed alone, to within a tick.
#[inline(never)]
fn one_by_one(ticks: &Ticks, monitor: &mut Monitor) {
    let mut sink = Counting { events: 0, bands: 0 };
    let empty = (0..100).map(|_| ticks.of(|| ())).min().unwrap_or(0);
    let mut worst = [(0_u32, 0_u64); 8];
    let mut histogram = [0_u32; 16];
    for sample in Pattern::new() {
        let taken = ticks.of(|| monitor.step(black_box(&sample), &mut sink)).saturating_sub(empty);
        let bin = (u32::BITS - taken.leading_zeros()) as usize;
        if let Some(count) = histogram.get_mut(bin) {
            *count += 1;
        }
        if let Some(place) = worst.iter().position(|&(most, _)| taken > most)
            && let Some(tail) = worst.get_mut(place..)
        {
            tail.rotate_right(1);
            tail[0] = (taken, sample.time_us);
        }
    }
    println!("worst_instructions={}", (worst[0].0 + 1) * INSTRUCTIONS_A_TICK);
    for (ticks, time_us) in worst {
        println!("worst_at_us={time_us} instructions={}", (ticks + 1) * INSTRUCTIONS_A_TICK);
    }
    for (bin, count) in histogram.iter().enumerate().filter(|(_, count)| **count > 0) {
        println!("histogram below={} samples={count}", (1_u32 << bin) * INSTRUCTIONS_A_TICK);
    }
}
