//! The temperature of the work before an arc.
//!
//! Decides: what was surely that cold, and what was surely that hot, though a flame passes over the pyrometer.
//! Cold: the second lowest of the means over a second each, which a single dropped reading does not lower.
//! Hot: the lowest of them from shortly before the arc until shortly after it.
//! Assumes: a flame plays over the pyrometer for less than nine seconds; the arc warms the place of the
//! reading slowly.
//! Never: looks back further than twelve seconds.

use crate::statistics::{Block, push_over};
use heapless::Deque;

/// How far back, s.
const WINDOW_S: u32 = 12;

/// Follows the work temperature.
#[derive(Clone, Debug)]
pub struct WorkTracker {
    sums: Block,
    /// The second that is added up.
    adding_s: u32,
    means: Deque<(u32, i32), 12>,
}

impl WorkTracker {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self { sums: Block::EMPTY, adding_s: 0, means: Deque::new() }
    }
    /// Forgets everything, after a hole in the data.
    pub fn forget(&mut self) {
        *self = Self::new();
    }
    /// Takes one raw temperature.
    pub fn push(&mut self, now_us: u64, temperature: i32) {
        let now = seconds(now_us);
        if now != self.adding_s {
            if let Some(mean) = self.sums.take().mean() {
                push_over(&mut self.means, (self.adding_s, mean));
            }
            self.adding_s = now;
        }
        self.sums.push(temperature);
    }
    /// The temperature before an arc that is struck now, raw.
    pub fn before(&self, now_us: u64) -> Option<i32> {
        let now = seconds(now_us);
        let last = self.sums.mean();
        let before = self.means.iter().filter(|(of, _)| now.wrapping_sub(*of) <= WINDOW_S);
        let (mut lowest, mut second) = (None::<i32>, None::<i32>);
        for mean in before.map(|&(_, mean)| mean).chain(last) {
            if lowest.is_none_or(|lowest| mean < lowest) {
                (lowest, second) = (Some(mean), lowest);
            } else if second.is_none_or(|second| mean < second) {
                second = Some(mean);
            }
        }
        second.or(lowest)
    }
}

impl WorkTracker {
    /// The lowest and the highest mean over a second since then, raw: it was at least, and at most, so hot all the
    /// time.
    pub fn span_since(&self, since_us: u64) -> Option<(i32, i32)> {
        let from = seconds(since_us);
        let means = self.means.iter().filter(|(of, _)| of.wrapping_sub(from) <= WINDOW_S);
        let means = means.map(|&(_, mean)| mean).chain(self.sums.mean());
        means.fold(None, |span, mean| {
            let (lowest, highest) = span.unwrap_or((mean, mean));
            Some((mean.min(lowest), mean.max(highest)))
        })
    }
}

#[cfg(feature = "heat")]
impl WorkTracker {
    /// The means over a second that are closed, of the seconds after `last_s`: when, s, and how hot, raw.
    pub(crate) fn closed_after(&self, last_s: u32) -> impl Iterator<Item = (u32, i32)> {
        self.means.iter().copied().filter(move |&(of_s, _)| of_s > last_s)
    }
}

impl Default for WorkTracker {
    fn default() -> Self {
        Self::new()
    }
}

/// The second that a time is in.
pub(crate) const fn seconds(now_us: u64) -> u32 {
    (now_us / 1_000_000) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flame_and_a_dropped_reading_leave_it_and_a_cold_work_does_not() {
        let before = |temperature: fn(u64) -> i32| {
            let mut work = WorkTracker::new();
            for tenth in 0..300_u64 {
                work.push(tenth * 100_000, temperature(tenth));
            }
            work.before(29_900_000)
        };
        assert_eq!(before(|tenth| if tenth > 220 { 3000 } else { 1000 }), Some(1000));
        assert_eq!(before(|tenth| if (250..260).contains(&tenth) { 0 } else { 1000 }), Some(1000));
        assert_eq!(before(|tenth| if tenth > 100 { 400 } else { 1000 }), Some(400));
    }
}
