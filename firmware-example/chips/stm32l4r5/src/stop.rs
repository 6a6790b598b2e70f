//! What is done where the program cannot go on.
//!
//! Decides: the relay is released at once, and the watchdog starts the board anew, which then tells that it did.
//! Never: returns, feeds the watchdog, or relies on anything but one register.
#![allow(unsafe_code)]

use cortex_m_rt::{ExceptionFrame, exception};
use embassy_stm32::pac;

/// The relay's pin of port D.
const RELAY: usize = 12;

/// Releases the relay and waits for the watchdog.
pub fn stop() -> ! {
    cortex_m::interrupt::disable();
    loop {
        pac::GPIOD.bsrr().write(|port| port.set_br(RELAY, true));
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    stop()
}

// SAFETY: it touches one register of the port, and nothing of what was going on.
#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    stop()
}
