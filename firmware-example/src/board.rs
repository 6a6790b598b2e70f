//! The board program: samples in, outputs and reports out.
//!
//! Decides: what happens with a sample, and with a request from the host.
//! Assumes: `sample` is called at the declared rate and `poll` in the time between.
//! Never: lets the host move an output, or change the procedure while the arc burns.

use crate::link::Link;
use crate::outputs::{Annunciator, Levels, Pins, Watchdog};
use bandward::blackbox::BlackBox;
use bandward::event::{Event, Sink};
use bandward::flash::journal::{Journal, Kept};
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::{Upload, crc_of};
use bandward::link::{
    Counts, LONGEST_PIECE, MOST_ALARMS, Outputs, Receiver, Refusal, Report, Request, Telemetry,
};
use bandward::{
    Acquisition, AlarmKind, BandRecord, JointRecord, Monitor, Phase, Procedure, Quantity, Sample, Severity,
    SoundProcedure, delta,
};
use embedded_hal::digital::OutputPin;
use embedded_io::{Read, ReadReady, Write};
use embedded_storage::nor_flash::NorFlash;

/// The drivers of one board.
pub trait Hardware {
    /// The serial port to the host.
    type Serial: Read + ReadReady + Write;
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
}

/// What the integrator chooses.
#[derive(Clone, Debug)]
pub struct Configuration {
    /// How samples come from the inputs.
    pub acquisition: Acquisition,
    /// The widest ranges any procedure may allow.
    pub hard_limits: HardLimits,
    /// Time between two reports of the state, µs.
    pub telemetry_us: u32,
}

/// The drivers and the parts of the flash, handed over at the start.
pub struct Parts<H: Hardware> {
    /// The serial port.
    pub serial: H::Serial,
    /// The pins of relay, lamp and horn.
    pub pins: Pins<H::Relay, H::Lamp, H::Horn>,
    /// The watchdog timer.
    pub watchdog: H::Watchdog,
    /// For records of bands and joints, with its range in bytes.
    pub journal: (H::Flash, core::ops::Range<u32>),
    /// For the procedure, with its range in bytes.
    pub procedure: (H::Flash, core::ops::Range<u32>),
}

/// A bench test whose host says nothing for so long is over: the inputs are watched again.
pub const BENCH_PATIENCE_US: u64 = 10_000_000;

/// The lamp follows the verdict this often, µs: it is worked out from every rule, too much for every sample.
const VERDICT_EVERY_US: u64 = 100_000;

/// Blocks of the black box: 256 KiB, some five seconds of two channels at 10 kHz.
pub const BLACK_BOX_BLOCKS: usize = 1024;

/// The whole program but its drivers.
pub struct Board<H: Hardware> {
    receiver: Receiver,
    inner: Inner<H>,
}

struct Inner<H: Hardware> {
    configuration: Configuration,
    monitor: Monitor,
    watch: Watch<H>,
    pins: Pins<H::Relay, H::Lamp, H::Horn>,
    driven: Option<Levels>,
    watchdog: H::Watchdog,
    journal: Option<Journal<H::Flash>>,
    store: Option<ProcedureStore<H::Flash>>,
    upload: Upload,
    /// Samples judged in the bench test under way.
    bench: Option<u32>,
    /// The first time on the inputs' clock since the last samples of the bench test came.
    bench_quiet_us: Option<u64>,
    readings: Sample,
    told_us: u64,
    verdict_us: u64,
}

/// What the monitor tells, as it tells it.
struct Watch<H: Hardware> {
    link: Link<H::Serial>,
    annunciator: Annunciator,
    black_box: BlackBox<BLACK_BOX_BLOCKS, LONGEST_PIECE>,
    burning: bool,
    /// Records on their way to the flash, in the order they were made: one step can end a band stepped on
    /// from, the one after it, and the joint.
    finished: [Option<Kept>; 3],
}

