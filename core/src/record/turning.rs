//! The angle turned under the arc of one band, and what it comes to.
//!
//! Decides: the mean time of a turn, and the overlap; each is absent where the readings cannot tell it.
//! Assumes: readings under the arc, in order of time; the pipe turns at one speed as the arc is struck
//! and as it goes out.
//! Never: judges.
//!
//! Time of a turn: from the first move of the reading on, so that the counts of a coarse encoder are
//! held against each other at the same angle. Overlap: the arc began between the last sample without it
//! and the first with it, and went out between the last with it and the next: half a sample of turning is
//! missing at each end, and put back.

use crate::trackers::spindle;
use crate::units::{Degrees, turns_to_degrees};

const TURN: u64 = 1 << 32;
/// The time of a turn is right to one in so many.
const ONE_IN: u64 = 500;
/// The overlap is right to a degree, in 2^-32 turn; bounds of it are no further off than some.
const DEGREE: u64 = TURN / 360;
const BOUNDS_DEGREES: u64 = 5;

/// The angle turned since the arc started, in 2^-32 turn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Turning {
    start: i64,
    start_us: u64,
    last: i64,
    last_us: u64,
    /// The last reading before the arc went out and came back.
    mark: (i64, u64),
    /// The first move of the reading: its end, and when that was.
    first_move: Option<(i64, u64)>,
    whole_turns: u64,
    whole_turns_us: u64,
    /// Longest wait between two readings at the first move and the last whole turn, µs.
    wait_us: u32,
    /// What was turned between two of the readings is not known.
    is_lost: bool,
}

/// When the arc burned, and how well the readings tell an angle.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ends {
    /// First sample with the arc, µs.
    pub(crate) first_us: u64,
    /// Last sample with the arc, µs.
    pub(crate) last_us: u64,
    /// Time between samples, µs.
    pub(crate) period_us: u32,
    /// By how much the difference of two readings may be wrong, 2^-32 turn.
    pub(crate) error: u32,
}

impl Turning {
    /// At the first reading under the arc.
    pub(crate) const fn begin(now_us: u64, total: i64) -> Self {
        Self {
            start: total,
            start_us: now_us,
            last: total,
            last_us: now_us,
            mark: (total, now_us),
            first_move: None,
            whole_turns: 0,
            whole_turns_us: now_us,
            wait_us: 0,
            is_lost: false,
        }
    }
    /// What the pipe turned before the next reading is not known.
    pub(crate) const fn lose(&mut self) {
        self.is_lost = true;
    }
    /// The arc went out after the last reading, and is back.
    pub(crate) const fn mark(&mut self) {
        self.mark = (self.last, self.last_us);
    }
    /// What came after that is not counted.
    pub(crate) const fn back_to_mark(&mut self) {
        (self.last, self.last_us) = self.mark;
    }
    /// Takes the unwrapped angle of a later reading.
    #[inline]
    pub(crate) fn push(&mut self, now_us: u64, total: i64) {
        if let Some((start, _)) = self.first_move {
            let turned = total.wrapping_sub(start).unsigned_abs();
            if turned >= self.whole_turns.saturating_add(1).saturating_mul(TURN) {
                self.complete(now_us, turned, start);
            }
        } else if total != self.last {
            self.first_move = Some((total, now_us));
            self.note_wait(now_us);
        }
        self.last = total;
        self.last_us = now_us;
    }
    fn note_wait(&mut self, now_us: u64) -> u64 {
        let wait_us = now_us.saturating_sub(self.last_us).min(u64::from(u32::MAX));
        self.wait_us = self.wait_us.max(wait_us as u32);
        wait_us
    }
    /// A turn was completed between the last reading and this one.
    fn complete(&mut self, now_us: u64, turned: u64, start: i64) {
        let goal = self.whole_turns.saturating_add(1).saturating_mul(TURN);
        let before = self.last.wrapping_sub(start).unsigned_abs();
        let step = turned.saturating_sub(before) >> 8;
        let part = goal.saturating_sub(before) >> 8;
        let wait_us = self.note_wait(now_us);
        let share_us = wait_us.saturating_mul(part).checked_div(step).unwrap_or(0);
        self.whole_turns = turned >> 32;
        self.whole_turns_us = self.last_us.saturating_add(share_us.min(wait_us));
    }

