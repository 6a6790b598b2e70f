//! How finely the spindle angle can be read.
//!
//! Decides: the size of a move of the reading, and the angle by which a reading may be wrong; both are
//! learnt from the readings themselves, or declared.
//! Assumes: an encoder counts the same angle all the way round.
//! Never: takes one odd reading for the rule.
//!
//! A coarse encoder repeats itself and then moves by one count: moves and changes of move are one count.
//! One that is finer than the turning from reading to reading moves by so many counts, or one more: the
//! changes are one count. So the greatest change from move to move is the count, or the noise where that
//! is more; but only after many moves, because a turning that fits the counts by chance shows no change
//! for a while.

/// So many moves are seen before the changes from move to move are believed.
const BELIEVED_AFTER: u8 = u8::MAX;

/// What is known of the reading, in 2^-32 turn.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Resolution {
    declared: u32,
    /// Usual size of a move from reading to reading, of those that moved.
    step: u32,
    /// Greatest change from one move to the next, slowly let go.
    grain: u32,
    moves: u8,
    last_move: i32,
    last_us: u32,
    last_interval_us: u32,
}

impl Resolution {
    /// Nothing is known.
    pub(crate) const fn new() -> Self {
        Self { declared: 0, step: 0, grain: 0, moves: 0, last_move: 0, last_us: 0, last_interval_us: 0 }
    }
    /// The angle of one count is known.
    pub(crate) const fn declare(&mut self, count: u32) {
        self.declared = count;
    }
    /// The next move is not to be compared with the last one.
    pub(crate) const fn interrupt(&mut self) {
        self.last_interval_us = 0;
    }
    /// The pipe turned otherwise until now: changes from move to move are learnt anew.
    pub(crate) const fn begin_band(&mut self) {
        self.grain = 0;
        self.moves = 0;
        self.interrupt();
    }
    /// Takes the move from the last reading to this one.
    #[inline]
    pub(crate) fn push(&mut self, now_us: u32, moved: i32) {
        let interval_us = now_us.wrapping_sub(self.last_us);
        let evenly_spaced = interval_us.abs_diff(self.last_interval_us) <= interval_us >> 3;
        if evenly_spaced {
            self.grain = self.grain.max(moved.abs_diff(self.last_move));
        }
        self.last_us = now_us;
        self.last_interval_us = interval_us;
        self.last_move = moved;
        if moved == 0 {
            return;
        }
        let size = moved.unsigned_abs();
        self.step = if self.step == 0 {
            size
        } else if size > self.step {
            self.step.saturating_add(size.saturating_sub(self.step) >> 2)
        } else {
            self.step.saturating_sub(self.step.saturating_sub(size) >> 4)
        };
        self.grain = self.grain.saturating_sub(self.grain >> 9);
        self.moves = self.moves.saturating_add(1);
    }
    /// How far the reading moves at a time: a count of a coarse encoder, the turning from reading to
    /// reading of a fine one. `None` while it never moved.
    pub(crate) const fn step(&self) -> Option<u32> {
        let step = if self.step == 0 { self.declared } else { self.step };
        if step == 0 { None } else { Some(step) }
    }
    /// By how much the difference of two readings may be wrong; `None` while nothing moved.
    pub(crate) fn error(&self) -> Option<u32> {
        let step = self.step()?;
        let grain_counts = self.moves == BELIEVED_AFTER && self.grain > 0;
        let learnt = if grain_counts { step.min(self.grain) } else { step };
        match self.declared {
            0 => Some(learnt),
            // What was declared is not believed against readings that are plainly coarser.
            declared if grain_counts => Some(declared.max(learnt)),
            declared => Some(declared),
        }
    }
}

#[cfg(test)]
#[allow(clippy::cast_precision_loss)]
mod tests {
    use super::*;

    /// Learns from a pipe that turns `a_reading` counts from reading to reading (thousandths).
    fn learn(count: i64, thousandths_a_reading: i64, readings: i64) -> Resolution {
        let mut resolution = Resolution::new();
        let at = |index: i64| (index * thousandths_a_reading).div_euclid(1000) * count;
        for index in 1..=readings {
            resolution.push((index * 20_000) as u32, (at(index) - at(index - 1)) as i32);
        }
        resolution
    }

    #[test]
    fn the_count_of_a_coarse_and_of_a_fine_encoder_is_learnt_either_way_round() {
        for count in [-1_000_000, 1_000_000, 50_000_000] {
            for (thousandths, readings) in [(30, 10_000), (370, 2000), (1410, 400), (7_100, 400)] {
                let error = learn(count, thousandths, readings).error().unwrap();
                let error = f64::from(error) / count.abs() as f64;
                assert!((0.8..=1.0).contains(&error), "{count} {thousandths}: {error}");
            }
        }
    }

    #[test]
    fn a_reading_that_never_moved_shows_no_resolution_unless_it_is_declared() {
        let mut resolution = learn(1_000_000, 0, 1000);
        assert_eq!((resolution.step(), resolution.error()), (None, None));
        resolution.declare(77);
        assert_eq!((resolution.step(), resolution.error()), (Some(77), Some(77)));
    }

    /// 1000 counts a turn, read a thousand times a turn: every move is one count for a long time, and
    /// tells nothing of what lies between.
    #[test]
    fn moves_that_fit_the_counts_by_chance_are_not_taken_for_fineness() {
        let resolution = learn(4_294_967, 1001, 200);
        assert_eq!(resolution.error(), Some(4_294_967));
    }
}
