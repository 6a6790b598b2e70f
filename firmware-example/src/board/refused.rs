//! What becomes of a record that the flash refuses, and of a journal that cannot be read.
//!
//! Decides: how often, and when, a record is tried again; from which number a journal goes on that lost what it held.
//! Assumes: what is kept beside the procedure outlives the journal.
//! Never: erases a journal before its next number is kept elsewhere; tries without end what a flash does not take.

use super::Hardware;
use super::service::{Desk, OfJournal};
use bandward::SoundProcedure;

/// A record that the flash refuses is tried so often before it waits for the next one, or for whoever reads the journal.
const MOST_TRIES: u8 = 3;
/// Time between two tries, µs.
const RETRY_US: u32 = 1_000_000;

impl<H: Hardware> Desk<H> {
    /// The flash refused the record that waits longest: it stays in memory.
    pub(super) fn keep_for_later(&mut self) {
        self.is_oldest_noted = true;
        self.of_journal.tries = self.of_journal.tries.saturating_add(1);
        self.of_journal.tried_us = self.modbus.now_us();
        self.mend_the_journal();
    }
    /// May the record that waits longest be written now, as far as the flash goes?
    pub(super) fn may_try(&mut self) -> bool {
        let OfJournal { tries, tried_us, .. } = self.of_journal;
        tries == 0 || tries < MOST_TRIES && self.modbus.now_us().wrapping_sub(tried_us) >= RETRY_US
    }
    /// A journal beyond repair begins anew, with the next number: what is kept beside it says so before it is erased.
    pub(super) fn mend_the_journal(&mut self) {
        let Self { journal: Some(journal), store: Some(store), procedures, jobs, of_journal, .. } = self
        else {
            return;
        };
        if !journal.is_damaged() {
            return;
        }
        let [in_force, coming] = &**procedures;
        let stored = if jobs.change.is_some() { coming } else { in_force };
        let is_sound = **stored != *SoundProcedure::NONE;
        of_journal.has_lost = true;
        if store.store_numbers(journal.next(), is_sound.then_some(&**stored)).is_ok() {
            journal.go_on_from(store.numbers_from());
            journal.begin_anew().unwrap_or_default();
        }
    }
    /// Somebody asks for what is kept: what the flash refused is tried again, where that is some time ago.
    pub(super) fn try_again(&mut self) {
        if self.modbus.now_us().wrapping_sub(self.of_journal.tried_us) >= RETRY_US {
            self.of_journal.tries = 0;
        }
    }
}
