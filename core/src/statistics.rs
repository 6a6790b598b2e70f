//! Exact streaming statistics and rolling means, in integers.
//!
//! Decides: how sums are kept so that they never drift and never depend on how samples are grouped.
//! Assumes: raw values of one quantity, of one resolution.
//! Never: rounds before the last step.

use heapless::Deque;

/// More values than this would overflow the sums of [`Moments`]: 12 hours at 50 kHz.
const MOST_VALUES: u32 = i32::MAX as u32;

/// Count, sum, sum of squares and extremes of raw values, exact up to 2^31 - 1 values.
///
/// Sums are of differences to the first value, which keeps them small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moments {
    count: u32,
    pivot: i32,
    minimum: i32,
    maximum: i32,
    sum: i64,
    squares: u128,
}

impl Moments {
    /// Nothing yet.
    pub const EMPTY: Self = Self { count: 0, pivot: 0, minimum: 0, maximum: 0, sum: 0, squares: 0 };
}

impl Default for Moments {
    fn default() -> Self {
        Self::EMPTY
    }
}

impl Moments {
    /// Takes one value; the 2^31st and later ones are ignored.
    #[inline]
    pub fn push(&mut self, value: i32) {
        if self.count == 0 {
            *self = Self { count: 0, pivot: value, minimum: value, maximum: value, sum: 0, squares: 0 };
        }
        if self.count >= MOST_VALUES {
            return;
        }
        self.count = self.count.wrapping_add(1);
        self.minimum = self.minimum.min(value);
        self.maximum = self.maximum.max(value);
        // |difference| < 2^32: its square fits into 64 bits, and the sum of fewer than 2^31 of them
        // into 63 bits and a sign.
        let difference = i64::from(value).wrapping_sub(i64::from(self.pivot));
        self.sum = self.sum.wrapping_add(difference);
        let size = difference.unsigned_abs();
        self.squares = self.squares.wrapping_add(u128::from(size.wrapping_mul(size)));
    }
    /// Takes what was gathered of the same series. What would be the 2^31st value, and all gathered
    /// with it, is ignored.
    pub fn merge(&mut self, gathered: &Gather) {
        if gathered.count == 0 {
            return;
        }
        if self.count == 0 {
            self.pivot = gathered.pivot;
            self.minimum = gathered.minimum;
            self.maximum = gathered.maximum;
        }
        let count = self.count.saturating_add(gathered.count);
        if count > MOST_VALUES {
            return;
        }
        self.count = count;
        self.minimum = self.minimum.min(gathered.minimum);
        self.maximum = self.maximum.max(gathered.maximum);
        self.sum = self.sum.wrapping_add(gathered.sum);
        self.squares = self.squares.wrapping_add(u128::from(gathered.squares));
    }
    /// How many values there were.
    pub const fn count(&self) -> u32 {
        self.count
    }
    /// Smallest value, if any.
    pub fn minimum(&self) -> Option<i32> {
        (self.count > 0).then_some(self.minimum)
    }
    /// Largest value, if any.
    pub fn maximum(&self) -> Option<i32> {
        (self.count > 0).then_some(self.maximum)
    }
    /// Mean, rounded to nearest (halves away from zero, seen from the first value).
    pub fn mean(&self) -> Option<i32> {
        let offset = divide_rounded(self.sum, self.count)?;
        Some(clamp_to_i32(i64::from(self.pivot).saturating_add(offset)))
    }
    /// Sample standard deviation (n - 1), rounded to nearest; zero for a single value.
    #[inline(never)]
    pub fn deviation(&self) -> Option<i32> {
        if self.count == 0 {
            return None;
        }
        let Some(above_one) = self.count.checked_sub(1).filter(|&above_one| above_one > 0) else {
            return Some(0);
        };
        // Recentred at the rounded mean, so that plain numbers suffice: with m = mean and r = sum - n m,
        // n squares - sum^2 = n (squares - 2 m sum + n m^2) - r^2. With |m| < 2^32, |sum| < 2^63 and
        // n < 2^31 every term stays below 2^97, and |r|, at most n / 2, below 2^30.
        let count = i128::from(self.count);
        let middle = i128::from(divide_rounded(self.sum, self.count)?);
        let sum = i128::from(self.sum);
        let middles = product(count as u128, middle as u128) as i128;
        let more = product(middle as u128, middles.wrapping_sub(sum.wrapping_add(sum)) as u128) as i128;
        let centred = (self.squares as i128).wrapping_add(more);
        let rest = sum.wrapping_sub(middles).unsigned_abs() as u64;
        let rest = rest.wrapping_mul(rest).wrapping_mul(4).div_ceil(u64::from(self.count).max(1));
        let fourfold = (centred.unsigned_abs() << 2).saturating_sub(u128::from(rest));
        // Twice the deviation, rounded down, tells on which side of a half it lies. Beyond 64 bits it
        // is held at the end of `i32` all the same.
        let twice = root(u64::try_from(divide_by_u32(fourfold, above_one)).unwrap_or(u64::MAX));
        Some(clamp_to_i32(i64::try_from(twice.wrapping_add(1) >> 1).unwrap_or(i64::MAX)))
    }
}

