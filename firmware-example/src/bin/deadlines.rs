//! Samples in the interrupt of the timer, the service in the task: see `deadlines`. No sample may be late.
#![no_std]
#![no_main]

use bandward_firmware::board::Watcher;
use bandward_firmware::deadlines::{Host, Inputs, PACE, SAMPLES, SlowLine};
use bandward_firmware::machine::{self, Mps2};
use bandward_firmware::mps2::exit;
use bandward_firmware::pattern::PERIOD_US;
use core::cell::RefCell;
use cortex_m::interrupt::{self, Mutex};
use cortex_m::peripheral::syst::SystClkSource;

/// What the interrupt has, and nobody else while it runs.
type Sampler = (Watcher<Mps2<SlowLine, SlowLine>>, Inputs);

static SAMPLER: Mutex<RefCell<Option<Sampler>>> = Mutex::new(RefCell::new(None));

/// Ticks of the processor clock a microsecond, on this machine.
const TICKS_A_US: u32 = 25;

#[cortex_m_rt::exception]
fn SysTick() {
    interrupt::free(|section| {
        if let Some((watcher, inputs)) = &mut *SAMPLER.borrow(section).borrow_mut() {
            inputs.take(|sample, late| watcher.sample(sample, late));
        }
    });
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(mut peripherals) = cortex_m::Peripherals::take() else { exit(1) };
    let (watcher, mut service) = machine::start_paced(SlowLine::new(), SlowLine::new(), 60, PACE).split();
    let mut host = Host::new();
    interrupt::free(|section| SAMPLER.borrow(section).replace(Some((watcher, Inputs::begin()))));
    let timer = &mut peripherals.SYST;
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(TICKS_A_US * PERIOD_US - 1);
    timer.clear_current();
    timer.enable_interrupt();
    timer.enable_counter();
    loop {
        let taken = interrupt::free(|section| match &*SAMPLER.borrow(section).borrow() {
            Some((_, inputs)) => inputs.taken,
            None => 0,
        });
        if taken >= SAMPLES {
            break;
        }
        host.go_on(service.serial());
        // It does not sleep: the emulator's timers run late for one that waits for an interrupt.
        host.poll(|| service.poll());
    }
    timer.disable_interrupt();
    let sampler = interrupt::free(|section| SAMPLER.borrow(section).take());
    let Some((_, inputs)) = sampler else { exit(6) };
    host.tell(&inputs, &service.serial().heard);
    exit(0)
}
