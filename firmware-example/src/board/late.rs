//! What nobody waits for any more, because the watcher stands still: samples do not come.
//!
//! Decides: that a press, and a request of the controller of the cell, are given up after a time; a press is then not done
//! when the watcher goes on, nor is one that was pressed meanwhile.
//! Assumes: the watcher, which is shown the same time, leaves undone what is late.
//! Never: takes a press for done.

use super::Hardware;
use super::between::Order;
use super::service::Desk;

impl<H: Hardware> Desk<H> {
    /// Asks the watcher for what is worth nothing later: such are given up.
    pub(super) fn ask_soon(&mut self, order: impl FnOnce(u32) -> Order) {
        if self.jobs.is_stuck {
            return;
        }
        let asked_us = self.below.signs.shown_time();
        self.ask(order(asked_us));
        self.jobs.pressed_us = Some(asked_us);
    }
    /// The time is shown first: what is given up here the watcher leaves undone.
    pub(super) fn give_up_what_is_late(&mut self) {
        let now_us = self.modbus.now_us();
        let signs = self.below.signs;
        signs.show_time(now_us);
        self.jobs.is_stuck &= !self.below.orders.is_empty();
        if self.jobs.pressed_us.is_some_and(|asked_us| signs.is_late(asked_us)) {
            (self.jobs.awaits, self.jobs.pressed_us, self.jobs.is_stuck) = (false, None, true);
        }
        self.jobs.cell = self.jobs.cell.take().filter(|(_, _, asked_us)| !signs.is_late(*asked_us));
    }
}
