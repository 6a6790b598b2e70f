//! What is done in the time between samples: the link, the flash, bench tests.
//!
//! Decides: what happens with a request from the host, and when a finished record goes to the flash: while no
//! arc burns. One call does one job of bounded length, and takes no request for whose answer there is no room.
//! Assumes: nothing of the host.
//! Never: energises the relay; changes the procedure or reads out while the arc burns; loses what was recorded
//! for a change of procedure or a bench test.

use super::{Hardware, Inner};
use bandward::link::upload::crc_of;
use bandward::link::{Counts, LONGEST_PIECE, Receiver, Refusal, Report, Request};
use bandward::{Acquisition, delta};
use embedded_io::{Read as _, ReadReady as _};

/// Most bytes that one call hands to the line.
const BYTES_OUT: usize = 1024;
/// Most bytes that one call takes from it.
const BYTES_IN: usize = 1024;
/// Most samples of a bench test that one call judges.
const SAMPLES_A_CALL: usize = 8;
/// Room in the queue for all that one sample, or one request, can bring: two bands, a joint, a state and the
/// events of some thirty alarms.
const ROOM: usize = 4096;
/// Records that one sample, or one request, can bring: a band stepped on from, the one after it, their joint.
const RECORDS: usize = 3;

/// What was begun and takes more than one call.
pub(super) struct Jobs {
    /// The block of samples of a bench test that is being judged.
    block: [u8; LONGEST_PIECE],
    /// Its length; 0 where there is none.
    used: usize,
    /// Samples of it that were judged.
    judged: usize,
    /// The journal is asked for a record from this number on.
    journal_from: Option<u32>,
    /// The host has opened a session.
    is_opened: bool,
    /// The black box was empty when the bench test began: what is in it is the test's.
    pub(super) is_box_of_bench: bool,
}

impl Jobs {
    pub(super) const NONE: Self = Self {
        block: [0; LONGEST_PIECE],
        used: 0,
        judged: 0,
        journal_from: None,
        is_opened: false,
        is_box_of_bench: false,
    };
    pub(super) const fn end_bench(&mut self) {
        self.used = 0;
        self.judged = 0;
    }
    const fn is_under_way(&self) -> bool {
        self.used > 0 || self.journal_from.is_some()
    }
}

