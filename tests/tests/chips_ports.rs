//! The serial ports of the programs for real chips: around a driver that waits, and without ever waiting themselves.

use bandward_chips::ports::{Port, Shifting, TwoWires};
use embedded_hal::digital::OutputPin;
use embedded_io::{ErrorKind, Read as _, ReadReady as _, Write as _, WriteReady as _};
use proptest::prelude::*;
use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::future::poll_fn;
use std::rc::Rc;
use std::task::Poll;

/// A driver for tasks, which waits where a test says so.
#[derive(Clone, Default)]
struct Driver {
    come: Rc<RefCell<VecDeque<Result<u8, ErrorKind>>>>,
    gone: Rc<RefCell<Vec<u8>>>,
    room: Rc<Cell<usize>>,
    shifting: Rc<Cell<bool>>,
}

impl embedded_io::ErrorType for Driver {
    type Error = ErrorKind;
}

impl embedded_io_async::Read for Driver {
    async fn read(&mut self, buffer: &mut [u8]) -> Result<usize, ErrorKind> {
        poll_fn(|_| match self.come.borrow_mut().pop_front() {
            Some(Ok(byte)) => {
                buffer[0] = byte;
                Poll::Ready(Ok(1))
            }
            Some(Err(error)) => Poll::Ready(Err(error)),
            None => Poll::Pending,
        })
        .await
    }
}

impl embedded_io_async::Write for Driver {
    async fn write(&mut self, buffer: &[u8]) -> Result<usize, ErrorKind> {
        poll_fn(|_| {
            let Some(left) = self.room.get().checked_sub(buffer.len()) else { return Poll::Pending };
            self.room.set(left);
            self.gone.borrow_mut().extend_from_slice(buffer);
            Poll::Ready(Ok(buffer.len()))
        })
        .await
    }
    async fn flush(&mut self) -> Result<(), ErrorKind> {
        Ok(())
    }
}

impl Shifting for Driver {
    fn is_shifting(&self) -> bool {
        self.shifting.get()
    }
}

proptest! {
    /// Whatever the line does, every byte goes out once and in order, none is taken without room, and nothing waits.
    #[test]
    fn a_port_loses_no_byte_and_never_waits(rooms in prop::collection::vec(0..4_usize, 1..60), spoilt in any::<bool>()) {
        let driver = Driver::default();
        let mut port = Port::new(driver.clone());
        let mut taken = Vec::new();
        for (byte, room) in (0..).zip(rooms) {
            driver.room.set(room);
            if port.write_ready().unwrap() {
                prop_assert_eq!(port.write(&[byte, 99]).unwrap(), 1);
                taken.push(byte);
            } else {
                prop_assert_eq!(port.write(&[byte]).unwrap(), 0);
            }
        }
        driver.room.set(10);
        prop_assert!(port.is_handed_over());
        prop_assert_eq!(&*driver.gone.borrow(), &taken);

        prop_assert!(!port.read_ready().unwrap());
        let mut byte = [0];
        prop_assert_eq!(port.read(&mut byte).unwrap(), 0);
        if spoilt {
            driver.come.borrow_mut().push_back(Err(ErrorKind::Other));
            prop_assert!(!port.read_ready().unwrap(), "a spoilt byte is none");
        }
        driver.come.borrow_mut().extend([Ok(7), Ok(8)]);
        for expected in [7, 8] {
            prop_assert!(port.read_ready().unwrap());
            prop_assert_eq!(port.read(&mut byte).unwrap(), 1);
            prop_assert_eq!(byte, [expected]);
        }
    }
}

#[derive(Clone, Default)]
struct Switch(Rc<Cell<bool>>);

impl embedded_hal::digital::ErrorType for Switch {
    type Error = Infallible;
}

impl OutputPin for Switch {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.set(false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.set(true);
        Ok(())
    }
}

/// The transmitter is on from before the first bit until after the last one, and no longer.
#[test]
fn a_line_of_two_wires_is_let_go() {
    let (driver, switch) = (Driver::default(), Switch::default());
    let mut port = TwoWires::new(driver.clone(), switch.clone());
    assert!(!port.read_ready().unwrap() && !switch.0.get());
    driver.shifting.set(true);
    assert_eq!(port.write(&[1]).unwrap(), 1);
    assert!(switch.0.get());
    // The driver has no room for it yet.
    assert!(!port.read_ready().unwrap() && switch.0.get());
    driver.room.set(1);
    assert!(!port.read_ready().unwrap() && switch.0.get(), "the last byte is on its way");
    driver.shifting.set(false);
    assert!(!port.read_ready().unwrap() && !switch.0.get());
    assert_eq!(*driver.gone.borrow(), [1]);
}
