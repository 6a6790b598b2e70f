//! The emulated controller (QEMU machine mps2-an386, a Cortex-M4 at 25 MHz): its serial ports, its
//! tick counter and its lamps.
//!
//! Decides: which registers are touched. This is the only file with `unsafe` in it.
//! Assumes: one thread; no interrupt handler touches these devices.
//! Never: blocks while receiving.
#![allow(unsafe_code)]

use core::convert::Infallible;
use core::ptr::{addr_of, read_volatile, write_volatile};
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// A serial port: an Arm CMSDK APB UART.
pub struct Uart {
    base: usize,
}

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CONTROL: usize = 0x08;
const BAUD_DIVIDER: usize = 0x10;
const TRANSMITTER_FULL: u32 = 1;
const RECEIVER_FULL: u32 = 2;

impl Uart {
    /// The first port, switched on.
    pub fn first() -> Self {
        let uart = Self { base: 0x4000_4000 };
        uart.write_register(BAUD_DIVIDER, 16);
        uart.write_register(CONTROL, 0b11);
        uart
    }
    fn read_register(&self, offset: usize) -> u32 {
        // SAFETY: a register of the UART at `base`, word-aligned; reading it has no effect on memory.
        unsafe { read_volatile((self.base + offset) as *const u32) }
    }
    fn write_register(&self, offset: usize, value: u32) {
        // SAFETY: as above; writing it has no effect on memory.
        unsafe { write_volatile((self.base + offset) as *mut u32, value) }
    }
}

impl embedded_io::ErrorType for Uart {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Uart {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read_register(STATE) & RECEIVER_FULL != 0)
    }
}

impl embedded_io::Read for Uart {
    /// Waits for one byte; ask `read_ready` first.
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let Some(first) = buffer.first_mut() else { return Ok(0) };
        while self.read_register(STATE) & RECEIVER_FULL == 0 {}
        *first = self.read_register(DATA) as u8;
        Ok(1)
    }
}

impl embedded_io::Write for Uart {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        for &byte in buffer {
            while self.read_register(STATE) & TRANSMITTER_FULL != 0 {}
            self.write_register(DATA, u32::from(byte));
        }
        Ok(buffer.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        while self.read_register(STATE) & TRANSMITTER_FULL != 0 {}
        Ok(())
    }
}

/// Counts time in ticks of the processor clock, 24 bits. Under `-icount shift=0` an instruction takes
/// 1 ns and a tick 40 ns, so that a tick is 40 instructions.
pub struct Ticks {
    counter: SYST,
}

/// Instructions a tick under `-icount shift=0`.
pub const INSTRUCTIONS_A_TICK: u32 = 40;

impl Ticks {
    /// Starts counting.
    pub fn start(mut counter: SYST) -> Self {
        counter.set_clock_source(SystClkSource::Core);
        counter.set_reload(0x00ff_ffff);
        counter.clear_current();
        counter.enable_counter();
        Self { counter }
    }
    /// The ticks `work` takes: fewer than 2^24.
    pub fn of(&self, work: impl FnOnce()) -> u32 {
        let _ = &self.counter;
        let before = SYST::get_current();
        work();
        // It counts down.
        before.wrapping_sub(SYST::get_current()) & 0x00ff_ffff
    }
}

/// Most bytes of stack in use since the start. The runtime paints the stack before `main`.
pub fn stack_high_water() -> usize {
    unsafe extern "C" {
        static _stack_start: u32;
        static _stack_end: u32;
    }
    let (top, bottom) = (addr_of!(_stack_start), addr_of!(_stack_end));
    let mut lowest = bottom;
    // SAFETY: both symbols come from the runtime's linker script and enclose the painted stack;
    // every word between them can be read.
    while lowest < top && unsafe { read_volatile(lowest) } == cortex_m_rt::STACK_PAINT_VALUE {
        lowest = lowest.wrapping_add(1);
    }
    (top as usize) - (lowest as usize)
}

/// Ends the emulation with an exit code.
pub fn exit(code: i32) -> ! {
    semihosting::process::exit(code)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    exit(101)
}
