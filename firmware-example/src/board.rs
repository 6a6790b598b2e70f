//! The board program: samples in, outputs and reports out.
//!
//! Decides: what belongs together: `watching` judges a sample, `service` does the rest in the time between,
//! `cell` what the controller of the cell asks for.
//! Assumes: `sample` is called at the declared rate and `poll` in the time between.
//! Never: energises the relay at the word of host or controller, or changes the procedure while the arc burns.

mod cell;
mod service;
mod watching;

use crate::input_watch::{ArcSense, InputWatch};
use crate::link::{Link, QUEUE};
use crate::modbus::{self, Clock, Port, Settings};
use crate::outputs::{Annunciator, Levels, Pins, Watchdog};
use bandward::blackbox::BlackBox;
use bandward::flash::journal::Journal;
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{BoardFaults, Counts, LONGEST_PIECE, Outputs, Receiver};
use bandward::{Acquisition, Monitor, Procedure, Sample, SoundProcedure};
use core::ops::DerefMut;
use embedded_hal::digital::OutputPin;
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use service::Jobs;
pub use watching::Finished;
use watching::Watch;

/// The drivers of one board.
pub trait Hardware {
    /// The serial port to the host.
    type Serial: Read + ReadReady + Write + WriteReady;
    /// The serial port to the controller of the cell.
    type Modbus: Read + ReadReady + Write + WriteReady;
    /// A clock beside that of the samples.
    type Clock: Clock;
    /// The pin of the hold relay.
    type Relay: OutputPin;
    /// The pin of the lamp.
    type Lamp: OutputPin;
    /// The pin of the horn.
    type Horn: OutputPin;
    /// The watchdog timer.
    type Watchdog: Watchdog;
    /// A flash, or a part of one that erases on its own.
    type Flash: NorFlash;
    /// Where that lives which is too large for a stack: `&'static mut T` on a board, `Box<T>` on a host.
    type Place<T: 'static>: DerefMut<Target = T>;
}

/// What the integrator chooses.
#[derive(Clone, Debug)]
pub struct Configuration {
    /// How samples come from the inputs.
    pub acquisition: Acquisition,
    /// The widest ranges any procedure may allow.
    pub hard_limits: HardLimits,
    /// Every wired channel gives a reading at least so often, µs; one that does not is a fault of the board.
    pub silence_us: u32,
    /// Time between two reports of the state, µs; 10 ms at least.
    pub telemetry_us: u32,
    /// How the controller of the cell reaches the board; without it the second port is dead.
    pub modbus: Option<Settings>,
}

/// The drivers and the parts of the flash, handed over at the start.
pub struct Parts<H: Hardware> {
    /// The serial port.
    pub serial: H::Serial,
    /// The serial port to the controller of the cell.
    pub modbus: H::Modbus,
    /// A clock beside that of the samples.
    pub clock: H::Clock,
    /// The pins of relay, lamp and horn.
    pub pins: Pins<H::Relay, H::Lamp, H::Horn>,
    /// The watchdog timer.
    pub watchdog: H::Watchdog,
    /// For records of bands and joints, with its range in bytes.
    pub journal: (H::Flash, core::ops::Range<u32>),
    /// For the procedure, with its range in bytes.
    pub procedure: (H::Flash, core::ops::Range<u32>),
    /// What is too large for a stack.
    pub memory: Memory<H>,
}

/// What is too large for a stack, each part in its place, and as it is built: started by the board.
pub struct Memory<H: Hardware> {
    /// [`Monitor::resting`].
    pub monitor: H::Place<Monitor>,
    /// [`BlackBox::new`].
    pub black_box: H::Place<BoxOfSamples>,
    /// All zero.
    pub queue: H::Place<[u8; QUEUE]>,
    /// All [`None`].
    pub finished: H::Place<Finished>,
    /// [`Upload::new`].
    pub upload: H::Place<Upload>,
    /// [`Receiver::new`].
    pub receiver: H::Place<Receiver>,
    /// [`modbus::Kept::new`].
    pub modbus: H::Place<modbus::Kept>,
}

/// The black box of this board.
pub type BoxOfSamples = BlackBox<BLACK_BOX_BLOCKS, LONGEST_PIECE>;

/// A bench test whose host says nothing for so long is over: the inputs are watched again.
pub const BENCH_PATIENCE_US: u64 = 10_000_000;

/// Blocks of the black box: 256 KiB, some five seconds of two channels at 10 kHz.
pub const BLACK_BOX_BLOCKS: usize = 1024;

/// The whole program but its drivers.
pub struct Board<H: Hardware> {
    receiver: H::Place<Receiver>,
    inner: Inner<H>,
}