    /// Angle turned since the first reading under the arc.
    pub(crate) fn turned(&self, total: i64) -> Degrees {
        turns_to_degrees(total.wrapping_sub(self.start).saturating_abs())
    }
    /// The same at the last reading under the arc; absent where it was lost, and where the reading never moved, for
    /// that may be the reading and not the pipe.
    pub(crate) fn turned_at_last(&self) -> Option<Degrees> {
        self.first_move.filter(|_| !self.is_lost).map(|_| self.turned(self.last))
    }

    /// The same with what it turns, at its mean speed, in `slack_us` at either end.
    pub(crate) fn turned_at_most(&self, slack_us: u32) -> Option<Degrees> {
        let seen = self.turned_at_last()?;
        if slack_us == 0 {
            return Some(seen);
        }
        let turned = self.last.wrapping_sub(self.start).unsigned_abs();
        let elapsed_us = self.last_us.saturating_sub(self.start_us);
        let more = turned_in(turned, elapsed_us, u64::from(slack_us).saturating_mul(2)).unwrap_or(0);
        Some(seen.saturating_add(to_degrees(more)))
    }

    /// Angle turned while the arc burned, within a degree, or `None`.
    pub(crate) fn turned_under_arc(&self, ends: Ends) -> Option<Degrees> {
        let (all, unknown) = self.turned_within(ends)?;
        (unknown <= DEGREE).then(|| to_degrees(all))
    }
    /// Between which angles it lies: the same twice where it is known within a degree.
    pub(crate) fn turned_bounds(&self, ends: Ends) -> Option<(Degrees, Degrees)> {
        let (all, unknown) = self.turned_within(ends)?;
        if unknown <= DEGREE {
            return Some((to_degrees(all), to_degrees(all)));
        }
        let bounds = (to_degrees(all.saturating_sub(unknown)), to_degrees(all.saturating_add(unknown)));
        (unknown <= BOUNDS_DEGREES.saturating_mul(DEGREE)).then_some(bounds)
    }
    /// Angle turned while the arc burned, and how far that may be off: nobody can say where within its
    /// sample the arc began and ended, which is a sample of turning together, to which the error of the
    /// reading adds.
    fn turned_within(&self, ends: Ends) -> Option<(u64, u64)> {
        let turned = self.last.wrapping_sub(self.start).unsigned_abs();
        let elapsed_us = self.last_us.saturating_sub(self.start_us);
        // Readings may come more seldom than samples.
        let late_us = self.start_us.saturating_sub(ends.first_us);
        let late_us = late_us.saturating_add(ends.last_us.saturating_sub(self.last_us));
        let turning = |time_us: u64| turned_in(turned, elapsed_us, time_us);
        let period_us = u64::from(ends.period_us);
        let unknown = turning(period_us.saturating_add(late_us >> 2))?.saturating_add(u64::from(ends.error));
        let all = turned.saturating_add(turning(period_us.saturating_add(late_us))?);
        (!self.is_lost).then_some((all, unknown))
    }

    /// Mean time of a turn, raw [`crate::units::Duration`], within 0.2 % or `None`: of the whole turns
    /// where there is one, else scaled from the part. Readings differ by no more than `error` from the
    /// angle they stand for, and a move is known to the wait between two readings.
    pub(crate) fn turn_time(&self, error: u32) -> Option<i32> {
        let (start, start_us) = self.first_move.filter(|_| !self.is_lost)?;
        let error = u64::from(error).saturating_mul(ONE_IN);
        if self.whole_turns > 0 {
            let turned = self.whole_turns.saturating_mul(TURN);
            let elapsed_us = self.whole_turns_us.saturating_sub(start_us);
            let known = error <= turned || u64::from(self.wait_us).saturating_mul(ONE_IN) <= elapsed_us;
            return spindle::turn_time(elapsed_us, turned as i64).filter(|_| known);
        }
        let turned = self.last.wrapping_sub(start);
        // Less than a hundredth of a turn tells nothing.
        if turned.unsigned_abs() < error.max(TURN / 100) {
            return None;
        }
        spindle::turn_time(self.last_us.saturating_sub(start_us), turned)
    }
}

