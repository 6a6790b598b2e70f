//! Bands laid without breaking the arc: the carriage steps, or moves on steadily, while it burns.
//!
//! Decides: where one such band ends and the next begins. A step after most of a turn ends a band at the
//! step; a carriage that creeps on all the time (a spiral) ends one with every full turn, but for the last
//! band of the procedure, which runs on over its start.
//! Assumes: a carriage channel, a spindle channel, and a step-over or a band width in the procedure.
//! Never: splits a band whose carriage stands.

use super::Monitor;
use crate::event::{Event, Sink};
use crate::record::band::Ending;
use crate::record::bands::{Start, Struck, Travel};
use crate::rule::Quantity;
use crate::trackers::arc::Phase;
use crate::units::{Degrees, Length};

/// A carriage that leaves its place after this angle steps; before, it creeps.
const STEPS_FROM: Degrees = Degrees::from_milli(300_000);
const FULL_TURN: Degrees = Degrees::from_milli(360_000);
/// No overlap is longer: the last band of a spiral ends here at the latest.
const LONGEST_LAST: Degrees = Degrees::from_milli(540_000);
/// A carriage that moves less than this stands, raw.
const STANDS_WITHIN: i32 = Length::from_milli(300).to_bits();
/// So long, µs.
const STANDS_FOR_US: u64 = 1_000_000;
/// A carriage steps within this; one that creeps takes longer for as far, µs. Common practice, no source.
const STEPS_WITHIN_US: u64 = 3_000_000;
/// A step that was not looked at for longer than this, and a sample, was not seen, µs.
const UNSEEN_US: u64 = 1_000_000;

