//! The board program on the host: a serial line, pins and a flash that a test can look at and break.
//!
//! Decides: how the doubles behave. The line takes as many bytes as a test allows.
//! Assumes: one thread.
//! Never: waits: a board that writes to a full line fails the test.

use crate::flash::Flash;
use crate::watched_flash::{Control, Watched};
use bandward::flash::journal::{Kept, Stamped};
use bandward::link::frame::{LONGEST_FRAME, crc};
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{LONGEST_PIECE, Receiver, Report, Request, Sender};
use bandward::{Monitor, Procedure, Sample, SoundProcedure, blackbox::BlackBox, delta};
use bandward_firmware::board::{Between, Board, Configuration, Eyes, Hardware, Jobs, Memory, Parts};
use bandward_firmware::link::Room;
use bandward_firmware::modbus::{self, Clock, Settings};
use bandward_firmware::outputs::{Pins, Watchdog};
use bandward_firmware::pattern;
use embedded_hal::digital::{ErrorKind, ErrorType, OutputPin};
use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::rc::Rc;

/// A flash of two pages.
pub type Device = Flash<2, 4096, 4>;
/// The whole of it.
pub const RANGE: core::ops::Range<u32> = 0..Device::SIZE as u32;

/// Of the board, among the devices of a cell.
pub const MODBUS_ADDRESS: u8 = 17;

/// The two directions of a serial line.
#[derive(Clone, Default)]
pub struct Line {
    /// Bytes that the board has not read yet.
    pub to_board: Rc<RefCell<VecDeque<u8>>>,
    /// Bytes that nobody has read on the other end.
    pub to_host: Rc<RefCell<Vec<u8>>>,
    /// Bytes that the line still takes; any number where it is not limited.
    pub room: Rc<Cell<Option<usize>>>,
}

impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.to_board.borrow().is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize, Infallible> {
        let Some(byte) = self.to_board.borrow_mut().pop_front() else { return Ok(0) };
        buffer[0] = byte;
        Ok(1)
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.room.get() != Some(0))
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, buffer: &[u8]) -> Result<usize, Infallible> {
        assert_ne!(self.room.get(), Some(0), "the board waits for the line");
        let taken = buffer.len().min(self.room.get().unwrap_or(usize::MAX));
        self.room.set(self.room.get().map(|room| room - taken));
        self.to_host.borrow_mut().extend_from_slice(&buffer[..taken]);
        Ok(taken)
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// A pin whose level a test sees.
#[derive(Clone, Default)]
pub struct Pin(Rc<Cell<bool>>, Rc<Cell<bool>>);

impl Pin {
    /// Is it high?
    pub fn is_high(&self) -> bool {
        self.0.get()
    }
    /// From now on it answers with an error and stays as it is, or no more.
    pub fn break_or_mend(&self, is_broken: bool) {
        self.1.set(is_broken);
    }
    fn set(&self, is_high: bool) -> Result<(), ErrorKind> {
        if self.1.get() {
            return Err(ErrorKind::Other);
        }
        self.0.set(is_high);
        Ok(())
    }
}

impl ErrorType for Pin {
    type Error = ErrorKind;
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), ErrorKind> {
        self.set(false)
    }
    fn set_high(&mut self) -> Result<(), ErrorKind> {
        self.set(true)
    }
}

/// A watchdog that may have bitten.
pub struct Dog {
    has_bitten: bool,
    fed: Rc<Cell<u32>>,
}

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.fed.set(self.fed.get() + 1);
    }
    fn caused_reset(&self) -> bool {
        self.has_bitten
    }
}

/// A clock that a test moves, µs.
#[derive(Clone, Default)]
pub struct Watch(pub Rc<Cell<u32>>);

impl Clock for Watch {
    fn now_us(&mut self) -> u32 {
        self.0.get()
    }
}

/// The drivers of the host.
pub struct Host;

impl Hardware for Host {
    type Serial = Line;
    type Modbus = Line;
    type Clock = Watch;
    type Relay = Pin;
    type Lamp = Pin;
    type Horn = Pin;
    type Watchdog = Dog;
    type Flash = Watched;
    type Place<T: 'static> = Box<T>;
}

/// How a board is started.
pub struct Start {
    /// The flash of the journal.
    pub journal: Device,
    /// The flash of the procedure.
    pub procedure: Device,
    /// Did the watchdog start it?
    pub is_bitten: bool,
    /// What the integrator chose.
    pub configuration: Configuration,
    /// Bytes of the journal's flash.
    pub journal_range: core::ops::Range<u32>,
}

