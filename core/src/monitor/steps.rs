//! Bands laid without breaking the arc: the carriage steps, or moves on steadily, while it burns.
//!
//! Decides: where one such band ends and the next begins. A step after most of a turn ends a band at the
//! step; a carriage that creeps on all the time (a spiral) ends one with every full turn.
//! Assumes: a carriage channel, a spindle channel, and a step-over or a band width in the procedure.
//! Never: splits a band whose carriage stands.

use super::Monitor;
use crate::event::{Event, Sink};
use crate::record::band::Ending;
use crate::record::tally::Tally;
use crate::rule::Quantity;
use crate::trackers::arc::Phase;
use crate::units::{Degrees, Length};

/// A carriage that leaves its place after this angle steps; before, it creeps.
const STEPS_FROM: Degrees = Degrees::from_milli(300_000);
const FULL_TURN: Degrees = Degrees::from_milli(360_000);
/// A carriage that moves less than this stands, raw.
const STANDS_WITHIN: i32 = Length::from_milli(300).to_bits();
/// So long, µs.
const STANDS_FOR_US: u64 = 1_000_000;

impl Monitor {
    /// Follows the carriage under a burning arc.
    pub(super) fn follow_step(&mut self, sink: &mut dyn Sink) {
        let now_us = self.clock.moment.now_us;
        let Some(carriage) = self.fresh_carriage(now_us) else { return };
        let Some(start) = self.bands.tally.carriage else {
            self.settle_carriage(carriage, now_us);
            return;
        };
        let moved = carriage.saturating_sub(start).saturating_abs();
        let (Some(step), Some(turned)) = (self.expected_step(), self.clock.moment.position.turned) else {
            return;
        };
        if moved < step >> 1 {
            return;
        }
        let left_at = *self.bands.tally.left_at.get_or_insert(turned);
        let steps = left_at >= STEPS_FROM;
        if steps || turned >= FULL_TURN {
            self.step_on(now_us, !steps, sink);
        }
    }
    /// After a step the carriage comes to rest where the band is laid.
    fn settle_carriage(&mut self, carriage: i32, now_us: u64) {
        let tally = &mut self.bands.tally;
        if !tally.record.stepped_in {
            return;
        }
        if tally.creeps {
            // At the same angle as on the band before, so that a whole turn lies between.
            if self.clock.moment.position.turned >= self.bands.previous_placed_at {
                self.place_band(carriage);
            }
            return;
        }
        let (place, since_us) = *tally.came_to.get_or_insert((carriage, now_us));
        if place.abs_diff(carriage) > STANDS_WITHIN.unsigned_abs() {
            tally.came_to = Some((carriage, now_us));
        } else if now_us.saturating_sub(since_us) >= STANDS_FOR_US {
            self.place_band(carriage);
        }
    }
    /// The band is laid here: its step from the band before is known.
    pub(super) fn place_band(&mut self, carriage: i32) {
        let bands = &mut self.bands;
        bands.tally.carriage = Some(carriage);
        bands.tally.placed_at = self.clock.moment.position.turned;
        // What goes on after a hole may be the band before it, and no step lies between.
        let may_go_on = bands.tally.record.start_unseen;
        bands.tally.record.step_over = bands
            .previous_carriage
            .filter(|_| !bands.tally.record.opens_group && !may_go_on)
            .map(|previous| Length::from_bits(carriage.saturating_sub(previous)).magnitude());
    }
    /// The least step from band to band, raw.
    fn expected_step(&self) -> Option<i32> {
        let band_width = self.procedure.geometry.band_width.map(Length::to_bits);
        self.procedure.least(Quantity::StepOver).or(band_width).filter(|&step| step > 0)
    }
    /// Ends the band under the burning arc and begins the next; the carriage has stepped, or `creeps`.
    fn step_on(&mut self, now_us: u64, creeps: bool, sink: &mut dyn Sink) {
        self.take_electrical(now_us);
        self.bands.tally.pause(now_us);
        self.close(Ending::SteppedOn);
        self.judge_ending(sink);
        self.issue_record(sink);
        let place = self.bands.next_place(&self.procedure.joint, false);
        self.bands.tally = Tally::begin(place, now_us, false);
        let work = self.work_at(now_us);
        let tally = &mut self.bands.tally;
        tally.record.stepped_in = true;
        tally.creeps = creeps;
        tally.resume(now_us);
        tally.work_at_start(work);
        tally.work_hot = work;
        tally.count_from(now_us);
        self.trackers.dips.restart(now_us);
        self.bands.settled = true;
        self.bands.confirmed = true;
        self.bands.count_band();
        let band = self.bands.tally.record.band;
        sink.event(&Event::Phase { time_us: now_us, phase: Phase::Arc, band });
    }
}
