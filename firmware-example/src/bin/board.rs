//! The board program on the emulated controller. It has no inputs of its own: samples come over the
//! link, in a bench test.
#![no_std]
#![no_main]

#[cfg(feature = "defmt")]
use defmt_semihosting as _;

use bandward::Quantity;
use bandward::link::hard_limits::HardLimits;
use bandward::procedure::Range;
use bandward_firmware::board::{Board, Configuration, Hardware, Parts};
use bandward_firmware::mps2::{CmsdkWatchdog, Led, MemoryFlash, Uart};
use bandward_firmware::outputs::Pins;
use bandward_firmware::pattern::acquisition;

struct Mps2;

const FLASH_BYTES: usize = 16 * 1024;

impl Hardware for Mps2 {
    type Serial = Uart;
    type Relay = Led;
    type Lamp = Led;
    type Horn = Led;
    type Watchdog = CmsdkWatchdog;
    type Flash = MemoryFlash<FLASH_BYTES>;
}

/// No procedure may permit an arc of less than 15 V or more than 45 V on this machine, and each must give a floor
/// of 10 V at least.
fn hard_limits() -> HardLimits {
    let bits = Quantity::Voltage.fraction_bits();
    HardLimits::USUAL
        .with(Quantity::Voltage, Range { low: 15 << bits, high: 45 << bits })
        .with_floor(Quantity::Voltage, 10 << bits)
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let configuration = Configuration {
        acquisition: acquisition(),
        hard_limits: hard_limits(),
        silence_us: 2_000_000,
        telemetry_us: 200_000,
    };
    let mut board = Board::<Mps2>::new(
        Parts {
            serial: Uart::first(),
            pins: Pins { relay: Led::number(0), lamp: Led::number(1), horn: Led::of_second_row(0) },
            watchdog: CmsdkWatchdog::start(60),
            journal: (MemoryFlash::new(), 0..FLASH_BYTES as u32),
            procedure: (MemoryFlash::new(), 0..FLASH_BYTES as u32),
        },
        configuration,
    );
    loop {
        board.poll();
        if board.is_idle() {
            board.serial().wait();
        }
    }
}
