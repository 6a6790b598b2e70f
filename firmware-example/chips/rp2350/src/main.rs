//! The board program on an RP2350.
//!
//! Decides: what is wired to which pin.
//! Assumes: a crystal of 12 MHz, a flash of 4 MiB or more, and a board that brings out all four analog pins. A resistor
//! of at most 8.2 kilohm to ground at the relay's driver.
//! Never: feeds the watchdog itself: the board does, by samples, and in a bench test by its loop. Leaves the relay
//! energised where it stops.
#![no_std]
#![no_main]
#![deny(unsafe_code)]

mod converter;
mod hardware;
mod stop;

use bandward_chips::flash_map::RP2350 as MAP;
use bandward_chips::memory;
use bandward_chips::ports::{Port, TwoWires};
use bandward_chips::station::Station;
use bandward_chips::wiring;
use bandward_firmware::board::{Board, Parts};
use bandward_firmware::outputs::Pins;
use converter::{Converter, FRAMES};
use core::cell::RefCell;
use embassy_embedded_hal::flash::partition::BlockingPartition;
use embassy_rp::bind_interrupts;
use embassy_rp::config::Config;
use embassy_rp::flash::Flash;
use embassy_rp::gpio::{Level, Output, Pull};
use embassy_rp::peripherals::{PIO0, UART0, UART1};
use embassy_rp::uart::{self, BufferedInterruptHandler, BufferedUart};
use embassy_rp::{adc, pio};
use embassy_sync::blocking_mutex::Mutex;
use hardware::{Cell, Dog, Microseconds, Rp2350, SharedFlash};
use static_cell::{ConstStaticCell, StaticCell};

bind_interrupts!(struct Lines {
    PIO0_IRQ_0 => pio::InterruptHandler<PIO0>;
    UART0_IRQ => BufferedInterruptHandler<UART0>;
    UART1_IRQ => BufferedInterruptHandler<UART1>;
});

/// Bytes of the driver's buffers: some 20 ms of the host's line, a whole frame of the cell's.
static HOST_OUT: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static HOST_IN: ConstStaticCell<[u8; 1024]> = ConstStaticCell::new([0; 1024]);
static CELL_OUT: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static CELL_IN: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static FLASH: StaticCell<SharedFlash> = StaticCell::new();

fn line(baud: u32, parity: uart::Parity) -> uart::Config {
    let mut config = uart::Config::default();
    config.baudrate = baud;
    config.parity = parity;
    config
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let chip = embassy_rp::init(Config::default());
    // Before anything else, and low.
    let relay = Output::new(chip.PIN_16, Level::Low);
    let lamp = Output::new(chip.PIN_17, Level::Low);
    let horn = Output::new(chip.PIN_18, Level::Low);
    let dog = Dog::start(chip.WATCHDOG);

    let host = BufferedUart::new(
        chip.UART0,
        chip.PIN_0,
        chip.PIN_1,
        Lines,
        HOST_OUT.take(),
        HOST_IN.take(),
        line(wiring::HOST_BAUD, uart::Parity::ParityNone),
    );
    let cell = BufferedUart::new(
        chip.UART1,
        chip.PIN_8,
        chip.PIN_9,
        Lines,
        CELL_OUT.take(),
        CELL_IN.take(),
        line(wiring::MODBUS_BAUD, uart::Parity::ParityEven),
    );

    let flash = FLASH.init(Mutex::new(RefCell::new(Flash::new_blocking(chip.FLASH))));
    let part = |range: &core::ops::Range<u32>| {
        let length = range.end - range.start;
        (BlockingPartition::new(flash, range.start, length), 0..length)
    };
    let mut board = Board::<Rp2350>::new(
        Parts {
            serial: Port::new(host),
            modbus: TwoWires::new(Cell(cell), Output::new(chip.PIN_10, Level::Low)),
            clock: Microseconds,
            pins: Pins { relay, lamp, horn },
            watchdog: dog,
            journal: part(&MAP.journal),
            procedure: part(&MAP.procedure),
            memory: memory::take(),
        },
        wiring::configuration(&wiring::FOUR),
    );

    // None of them pulls: the sources are operational amplifiers.
    let analog = [
        adc::Channel::new_pin(chip.PIN_26, Pull::None),
        adc::Channel::new_pin(chip.PIN_27, Pull::None),
        adc::Channel::new_pin(chip.PIN_28, Pull::None),
        adc::Channel::new_pin(chip.PIN_29, Pull::None),
    ];
    let adc = adc::Adc::new_blocking(chip.ADC, adc::Config::default());
    let counted = (chip.PIN_2, chip.PIN_3, chip.PIN_4, chip.PIN_5);
    let converter =
        Converter::start((adc, analog), (chip.PIO0, Lines, counted), (chip.DMA_CH0, chip.DMA_CH1));
    let Ok(mut station) = Station::new(converter, FRAMES, wiring::FOUR) else { stop::stop() };
    loop {
        station.turn(&mut board);
    }
}
