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
            None if size < self.enter_below => self.dip_since_us = Some(now_us),
            Some(since_us) if size > self.leave_above => {
                self.dip_since_us = None;
                if now_us.saturating_sub(since_us) <= LONGEST_DIP_US {
                    self.total = self.total.wrapping_add(1);
                }
            }
            _ => {}
        }
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
}
