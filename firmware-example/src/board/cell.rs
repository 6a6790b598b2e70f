//! What the controller of the cell asks for over Modbus.
//!
//! Decides: what state it is shown, and when a press is done: as if a person had pressed the button.
//! Assumes: nothing of the controller. One call answers one request, and does nothing else.
//! Never: more than [`Press`] says: no output, procedure, shelf or black box is within its reach.

use super::{Hardware, Inner};
use crate::modbus::registers::{Last, State};
use crate::modbus::{Press, Request};
use bandward::link::Counts;

impl<H: Hardware> Inner<H> {
    /// Answers a request, if there is one; true if it did.
    pub(super) fn serve_the_cell(&mut self, counts: Counts) -> bool {
        let request = self.modbus.take(self.samples);
        if let Some(request) = request {
            self.answer_the_cell(request, counts);
        }
        request.is_some()
    }
    /// On a stack of its own: the state is large, and nothing else needs it.
    #[inline(never)]
    fn answer_the_cell(&mut self, request: Request, counts: Counts) {
        let is_done = request.press().is_none_or(|press| self.press(press));
        let old_us = self.configuration.silence_us.max(3 * self.configuration.acquisition.period_us);
        let annunciator = &self.watch.annunciator;
        let waiting = self.watch.finished.iter().flatten();
        let state = State {
            monitor: &self.monitor,
            so_far: self.monitor.so_far(),
            alarms: self.active_alarms(),
            returned: annunciator.returned(),
            shown: annunciator.shown(),
            faults: annunciator.faults(),
            outputs: annunciator.outputs(),
            is_bench: self.bench.is_some(),
            is_frozen: self.watch.black_box.is_frozen(),
            counts,
            dropped: self.watch.link.dropped(),
            samples: self.samples,
            age_us: self.modbus.age_us(),
            old_us,
            last: waiting.fold(self.modbus.last(), Last::with),
            tally: self.modbus.tally(),
        };
        self.modbus.answer(request, &state, is_done);
    }
    /// Does it; false where it must wait.
    fn press(&mut self, press: Press) -> bool {
        match press {
            Press::Acknowledge => self.acknowledge(),
            // A joint that is ended makes records; one of a bench test is none of the machine's.
            Press::MarkJoint if self.bench.is_some() || !self.has_room_for_records() => return false,
            Press::MarkJoint => self.mark_joint(),
        }
        true
    }
}
