//! The board's end of the serial link.
//!
//! Decides: nothing; it puts reports on the line.
//! Assumes: the serial driver queues what it is given (a ring of a few kilobytes behind DMA or an
//! interrupt), so that writing costs no time to speak of.
//! Never: gives up the watch for a line that fails: what cannot be written is dropped and counted.

use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{Report, Sender};
use embedded_io::Write;

/// Writes reports to a serial driver.
pub struct Link<Serial> {
    /// The serial driver.
    pub serial: Serial,
    sender: Sender,
    frame: [u8; LONGEST_FRAME],
    dropped: u32,
}

impl<Serial: Write> Link<Serial> {
    /// Over this driver.
    pub const fn new(serial: Serial) -> Self {
        Self { serial, sender: Sender::new(), frame: [0; LONGEST_FRAME], dropped: 0 }
    }
    /// Sends one report.
    pub fn send(&mut self, report: &Report<&[u8]>) {
        let sent = self.sender.frame(report, &mut self.frame);
        if sent.is_none_or(|frame| self.serial.write_all(frame).is_err()) {
            self.dropped = self.dropped.saturating_add(1);
        }
    }
    /// Reports that could not be written.
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }
}