impl Default for Start {
    fn default() -> Self {
        Self {
            journal: Device::new(),
            procedure: Device::new(),
            is_bitten: false,
            configuration: Configuration {
                acquisition: pattern::acquisition(),
                hard_limits: HardLimits::NONE,
                silence_us: 2_000_000,
                telemetry_us: 200_000,
                modbus: Settings::try_new(MODBUS_ADDRESS, 115_200).ok(),
            },
            journal_range: RANGE,
        }
    }
}

/// A report whose bytes are owned.
pub type Said = Report<Vec<u8>>;

/// A board and the host's end of its line.
pub struct Bench {
    /// The board.
    pub board: Box<Board<Host>>,
    /// The line.
    pub line: Line,
    /// The line of the Modbus port.
    pub modbus: Line,
    /// The clock beside that of the samples.
    pub clock: Watch,
    /// The pin of the relay.
    pub relay: Pin,
    /// The pin of the lamp.
    pub lamp: Pin,
    /// The pin of the horn.
    pub horn: Pin,
    /// How often the watchdog was fed.
    pub fed: Rc<Cell<u32>>,
    /// The flash of the journal.
    pub journal: Rc<Control>,
    /// The flash of the procedure.
    pub procedure: Rc<Control>,
    sender: Sender,
    receiver: Receiver,
}