/// The [`Moments`] of a few values, in plain 64-bit sums that cost little a sample.
///
/// Exact for up to [`Gather::ROOM`] values; a value is held within 2^26 of zero (16,384 A or V: beyond
/// anything physical). All that is gathered is told as differences to the first value of the series,
/// which outlives [`Gather::take`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gather {
    pivot: i32,
    minimum: i32,
    maximum: i32,
    count: u32,
    sum: i64,
    squares: u64,
    is_begun: bool,
}

impl Default for Gather {
    fn default() -> Self {
        Self::EMPTY
    }
}

impl Gather {
    /// Nothing yet.
    pub const EMPTY: Self = Self {
        pivot: 0,
        minimum: i32::MAX,
        maximum: i32::MIN,
        count: 0,
        sum: 0,
        squares: 0,
        is_begun: false,
    };
    /// So many squares of 2^27 fit into 64 bits.
    pub const ROOM: u32 = 1024;
    /// No value is taken as further from zero.
    pub const FURTHEST: i32 = (1 << 26) - 1;

    /// Takes one value; the caller takes out what was gathered before there are more than
    /// [`Self::ROOM`].
    pub fn push(&mut self, value: i32) {
        let value = value.clamp(-Self::FURTHEST, Self::FURTHEST);
        if !self.is_begun {
            self.is_begun = true;
            self.pivot = value;
        }
        self.count = self.count.wrapping_add(1);
        self.add(value);
    }
    /// Takes one value within [`Self::FURTHEST`] of zero, not the first of the series, without counting
    /// it: [`Self::take`] is told how many there were.
    #[inline]
    pub fn add(&mut self, value: i32) {
        // Nearly never stored: on a board that is four instructions less than `min` and `max`.
        if value < self.minimum {
            self.minimum = value;
        }
        if value > self.maximum {
            self.maximum = value;
        }
        // Both lie within 2^26, so the difference does within 2^27.
        let difference = i64::from(value.wrapping_sub(self.pivot));
        self.sum = self.sum.wrapping_add(difference);
        self.squares = self.squares.wrapping_add(difference.wrapping_mul(difference) as u64);
    }
    /// Least and greatest of what is gathered, if anything is.
    pub fn extremes(&self) -> Option<(i32, i32)> {
        (self.count > 0).then_some((self.minimum, self.maximum))
    }
    /// How many values are gathered.
    pub const fn count(&self) -> u32 {
        self.count
    }
    /// The first value of the series, where there was one.
    pub fn pivot(&self) -> Option<i32> {
        self.is_begun.then_some(self.pivot)
    }
    /// Sum and count of the values themselves.
    pub fn block(&self) -> Block {
        let pivots = i64::from(self.pivot).wrapping_mul(i64::from(self.count));
        Block { sum: self.sum.wrapping_add(pivots), count: self.count }
    }
    /// Hands over what was gathered, `added` values by [`Self::add`]; the series goes on.
    #[must_use]
    pub fn take(&mut self, added: u32) -> Self {
        let gathered = Self { count: self.count.wrapping_add(added), ..*self };
        *self = Self { pivot: gathered.pivot, is_begun: gathered.is_begun, ..Self::EMPTY };
        gathered
    }
}

