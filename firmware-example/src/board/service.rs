//! What is done in the time between samples: the link, the flash, bench tests. The task beside the interrupt.
//!
//! Decides: when a finished record goes to the flash: while no arc burns, some times where the flash refuses; and what
//! the host is told: an answer has room whatever else there is to tell. One call does one job of bounded length.
//! Assumes: the watcher may come in between any two instructions.
//! Never: touches the monitor or an output: it asks the watcher; loses what was recorded for a change of procedure or
//! a bench test.

use super::BENCH_PATIENCE_US;
use super::Hardware;
use super::between::{Answer, Below, Order, Word};
use crate::link::{Link, Room};
use crate::modbus::{self, Port, Request as OfCell};
use bandward::flash::journal::{Found, Journal, Stamped};
use bandward::flash::procedure_store::ProcedureStore;
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::Upload;
use bandward::link::{Counts, LONGEST_PIECE, Receiver, Refusal, Report, Telemetry};
use bandward::{Acquisition, SoundProcedure, delta};
use embedded_io::{Read as _, ReadReady as _};

/// Most bytes that one call hands to the line.
const BYTES_OUT: usize = 1024;
/// Most bytes that one call takes from it.
const BYTES_IN: usize = 1024;
/// Most words that one call hears.
const WORDS_A_CALL: usize = 16;
/// Room in the queue for all that one sample, or one request, can bring: two bands, a joint, a state and the
/// events of some thirty alarms.
const ROOM: usize = 4096;
/// Records that one sample, or one request, can bring: a band stepped on from, the one after it, their joint.
const RECORDS: usize = 3;
/// Orders that are kept free for others than the samples of a bench test.
const ORDERS_FREE: usize = 6;

/// A state is told only where no more than so much waits for the line: an old one is of no use.
const STATE_WAITS: usize = 2048;

/// Records that wait for the arc to go out: at most as many bands as are laid without breaking it, and their joint.
pub type Finished = [Option<Stamped>; 16];

/// What was begun and takes more than one call.
#[allow(clippy::struct_excessive_bools)] // each is a state of its own
pub struct Jobs {
    /// The block of samples of a bench test that is being handed to the watcher.
    pub(super) block: [u8; LONGEST_PIECE],
    /// Its length; absent where there is none.
    pub(super) used: Option<usize>,
    /// Samples of it that were handed over.
    pub(super) handed: usize,
    /// The journal is asked for a record from this number on.
    pub(super) journal_from: Option<u32>,
    /// The host has opened a session.
    pub(super) is_opened: bool,
    /// The watcher owes the answer to a request of the host.
    pub(super) awaits: bool,
    /// The CRC of an upload that is to come into force.
    pub(super) change: Option<u32>,
    /// A request of the controller of the cell that waits for a snapshot, whether its press was done, and when it was asked.
    pub(super) cell: Option<(OfCell, bool, u32)>,
    /// The watcher owes a snapshot for it, or for one that was given up since.
    pub(super) is_cell_told: bool,
    /// When the host's press that the watcher owes an answer to was asked for.
    pub(super) pressed_us: Option<u32>,
    /// The watcher has left a press of the host undone for so long that it never will be done.
    pub(super) is_stuck: bool,
}

impl Jobs {
    /// Nothing.
    pub const NONE: Self = Self {
        block: [0; LONGEST_PIECE],
        used: None,
        handed: 0,
        journal_from: None,
        is_opened: false,
        awaits: false,
        change: None,
        cell: None,
        is_cell_told: false,
        pressed_us: None,
        is_stuck: false,
    };
    const fn is_under_way(&self) -> bool {
        self.used.is_some() || self.journal_from.is_some() || self.awaits
    }
}

/// Procedures: the one in force, and the one that is to come into force.
pub type Procedures = [SoundProcedure; 2];

/// How the journal fares, as the watcher was told.
#[derive(Clone, Copy, Default)]
pub(super) struct OfJournal {
    pub(super) is_failing: bool,
    pub(super) told_failing: bool,
    pub(super) has_lost: bool,
    /// How often, and when last, the flash refused the record that waits longest.
    pub(super) tries: u8,
    pub(super) tried_us: u32,
}

/// Speaks with the host and the controller of the cell, and keeps records.
pub struct Service<H: Hardware> {
    pub(super) receiver: H::Place<Receiver>,
    pub(super) desk: Desk<H>,
}

