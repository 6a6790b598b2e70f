//! The emulated controller (QEMU machine mps2-an386, a Cortex-M4 at 25 MHz): its serial ports, its
//! tick counter and its lamps.
//!
//! Decides: which registers are touched. This is the only file with `unsafe` in it.
//! Assumes: one thread; no interrupt handler touches these devices.
//! Never: blocks while receiving.
#![allow(unsafe_code)]

use core::convert::Infallible;
use core::ptr::{addr_of, read_volatile, write_volatile};
use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m::peripheral::{NVIC, SCB, SYST};
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// A serial port: an Arm CMSDK APB UART.
pub struct Uart {
    base: usize,
}

const DATA: usize = 0x00;
const STATE: usize = 0x04;
const CONTROL: usize = 0x08;
const INTERRUPT_CLEAR: usize = 0x0c;
const BAUD_DIVIDER: usize = 0x10;
const TRANSMITTER_FULL: u32 = 1;
const RECEIVER_FULL: u32 = 2;

/// The interrupt line of a port's receiver.
#[derive(Clone, Copy)]
struct ReceiverLine(u16);

// SAFETY: lines 0 and 2 of this machine's interrupt controller; the number of each never changes.
unsafe impl InterruptNumber for ReceiverLine {
    fn number(self) -> u16 {
        self.0
    }
}

const FIRST: (usize, ReceiverLine) = (0x4000_4000, ReceiverLine(0));
const SECOND: (usize, ReceiverLine) = (0x4000_5000, ReceiverLine(2));

impl Uart {
    /// The first port, switched on.
    pub fn first() -> Self {
        Self::on(FIRST)
    }
    /// The second port, switched on.
    pub fn second() -> Self {
        Self::on(SECOND)
    }
    fn on((base, line): (usize, ReceiverLine)) -> Self {
        let uart = Self { base };
        uart.write_register(BAUD_DIVIDER, 16);
        // Transmitter, receiver, and the receiver's interrupt: it ends `wait`, and nothing else.
        uart.write_register(CONTROL, 0b1011);
        cortex_m::interrupt::disable();
        // SAFETY: interrupts are disabled for good, so that no handler runs; the line only wakes.
        unsafe { NVIC::unmask(line) };
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

impl embedded_io::WriteReady for Uart {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read_register(STATE) & TRANSMITTER_FULL == 0)
    }
}

impl embedded_io::Write for Uart {
    /// Waits until one byte is taken; ask `write_ready` first.
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        let Some(&first) = buffer.first() else { return Ok(0) };
        while self.read_register(STATE) & TRANSMITTER_FULL != 0 {}
        self.write_register(DATA, u32::from(first));
        Ok(1)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        while self.read_register(STATE) & TRANSMITTER_FULL != 0 {}
        Ok(())
    }
}

/// Sleeps until there is something to do, and never so long that a clock wraps unseen.
pub struct Sleeper {
    counter: SYST,
}

impl Sleeper {
    /// Starts it.
    pub fn start(mut counter: SYST) -> Self {
        counter.set_clock_source(SystClkSource::Core);
        counter.set_reload(0x00ff_ffff);
        counter.clear_current();
        counter.enable_interrupt();
        counter.enable_counter();
        Self { counter }
    }
    /// Sleeps until a byte has come on either port, or for 0.7 s at most: 2^24 ticks.
    pub fn sleep(&mut self) {
        let ports = [FIRST, SECOND];
        for (base, line) in ports {
            Uart { base }.write_register(INTERRUPT_CLEAR, 0b10);
            NVIC::unpend(line);
        }
        let has_come = |(base, _)| Uart { base }.read_register(STATE) & RECEIVER_FULL != 0;
        if !ports.into_iter().any(has_come) {
            cortex_m::asm::wfi();
        }
        let _ = &self.counter;
        SCB::clear_pendst();
    }
}

/// Microseconds since the start, of the counter in the I/O block.
pub struct Microseconds;

const COUNTER: usize = 0x4002_8018;
const PRESCALER: usize = 0x4002_801c;

impl Microseconds {
    /// It, started before.
    pub const fn running() -> Self {
        Self
    }
    /// Microseconds since the start; wraps at 32 bits.
    pub fn now(&self) -> u32 {
        let _ = self;
        // SAFETY: a register of the I/O block; reading it has no effect on memory.
        unsafe { read_volatile(COUNTER as *const u32) }
    }
    /// Waits.
    pub fn spend(&self, us: u32) {
        let since_us = self.now();
        while self.now().wrapping_sub(since_us) < us {}
    }
    /// Starts it.
    pub fn start() -> Self {
        // SAFETY: registers of the I/O block, which nothing else touches. The counter counts every 25th tick of
        // the 25 MHz clock.
        unsafe {
            write_volatile(PRESCALER as *mut u32, 24);
            write_volatile(COUNTER as *mut u32, 0);
        }
        Self
    }
}

#[cfg(feature = "modbus")]
impl crate::modbus::Clock for Microseconds {
    fn now_us(&mut self) -> u32 {
        self.now()
    }
}

