//! Samples at their time beside a service with much to do: a slow line, a slow flash, a black box and a journal read
//! out, procedures uploaded.
//!
//! Decides: what is asked of the service, and when a sample is late: where the next one was already due.
//! Assumes: instructions take a fixed time (`-icount`), so that the emulator's clock tells how long work takes.
//! Never: lets a request go unanswered unseen: what came back is counted, for a test to look at.

use crate::mps2::{Microseconds, Pace, exit};
use crate::pattern::{PERIOD_US, PROCEDURE, Pattern};
use bandward::Sample;
use bandward::link::frame::{LONGEST_FRAME, crc};
use bandward::link::{LONGEST_PIECE, Receiver, Report, Request, Sender};
use core::convert::Infallible;
use core::iter::{Chain, Take};
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use semihosting::println;

/// A byte of ten bits at 115,200 baud, µs.
const BYTE_US: u32 = 87;
/// As a flash within a controller takes: for a page of 4 KiB, and for a word. Common practice, no source.
pub const PACE: Pace = Pace { page_us: 60_000, word_us: 100 };
/// Cold samples of the pattern come first, then its first arc is struck, ten seconds before it goes out, and it goes
/// on to the second.
const COLD: usize = 20_000;
const FROM: usize = 325_000;
/// Samples that are taken.
pub const SAMPLES: u32 = COLD as u32 + 530_000 - FROM as u32;
/// Blocks of the black box that are read at once.
const BLOCKS: u32 = 40;

/// A line whose driver waits until each byte is gone.
pub struct SlowLine {
    bytes: [u8; LONGEST_FRAME],
    length: usize,
    read: usize,
    receiver: Receiver,
    /// What has come back.
    pub heard: Heard,
}

/// Reports, by kind.
#[derive(Clone, Copy, Default)]
pub struct Heard {
    bytes: u32,
    states: u32,
    events: u32,
    bands: u32,
    blocks: u32,
    records: u32,
    in_force: u32,
    refused: u32,
    others: u32,
}

impl SlowLine {
    /// Nothing on it.
    pub const fn new() -> Self {
        Self {
            bytes: [0; LONGEST_FRAME],
            length: 0,
            read: 0,
            receiver: Receiver::new(),
            heard: Heard {
                bytes: 0,
                states: 0,
                events: 0,
                bands: 0,
                blocks: 0,
                records: 0,
                in_force: 0,
                refused: 0,
                others: 0,
            },
        }
    }
    /// Puts a frame on it, for the board to read.
    pub fn put(&mut self, frame: &[u8]) {
        let Some(room) = self.bytes.get_mut(..frame.len()) else { exit(2) };
        room.copy_from_slice(frame);
        (self.length, self.read) = (frame.len(), 0);
    }
    fn hear(&mut self, byte: u8) {
        let heard = &mut self.heard;
        heard.bytes += 1;
        let Some(report) = self.receiver.push::<Report<&[u8]>>(byte) else { return };
        let count = match report {
            Report::Telemetry(_) => &mut heard.states,
            Report::Event(_) => &mut heard.events,
            Report::Band { .. } => &mut heard.bands,
            Report::BlackBox { .. } => &mut heard.blocks,
            Report::Journal { .. } => &mut heard.records,
            Report::UploadInForce { .. } => &mut heard.in_force,
            Report::Refused(_) => &mut heard.refused,
            _ => &mut heard.others,
        };
        *count += 1;
    }
}

impl Default for SlowLine {
    fn default() -> Self {
        Self::new()
    }
}

impl ErrorType for SlowLine {
    type Error = Infallible;
}

impl ReadReady for SlowLine {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read < self.length)
    }
}

impl Read for SlowLine {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let (Some(slot), Some(&byte)) = (buffer.first_mut(), self.bytes.get(self.read)) else { return Ok(0) };
        *slot = byte;
        self.read += 1;
        Microseconds::running().spend(BYTE_US);
        Ok(1)
    }
}

