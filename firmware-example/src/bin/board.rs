//! The board program on the emulated controller. It has no inputs of its own: samples come over the
//! link, in a bench test.
#![no_std]
#![no_main]

#[cfg(feature = "defmt")]
use defmt_semihosting as _;

use bandward_firmware::machine;
use bandward_firmware::mps2::{Sleeper, Uart, exit};

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(peripherals) = cortex_m::Peripherals::take() else { exit(1) };
    let mut sleeper = Sleeper::start(peripherals.SYST);
    let mut board = machine::start(Uart::first(), Uart::second(), 60);
    loop {
        board.poll();
        if board.is_idle() {
            sleeper.sleep();
        }
    }
}
