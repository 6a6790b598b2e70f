//! Time: gaps, a clock that is set back, ticks.
//!
//! Decides: which samples are taken, and when a tick is due.
//! Assumes: nothing of the times that come.
//! Never: reads a clock; all it knows of time came with samples.

use super::Monitor;
use super::clock::{Clock, SLOTS};
use crate::acquisition::TICK_US;
use crate::event::Sink;
use crate::judge::judgement::Moment;

/// This many samples in a row from the past mean that the clock was set back.
const CLOCK_SET_BACK: u8 = 8;

/// A band may lie unseen in a hole in the data that lasts for so long, µs. Common practice, no source: small pipe
/// turns in some 20 s.
const A_BAND_FITS_US: u64 = 15_000_000;

impl Monitor {
    /// Takes the time of a sample; `is_unknown`: how long it came after the one before is not known. False where it is
    /// not to be judged.
    pub(super) fn accept_time(&mut self, now_us: u64, is_unknown: bool, sink: &mut dyn Sink) -> bool {
        if self.clock.unseen_before {
            self.start_clock(now_us);
        }
        if now_us < self.clock.last_us {
            self.clock.out_of_order = self.clock.out_of_order.saturating_add(1);
            self.clock.from_the_past = self.clock.from_the_past.saturating_add(1);
            self.note_late();
            if self.clock.from_the_past < CLOCK_SET_BACK {
                return false;
            }
            // The clock was set back: what was open ends with the last sample of the old time.
            self.run_slots(SLOTS, sink);
            self.close_for_want_of_data(sink);
            self.start_clock(now_us);
            // Nobody knows how much time went by.
            self.trackers.gas.forget();
            self.bands.note_hole();
        }
        let gap_us = now_us.saturating_sub(self.clock.last_us);
        let tolerance_us = u64::from(self.acquisition.gap_tolerance_us);
        if gap_us > tolerance_us {
            // What was left to do of the tick before is done with what was seen before the hole.
            self.run_slots(SLOTS, sink);
            self.clock.gaps = self.clock.gaps.saturating_add(1);
            self.note_late();
            self.trackers.after_gap();
            if gap_us > u64::from(self.procedure.arc.gap_join_us) {
                self.close_for_want_of_data(sink);
                self.clock.unseen_before = true;
                self.trackers.gas.forget();
                if gap_us >= A_BAND_FITS_US {
                    self.bands.note_hole();
                }
            } else if self.trackers.arc.phase().is_in_band() {
                self.bands.tally.skip(gap_us.saturating_sub(tolerance_us));
            } else {
                // An arc that burns in the first sample after a hole may have burned for all of it.
                self.clock.unseen_before = true;
                if self.bands.closing.is_none() {
                    self.trackers.gas.forget();
                }
            }
        }
        if is_unknown {
            self.lose_wait(now_us);
        }
        true
    }

    /// Nothing is worked out across: no speed, no angle, no time of gas, no cooling.
    fn lose_wait(&mut self, now_us: u64) {
        self.trackers.after_gap();
        self.trackers.gas.lose_time(now_us);
        if let Some(cooling) = self.bands.cooling.as_mut() {
            cooling.lose_time();
        }
        if !self.trackers.arc.phase().is_in_band() {
            // An arc that burns in this sample may have burned before it.
            self.clock.unseen_before = true;
        } else if self.bands.tally.lose_turning() {
            self.trackers.spindle.lose();
        }
    }

    fn start_clock(&mut self, now_us: u64) {
        let clock = &mut self.clock;
        clock.unseen_before = true;
        clock.last_us = now_us;
        clock.tick_due_us = Clock::due_after(now_us, &self.acquisition);
        clock.moment.now_us = now_us;
        self.trackers.start_clock(now_us);
        // Times of an older clock may lie ahead.
        clock.late_since_us = clock.late_since_us.map(|since_us| since_us.min(now_us));
        self.bands.outage = None;
    }

    fn note_late(&mut self) {
        // Between bands a late sample harms nothing.
        if self.trackers.arc.phase().is_in_band() && self.clock.late_since_us.is_none() {
            self.clock.late_since_us = Some(self.clock.last_us);
        }
    }

    pub(super) fn tick(&mut self, now_us: u64, sink: &mut dyn Sink) {
        self.run_slots(SLOTS, sink);
        let elapsed_us = now_us.saturating_sub(self.clock.moment.now_us);
        let is_open = self.trackers.arc.phase().is_in_band();
        let clock = &mut self.clock;
        clock.moment = Moment {
            now_us,
            elapsed_us: self.acquisition.counted_us(elapsed_us, TICK_US),
            position: self.bands.position(is_open, self.trackers.spindle.total()),
        };
        let aligned_us = clock.tick_due_us.saturating_add(TICK_US);
        clock.tick_due_us =
            if aligned_us > now_us { aligned_us } else { Clock::due_after(now_us, &self.acquisition) };
        clock.slot = 0;
        self.run_slots(self.clock.slots_a_step, sink);
    }
}
