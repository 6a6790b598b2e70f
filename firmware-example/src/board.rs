//! The board program: samples in, outputs and reports out.
//!
//! Decides: what belongs together: `watcher` judges a sample, `service` does the rest in the time between; what they
//! hand each other is in `between`, and neither waits for the other.
//! Assumes: `sample` is called at the declared rate, and `poll` in the time between.
//! Never: energises the relay at the word of host or controller, or changes the procedure while the arc burns.

mod between;
mod cell;
mod late;
mod orders;
mod records;
mod refused;
mod requests;
mod service;
mod stamping;
mod telling;
mod watcher;

use crate::link::{Link, Room};
use crate::modbus::{self, Clock, Port, Settings};
use crate::outputs::{Pins, Watchdog};
use bandward::blackbox::BlackBox;
use bandward::flash::journal::Journal;
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{BoardFaults, Counts, LONGEST_PIECE, Outputs, Receiver};
use bandward::monitor::Plan;
use bandward::{Acquisition, Monitor, Procedure, Sample, SoundProcedure};
pub use between::Between;
use core::ops::DerefMut;
use embedded_hal::digital::OutputPin;
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use service::{Desk, OfJournal};
pub use service::{Finished, Jobs, Procedures, Service};
use watcher::Drivers;
pub use watcher::{Eyes, Watcher};

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
    /// [`Eyes::new`].
    pub eyes: H::Place<Eyes>,
    /// [`Between::new`].
    pub between: &'static mut Between,
    /// [`Room::new`].
    pub queue: H::Place<Room>,
    /// All [`None`].
    pub finished: H::Place<Finished>,
    /// [`SoundProcedure::NONE`], twice.
    pub procedures: H::Place<Procedures>,
    /// [`Jobs::NONE`].
    pub jobs: H::Place<Jobs>,
    /// [`Upload::new`].
    pub upload: H::Place<Upload>,
    /// [`Receiver::new`].
    pub receiver: H::Place<Receiver>,
    /// [`modbus::Kept::new`].
    pub modbus: H::Place<modbus::Kept>,
}

/// The black box of this board.
pub type BoxOfSamples = BlackBox<BLACK_BOX_BLOCKS, LONGEST_PIECE>;

/// A bench test whose host says nothing for so long, by the board's own clock, is over: the inputs are watched again.
pub const BENCH_PATIENCE_US: u32 = 10_000_000;

/// Where the journal lost all that it held, at the start, it goes on so many numbers further: it is taken that it gave
/// no more since the last time.
const NUMBERS_GIVEN_UP: u32 = 1 << 20;

/// Blocks of the black box: 256 KiB, some five seconds of two channels at 10 kHz.
pub const BLACK_BOX_BLOCKS: usize = 1024;

/// Watched by until there is one that makes sense.
static NO_PROCEDURE: SoundProcedure = SoundProcedure::NONE;

/// The whole program but its drivers: a watcher for the interrupt of the sample timer, a service for the task beside it.
/// Together as here they are for one thread.
pub struct Board<H: Hardware> {
    watcher: Watcher<H>,
    service: Service<H>,
}

/// Has the journal go on with numbers that it never gave; true where it lost what it held. What is kept beside it says
/// so before anything is erased.
fn go_on<F: NorFlash>(
    journal: &mut Journal<F>,
    store: Option<&mut ProcedureStore<F>>,
    procedure: Option<&Procedure>,
) -> bool {
    let has_lost = journal.is_damaged();
    if let Some(store) = store {
        if has_lost {
            let from = store.numbers_from().saturating_add(NUMBERS_GIVEN_UP);
            if store.store_numbers(from, procedure).is_err() {
                return true;
            }
        }
        journal.go_on_from(store.numbers_from());
    }
    if has_lost {
        // Where that fails it is tried again with the next record.
        journal.begin_anew().unwrap_or_default();
    }
    has_lost
}

/// What a start finds in the flash.
struct WhatIsKept<H: Hardware> {
    store: Option<ProcedureStore<H::Flash>>,
    journal: Option<Journal<H::Flash>>,
    is_procedure_bad: bool,
    /// The journal lost what it held.
    has_lost: bool,
}