fn to_degrees(turned: u64) -> Degrees {
    turns_to_degrees(i64::try_from(turned).unwrap_or(i64::MAX))
}

/// Angle turned in `time_us` where `turned` took `elapsed_us`.
fn turned_in(turned: u64, elapsed_us: u64, time_us: u64) -> Option<u64> {
    // Ten turns shifted to 2^-24 turn, times a minute in µs, stay within 64 bits.
    (turned >> 8).saturating_mul(time_us).checked_div(elapsed_us).map(|part| part.saturating_mul(256))
}

#[cfg(test)]
#[allow(clippy::cast_precision_loss)]
mod tests {
    use super::*;

    /// A pipe of `turn_s` a turn, read every `period_us` by an encoder of `counts`; the arc burns from
    /// `from_us` on for `arc_us`.
    fn weld(turn_s: u64, counts: u64, period_us: u64, from_us: u64, arc_us: u64) -> (Turning, Ends) {
        let angle = |time_us: u64| {
            let count = time_us * counts / (turn_s * 1_000_000);
            (count * TURN / counts) as i64
        };
        let first_us = from_us.div_ceil(period_us) * period_us;
        let mut turning = Turning::begin(first_us, angle(first_us));
        let mut last_us = first_us;
        for time_us in (first_us..from_us + arc_us).step_by(period_us as usize).skip(1) {
            turning.push(time_us, angle(time_us));
            last_us = time_us;
        }
        let error = (TURN / counts).min(u64::from(u32::MAX)) as u32;
        (turning, Ends { first_us, last_us, period_us: period_us as u32, error })
    }

    /// The truth is geometry: turns times 360, and the turn that was set.
    #[test]
    fn the_overlap_is_right_within_a_degree_or_absent() {
        let mut given = 0;
        for turn_s in [20, 60, 77, 120, 200, 300] {
            for counts in [36, 360, 720, 4096] {
                for period_us in [100, 10_000, 200_000, 1_000_000] {
                    for phase in 0..7 {
                        let from_us = 1_000_000 + phase * period_us / 7 + phase * 31;
                        let arc_us = turn_s * 1_000_000 * 104 / 100;
                        if arc_us / period_us > 200_000 {
                            continue;
                        }
                        let (turning, ends) = weld(turn_s, counts, period_us, from_us, arc_us);
                        let told = (turn_s, counts, period_us, phase);
                        let Some(turned) = turning.turned_under_arc(ends) else {
                            let turning_deg = 360.0 / turn_s as f64 * period_us as f64 / 1e6;
                            assert!(turning_deg + 360.0 / counts as f64 > 0.9, "{told:?}");
                            continue;
                        };
                        given += 1;
                        let off = f64::from(turned.to_bits()) / 4096.0 - 374.4;
                        assert!(off.abs() <= 1.0, "{told:?}: {off}");
                    }
                }
            }
        }
        assert!(given > 100, "{given}");
    }

    #[test]
    fn the_mean_time_of_a_turn_is_right_within_a_fifth_of_a_percent_or_absent() {
        let mut given = 0;
        for turn_s in [20, 61, 77, 120, 203, 300] {
            for counts in [3, 12, 36, 72, 360, 720, 4096] {
                for period_us in [10_000, 200_000, 2_000_000] {
                    for percent in [30, 100, 104, 150, 210] {
                        let arc_us = turn_s * 10_000 * percent;
                        let (turning, ends) = weld(turn_s, counts, period_us, 1_234_567, arc_us);
                        let Some(time) = turning.turn_time(ends.error) else { continue };
                        given += 1;
                        let off = f64::from(time) / 4096.0 / turn_s as f64 - 1.0;
                        let told = (turn_s, counts, period_us, percent);
                        assert!(off.abs() <= 0.002, "{told:?}: {off}");
                    }
                }
            }
        }
        assert!(given > 200, "{given}");
    }

    /// Ten counts a turn, read often: the counts of a turn later tell it exactly.
    #[test]
    fn a_coarse_encoder_gives_the_time_of_a_whole_turn() {
        let (turning, ends) = weld(120, 10, 20_000, 500_000, 140_000_000);
        let time_s = f64::from(turning.turn_time(ends.error).unwrap()) / 4096.0;
        assert!((time_s - 120.0).abs() < 0.05, "{time_s}");
    }
}
