//! Where an end of the weave lies, from many half cycles whose positions meet it at different phases.
//!
//! Decides: the height of an end once its positions have fallen everywhere between two of them, and whether the
//! last half cycles still fit it.
//! Assumes: the weave has the same width meanwhile, and its end the same shape, whatever that is.
//! Never: gives an end to positions that come in step with the weave and may all have missed it.

use crate::statistics::{divide_rounded, push_over};
use heapless::Deque;

/// The spacing of two positions is cut into so many parts; each must have been met.
const PARTS: u32 = 8;
/// A window has at least so many half cycles, and no more than this.
const LEAST: u32 = 20;
const MOST: u32 = 60;
/// The last half cycles.
const LATELY: usize = 4;

/// An end as it was found.
#[derive(Clone, Copy, Debug)]
struct Found {
    height: i32,
    /// It may be off by so much, raw.
    open: i32,
    /// Mean of the highest positions of its half cycles.
    mean: i32,
    /// So long ago the first of them was, µs.
    looked_back_us: u64,
}

/// Gathers the highest positions of half cycles.
#[derive(Clone, Debug)]
pub(super) struct Phases {
    since_us: u64,
    met: u8,
    count: u32,
    sum: i64,
    lowest: i32,
    highest: i32,
    lately: Deque<i32, LATELY>,
    found: Option<Found>,
}

impl Phases {
    pub(super) const NONE: Self = Self {
        since_us: 0,
        met: 0,
        count: 0,
        sum: 0,
        lowest: i32::MAX,
        highest: i32::MIN,
        lately: Deque::new(),
        found: None,
    };

    /// Takes the highest position of a half cycle that began `part_us` after a position, of `gap_us` to the next,
    /// and is over `now_us`; between two positions the end may be missed by `missed`.
    pub(super) fn push(&mut self, now_us: u64, highest: i32, (part_us, gap_us): (u32, u32), missed: i32) {
        if self.count == 0 {
            self.since_us = now_us;
        }
        let part =
            part_us.saturating_mul(PARTS).checked_div(gap_us).unwrap_or(0).min(PARTS.saturating_sub(1));
        self.met |= 1_u8.checked_shl(part).unwrap_or(0);
        self.count = self.count.saturating_add(1);
        self.sum = self.sum.saturating_add(i64::from(highest));
        (self.lowest, self.highest) = (self.lowest.min(highest), self.highest.max(highest));
        push_over(&mut self.lately, highest);
        if self.found.is_some_and(|found| !self.fits(found, missed)) {
            // The weave has another width now.
            *self = Self { lately: core::mem::take(&mut self.lately), ..Self::NONE };
        } else if self.met == u8::MAX && self.count >= LEAST {
            self.find(now_us, missed);
        } else if self.count >= MOST {
            *self = Self { lately: core::mem::take(&mut self.lately), ..Self::NONE };
        }
    }
    fn find(&mut self, now_us: u64, missed: i32) {
        // Of a corner, which shows every miss from none to the most alike, so many half cycles leave this open.
        let spread = self.highest.saturating_sub(self.lowest);
        let open = spread.checked_div(self.count as i32).unwrap_or(spread);
        // One that missed it by more was of another width.
        let is_one_weave = spread <= missed.saturating_add(missed / 8);
        let mean = divide_rounded(self.sum, self.count).unwrap_or(0) as i32;
        let looked_back_us = now_us.saturating_sub(self.since_us);
        let found = Found { height: self.highest.saturating_add(open / 2), open, mean, looked_back_us };
        let found = is_one_weave.then_some(found);
        *self = Self { lately: core::mem::take(&mut self.lately), found, ..Self::NONE };
    }
    /// Do the last half cycles fit, one by one and on the mean?
    fn fits(&self, found: Found, missed: i32) -> bool {
        let sum = self.lately.iter().fold(0_i64, |sum, &end| sum.saturating_add(i64::from(end)));
        let mean = divide_rounded(sum, self.lately.len() as u32).unwrap_or(0) as i32;
        let newest = self.lately.back().copied().unwrap_or(found.height);
        let reaches = newest >= found.height.saturating_sub(missed.saturating_add(missed / 8));
        let is_no_higher = newest <= found.height.saturating_add(missed / 8);
        let is_like = !self.lately.is_full() || mean.abs_diff(found.mean) <= (missed / 2).unsigned_abs();
        reaches && is_no_higher && is_like
    }
    /// How long ago the first half cycle was of those that show the end, when it was found, µs.
    pub(super) fn looked_back_us(&self) -> u64 {
        self.found.map_or(0, |found| found.looked_back_us)
    }
    /// The height of the end, raw, and by how much it may be off.
    pub(super) fn end(&self) -> Option<(i32, i32)> {
        self.found.map(|found| (found.height, found.open))
    }
}

#[cfg(test)]
#[allow(clippy::float_arithmetic, clippy::cast_precision_loss)]
mod tests {
    use super::*;

    const HEIGHT: f64 = 50_000.0;

    /// A corner of this height, met by positions that come `per_cycle` a cycle, in `cycles` half cycles of a second;
    /// what is said of it after the last.
    fn corner(phases: &mut Phases, height: f64, per_cycle: f64, cycles: u64) -> Option<f64> {
        for cycle in 0..cycles {
            // Where the corner lies between two positions, in shares of their spacing.
            let part = (cycle as f64 * per_cycle).fract();
            let missed = 2.0 * HEIGHT * 2.0 / per_cycle;
            let highest = height - missed * part.min(1.0 - part);
            let part_us = (part * 100_000.0) as u32;
            phases.push(cycle * 1_000_000, highest as i32, (part_us, 100_000), (missed / 2.0) as i32);
        }
        phases.end().map(|(end, _)| f64::from(end) / height - 1.0)
    }

