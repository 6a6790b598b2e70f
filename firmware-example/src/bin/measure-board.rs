//! Counts instructions and stack of the whole board program on the emulated controller: with its link, its black
//! box, its outputs and its checks of the inputs, from the counts of a converter, through a line that takes every byte at
//! once. Twice over the pattern: slow channels in turns, and all in one sample.
#![no_std]
#![no_main]

use bandward::link::Sender;
use bandward::link::frame::LONGEST_FRAME;
use bandward::link::{LONGEST_PIECE, Request, frame};
use bandward_firmware::board::{Board, Hardware};
use bandward_firmware::machine;
use bandward_firmware::mps2::{INSTRUCTIONS_A_TICK, Ticks, exit, stack_high_water};
use bandward_firmware::pattern::PROCEDURE;
use bandward_firmware::wired_pattern::{Inputs, Turns, acquirer};
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
    measure(&ticks, &mut board)
}

/// Not inlined, so that nothing of it is on the stack of the start.
#[inline(never)]
fn measure<H>(ticks: &Ticks, board: &mut Board<H>) -> !
where
    H: Hardware<Serial = Line<LONGEST_FRAME>, Modbus = Line<8>>,
{
    upload(board);
    let one_by_one = pass(ticks, board, Turns::OneByOne, 0);
    println!("stack_bytes={}", stack_high_water());
    let mut sender = Sender::new();
    ask(board, &mut sender, &Request::Hello);
    ask(board, &mut sender, &Request::Acknowledge);
    ask(board, &mut sender, &Request::ReleaseBlackBox);
    let at_once = pass(ticks, board, Turns::AtOnce, Inputs::length_us());
    one_by_one.tell("");
    at_once.tell("at_once_");
    exit(if one_by_one.worst_answer > 0 { 0 } else { 4 })
}

/// What one pass over the pattern took, in ticks.
#[derive(Default)]
struct Taken {
    sum: u64,
    samples: u64,
    /// The longest, and when they were.
    worst: [(u32, u64); 8],
    worst_poll: u32,
    worst_answer: u32,
}

impl Taken {
    fn note(&mut self, ticks: u32, time_us: u64) {
        self.sum += u64::from(ticks);
        self.samples += 1;
        if let Some(place) = self.worst.iter().position(|&(most, _)| ticks > most)
            && let Some(tail) = self.worst.get_mut(place..)
        {
            tail.rotate_right(1);
            tail[0] = (ticks, time_us);
        }
    }
    fn tell(&self, of: &str) {
        let most = |ticks: u32| (ticks + 1) * INSTRUCTIONS_A_TICK;
        println!("{of}mean_instructions={}", self.sum * u64::from(INSTRUCTIONS_A_TICK) / self.samples.max(1));
        println!("{of}worst_instructions={}", most(self.worst[0].0));
        println!("{of}worst_poll_instructions={}", most(self.worst_poll));
        println!("{of}worst_answer_instructions={}", most(self.worst_answer));
        for (ticks, time_us) in self.worst {
            println!("{of}worst_at_us={time_us} instructions={}", most(ticks));
        }
    }
}

/// Takes the pattern from its counts to the outputs, sample by sample, with a poll after each.
#[inline(never)]
fn pass<H>(ticks: &Ticks, board: &mut Board<H>, turns: Turns, from_us: u64) -> Taken
where
    H: Hardware<Serial = Line<LONGEST_FRAME>, Modbus = Line<8>>,
{
    let Ok(mut acquirer) = acquirer(turns) else { exit(5) };
    let mut inputs = Inputs::new(from_us);
    let (mut taken, mut asked) = (Taken::default(), ASKED.iter().cycle());
    let empty = (0..100).map(|_| ticks.of(|| ())).min().unwrap_or(0);
    while let Some(time_us) = inputs.go_on() {
        let sample = ticks.of(|| board.sample(&acquirer.sample(time_us, black_box(&mut inputs)), false));
        taken.note(sample.saturating_sub(empty), time_us);
        if taken.samples.is_multiple_of(ASKED_EVERY)
            && let Some(frame) = asked.next()
        {
            board.modbus().put(frame);
        }
        let written = board.modbus().written;
        let poll = ticks.of(|| board.poll());
        taken.worst_poll = taken.worst_poll.max(poll);
        if board.modbus().written > written {
            taken.worst_answer = taken.worst_answer.max(poll);
        }
    }
    taken
}
