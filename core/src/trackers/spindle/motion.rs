//! What the turning comes to: steady, slipping, coming to rest, standing.
//!
//! Decides: when a short speed is slip, when the pipe stands, and what the usual speed of a band is.
//! Assumes: it is shown every point once, in order of time.
//! Never: calls it a fault that the pipe gets going late, or stops once the turn is done.

use super::{Motion, NEWEST_US, SHORT_MOST_US, SHORT_US, SpindleTracker, Start, Times, along, overdue_us};
use crate::statistics::push_over;
use crate::trackers::pace::{LEAST_US, Point};

/// A count that takes longer than a third of [`NEWEST_US`] tells by its coming, not by a speed, µs.
const COUNT_US: u32 = NEWEST_US / 3;
/// A changed speed that lasts this long is the new speed, not slip.
const SLIP_LONGEST_US: u32 = 5_000_000;
/// So long after the strike the pipe may stand, µs. Common practice, no source.
const START_US: u32 = 2_000_000;
/// Past the turn the pipe may stand for this long before it is called a stall, µs: the band ends.
/// Common practice, no source.
const STOP_US: u32 = 1_500_000;
/// From here on a band may end: 350 degrees, 2^-32 turn.
const TURN_DONE: u64 = (350 << 32) / 360;
/// Without a known speed, slower than a turn in 20 minutes is standing: 0.3 degrees a second, in
/// 2^-24 turn a second.
const STANDING: i64 = (3 << 24) / 3600;

impl<const S: usize, const L: usize> SpindleTracker<S, L> {
    fn times(&self, reference: i32) -> Times {
        let usual = u64::from(reference.unsigned_abs());
        let needed = u64::from(self.error())
            .saturating_mul(5)
            .max(u64::from(self.step()).saturating_mul(3))
            .max(u64::from(self.residual).saturating_mul(75) >> 3);
        let lasts_us = |angle: u64| {
            let time_us = angle.saturating_mul(1_000_000).checked_div(usual).unwrap_or(u64::MAX);
            u32::try_from(time_us).unwrap_or(u32::MAX)
        };
        Times { window_us: lasts_us(needed).max(SHORT_US), step_us: lasts_us(u64::from(self.step())) }
    }

    /// The last points over the window, percent of the usual speed, along the usual way.
    fn share(&self, now: Point, window_us: u32, reference: i32) -> Option<i64> {
        let since = self.since(window_us.saturating_sub(window_us >> 3))?;
        let usual = i64::from(reference).saturating_abs();
        let whole = usual.saturating_mul(i64::from(now.after_us(since))) / 100;
        along(now.turned(since), reference).saturating_mul(1_000_000).checked_div(whole)
    }

    /// No speed is known in this band yet: the pipe may stand for a while after the strike.
    pub(super) fn wait(&mut self, now: Point) -> Motion {
        let since_us = *self.waiting_since_us.get_or_insert(now.at_us);
        if self.resolution.step().is_none() || now.at_us.wrapping_sub(since_us) < START_US {
            return Motion::Unknown;
        }
        // Two counts at a degree a second, six minutes a turn: 10^6 / 2^24 * 360 * 2 = 42.9 µs.
        let counts_us = self.error().saturating_mul(43);
        let stands = if counts_us > START_US {
            self.quiet_us(now) >= counts_us
        } else {
            self.since(START_US - (START_US >> 3)).is_some_and(|since| {
                let moved = now.turned(since).saturating_abs().saturating_mul(1_000_000);
                moved < STANDING.saturating_mul(i64::from(now.after_us(since)))
            })
        };
        if stands { Motion::Stalled } else { Motion::Unknown }
    }

    pub(super) fn classify(&mut self, now: Point, reference: i32, has_moved: bool) -> Motion {
        self.times = self.times(reference);
        let Times { window_us, step_us } = self.times;
        let by_counts = step_us > COUNT_US;
        let newest = self.share(now, NEWEST_US, reference).filter(|_| !by_counts);
        let share = self.share(now, window_us, reference);
        let stands = if by_counts {
            self.quiet_us(now) >= overdue_us(step_us)
        } else {
            share.is_some_and(|share| share.saturating_abs() < 10)
        };
        let was_still = self.still_since_us.is_some();
        if stands || was_still && newest.is_some_and(|newest| newest.saturating_abs() < 50) {
            return self.stand(now);
        }
        if let Some(since_us) = self.still_since_us.take() {
            // Turning again: the standing must not count as slow turning.
            self.stood_us = now.at_us.wrapping_sub(since_us).saturating_add(SHORT_US);
            self.short.clear();
            push_over(&mut self.short, now);
            return Motion::Unknown;
        }
        if self.is_too_coarse() {
            return Motion::Steady;
        }
        let Some(share) = share else { return Motion::Unknown };
        if (65..=140).contains(&share) || !self.is_firm {
            self.slip_since_us = None;
            self.is_late = false;
            return Motion::Steady;
        }
        if newest.is_some_and(|newest| newest.saturating_abs() < 15) {
            self.slip_since_us.get_or_insert(now.at_us);
            return Motion::Pausing;
        }
        self.is_late |= has_moved && !(60..=140).contains(&share);
        if by_counts && !self.is_late {
            return Motion::Pausing;
        }
        self.slip(now)
    }

