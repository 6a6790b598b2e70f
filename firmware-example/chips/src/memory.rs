//! The memory of a board, in statics: what is too large for a stack.
//!
//! Never: handed out twice.

use bandward::Monitor;
use bandward::link::Receiver;
use bandward::link::upload::Upload;
use bandward_firmware::board::{BoxOfSamples, Finished, Hardware, Memory};
use bandward_firmware::link::QUEUE;
use bandward_firmware::modbus;
use static_cell::ConstStaticCell;

static MONITOR: ConstStaticCell<Monitor> = ConstStaticCell::new(Monitor::resting());
static BLACK_BOX: ConstStaticCell<BoxOfSamples> = ConstStaticCell::new(BoxOfSamples::new());
static QUEUE_OUT: ConstStaticCell<[u8; QUEUE]> = ConstStaticCell::new([0; QUEUE]);
static FINISHED: ConstStaticCell<Finished> = ConstStaticCell::new([None; _]);
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
    H: Hardware<Place<[u8; QUEUE]> = &'static mut [u8; QUEUE]>,
    H: Hardware<Place<Finished> = &'static mut Finished>,
    H: Hardware<Place<Upload> = &'static mut Upload>,
    H: Hardware<Place<Receiver> = &'static mut Receiver>,
    H: Hardware<Place<modbus::Kept> = &'static mut modbus::Kept>,
{
    Memory {
        monitor: MONITOR.take(),
        black_box: BLACK_BOX.take(),
        queue: QUEUE_OUT.take(),
        finished: FINISHED.take(),
        upload: UPLOAD.take(),
        receiver: RECEIVER.take(),
        modbus: MODBUS.take(),
    }
}