struct Inner<H: Hardware> {
    configuration: Configuration,
    monitor: H::Place<Monitor>,
    watch: Watch<H>,
    input_watch: InputWatch,
    arc_sense: ArcSense,
    pins: Pins<H::Relay, H::Lamp, H::Horn>,
    driven: Option<Levels>,
    watchdog: H::Watchdog,
    journal: Option<Journal<H::Flash>>,
    store: Option<ProcedureStore<H::Flash>>,
    upload: H::Place<Upload>,
    jobs: Jobs,
    /// Samples judged in the bench test under way.
    bench: Option<u32>,
    /// The first time on the inputs' clock since the last samples of the bench test came.
    bench_quiet_us: Option<u64>,
    readings: Sample,
    /// Samples judged since the start; wraps.
    samples: u32,
    modbus: Port<H::Modbus, H::Clock, H::Place<modbus::Kept>>,
    /// The record that waits longest was shown to it.
    is_oldest_noted: bool,
    told_us: u64,
    verdict_us: u64,
    told_faults: BoardFaults,
    is_procedure_bad: bool,
    is_journal_failing: bool,
}

impl<H: Hardware> Board<H> {
    /// Starts: looks for the procedure in the flash, and keeps the relay released until the first
    /// sample is judged. Without a procedure that makes sense it stays released.
    pub fn new(parts: Parts<H>, configuration: Configuration) -> Self {
        let (flash, range) = parts.procedure;
        let mut store = ProcedureStore::new(flash, range).ok();
        let stored = store.as_mut().and_then(|store| store.load(&configuration.hard_limits).ok()).flatten();
        let (flash, range) = parts.journal;
        let journal = Journal::open(flash, range).ok();
        let is_procedure_bad = !matches!(stored, Some(Ok(_)));
        let Memory { mut monitor, black_box, queue, finished, upload, receiver, modbus } = parts.memory;
        match stored {
            Some(Ok(procedure)) => monitor.start(&procedure, configuration.acquisition),
            _ => monitor.start(&SoundProcedure::NONE, configuration.acquisition),
        }
        let mut inner = Inner::<H> {
            monitor,
            input_watch: InputWatch::new(configuration.acquisition, configuration.silence_us),
            arc_sense: ArcSense::default(),
            modbus: Port::new(parts.modbus, parts.clock, configuration.modbus, modbus),
            configuration,
            watch: Watch {
                link: Link::new(parts.serial, queue),
                annunciator: Annunciator::new(),
                black_box,
                burning: false,
                finished,
                has_lost_record: false,
            },
            pins: parts.pins,
            driven: None,
            is_journal_failing: journal.is_none(),
            is_procedure_bad,
            journal,
            store,
            upload,
            jobs: Jobs::NONE,
            bench: None,
            bench_quiet_us: None,
            readings: Sample::at(0),
            samples: 0,
            is_oldest_noted: false,
            told_us: 0,
            verdict_us: 0,
            told_faults: BoardFaults::default(),
            watchdog: parts.watchdog,
        };
        let watchdog_reset = inner.watchdog.caused_reset();
        inner.watch.annunciator.take_moment(BoardFaults { watchdog_reset, ..BoardFaults::default() });
        inner.look_at_faults();
        inner.drive();
        Self { receiver, inner }
    }
    /// Judges a sample from the inputs. `late` says that it could not be taken in its time.
    pub fn sample(&mut self, sample: &Sample, late: bool) {
        let inner = &mut self.inner;
        inner.watchdog.feed();
        inner.take_input(sample, late);
        inner.drive();
    }
    /// Does what can wait: sends what is queued, writes a finished record to the flash, and handles what has
    /// come over the link. Each call does a bounded part of it and waits for nothing; call it often.
    pub fn poll(&mut self) {
        self.inner.service(&mut self.receiver);
        if self.inner.bench.is_some() {
            // A board without inputs takes no samples in a bench test; the relay is released.
            self.inner.watchdog.feed();
        }
        self.inner.drive();
    }
    /// Has `poll` done all that was to be done, so that the board may sleep until a byte or a sample comes?
    pub fn is_idle(&self) -> bool {
        self.inner.has_nothing_to_do()
    }
    /// What it drives.
    pub fn outputs(&self) -> Outputs {
        self.inner.watch.annunciator.outputs()
    }
    /// What is wrong with the board itself.
    pub fn faults(&self) -> BoardFaults {
        self.inner.watch.annunciator.faults()
    }
    /// The procedure in force.
    pub fn procedure(&self) -> &Procedure {
        self.inner.monitor.procedure()
    }
    /// The receiver's counts.
    pub fn counts(&self) -> Counts {
        self.receiver.counts()
    }
    /// The serial driver.
    pub fn serial(&mut self) -> &mut H::Serial {
        &mut self.inner.watch.link.serial
    }
    /// The driver of the Modbus port.
    pub fn modbus(&mut self) -> &mut H::Modbus {
        &mut self.inner.modbus.serial
    }
    /// Gives the drivers back: what a reset does.
    pub fn into_flash(self) -> (Option<H::Flash>, Option<H::Flash>) {
        (self.inner.journal.map(Journal::into_flash), self.inner.store.map(ProcedureStore::into_flash))
    }
}