impl<H: Hardware> Watch<H> {
    fn keep(&mut self, record: Kept) {
        if let Some(slot) = self.finished.iter_mut().find(|slot| slot.is_none()) {
            *slot = Some(record);
        }
    }
}

impl<H: Hardware> Sink for Watch<H> {
    fn event(&mut self, event: &Event) {
        crate::log::event(event);
        match event {
            Event::Tack { .. } => {}
            Event::Phase { phase, .. } => {
                self.burning = matches!(phase, Phase::Strike | Phase::Arc | Phase::Outage);
            }
            Event::Alarm(alarm) => {
                self.annunciator.take(alarm);
                let worse = matches!(alarm.kind, AlarmKind::Raised | AlarmKind::Escalated);
                if worse && alarm.severity == Severity::Stop {
                    self.black_box.freeze();
                }
            }
        }
        self.link.send(&Report::Event(*event));
    }
    fn band(&mut self, record: &BandRecord) {
        crate::log::band(record);
        self.keep(Kept::Band(*record));
        self.link.send(&Report::Band(*record));
    }
    fn joint(&mut self, record: &JointRecord) {
        crate::log::joint(record);
        self.annunciator.joint_done(record);
        self.keep(Kept::Joint(*record));
        self.link.send(&Report::Joint(*record));
    }
}