impl<H: Hardware> Board<H> {
    /// Starts: looks for the procedure in the flash, and keeps the relay released until the first
    /// sample is judged. Without a procedure that makes sense it stays released.
    #[allow(clippy::needless_pass_by_value)] // handed over for good, as the parts are
    pub fn new(parts: Parts<H>, configuration: Configuration) -> Self {
        let Parts { serial, modbus, clock, pins, watchdog, journal, procedure, mut memory } = parts;
        // One after the other, none on the stack of another.
        let kept = Self::find_what_is_kept(journal, procedure, &mut memory, &configuration);
        let plan = Self::begin_to_watch(&mut memory, &configuration);
        let drivers = Drivers { pins, watchdog };
        Self::put_together((serial, modbus, clock), drivers, memory, kept, plan, &configuration)
    }
    /// Looks into the flash: the procedure found there is in force, or none is.
    #[inline(never)]
    fn find_what_is_kept(
        (flash_of_journal, range_of_journal): (H::Flash, core::ops::Range<u32>),
        (flash, range): (H::Flash, core::ops::Range<u32>),
        memory: &mut Memory<H>,
        configuration: &Configuration,
    ) -> WhatIsKept<H> {
        let [in_force, _] = &mut *memory.procedures;
        let mut store = ProcedureStore::new(flash, range).ok();
        let limits = &configuration.hard_limits;
        let found = store.as_mut().map(|store| store.load_into(in_force, limits, memory.queue.at_rest()));
        let is_procedure_bad = !matches!(found, Some(Ok(Some(Ok(())))));
        if is_procedure_bad {
            in_force.clone_from(&NO_PROCEDURE);
        }
        let mut journal = Journal::open(flash_of_journal, range_of_journal).ok();
        let procedure = (!is_procedure_bad).then_some(&**in_force);
        let has_lost = journal.as_mut().is_some_and(|journal| go_on(journal, store.as_mut(), procedure));
        WhatIsKept { store, journal, is_procedure_bad, has_lost }
    }
    #[inline(never)]
    fn begin_to_watch(memory: &mut Memory<H>, configuration: &Configuration) -> Plan {
        let [in_force, _] = &*memory.procedures;
        let plan = Plan::new(in_force, configuration.acquisition);
        memory.monitor.start_by(in_force, &plan);
        memory.eyes.begin(configuration);
        plan
    }
    #[inline(never)]
    fn put_together(
        (serial, modbus, clock): (H::Serial, H::Modbus, H::Clock),
        drivers: Drivers<H>,
        memory: Memory<H>,
        kept: WhatIsKept<H>,
        plan: Plan,
        configuration: &Configuration,
    ) -> Self {
        let is_failing = kept.journal.is_none();
        let (above, below) = memory.between.split();
        let in_place = (memory.monitor, memory.black_box, memory.eyes);
        let mut watcher = Watcher::new(in_place, drivers, above, plan, configuration.acquisition);
        watcher.begin(kept.is_procedure_bad, is_failing);
        let period_us = configuration.acquisition.period_us;
        let of_journal = OfJournal {
            is_failing,
            told_failing: is_failing,
            has_lost: kept.has_lost,
            tries: 0,
            tried_us: 0,
        };
        let desk = Desk {
            link: Link::new(serial, memory.queue),
            modbus: Port::new(modbus, clock, configuration.modbus, memory.modbus),
            journal: kept.journal,
            store: kept.store,
            upload: memory.upload,
            finished: memory.finished,
            procedures: memory.procedures,
            jobs: memory.jobs,
            hard_limits: configuration.hard_limits,
            acquisition: configuration.acquisition,
            old_us: configuration.silence_us.max(3 * period_us),
            counts: Counts::default(),
            below,
            due_records: 0,
            is_oldest_noted: false,
            of_journal,
            is_hearing: false,
            bench_heard_us: 0,
        };
        Self { watcher, service: Service { receiver: memory.receiver, desk } }
    }
    /// The watcher, for the interrupt of the sample timer, and the service, for the task beside it.
    pub fn split(self) -> (Watcher<H>, Service<H>) {
        (self.watcher, self.service)
    }
    /// Judges a sample from the inputs. `late` says that it could not be taken in its time.
    pub fn sample(&mut self, sample: &Sample, late: bool) {
        self.watcher.sample(sample, late);
    }
    /// Does what can wait, in one thread: see [`Service::poll`] and [`Watcher::attend`].
    pub fn poll(&mut self) {
        self.watcher.attend();
        self.service.poll();
        self.watcher.attend();
        self.service.desk.answer_what_waits();
        self.service.desk.hear();
    }
    /// Has `poll` done all that was to be done, so that the board may sleep until a byte or a sample comes?
    pub fn is_idle(&self) -> bool {
        self.service.is_idle() && !self.watcher.has_more_to_do()
    }
    /// What it drives.
    pub fn outputs(&self) -> Outputs {
        self.watcher.outputs()
    }
    /// What is wrong with the board itself.
    pub fn faults(&self) -> BoardFaults {
        self.watcher.faults()
    }
    /// The procedure in force.
    pub fn procedure(&self) -> &Procedure {
        self.watcher.procedure()
    }
    /// The receiver's counts.
    pub fn counts(&self) -> Counts {
        self.service.counts()
    }
    /// The serial driver.
    pub fn serial(&mut self) -> &mut H::Serial {
        self.service.serial()
    }
    /// The driver of the Modbus port.
    pub fn modbus(&mut self) -> &mut H::Modbus {
        self.service.modbus()
    }
    /// Gives the drivers back: what a reset does.
    pub fn into_flash(self) -> (Option<H::Flash>, Option<H::Flash>) {
        let desk = self.service.desk;
        (desk.journal.map(Journal::into_flash), desk.store.map(ProcedureStore::into_flash))
    }
}
