//! The drivers that the board asks for.
//!
//! Decides: how long the watchdog waits.

use bandward_chips::ports::Port;
use bandward_firmware::board::Hardware;
use bandward_firmware::modbus::Clock;
use bandward_firmware::outputs::Watchdog;
use core::cell::RefCell;
use embassy_embedded_hal::flash::partition::BlockingPartition;
use embassy_stm32::flash::{Blocking, Flash};
use embassy_stm32::gpio::Output;
use embassy_stm32::peripherals::{IWDG, TIM5};
use embassy_stm32::time::Hertz;
use embassy_stm32::timer::low_level::Timer;
use embassy_stm32::usart::BufferedUart;
use embassy_stm32::wdg::IndependentWatchdog;
use embassy_stm32::{Peri, pac};
use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::NoopRawMutex;

/// The flash, which journal and procedure share.
pub type SharedFlash = Mutex<NoopRawMutex, RefCell<Flash<'static, Blocking>>>;

/// This board.
pub struct Stm32;

impl Hardware for Stm32 {
    type Serial = Port<BufferedUart<'static>>;
    type Modbus = Port<BufferedUart<'static>>;
    type Clock = Microseconds;
    type Relay = Output<'static>;
    type Lamp = Output<'static>;
    type Horn = Output<'static>;
    type Watchdog = Dog;
    type Flash = BlockingPartition<'static, NoopRawMutex, Flash<'static, Blocking>>;
    type Place<T: 'static> = &'static mut T;
}

/// The independent watchdog, with an oscillator of its own.
pub struct Dog {
    timer: IndependentWatchdog<'static, IWDG>,
    is_bitten: bool,
}

/// Twenty times what a page takes to be erased.
const PATIENCE_US: u32 = 500_000;

impl Dog {
    /// Was the last reset its doing? Asked once, before anything else.
    pub fn take_cause() -> bool {
        let is_bitten = pac::RCC.csr().read().iwdgrstf();
        pac::RCC.csr().modify(|cause| cause.set_rmvf(true));
        is_bitten
    }
    /// Lets it loose.
    pub fn start(timer: Peri<'static, IWDG>, is_bitten: bool) -> Self {
        let mut timer = IndependentWatchdog::new(timer, PATIENCE_US);
        timer.unleash();
        Self { timer, is_bitten }
    }
}

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.timer.pet();
    }
    fn caused_reset(&self) -> bool {
        self.is_bitten
    }
}

/// A timer of 32 bits that counts microseconds.
pub struct Microseconds;

impl Microseconds {
    /// Starts it; it runs for ever.
    pub fn start(timer: Peri<'static, TIM5>) -> Self {
        let mut timer = Timer::new(timer);
        timer.set_tick_freq(Hertz(1_000_000));
        timer.set_max_compare_value(u32::MAX);
        timer.generate_update_event();
        timer.start();
        core::mem::forget(timer);
        Self
    }
    /// The time now.
    pub fn now() -> u32 {
        pac::TIM5.cnt().read()
    }
}

impl Clock for Microseconds {
    fn now_us(&mut self) -> u32 {
        Self::now()
    }
}
