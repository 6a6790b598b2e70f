//! Time: gaps, a clock that is set back, ticks.
//!
//! Decides: which samples are taken, and when a tick is due.
//! Assumes: nothing of the times that come.
//! Never: reads a clock; all it knows of time came with samples.

use super::{Monitor, TICK_US};
use crate::alarm::Moment;
use crate::event::{Position, Sink};
use crate::judge::{self, SLOTS};
use crate::statistics::Block;

/// This many samples in a row from the past mean that the clock was set back.
const CLOCK_SET_BACK: u8 = 8;

impl Monitor {
    pub(super) fn accept_time(&mut self, now_us: u64, sink: &mut dyn Sink) -> bool {
        if self.unseen_before {
            self.start_clock(now_us);
        }
        if now_us < self.last_us {
            self.out_of_order = self.out_of_order.saturating_add(1);
            self.from_the_past = self.from_the_past.saturating_add(1);
            self.note_late();
            if self.from_the_past < CLOCK_SET_BACK {
                return false;
            }
            // The clock was set back: what was open ends with the last sample of the old time.
            self.run_slots(SLOTS, sink);
            self.close_for_want_of_data(sink);
            self.start_clock(now_us);
        }
        let gap_us = now_us.saturating_sub(self.last_us);
        if gap_us > u64::from(self.acquisition.gap_tolerance_us) {
            self.gaps = self.gaps.saturating_add(1);
            self.note_late();
            self.weave.clear();
            self.torch = Block::EMPTY;
            self.spindle.forget_speed();
            if gap_us > u64::from(self.procedure.arc.gap_join_us) {
                self.run_slots(SLOTS, sink);
                self.close_for_want_of_data(sink);
                self.unseen_before = true;
                self.gas.forget();
            } else {
                self.tally.skip(gap_us.saturating_sub(u64::from(self.acquisition.gap_tolerance_us)));
            }
        }
        true
    }

    fn start_clock(&mut self, now_us: u64) {
        self.unseen_before = true;
        self.last_us = now_us;
        self.tick_due_us = self.due_after(now_us);
        self.moment.now_us = now_us;
        self.torch_seen_us = now_us;
        self.signal.start(now_us);
        self.weave.clear();
        self.spindle.forget_speed();
        self.dips.restart(now_us);
        self.gas.forget();
        self.gas_flow.clear();
        self.coolant_flow.clear();
        // Times of an older clock may lie ahead.
        self.late_since_us = self.late_since_us.map(|since_us| since_us.min(now_us));
        self.outage_since_us = self.outage_since_us.map(|since_us| since_us.min(now_us));
    }

    fn note_late(&mut self) {
        // Between bands a late sample harms nothing.
        if self.arc.phase().is_in_band() && self.late_since_us.is_none() {
            self.late_since_us = Some(self.last_us);
        }
    }

    /// When the tick that starts at `now_us` has its last sample.
    fn due_after(&self, now_us: u64) -> u64 {
        let wait_us = TICK_US.saturating_sub(u64::from(self.acquisition.period_us));
        now_us.saturating_add(wait_us.max(1))
    }

    pub(super) fn tick(&mut self, now_us: u64, sink: &mut dyn Sink) {
        self.run_slots(SLOTS, sink);
        let elapsed_us = now_us.saturating_sub(self.moment.now_us);
        let (band, turned) = if self.arc.phase().is_in_band() {
            (self.tally.record.band, self.tally.turned(self.spindle.total()))
        } else if self.closing.is_some() {
            (self.tally.record.band, self.tally.turned_at_end())
        } else {
            (self.bands, None)
        };
        self.moment = Moment {
            now_us,
            elapsed_us: self.counted_us(elapsed_us, TICK_US),
            position: Position { band, turned },
        };
        let aligned_us = self.tick_due_us.saturating_add(TICK_US);
        self.tick_due_us = if aligned_us > now_us { aligned_us } else { self.due_after(now_us) };
        self.slot = 0;
        self.run_slots(self.slots_a_step, sink);
    }

    /// How much of a wait counts towards a delay: no more than may pass without a gap, but always
    /// the `regular_us` that pass where nothing is late.
    pub(crate) fn counted_us(&self, elapsed_us: u64, regular_us: u64) -> u32 {
        let at_most_us = u64::from(self.acquisition.gap_tolerance_us).max(regular_us);
        u32::try_from(elapsed_us.min(at_most_us)).unwrap_or(u32::MAX)
    }

    pub(super) fn run_slots(&mut self, count: u8, sink: &mut dyn Sink) {
        for _ in 0..count {
            if self.slot >= SLOTS {
                return;
            }
            judge::run_slot(self, self.slot, sink);
            self.slot = self.slot.saturating_add(1);
        }
    }
}