/// `a * b`, of numbers with or without a sign whose product fits: once for all, since every copy of it is large on a
/// controller.
#[inline(never)]
pub(crate) fn product(a: u128, b: u128) -> u128 {
    a.wrapping_mul(b)
}

/// `value / divisor`, digit by digit: a quarter of what the machine's own 128-bit division costs a board.
fn divide_by_u32(value: u128, divisor: u32) -> u128 {
    let divisor = u64::from(divisor);
    let (mut rest, mut quotient) = (0_u64, 0_u128);
    for shift in [96, 64, 32, 0] {
        let digit = u64::from((value >> shift) as u32);
        let part = (rest << 32) | digit;
        let times = part.checked_div(divisor).unwrap_or(0);
        rest = part.wrapping_sub(times.wrapping_mul(divisor));
        quotient = (quotient << 32) | u128::from(times);
    }
    quotient
}

/// The square root, rounded down, digit by digit: a fifth of the instructions of the standard
/// library's, which keeps a table, on the small numbers that come here.
fn root(value: u64) -> u64 {
    let (mut rest, mut root) = (value, 0_u64);
    // The greatest power of four in the value.
    let mut digit = 1_u64.wrapping_shl(63_u32.saturating_sub(value.leading_zeros()) & !1);
    while digit > 0 {
        let trial = root | digit;
        root >>= 1;
        if let Some(left) = rest.checked_sub(trial) {
            rest = left;
            root |= digit;
        }
        digit >>= 2;
    }
    root
}

/// `sum / count` rounded to nearest, halves away from zero; `None` for a count of zero.
pub fn divide_rounded(sum: i64, count: u32) -> Option<i64> {
    if count == 0 {
        return None;
    }
    let half = i64::from(count >> 1);
    let shifted = if sum >= 0 { sum.saturating_add(half) } else { sum.saturating_sub(half) };
    shifted.checked_div(i64::from(count))
}

/// The nearest `i32`.
pub const fn clamp_to_i32(value: i64) -> i32 {
    if value > i32::MAX as i64 {
        i32::MAX
    } else if value < i32::MIN as i64 {
        i32::MIN
    } else {
        value as i32
    }
}

/// Pushes, letting the oldest go when full.
pub(crate) fn push_over<T, const N: usize>(queue: &mut Deque<T, N>, value: T) {
    if queue.is_full() {
        queue.pop_front();
    }
    // Room was just made, so this fails only for a queue of no room at all.
    let _ = queue.push_back(value);
}

/// Count and sum of the values in a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Block {
    sum: i64,
    count: u32,
}

impl Block {
    /// Nothing yet.
    pub const EMPTY: Self = Self { sum: 0, count: 0 };
    /// Takes one value.
    #[inline]
    pub fn push(&mut self, value: i32) {
        self.sum = self.sum.wrapping_add(i64::from(value));
        self.count = self.count.wrapping_add(1);
    }
    /// Takes another block.
    pub fn merge(&mut self, other: Self) {
        self.sum = self.sum.wrapping_add(other.sum);
        self.count = self.count.wrapping_add(other.count);
    }
    fn remove(&mut self, other: Self) {
        self.sum = self.sum.wrapping_sub(other.sum);
        self.count = self.count.wrapping_sub(other.count);
    }
    /// Mean, rounded to nearest, halves away from zero.
    pub fn mean(self) -> Option<i32> {
        divide_rounded(self.sum, self.count).map(clamp_to_i32)
    }
    /// How many values there were.
    pub const fn count(self) -> u32 {
        self.count
    }
    /// Their sum.
    pub const fn sum(self) -> i64 {
        self.sum
    }
    /// Hands over what was gathered and starts anew.
    #[must_use]
    pub fn take(&mut self) -> Self {
        core::mem::take(self)
    }
}

