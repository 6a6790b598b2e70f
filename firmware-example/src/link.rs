//! The board's end of the serial link.
//!
//! Decides: which reports go out: those for which there is room in the queue when they are made.
//! Assumes: [`Link::pump`] is called often, outside of sampling.
//! Never: waits for the line, in [`Link::send`] or in [`Link::pump`]; gives up the watch for a line that
//! fails: what there is no room for is dropped whole and counted.

use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{Report, Sender};
use core::ops::DerefMut;
use embedded_io::{Write, WriteReady};

/// Bytes that may wait for the line: half a second at 115,200 baud, and all that one sample can bring.
pub const QUEUE: usize = 8192;

/// Where reports wait, and where the next is made.
pub struct Room {
    queue: [u8; QUEUE],
    frame: [u8; LONGEST_FRAME],
}

impl Room {
    /// Empty.
    pub const fn new() -> Self {
        Self { queue: [0; QUEUE], frame: [0; LONGEST_FRAME] }
    }
    /// The queue as a buffer, before a link is begun over it.
    pub const fn at_rest(&mut self) -> &mut [u8] {
        &mut self.queue
    }
}

impl Default for Room {
    fn default() -> Self {
        Self::new()
    }
}

/// Queues reports for a serial driver.
pub struct Link<Serial, Place> {
    /// The serial driver.
    pub serial: Serial,
    sender: Sender,
    place: Place,
    first: usize,
    waiting: usize,
    dropped: u32,
}

impl<Serial: Write + WriteReady, Place: DerefMut<Target = Room>> Link<Serial, Place> {
    /// Over this driver, through this queue.
    pub const fn new(serial: Serial, place: Place) -> Self {
        Self { serial, sender: Sender::new(), place, first: 0, waiting: 0, dropped: 0 }
    }
    /// Queues a report that nobody asked for, where room for so many bytes is left behind it.
    pub fn send_leaving(&mut self, room: usize, report: &Report<&[u8]>) {
        if self.room() < room + LONGEST_FRAME {
            self.dropped = self.dropped.saturating_add(1);
        } else {
            self.send(report);
        }
    }
    /// Queues one report, whole or not at all.
    pub fn send(&mut self, report: &Report<&[u8]>) {
        let Room { queue, frame } = &mut *self.place;
        match self.sender.frame(report, frame) {
            Some(frame) if frame.len() <= QUEUE - self.waiting => {
                let start = (self.first + self.waiting) % QUEUE;
                let (wrapped, tail) = queue.split_at_mut(start);
                for (slot, byte) in tail.iter_mut().chain(wrapped).zip(frame) {
                    *slot = *byte;
                }
                self.waiting += frame.len();
            }
            _ => self.dropped = self.dropped.saturating_add(1),
        }
    }
    /// Hands the line what it takes at once, and no more than `most` bytes.
    pub fn pump(&mut self, most: usize) {
        let mut left = most;
        while self.waiting > 0 && left > 0 && matches!(self.serial.write_ready(), Ok(true)) {
            let end = (self.first + self.waiting.min(left)).min(QUEUE);
            let Some(run) = self.place.queue.get(self.first..end) else { return };
            let Ok(taken @ 1..) = self.serial.write(run) else { return };
            self.first = (self.first + taken) % QUEUE;
            self.waiting = self.waiting.saturating_sub(taken);
            left = left.saturating_sub(taken);
        }
    }
    /// Bytes for which there is room.
    pub const fn room(&self) -> usize {
        QUEUE - self.waiting
    }
    /// Reports for which there was no room.
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }
}
