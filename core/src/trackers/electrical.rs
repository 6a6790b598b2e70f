//! Current and voltage under the arc: sums of a tick, and means over a short and a long window.
//!
//! Decides: what "the voltage now" and "the current now" are: 0.1 s for the metal transfer, 1 s for
//! the ranges.
//! Assumes: only readings that count (arc burning, sensor sound) are pushed.
//! Never: touches a window between ticks, so that a sample costs a few additions.

use crate::statistics::{Block, Gather, RollingMean};

const SHORT_US: u32 = 100_000;
const LONG_US: u32 = 1_000_000;

/// What the samples of one tick with the arc burning add up to.
#[derive(Clone, Copy, Debug)]
pub struct ElectricalSums {
    /// Samples.
    pub samples: u32,
    /// Raw current.
    pub current: Gather,
    /// Raw voltage.
    pub voltage: Gather,
    /// Sum of the products of raw current and raw voltage.
    pub power: i64,
    /// Number of products.
    pub power_count: u32,
    /// Samples not yet counted anywhere else: see [`Self::push_plain`].
    plain: u32,
}

impl ElectricalSums {
    /// Nothing yet.
    pub const EMPTY: Self = Self {
        samples: 0,
        current: Gather::EMPTY,
        voltage: Gather::EMPTY,
        power: 0,
        power_count: 0,
        plain: 0,
    };
}

impl Default for ElectricalSums {
    fn default() -> Self {
        Self::EMPTY
    }
}

impl ElectricalSums {
    /// Takes one sample.
    pub fn push(&mut self, current: Option<i32>, voltage: Option<i32>) {
        self.samples = self.samples.wrapping_add(1);
        if let Some(amps) = current {
            self.current.push(amps);
        }
        if let Some(volts) = voltage {
            self.voltage.push(volts);
        }
        if let (Some(amps), Some(volts)) = (current, voltage) {
            self.add_power(amps, volts);
            self.power_count = self.power_count.wrapping_add(1);
        }
    }
    /// Takes one sample with both readings within [`Gather::FURTHEST`], neither the first of its kind.
    /// It is counted once, for all the counts that it belongs to.
    #[inline]
    pub fn push_plain(&mut self, amps: i32, volts: i32) {
        self.plain = self.plain.wrapping_add(1);
        self.current.add(amps);
        self.voltage.add(volts);
        self.add_power(amps, volts);
    }
    #[inline]
    fn add_power(&mut self, amps: i32, volts: i32) {
        // Physical products stay below 2^45, so that a tick of them is far from 2^63.
        self.power = self.power.wrapping_add(i64::from(amps).wrapping_mul(i64::from(volts)));
    }
    /// Is there nothing to take?
    pub const fn is_empty(&self) -> bool {
        self.plain | self.samples == 0
    }
    /// Must it be taken before another sample?
    #[inline]
    pub const fn is_full(&self) -> bool {
        self.is_full_of_plain() || self.samples >= Gather::ROOM / 2
    }
    /// Must it, for the plain ones alone?
    #[inline]
    pub const fn is_full_of_plain(&self) -> bool {
        self.plain >= Gather::ROOM / 2
    }
    /// The first current and the first voltage of the series, where there was one of each.
    pub fn pivots(&self) -> Option<(i32, i32)> {
        self.current.pivot().zip(self.voltage.pivot())
    }
    /// Hands over what was added up.
    #[must_use]
    pub fn take(&mut self) -> Self {
        let plain = self.plain;
        let taken = Self {
            samples: self.samples.wrapping_add(plain),
            current: self.current.take(plain),
            voltage: self.voltage.take(plain),
            power: self.power,
            power_count: self.power_count.wrapping_add(plain),
            plain: 0,
        };
        *self = Self { current: self.current, voltage: self.voltage, ..Self::EMPTY };
        taken
    }
}

/// The mean over the last 0.1 s, in `N` blocks.
pub const fn short_mean<const N: usize>() -> RollingMean<N> {
    RollingMean::new(SHORT_US)
}

/// The mean over the last second, in `N` blocks or so.
#[derive(Clone, Debug)]
pub struct LongMean<const N: usize> {
    gathering: Block,
    gathered_us: u64,
    /// Since when readings are in it, µs.
    since_us: u64,
    rolling: RollingMean<N>,
}

impl<const N: usize> LongMean<N> {
    const BLOCK_US: u64 = LONG_US as u64 / N as u64;

    /// With nothing in it.
    pub const fn new() -> Self {
        Self { gathering: Block::EMPTY, gathered_us: 0, since_us: 0, rolling: RollingMean::new(LONG_US) }
    }
    /// Takes the sums of the tick that ends at `now_us`.
    pub fn push(&mut self, now_us: u64, block: Block) {
        if self.rolling.total().count() == 0 {
            self.since_us = now_us;
        }
        self.gathering.merge(block);
        let waited_us = now_us.saturating_sub(self.gathered_us);
        if waited_us >= Self::BLOCK_US || self.rolling.total().count() == 0 {
            // An empty block goes in as well: it lets the old ones go where readings have ceased.
            self.rolling.push(now_us, self.gathering.take());
            self.gathered_us = now_us;
        }
    }
    /// Mean over the last second, if there was a reading.
    pub fn mean(&self) -> Option<i32> {
        self.rolling.mean()
    }
    /// The same, once it goes over half of that: before, a short arc may show a fifth of a second without a short circuit.
    pub fn steady_mean(&self) -> Option<i32> {
        self.mean().filter(|_| self.gathered_us.saturating_sub(self.since_us) >= u64::from(LONG_US / 2))
    }
    /// Forgets everything.
    #[inline(never)]
    pub fn clear(&mut self) {
        self.gathering = Block::EMPTY;
        self.gathered_us = 0;
        self.rolling.clear();
    }
}