    #[test]
    fn a_corner_is_found_within_a_hundredth_of_the_width() {
        for per_cycle in [9.07, 12.11, 17.09, 21.23] {
            let error = corner(&mut Phases::NONE.clone(), HEIGHT, per_cycle, 60);
            // The width is twice the height.
            assert!(error.is_some_and(|error| error.abs() < 0.02), "{per_cycle}: {error:?}");
        }
    }

    #[test]
    fn positions_in_step_with_the_weave_show_no_end() {
        for per_cycle in [8.0, 12.0, 16.5] {
            assert_eq!(corner(&mut Phases::NONE.clone(), HEIGHT, per_cycle, 500), None, "{per_cycle}");
        }
    }

    #[test]
    fn a_weave_of_another_width_is_not_the_one_that_was_found() {
        let mut phases = Phases::NONE;
        assert!(corner(&mut phases, HEIGHT, 12.11, 60).is_some());
        assert_eq!(corner(&mut phases, 0.7 * HEIGHT, 12.11, 5), None);
        assert_eq!(phases.looked_back_us(), 0);
    }

    /// Half cycles a second apart, all of this height, met in turn at every eighth of the spacing.
    fn even(phases: &mut Phases, from: u32, count: u32, height: i32, missed: i32) {
        for index in from..from + count {
            let now_us = 7_000_000 + 1_000_000 * u64::from(index);
            phases.push(now_us, height, (index % 8 * 1000, 8000), missed);
        }
    }

    /// Twenty half cycles at least, and each eighth of the spacing met.
    #[test]
    fn an_end_is_found_with_the_twentieth_half_cycle() {
        let mut phases = Phases::NONE;
        even(&mut phases, 0, 19, 500, 80);
        assert_eq!((phases.end(), phases.looked_back_us()), (None, 0));
        even(&mut phases, 19, 1, 500, 80);
        assert_eq!(phases.end(), Some((500, 0)));
        assert_eq!(phases.looked_back_us(), 19_000_000, "from the first to the twentieth");
        // One eighth is never met: not found, and begun anew after sixty.
        let mut phases = Phases::NONE;
        for index in 0..200_u32 {
            phases.push(u64::from(index), 500, (index % 7 * 1000, 8000), 80);
            assert_eq!(phases.end(), None, "{index}");
        }
        // Beyond the end of the spacing, and without one: its last and its first part.
        for (missing, within) in [(7, (8000, 8000)), (7, (9000, 8000)), (0, (5, 0))] {
            let mut phases = Phases::NONE;
            let others = (0..8).filter(|part| *part != missing).cycle().take(19);
            for part in others {
                phases.push(0, 500, (part * 1000, 8000), 80);
            }
            phases.push(0, 500, within, 80);
            assert!(phases.end().is_some(), "{missing} {within:?}");
        }
    }

    /// The eighths that were met in the first sixty do not count for the next.
    #[test]
    fn a_window_of_sixty_is_let_go() {
        for (late, expected) in [(59, true), (60, false)] {
            let mut phases = Phases::NONE;
            for index in 0..late {
                phases.push(u64::from(index), 500, (index % 7 * 1000, 8000), 80);
            }
            phases.push(60, 500, (7500, 8000), 80);
            assert_eq!(phases.end().is_some(), expected, "{late}");
        }
    }

    /// One eighth is met with the third half cycle, another with the 46th alone: both are of the same window.
    #[test]
    fn a_window_lasts_for_more_than_half_of_sixty() {
        let mut phases = Phases::NONE;
        for index in 0..46_u32 {
            let part = match index {
                2 => 7,
                45 => 0,
                _ => 1 + index % 6,
            };
            assert_eq!(phases.end(), None, "{index}");
            phases.push(u64::from(index), 500, (part * 1000, 8000), 80);
        }
        assert!(phases.end().is_some());
    }

    /// The highest and half of what is open: the spread over the count.
    #[test]
    fn what_is_open_follows_from_spread_and_count() {
        let mut phases = Phases::NONE;
        even(&mut phases, 0, 10, 1000, 400);
        even(&mut phases, 10, 10, 800, 400);
        // 200 / 20 = 10 open; found 5 above the highest.
        assert_eq!(phases.end(), Some((1005, 10)));
        assert_eq!(phases.found.map(|found| found.mean), Some(900));
    }

    /// A spread of more than nine eighths of what may be missed is not one weave.
    #[test]
    fn a_spread_beyond_what_may_be_missed_is_of_two_weaves() {
        for (low, expected) in [(1000 - 450, true), (1000 - 451, false)] {
            let mut phases = Phases::NONE;
            even(&mut phases, 0, 10, 1000, 400);
            even(&mut phases, 10, 10, low, 400);
            assert_eq!(phases.end().is_some(), expected, "{low}");
        }
    }

    /// Once found at 1000 with 400 that may be missed: 450 below, 50 above, and 200 on the mean of the last four.
    #[test]
    fn an_end_stays_while_the_last_half_cycles_fit_it() {
        let fits = |ends: &[i32]| {
            let mut phases = Phases::NONE;
            even(&mut phases, 0, 20, 1000, 400);
            assert_eq!(phases.end(), Some((1000, 0)));
            for &end in ends {
                phases.push(21_000_000, end, (0, 8000), 400);
            }
            phases.end().is_some()
        };
        assert!(fits(&[550]) && !fits(&[549]));
        assert!(fits(&[1050]) && !fits(&[1051]));
        assert!(fits(&[800, 800, 800, 800]));
        assert!(!fits(&[800, 800, 800, 797]), "the mean is 799.25");
        assert!(fits(&[550, 1000, 1000, 1000]));
    }
}