/// One block of a [`RollingMean`]; its age is told against the newest.
#[derive(Clone, Copy, Debug)]
struct Aged {
    sum: i64,
    count: u32,
    /// Low bits of the time it ended, µs.
    end_us: u32,
}

/// The mean over the last blocks: at most `N` of them, none older than the span.
#[derive(Clone, Debug)]
pub struct RollingMean<const N: usize> {
    blocks: Deque<Aged, N>,
    total: Block,
    mean: Option<i32>,
    newest_us: u64,
    span_us: u32,
}

impl<const N: usize> RollingMean<N> {
    /// Looks back over `span_us` microseconds.
    pub const fn new(span_us: u32) -> Self {
        Self { blocks: Deque::new(), total: Block::EMPTY, mean: None, newest_us: 0, span_us }
    }
    /// Takes the block that ends at `end_us`, not before the one before. An empty block only lets old
    /// ones go.
    pub fn push(&mut self, end_us: u64, block: Block) {
        // Low bits tell an age only within 71 minutes; by then every block is too old.
        if end_us.saturating_sub(self.newest_us) > u64::from(u32::MAX >> 1) {
            self.clear();
        }
        self.newest_us = end_us;
        let end_us = end_us as u32;
        while self.blocks.front().is_some_and(|oldest| end_us.wrapping_sub(oldest.end_us) >= self.span_us) {
            self.drop_oldest();
        }
        if block.count > 0 {
            if self.blocks.is_full() {
                self.drop_oldest();
            }
            let aged = Aged { sum: block.sum, count: block.count, end_us };
            if self.blocks.push_back(aged).is_ok() {
                self.total.merge(block);
            }
        }
        // A division costs more than all the rest: one a block, not one a question.
        self.mean = self.total.mean();
    }
    fn drop_oldest(&mut self) {
        if let Some(oldest) = self.blocks.pop_front() {
            self.total.remove(Block { sum: oldest.sum, count: oldest.count });
        }
    }
    /// Mean over what is inside, if anything is.
    pub const fn mean(&self) -> Option<i32> {
        self.mean
    }
    /// Sum and count over what is inside.
    pub const fn total(&self) -> Block {
        self.total
    }
    /// Forgets everything.
    pub fn clear(&mut self) {
        self.blocks.clear();
        self.total = Block::EMPTY;
        self.mean = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_of_nothing_and_of_one() {
        let mut moments = Moments::default();
        assert_eq!((moments.mean(), moments.deviation(), moments.minimum()), (None, None, None));
        moments.push(-7);
        assert_eq!((moments.mean(), moments.deviation(), moments.maximum()), (Some(-7), Some(0), Some(-7)));
    }

    #[test]
    fn moments_of_the_extremes_do_not_overflow() {
        let mut moments = Moments::default();
        for _ in 0..1000 {
            moments.push(i32::MIN);
            moments.push(i32::MAX);
        }
        assert_eq!((moments.minimum(), moments.maximum()), (Some(i32::MIN), Some(i32::MAX)));
        assert!(moments.deviation().is_some());
    }

    #[test]
    fn a_rolling_mean_lets_old_blocks_go_by_age_and_by_number() {
        let mut rolling = RollingMean::<3>::new(100);
        let block = |value| {
            let mut block = Block::default();
            block.push(value);
            block
        };
        for (end_us, value) in [(10, 1), (20, 2), (30, 3), (40, 10)] {
            rolling.push(end_us, block(value));
        }
        assert_eq!(rolling.total().sum(), 15);
        rolling.push(130, Block::default());
        assert_eq!(rolling.total().sum(), 10);
        rolling.push(140, Block::default());
        assert_eq!(rolling.mean(), None);
    }
}