impl<const N: usize> Default for LongMean<N> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every count and sum, from the readings themselves, whichever way they were taken.
    #[test]
    fn sums_are_those_of_the_readings() {
        let mut sums = ElectricalSums::EMPTY;
        assert!(sums.is_empty());
        assert_eq!(sums.pivots(), None);
        sums.push(Some(300), None);
        assert_eq!(sums.pivots(), None, "no voltage yet");
        sums.push(None, Some(30));
        sums.push(Some(310), Some(-31));
        sums.push(None, None);
        sums.push_plain(290, 29);
        assert!(!sums.is_empty());
        assert_eq!(sums.pivots(), Some((300, 30)));
        let taken = sums.take();
        assert_eq!((taken.samples, taken.power_count), (5, 2));
        assert_eq!((taken.current.count(), taken.voltage.count()), (3, 3));
        assert_eq!(taken.current.block().sum(), 300 + 310 + 290);
        assert_eq!(taken.voltage.block().sum(), 30 - 31 + 29);
        assert_eq!(taken.power, 310 * -31 + 290 * 29);
        // What was taken is gone; the series, and so its first values, go on.
        assert!(sums.is_empty());
        assert_eq!(sums.pivots(), Some((300, 30)));
        sums.push_plain(301, 31);
        let taken = sums.take();
        assert_eq!((taken.samples, taken.power_count, taken.power), (1, 1, 301 * 31));
        assert_eq!((taken.current.count(), taken.current.block().sum()), (1, 301));
    }

    #[test]
    fn sums_are_empty_before_a_sample_of_either_kind() {
        let (mut plain, mut other) = (ElectricalSums::EMPTY, ElectricalSums::EMPTY);
        plain.push_plain(1, 1);
        other.push(None, None);
        assert!(!plain.is_empty() && !other.is_empty());
    }

    /// Both kinds together hold no more than the room, so either is full at half of it.
    #[test]
    fn sums_are_full_at_half_the_room() {
        let (mut plain, mut other) = (ElectricalSums::EMPTY, ElectricalSums::EMPTY);
        for _ in 1..Gather::ROOM / 2 {
            plain.push_plain(1, 1);
            other.push(Some(1), Some(1));
        }
        assert!(!plain.is_full() && !other.is_full());
        plain.push_plain(1, 1);
        other.push(Some(1), Some(1));
        assert!(plain.is_full() && other.is_full());
    }

    #[test]
    fn what_is_forgotten_comes_back_in_no_sum() {
        let mut sums = ElectricalSums::EMPTY;
        assert!(sums.take().is_empty());
        let mut mean = LongMean::<10>::new();
        mean.push(1_000_000, block(10));
        mean.push(1_020_000, block(20));
        mean.clear();
        mean.push(1_040_000, block(30));
        assert_eq!(mean.mean(), Some(30));
    }

    fn block(value: i32) -> Block {
        let mut block = Block::EMPTY;
        block.push(value);
        block
    }

    /// Blocks of a tenth of a second, a reading every 20 ms: 10 for a second, 30 from then on.
    #[test]
    fn the_long_mean_is_that_of_the_last_second() {
        let mut mean = LongMean::<10>::new();
        assert_eq!((mean.mean(), mean.steady_mean()), (None, None));
        mean.push(0, block(10));
        assert_eq!(mean.mean(), Some(10), "known with the first reading");
        for tick in 1..=100 {
            mean.push(tick * 20_000, block(if tick <= 50 { 10 } else { 30 }));
            let is_steady = tick * 20_000 >= 500_000;
            assert_eq!(mean.steady_mean().is_some(), is_steady, "after {tick}");
            if tick == 75 {
                // Half of the second; a block of five readings more or less.
                let mean = mean.mean().unwrap_or(0);
                assert!((18..=22).contains(&mean), "{mean}");
            }
        }
        assert_eq!(mean.mean(), Some(30));
        mean.clear();
        assert_eq!(mean.mean(), None);
        mean.push(2_020_000, block(5));
        assert_eq!((mean.mean(), mean.steady_mean()), (Some(5), None), "begun anew");
    }

    #[test]
    fn a_block_of_the_long_mean_is_closed_when_its_time_is_over() {
        let mut mean = LongMean::<10>::new();
        mean.push(1_000_000, block(10));
        mean.push(1_099_999, block(20));
        assert_eq!(mean.mean(), Some(10), "gathered, and not in it yet");
        mean.push(1_100_000, block(30));
        assert_eq!(mean.mean(), Some(20));
    }

    #[test]
    fn the_long_mean_lets_go_of_readings_that_ceased() {
        let mut mean = LongMean::<10>::new();
        mean.push(0, block(10));
        for tick in 1..=60 {
            mean.push(tick * 20_000, Block::EMPTY);
        }
        assert_eq!(mean.mean(), None);
        // Steady again half a second after the first new reading.
        for tick in 61..=90 {
            mean.push(tick * 20_000, block(7));
            assert_eq!(mean.steady_mean(), (tick >= 61 + 25).then_some(7), "{tick}");
        }
    }

    #[test]
    fn the_short_mean_is_that_of_a_tenth_of_a_second() {
        let mut mean = short_mean::<8>();
        for tick in 0..20 {
            mean.push(tick * 20_000, block(if tick < 10 { 10 } else { 30 }));
        }
        assert_eq!(mean.mean(), Some(30));
    }
}