impl<H: Hardware> Inner<H> {
    /// One call's work.
    pub(super) fn service(&mut self, receiver: &mut Receiver) {
        let counts = receiver.counts();
        if self.serve_the_cell(counts) {
            return;
        }
        let has_told = self.tell_what_is_due(counts);
        self.watch.link.pump(BYTES_OUT);
        if has_told {
            return;
        }
        self.write_a_record();
        self.judge_a_part_of_the_block(counts);
        self.read_a_record();
        let mut byte = [0];
        for _ in 0..BYTES_IN {
            if !self.may_take_a_request() || !matches!(self.watch.link.serial.read_ready(), Ok(true)) {
                break;
            }
            if !matches!(self.watch.link.serial.read(&mut byte), Ok(1)) {
                break;
            }
            let [byte] = byte;
            if let Some(request) = receiver.push(byte) {
                if let Err(refusal) = self.handle(request) {
                    self.watch.link.send(&Report::Refused(refusal));
                }
                break;
            }
        }
        self.look_at_faults();
        self.watch.link.pump(BYTES_OUT);
    }
    pub(super) fn has_nothing_to_do(&self) -> bool {
        let is_written = self.watch.waiting() == 0 || self.does_arc_burn();
        is_written
            && !self.is_state_due()
            && !self.jobs.is_under_way()
            && self.watch.link.room() == crate::link::QUEUE
            && self.modbus.is_idle()
    }
    fn may_take_a_request(&self) -> bool {
        !self.jobs.is_under_way() && self.has_room()
    }
    /// Is there room for what a sample or a request can bring?
    fn has_room(&self) -> bool {
        self.watch.link.room() >= ROOM && self.has_room_for_records()
    }
    pub(super) fn has_room_for_records(&self) -> bool {
        self.watch.finished.len() - self.watch.waiting() >= RECORDS
    }
    /// Does an arc burn on the machine, whatever a bench test shows?
    fn does_arc_burn(&self) -> bool {
        self.arc_sense.may_burn() || self.bench.is_none() && self.watch.burning
    }
    fn write_a_record(&mut self) {
        if self.does_arc_burn() {
            return;
        }
        // Each of the two is as much as a call should do.
        if !core::mem::take(&mut self.is_oldest_noted)
            && let Some(record) = self.watch.oldest()
        {
            self.modbus.note(record);
            self.is_oldest_noted = true;
            return;
        }
        let Some(record) = self.watch.take_oldest() else { return };
        // A flash that fails costs the record, which the host was told, not the watch.
        self.is_journal_failing = match &mut self.journal {
            Some(journal) => journal.append(&record).is_err(),
            None => true,
        };
    }
    fn judge_a_part_of_the_block(&mut self, counts: Counts) {
        if self.jobs.used == 0 {
            return;
        }
        let block = self.jobs.block;
        let block = block.get(..self.jobs.used).unwrap_or_default();
        let mut samples = delta::Decoder::new(block).skip(self.jobs.judged);
        for _ in 0..SAMPLES_A_CALL {
            if !self.has_room() {
                return;
            }
            match samples.next() {
                Some(Ok(sample)) => {
                    self.judge(&sample);
                    let _ = self.tell_what_is_due(counts) && self.tell_what_is_due(counts);
                    self.jobs.judged = self.jobs.judged.saturating_add(1);
                    self.bench = self.bench.map(|taken| taken.saturating_add(1));
                }
                Some(Err(_)) => {
                    self.jobs.end_bench();
                    self.watch.link.send(&Report::Refused(Refusal::Malformed));
                    return;
                }
                None => {
                    self.jobs.end_bench();
                    let samples = self.bench.unwrap_or(0);
                    self.watch.link.send(&Report::Taken { samples });
                    return;
                }
            }
        }
    }
    /// The journal is read once all records are in it.
    fn read_a_record(&mut self) {
        let Some(from) = self.jobs.journal_from else { return };
        if !self.has_room() {
            return;
        }
        let result = self.only_without_arc().and_then(|()| {
            let journal = self.journal.as_mut().ok_or(Refusal::Storage)?;
            if self.watch.waiting() > 0 {
                return Ok(None);
            }
            let found = journal.first_from(from).map_err(|_| Refusal::Storage)?;
            Ok(Some(found.map_or(Report::JournalEnd, |(number, record)| Report::Journal { number, record })))
        });
        match result {
            Ok(None) => return,
            Ok(Some(report)) => self.watch.link.send(&report),
            Err(refusal) => self.watch.link.send(&Report::Refused(refusal)),
        }
        self.jobs.journal_from = None;
    }
    fn handle(&mut self, request: Request<'_>) -> Result<(), Refusal> {
        match request {
            Request::Hello => {
                self.jobs.is_opened = true;
                self.ready();
            }
            _ if !self.jobs.is_opened => return Err(Refusal::NoSession),
            Request::Acknowledge => {
                self.acknowledge();
                self.watch.link.send(&Report::Acknowledged);
            }
            Request::Shelve { rule, for_us } => {
                self.monitor.shelve(rule, for_us, &mut self.watch);
                self.ready();
            }
            Request::BenchStart(acquisition) => self.start_bench(acquisition)?,
            Request::BenchSamples(block) => self.take_block(block)?,
            Request::BenchEnd => {
                let samples = self.bench.ok_or(Refusal::NoBenchTest)?;
                self.monitor.finish(&mut self.watch);
                self.watch.link.send(&Report::BenchDone { samples });
                self.watch_inputs(None);
            }
            Request::UploadStart { length, crc } => {
                self.upload.start(length, crc).map_err(Refusal::Upload)?;
            }
            Request::UploadPiece { offset, bytes } => {
                self.upload.piece(offset, bytes).map_err(Refusal::Upload)?;
            }
            Request::UploadCommit => self.put_in_force()?,
            Request::MarkJoint => {
                self.mark_joint();
                self.ready();
            }
            Request::ReadJournal { from } => self.jobs.journal_from = Some(from),
            Request::ReadBlackBox { from } => {
                self.only_without_arc()?;
                let report = match self.watch.black_box.block_from(from) {
                    Some((number, bytes)) => Report::BlackBox { number, bytes },
                    None => Report::BlackBoxEnd,
                };
                self.watch.link.send(&report);
            }
            Request::ReleaseBlackBox => {
                self.watch.black_box.release();
                self.watch.link.send(&Report::BlackBoxReleased);
            }
        }
        Ok(())
    }
    pub(super) fn acknowledge(&mut self) {
        self.watch.annunciator.acknowledge();
        self.monitor.acknowledge(self.readings.time_us, &mut self.watch);
    }
    pub(super) fn mark_joint(&mut self) {
        self.monitor.mark_joint(self.readings.time_us, &mut self.watch);
    }
    fn ready(&mut self) {
        let procedure_crc = crc_of(self.monitor.procedure());
        self.watch.link.send(&Report::Ready { procedure_crc });
    }
    /// Reading out, bench tests and changes wait for the end of the band; a bench test's own too.
    fn only_without_arc(&self) -> Result<(), Refusal> {
        if self.watch.burning || self.arc_sense.may_burn() { Err(Refusal::ArcBurning) } else { Ok(()) }
    }
    /// Before a watch is given up: what was laid of its joint is told and kept.
    fn end_joint_under_way(&mut self) {
        if self.bench.is_none() && self.monitor.has_joint_under_way() {
            self.monitor.finish(&mut self.watch);
        }
    }
    fn start_bench(&mut self, acquisition: Acquisition) -> Result<(), Refusal> {
        self.only_without_arc()?;
        self.end_joint_under_way();
        if self.bench.is_none() {
            self.jobs.is_box_of_bench = !self.watch.black_box.is_frozen();
        } else if self.jobs.is_box_of_bench {
            self.watch.black_box.release();
        }
        self.watch_by(None, acquisition, true);
        self.bench = Some(0);
        self.bench_quiet_us = None;
        self.ready();
        Ok(())
    }
    fn take_block(&mut self, block: &[u8]) -> Result<(), Refusal> {
        self.bench.ok_or(Refusal::NoBenchTest)?;
        self.bench_quiet_us = None;
        let room = self.jobs.block.get_mut(..block.len()).ok_or(Refusal::Malformed)?;
        room.copy_from_slice(block);
        (self.jobs.used, self.jobs.judged) = (block.len(), 0);
        if block.is_empty() {
            self.watch.link.send(&Report::Taken { samples: self.bench.unwrap_or(0) });
        }
        Ok(())
    }
    fn put_in_force(&mut self) -> Result<(), Refusal> {
        self.only_without_arc()?;
        let (procedure, crc) =
            self.upload.commit(&self.configuration.hard_limits).map_err(Refusal::Upload)?;
        let store = self.store.as_mut().ok_or(Refusal::Storage)?;
        store.store(&procedure).map_err(|_| Refusal::Storage)?;
        self.is_procedure_bad = false;
        self.watch.annunciator.forget_bad_configuration();
        self.end_joint_under_way();
        self.watch_inputs(Some(&procedure));
        self.look_at_faults();
        self.watch.link.send(&Report::UploadInForce { crc });
        Ok(())
    }
}