    fn stand(&mut self, now: Point) -> Motion {
        self.slip_since_us = None;
        self.is_late = false;
        let since_us = *self.still_since_us.get_or_insert(now.at_us);
        let may_stop =
            self.band_start.is_some_and(|start| self.total.wrapping_sub(start).unsigned_abs() >= TURN_DONE);
        if may_stop && now.at_us.wrapping_sub(since_us) < STOP_US { Motion::Pausing } else { Motion::Stalled }
    }

    fn slip(&mut self, now: Point) -> Motion {
        let since_us = *self.slip_since_us.get_or_insert(now.at_us);
        if self.motion == Motion::Pausing {
            // It did not come to rest.
            self.stood_us = now.at_us.wrapping_sub(since_us);
        }
        if now.at_us.wrapping_sub(since_us) <= SLIP_LONGEST_US {
            return Motion::Slipping;
        }
        self.slip_since_us = None;
        self.is_late = false;
        self.reference = None;
        self.is_firm = false;
        self.long.clear();
        self.waiting_since_us = None;
        Motion::Unknown
    }

    pub(super) fn extend_long(&mut self, now: Point) {
        match (self.motion, self.reference) {
            (Motion::Slipping | Motion::Pausing | Motion::Stalled, _) => self.long.clear(),
            (Motion::Unknown, Some(_)) => {}
            // Of a coarse reading: a count that is long overdue may never come.
            (_, Some(_)) if self.quiet_us(now) > self.times.step_us.saturating_mul(2).max(SHORT_US) => {}
            (Motion::Unknown | Motion::Steady, _) => {
                if self.long.push(now, self.error()) {
                    self.settle_reference(now);
                }
            }
        }
    }

    /// For how long the pipe stood after the strike, if it then turned at the speed that it has now.
    fn stood_us(&self, now: Point, speed: i32) -> i64 {
        let (Some(start), Some(since_us)) = (self.band_start, self.waiting_since_us) else { return 0 };
        let start = Point { at_us: since_us, angle: (start >> 8) as i32 };
        // It may have turned by a count more than the reading tells.
        let turned = now.turned(start).saturating_abs().saturating_add(i64::from(self.error()));
        let turning_us = turned.saturating_mul(1_000_000).checked_div(i64::from(speed).saturating_abs());
        i64::from(now.after_us(start)).saturating_sub(turning_us.unwrap_or(0))
    }

    fn settle_reference(&mut self, now: Point) {
        let (Some((turned, elapsed_us)), Some(speed)) = (self.long.span(), self.long.speed()) else { return };
        let counts = |count: i64| i64::from(self.error()).saturating_mul(count);
        if elapsed_us < LEAST_US || i64::from(speed).saturating_abs() < STANDING || turned < counts(4) {
            return;
        }
        let is_firm = turned >= counts(16);
        if self.reference.is_some() {
            if is_firm || !self.is_firm {
                self.reference = Some(speed);
                self.is_firm |= is_firm;
            }
            return;
        }
        // Gets going still while the last points are not as fast as the window.
        let times = self.times(speed);
        let is_even = times.window_us > SHORT_MOST_US
            || self.share(now, times.window_us, speed).is_some_and(|share| (75..=125).contains(&share));
        if !is_even {
            self.long.shorten();
            return;
        }
        self.times = times;
        self.reference = Some(speed);
        self.is_firm = is_firm;
        if matches!(self.start, Start::Waited) {
            let is_late = self.stood_us(now, speed) > i64::from(START_US);
            self.start = if is_late { Start::Late } else { Start::Known };
        }
        // What it did as it got going is no part of the time of a turn.
        self.long.restart();
    }
}

#[cfg(test)]
mod tests;
