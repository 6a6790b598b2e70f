//! What the controller of the cell asks for over Modbus.
//!
//! Decides: what state it is shown, and when a press is done: as if a person had pressed the button.
//! Assumes: nothing of the controller. One call answers one request, and does nothing else.
//! Never: more than [`Press`] says: no output, procedure, shelf or black box is within its reach.

use super::Hardware;
use super::between::Order;
use super::service::Desk;
use crate::modbus::Press;
use crate::modbus::registers::{Last, State};

impl<H: Hardware> Desk<H> {
    /// Takes a request, if there is one: it is answered by the snapshot it asks for. True if there was one.
    pub(super) fn take_from_the_cell(&mut self) -> bool {
        if self.jobs.cell.is_some() || !self.has_room_for_orders() {
            return false;
        }
        let Some(request) = self.modbus.take(self.below.signs.samples()) else { return false };
        let is_done = request.press().is_none_or(|press| self.press(press));
        if self.tell(Order::Tell) {
            self.jobs.cell = Some((request, is_done));
        }
        true
    }
    /// Answers a request as soon as its snapshot is there, whatever the host still waits for. True if it did. On a stack
    /// of its own: the state is large, and nothing else needs it.
    #[inline(never)]
    pub(super) fn answer_what_waits(&mut self) -> bool {
        let Some(mut snapshot) = self.below.of_cell.dequeue() else { return false };
        let Some((request, is_done)) = self.jobs.cell.take() else { return false };
        self.complete(&mut snapshot.telemetry);
        let waiting = self.finished.iter().flatten();
        let [in_force, _] = &*self.procedures;
        let state = State {
            now: &snapshot.telemetry,
            procedure: in_force,
            shown: snapshot.shown,
            samples: self.below.signs.samples(),
            age_us: self.modbus.age_us(),
            old_us: self.old_us,
            last: waiting.fold(self.modbus.last(), Last::with),
            tally: self.modbus.tally(),
        };
        self.modbus.answer(request, &state, is_done);
        true
    }
    /// Does it; false where it must wait.
    fn press(&mut self, press: Press) -> bool {
        match press {
            Press::Acknowledge => self.tell(Order::Acknowledge { is_answered: false }),
            // A joint that is ended makes records; one of a bench test is none of the machine's.
            Press::MarkJoint if self.below.signs.is_bench() || !self.has_room_for_records() => false,
            Press::MarkJoint => self.tell(Order::MarkJoint { is_answered: false }),
        }
    }
}
