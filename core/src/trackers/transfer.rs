//! Short circuits of the metal transfer.
//!
//! Decides: which dips of the arc voltage are short circuits, and how many there are a second.
//! Assumes: a sample rate of at least [`NEEDED_RATE_MHZ`]; slower, a dip of 1 ms can fall between
//! two samples.
//! Never: judges the mean voltage; that is an envelope.

use crate::statistics::push_over;
use heapless::Deque;

/// Needed sample rate in thousandths of a hertz: 2 kHz puts two samples into the shortest dip of 1 ms.
pub const NEEDED_RATE_MHZ: u32 = 2_000_000;
/// A lower voltage that lasts longer is an arc that went out or a stubbed wire.
const LONGEST_DIP_US: u64 = 20_000;
const COUNT_SPAN_US: u64 = 100_000;

/// Counts short circuits; the rate is over the last `N` tenths of a second.
#[derive(Clone, Debug)]
pub struct DipCounter<const N: usize> {
    enter_below: u32,
    leave_above: u32,
    dip_since_us: Option<u64>,
    total: u32,
    counted: Deque<(u32, u32), N>,
    span_start_us: u64,
    span_start_total: u32,
    rate: Option<i32>,
}

impl<const N: usize> DipCounter<N> {
    /// Has seen nothing.
    pub const fn new() -> Self {
        Self {
            enter_below: 0,
            leave_above: 0,
            dip_since_us: None,
            total: 0,
            counted: Deque::new(),
            span_start_us: 0,
            span_start_total: 0,
            rate: None,
        }
    }
    /// Takes one raw voltage.
    #[inline]
    pub fn push(&mut self, now_us: u64, volts: i32) {
        let size = volts.unsigned_abs();
        match self.dip_since_us {
            None if size < self.enter_below => self.begin_dip(now_us),
            Some(since_us) if size > self.leave_above => {
                self.dip_since_us = None;
                if now_us.saturating_sub(since_us) <= LONGEST_DIP_US {
                    self.total = self.total.wrapping_add(1);
                }
            }
            _ => {}
        }
    }
    /// Not inlined: a branch that is seldom taken costs each sample less than stores under a condition.
    #[cold]
    #[inline(never)]
    const fn begin_dip(&mut self, now_us: u64) {
        self.dip_since_us = Some(now_us);
    }
    /// Sets the thresholds from the mean voltage (60 % to enter, 75 % to leave) and closes a span of
    /// 0.1 s when it is full.
    pub fn tick(&mut self, now_us: u64, mean: Option<i32>) {
        if let Some(mean) = mean {
            let size = mean.unsigned_abs();
            self.enter_below = (size / 5).saturating_mul(3);
            self.leave_above = (size / 4).saturating_mul(3);
        }
        let elapsed_us = now_us.saturating_sub(self.span_start_us);
        if elapsed_us >= COUNT_SPAN_US {
            let count = self.total.wrapping_sub(self.span_start_total);
            push_over(&mut self.counted, (u32::try_from(elapsed_us).unwrap_or(u32::MAX), count));
            self.span_start_us = now_us;
            self.span_start_total = self.total;
            self.rate = self.rate_over_spans();
        }
    }
    /// Short circuits since the counter was made or restarted.
    pub const fn total(&self) -> u32 {
        self.total
    }
    /// Short circuits a second over the last spans, raw [`crate::units::EventRate`]; absent until
    /// the first span is full.
    pub const fn rate(&self) -> Option<i32> {
        self.rate
    }
    fn rate_over_spans(&self) -> Option<i32> {
        let mut count = 0_u64;
        let mut elapsed_us = 0_u64;
        for &(span_us, span_count) in &self.counted {
            count = count.saturating_add(u64::from(span_count));
            elapsed_us = elapsed_us.saturating_add(u64::from(span_us));
        }
        rate_per_second(count, elapsed_us)
    }
    /// Counting starts anew at `now_us`; the thresholds stay, so that no dip is missed.
    pub fn restart(&mut self, now_us: u64) {
        let (enter_below, leave_above) = (self.enter_below, self.leave_above);
        *self = Self { enter_below, leave_above, span_start_us: now_us, ..Self::new() };
    }
}