impl WriteReady for SlowLine {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl Write for SlowLine {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        let Some(&byte) = buffer.first() else { return Ok(0) };
        Microseconds::running().spend(BYTE_US);
        self.hear(byte);
        Ok(1)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The samples of the pattern, one a period.
pub struct Inputs {
    pattern: Chain<Take<Pattern>, Pattern>,
    begun_us: u32,
    /// Samples that were taken.
    pub taken: u32,
    /// Samples whose next was due before they were taken.
    late: u32,
    worst_wait_us: u32,
    worst_sample_us: u32,
}

impl Inputs {
    /// The first is due in a period.
    pub fn begin() -> Self {
        let mut rest = Pattern::new();
        if rest.nth(FROM - 1).is_none() {
            exit(3);
        }
        let pattern = Pattern::new().take(COLD).chain(rest);
        let begun_us = Microseconds::running().now();
        Self { pattern, begun_us, taken: 0, late: 0, worst_wait_us: 0, worst_sample_us: 0 }
    }
    fn waits_us(&self) -> i32 {
        let due_us = self.begun_us.wrapping_add(PERIOD_US);
        Microseconds::running().now().wrapping_sub(due_us).cast_signed()
    }
    /// Is one due?
    pub fn is_due(&self) -> bool {
        self.waits_us() >= 0
    }
    /// Hands the sample that is due to the board, and says whether it is late.
    pub fn take(&mut self, board: impl FnOnce(&Sample, bool)) {
        let waits_us = self.waits_us().max(0).cast_unsigned();
        let missed = waits_us / PERIOD_US;
        self.begun_us = self.begun_us.wrapping_add(PERIOD_US * (1 + missed));
        self.late += missed;
        self.worst_wait_us = self.worst_wait_us.max(waits_us);
        let Some(mut sample) = self.pattern.next() else { exit(3) };
        sample.time_us = u64::from(self.taken) * u64::from(PERIOD_US);
        let clock = Microseconds::running();
        let before_us = clock.now();
        board(&sample, missed > 0);
        self.worst_sample_us = self.worst_sample_us.max(clock.now().wrapping_sub(before_us));
        self.taken += 1;
    }
}

/// What a host asks for, one request after another.
pub struct Host {
    sender: Sender,
    bytes: [u8; 2048],
    length: usize,
    offset: usize,
    step: Step,
    worst_poll_us: u32,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Step {
    Hello,
    Start,
    Piece,
    Commit,
    Watch,
    BlackBox(u32),
    Journal,
    Again,
}

impl Host {
    /// Has the procedure of the pattern at hand.
    pub fn new() -> Self {
        let mut bytes = [0; 2048];
        let Ok(used) = postcard::to_slice(&*PROCEDURE, &mut bytes) else { exit(4) };
        let length = used.len();
        Self { sender: Sender::new(), bytes, length, offset: 0, step: Step::Hello, worst_poll_us: 0 }
    }
    /// Puts the next request on the line, where the board has read the one before and it is time. The procedure comes
    /// first; then a band is watched; then the black box and the journal are read, and the procedure is uploaded anew.
    pub fn go_on(&mut self, line: &mut SlowLine) {
        if matches!(line.read_ready(), Ok(true)) {
            return;
        }
        let whole = self.bytes.get(..self.length).unwrap_or_default();
        let (request, next) = match self.step {
            Step::Hello => (Request::Hello, Step::Start),
            Step::Start => {
                self.offset = 0;
                (Request::UploadStart { length: whole.len() as u16, crc: crc(whole) }, Step::Piece)
            }
            Step::Piece => {
                let offset = self.offset;
                let rest = whole.get(offset..).unwrap_or_default();
                let piece = rest.get(..LONGEST_PIECE).unwrap_or(rest);
                self.offset += piece.len();
                let is_last = self.offset >= whole.len();
                let next = if is_last { Step::Commit } else { Step::Piece };
                (Request::UploadPiece { offset: offset as u16, bytes: piece }, next)
            }
            Step::Commit => (Request::UploadCommit, Step::Watch),
            Step::Watch if line.heard.bands > 0 && line.heard.in_force == 1 => {
                (Request::ReadBlackBox { from: 0 }, Step::BlackBox(1))
            }
            Step::BlackBox(asked) if line.heard.blocks >= asked && asked < BLOCKS => {
                (Request::ReadBlackBox { from: asked }, Step::BlackBox(asked + 1))
            }
            Step::BlackBox(asked) if line.heard.blocks >= asked => {
                (Request::ReadJournal { from: 0 }, Step::Journal)
            }
            Step::Journal if line.heard.records > 0 => (Request::Hello, Step::Start),
            Step::Watch | Step::BlackBox(_) | Step::Journal | Step::Again => return,
        };
        let mut room = [0; LONGEST_FRAME];
        let Some(frame) = self.sender.frame(&request, &mut room) else { exit(5) };
        line.put(frame);
        self.step = if line.heard.records > 0 && next == Step::Watch { Step::Again } else { next };
    }
    /// Times a poll.
    pub fn poll(&mut self, poll: impl FnOnce()) {
        let clock = Microseconds::running();
        let before_us = clock.now();
        poll();
        self.worst_poll_us = self.worst_poll_us.max(clock.now().wrapping_sub(before_us));
    }
    /// Prints what came of it.
    pub fn tell(&self, inputs: &Inputs, heard: &Heard) {
        println!("samples={}", inputs.taken);
        println!("late={}", inputs.late);
        println!("worst_wait_us={}", inputs.worst_wait_us);
        println!("worst_sample_us={}", inputs.worst_sample_us);
        println!("worst_poll_us={}", self.worst_poll_us);
        println!("bytes={}", heard.bytes);
        println!("states={}", heard.states);
        println!("events={}", heard.events);
        println!("bands={}", heard.bands);
        println!("blocks={}", heard.blocks);
        println!("records={}", heard.records);
        println!("in_force={}", heard.in_force);
        println!("refused={}", heard.refused);
        println!("others={}", heard.others);
    }
}

impl Default for Host {
    fn default() -> Self {
        Self::new()
    }
}
