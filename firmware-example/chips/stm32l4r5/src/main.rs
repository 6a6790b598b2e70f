//! The board program on an STM32L4R5.
//!
//! Decides: what is wired to which pin, and how fast the clocks run.
//! Assumes: a crystal of 8 MHz: the internal oscillator is ten times too coarse for a turn time. A resistor to ground at
//! the relay's driver, since the pin floats until the program has begun.
//! Never: feeds the watchdog itself: the board does, by samples, and in a bench test by its loop. Leaves the relay
//! energised where it stops.
#![no_std]
#![no_main]
#![deny(unsafe_code)]

mod converter;
mod counters;
mod hardware;
mod stop;

use bandward_chips::flash_map::STM32L4R5 as MAP;
use bandward_chips::memory;
use bandward_chips::ports::Port;
use bandward_chips::station::Station;
use bandward_chips::wiring;
use bandward_firmware::board::{Board, Parts};
use bandward_firmware::outputs::Pins;
use converter::{Converter, FRAMES};
use core::cell::RefCell;
use counters::HardwareCounters;
use embassy_embedded_hal::flash::partition::BlockingPartition;
use embassy_stm32::flash::Flash;
use embassy_stm32::gpio::{AnyPin, Level, Output, Speed};
use embassy_stm32::time::Hertz;
use embassy_stm32::usart::{self, BufferedUart};
use embassy_stm32::{Config, Peri, bind_interrupts, dma, peripherals, rcc};
use embassy_sync::blocking_mutex::Mutex;
use hardware::{Dog, Microseconds, SharedFlash, Stm32};
use static_cell::{ConstStaticCell, StaticCell};

bind_interrupts!(struct Lines {
    DMA1_CHANNEL1 => dma::InterruptHandler<peripherals::DMA1_CH1>;
    USART1 => usart::BufferedInterruptHandler<peripherals::USART1>;
    USART3 => usart::BufferedInterruptHandler<peripherals::USART3>;
});

/// Bytes of the driver's buffers: some 20 ms of the host's line, a whole frame of the cell's.
static HOST_OUT: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static HOST_IN: ConstStaticCell<[u8; 1024]> = ConstStaticCell::new([0; 1024]);
static CELL_OUT: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static CELL_IN: ConstStaticCell<[u8; 512]> = ConstStaticCell::new([0; 512]);
static FLASH: StaticCell<SharedFlash> = StaticCell::new();

/// 80 MHz out of the crystal, for the processor and for the converter.
fn clocks() -> Config {
    let mut config = Config::default();
    config.rcc.hse = Some(rcc::Hse { freq: Hertz(8_000_000), mode: rcc::HseMode::Oscillator });
    config.rcc.pll = Some(rcc::Pll {
        source: rcc::PllSource::HSE,
        prediv: rcc::PllPreDiv::DIV1,
        mul: rcc::PllMul::MUL20,
        divp: None,
        divq: None,
        divr: Some(rcc::PllRDiv::DIV2),
    });
    config.rcc.sys = rcc::Sysclk::PLL1_R;
    config.rcc.mux.adcsel = rcc::mux::Adcsel::SYS;
    config
}

fn line(baud: u32, parity: usart::Parity) -> usart::Config {
    let mut config = usart::Config::default();
    config.baudrate = baud;
    config.parity = parity;
    if parity != usart::Parity::ParityNone {
        // The parity bit is one of them.
        config.data_bits = usart::DataBits::DataBits9;
    }
    config
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let is_bitten = Dog::take_cause();
    let chip = embassy_stm32::init(clocks());
    // Before anything else, and low.
    let output = |pin: Peri<'static, AnyPin>| Output::new(pin, Level::Low, Speed::Low);
    let relay = output(chip.PD12.into());
    let lamp = output(chip.PD13.into());
    let horn = output(chip.PD14.into());
    let dog = Dog::start(chip.IWDG, is_bitten);

    let host = BufferedUart::new(
        chip.USART3,
        chip.PC11,
        chip.PC10,
        HOST_OUT.take(),
        HOST_IN.take(),
        Lines,
        line(wiring::HOST_BAUD, usart::Parity::ParityNone),
    );
    let cell = BufferedUart::new_with_de(
        chip.USART1,
        chip.PA10,
        chip.PA9,
        chip.PA12,
        Lines,
        CELL_OUT.take(),
        CELL_IN.take(),
        line(wiring::MODBUS_BAUD, usart::Parity::ParityEven),
    );
    let (Ok(host), Ok(cell)) = (host, cell) else { stop::stop() };

    let flash = FLASH.init(Mutex::new(RefCell::new(Flash::new_blocking(chip.FLASH))));
    let part = |range: &core::ops::Range<u32>| {
        let length = range.end - range.start;
        (BlockingPartition::new(flash, range.start, length), 0..length)
    };
    let clock = Microseconds::start(chip.TIM5);
    let mut board = Board::<Stm32>::new(
        Parts {
            serial: Port::new(host),
            modbus: Port::new(cell),
            clock,
            pins: Pins { relay, lamp, horn },
            watchdog: dog,
            journal: part(&MAP.journal),
            procedure: part(&MAP.procedure),
            memory: memory::take(),
        },
        wiring::configuration(&wiring::SIX),
    );

    let counters = HardwareCounters::start(
        (chip.TIM2, chip.PA0, chip.PA1),
        (chip.TIM3, chip.PA6.into()),
        (chip.TIM4, chip.PB6.into()),
    );
    let inputs = (chip.PC0, chip.PC1, chip.PC2, chip.PC3, chip.PA4, chip.PA5);
    let converter = Converter::start(chip.ADC1, chip.DMA1_CH1, Lines, inputs, chip.TIM6, counters);
    let Ok(mut station) = Station::new(converter, FRAMES, wiring::SIX) else { stop::stop() };
    loop {
        station.turn(&mut board);
    }
}