/// A lamp on the board, standing in for a relay, a lamp or a horn.
pub struct Led {
    register: usize,
    mask: u32,
}

/// Two lamps, of the I/O block.
const LEDS: usize = 0x4002_8000;
/// Eight more, of the system controller.
const SECOND_ROW: usize = 0x4002_f004;

impl Led {
    /// The lamp with this number, 0 or 1.
    pub const fn number(number: u32) -> Self {
        Self { register: LEDS, mask: 1 << number }
    }
    /// A lamp of the second row, 0 to 7.
    pub const fn of_second_row(number: u32) -> Self {
        Self { register: SECOND_ROW, mask: 1 << number }
    }
    fn change(&self, set: bool) {
        let register = self.register as *mut u32;
        // SAFETY: a lamp register of the board; one thread, so no write comes in between.
        unsafe {
            let before = read_volatile(register);
            write_volatile(register, if set { before | self.mask } else { before & !self.mask });
        }
    }
}

impl embedded_hal::digital::ErrorType for Led {
    type Error = Infallible;
}

impl embedded_hal::digital::OutputPin for Led {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.change(false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.change(true);
        Ok(())
    }
}

/// The watchdog timer: an Arm CMSDK APB watchdog.
pub struct CmsdkWatchdog;

const WATCHDOG: usize = 0x4000_8000;

impl CmsdkWatchdog {
    /// Starts it: without being fed for `seconds` it asks, and after as long again it resets.
    pub fn start(seconds: u32) -> Self {
        const UNLOCK: u32 = 0x1acc_e551;
        let watchdog = Self;
        watchdog.write_register(0xc00, UNLOCK);
        watchdog.write_register(0x00, seconds.saturating_mul(25_000_000));
        watchdog.write_register(0x08, 0b11);
        watchdog
    }
    fn write_register(&self, offset: usize, value: u32) {
        let _ = self;
        // SAFETY: a register of the watchdog; writing it has no effect on memory.
        unsafe { write_volatile((WATCHDOG + offset) as *mut u32, value) }
    }
}

#[cfg(feature = "whole")]
impl crate::outputs::Watchdog for CmsdkWatchdog {
    fn feed(&mut self) {
        self.write_register(0x0c, 1);
    }
    /// This machine keeps no cause of its last reset.
    fn caused_reset(&self) -> bool {
        false
    }
}

/// How long a flash takes, while nothing else of its task goes on, µs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pace {
    /// To erase a page.
    pub page_us: u32,
    /// To write a word.
    pub word_us: u32,
}

/// Flash in memory, for a machine that has none: the same rules, but empty after every start.
pub struct MemoryFlash<const BYTES: usize> {
    bytes: &'static mut [u8; BYTES],
    pace: Pace,
}

impl<const BYTES: usize> MemoryFlash<BYTES> {
    /// This memory, erased, at a pace.
    pub fn erased(bytes: &'static mut [u8; BYTES], pace: Pace) -> Self {
        bytes.fill(0xff);
        Self { bytes, pace }
    }
    fn spend(&self, us: u32) {
        if us > 0 {
            Microseconds::running().spend(us);
        }
    }
    fn part(&mut self, offset: u32, length: usize) -> Result<&mut [u8], NorFlashErrorKind> {
        let from = offset as usize;
        self.bytes.get_mut(from..from.saturating_add(length)).ok_or(NorFlashErrorKind::OutOfBounds)
    }
}

impl<const BYTES: usize> ErrorType for MemoryFlash<BYTES> {
    type Error = NorFlashErrorKind;
}

impl<const BYTES: usize> ReadNorFlash for MemoryFlash<BYTES> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        let part = self.part(offset, bytes.len())?;
        bytes.copy_from_slice(part);
        Ok(())
    }
    fn capacity(&self) -> usize {
        BYTES
    }
}

impl<const BYTES: usize> NorFlash for MemoryFlash<BYTES> {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        let bytes = to.saturating_sub(from) as usize;
        self.part(from, bytes)?.fill(0xff);
        self.spend(self.pace.page_us.saturating_mul((bytes / Self::ERASE_SIZE) as u32));
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        for (held, byte) in self.part(offset, bytes.len())?.iter_mut().zip(bytes) {
            *held &= byte;
        }
        self.spend(self.pace.word_us.saturating_mul((bytes.len() / Self::WRITE_SIZE) as u32));
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

/// The ends of what there is for the stack.
fn stack() -> (*const u32, *const u32) {
    unsafe extern "C" {
        static _stack_start: u32;
        static _stack_end: u32;
    }
    (addr_of!(_stack_start), addr_of!(_stack_end))
}

/// Bytes that there are for the stack: all the memory that is left.
pub fn stack_room() -> usize {
    let (top, bottom) = stack();
    (top as usize) - (bottom as usize)
}

/// Most bytes of stack in use since the start. The runtime paints the stack before `main`.
pub fn stack_high_water() -> usize {
    let (top, bottom) = stack();
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
