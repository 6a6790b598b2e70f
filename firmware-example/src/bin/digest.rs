//! The core alone on an emulated board: prints the checksum of all that the monitor says.
#![no_std]
#![no_main]

use bandward_firmware::digest::of_pattern;
use bandward_firmware::mps2::exit;
use semihosting::println;

#[cortex_m_rt::entry]
fn main() -> ! {
    println!("{:?}", of_pattern());
    exit(0)
}
