//! Means of a reading over a short and a long window.
//!
//! Decides: what "the voltage now" and "the current now" are: 0.1 s for the metal transfer, 1 s for
//! the ranges.
//! Assumes: only readings that count (arc burning, sensor sound) are pushed.
//! Never: touches a window between ticks, so that a sample costs two additions.

use crate::statistics::{Block, RollingMean};

const SHORT_US: u32 = 100_000;
const LONG_US: u32 = 1_000_000;

/// Means of one channel; `N` blocks a window.
#[derive(Clone, Debug)]
pub struct Averager<const N: usize> {
    open: Block,
    short: RollingMean<N>,
    gathering: Block,
    gathering_since_us: u64,
    long: RollingMean<N>,
}

impl<const N: usize> Averager<N> {
    /// With nothing in it.
    pub const fn new() -> Self {
        Self {
            open: Block::EMPTY,
            short: RollingMean::new(SHORT_US),
            gathering: Block::EMPTY,
            gathering_since_us: 0,
            long: RollingMean::new(LONG_US),
        }
    }
    /// Takes one raw reading.
    #[inline]
    pub fn push(&mut self, raw: i32) {
        self.open.push(raw);
    }
    /// Closes the block that ends at `now_us`.
    pub fn tick(&mut self, now_us: u64) {
        let block = self.open.take();
        self.short.push(now_us, block);
        if self.gathering.count() == 0 {
            self.gathering_since_us = now_us;
        }
        self.gathering.merge(block);
        if now_us.saturating_sub(self.gathering_since_us) >= u64::from(SHORT_US) || self.long.mean().is_none()
        {
            self.long.push(now_us, self.gathering.take());
        }
    }
    /// Mean over the last 0.1 s, if there was a reading.
    pub fn short(&self) -> Option<i32> {
        self.short.mean()
    }
    /// Mean over the last second, if there was a reading.
    pub fn long(&self) -> Option<i32> {
        self.long.mean()
    }
    /// Forgets everything.
    pub fn clear(&mut self) {
        self.open = Block::EMPTY;
        self.gathering = Block::EMPTY;
        self.short.clear();
        self.long.clear();
    }
}

impl<const N: usize> Default for Averager<N> {
    fn default() -> Self {
        Self::new()
    }
}
