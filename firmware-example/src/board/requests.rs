//! What the host asks for.
//!
//! Decides: what is refused at once, and what becomes an order to the watcher, which answers it.
//! Assumes: no request is taken while the watcher owes an answer, or while there is no room for one.
//! Never: energises the relay; changes the procedure or reads out while an arc burns.

use super::Hardware;
use super::between::{Change, Order};
use super::service::Desk;
use bandward::link::upload::crc_of;
use bandward::link::{Refusal, Report, Request};
use bandward::monitor::Plan;
use bandward::record::stamp::Serial;

impl<H: Hardware> Desk<H> {
    pub(super) fn handle(&mut self, request: Request<'_>) -> Result<(), Refusal> {
        match request {
            Request::Hello => {
                self.jobs.is_opened = true;
                self.ready();
            }
            _ if !self.jobs.is_opened => return Err(Refusal::NoSession),
            Request::Acknowledge => {
                self.ask_soon(|asked_us| Order::Acknowledge { is_answered: true, asked_us });
            }
            Request::Shelve { rule, for_us } => self.ask(Order::Shelve { rule, for_us }),
            Request::BenchStart(acquisition) => {
                self.only_without_arc()?;
                let [in_force, _] = &*self.procedures;
                let plan = Plan::new(in_force, acquisition);
                self.ask(Order::BenchStart(plan));
            }
            Request::BenchSamples(block) => self.take_block(block)?,
            Request::BenchEnd => self.ask(Order::BenchEnd),
            Request::UploadStart { length, crc } => {
                self.upload.start(length, crc).map_err(Refusal::Upload)?;
            }
            Request::UploadPiece { offset, bytes } => {
                self.upload.piece(offset, bytes).map_err(Refusal::Upload)?;
            }
            Request::UploadCommit => self.put_in_force()?,
            Request::MarkJoint => self.ask_soon(|asked_us| Order::MarkJoint { is_answered: true, asked_us }),
            Request::ReadJournal { from } => {
                self.jobs.journal_from = Some(from);
                self.try_again();
            }
            Request::ReadBlackBox { from } => {
                self.only_without_arc()?;
                self.ask(Order::ReadBlackBox { from });
            }
            Request::ReleaseBlackBox => self.ask(Order::ReleaseBlackBox),
            Request::SetDate { utc_s } => self.ask_soon(|asked_us| Order::SetDate { utc_s, asked_us }),
            Request::NameJoint { serial } => {
                let serial = match serial {
                    [] => None,
                    text => Some(Serial::new(text).ok_or(Refusal::NoSerial)?),
                };
                self.ask_soon(|asked_us| Order::NameJoint { serial, asked_us });
            }
        }
        Ok(())
    }
    pub(super) fn ready(&mut self) {
        let [in_force, _] = &*self.procedures;
        let procedure_crc = crc_of(in_force);
        self.link.send(&Report::Ready { procedure_crc });
    }
    fn take_block(&mut self, block: &[u8]) -> Result<(), Refusal> {
        if !self.below.signs.is_bench() {
            return Err(Refusal::NoBenchTest);
        }
        let room = self.jobs.block.get_mut(..block.len()).ok_or(Refusal::Malformed)?;
        room.copy_from_slice(block);
        (self.jobs.used, self.jobs.handed) = (Some(block.len()), 0);
        Ok(())
    }
    /// What is stored is in force after a power cut; the watcher goes over to it as soon as no arc burns.
    fn put_in_force(&mut self) -> Result<(), Refusal> {
        self.only_without_arc()?;
        let (procedure, crc) = self.upload.commit(&self.hard_limits).map_err(Refusal::Upload)?;
        let store = self.store.as_mut().ok_or(Refusal::Storage)?;
        store.store(&procedure).map_err(|_| Refusal::Storage)?;
        let plan = Plan::new(&procedure, self.acquisition);
        let [_, coming] = &mut *self.procedures;
        coming.clone_from(&procedure);
        if self.below.changes.enqueue(Change { procedure, plan }).is_ok() && self.tell(Order::Change) {
            self.jobs.change = Some(crc);
        }
        Ok(())
    }
}
