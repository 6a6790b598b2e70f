//! What becomes of a record that the watcher has finished, until it can go to the flash.
//!
//! Decides: that it waits in the service, and where that is full on its way there.
//! Assumes: the watcher says each record once, in the order in which they stand in their queue.
//! Never: drops one while there is room for it, but where the flash refuses what waits: the host hears of it then at once.

use super::Hardware;
use super::service::Desk;
use bandward::flash::journal::{Kept, Stamped};
use bandward::link::Report;

impl<H: Hardware> Desk<H> {
    /// Takes the next of the records that were said to be there; they wait where they are for room.
    pub(super) fn take_a_record(&mut self) {
        let place = self.finished.iter().position(Option::is_none);
        if self.due_records == 0 || place.is_none() && !self.of_journal.is_failing {
            return;
        }
        self.due_records = self.due_records.saturating_sub(1);
        let Some(record) = self.below.records.dequeue() else { return };
        // It was handed over before the record was said.
        let stamp = self.below.stamps.dequeue().unwrap_or_default();
        let stamped = Stamped { record, stamp };
        self.tell_record(&stamped);
        match place.and_then(|place| self.finished.get_mut(place)) {
            Some(slot) => *slot = Some(stamped),
            None => self.of_journal.has_lost = true,
        }
    }
    #[inline(never)]
    fn tell_record(&mut self, stamped: &Stamped) {
        let Stamped { record, stamp } = *stamped;
        match record {
            Kept::Band(record) => {
                crate::log::band(&record);
                self.send_unasked(&Report::Band { record, stamp });
            }
            Kept::Joint(record) => {
                crate::log::joint(&record);
                self.send_unasked(&Report::Joint { record, stamp });
            }
            Kept::BenchBand(_) | Kept::BenchJoint(_) => {
                self.send_unasked(&Report::Bench { record, stamp });
            }
        }
    }
}
