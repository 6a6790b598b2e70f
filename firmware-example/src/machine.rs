//! The board program on the emulated controller: its drivers, and its memory in statics.
//!
//! Decides: what is wired to what, and the limits built into this board.
//! Never: started twice: its statics are handed out once.

use crate::board::{
    Between, Board, BoxOfSamples, Configuration, Eyes, Finished, Hardware, Jobs, Memory, Parts, Procedures,
};
use crate::link::Room;
use crate::modbus::{self, Settings, SettingsError};
use crate::mps2::{CmsdkWatchdog, Led, MemoryFlash, Microseconds, Pace};
use crate::outputs::Pins;
use crate::pattern::acquisition;
use bandward::link::Receiver;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::procedure::Range;
use bandward::{Monitor, Quantity, SoundProcedure};
use core::marker::PhantomData;
use embedded_io::{Read, ReadReady, Write, WriteReady};
use static_cell::ConstStaticCell;

/// The drivers, around any serial ports.
pub struct Mps2<Serial, Modbus>(PhantomData<(Serial, Modbus)>);

const FLASH_BYTES: usize = 16 * 1024;

impl<Serial, Modbus> Hardware for Mps2<Serial, Modbus>
where
    Serial: Read + ReadReady + Write + WriteReady,
    Modbus: Read + ReadReady + Write + WriteReady,
{
    type Serial = Serial;
    type Modbus = Modbus;
    type Clock = Microseconds;
    type Relay = Led;
    type Lamp = Led;
    type Horn = Led;
    type Watchdog = CmsdkWatchdog;
    type Flash = MemoryFlash<FLASH_BYTES>;
    type Place<T: 'static> = &'static mut T;
}

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());
static BLACK_BOX: ConstStaticCell<BoxOfSamples> = ConstStaticCell::new(BoxOfSamples::new());
static EYES: ConstStaticCell<Eyes> = ConstStaticCell::new(Eyes::new());
static BETWEEN: ConstStaticCell<Between> = ConstStaticCell::new(Between::new());
static QUEUE_OUT: ConstStaticCell<Room> = ConstStaticCell::new(Room::new());
static PROCEDURES: ConstStaticCell<Procedures> = ConstStaticCell::new([SoundProcedure::NONE; _]);
static JOBS: ConstStaticCell<Jobs> = ConstStaticCell::new(Jobs::NONE);
static FINISHED: ConstStaticCell<Finished> = ConstStaticCell::new([None; _]);
static UPLOAD: ConstStaticCell<Upload> = ConstStaticCell::new(Upload::new());
static RECEIVER: ConstStaticCell<Receiver> = ConstStaticCell::new(Receiver::new());
static MODBUS: ConstStaticCell<modbus::Kept> = ConstStaticCell::new(modbus::Kept::new());
static JOURNAL: ConstStaticCell<[u8; FLASH_BYTES]> = ConstStaticCell::new([0; FLASH_BYTES]);
static PROCEDURE: ConstStaticCell<[u8; FLASH_BYTES]> = ConstStaticCell::new([0; FLASH_BYTES]);

/// No procedure may permit an arc of less than 15 V or more than 45 V on this machine, and each must give a floor
/// of 10 V at least.
fn hard_limits() -> HardLimits {
    let bits = Quantity::Voltage.fraction_bits();
    HardLimits::USUAL
        .with(Quantity::Voltage, Range { low: 15 << bits, high: 45 << bits })
        .with_floor(Quantity::Voltage, 10 << bits)
}

/// Its address among the devices of the cell, and the speed of their line: slow, since the emulator brings the bytes of
/// a frame with holes of some milliseconds between them.
const SETTINGS: Result<Settings, SettingsError> = Settings::try_new(17, 1_200);

/// Starts the board with its ports to the host and to the controller of the cell, and a flash that takes as long as
/// memory; the watchdog waits for `watchdog_s` seconds.
///
/// # Panics
/// It was started before.
pub fn start<Serial, Modbus>(serial: Serial, modbus: Modbus, watchdog_s: u32) -> Board<Mps2<Serial, Modbus>>
where
    Serial: Read + ReadReady + Write + WriteReady,
    Modbus: Read + ReadReady + Write + WriteReady,
{
    start_paced(serial, modbus, watchdog_s, Pace::default())
}

/// As [`start`], with a flash at a pace.
///
/// # Panics
/// As [`start`].
#[inline(never)]
pub fn start_paced<Serial, Modbus>(
    serial: Serial,
    modbus: Modbus,
    watchdog_s: u32,
    pace: Pace,
) -> Board<Mps2<Serial, Modbus>>
where
    Serial: Read + ReadReady + Write + WriteReady,
    Modbus: Read + ReadReady + Write + WriteReady,
{
    Board::new(
        Parts {
            serial,
            modbus,
            clock: Microseconds::start(),
            pins: Pins { relay: Led::number(0), lamp: Led::number(1), horn: Led::of_second_row(0) },
            watchdog: CmsdkWatchdog::start(watchdog_s),
            journal: (MemoryFlash::erased(JOURNAL.take(), pace), 0..FLASH_BYTES as u32),
            procedure: (MemoryFlash::erased(PROCEDURE.take(), pace), 0..FLASH_BYTES as u32),
            memory: Memory {
                monitor: MONITOR.take(),
                black_box: BLACK_BOX.take(),
                eyes: EYES.take(),
                between: BETWEEN.take(),
                queue: QUEUE_OUT.take(),
                procedures: PROCEDURES.take(),
                jobs: JOBS.take(),
                finished: FINISHED.take(),
                upload: UPLOAD.take(),
                receiver: RECEIVER.take(),
                modbus: MODBUS.take(),
            },
        },
        Configuration {
            acquisition: acquisition(),
            hard_limits: hard_limits(),
            silence_us: 2_000_000,
            telemetry_us: 200_000,
            modbus: SETTINGS.ok(),
        },
    )
}
