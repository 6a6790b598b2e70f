//! The memory of a board, in statics: what is too large for a stack.
//!
//! Never: handed out twice.

use bandward::link::Receiver;
use bandward::link::upload::Upload;
use bandward::{Monitor, SoundProcedure};
use bandward_firmware::board::{Between, BoxOfSamples, Eyes, Finished, Hardware, Jobs, Memory, Procedures};
use bandward_firmware::link::Room;
use bandward_firmware::modbus;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());
static BLACK_BOX: ConstStaticCell<BoxOfSamples> = ConstStaticCell::new(BoxOfSamples::new());
static EYES: ConstStaticCell<Eyes> = ConstStaticCell::new(Eyes::new());
static BETWEEN: ConstStaticCell<Between> = ConstStaticCell::new(Between::new());
static QUEUE_OUT: ConstStaticCell<Room> = ConstStaticCell::new(Room::new());
static FINISHED: ConstStaticCell<Finished> = ConstStaticCell::new([None; _]);
static PROCEDURES: ConstStaticCell<Procedures> = ConstStaticCell::new([SoundProcedure::NONE; _]);
static JOBS: ConstStaticCell<Jobs> = ConstStaticCell::new(Jobs::NONE);
static UPLOAD: ConstStaticCell<Upload> = ConstStaticCell::new(Upload::new());
static RECEIVER: ConstStaticCell<Receiver> = ConstStaticCell::new(Receiver::new());
static MODBUS: ConstStaticCell<modbus::Kept> = ConstStaticCell::new(modbus::Kept::new());

/// All of it.
///
/// # Panics
/// It was taken before.
pub fn take<H>() -> Memory<H>
where
    H: Hardware<Place<Monitor> = &'static mut Monitor>,
    H: Hardware<Place<BoxOfSamples> = &'static mut BoxOfSamples>,
    H: Hardware<Place<Eyes> = &'static mut Eyes>,
    H: Hardware<Place<Room> = &'static mut Room>,
    H: Hardware<Place<Finished> = &'static mut Finished>,
    H: Hardware<Place<Procedures> = &'static mut Procedures>,
    H: Hardware<Place<Jobs> = &'static mut Jobs>,
    H: Hardware<Place<Upload> = &'static mut Upload>,
    H: Hardware<Place<Receiver> = &'static mut Receiver>,
    H: Hardware<Place<modbus::Kept> = &'static mut modbus::Kept>,
{
    Memory {
        monitor: MONITOR.take(),
        black_box: BLACK_BOX.take(),
        eyes: EYES.take(),
        between: BETWEEN.take(),
        queue: QUEUE_OUT.take(),
        finished: FINISHED.take(),
        procedures: PROCEDURES.take(),
        jobs: JOBS.take(),
        upload: UPLOAD.take(),
        receiver: RECEIVER.take(),
        modbus: MODBUS.take(),
    }
}
