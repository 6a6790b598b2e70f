//! A flash that a test watches while a board holds it.
//!
//! Decides: what is counted: every call. Once it is broken it refuses to change anything.
//! Assumes: one thread.
//! Never: lets a broken rule of the device pass: that is the device's own error.

use crate::flash::Fault;
use crate::host_board::Device;
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};
use std::cell::Cell;
use std::rc::Rc;

/// What a test sees of a flash that the board holds, and does to it.
#[derive(Debug, Default)]
pub struct Control {
    /// Calls so far: to read, to write, to erase.
    pub calls: Cell<u64>,
    /// Calls that were to change something.
    pub changes: Cell<u64>,
    /// Nothing can be written or erased any more.
    pub is_broken: Cell<bool>,
    /// It says that it has written, and has not.
    pub is_lying: Cell<bool>,
}

/// A flash that is watched.
pub struct Watched {
    device: Device,
    control: Rc<Control>,
}

impl Watched {
    /// A device, and what a test holds of it.
    pub fn new(device: Device, control: &Rc<Control>) -> Self {
        Self { device, control: control.clone() }
    }
    /// The device.
    pub fn into_device(self) -> Device {
        self.device
    }
    fn change(&self) -> Result<(), Fault> {
        self.control.calls.set(self.control.calls.get() + 1);
        self.control.changes.set(self.control.changes.get() + 1);
        if self.control.is_broken.get() { Err(Fault::NoPower) } else { Ok(()) }
    }
}

impl ErrorType for Watched {
    type Error = Fault;
}

impl ReadNorFlash for Watched {
    const READ_SIZE: usize = Device::READ_SIZE;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Fault> {
        self.control.calls.set(self.control.calls.get() + 1);
        self.device.read(offset, bytes)
    }
    fn capacity(&self) -> usize {
        self.device.capacity()
    }
}

impl NorFlash for Watched {
    const WRITE_SIZE: usize = Device::WRITE_SIZE;
    const ERASE_SIZE: usize = Device::ERASE_SIZE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Fault> {
        self.change()?;
        self.device.erase(from, to)
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Fault> {
        self.change()?;
        if self.control.is_lying.get() {
            return Ok(());
        }
        self.device.write(offset, bytes)
    }
}