/// All of it but what a request is read from.
pub(super) struct Desk<H: Hardware> {
    pub(super) link: Link<H::Serial, H::Place<Room>>,
    pub(super) modbus: Port<H::Modbus, H::Clock, H::Place<modbus::Kept>>,
    pub(super) journal: Option<Journal<H::Flash>>,
    pub(super) store: Option<ProcedureStore<H::Flash>>,
    pub(super) upload: H::Place<Upload>,
    pub(super) finished: H::Place<Finished>,
    pub(super) procedures: H::Place<Procedures>,
    pub(super) jobs: H::Place<Jobs>,
    pub(super) hard_limits: HardLimits,
    pub(super) acquisition: Acquisition,
    /// A state older than this says nothing any more, µs.
    pub(super) old_us: u32,
    /// Of the receiver, as the call under way began.
    pub(super) counts: Counts,
    pub(super) below: Below,
    /// Records that the watcher said are in their queue, and that were not taken out of it yet.
    pub(super) due_records: usize,
    /// The record that waits longest was shown to the controller's port.
    pub(super) is_oldest_noted: bool,
    pub(super) of_journal: OfJournal,
    /// The last call did nothing but hear the watcher.
    pub(super) is_hearing: bool,
    /// When the host of a bench test was last heard.
    pub(super) bench_heard_us: u32,
}

impl<H: Hardware> Service<H> {
    /// Does what can wait: tells what the watcher said, sends what is queued, writes a finished record to the flash,
    /// and handles what has come over the link. Each call does a bounded part of it and waits for nothing but the flash;
    /// call it often.
    pub fn poll(&mut self) {
        let Self { receiver, desk } = self;
        desk.counts = receiver.counts();
        desk.give_up_what_is_late();
        // However much the watcher says, every other call does the rest.
        desk.is_hearing = !desk.is_hearing && desk.hear();
        if desk.answer_what_waits() || desk.take_from_the_cell() {
            return;
        }
        desk.link.pump(BYTES_OUT);
        if desk.is_hearing {
            return;
        }
        desk.take_a_record();
        desk.write_a_record();
        desk.hand_over_the_block();
        desk.read_a_record();
        desk.take_a_request(receiver);
        desk.guard_bench();
        desk.tell_of_the_journal();
        desk.link.pump(BYTES_OUT);
    }
    /// Has `poll` done all that was to be done, so that the task may sleep until a byte or a sample comes?
    pub fn is_idle(&self) -> bool {
        let desk = &self.desk;
        let is_written =
            desk.waiting() == 0 || desk.of_journal.tries > 0 || desk.below.signs.arc_of_machine();
        is_written
            && !desk.below.words.ready()
            && (desk.due_records == 0 || desk.below.signs.arc_of_machine())
            && !desk.below.snapshots.ready()
            && !desk.jobs.is_under_way()
            && desk.jobs.cell.is_none()
            && !desk.has_news_of_the_journal()
            && desk.link.room() == crate::link::QUEUE
            && desk.modbus.is_idle()
    }
    /// The serial driver.
    pub fn serial(&mut self) -> &mut H::Serial {
        &mut self.desk.link.serial
    }
    /// The driver of the Modbus port.
    pub fn modbus(&mut self) -> &mut H::Modbus {
        &mut self.desk.modbus.serial
    }
    /// The receiver's counts.
    pub fn counts(&self) -> Counts {
        self.receiver.counts()
    }
}

