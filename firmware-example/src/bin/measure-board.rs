//! Counts instructions and stack of the whole board program on the emulated controller: with its link, its black
//! box, its outputs and its checks of the inputs, through a line that takes every byte at once.
#![no_std]
#![no_main]

use bandward::link::Sender;
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{LONGEST_PIECE, Request, frame};
use bandward_firmware::board::{Board, Hardware};
use bandward_firmware::machine;
use bandward_firmware::mps2::{INSTRUCTIONS_A_TICK, Ticks, exit, stack_high_water};
use bandward_firmware::pattern::{PROCEDURE, Pattern};
use core::convert::Infallible;
use core::hint::black_box;
use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use semihosting::println;
use static_cell::ConstStaticCell;

/// A line that takes every byte at once, and brings what is put on it.
struct Line<const BYTES: usize> {
    bytes: &'static mut [u8; BYTES],
    length: usize,
    read: usize,
    written: usize,
}

impl<const BYTES: usize> Line<BYTES> {
    const fn through(bytes: &'static mut [u8; BYTES]) -> Self {
        Self { bytes, length: 0, read: 0, written: 0 }
    }
    fn put(&mut self, frame: &[u8]) {
        let Some(bytes) = self.bytes.get_mut(..frame.len()) else { exit(1) };
        bytes.copy_from_slice(frame);
        (self.length, self.read) = (frame.len(), 0);
    }
}

static HOST: ConstStaticCell<[u8; LONGEST_FRAME]> = ConstStaticCell::new([0; LONGEST_FRAME]);
static CELL: ConstStaticCell<[u8; 8]> = ConstStaticCell::new([0; 8]);

/// Reads the state, and as many alarms, and as many quantities, as go into an answer; the CRC is another program's.
const ASKED: [[u8; 8]; 3] = [
    [17, 4, 0, 0, 0, 24, 0xf2, 0x90],
    [17, 4, 0, 200, 0, 125, 0xb3, 0x45],
    [17, 4, 3, 0xe8, 0, 120, 0x72, 0xc8],
];
/// So many samples apart: the silence that ends a request is as long as some 30,000 samples take here.
const ASKED_EVERY: u64 = 50_000;

impl<const BYTES: usize> ErrorType for Line<BYTES> {
    type Error = Infallible;
}

impl<const BYTES: usize> ReadReady for Line<BYTES> {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.read < self.length)
    }
}

impl<const BYTES: usize> Read for Line<BYTES> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let (Some(slot), Some(&byte)) = (buffer.first_mut(), self.bytes.get(self.read)) else { return Ok(0) };
        *slot = byte;
        self.read += 1;
        Ok(1)
    }
}

impl<const BYTES: usize> WriteReady for Line<BYTES> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl<const BYTES: usize> Write for Line<BYTES> {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        self.written += buffer.len();
        Ok(black_box(buffer).len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// Sends a request and lets the board do all there is to do.
fn ask<H: Hardware<Serial = Line<LONGEST_FRAME>>>(
    board: &mut Board<H>,
    sender: &mut Sender,
    request: &Request<'_>,
) {
    let mut room = [0; LONGEST_FRAME];
    let Some(frame) = sender.frame(request, &mut room) else { exit(1) };
    board.serial().put(frame);
    settle(board);
}

fn settle<H: Hardware<Serial = Line<LONGEST_FRAME>>>(board: &mut Board<H>) {
    for _ in 0..64 {
        board.poll();
    }
}

/// Puts the procedure in force that judges everything. Not inlined, as `measure`: its buffer is no part of the start.
#[inline(never)]
fn upload<H: Hardware<Serial = Line<LONGEST_FRAME>>>(board: &mut Board<H>) {
    let mut sender = Sender::new();
    let mut bytes = [0; 2048];
    let Ok(bytes) = postcard::to_slice(&**black_box(&PROCEDURE), &mut bytes) else { exit(2) };
    ask(board, &mut sender, &Request::Hello);
    ask(board, &mut sender, &Request::UploadStart { length: bytes.len() as u16, crc: frame::crc(bytes) });
    for (index, bytes) in bytes.chunks(LONGEST_PIECE).enumerate() {
        ask(board, &mut sender, &Request::UploadPiece { offset: (index * LONGEST_PIECE) as u16, bytes });
    }
    ask(board, &mut sender, &Request::UploadCommit);
    if *board.procedure() != *PROCEDURE {
        exit(3);
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(peripherals) = cortex_m::Peripherals::take() else { exit(1) };
    let ticks = Ticks::start(peripherals.SYST);
    let mut board = machine::start(Line::through(HOST.take()), Line::through(CELL.take()), 60);
    println!("start_stack_bytes={}", stack_high_water());
    upload(&mut board);
    let (mut sum, mut worst, mut worst_poll, mut samples) = (0_u64, 0, 0, 0_u64);
    let (mut worst_answer, mut asked) = (0, ASKED.iter().cycle());
    for sample in Pattern::new() {
        let taken = ticks.of(|| board.sample(black_box(&sample), false));
        worst = worst.max(taken);
        sum += u64::from(taken);
        samples += 1;
        if samples.is_multiple_of(ASKED_EVERY)
            && let Some(frame) = asked.next()
        {
            board.modbus().put(frame);
        }
        let written = board.modbus().written;
        let poll = ticks.of(|| board.poll());
        worst_poll = worst_poll.max(poll);
        if board.modbus().written > written {
            worst_answer = worst_answer.max(poll);
        }
    }
    println!("stack_bytes={}", stack_high_water());
    println!("mean_instructions={}", sum * u64::from(INSTRUCTIONS_A_TICK) / samples);
    println!("worst_instructions={}", (worst + 1) * INSTRUCTIONS_A_TICK);
    println!("worst_poll_instructions={}", (worst_poll + 1) * INSTRUCTIONS_A_TICK);
    println!("worst_answer_instructions={}", (worst_answer + 1) * INSTRUCTIONS_A_TICK);
    exit(if worst_answer > 0 { 0 } else { 4 })
}