impl Monitor {
    /// Follows the carriage under a burning arc.
    pub(super) fn follow_step(&mut self, sink: &mut dyn Sink) {
        let now_us = self.clock.moment.now_us;
        let Some(carriage) = self.fresh_carriage(now_us) else { return };
        let followed_us = self.bands.followed_us.get();
        self.bands.followed_us.set(now_us);
        let Some(start) = self.bands.tally.carriage.get() else {
            self.settle_carriage(carriage, now_us);
            return;
        };
        self.follow_stand(carriage, now_us);
        let moved = carriage.saturating_sub(start).saturating_abs();
        let (Some(step), Some(turned)) = (self.procedure.least_step(), self.clock.moment.position.turned)
        else {
            return;
        };
        if moved < step >> 2 {
            self.bands.tally.near_us.set(now_us);
        }
        if moved < step >> 1 {
            return;
        }
        let left_at = self.bands.tally.left_at.get().unwrap_or(turned);
        self.bands.tally.left_at.set(Some(left_at));
        // How far a band turned whose start was not seen tells nothing; how soon the carriage went so far does.
        let is_quick = now_us.saturating_sub(self.bands.tally.near_us.get()) <= STEPS_WITHIN_US;
        let steps = left_at >= STEPS_FROM || self.bands.tally.record.start_unseen && is_quick;
        let is_last = self.bands.is_last(&self.procedure.joint);
        if steps || turned >= if is_last { LONGEST_LAST } else { FULL_TURN } {
            let unseen_us = UNSEEN_US.saturating_add(u64::from(self.acquisition.period_us));
            // The turns of a spiral are counted from the first: where one was not seen to begin, none after it was.
            let is_counted = steps || !self.bands.tally.record.start_unseen;
            let is_seen = now_us.saturating_sub(followed_us) <= unseen_us && is_counted;
            self.step_on(now_us, !steps, is_seen, sink);
        }
    }
    /// The band stands where it was placed, unless it is one of a spiral.
    fn follow_stand(&mut self, carriage: i32, now_us: u64) {
        let tally = &mut self.bands.tally;
        if !tally.creeps.get() {
            let is_late = self.clock.moment.position.turned.is_none_or(|turned| turned >= STEPS_FROM);
            if let Some(stand) = tally.stand.as_mut() {
                stand.push(now_us, carriage, is_late);
            }
        }
    }
    /// After a step the carriage comes to rest where the band is laid.
    fn settle_carriage(&mut self, carriage: i32, now_us: u64) {
        let tally = &mut self.bands.tally;
        if !tally.record.stepped_in {
            return;
        }
        if tally.creeps.get() {
            // At the same angle as on the band before, so that a whole turn lies between.
            if self.clock.moment.position.turned >= self.bands.previous_placed_at.get() {
                self.place_band(carriage);
            }
            return;
        }
        let (place, since_us) = tally.came_to.get().unwrap_or((carriage, now_us));
        tally.came_to.set(Some((place, since_us)));
        if place.abs_diff(carriage) > STANDS_WITHIN.unsigned_abs() {
            tally.came_to.set(Some((carriage, now_us)));
        } else if now_us.saturating_sub(since_us) >= STANDS_FOR_US {
            self.place_band(carriage);
        }
    }
    /// The band is laid here: its step from the band before is known.
    pub(super) fn place_band(&mut self, carriage: i32) {
        let bands = &mut self.bands;
        bands.tally.carriage.set(Some(carriage));
        bands.tally.placed_at.set(self.clock.moment.position.turned);
        let record = &mut bands.tally.record;
        // What goes on after a hole may be the band before it, and no step lies between.
        if !record.opens_group && !record.start_unseen {
            record.step_over = bands
                .places
                .as_ref()
                .and_then(|places| places.step_to(carriage, record.group))
                .map(Length::from_bits);
        }
    }
    /// The band that began is one, in this group or the next.
    pub(super) fn count_in_group(&mut self, travel: Travel) {
        let plan = &self.procedure.joint;
        let place = self.bands.next_place(plan, travel);
        let record = &mut self.bands.tally.record;
        (record.group, record.opens_group) = (place.group, place.opens_group);
        let asks = self.procedure.limits(Quantity::StepOver).is_some()
            && !self.procedure.is_judged_where_possible(Quantity::StepOver);
        self.bands.count_band(plan, travel, asks);
    }
    /// Ends the band under the burning arc, and has the next begin; the carriage has stepped, or `creeps`.
    fn step_on(&mut self, now_us: u64, creeps: bool, is_seen: bool, sink: &mut dyn Sink) {
        if !is_seen {
            // How far it turned before the step, and since, is not known.
            self.bands.tally.lose_turning();
        }
        self.trackers.spindle.step_on();
        self.take_electrical(now_us);
        self.bands.tally.pause(now_us);
        let creeps_on = self.bands.tally.creeps.get() || creeps;
        self.bands.tally.creeps.set(creeps_on);
        self.close(Ending::SteppedOn);
        // Those from here on are of the next band.
        self.trackers.dips.restart(now_us);
        self.begin(Start::Step { creeps }, now_us, !is_seen, sink);
    }
    /// The band that was stepped into begins; the one before is done.
    pub(super) fn begin_stepped(&mut self, struck: Struck, creeps: bool) {
        let Struck { at_us, unseen_before, .. } = struck;
        let place = self.bands.next_place(&self.procedure.joint, Travel::Step);
        let is_work_fresh = self.is_work_fresh(at_us);
        let tally = &mut self.bands.tally;
        tally.begin(place, at_us, unseen_before);
        tally.record.stepped_in = true;
        tally.creeps.set(creeps);
        tally.resume(at_us);
        tally.is_work_fresh.set(is_work_fresh);
        tally.work_at_start(&self.trackers.work);
        tally.count_from(at_us);
    }
    /// It is a band: an arc that burned on is no tack.
    pub(super) fn count_stepped(&mut self, struck: Struck, sink: &mut dyn Sink) {
        let Struck { at_us, slow, slow_us, .. } = struck;
        self.bands.struck = None;
        self.trackers.signal.begin_waits();
        self.bands.settled = true;
        self.bands.confirmed = true;
        self.count_in_group(Travel::Step);
        self.add_slow(slow_us, slow);
        let band = self.bands.tally.record.band;
        sink.event(&Event::Phase { time_us: at_us, phase: Phase::Arc, band });
    }
}