impl Bench {
    /// Starts a board.
    pub fn of(start: Start) -> Self {
        let (line, relay, lamp, horn) = (Line::default(), Pin::default(), Pin::default(), Pin::default());
        let (modbus, clock) = (Line::default(), Watch::default());
        let fed = Rc::<Cell<u32>>::default();
        let (journal, procedure) = (Rc::<Control>::default(), Rc::<Control>::default());
        let parts = Parts {
            serial: line.clone(),
            modbus: modbus.clone(),
            clock: clock.clone(),
            pins: Pins { relay: relay.clone(), lamp: lamp.clone(), horn: horn.clone() },
            watchdog: Dog { has_bitten: start.is_bitten, fed: fed.clone() },
            journal: (Watched::new(start.journal, &journal), start.journal_range),
            procedure: (Watched::new(start.procedure, &procedure), RANGE),
            memory: Memory {
                monitor: Box::new(Monitor::resting()),
                black_box: Box::new(BlackBox::new()),
                eyes: Box::new(Eyes::new()),
                // Handed out for as long as the program runs, as on a board: a test program starts many.
                between: Box::leak(Box::new(Between::new())),
                queue: Box::new(Room::new()),
                procedures: Box::new([SoundProcedure::NONE; _]),
                jobs: Box::new(Jobs::NONE),
                finished: Box::new([None; _]),
                upload: Box::new(Upload::new()),
                receiver: Box::new(Receiver::new()),
                modbus: Box::new(modbus::Kept::new()),
            },
        };
        Self {
            board: Box::new(Board::new(parts, start.configuration)),
            line,
            modbus,
            clock,
            relay,
            lamp,
            horn,
            fed,
            journal,
            procedure,
            sender: Sender::new(),
            receiver: Receiver::new(),
        }
    }
    /// Starts a board with these contents of its flash, and opens a session. Somebody acknowledges the start, but for
    /// one by the watchdog.
    pub fn start(journal: Device, procedure: Device, is_bitten: bool) -> Self {
        let mut bench = Self::of(Start { journal, procedure, is_bitten, ..Start::default() });
        bench.ask(&Request::Hello);
        if !is_bitten {
            bench.ask(&Request::Acknowledge);
        }
        bench
    }
    /// Sends a request and returns what the board says to it.
    ///
    /// # Panics
    /// The request is too long, or the board is never done with it.
    pub fn ask(&mut self, request: &Request<'_>) -> Vec<Said> {
        self.send(request);
        self.poll()
    }
    /// Sends a request, and does not poll.
    ///
    /// # Panics
    /// The request is too long.
    pub fn send(&mut self, request: &Request<'_>) {
        let mut frame = [0; LONGEST_FRAME];
        let frame = self.sender.frame(request, &mut frame).expect("it is short");
        self.line.to_board.borrow_mut().extend(frame);
    }
    /// Asks over a line without a limit.
    ///
    /// # Panics
    /// As [`Self::ask`].
    pub fn ask_freely(&mut self, request: &Request<'_>) -> Vec<Said> {
        self.line.room.set(None);
        self.ask(request)
    }
    /// As [`Self::ask`], by a client that has just started.
    ///
    /// # Panics
    /// As [`Self::ask`].
    pub fn as_another_client(&mut self, request: &Request<'_>) -> Vec<Said> {
        self.sender = Sender::new();
        self.ask(request)
    }
    /// Polls until nothing is left to do, and returns what the board says.
    ///
    /// # Panics
    /// It does not come to an end.
    pub fn poll(&mut self) -> Vec<Said> {
        let mut said = Vec::new();
        for _ in 0..10_000 {
            self.board.poll();
            said.extend(self.heard());
            if self.board.is_idle() && self.line.to_board.borrow().is_empty() {
                return said;
            }
        }
        panic!("the board is never done");
    }
    /// Reads the whole journal, record by record.
    pub fn read_journal(&mut self) -> Vec<(u32, Kept)> {
        self.read_stamped().into_iter().map(|(number, stamped)| (number, stamped.record)).collect()
    }
    /// As [`Self::read_journal`], with what was told of each.
    pub fn read_stamped(&mut self) -> Vec<(u32, Stamped)> {
        let mut kept: Vec<(u32, Stamped)> = Vec::new();
        loop {
            let from = kept.last().map_or(0, |(number, _)| number + 1);
            let before = kept.len();
            kept.extend(self.ask(&Request::ReadJournal { from }).into_iter().filter_map(|report| {
                let Report::Journal { number, record, stamp } = report else { return None };
                Some((number, Stamped { record, stamp }))
            }));
            if kept.len() == before {
                return kept;
            }
        }
    }
    /// Reads the whole black box, block by block.
    pub fn read_black_box(&mut self) -> Vec<(u32, Vec<u8>)> {
        let mut blocks: Vec<(u32, Vec<u8>)> = Vec::new();
        loop {
            let from = blocks.last().map_or(0, |(number, _)| number + 1);
            let before = blocks.len();
            blocks.extend(self.ask(&Request::ReadBlackBox { from }).into_iter().filter_map(|report| {
                if let Report::BlackBox { number, bytes } = report { Some((number, bytes)) } else { None }
            }));
            if blocks.len() == before {
                return blocks;
            }
        }
    }
    /// What the board has said since the last time.
    pub fn heard(&mut self) -> Vec<Said> {
        let bytes = self.line.to_host.take();
        bytes.into_iter().filter_map(|byte| self.receiver.push(byte)).collect()
    }
    /// Uploads a procedure and returns what the board says.
    ///
    /// # Panics
    /// The procedure is too long.
    pub fn upload(&mut self, procedure: &Procedure) -> Vec<Said> {
        let bytes = postcard::to_allocvec(procedure).expect("a procedure");
        let mut said = self.ask(&Request::UploadStart { length: bytes.len() as u16, crc: crc(&bytes) });
        for (piece, offset) in bytes.chunks(LONGEST_PIECE).zip((0..).step_by(LONGEST_PIECE)) {
            said.extend(self.ask(&Request::UploadPiece { offset, bytes: piece }));
        }
        said.extend(self.ask(&Request::UploadCommit));
        said
    }
    /// Sends samples of a bench test and returns what the board says.
    pub fn bench_samples(&mut self, samples: impl IntoIterator<Item = Sample>) -> Vec<Said> {
        let mut said = Vec::new();
        for sample in samples {
            let mut bytes = [0; LONGEST_PIECE];
            let used = delta::Encoder::new().push(&sample, &mut bytes).unwrap_or(0);
            said.extend(self.ask(&Request::BenchSamples(&bytes[..used])));
        }
        said
    }
    /// Is the relay energised, by its pin?
    ///
    /// # Panics
    /// The pin is not what the board says it is.
    pub fn is_energised(&self) -> bool {
        assert_eq!(self.relay.is_high(), self.board.outputs().relay_energised, "the pin follows");
        self.relay.is_high()
    }
    /// The flashes of the journal and of the procedure, after a reset.
    ///
    /// # Panics
    /// The board could not open one of them.
    pub fn flashes(self) -> (Device, Device) {
        let (journal, procedure) = self.board.into_flash();
        let device = |flash: Option<Watched>| flash.expect("it was opened").into_device().powered_again();
        (device(journal), device(procedure))
    }
}