impl<H: Hardware> Board<H> {
    /// Starts: looks for the procedure in the flash, and keeps the relay released until the first
    /// sample is judged. Without a procedure that makes sense it stays released.
    pub fn new(parts: Parts<H>, configuration: Configuration) -> Self {
        let (flash, range) = parts.procedure;
        let mut store = ProcedureStore::new(flash, range).ok();
        let stored = store.as_mut().and_then(|store| store.load(&configuration.hard_limits).ok()).flatten();
        let (flash, range) = parts.journal;
        let mut annunciator = Annunciator::new();
        annunciator.faults.watchdog_reset = parts.watchdog.caused_reset();
        annunciator.faults.bad_configuration = !matches!(stored, Some(Ok(_)));
        let procedure = stored.and_then(Result::ok).unwrap_or(SoundProcedure::NONE);
        let mut inner = Inner {
            monitor: Monitor::new(procedure, configuration.acquisition),
            configuration,
            watch: Watch {
                link: Link::new(parts.serial),
                annunciator,
                black_box: BlackBox::new(),
                burning: false,
                finished: [None; 3],
            },
            pins: parts.pins,
            driven: None,
            watchdog: parts.watchdog,
            journal: Journal::open(flash, range).ok(),
            store,
            upload: Upload::new(),
            bench: None,
            bench_quiet_us: None,
            readings: Sample::at(0),
            told_us: 0,
            verdict_us: 0,
        };
        inner.drive();
        Self { receiver: Receiver::new(), inner }
    }
    /// Judges a sample from the inputs. `late` says that it could not be taken in its time.
    pub fn sample(&mut self, sample: &Sample, late: bool) {
        let inner = &mut self.inner;
        inner.watch.annunciator.faults.missed_deadline |= late;
        inner.watchdog.feed();
        if inner.bench.is_some() {
            inner.give_up_bench(sample.time_us);
        } else {
            inner.judge(sample, self.receiver.counts());
        }
    }
    /// Handles what has come over the link: as many bytes as are there, and never waits for one.
    pub fn poll(&mut self) {
        let mut byte = [0];
        let counts = self.receiver.counts();
        while matches!(self.inner.watch.link.serial.read_ready(), Ok(true)) {
            if !matches!(self.inner.watch.link.serial.read(&mut byte), Ok(1)) {
                break;
            }
            let [byte] = byte;
            if let Some(request) = self.receiver.push(byte)
                && let Err(refusal) = self.inner.handle(request, counts)
            {
                self.inner.watch.link.send(&Report::Refused(refusal));
            }
        }
        if self.inner.bench.is_some() {
            // No inputs are read in a bench test, so `sample` does not feed it.
            self.inner.watchdog.feed();
        }
        self.inner.drive();
    }
    /// What it drives.
    pub fn outputs(&self) -> Outputs {
        self.inner.watch.annunciator.outputs()
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
    /// Gives the drivers back: what a reset does.
    pub fn into_flash(self) -> (Option<H::Flash>, Option<H::Flash>) {
        (self.inner.journal.map(Journal::into_flash), self.inner.store.map(ProcedureStore::into_flash))
    }
}

impl<H: Hardware> Inner<H> {
    fn judge(&mut self, sample: &Sample, counts: Counts) {
        self.watch.black_box.record(sample);
        self.monitor.step(sample, &mut self.watch);
        self.watch.annunciator.judged();
        if sample.time_us.saturating_sub(self.verdict_us) >= VERDICT_EVERY_US {
            self.verdict_us = sample.time_us;
            self.watch.annunciator.verdict(&self.monitor.so_far());
        }
        self.keep_finished();
        for channel in sample.present().iter() {
            if let Some(raw) = sample.raw(channel) {
                self.readings = self.readings.with_raw(channel, raw);
            }
        }
        self.readings.time_us = sample.time_us;
        self.drive();
        if sample.time_us.saturating_sub(self.told_us) >= u64::from(self.configuration.telemetry_us) {
            self.told_us = sample.time_us;
            self.tell(counts);
        }
    }
    /// Ends a bench test that nobody goes on with.
    fn give_up_bench(&mut self, now_us: u64) {
        let quiet_us = *self.bench_quiet_us.get_or_insert(now_us);
        if now_us.saturating_sub(quiet_us) >= BENCH_PATIENCE_US {
            self.bench = None;
            self.watch_by(self.monitor.procedure().clone(), self.configuration.acquisition);
        }
    }
    fn tell(&mut self, counts: Counts) {
        let mut alarms = [None; MOST_ALARMS];
        for (slot, alarm) in alarms.iter_mut().zip(self.monitor.active_alarms()) {
            *slot = Some(alarm);
        }
        self.watch.link.send(&Report::Telemetry(Telemetry {
            readings: self.readings,
            judged: Quantity::ALL.map(|quantity| self.monitor.reading(quantity)),
            phase: self.monitor.phase(),
            position: self.monitor.position(),
            alarms,
            so_far: self.monitor.so_far(),
            outputs: self.watch.annunciator.outputs(),
            counts,
            black_box_frozen: self.watch.black_box.is_frozen(),
        }));
    }
    fn keep_finished(&mut self) {
        for record in self.watch.finished.iter_mut().filter_map(Option::take) {
            if let Some(journal) = &mut self.journal {
                // A flash that fails costs the record, which the host was told, not the watch.
                let _ = journal.append(&record);
            }
        }
    }
    fn drive(&mut self) {
        let levels = Levels::at(self.watch.annunciator.outputs(), self.readings.time_us);
        if self.driven != Some(levels) && self.pins.drive(levels) {
            self.driven = Some(levels);
        }
    }
    fn handle(&mut self, request: Request<'_>, counts: Counts) -> Result<(), Refusal> {
        match request {
            Request::Hello => self.ready(),
            Request::Acknowledge => {
                self.watch.annunciator.acknowledge();
                self.monitor.acknowledge(self.readings.time_us, &mut self.watch);
            }
            Request::BenchStart(acquisition) => {
                self.only_without_arc()?;
                self.end_joint_under_way();
                self.watch_by(self.monitor.procedure().clone(), acquisition);
                self.bench = Some(0);
                self.bench_quiet_us = None;
                self.ready();
            }
            Request::BenchSamples(block) => self.bench_samples(block, counts)?,
            Request::BenchEnd => {
                let samples = self.bench.take().ok_or(Refusal::NoBenchTest)?;
                self.monitor.finish(&mut self.watch);
                self.keep_finished();
                self.watch.link.send(&Report::BenchDone { samples });
                self.watch_by(self.monitor.procedure().clone(), self.configuration.acquisition);
            }
            Request::UploadStart { length, crc } => {
                self.upload.start(length, crc).map_err(Refusal::Upload)?;
            }
            Request::UploadPiece { offset, bytes } => {
                self.upload.piece(offset, bytes).map_err(Refusal::Upload)?;
            }
            Request::UploadCommit => self.put_in_force()?,
            Request::MarkJoint => {
                self.monitor.mark_joint(self.readings.time_us, &mut self.watch);
                self.keep_finished();
                self.ready();
            }
            Request::ReadJournal { from } => self.read_journal(from)?,
            Request::ReadBlackBox => {
                self.only_without_arc()?;
                let Watch { link, black_box, .. } = &mut self.watch;
                for block in black_box.blocks() {
                    link.send(&Report::BlackBox(block));
                }
                link.send(&Report::BlackBoxEnd);
            }
            Request::ReleaseBlackBox => self.watch.black_box.release(),
        }
        Ok(())
    }
    fn ready(&mut self) {
        let procedure_crc = crc_of(self.monitor.procedure());
        self.watch.link.send(&Report::Ready { procedure_crc });
    }
    /// Long transfers and changes wait for the end of the band.
    fn only_without_arc(&self) -> Result<(), Refusal> {
        if self.watch.burning { Err(Refusal::ArcBurning) } else { Ok(()) }
    }
    /// Before a watch is given up: what was laid of its joint is told and kept.
    fn end_joint_under_way(&mut self) {
        if self.bench.is_none() && self.monitor.has_joint_under_way() {
            self.monitor.finish(&mut self.watch);
            self.keep_finished();
        }
    }
    /// Watches anew; alarms and readings of the old watch are gone, faults of the board stay.
    fn watch_by(&mut self, procedure: SoundProcedure, acquisition: Acquisition) {
        self.monitor = Monitor::new(procedure, acquisition);
        self.readings = Sample::at(self.readings.time_us);
        let faults = self.watch.annunciator.faults;
        self.watch.annunciator = Annunciator::new();
        self.watch.annunciator.faults = faults;
        self.watch.black_box.release();
        self.watch.burning = false;
        self.told_us = 0;
        self.verdict_us = 0;
    }
    fn bench_samples(&mut self, block: &[u8], counts: Counts) -> Result<(), Refusal> {
        let mut taken = self.bench.ok_or(Refusal::NoBenchTest)?;
        self.bench_quiet_us = None;
        for sample in delta::Decoder::new(block) {
            let sample = sample.map_err(|_| Refusal::Malformed)?;
            self.judge(&sample, counts);
            taken = taken.saturating_add(1);
            self.bench = Some(taken);
        }
        self.watch.link.send(&Report::Taken { samples: taken });
        Ok(())
    }
    fn put_in_force(&mut self) -> Result<(), Refusal> {
        self.only_without_arc()?;
        let (procedure, crc) =
            self.upload.commit(&self.configuration.hard_limits).map_err(Refusal::Upload)?;
        let store = self.store.as_mut().ok_or(Refusal::Storage)?;
        store.store(&procedure).map_err(|_| Refusal::Storage)?;
        self.watch.annunciator.faults.bad_configuration = false;
        self.end_joint_under_way();
        self.bench = None;
        self.watch_by(procedure, self.configuration.acquisition);
        self.watch.link.send(&Report::UploadInForce { crc });
        Ok(())
    }
    fn read_journal(&mut self, from: u32) -> Result<(), Refusal> {
        self.only_without_arc()?;
        let journal = self.journal.as_mut().ok_or(Refusal::Storage)?;
        let link = &mut self.watch.link;
        journal
            .read(from, |number, record| link.send(&Report::Journal { number, record: *record }))
            .map_err(|_| Refusal::Storage)?;
        link.send(&Report::JournalEnd);
        Ok(())
    }
}