impl<H: Hardware> Desk<H> {
    /// Hears some of what the watcher said; true if that was much.
    pub(super) fn hear(&mut self) -> bool {
        for heard in 0..WORDS_A_CALL {
            // Of a bench test nothing is dropped: the watcher waits in its turn.
            if self.below.signs.is_bench() && !self.has_room() {
                return heard > 0;
            }
            // A snapshot whose word had no room is there all the same.
            let Some(word) = self.below.words.dequeue() else { return self.take_snapshot() };
            if self.take_word(word) {
                return true;
            }
        }
        true
    }
    /// True where that was as much as a call should do.
    fn take_word(&mut self, word: Word) -> bool {
        match word {
            Word::Event(event) => {
                crate::log::event(&event);
                self.send_unasked(&Report::Event(event));
            }
            Word::Record => {
                // Another chance for those that wait.
                self.of_journal.tries = 0;
                self.due_records = self.due_records.saturating_add(1);
                self.take_a_record();
                return true;
            }
            Word::Snapshot => return self.take_snapshot(),
            Word::Faults(faults) => self.send_unasked(&Report::Faults(faults)),
            Word::BenchBroken => {
                self.link.send(&Report::Refused(Refusal::ArcBurning));
            }
            Word::WatchBegun => self.modbus.begin_watch(self.below.signs.samples()),
            Word::InForce => {
                let [in_force, coming] = &mut *self.procedures;
                core::mem::swap(in_force, coming);
                if let Some(crc) = self.jobs.change.take() {
                    self.link.send(&Report::UploadInForce { crc });
                }
            }
            Word::Answer(answer) => self.take_answer(&answer),
        }
        false
    }
    /// True if there was one.
    #[inline(never)]
    fn take_snapshot(&mut self) -> bool {
        let Some(mut snapshot) = self.below.snapshots.dequeue() else { return false };
        self.complete(&mut snapshot.telemetry);
        let waits = crate::link::QUEUE - self.link.room();
        let least = if waits > STATE_WAITS { crate::link::QUEUE } else { ROOM };
        self.link.send_leaving(least, &Report::Telemetry(snapshot.telemetry));
        true
    }
    /// Tells what nobody asked for: whatever it is, an answer has room behind it. Of a bench test nothing is dropped: the
    /// watcher waits in its turn.
    pub(super) fn send_unasked(&mut self, report: &Report<&[u8]>) {
        let least = if self.below.signs.is_bench() { 0 } else { ROOM };
        self.link.send_leaving(least, report);
    }
    /// With what only the service knows.
    pub(super) fn complete(&self, telemetry: &mut Telemetry) {
        telemetry.counts = self.counts;
        telemetry.dropped = self.link.dropped().saturating_add(self.below.signs.lost());
    }
    fn take_answer(&mut self, answer: &Answer) {
        (self.jobs.awaits, self.jobs.pressed_us) = (false, None);
        match *answer {
            Answer::Ready => self.ready(),
            Answer::Acknowledged => self.link.send(&Report::Acknowledged),
            Answer::Taken { samples } => self.link.send(&Report::Taken { samples }),
            Answer::BenchDone { samples } => self.link.send(&Report::BenchDone { samples }),
            Answer::Block => {
                let Some(block) = self.below.blocks.dequeue() else { return };
                let bytes = block.bytes.get(..block.used).unwrap_or_default();
                self.link.send(&Report::BlackBox { number: block.number, bytes });
            }
            Answer::NoBlock => self.link.send(&Report::BlackBoxEnd),
            Answer::Released => self.link.send(&Report::BlackBoxReleased),
            Answer::Refused(refusal) => self.link.send(&Report::Refused(refusal)),
        }
    }
    /// Is there room for what a sample or a request can bring?
    pub(super) fn has_room(&self) -> bool {
        self.link.room() >= ROOM && self.has_room_for_records()
    }
    pub(super) fn has_room_for_records(&self) -> bool {
        // Those that a flash refuses hold up nothing else.
        self.of_journal.is_failing
            || self.finished.len() >= self.waiting() + self.below.records.len() + RECORDS
    }
    pub(super) fn has_room_for_orders(&self) -> bool {
        self.below.orders.capacity() - self.below.orders.len() >= ORDERS_FREE
    }
    /// Asks the watcher; it answers.
    pub(super) fn ask(&mut self, order: Order) {
        self.jobs.awaits = self.tell(order);
    }
    /// Tells the watcher; false where there is no room, which was looked at before.
    pub(super) fn tell(&mut self, order: Order) -> bool {
        self.below.orders.enqueue(order).is_ok()
    }
    /// How many records wait.
    fn waiting(&self) -> usize {
        self.finished.iter().flatten().count()
    }
    fn write_a_record(&mut self) {
        if self.below.signs.arc_of_machine() || !self.may_try() {
            return;
        }
        let Some(Some(oldest)) = self.finished.first() else { return };
        // Each of the two is as much as a call should do.
        if !core::mem::take(&mut self.is_oldest_noted) {
            self.modbus.note(&oldest.record);
            self.is_oldest_noted = true;
            return;
        }
        let is_kept = match &mut self.journal {
            Some(journal) => journal.append(oldest).is_ok(),
            None => false,
        };
        self.of_journal.is_failing = !is_kept;
        if is_kept || self.journal.is_none() {
            self.of_journal.tries = 0;
            self.take_oldest();
            return;
        }
        self.keep_for_later();
    }
    /// A bench test that nobody goes on with is over.
    fn guard_bench(&mut self) {
        if !self.below.signs.is_bench() || self.jobs.is_under_way() {
            self.bench_heard_us = self.modbus.now_us();
        } else if self.modbus.now_us().wrapping_sub(self.bench_heard_us) >= BENCH_PATIENCE_US
            && self.has_room_for_orders()
        {
            self.bench_heard_us = self.modbus.now_us();
            self.tell(Order::BenchLost);
        }
    }
    fn take_oldest(&mut self) {
        if let Some(oldest) = self.finished.first_mut() {
            *oldest = None;
        }
        self.finished.rotate_left(1);
    }
    fn has_news_of_the_journal(&self) -> bool {
        let of_journal = self.of_journal;
        of_journal.has_lost || of_journal.is_failing != of_journal.told_failing
    }
    fn tell_of_the_journal(&mut self) {
        let OfJournal { is_failing, has_lost, .. } = self.of_journal;
        if self.has_news_of_the_journal() && self.tell(Order::Journal { is_failing, has_lost }) {
            (self.of_journal.told_failing, self.of_journal.has_lost) = (is_failing, false);
        }
    }
    /// Hands samples of a bench test to the watcher, as many as it has room for.
    fn hand_over_the_block(&mut self) {
        let Some(used) = self.jobs.used else { return };
        let Self { jobs, below, .. } = self;
        let block = jobs.block.get(..used).unwrap_or_default();
        let mut samples = delta::Decoder::new(block).skip(jobs.handed);
        let (mut handed, mut is_last) = (jobs.handed, false);
        while !is_last && below.orders.capacity() - below.orders.len() > ORDERS_FREE {
            let order = match samples.next() {
                Some(Ok(sample)) => Order::BenchSample(sample),
                Some(Err(_)) => Order::BenchTaken { is_whole: false },
                None => Order::BenchTaken { is_whole: true },
            };
            is_last = !matches!(order, Order::BenchSample(_));
            if below.orders.enqueue(order).is_err() {
                break;
            }
            handed = handed.saturating_add(1);
        }
        jobs.handed = handed;
        if is_last {
            (jobs.used, jobs.awaits) = (None, true);
        }
    }
    /// The journal is read once all records are in it.
    fn read_a_record(&mut self) {
        let Some(from) = self.jobs.journal_from else { return };
        if !self.has_room() {
            return;
        }
        let result = self.only_without_arc().and_then(|()| {
            let waits = self.waiting() > 0;
            if waits && self.of_journal.tries == 0 {
                return Ok(None);
            }
            let journal = self.journal.as_mut().ok_or(Refusal::Storage)?;
            match journal.first_from(from).map_err(|_| Refusal::Storage)? {
                Some(Found::Record(number, Stamped { record, stamp })) => {
                    Ok(Some(Report::Journal { number, record, stamp }))
                }
                Some(Found::Damaged(number)) => Ok(Some(Report::JournalDamaged { number })),
                // A record that the flash refuses is no end.
                None if waits => Err(Refusal::Storage),
                None => Ok(Some(Report::JournalEnd)),
            }
        });
        match result {
            Ok(None) => return,
            Ok(Some(report)) => self.link.send(&report),
            Err(refusal) => {
                self.mend_the_journal();
                self.link.send(&Report::Refused(refusal));
            }
        }
        self.jobs.journal_from = None;
    }
    fn take_a_request(&mut self, receiver: &mut Receiver) {
        let mut byte = [0];
        for _ in 0..BYTES_IN {
            let may_take = !self.jobs.is_under_way() && self.has_room() && self.has_room_for_orders();
            if !may_take || !matches!(self.link.serial.read_ready(), Ok(true)) {
                return;
            }
            if !matches!(self.link.serial.read(&mut byte), Ok(1)) {
                return;
            }
            let [byte] = byte;
            if let Some(request) = receiver.push(byte) {
                if let Err(refusal) = self.handle(request) {
                    self.link.send(&Report::Refused(refusal));
                }
                return;
            }
        }
    }
    /// Reading out, bench tests and changes wait for the end of the band; a bench test's own too.
    pub(super) fn only_without_arc(&self) -> Result<(), Refusal> {
        if self.below.signs.any_arc() || self.jobs.change.is_some() {
            Err(Refusal::ArcBurning)
        } else {
            Ok(())
        }
    }
}
