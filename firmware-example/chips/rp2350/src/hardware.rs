//! The drivers that the board asks for.
//!
//! Decides: how long the watchdog waits.

use bandward_chips::flash_map;
use bandward_chips::ports::{Port, Shifting, TwoWires};
use bandward_firmware::board::Hardware;
use bandward_firmware::modbus::Clock;
use bandward_firmware::outputs::Watchdog;
use core::cell::RefCell;
use embassy_embedded_hal::flash::partition::BlockingPartition;
use embassy_rp::flash::{Blocking, Flash};
use embassy_rp::gpio::Output;
use embassy_rp::peripherals::{FLASH, WATCHDOG};
use embassy_rp::uart::{BufferedUart, Error};
use embassy_rp::watchdog::{self, ResetReason};
use embassy_rp::{Peri, pac};
use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_time::Duration;
use embedded_io_async::{ErrorType, Read, Write};

type WholeFlash = Flash<'static, FLASH, Blocking, { flash_map::RP2350.bytes as usize }>;
/// The flash, which journal and procedure share.
pub type SharedFlash = Mutex<NoopRawMutex, RefCell<WholeFlash>>;

/// This board.
pub struct Rp2350;

impl Hardware for Rp2350 {
    type Serial = Port<BufferedUart>;
    type Modbus = TwoWires<Cell, Output<'static>>;
    type Clock = Microseconds;
    type Relay = Output<'static>;
    type Lamp = Output<'static>;
    type Horn = Output<'static>;
    type Watchdog = Dog;
    type Flash = BlockingPartition<'static, NoopRawMutex, WholeFlash>;
    type Place<T: 'static> = &'static mut T;
}

/// The port of the cell, whose transmitter the program switches.
pub struct Cell(pub BufferedUart);

impl ErrorType for Cell {
    type Error = Error;
}

impl Read for Cell {
    async fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Error> {
        Read::read(&mut self.0, buffer).await
    }
}

impl Write for Cell {
    async fn write(&mut self, buffer: &[u8]) -> Result<usize, Error> {
        Write::write(&mut self.0, buffer).await
    }
    async fn flush(&mut self) -> Result<(), Error> {
        Write::flush(&mut self.0).await
    }
}

impl Shifting for Cell {
    fn is_shifting(&self) -> bool {
        pac::UART1.uartfr().read().busy()
    }
}

/// The watchdog of the chip, which runs from the same crystal.
pub struct Dog {
    timer: watchdog::Watchdog,
    is_bitten: bool,
}

/// Longer than the slowest erasure of a page of a usual flash, 0.4 s.
const PATIENCE: Duration = Duration::from_millis(1000);

impl Dog {
    /// Lets it loose.
    pub fn start(timer: Peri<'static, WATCHDOG>) -> Self {
        let mut timer = watchdog::Watchdog::new(timer);
        let is_bitten = matches!(timer.reset_reason(), Some(ResetReason::TimedOut));
        timer.start(PATIENCE);
        Self { timer, is_bitten }
    }
}

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.timer.feed(PATIENCE);
    }
    fn caused_reset(&self) -> bool {
        self.is_bitten
    }
}

/// The timer of the chip.
pub struct Microseconds;

impl Microseconds {
    /// The time now.
    pub fn now() -> u32 {
        pac::TIMER0.timerawl().read()
    }
}

impl Clock for Microseconds {
    fn now_us(&mut self) -> u32 {
        Self::now()
    }
}
