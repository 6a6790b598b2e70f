//! What the controller of the cell asks for over Modbus.
//!
//! Decides: what state it is shown, and when a press is done: as if a person had pressed the button.
//! Assumes: nothing of the controller. One call answers one request, and does nothing else.
//! Never: more than [`Press`] says: no output, procedure, shelf or black box is within its reach; answers late, or where
//! another request has come since; tells a state as younger than it is.

use super::Hardware;
use super::between::Order;
use super::service::Desk;
use crate::modbus::Press;
use crate::modbus::registers::{Last, State};

impl<H: Hardware> Desk<H> {
    /// Takes a request, if there is one: it is answered by the snapshot it asks for. True if there was one. Whoever asks
    /// again has given up what was asked before; while the watcher stands still nothing more is asked of it.
    pub(super) fn take_from_the_cell(&mut self) -> bool {
        let Some(request) = self.modbus.take(self.below.signs.samples()) else { return false };
        self.jobs.cell = None;
        if self.jobs.is_cell_told || !self.has_room_for_orders() {
            return true;
        }
        let asked_us = self.below.signs.shown_time();
        let is_done = request.press().is_none_or(|press| self.press(press, asked_us));
        if self.tell(Order::Tell { asked_us }) {
            self.jobs.is_cell_told = true;
            self.jobs.cell = Some((request, is_done, asked_us));
        }
        true
    }
    /// Answers a request as soon as its snapshot is there, whatever the host still waits for. True if it did. On a stack
    /// of its own: the state is large, and nothing else needs it.
    #[inline(never)]
    pub(super) fn answer_what_waits(&mut self) -> bool {
        let Some(mut snapshot) = self.below.of_cell.dequeue() else { return false };
        self.jobs.is_cell_told = false;
        let asked = self.jobs.cell.take();
        let samples = self.below.signs.samples();
        self.modbus.look_at_samples(samples);
        let Some((request, is_done, _)) = asked.filter(|_| !self.modbus.is_spoken_to()) else { return false };
        self.complete(&mut snapshot.telemetry);
        // What it shows is as old as the samples that were judged since, and no older than the question.
        let by_samples_us = samples.wrapping_sub(snapshot.samples).saturating_mul(self.acquisition.period_us);
        let since_us = by_samples_us.min(self.modbus.now_us().wrapping_sub(snapshot.asked_us));
        // The oldest stays there until the flash has it, and may have been shown to the port before.
        let waiting = self.finished.iter().flatten().skip(usize::from(self.is_oldest_noted));
        let waiting = waiting.map(|stamped| &stamped.record);
        let [in_force, _] = &*self.procedures;
        let state = State {
            now: &snapshot.telemetry,
            procedure: in_force,
            shown: snapshot.shown,
            samples: snapshot.samples,
            age_us: self.modbus.age_us().map(|age_us| age_us.saturating_add(since_us)),
            old_us: self.old_us,
            last: waiting.fold(self.modbus.last(), Last::with),
            tally: self.modbus.tally(),
        };
        self.modbus.answer(request, &state, is_done);
        true
    }
    /// Does it; false where it must wait.
    fn press(&mut self, press: Press, asked_us: u32) -> bool {
        match press {
            Press::Acknowledge => self.tell(Order::Acknowledge { is_answered: false, asked_us }),
            // A joint that is ended makes records; one of a bench test is none of the machine's.
            Press::MarkJoint if self.below.signs.is_bench() || !self.has_room_for_records() => false,
            Press::MarkJoint => self.tell(Order::MarkJoint { is_answered: false, asked_us }),
        }
    }
}
