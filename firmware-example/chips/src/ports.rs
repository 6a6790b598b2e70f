//! Serial ports that never wait, around drivers that are written for tasks.
//!
//! Decides: how "is there room" and "is there a byte" are asked of a driver that only knows how to wait: it is asked once,
//! and what it does not do at once is asked again later. One byte either way is held here meanwhile.
//! Assumes: a call of the driver that is given up while it waits has neither taken nor given a byte.
//! Never: waits; says that a byte was sent which the driver refused.

use core::pin::pin;
use core::task::{Context, Poll, Waker};
use embedded_hal::digital::OutputPin;
use embedded_io::{ErrorKind, ErrorType, Read, ReadReady, Write, WriteReady};

/// Asks once; nothing where it would wait.
fn at_once<T>(asked: impl Future<Output = T>) -> Option<T> {
    match pin!(asked).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(done) => Some(done),
        Poll::Pending => None,
    }
}

/// A driver, and a byte either way.
pub struct Port<Driver> {
    driver: Driver,
    come: Option<u8>,
    to_go: Option<u8>,
}

impl<Driver> Port<Driver> {
    /// Around this driver.
    pub const fn new(driver: Driver) -> Self {
        Self { driver, come: None, to_go: None }
    }
    /// The driver itself.
    pub const fn driver(&self) -> &Driver {
        &self.driver
    }
}

impl<Driver: embedded_io_async::Write> Port<Driver> {
    /// Hands over the byte that is held; is there none left?
    fn hand_over(&mut self) -> Result<bool, ErrorKind> {
        let Some(byte) = self.to_go else { return Ok(true) };
        match at_once(self.driver.write(&[byte])) {
            Some(Ok(1..)) => self.to_go = None,
            Some(Ok(0)) | None => {}
            Some(Err(error)) => return Err(embedded_io::Error::kind(&error)),
        }
        Ok(self.to_go.is_none())
    }
    /// Has the driver handed all of it to the line?
    pub fn is_handed_over(&mut self) -> bool {
        matches!(self.hand_over(), Ok(true)) && at_once(self.driver.flush()).is_some()
    }
}

impl<Driver> ErrorType for Port<Driver> {
    type Error = ErrorKind;
}

impl<Driver: embedded_io_async::Read> ReadReady for Port<Driver> {
    /// A byte that came spoilt is no byte: the frames above have their own checks.
    fn read_ready(&mut self) -> Result<bool, ErrorKind> {
        if self.come.is_none() {
            let mut byte = [0];
            if let Some(Ok(1)) = at_once(self.driver.read(&mut byte)) {
                let [byte] = byte;
                self.come = Some(byte);
            }
        }
        Ok(self.come.is_some())
    }
}

impl<Driver: embedded_io_async::Read> Read for Port<Driver> {
    /// Nothing where there is none: ask `read_ready` first.
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, ErrorKind> {
        let Some(slot) = buffer.first_mut() else { return Ok(0) };
        if !self.read_ready()? {
            return Ok(0);
        }
        let Some(byte) = self.come.take() else { return Ok(0) };
        *slot = byte;
        Ok(1)
    }
}

impl<Driver: embedded_io_async::Write> WriteReady for Port<Driver> {
    fn write_ready(&mut self) -> Result<bool, ErrorKind> {
        self.hand_over()
    }
}

impl<Driver: embedded_io_async::Write> Write for Port<Driver> {
    /// Takes one byte where there is room, and none otherwise: ask `write_ready` first.
    fn write(&mut self, buffer: &[u8]) -> Result<usize, ErrorKind> {
        let Some(&byte) = buffer.first() else { return Ok(0) };
        if !self.hand_over()? {
            return Ok(0);
        }
        self.to_go = Some(byte);
        self.hand_over()?;
        Ok(1)
    }
    /// Asks once.
    fn flush(&mut self) -> Result<(), ErrorKind> {
        self.hand_over().map(|_| ())
    }
}

/// Says whether the last bit has left the driver's shift register.
pub trait Shifting {
    /// It has not.
    fn is_shifting(&self) -> bool;
}

/// A port on a line of two wires, whose transmitter is switched on by a pin.
pub struct TwoWires<Driver, Pin> {
    port: Port<Driver>,
    transmit: Pin,
    is_on: bool,
}

impl<Driver: embedded_io_async::Write + Shifting, Pin: OutputPin> TwoWires<Driver, Pin> {
    /// Around this driver; the pin is high while something is sent.
    pub const fn new(driver: Driver, transmit: Pin) -> Self {
        Self { port: Port::new(driver), transmit, is_on: false }
    }
    fn switch(&mut self, on: bool) -> Result<(), ErrorKind> {
        let done = if on { self.transmit.set_high() } else { self.transmit.set_low() };
        self.is_on = on;
        done.map_err(|_| ErrorKind::Other)
    }
    fn switch_off_when_sent(&mut self) -> Result<(), ErrorKind> {
        if self.is_on && self.port.is_handed_over() && !self.port.driver().is_shifting() {
            self.switch(false)?;
        }
        Ok(())
    }
}

impl<Driver, Pin> ErrorType for TwoWires<Driver, Pin> {
    type Error = ErrorKind;
}

impl<Driver, Pin> ReadReady for TwoWires<Driver, Pin>
where
    Driver: embedded_io_async::Read + embedded_io_async::Write + Shifting,
    Pin: OutputPin,
{
    fn read_ready(&mut self) -> Result<bool, ErrorKind> {
        // The board asks for bytes again and again: the line is let go at the first time after the last bit.
        self.switch_off_when_sent()?;
        self.port.read_ready()
    }
}

impl<Driver, Pin> Read for TwoWires<Driver, Pin>
where
    Driver: embedded_io_async::Read + embedded_io_async::Write + Shifting,
    Pin: OutputPin,
{
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, ErrorKind> {
        self.port.read(buffer)
    }
}

impl<Driver: embedded_io_async::Write + Shifting, Pin: OutputPin> WriteReady for TwoWires<Driver, Pin> {
    fn write_ready(&mut self) -> Result<bool, ErrorKind> {
        self.port.write_ready()
    }
}

impl<Driver: embedded_io_async::Write + Shifting, Pin: OutputPin> Write for TwoWires<Driver, Pin> {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, ErrorKind> {
        self.switch(true)?;
        self.port.write(buffer)
    }
    fn flush(&mut self) -> Result<(), ErrorKind> {
        self.port.flush()
    }
}