impl<const N: usize> Default for DipCounter<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// `count` events in `elapsed_us` microseconds, as a raw [`crate::units::EventRate`].
pub fn rate_per_second(count: u64, elapsed_us: u64) -> Option<i32> {
    let scaled = count.saturating_mul(1_000_000_u64 << crate::units::EventRate::FRACTION_BITS);
    scaled.checked_div(elapsed_us).map(|rate| i32::try_from(rate).unwrap_or(i32::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::EventRate;

    /// 30 V with `dips` dips to 10 V of `length_us`, 20 a second, sampled every `period_us`.
    fn count(period_us: u64, length_us: u64, phase_us: u64) -> u32 {
        let mut counter = DipCounter::<10>::new();
        counter.tick(0, Some(30 << 12));
        let mut now_us = 0;
        while now_us < 2_000_000 {
            let in_dip = (now_us + phase_us) % 50_000 >= 50_000 - length_us;
            counter.push(now_us, if in_dip { 10 << 12 } else { 30 << 12 });
            now_us += period_us;
        }
        counter.push(now_us, 30 << 12);
        counter.total()
    }

    #[test]
    fn no_dip_is_missed_and_none_counted_twice() {
        for period_us in [500, 200, 100, 50, 20] {
            for length_us in [1000, 2000, 5000] {
                for phase_us in [0, 130, 377] {
                    assert_eq!(
                        count(period_us, length_us, phase_us),
                        40,
                        "{period_us} {length_us} {phase_us}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_long_dip_is_no_short_circuit() {
        assert_eq!(count(100, 25_000, 0), 0);
    }

    const MEAN: i32 = 30 << 12;

    /// Dips of a reading to `low`, 1 ms each, with readings of `between` after each: how many are counted.
    fn dips(low: i32, between: i32) -> u32 {
        let mut counter = DipCounter::<10>::new();
        counter.tick(0, Some(MEAN));
        for dip in 0..3 {
            counter.push(dip * 10_000, low);
            counter.push(dip * 10_000 + 1000, between);
        }
        counter.push(30_000, MEAN);
        counter.total()
    }

    /// Below 60 % of the mean a dip begins, above 75 % it ends; either sign.
    #[test]
    fn a_dip_begins_below_three_fifths_and_ends_above_three_quarters() {
        let (enter, leave) = (MEAN / 5 * 3, MEAN / 4 * 3);
        for sign in [1, -1] {
            assert_eq!(dips(sign * (enter - 1), sign * MEAN), 3);
            assert_eq!(dips(sign * enter, sign * MEAN), 0, "not below");
            assert_eq!(dips(sign * (enter - 1), sign * (leave + 1)), 3);
            assert_eq!(dips(sign * (enter - 1), sign * leave), 0, "one dip that is not over for 30 ms");
        }
    }

    #[test]
    fn a_dip_of_twenty_milliseconds_is_the_longest() {
        for (length_us, expected) in [(20_000, 1), (20_001, 0)] {
            let mut counter = DipCounter::<10>::new();
            counter.tick(0, Some(MEAN));
            counter.push(5000, 0);
            counter.push(5000 + length_us, MEAN);
            assert_eq!(counter.total(), expected, "{length_us}");
        }
    }

    /// A dip of 1 ms at each of these times, s/1000, and a tick at each thousandth of a second.
    fn rates(dips_ms: &[u64], until_ms: u64) -> impl Iterator<Item = (u64, Option<i32>)> {
        let mut counter = DipCounter::<2>::new();
        (0..=until_ms).map(move |now_ms| {
            counter.push(now_ms * 1000, if dips_ms.contains(&now_ms) { 0 } else { MEAN });
            counter.tick(now_ms * 1000, Some(MEAN));
            (now_ms, counter.rate())
        })
    }

    /// Counted in spans of 0.1 s, over the last two of them here: 3 dips and then none are 30 a second, 15 and 0.
    #[test]
    fn the_rate_is_what_was_counted_in_the_last_spans() {
        for (now_ms, rate) in rates(&[20, 40, 60], 350) {
            let expected = match now_ms {
                0..100 => None,
                100..200 => Some(30),
                200..300 => Some(15),
                _ => Some(0),
            };
            assert_eq!(rate, expected.map(|rate| EventRate::per_second(rate).to_bits()), "{now_ms} ms");
        }
    }

    #[test]
    fn the_rate_goes_by_the_time_that_a_span_took() {
        let mut counter = DipCounter::<10>::new();
        counter.tick(0, Some(MEAN));
        for dip in 0..4 {
            counter.push(dip * 40_000, 0);
            counter.push(dip * 40_000 + 1000, MEAN);
        }
        counter.tick(160_000, None);
        assert_eq!(counter.rate(), Some(EventRate::per_second(25).to_bits()));
        // Without a mean the thresholds stay.
        counter.push(170_000, 0);
        counter.push(171_000, MEAN);
        assert_eq!(counter.total(), 5);
        counter.restart(171_000);
        assert_eq!((counter.total(), counter.rate()), (0, None));
        counter.push(180_000, 0);
        counter.push(181_000, MEAN);
        assert_eq!(counter.total(), 1, "a dip right after is not missed");
        counter.tick(270_999, None);
        assert_eq!(counter.rate(), None, "0.1 s are not over");
        counter.tick(271_000, None);
        assert_eq!(counter.rate(), Some(EventRate::per_second(10).to_bits()));
    }

    #[test]
    fn a_rate_of_no_time_is_none_and_one_too_large_is_the_largest() {
        assert_eq!(rate_per_second(1, 0), None);
        assert_eq!(rate_per_second(0, 1), Some(0));
        assert_eq!(rate_per_second(7, 2_000_000), Some(EventRate::from_milli(3500).to_bits()));
        assert_eq!(rate_per_second(u64::MAX, 1), Some(i32::MAX));
    }
}
